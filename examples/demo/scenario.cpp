// SPDX-License-Identifier: Apache-2.0
#include "scenario.hpp"

namespace demo {

namespace {

constexpr std::uint16_t map_intermittent = 0x0109; // P0109
constexpr std::uint16_t lean_bank_1 = 0x0171;      // P0171

/// The road from the depot: a street, a main road with a stretch of cobbles, down to the harbour.
std::vector<Stretch> depot_to_harbour() {
    return {
        {0, 50, 0.000, 0.05},    {430, 50, 0.012, 0.10},  {600, 70, 0.018, 0.10},
        {860, 60, 0.004, 0.85},  {1310, 70, 0.000, 0.10}, {1560, 50, -0.016, 0.15},
        {1760, 50, 0.000, 0.05},
    };
}

EcuState engine_state() {
    EcuState e;
    for (const auto pid : {0x01, 0x03, 0x04, 0x05, 0x06, 0x07, 0x0B, 0x0C, 0x0D, 0x0E, 0x0F, 0x10,
                           0x11, 0x13, 0x15, 0x1C, 0x1F, 0x21, 0x2E, 0x2F, 0x30, 0x31, 0x33, 0x34,
                           0x3C, 0x41, 0x42, 0x43, 0x44, 0x46, 0x49, 0x4A, 0x51, 0x5C, 0x5E})
        e.pids.set(static_cast<std::size_t>(pid));
    for (const auto pid : {0x03, 0x04, 0x05, 0x06, 0x07, 0x0B, 0x0C, 0x0D, 0x0E, 0x0F, 0x10, 0x11})
        e.frozen_pids.set(static_cast<std::size_t>(pid));
    e.vin = "0TTVAN2T9NX000417";
    e.calibrations = {{"VAN20T-ECM-0417A", 0x5AC20417}};
    e.acronym = "ECM";
    e.name = "EngineControl";
    // Completions and opportunities by monitor, as InfoType 08 orders them.
    e.counters = {212, 840, 96, 212, 0, 0, 101, 212, 0, 0, 118, 212, 0, 0, 64, 212, 88, 212, 0, 0};
    e.since_clear = {0x07, 0xE5, 0x00};
    e.this_cycle = {0x07, 0xE5, 0x81};
    e.tests = {
        {0x01, 0x80, 0x0B, 612, 450, 820},  // front oxygen sensor, V
        {0x01, 0x81, 0x10, 84, 0, 250},     // its response, ms
        {0x02, 0x80, 0x0B, 703, 600, 1000}, // rear oxygen sensor, V
        {0x21, 0x80, 0x20, 61, 0, 154},     // catalyst, ratio
        {0x35, 0x80, 0x1C, 212, 0, 700},    // camshaft, degrees
        {0x3D, 0x80, 0x17, 38, 10, 65535},  // purge flow, kPa
        {0x41, 0x80, 0x14, 7, 3, 18},       // front heater, ohm
        {0xA2, 0x0B, 0x24, 0, 0, 65535},    // misfires by cylinder, counts
        {0xA2, 0x0C, 0x24, 0, 0, 65535},    {0xA3, 0x0B, 0x24, 0, 0, 65535},
        {0xA3, 0x0C, 0x24, 0, 0, 65535},    {0xA4, 0x0B, 0x24, 1, 0, 65535},
        {0xA4, 0x0C, 0x24, 0, 0, 65535},    {0xA5, 0x0B, 0x24, 0, 0, 65535},
        {0xA5, 0x0C, 0x24, 0, 0, 65535},
    };
    e.run_time_before = 437;
    e.distance_since_clear = 3184;
    e.warm_ups_since_clear = 97;
    return e;
}

EcuState transmission_state() {
    EcuState e;
    for (const auto pid : {0x01, 0x0C, 0x0D, 0x42})
        e.pids.set(static_cast<std::size_t>(pid));
    e.wire_drop = 0.06;
    e.calibrations = {{"VAN20T-TCM-0233", 0x00D1277E}};
    e.acronym = "TCM";
    e.name = "TransmisCtrl";
    e.since_clear = {0x04, 0x00, 0x00};
    return e;
}

/// What the tester reads before and after a drive.
void read_codes(Recording& r) {
    r.ask_all({0x01, 0x01});
    r.ask_all({0x03});
    r.ask_all({0x07});
    r.ask_all({0x0A});
}

void read_identity(Recording& r) {
    r.ask_all({0x01, 0x00, 0x20, 0x40});
    r.ask_all({0x09, 0x00});
    r.ask_all({0x09, 0x02});
    r.ask_all({0x09, 0x04});
    r.ask_all({0x09, 0x0A});
    r.answer_late(0.42);
    r.ask_one({0x09, 0x06}, 0);
    r.ask_one({0x09, 0x06}, 1);
}

void read_monitors(Recording& r) {
    r.ask_one({0x01, 0x41}, 0);
    static constexpr std::uint8_t monitors[] = {0x01, 0x02, 0x21, 0x35, 0x3D,
                                                0x41, 0xA2, 0xA3, 0xA4, 0xA5};
    r.ask_one({0x06, 0x00, 0x20, 0x40, 0x60, 0x80, 0xA0}, 0);
    for (const auto monitor : monitors)
        r.ask_one({0x06, monitor}, 0);
    r.ask_one({0x09, 0x08}, 0);
    r.ask_one({0x01, 0x1C, 0x13, 0x51}, 0);
    r.ask_one({0x01, 0x21, 0x30}, 0);
    r.ask_one({0x01, 0x31, 0x2F}, 0);
}

void read_freeze_frame(Recording& r) {
    r.ask_one({0x02, 0x02, 0x00}, 0);
    r.ask_one({0x02, 0x00, 0x00}, 0);
    for (const auto& three : std::vector<Message>{{0x02, 0x03, 0, 0x04, 0},
                                                  {0x02, 0x05, 0, 0x06, 0},
                                                  {0x02, 0x07, 0, 0x0B, 0},
                                                  {0x02, 0x0C, 0, 0x0D, 0},
                                                  {0x02, 0x0E, 0, 0x0F, 0},
                                                  {0x02, 0x10, 0, 0x11, 0}})
        r.ask_one(three, 0);
}

/// One round of polling: the quick values each time, one of the slow ones in turn.
void poll(Recording& r, unsigned round) {
    r.ask_one({0x01, 0x0C, 0x0B}, 0);
    r.ask_one({0x01, 0x10, 0x11}, 0);
    r.ask_one({0x01, 0x0D, 0x04, 0x0E}, 0);
    r.ask_one({0x01, 0x06, 0x07, 0x49}, 0);
    if (round % 2 == 0) {
        r.ask_one({0x01, 0x34}, 0);
        return;
    }
    static const std::vector<Message> slow = {
        {0x01, 0x05, 0x0F, 0x46}, {0x01, 0x03, 0x15},       {0x01, 0x42, 0x2E},
        {0x01, 0x03, 0x15},       {0x01, 0x33, 0x5C, 0x2F}, {0x01, 0x03, 0x15},
    };
    const unsigned turn = round / 2 % 7;
    if (turn < slow.size())
        r.ask_one(slow[turn], 0);
    else
        r.ask_all({0x01, 0x0C, 0x0D}); // both ECUs know these
}

constexpr double round_time = 0.29; // s

/// The van stands at the harbour.
bool arrived(const Signals& s) {
    return s.distance > 1800 && s.speed < 0.5;
}

} // namespace

void record_good(const std::function<void(const Frame&)>& logger) {
    DriveSettings settings;
    settings.seed = 417;
    settings.ambient = 12;
    settings.barometric = 101;
    settings.coolant_start = 74;
    settings.idle_before = 8;
    settings.long_trim = 1.6;
    settings.road = depot_to_harbour();
    settings.traffic = {{0, 412, 0, 7.5}, {1000, 1120, 52, 0}, {0, 1860, 0, 60}};
    Drive van(settings);
    std::vector<Ecu> ecus;
    ecus.emplace_back(engine_state());
    ecus.emplace_back(transmission_state());

    Recording r(van, ecus, 9001, logger);
    r.wait_until(0.4);
    read_identity(r);
    read_codes(r);
    read_monitors(r);
    unsigned round = 0;
    for (double at = r.now() + 0.3; !arrived(van.signals()); at += round_time) {
        r.wait_until(at);
        poll(r, round++);
    }
    read_codes(r);
}

void record_bad(const std::function<void(const Frame&)>& logger) {
    DriveSettings settings;
    settings.seed = 6;
    settings.ambient = 17;
    settings.barometric = 100;
    settings.coolant_start = 81;
    settings.idle_before = 9;
    settings.long_trim = 2.4;
    settings.eagerness = 1.03;
    settings.road = depot_to_harbour();
    settings.traffic = {{480, 640, 41, 0}, {0, 1860, 0, 60}};
    settings.harness = {true, 0.5, 0.24, 0.3, 2.2, 0.34};
    Drive van(settings);
    std::vector<Ecu> ecus;
    ecus.emplace_back(engine_state());
    ecus.emplace_back(transmission_state());
    auto& engine = ecus[0].state;
    engine.run_time_before = 1262;
    engine.distance_since_clear = 3291;
    engine.warm_ups_since_clear = 101;
    engine.pending = {map_intermittent}; // from the drive before
    engine.this_cycle = {0x07, 0xE5, 0x05};

    Recording r(van, ecus, 9002, logger);
    r.wait_until(0.4);
    r.lose_consecutive(1);
    read_identity(r);
    r.ask_all({0x01, 0x00, 0x20, 0x40}); // again: the first answer came incomplete
    read_codes(r);
    read_monitors(r);

    unsigned round = 0;
    unsigned openings = 0;
    bool was_open = false;
    double mark_at = 0;
    for (double at = r.now() + 0.3; !arrived(van.signals()); at += round_time) {
        r.wait_until(at);
        const Signals& s = van.signals();
        if (s.contact_open && !was_open && ++openings == 2) {
            mark_at = at + 1.1; // she feels it, and presses the key
            // The second drive in a row: the controller confirms the code and lights the lamp.
            engine.stored = {map_intermittent};
            engine.permanent = {map_intermittent};
            engine.pending = {map_intermittent, lean_bank_1};
            engine.lamp = true;
            ecus[0].freeze(map_intermittent, s);
        }
        was_open = s.contact_open;
        if (mark_at > 0 && at >= mark_at) {
            r.comment("holds back on the cobbles, steady foot");
            mark_at = 0;
        }
        poll(r, round++);
    }
    read_codes(r);
    read_freeze_frame(r);
    r.ask_one({0x0A}, 1);
}

} // namespace demo
