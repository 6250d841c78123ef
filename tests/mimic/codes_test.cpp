// SPDX-License-Identifier: Apache-2.0
// Codes, freeze frame, readiness, clearing, driving cycles, counters, OBDonUDS.
#include <doctest/doctest.h>

#include "support.hpp"

namespace {

using namespace telltale;
using namespace telltale::mimic;
using namespace telltale::mimic::test;

constexpr std::uint16_t coolant_open = 0x0118;

Options with_fault(const char* text) {
    Options options;
    options.fuel = Fuel::petrol;
    options.faults = {*parse_fault(text)};
    return options;
}

TEST_CASE("a fault that was there before is stored, with freeze frame, lamp and permanent code") {
    Vehicle vehicle(with_fault("open:coolant"));
    Time now = 0;
    run_to(vehicle, 10);
    now = 10 * second;
    CHECK(one(vehicle, {0x03}, 0, now) == Message{0x43, 1, 0x01, 0x18});
    CHECK(one(vehicle, {0x07}, 0, now) == Message{0x47, 1, 0x01, 0x18});
    CHECK(one(vehicle, {0x0A}, 0, now) == Message{0x4A, 1, 0x01, 0x18});
    CHECK(one(vehicle, {0x01, 0x01}, 0, now).at(2) == 0x81);
    CHECK(one(vehicle, {0x02, 0x02, 0x00}, 0, now) == Message{0x42, 0x02, 0x00, 0x01, 0x18});
    CHECK(one(vehicle, {0x02, 0x05, 0x00}, 0, now) == Message{0x42, 0x05, 0x00, 0x00}); // -40
    // Three pairs at once; another frame than 00 there is not.
    CHECK(one(vehicle, {0x02, 0x05, 0x00, 0x0C, 0x00, 0x0D, 0x00}, 0, now).size() == 11);
    CHECK(one(vehicle, {0x02, 0x05, 0x01}, 0, now) == Message{0x7F, 0x02, 0x12});
    CHECK(one(vehicle, {0x03}, 1, now) == Message{0x43, 0});
}

TEST_CASE("a fault that comes on this drive is pending, and stored on the next one") {
    Vehicle vehicle(with_fault("open:coolant@20"));
    run_to(vehicle, 10);
    CHECK(vehicle.state(0).pending.empty());
    run_to(vehicle, 40);
    CHECK(vehicle.state(0).pending == std::vector{coolant_open});
    CHECK(vehicle.state(0).stored.empty());
    vehicle.next_trip();
    run_to(vehicle, 80);
    CHECK(vehicle.state(0).stored == std::vector{coolant_open});
    CHECK(vehicle.state(0).permanent == std::vector{coolant_open});
    CHECK(vehicle.state(0).lamp);
}

TEST_CASE("what shows once is gone after a drive without it") {
    Options options = with_fault("open:coolant@20-30");
    Vehicle vehicle(options);
    run_to(vehicle, 40);
    CHECK(vehicle.state(0).pending == std::vector{coolant_open});
    // The next drive is too short for it to show again.
    vehicle.next_trip();
    run_to(vehicle, 45);
    vehicle.next_trip();
    CHECK(vehicle.state(0).pending.empty());
    CHECK(vehicle.state(0).stored.empty());
}

TEST_CASE("clearing takes everything but the permanent codes and the counters") {
    Vehicle vehicle(with_fault("open:coolant@0-15"));
    run_to(vehicle, 20);
    const auto counters = vehicle.state(0).counters;
    REQUIRE(vehicle.state(0).stored.size() == 1);
    Time now = 20 * second;
    // Clears at rest alone: drive until it moves, then until it stands.
    while (vehicle.truth().speed < 5)
        vehicle.poll(now += second, [](const CanFrame&) {});
    CHECK(one(vehicle, {0x04}, 0, now) == Message{0x7F, 0x04, 0x22});
    CHECK(vehicle.state(0).stored.size() == 1);
    while (vehicle.truth().speed > 0)
        vehicle.poll(now += second / 10, [](const CanFrame&) {});
    CHECK(one(vehicle, {0x04, 0x00}, 0, now) == Message{0x7F, 0x04, 0x12}); // not a request
    CHECK(vehicle.state(0).stored.size() == 1);
    const auto all = ask(vehicle, {0x04}, std::nullopt, now);
    REQUIRE(all.size() == 2);
    CHECK(all[0].message == Message{0x44});
    const EcuState& e = vehicle.state(0);
    CHECK(e.stored.empty());
    CHECK(e.pending.empty());
    CHECK_FALSE(e.lamp);
    CHECK(e.permanent == std::vector{coolant_open});
    CHECK(e.counters == counters);
    CHECK(one(vehicle, {0x02, 0x02, 0x00}, 0, now) == Message{0x42, 0x02, 0x00, 0, 0});
    CHECK(one(vehicle, {0x01, 0x01}, 0, now) == Message{0x41, 0x01, 0x00, 0x77, 0xE5, 0xE5});
    CHECK(one(vehicle, {0x01, 0x31}, 0, now) == Message{0x41, 0x31, 0, 0});
    CHECK(one(vehicle, {0x06, 0x21}, 0, now) == Message{0x46, 0x21, 0x80, 0x20, 0, 0, 0, 0, 0, 0});
    // Driven on, the monitors complete again; the permanent code stays in this cycle.
    for (int i = 0; i < 1500; ++i)
        vehicle.poll(now += second, [](const CanFrame&) {});
    CHECK((vehicle.state(0).since_clear[2] & ~0x04) == 0); // the evaporative one wants a cold start
    CHECK((vehicle.state(0).since_clear[0] & 0x70) == 0);
    CHECK(vehicle.state(0).permanent.size() == 1);
    CHECK(vehicle.state(0).distance_since_clear > 5);
    CHECK(one(vehicle, {0x06, 0x21}, 0, now).at(5) != 0);
    // A whole cycle without it, with every monitor complete, lets it go.
    vehicle.next_trip();
    for (int i = 0; i < 1500; ++i)
        vehicle.poll(now += second, [](const CanFrame&) {});
    CHECK(vehicle.state(0).this_cycle[2] == 0);
}

TEST_CASE("a permanent code goes by itself, after a drive on which all was well") {
    Options options;
    options.fuel = Fuel::petrol;
    options.permanent = {0x0420};
    Vehicle vehicle(options);
    run_to(vehicle, 60);
    vehicle.next_trip(); // too short a drive
    CHECK(vehicle.state(0).permanent.size() == 1);
    run_to(vehicle, 2500);
    REQUIRE(vehicle.state(0).this_cycle[2] == 0);
    vehicle.next_trip();
    CHECK(vehicle.state(0).permanent.empty());
}

TEST_CASE("when clearing is done is a choice") {
    Options options;
    options.stored = {0x0420};
    options.clearing = Clearing::always;
    Vehicle always(options);
    CHECK(one(always, {0x04}) == Message{0x44});
    options.clearing = Clearing::engine_off;
    Vehicle off(options);
    CHECK(one(off, {0x04}) == Message{0x7F, 0x04, 0x22});
    CHECK(off.state(0).stored.size() == 1);
    options.engine_off = true;
    Vehicle stopped(options);
    CHECK(one(stopped, {0x04}) == Message{0x44});
    CHECK(one(stopped, {0x01, 0x0C}) == Message{0x41, 0x0C, 0, 0});
}

TEST_CASE("readiness, counters and test results as it is driven") {
    for (const Fuel fuel : {Fuel::petrol, Fuel::diesel}) {
        CAPTURE(static_cast<int>(fuel));
        Options options;
        options.fuel = fuel;
        options.just_cleared = true;
        options.seed = 3; // starts cold
        Vehicle vehicle(options);
        const EcuState first = vehicle.state(0);
        CHECK(first.since_clear[2] == first.since_clear[1]);
        CHECK((first.since_clear[0] & 0x70) == 0x70);
        unsigned last = 8;
        Time now = 0;
        for (int i = 0; i < 2400; ++i) {
            vehicle.poll(now += second, [](const CanFrame&) {});
            const auto left =
                static_cast<unsigned>(std::bitset<8>(vehicle.state(0).since_clear[2]).count());
            CHECK(left <= last); // never back
            last = left;
        }
        CHECK(last == 0);
        const EcuState& e = vehicle.state(0);
        CHECK(e.this_cycle[2] == 0);
        CHECK(e.counters[0] == first.counters[0] + 1); // general conditions, once a cycle
        CHECK(e.counters[1] == first.counters[1]);
        CHECK(e.counters[2] == first.counters[2] + 1); // catalyst completions
        CHECK(e.counters[3] == first.counters[3] + 1);
        CHECK(e.counters.size() == (fuel == Fuel::petrol ? 20 : 18));
        for (const auto& t : e.tests) {
            CHECK(t.value >= t.low);
            CHECK(t.value <= t.high);
        }
        CHECK(one(vehicle, {0x09, fuel == Fuel::petrol ? std::uint8_t{0x08} : std::uint8_t{0x0B}},
                  0, now)
                  .size() == 3 + 2 * e.counters.size());
        vehicle.next_trip();
        CHECK(vehicle.state(0).counters[1] == first.counters[1] + 1);
        CHECK(vehicle.state(0).this_cycle[2] == vehicle.state(0).this_cycle[1]);
        CHECK(vehicle.state(0).since_clear[2] == 0);
    }
}

TEST_CASE("three driving cycles without it put the lamp out") {
    Options options;
    options.stored = {0x0442};
    Vehicle vehicle(options);
    Time now = 0;
    for (int trip = 0; trip < 3; ++trip) {
        CHECK(vehicle.state(0).lamp);
        vehicle.poll(now += 60 * second, [](const CanFrame&) {});
        vehicle.next_trip();
    }
    CHECK_FALSE(vehicle.state(0).lamp);
    CHECK(vehicle.state(0).stored.size() == 1);
}

TEST_CASE("service 08: the evaporative test wants the engine off") {
    Options options;
    options.fuel = Fuel::petrol;
    Vehicle running(options);
    CHECK(one(running, {0x08, 0x00}) == Message{0x48, 0x00, 0x80, 0, 0, 0});
    CHECK(one(running, {0x08, 0x01, 0, 0, 0, 0, 0}) == Message{0x7F, 0x08, 0x22});
    options.engine_off = true;
    Vehicle off(options);
    CHECK(one(off, {0x08, 0x01}) == Message{0x48, 0x01});
    CHECK(one(off, {0x08, 0x02}) == Message{0x7F, 0x08, 0x12});
}

TEST_CASE("OBDonUDS") {
    Options options = with_fault("open:coolant");
    options.obd_on_uds = true;
    Vehicle vehicle(options);
    run_to(vehicle, 10);
    const Time now = 10 * second;
    const auto say = [&](const Message& request) { return one(vehicle, request, 0, now); };
    CHECK(say({0x01, 0x0C}) == Message{0x7F, 0x01, 0x11});
    CHECK(ask(vehicle, {0x01, 0x0C}, std::nullopt, now).empty());
    CHECK(say({0x10, 0x01}) == Message{0x50, 0x01, 0x00, 0x32, 0x01, 0xF4});
    CHECK(say({0x10, 0x02}) == Message{0x7F, 0x10, 0x12});
    CHECK(say({0x3E, 0x00}) == Message{0x7E, 0x00});
    CHECK(say({0x3E, 0x80}).empty());
    CHECK(say({0x22, 0xF4, 0x0D}).size() == 4);
    CHECK(say({0x22, 0xF4, 0x0C, 0xF4, 0x0D}).size() == 8);
    CHECK(say({0x22, 0xF4}) == Message{0x7F, 0x22, 0x13});
    CHECK(say({0x22, 0xF4, 0xFE}) == Message{0x7F, 0x22, 0x31});
    CHECK(say({0x22, 0xF1, 0x90}).size() == 20);
    CHECK(say({0x22, 0xF8, 0x02}).size() == 20);
    CHECK(say({0x22, 0xF6, 0x21}).size() == 11);
    CHECK(say({0x19, 0x42, 0x33, 0x08, 0xFE}) ==
          Message{0x59, 0x42, 0x33, 0xFF, 0xFF, 0x04, 0x02, 0x01, 0x18, 0x00, 0xAF});
    CHECK(say({0x19, 0x55, 0x33}).size() == 9);
    CHECK(say({0x19, 0x01, 0x08}) == Message{0x59, 0x01, 0xFF, 0x04, 0x00, 0x01});
    CHECK(say({0x19, 0x04, 0x01, 0x18, 0x00, 0xFF}).size() > 30);
    CHECK(say({0x19, 0x04, 0x01, 0x19, 0x00, 0xFF}) == Message{0x7F, 0x19, 0x31});
    CHECK(say({0x31, 0x01, 0xE0, 0x01}) == Message{0x7F, 0x31, 0x22});
    CHECK(say({0x14, 0xFF, 0xFF, 0x34}) == Message{0x7F, 0x14, 0x31});
    CHECK(vehicle.truth().speed == 0);
    CHECK(say({0x14, 0xFF, 0xFF, 0x33}) == Message{0x54});
    CHECK(say({0x19, 0x42, 0x33, 0x08, 0xFE}).size() == 6);
    CHECK(say({0x19, 0x55, 0x33}).size() == 9); // permanent: still there
}

TEST_CASE("an ECU never says more than fits a message") {
    Options options;
    for (std::uint16_t code = 1; code < 200; ++code)
        options.stored.push_back(code);
    options.pending = options.permanent = options.stored;
    for (const bool uds : {false, true}) {
        options.obd_on_uds = uds;
        Vehicle vehicle(options);
        CHECK(vehicle.state(0).stored.size() == Ecu::most_codes);
        for (unsigned first = 0; first < 256; ++first)
            for (unsigned second_byte = 0; second_byte < 256; second_byte += 17)
                for (const auto& said :
                     ask(vehicle, {static_cast<std::uint8_t>(first),
                                   static_cast<std::uint8_t>(second_byte), 0x33, 0xFF, 0xFF}))
                    CHECK(said.message.size() <= 4095);
    }
}

} // namespace
