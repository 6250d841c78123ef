-- SPDX-License-Identifier: Apache-2.0
-- values.lua LIBRARY DECLARATIONS WHAT DUMP...: the C interface through LuaJIT's foreign-function
-- interface. WHAT is report (JSON of a dump), contrast (JSON of two), or check.
local ffi = require("ffi")
local library, declarations, what, first, second = ...
local file = assert(io.open(declarations))
ffi.cdef(file:read("*a"))
file:close()
local t = ffi.load(library)
local null = ffi.new("void *")

local function text(from)
    return ffi.string(from.data, from.size)
end

local function check(status, failure)
    if status ~= t.TELLTALE_OK then
        error(ffi.string(failure and failure.message or t.telltale_status_sentence(status)), 2)
    end
end

-- Calls what makes a handle; the garbage collector frees it.
local function make(kind, call, ...)
    local out = ffi.new("telltale_" .. kind .. " *[1]")
    local failure = ffi.new("telltale_error")
    local count = select("#", ...) -- nil among them
    local arguments = {...}
    arguments[count + 1] = out
    arguments[count + 2] = failure
    check(call(unpack(arguments, 1, count + 2)), failure)
    return ffi.gc(out[0], t["telltale_" .. kind .. "_free"])
end

local function json(call, handle)
    local out, size = ffi.new("const char *[1]"), ffi.new("size_t[1]")
    check(call(handle, t.TELLTALE_SI, out, size))
    return ffi.string(out[0], size[0])
end

if what == "report" then
    io.write(json(t.telltale_vehicle_json, make("vehicle", function(path, out, failure)
        return t.telltale_vehicle_load(path, nil, out, failure)
    end, first)))
elseif what == "contrast" then
    local good = make("run", t.telltale_run_load, first, nil)
    local bad = make("run", t.telltale_run_load, second, nil)
    local runs = ffi.new("const telltale_run *[1]", bad)
    local found = make("contrast", function(out, failure)
        return t.telltale_contrast_runs(good, runs, 1, nil, out, failure)
    end)
    io.write(json(t.telltale_contrast_json, found))
else
    assert(ffi.string(t.telltale_version()):match("^%d+%.%d+%.%d+$"))
    -- 1AF8 / 4 and 7B - 40 (ISO 15031-5 annex B, PIDs 0C and 05).
    local stream = make("stream", function(out, failure)
        return t.telltale_stream_new(nil, out, failure)
    end)
    local frame = ffi.new("uint8_t[7]", 0x06, 0x41, 0x0C, 0x1A, 0xF8, 0x05, 0x7B)
    check(t.telltale_stream_can(stream, 0, 0x7E8, 0, frame, 7, 0, 0))
    local event = ffi.new("const telltale_event *[1]")
    local got = {}
    while t.telltale_stream_next(stream, event) == t.TELLTALE_OK do
        local value = event[0].message.values
        while value ~= nil do
            local label = value.label
            got[#got + 1] = text(label.name) .. "=" .. value.number .. " " .. text(label.ucum)
            value = value.next
        end
    end
    got = table.concat(got, ", ")
    assert(got == "Engine speed=1726 /min, Engine coolant temperature=83 Cel", got)
    local fine, why = pcall(make, "run", t.telltale_run_load, "/nowhere/at/all", nil)
    assert(not fine and #why > 10, why)
    -- Engine speeds: as many values as the dump has frames that begin with 06 41 0C.
    local dump = make("dump", function(path, out, failure)
        return t.telltale_dump_open(path, nil, out, failure)
    end, first)
    local speeds = 0
    while t.telltale_dump_next(dump, event) == t.TELLTALE_OK do
        local message = event[0].message
        local value = message ~= nil and message.service == 1 and message.values or nil
        while value ~= nil do
            if value.id == 0x0C and value.kind == t.TELLTALE_NUMBER then
                speeds = speeds + 1
            end
            value = value.next
        end
    end
    local bytes = assert(io.open(first, "rb")):read("*a")
    local there = 0
    for _ in bytes:gmatch("%z%z\7[\232\233]\8...\6A\12") do
        there = there + 1
    end
    assert(speeds == there and there > 100, speeds .. " values, " .. there .. " frames")
    local catalogue = ffi.new("telltale_catalogue *[1]")
    check(t.telltale_catalogue_new(nil, catalogue))
    local row = t.telltale_catalogue_find(catalogue[0], t.TELLTALE_TABLE_PIDS, 0x0D)
    assert(text(t.telltale_catalogue_row(catalogue[0], 0, row).name) == "Vehicle speed")
    t.telltale_catalogue_free(catalogue[0])
    print("as it should be")
end
