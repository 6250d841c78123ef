// SPDX-License-Identifier: Apache-2.0
// From signals to the data bytes of service 01: the encodings of ISO 15031-5 annex B and
// SAE J1979-DA, the other way round.
#include "encode.hpp"

namespace telltale::mimic {

namespace {

using Put = void (*)(Message& out, const EcuState& ecu, const Signals& signals);

struct Parameter {
    std::uint8_t pid;
    Put put;
};

std::uint8_t fuel_status(const Signals& s) {
    if (!s.running)
        return 0x00;
    if (s.closed_loop)
        return 0x02;
    return s.coolant <= 30 ? 0x01 : 0x04;
}

/// Voltage of a switching oxygen sensor: steep about lambda 1.
double narrow_voltage(double lambda) {
    return std::clamp(0.45 - (lambda - 1) * 14, 0.06, 0.88);
}

void put_signed(Message& out, double value, double per_unit) {
    const double steps = std::clamp(std::floor(value * per_unit + 0.5), -32768.0, 32767.0);
    put_word(out, static_cast<std::uint16_t>(static_cast<std::int32_t>(steps)));
}

double torque_share(const EcuState& e, double torque) {
    return 100 * torque / e.reference_torque;
}

// clang-format off
constexpr Parameter table[] = {
    {0x01, [](Message& out, const EcuState& e, const Signals&) {
        out.push_back(static_cast<std::uint8_t>((e.lamp ? 0x80 : 0) |
                                                std::min<std::size_t>(e.stored.size(), 127)));
        out.insert(out.end(), e.since_clear.begin(), e.since_clear.end());
    }},
    {0x03, [](Message& out, const EcuState&, const Signals& s) { put_bytes(out, {fuel_status(s), 0}); }},
    {0x04, [](Message& out, const EcuState&, const Signals& s) { put_percent(out, s.load); }},
    {0x05, [](Message& out, const EcuState&, const Signals& s) { put(out, s.coolant, 1, 40); }},
    {0x06, [](Message& out, const EcuState&, const Signals& s) { put(out, s.short_trim, 1.28, 100); }},
    {0x07, [](Message& out, const EcuState&, const Signals& s) { put(out, s.long_trim, 1.28, 100); }},
    {0x0B, [](Message& out, const EcuState&, const Signals& s) { put(out, s.map, 1); }},
    {0x0C, [](Message& out, const EcuState&, const Signals& s) { put(out, s.rpm, 4, 0, 2); }},
    {0x0D, [](Message& out, const EcuState&, const Signals& s) { put(out, s.speed, 1); }},
    {0x0E, [](Message& out, const EcuState&, const Signals& s) { put(out, s.advance, 2, 64); }},
    {0x0F, [](Message& out, const EcuState&, const Signals& s) { put(out, s.intake, 1, 40); }},
    {0x10, [](Message& out, const EcuState&, const Signals& s) { put(out, s.maf, 100, 0, 2); }},
    {0x11, [](Message& out, const EcuState&, const Signals& s) { put_percent(out, s.throttle); }},
    {0x13, [](Message& out, const EcuState& e, const Signals&) { out.push_back(e.oxygen_sensors); }},
    {0x14, [](Message& out, const EcuState&, const Signals& s) {
        put(out, narrow_voltage(s.lambda), 200);
        put(out, std::min(s.short_trim, 99.0), 1.28, 100);
    }},
    {0x15, [](Message& out, const EcuState&, const Signals& s) {
        put(out, s.rear_oxygen, 200);
        out.push_back(0xFF);
    }},
    {0x1C, [](Message& out, const EcuState& e, const Signals&) { out.push_back(e.requirement); }},
    {0x1F, [](Message& out, const EcuState& e, const Signals& s) { put(out, s.run_time + e.run_time_before, 1, 0, 2); }},
    {0x21, [](Message& out, const EcuState& e, const Signals&) { put_word(out, e.distance_with_lamp); }},
    {0x23, [](Message& out, const EcuState&, const Signals& s) { put(out, s.rail_pressure, 0.1, 0, 2); }},
    {0x2C, [](Message& out, const EcuState&, const Signals& s) { put_percent(out, s.egr); }},
    {0x2D, [](Message& out, const EcuState&, const Signals& s) {
        // SAE J1979: (actual - commanded) / commanded; nothing to divide by: 0, or all of it.
        const double error = s.egr > 0.5 ? 100 * (s.egr_actual - s.egr) / s.egr
                             : s.egr_actual > 0.5 ? 99.2 : 0;
        put(out, error, 1.28, 100);
    }},
    {0x2E, [](Message& out, const EcuState&, const Signals& s) { put_percent(out, s.purge); }},
    {0x2F, [](Message& out, const EcuState&, const Signals& s) { put_percent(out, s.fuel_level); }},
    {0x30, [](Message& out, const EcuState& e, const Signals&) { out.push_back(e.warm_ups_since_clear); }},
    {0x31, [](Message& out, const EcuState& e, const Signals&) { put_word(out, e.distance_since_clear); }},
    {0x32, [](Message& out, const EcuState&, const Signals& s) { put_signed(out, -6 * s.purge, 4); }},
    {0x33, [](Message& out, const EcuState&, const Signals& s) { put(out, s.barometric, 1); }},
    {0x34, [](Message& out, const EcuState&, const Signals& s) {
        put(out, s.lambda, 32768, 0, 2);
        // Pump current of a wide-range sensor: below zero where the mixture is rich.
        const double away = std::clamp(s.lambda - 1, -0.3, 1.0);
        put(out, away < 0 ? 5 * away : 2.2 * away, 256, 128, 2);
    }},
    {0x3C, [](Message& out, const EcuState&, const Signals& s) { put(out, s.catalyst, 10, 40, 2); }},
    {0x41, [](Message& out, const EcuState& e, const Signals&) {
        out.push_back(0);
        out.insert(out.end(), e.this_cycle.begin(), e.this_cycle.end());
    }},
    {0x42, [](Message& out, const EcuState& e, const Signals& s) { put(out, s.voltage - e.wire_drop, 1000, 0, 2); }},
    {0x43, [](Message& out, const EcuState&, const Signals& s) { put(out, s.load_absolute, 2.55, 0, 2); }},
    {0x44, [](Message& out, const EcuState&, const Signals& s) { put(out, s.lambda_asked, 32768, 0, 2); }},
    {0x45, [](Message& out, const EcuState&, const Signals& s) { put_percent(out, std::max(s.throttle - 9, 0.0)); }},
    {0x46, [](Message& out, const EcuState&, const Signals& s) { put(out, s.ambient, 1, 40); }},
    {0x47, [](Message& out, const EcuState&, const Signals& s) { put_percent(out, s.throttle + 1.2); }},
    {0x49, [](Message& out, const EcuState&, const Signals& s) { put_percent(out, 15 + 0.7 * s.pedal); }},
    {0x4A, [](Message& out, const EcuState&, const Signals& s) { put_percent(out, 7.5 + 0.35 * s.pedal); }},
    {0x4C, [](Message& out, const EcuState&, const Signals& s) { put_percent(out, s.throttle); }},
    {0x4D, [](Message& out, const EcuState& e, const Signals&) { put_word(out, e.minutes_with_lamp); }},
    {0x4E, [](Message& out, const EcuState& e, const Signals&) { put_word(out, e.minutes_since_clear); }},
    {0x51, [](Message& out, const EcuState& e, const Signals&) { out.push_back(e.diesel ? 0x04 : 0x01); }},
    {0x5A, [](Message& out, const EcuState&, const Signals& s) { put_percent(out, s.pedal); }},
    {0x5C, [](Message& out, const EcuState&, const Signals& s) { put(out, s.oil, 1, 40); }},
    {0x5D, [](Message& out, const EcuState&, const Signals& s) { put(out, s.advance, 128, 210, 2); }},
    {0x5E, [](Message& out, const EcuState&, const Signals& s) { put(out, s.fuel_rate, 20, 0, 2); }},
    {0x61, [](Message& out, const EcuState& e, const Signals& s) { put(out, torque_share(e, s.torque_wanted), 1, 125); }},
    {0x62, [](Message& out, const EcuState& e, const Signals& s) { put(out, torque_share(e, s.torque), 1, 125); }},
    {0x63, [](Message& out, const EcuState& e, const Signals&) { put(out, e.reference_torque, 1, 0, 2); }},
    {0x67, [](Message& out, const EcuState&, const Signals& s) {
        out.push_back(0x03);
        put(out, s.coolant, 1, 40);
        put(out, s.coolant - 4, 1, 40);
    }},
    {0x70, [](Message& out, const EcuState&, const Signals& s) {
        out.push_back(0x07); // A: commanded, actual, state of control
        put(out, s.boost_wanted, 32, 0, 2);
        put(out, s.map, 32, 0, 2);
        put_bytes(out, {0, 0, 0, 0, 0x02}); // closed loop
    }},
    {0x78, [](Message& out, const EcuState&, const Signals& s) {
        out.push_back(0x03);
        put(out, s.exhaust, 10, 40, 2);
        put(out, s.catalyst, 10, 40, 2);
        put_bytes(out, {0, 0, 0, 0});
    }},
    {0x7A, [](Message& out, const EcuState&, const Signals& s) {
        out.push_back(0x01);
        put_signed(out, s.filter_drop, 100);
        put_bytes(out, {0, 0, 0, 0});
    }},
    {0x83, [](Message& out, const EcuState&, const Signals& s) {
        out.push_back(0x01);
        put(out, s.running ? 60 + 4.5 * s.load : 0, 1, 0, 2);
        put_bytes(out, {0, 0, 0, 0, 0, 0});
    }},
    {0x8E, [](Message& out, const EcuState& e, const Signals& s) {
        put(out, s.running ? torque_share(e, 60 + 0.008 * s.rpm) : 0, 1, 125);
    }},
    {0x9B, [](Message& out, const EcuState&, const Signals& s) {
        out.push_back(0x0E); // concentration, temperature, level
        put(out, 32.5, 4);
        put(out, s.ambient + 6, 1, 40);
        put_percent(out, 71);
    }},
    {0x9D, [](Message& out, const EcuState& e, const Signals& s) {
        const double grams = s.fuel_rate * (e.diesel ? 832 : 745) / 3600;
        put(out, grams, 50, 0, 2);
        put(out, grams, 50, 0, 2);
    }},
    {0xA4, [](Message& out, const EcuState&, const Signals& s) {
        out.push_back(0x03);
        out.push_back(static_cast<std::uint8_t>(s.gear << 4));
        put(out, s.gear_ratio / 3.73, 1000, 0, 2); // the final drive is 3.73
    }},
    {0xA6, [](Message& out, const EcuState& e, const Signals& s) {
        const auto tenths = static_cast<std::uint32_t>((e.odometer + s.distance / 1000) * 10);
        put_word(out, tenths >> 16);
        put_word(out, tenths & 0xFFFF);
    }},
};
// clang-format on

struct Index {
    std::array<std::uint8_t, 256> at{}; // 0: none
};

constexpr Index index = [] {
    Index made;
    for (std::size_t i = 0; i < std::size(table); ++i)
        made.at[table[i].pid] = static_cast<std::uint8_t>(i + 1);
    return made;
}();

} // namespace

bool put_parameter(Message& out, std::uint8_t pid, const EcuState& ecu, const Signals& signals) {
    const std::uint8_t at = index.at[pid];
    if (at == 0)
        return false;
    table[at - 1U].put(out, ecu, signals);
    return true;
}

} // namespace telltale::mimic
