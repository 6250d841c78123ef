// SPDX-License-Identifier: Apache-2.0
#include "vehicle.hpp"

#include <array>

#include "telltale/base/hex.hpp"
#include "telltale/base/shown.hpp"
#include "telltale/catalogue/codes.hpp"
#include "telltale/vehicle/report.hpp"
#include "telltale/vehicle/vin.hpp"

using namespace telltale;

namespace {

using Seen = telltale_vehicle::Seen;

std::int32_t size_of(const vehicle::CodeList& list) {
    return list.heard ? static_cast<std::int32_t>(list.codes.size()) : -1;
}

void take_codes(c::Arena& arena, const catalogue::Extension* extension,
                const vehicle::CodeList& list, int which, std::vector<telltale_code>& out) {
    for (const vehicle::Code& code : list.codes) {
        telltale_code to{};
        to.list = which;
        to.raw = code.dtc.raw;
        to.failure_type = code.failure_type;
        if (code.failure_type >= 0)
            to.raw = to.raw << 8 | static_cast<std::uint32_t>(code.failure_type);
        to.text = arena.text(code.text());
        c::MeaningBuffer words;
        to.meaning = arena.text(c::code_meaning(code.dtc.raw, code.failure_type, extension, words));
        out.push_back(to);
    }
}

telltale_signal take_signal(c::Arena& arena, const vehicle::SignalKey& key,
                            const vehicle::Signal& signal) {
    telltale_signal to{};
    to.service = key.service;
    to.index = key.index;
    to.id = key.id;
    to.is_number = signal.is_number ? 1 : 0;
    to.decimals = signal.decimals;
    to.name = arena.text(signal.name);
    to.key = arena.text(signal.key);
    to.text = arena.text(signal.text);
    to.unit = to.ucum = {"", 0};
    if (signal.is_number) {
        const Shown how = shown(signal.unit, signal.step, signal.decimals, UnitSystem::si);
        to.unit = c::literal(how.text);
        to.ucum = c::literal(how.ucum);
    }
    to.count = signal.count;
    to.first = signal.first;
    to.last = signal.last;
    to.min = signal.min;
    to.max = signal.max;
    to.mean = signal.mean;
    to.rate = signal.rate();
    return to;
}

void take_ecu(c::Arena& arena, const catalogue::Extension* extension, const vehicle::Ecu& from,
              Seen& to) {
    std::string id;
    if (from.has_id)
        append_hex(id, from.id.value, from.id.extended ? 8 : 3);
    to.ecu.id = arena.text(id);
    to.ecu.line = arena.text(from.line_name);
    to.ecu.vin = arena.text(from.vin());
    to.ecu.messages = from.messages;
    to.ecu.problems = from.problems;
    for (const auto& [kind, count] : from.refusals)
        to.ecu.refused += count;
    to.ecu.mil = from.mil ? (*from.mil ? 1 : 0) : -1;
    to.ecu.code_count = from.code_count ? static_cast<std::int32_t>(*from.code_count) : -1;
    to.ecu.stored = size_of(from.stored);
    to.ecu.pending = size_of(from.pending);
    to.ecu.permanent = size_of(from.permanent);
    to.ecu.incomplete =
        from.since_clear.heard ? static_cast<std::int32_t>(from.since_clear.incomplete()) : -1;
    take_codes(arena, extension, from.stored, TELLTALE_STORED, to.codes);
    take_codes(arena, extension, from.pending, TELLTALE_PENDING, to.codes);
    take_codes(arena, extension, from.permanent, TELLTALE_PERMANENT, to.codes);
    for (const auto& [key, monitor] : from.since_clear.monitors) {
        telltale_monitor one{};
        one.name = arena.text(monitor.name);
        one.complete = monitor.complete ? 1 : 0;
        one.time = monitor.time;
        to.monitors.push_back(one);
    }
    for (const auto& [key, signal] : from.signals)
        to.signals.push_back(take_signal(arena, key, signal));
    to.ecu.codes = to.codes.size();
    to.ecu.monitors = to.monitors.size();
    to.ecu.signals = to.signals.size();
}

void look(telltale_vehicle& vehicle) {
    const vehicle::Picture& picture = vehicle.shared->picture;
    vehicle.seen.clear();
    vehicle.facts = {};
    c::Arena& arena = vehicle.arena;
    arena.clear();
    const std::string vin = picture.vin();
    telltale_vehicle_facts& facts = vehicle.facts;
    facts.vin = arena.text(vin);
    facts.vin_check =
        vin.empty() ? telltale_text{"", 0} : c::literal(word(vehicle::check_vin(vin)));
    facts.start = picture.first_time();
    facts.end = picture.last_time();
    facts.messages = picture.messages();
    const vehicle::Conversation& conversation = picture.conversation();
    facts.requests = conversation.requests;
    facts.unanswered = conversation.unanswered;
    facts.refused = conversation.refused;
    facts.problems = conversation.problem_count;
    facts.not_kept = picture.not_kept().all();
    for (const vehicle::Ecu* const ecu : picture.ecus())
        take_ecu(arena, vehicle.extension.get(), *ecu, vehicle.seen.emplace_back());
    facts.ecus = vehicle.seen.size();
}

/// A report into a text that the handle keeps.
template <class Append>
int report(telltale_vehicle* vehicle, int units, const char** text, std::size_t* size,
           std::string telltale_vehicle::*kept, Append append) noexcept {
    if (text != nullptr)
        *text = nullptr;
    if (size != nullptr)
        *size = 0;
    if (text == nullptr || size == nullptr || (units != TELLTALE_SI && units != TELLTALE_US))
        return TELLTALE_BAD_ARGUMENT;
    return c::use(vehicle, [&] {
        if (vehicle->shared->unusable)
            return int{TELLTALE_UNUSABLE};
        vehicle::ReportOptions options;
        options.units = units == TELLTALE_US ? UnitSystem::us : UnitSystem::si;
        options.source = vehicle->source;
        options.format = vehicle->format;
        options.frames = vehicle->frames;
        options.extension = vehicle->extension.get();
        std::string& out = vehicle->*kept;
        out.clear();
        append(out, vehicle->shared->picture, options);
        *text = out.c_str();
        *size = out.size();
        return int{TELLTALE_OK};
    });
}

const Seen* seen_of(const telltale_vehicle* vehicle, std::size_t ecu) noexcept {
    return vehicle == nullptr || ecu >= vehicle->seen.size() ? nullptr : &vehicle->seen[ecu];
}

template <class T> const T* at(const std::vector<T>& all, std::size_t index) noexcept {
    return index < all.size() ? &all[index] : nullptr;
}

} // namespace

