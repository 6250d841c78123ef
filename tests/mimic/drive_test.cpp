// SPDX-License-Identifier: Apache-2.0
// The drive: its signals agree with each other, and faults show where they are put.
#include <doctest/doctest.h>

#include <cmath>

#include "support.hpp"

namespace {

using namespace telltale;
using namespace telltale::mimic;
using namespace telltale::mimic::test;

template <class Use> void drive(const Options& options, double seconds, const Use& use) {
    Vehicle vehicle(options);
    for (Time now = 0; now < static_cast<Time>(seconds * 1e9); now += second / 2) {
        vehicle.poll(now, [](const CanFrame&) {});
        use(vehicle, vehicle.signals(), vehicle.truth());
    }
}

TEST_CASE("speed-density: air flow by pressure, engine speed, temperature and displacement") {
    for (std::uint64_t seed = 1; seed <= 8; ++seed) {
        CAPTURE(seed);
        Options options;
        options.seed = seed;
        std::vector<double> efficiency;
        drive(options, 900, [&](const Vehicle& v, const Signals& s, const Signals&) {
            // ideal gas: kg of air that the cylinders would hold at manifold pressure
            const double charge = s.map * 1000 * v.settings().car.cylinder /
                                  (287.05 * (273.15 + s.intake)) * 1000; // g
            const double flow = charge * 4 * s.rpm / 120;
            const double fresh = 1 - s.egr_actual / 100;
            if (s.map > 30)
                efficiency.push_back(s.maf / (flow * fresh));
        });
        std::sort(efficiency.begin(), efficiency.end());
        REQUIRE(efficiency.size() > 400);
        // Volumetric efficiency of such an engine: common practice says 0.7 to 0.95.
        CHECK(efficiency[efficiency.size() / 2] > 0.7);
        CHECK(efficiency[efficiency.size() / 2] < 0.95);
        CHECK(efficiency[efficiency.size() / 10] > 0.6);
        CHECK(efficiency[efficiency.size() * 9 / 10] < 1.05);
    }
}

TEST_CASE("speed against gear and engine speed; distance against speed") {
    for (std::uint64_t seed = 1; seed <= 8; ++seed) {
        CAPTURE(seed);
        Options options;
        options.seed = seed;
        std::size_t near = 0;
        std::size_t all = 0;
        double way = 0;
        double top = 0;
        bool stood = false;
        std::array<bool, 7> gears{};
        double distance = 0;
        drive(options, 900, [&](const Vehicle& v, const Signals& s, const Signals&) {
            way += s.speed / 3.6 * 0.5;
            distance = s.distance;
            top = std::max(top, s.speed);
            stood = stood || (s.speed == 0 && s.distance > 100);
            gears[static_cast<std::size_t>(s.gear)] = true;
            CHECK(s.rpm > 500);
            CHECK(s.rpm < 5500);
            if (s.gear < 3 || s.speed < 30)
                return; // the converter slips
            ++all;
            const double by_wheel =
                s.speed / 3.6 / v.settings().car.wheel * s.gear_ratio * 60 / (2 * 3.14159265);
            near += std::fabs(s.rpm - by_wheel) < 0.08 * by_wheel ? 1U : 0U;
        });
        CHECK(near > all * 8 / 10);
        CHECK(std::fabs(way - distance) < 0.01 * distance + 20);
        CHECK(top > 80);
        CHECK(top < 140);
        CHECK(stood);
        for (std::size_t gear = 1; gear <= 5; ++gear)
            CHECK(gears[gear]);
    }
}

TEST_CASE("warm-up, fuel and trims of a sound petrol engine") {
    for (std::uint64_t seed = 1; seed <= 6; ++seed) {
        CAPTURE(seed);
        Options options;
        options.seed = seed;
        options.fuel = Fuel::petrol;
        double last = -50;
        drive(options, 1200, [&](const Vehicle& v, const Signals& s, const Signals&) {
            CHECK(v.state(0).pending.empty()); // nothing is found where nothing is
            CHECK(s.coolant > last - 2);
            last = s.coolant;
            CHECK(s.coolant < 108);
            CHECK(std::fabs(s.short_trim) < 15);
            CHECK(std::fabs(s.long_trim) < 8);
            CHECK(s.voltage > 13);
            CHECK(s.voltage < 15);
            if (s.fuel_cut)
                CHECK(s.fuel_rate == 0);
        });
        CHECK(last > 80);
    }
}

TEST_CASE("a diesel runs lean, unthrottled and without trims") {
    Options options;
    options.fuel = Fuel::diesel;
    double most_boost = 0;
    drive(options, 900, [&](const Vehicle&, const Signals& s, const Signals&) {
        CHECK(s.lambda >= 1.0);
        CHECK(s.map > 85);
        CHECK(s.short_trim == 0);
        CHECK(s.rail_pressure > 20'000);
        CHECK(s.rail_pressure < 200'000);
        most_boost = std::max(most_boost, s.map);
    });
    CHECK(most_boost > 125);
}

TEST_CASE("each kind of fault shows in its sensor from its time on, and nowhere else") {
    struct Row {
        const char* text;
        double share; // of the time in which it is off
    };
    const Row rows[] = {
        {"drop-out:map@100-400", 0.02}, {"spike:map@100-400", 0.005},
        {"stick:map@100-400", 0.6},     {"offset:map=15@100-400", 0.9},
        {"drift:map=10@100-400", 0.7},  {"lag:map=5@100-400", 0.2},
        {"noise:map=8@100-400", 0.5},   {"scaling:map=0.7@100-400", 0.9},
        {"open:map@100-400", 0.99},     {"short:map@100-400", 0.99},
    };
    for (const auto& row : rows) {
        CAPTURE(row.text);
        Options options;
        options.seed = 3;
        options.fuel = Fuel::petrol;
        options.faults = {*parse_fault(row.text)};
        std::size_t off = 0;
        std::size_t in = 0;
        drive(options, 500, [&](const Vehicle&, const Signals& s, const Signals& t) {
            CHECK(s.coolant == t.coolant);
            CHECK(s.maf == t.maf);
            CHECK(s.speed == t.speed);
            // What the sensor tells without a fault has a ripple of its own.
            const bool away = std::fabs(s.map - t.map_true) > 3.5;
            if (t.run_time < 100 || t.run_time > 400.1)
                CHECK_FALSE(away);
            else {
                ++in;
                off += away ? 1U : 0U;
            }
        });
        CHECK(in > 500);
        CHECK(static_cast<double>(off) >= row.share * static_cast<double>(in));
    }
}

TEST_CASE("every sensor can fail, and is found out") {
    for (std::size_t i = 0; i < sensor_count; ++i) {
        const auto sensor = static_cast<Sensor>(i);
        const std::string name(name_of(sensor));
        CAPTURE(name);
        Options options;
        options.seed = 2;
        options.fuel = sensor == Sensor::rail_pressure ? Fuel::diesel : Fuel::petrol;
        options.faults = {*parse_fault("open:" + name + "@30")};
        Vehicle vehicle(options);
        run_to(vehicle, 60);
        CHECK(vehicle.state(0).pending.size() >= 1);
        options.faults.clear();
        Vehicle sound(options);
        run_to(sound, 60);
        CHECK(sound.state(0).pending.empty());
    }
}

TEST_CASE("a vacuum leak: trims up most at idle, lean code") {
    Options options;
    options.seed = 4;
    options.fuel = Fuel::petrol;
    options.faults = {*parse_fault("vacuum-leak=2")};
    double idle = 0;
    double pull = 0;
    std::size_t idles = 0;
    std::size_t pulls = 0;
    drive(options, 900, [&](const Vehicle&, const Signals& s, const Signals&) {
        if (!s.closed_loop)
            return;
        const double trim = s.short_trim + s.long_trim;
        if (s.speed == 0) {
            idle += trim;
            ++idles;
        } else if (s.map > 75) {
            pull += trim;
            ++pulls;
        }
    });
    REQUIRE(idles > 20);
    REQUIRE(pulls > 20);
    CHECK(idle / static_cast<double>(idles) > pull / static_cast<double>(pulls) + 4);
    Vehicle vehicle(options);
    run_to(vehicle, 900);
    CHECK(vehicle.state(0).stored == std::vector<std::uint16_t>{0x0171}); // P0171
}

TEST_CASE("a poor contact of the pressure sensor, where it meters the fuel") {
    DriveSettings settings;
    settings.road = {{0, 50, 0, 0.1}, {600, 70, 0.02, 0.1}, {2000, 90, 0, 0.1}, {5000, 50, 0, 0.1}};
    settings.faults = {*parse_fault("drop-out:map=0.4@60")};
    Drive sick(settings);
    settings.faults.clear();
    Drive sound(settings);
    double leanest = 0;
    double leanest_sound = 0;
    for (double at = 0; at < 400; at += 0.1) {
        sick.run_to(at);
        sound.run_to(at);
        if (sick.truth().closed_loop && !sick.truth().fuel_cut)
            leanest = std::max(leanest, sick.truth().short_trim);
        if (sound.truth().closed_loop && !sound.truth().fuel_cut)
            leanest_sound = std::max(leanest_sound, sound.truth().short_trim);
    }
    CHECK(leanest > leanest_sound + 5); // the controller made up for what it had not metered
}

TEST_CASE("faults by their text") {
    const auto fault = parse_fault("offset:engine-speed=-120.5@10-90.5");
    REQUIRE(fault);
    CHECK(fault->kind == FaultKind::offset);
    CHECK(fault->sensor == Sensor::engine_speed);
    CHECK(fault->amount == -120.5);
    CHECK(fault->from == 10);
    CHECK(fault->until == 90.5);
    CHECK(parse_fault("vacuum-leak=4")->amount == 4);
    CHECK(parse_fault("vacuum-leak")->amount > 0);
    for (const char* text : {"", "offset", "offset:", "offset:nothing", "nothing:map",
                             "vacuum-leak:map", "offset:map=", "offset:map=x", "stick:map=3",
                             "offset:map@", "offset:map@-5", "offset:map@9-4", "offset:map=1e99",
                             "offset:map=nan", "offset:map@1-", "offset:map@1-2-3"})
        CHECK_FALSE(parse_fault(text).has_value());
    CHECK(parse_fault("x").error().detail.find("rear-oxygen") != std::string::npos);
    for (std::size_t i = 0; i < sensor_count; ++i) {
        const auto sensor = static_cast<Sensor>(i);
        CHECK(parse_fault("stick:" + std::string(name_of(sensor)))->sensor == sensor);
    }
    for (unsigned i = 0; i < 10; ++i) {
        const auto kind = static_cast<FaultKind>(i);
        CHECK(parse_fault(std::string(name_of(kind)) + ":map")->kind == kind);
    }
}

} // namespace
