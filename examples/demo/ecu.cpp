// SPDX-License-Identifier: Apache-2.0
#include "ecu.hpp"

#include <algorithm>
#include <cmath>

namespace demo {

namespace {

/// Appends `value` in steps of `1 / per_unit` after `offset` was added, big-endian in `bytes`,
/// held to what fits.
void put(Message& out, double value, double per_unit, double offset = 0, unsigned bytes = 1) {
    const double top = bytes == 1 ? 255 : 65535;
    const double steps = std::clamp(std::floor((value + offset) * per_unit + 0.5), 0.0, top);
    const auto raw = static_cast<std::uint32_t>(steps);
    if (bytes == 2)
        out.push_back(static_cast<std::uint8_t>(raw >> 8));
    out.push_back(static_cast<std::uint8_t>(raw));
}

void put_word(Message& out, std::uint32_t value) {
    out.push_back(static_cast<std::uint8_t>(value >> 8));
    out.push_back(static_cast<std::uint8_t>(value));
}

void put_bytes(Message& out, std::initializer_list<std::uint8_t> bytes) {
    out.insert(out.end(), bytes);
}

void put_percent(Message& out, double value) {
    put(out, value, 2.55);
}

/// Support bits of the 32 identifiers after `base`; the last says that the next range has some.
template <class Supported>
void put_bitmap(Message& out, unsigned base, const Supported& supported) {
    std::uint32_t bits = 0;
    for (unsigned i = 1; i < 32; ++i)
        if (base + i <= 0xFF && supported(static_cast<std::uint8_t>(base + i)))
            bits |= 1U << (32 - i);
    for (unsigned id = base + 33; id <= 0xFF; ++id)
        if (supported(static_cast<std::uint8_t>(id)))
            bits |= 1;
    put_word(out, bits >> 16);
    put_word(out, bits & 0xFFFF);
}

std::uint8_t fuel_status(const Signals& s) {
    if (s.closed_loop)
        return 0x02;
    return s.coolant <= 30 ? 0x01 : 0x04;
}

// The encodings below are those of ISO 15031-5 annex B, the other way round.
constexpr Parameter engine[] = {
    {0x01,
     [](const EcuState& e, const Signals&, Message& out) {
         out.push_back(static_cast<std::uint8_t>((e.lamp ? 0x80 : 0) | e.stored.size()));
         out.insert(out.end(), e.since_clear.begin(), e.since_clear.end());
     }},
    {0x03,
     [](const EcuState&, const Signals& s, Message& out) {
         put_bytes(out, {fuel_status(s), 0});
     }},
    {0x04, [](const EcuState&, const Signals& s, Message& out) { put_percent(out, s.load); }},
    {0x05, [](const EcuState&, const Signals& s, Message& out) { put(out, s.coolant, 1, 40); }},
    {0x06,
     [](const EcuState&, const Signals& s, Message& out) { put(out, s.short_trim, 1.28, 100); }},
    {0x07,
     [](const EcuState&, const Signals& s, Message& out) { put(out, s.long_trim, 1.28, 100); }},
    {0x0B, [](const EcuState&, const Signals& s, Message& out) { put(out, s.map, 1); }},
    {0x0C, [](const EcuState&, const Signals& s, Message& out) { put(out, s.rpm, 4, 0, 2); }},
    {0x0D, [](const EcuState&, const Signals& s, Message& out) { put(out, s.speed, 1); }},
    {0x0E, [](const EcuState&, const Signals& s, Message& out) { put(out, s.advance, 2, 64); }},
    {0x0F, [](const EcuState&, const Signals& s, Message& out) { put(out, s.intake, 1, 40); }},
    {0x10, [](const EcuState&, const Signals& s, Message& out) { put(out, s.maf, 100, 0, 2); }},
    {0x11, [](const EcuState&, const Signals& s, Message& out) { put_percent(out, s.throttle); }},
    {0x13, [](const EcuState&, const Signals&, Message& out) { out.push_back(0x03); }},
    {0x15,
     [](const EcuState&, const Signals& s, Message& out) {
         put(out, s.rear_oxygen, 200);
         out.push_back(0xFF);
     }},
    {0x1C, [](const EcuState&, const Signals&, Message& out) { out.push_back(0x03); }},
    {0x1F, [](const EcuState& e, const Signals& s,
              Message& out) { put(out, s.run_time + e.run_time_before, 1, 0, 2); }},
    {0x21,
     [](const EcuState& e, const Signals&, Message& out) { put_word(out, e.distance_with_lamp); }},
    {0x2E, [](const EcuState&, const Signals& s, Message& out) { put_percent(out, s.purge); }},
    {0x2F, [](const EcuState&, const Signals& s, Message& out) { put_percent(out, s.fuel_level); }},
    {0x30, [](const EcuState& e, const Signals&,
              Message& out) { out.push_back(e.warm_ups_since_clear); }},
    {0x31, [](const EcuState& e, const Signals&,
              Message& out) { put_word(out, e.distance_since_clear); }},
    {0x33, [](const EcuState&, const Signals& s, Message& out) { put(out, s.barometric, 1); }},
    {0x34,
     [](const EcuState&, const Signals& s, Message& out) {
         put(out, s.lambda, 32768, 0, 2);
         // Pump current of a wide-range sensor: below zero where the mixture is rich.
         const double away = std::clamp(s.lambda - 1, -0.3, 1.0);
         put(out, away < 0 ? 5 * away : 2.2 * away, 256, 128, 2);
     }},
    {0x3C,
     [](const EcuState&, const Signals& s, Message& out) { put(out, s.catalyst, 10, 40, 2); }},
    {0x41,
     [](const EcuState& e, const Signals&, Message& out) {
         out.push_back(0);
         out.insert(out.end(), e.this_cycle.begin(), e.this_cycle.end());
     }},
    {0x42,
     [](const EcuState&, const Signals& s, Message& out) { put(out, s.voltage, 1000, 0, 2); }},
    {0x43, [](const EcuState&, const Signals& s, Message& out) { put(out, s.load, 2.55, 0, 2); }},
    {0x44, [](const EcuState&, const Signals& s,
              Message& out) { put(out, s.lambda_asked, 32768, 0, 2); }},
    {0x46, [](const EcuState&, const Signals& s, Message& out) { put(out, s.ambient, 1, 40); }},
    {0x49,
     [](const EcuState&, const Signals& s, Message& out) { put_percent(out, 15 + 0.7 * s.pedal); }},
    {0x4A, [](const EcuState&, const Signals& s,
              Message& out) { put_percent(out, 7.5 + 0.35 * s.pedal); }},
    {0x51, [](const EcuState&, const Signals&, Message& out) { out.push_back(0x01); }},
    {0x5C, [](const EcuState&, const Signals& s, Message& out) { put(out, s.oil, 1, 40); }},
    {0x5E,
     [](const EcuState&, const Signals& s, Message& out) { put(out, s.fuel_rate, 20, 0, 2); }},
};

constexpr Parameter transmission[] = {
    {0x01,
     [](const EcuState& e, const Signals&, Message& out) {
         out.push_back(static_cast<std::uint8_t>((e.lamp ? 0x80 : 0) | e.stored.size()));
         out.insert(out.end(), e.since_clear.begin(), e.since_clear.end());
     }},
    {0x0C, [](const EcuState&, const Signals& s, Message& out) { put(out, s.rpm, 4, 0, 2); }},
    {0x0D, [](const EcuState&, const Signals& s, Message& out) { put(out, s.speed, 1); }},
    {0x42, [](const EcuState&, const Signals& s,
              Message& out) { put(out, s.voltage - 0.06, 1000, 0, 2); }},
};

constexpr std::uint8_t frozen_pids[] = {0x03, 0x04, 0x05, 0x06, 0x07, 0x0B,
                                        0x0C, 0x0D, 0x0E, 0x0F, 0x10, 0x11};

bool is_range(std::uint8_t id) {
    return id % 0x20 == 0;
}

const Parameter* find(std::span<const Parameter> parameters, std::uint8_t pid) {
    for (const auto& p : parameters)
        if (p.pid == pid)
            return &p;
    return nullptr;
}

} // namespace

std::span<const Parameter> engine_parameters() {
    return engine;
}
std::span<const Parameter> transmission_parameters() {
    return transmission;
}

Message Ecu::answer(const Message& request, bool functional, const Signals& signals) const {
    const auto codes = [&](const std::vector<std::uint16_t>& list) {
        Message out{static_cast<std::uint8_t>(request[0] + 0x40),
                    static_cast<std::uint8_t>(list.size())};
        for (const auto code : list)
            put_word(out, code);
        return out;
    };
    Message out;
    switch (request[0]) {
    case 0x01:
        out = current_data(request, signals);
        break;
    case 0x02:
        out = frozen_data(request);
        break;
    case 0x03:
        return codes(state.stored);
    case 0x06:
        out = monitor_tests(request);
        break;
    case 0x07:
        return codes(state.pending);
    case 0x09:
        out = information(request);
        break;
    case 0x0A:
        return codes(state.permanent);
    default:
        if (!functional)
            return {0x7F, request[0], 0x11}; // service not supported
        return {};
    }
    if (out.size() > 1)
        return out;
    // Nothing of what was asked is supported: silence to all, 12 to the one that was asked.
    return functional ? Message{} : Message{0x7F, request[0], 0x12};
}

Message Ecu::current_data(const Message& request, const Signals& signals) const {
    Message out{0x41};
    for (std::size_t i = 1; i < request.size(); ++i) {
        const std::uint8_t pid = request[i];
        const auto supported = [&](std::uint8_t id) { return find(parameters_, id) != nullptr; };
        if (is_range(pid)) {
            if (pid != 0 && parameters_.back().pid <= pid)
                continue;
            out.push_back(pid);
            put_bitmap(out, pid, supported);
        } else if (const auto* parameter = find(parameters_, pid)) {
            out.push_back(pid);
            parameter->put(state, signals, out);
        }
    }
    return out;
}

Message Ecu::frozen_data(const Message& request) const {
    Message out{0x42};
    for (std::size_t i = 1; i + 1 < request.size(); i += 2) {
        const std::uint8_t pid = request[i];
        if (request[i + 1] != 0)
            continue; // this ECU keeps frame 0 only
        const auto kept = std::find_if(frozen_.begin(), frozen_.end(),
                                       [&](const auto& entry) { return entry.first == pid; });
        if (pid == 0x00) {
            put_bytes(out, {pid, 0});
            put_bitmap(out, 0, [&](std::uint8_t id) {
                return id == 0x02 || std::find(std::begin(frozen_pids), std::end(frozen_pids),
                                               id) != std::end(frozen_pids);
            });
        } else if (pid == 0x02) {
            put_bytes(out, {pid, 0});
            put_word(out, frozen_code_);
        } else if (kept != frozen_.end()) {
            put_bytes(out, {pid, 0});
            out.insert(out.end(), kept->second.begin(), kept->second.end());
        }
    }
    return out;
}

void Ecu::freeze(std::uint16_t code, const Signals& signals) {
    frozen_code_ = code;
    frozen_.clear();
    for (const auto pid : frozen_pids)
        if (const auto* parameter = find(parameters_, pid)) {
            Message data;
            parameter->put(state, signals, data);
            frozen_.emplace_back(pid, data);
        }
}

Message Ecu::monitor_tests(const Message& request) const {
    Message out{0x46};
    for (std::size_t i = 1; i < request.size(); ++i) {
        const std::uint8_t monitor = request[i];
        if (is_range(monitor)) {
            if (state.tests.empty() || (monitor != 0 && state.tests.back().monitor <= monitor))
                continue;
            out.push_back(monitor);
            put_bitmap(out, monitor, [&](std::uint8_t id) {
                return std::any_of(state.tests.begin(), state.tests.end(),
                                   [&](const MonitorTest& t) { return t.monitor == id; });
            });
            continue;
        }
        for (const auto& t : state.tests)
            if (t.monitor == monitor) {
                put_bytes(out, {t.monitor, t.test, t.scaling});
                put_word(out, t.value);
                put_word(out, t.low);
                put_word(out, t.high);
            }
    }
    return out;
}

Message Ecu::information(const Message& request) const {
    Message out{0x49};
    const auto text = [&](const std::string& s, std::size_t size) {
        for (std::size_t i = 0; i < size; ++i)
            out.push_back(i < s.size() ? static_cast<std::uint8_t>(s[i]) : 0);
    };
    const auto supported = [&](std::uint8_t id) {
        return (id == 0x02 && !state.vin.empty()) || id == 0x04 || id == 0x06 ||
               (id == 0x08 && !state.counters.empty()) || id == 0x0A;
    };
    if (request.size() < 2)
        return out;
    const std::uint8_t type = request[1];
    if (type != 0 && !supported(type))
        return out;
    out.push_back(type);
    if (type == 0x00) {
        put_bitmap(out, 0, supported);
        return out;
    }
    out.push_back(type == 0x08 ? static_cast<std::uint8_t>(state.counters.size()) : 1);
    switch (type) {
    case 0x02:
        text(state.vin, 17);
        break;
    case 0x04:
        text(state.calibration, 16);
        break;
    case 0x06:
        put_word(out, state.verification >> 16);
        put_word(out, state.verification & 0xFFFF);
        break;
    case 0x08:
        for (const auto counter : state.counters)
            put_word(out, counter);
        break;
    default:
        text(state.acronym, 4);
        out.push_back('-');
        text(state.name, 15);
        break;
    }
    return out;
}

} // namespace demo