extern "C" {

int telltale_vehicle_new(telltale_vehicle** vehicle) {
    return c::make(vehicle, nullptr, [](std::unique_ptr<telltale_vehicle>& made) {
        made = std::make_unique<telltale_vehicle>();
        return int{TELLTALE_OK};
    });
}

void telltale_vehicle_free(telltale_vehicle* vehicle) {
    delete vehicle;
}

int telltale_vehicle_json(telltale_vehicle* vehicle, int units, const char** text, size_t* size) {
    return report(
        vehicle, units, text, size, &telltale_vehicle::json,
        [](std::string& out, const vehicle::Picture& picture,
           const vehicle::ReportOptions& options) { append_report_json(out, picture, options); });
}

int telltale_vehicle_text(telltale_vehicle* vehicle, int units, const char** text, size_t* size) {
    return report(
        vehicle, units, text, size, &telltale_vehicle::text,
        [](std::string& out, const vehicle::Picture& picture,
           const vehicle::ReportOptions& options) { append_report_text(out, picture, options); });
}

int telltale_vehicle_look(telltale_vehicle* vehicle, const telltale_vehicle_facts** facts) {
    if (facts == nullptr)
        return TELLTALE_BAD_ARGUMENT;
    *facts = nullptr;
    return c::use(vehicle, [&] {
        if (vehicle->shared->unusable)
            return int{TELLTALE_UNUSABLE};
        look(*vehicle);
        *facts = &vehicle->facts;
        return int{TELLTALE_OK};
    });
}

const telltale_ecu* telltale_vehicle_ecu(const telltale_vehicle* vehicle, size_t ecu) {
    const Seen* const seen = seen_of(vehicle, ecu);
    return seen == nullptr ? nullptr : &seen->ecu;
}

const telltale_code* telltale_vehicle_code(const telltale_vehicle* vehicle, size_t ecu,
                                           size_t index) {
    const Seen* const seen = seen_of(vehicle, ecu);
    return seen == nullptr ? nullptr : at(seen->codes, index);
}

const telltale_monitor* telltale_vehicle_monitor(const telltale_vehicle* vehicle, size_t ecu,
                                                 size_t index) {
    const Seen* const seen = seen_of(vehicle, ecu);
    return seen == nullptr ? nullptr : at(seen->monitors, index);
}

const telltale_signal* telltale_vehicle_signal(const telltale_vehicle* vehicle, size_t ecu,
                                               size_t index) {
    const Seen* const seen = seen_of(vehicle, ecu);
    return seen == nullptr ? nullptr : at(seen->signals, index);
}

} // extern "C"
