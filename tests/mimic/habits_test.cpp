// SPDX-License-Identifier: Apache-2.0
// Slow, busy and silent ECUs; and the tester that bears with them.
#include <doctest/doctest.h>

#include "support.hpp"

namespace {

using namespace telltale;
using namespace telltale::mimic;
using namespace telltale::mimic::test;

TEST_CASE("delays stay within what was asked") {
    Options options;
    options.habits.delay = 20 * millisecond;
    options.habits.spread = 5 * millisecond;
    options.habits_by_ecu = {options.habits, {}};
    options.habits_by_ecu[1].delay = 0;
    options.habits_by_ecu[1].spread = 0;
    Vehicle vehicle(options);
    for (int i = 0; i < 100; ++i) {
        const auto all = ask(vehicle, {0x01, 0x0C});
        REQUIRE(all.size() == 2);
        CHECK(all[0].ecu == 1); // in the order of time
        CHECK(all[0].after == 0);
        CHECK(all[1].after >= 20 * millisecond);
        CHECK(all[1].after < 25 * millisecond);
    }
}

TEST_CASE("response-pending, again every two seconds") {
    Options options;
    options.habits.spread = 0;
    options.habits.pending_every = 3;
    options.habits.pending_for = 4500 * millisecond;
    Vehicle vehicle(options);
    for (int i = 1; i <= 9; ++i) {
        const auto all = ask(vehicle, {0x01, 0x0C}, 0);
        REQUIRE(all.size() == (i % 3 == 0 ? 4 : 1));
        for (std::size_t k = 0; k + 1 < all.size(); ++k) {
            CHECK(all[k].message == Message{0x7F, 0x01, 0x78});
            CHECK(all[k].after == options.habits.delay + static_cast<Time>(k) * 2 * second);
        }
        CHECK(all.back().message.size() == 4);
    }
}

TEST_CASE("on the line, too: pending, then the answer") {
    Options options;
    options.verification_time = 700 * millisecond;
    Vehicle vehicle(options);
    Tester tester(vehicle, 0);
    std::vector<Frame> frames;
    const auto heard = tester.ask(Message{0x09, 0x06}, 0u, [&](const CanFrame& f, Time time) {
        frames.push_back({f.id, {f.data.begin(), f.data.end()}, time});
    });
    REQUIRE(heard.size() == 1);
    CHECK(heard[0].message[0] == 0x49);
    REQUIRE(frames.size() >= 3);
    CHECK(frames[1].data[0] == 3);
    CHECK(frames[1].data[3] == 0x78);
    CHECK(frames[2].time - frames[1].time >= 700 * millisecond);
    CHECK(frames[2].time - frames[1].time < 702 * millisecond);
}

TEST_CASE("busy: repeat the request") {
    Options options;
    options.habits.busy_every = 2;
    Vehicle vehicle(options);
    CHECK(one(vehicle, {0x01, 0x0C}).size() == 4);
    CHECK(one(vehicle, {0x01, 0x0C}) == Message{0x7F, 0x01, 0x21});
    CHECK(one(vehicle, {0x01, 0x0C}).size() == 4);
    Tester tester(vehicle, 0);
    for (int i = 0; i < 10; ++i) // both ECUs answer in the end
        CHECK(tester.ask(Message{0x01, 0x0C}, std::nullopt, [](const CanFrame&, Time) {}).size() ==
              2);
}

TEST_CASE("an ECU that falls silent comes back") {
    Options options;
    options.habits_by_ecu = {Habits{}};
    options.habits_by_ecu[0].silent_every = 10 * second;
    options.habits_by_ecu[0].silent_for = 3 * second;
    Vehicle vehicle(options);
    vehicle.poll(0, [](const CanFrame&) {});
    for (int tenth = 0; tenth < 400; ++tenth) {
        const bool quiet = tenth % 100 >= 70;
        CAPTURE(tenth);
        const auto all = ask(vehicle, {0x01, 0x0C}, std::nullopt, tenth * 100 * millisecond);
        CHECK(all.size() == (quiet ? 1 : 2));
    }
    // On CAN: not a frame of it.
    Vehicle again(options);
    Tester tester(again, 0);
    tester.wait_until(8 * second);
    std::size_t frames = 0;
    CHECK(tester.ask(Message{0x09, 0x02}, 0u, [&](const CanFrame&, Time) { ++frames; }).empty());
    CHECK(frames == 1); // the request
    tester.wait_until(10 * second);
    CHECK(tester.ask(Message{0x09, 0x02}, 0u, [](const CanFrame&, Time) {}).size() == 1);
}

TEST_CASE("requests that come while an ECU is at work wait their turn, and not too many") {
    Options options;
    options.ecus = 1;
    options.habits.delay = 100 * millisecond;
    options.habits.spread = 0;
    Vehicle vehicle(options);
    const std::vector<std::uint8_t> request{0x02, 0x01, 0x0C, 0, 0, 0, 0, 0};
    for (int i = 0; i < 50; ++i)
        vehicle.feed({.id = {0x7E0, false}, .data = request}, i * millisecond);
    std::size_t answers = 0;
    for (Time now = 50 * millisecond; now < 2 * second; now += millisecond)
        vehicle.poll(now, [&](const CanFrame&) { ++answers; });
    CHECK(answers >= 1);
    CHECK(answers <= 4);
}

TEST_CASE("frames as short as can be, or padded") {
    for (const std::optional<std::uint8_t> padding :
         {std::optional<std::uint8_t>{}, std::optional<std::uint8_t>{0x55}}) {
        Options options;
        options.padding = padding;
        Vehicle vehicle(options);
        Tester tester(vehicle, 0);
        std::vector<Frame> frames;
        tester.ask(Message{0x01, 0x0D}, 0u, [&](const CanFrame& f, Time time) {
            frames.push_back({f.id, {f.data.begin(), f.data.end()}, time});
        });
        REQUIRE(frames.size() == 2);
        CHECK(frames[1].data.size() == (padding ? 8 : 4));
        if (padding)
            CHECK(frames[1].data[7] == *padding);
    }
}

} // namespace
