// SPDX-License-Identifier: Apache-2.0
#include "telltale/mimic/vehicle.hpp"

#include <doctest/doctest.h>

#include "support.hpp"
#include "telltale/vehicle/vin.hpp"

namespace {

using namespace telltale;
using namespace telltale::mimic;
using namespace telltale::mimic::test;

TEST_CASE("every ECU answers what it supports") {
    Vehicle vehicle;
    const auto all = ask(vehicle, {0x01, 0x00});
    REQUIRE(all.size() == 2);
    for (const auto& said : all) {
        CHECK(said.message.size() == 6);
        CHECK(said.message[0] == 0x41);
    }
    CHECK(ask(vehicle, {0x09, 0x02}).size() == 1);
    CHECK(ask(vehicle, {0x01, 0xFE}).empty());
    CHECK(one(vehicle, {0x01, 0xFE}) == Message{0x7F, 0x01, 0x12});
    CHECK(one(vehicle, {0x05, 0x01, 0x01}) == Message{0x7F, 0x05, 0x11}); // not on CAN
    CHECK(ask(vehicle, {0x05, 0x01, 0x01}).empty());
}

TEST_CASE("a single frame asks, an answer of several frames comes by flow control") {
    Options options;
    options.block_size = 3;
    Vehicle vehicle(options);
    const std::vector<std::uint8_t> request{0x02, 0x09, 0x02, 0, 0, 0, 0, 0};
    Time now = millisecond;
    vehicle.feed({.id = {0x7DF, false}, .data = request}, now);
    std::vector<Frame> frames;
    const auto run = [&](Time until) {
        while (vehicle.next_wakeup() <= until) {
            now = std::max(now, vehicle.next_wakeup());
            vehicle.poll(now, [&](const CanFrame& frame) {
                CHECK(frame.id == CanId{0x7E8, false});
                frames.push_back({frame.id, {frame.data.begin(), frame.data.end()}, now});
            });
        }
    };
    run(40 * millisecond);
    REQUIRE(frames.size() == 1);
    CHECK(frames[0].data[0] == 0x10);
    CHECK(frames[0].data[1] == 20);
    SUBCASE("two blocks, ten milliseconds apart") {
        const std::vector<std::uint8_t> go_on{0x30, 0x01, 10, 0, 0, 0, 0, 0};
        vehicle.feed({.id = {0x7E0, false}, .data = go_on}, now);
        run(now + 50 * millisecond);
        REQUIRE(frames.size() == 2);
        vehicle.feed({.id = {0x7E0, false}, .data = go_on}, now);
        run(now + 50 * millisecond);
        REQUIRE(frames.size() == 3);
        CHECK(frames[1].data[0] == 0x21);
        CHECK(frames[2].data[0] == 0x22);
        CHECK(frames[2].time - frames[1].time >= 10 * millisecond);
    }
    SUBCASE("without flow control it gives up, and answers the next") {
        run(now + second);
        CHECK(frames.size() == 1);
        vehicle.feed({.id = {0x7DF, false}, .data = request}, now);
        run(now + 60 * millisecond);
        CHECK(frames.size() == 2);
    }
}

TEST_CASE("ECUs ask for flow in their own way when a request is long") {
    Options options;
    options.obd_on_uds = true;
    options.block_size = 1;
    options.st_min = 5;
    Vehicle vehicle(options);
    const std::vector<std::uint8_t> first{0x10, 0x09, 0x22, 0xF4, 0x0C, 0xF4, 0x0D, 0xF4};
    vehicle.feed({.id = {0x7E0, false}, .data = first}, millisecond);
    std::vector<Frame> frames;
    vehicle.poll(millisecond, [&](const CanFrame& frame) {
        frames.push_back({frame.id, {frame.data.begin(), frame.data.end()}, 0});
    });
    REQUIRE(frames.size() == 1);
    CHECK(frames[0].data[0] == 0x30);
    CHECK(frames[0].data[1] == 1);
    CHECK(frames[0].data[2] == 5);
}

TEST_CASE("identifiers of 29 bits") {
    Options options;
    options.extended_ids = true;
    Vehicle vehicle(options);
    CHECK(vehicle.response_id(0) == CanId{0x18DAF110, true});
    CHECK(vehicle.request_id(1) == CanId{0x18DA18F1, true});
    Tester tester(vehicle, 0);
    std::vector<CanId> ids;
    const auto heard = tester.ask(Message{0x01, 0x0C}, std::nullopt,
                                  [&](const CanFrame& f, Time) { ids.push_back(f.id); });
    CHECK(heard.size() == 2);
    REQUIRE(ids.size() == 3);
    CHECK(ids[0] == CanId{0x18DB33F1, true});
}

TEST_CASE("the same seed is the same vehicle and drive, another is another") {
    Options options;
    options.seed = 12;
    options.faults = {*parse_fault("drop-out:map"), *parse_fault("noise:maf")};
    options.habits.pending_every = 9;
    const auto frames = survey_frames(options, 30);
    CHECK(frames.size() > 500);
    CHECK(frames == survey_frames(options, 30));
    options.seed = 13;
    CHECK(frames != survey_frames(options, 30));
}

TEST_CASE("another drive of a vehicle is the same vehicle on another day") {
    Options options;
    options.seed = 12;
    const Vehicle own(options);
    const auto frames = survey_frames(options, 30);
    options.drive = 1;
    const Vehicle first(options);
    CHECK(survey_frames(options, 30) != frames);
    CHECK(survey_frames(options, 30) == survey_frames(options, 30));
    options.drive = 2;
    Vehicle second(options);
    for (const Vehicle* vehicle : {&first, static_cast<const Vehicle*>(&second)}) {
        CHECK(vehicle->state(0).vin == own.state(0).vin);
        CHECK(vehicle->state(0).stored == own.state(0).stored);
        CHECK(vehicle->signals().ambient != own.signals().ambient);
        CHECK(std::abs(vehicle->signals().barometric - own.signals().barometric) <= 1.5);
        CHECK(vehicle->signals().gear_ratio == own.signals().gear_ratio);
    }
    CHECK(first.signals().ambient != second.signals().ambient);
    run_to(second, 400);
    CHECK(second.signals().distance > 500);
}

TEST_CASE("it does not matter how often somebody looks") {
    Options options;
    options.seed = 5;
    options.faults = {*parse_fault("spike:lambda")};
    Vehicle often(options);
    Vehicle seldom(options);
    Random random(1);
    for (Time now = 0; now < 200 * second; now += static_cast<Time>(random.uniform() * 2e8))
        often.poll(now, [](const CanFrame&) {});
    run_to(often, 200);
    run_to(seldom, 200);
    CHECK(often.signals().distance == seldom.signals().distance);
    CHECK(often.signals().lambda == seldom.signals().lambda);
    CHECK(often.state(0).this_cycle == seldom.state(0).this_cycle);
    CHECK(often.state(0).pending == seldom.state(0).pending);
}

TEST_CASE("vehicles of many seeds: VIN, fuel, size") {
    unsigned diesels = 0;
    std::vector<std::string> vins;
    for (std::uint64_t seed = 0; seed < 60; ++seed) {
        Options options;
        options.seed = seed;
        options.ecus = static_cast<unsigned>(1 + seed % 8);
        Vehicle vehicle(options);
        CHECK(vehicle.ecus() == options.ecus);
        const std::string vin = vehicle.state(0).vin;
        CHECK(vehicle::check_vin(vin) == vehicle::VinCheck::right);
        CHECK(vin.substr(0, 3) == "0TT"); // nobody's
        CHECK(std::find(vins.begin(), vins.end(), vin) == vins.end());
        vins.push_back(vin);
        diesels += vehicle.settings().car.fuel == Fuel::diesel ? 1U : 0U;
    }
    CHECK(diesels > 5);
    CHECK(diesels < 40);
}

TEST_CASE("everything that is said is decoded without a problem") {
    for (const bool uds : {false, true})
        for (const bool extended : {false, true})
            for (const Fuel fuel : {Fuel::petrol, Fuel::diesel}) {
                CAPTURE(uds);
                CAPTURE(extended);
                CAPTURE(static_cast<int>(fuel));
                Options options;
                options.seed = 21;
                options.fuel = fuel;
                options.obd_on_uds = uds;
                options.extended_ids = extended;
                options.ecus = 4;
                options.faults = {*parse_fault("open:coolant")};
                options.habits.pending_every = 37;
                options.habits.busy_every = 23;
                const auto frames = survey_frames(options, 60);
                const Told told = decode(frames);
                CHECK(told.problems.size() == 0);
                for (const auto& problem : told.problems)
                    MESSAGE(static_cast<int>(problem.code), " ", problem.a, " ", problem.b);
                CHECK(told.messages > 500);
                CHECK(told.values > 2000);
                CHECK(told.has("Vehicle identification number=" + Vehicle(options).state(0).vin));
                // P0118 was pending, and is stored when it shows again.
                const auto has = [&](std::uint8_t service) {
                    return std::find(told.codes.begin(), told.codes.end(),
                                     Told::Code{service, 0x0118}) != told.codes.end();
                };
                CHECK(has(uds ? 0x19 : 0x03));
                if (!uds) {
                    CHECK(has(0x07));
                    CHECK(has(0x0A));
                    CHECK(told.has("Code that stored the freeze frame=P0118"));
                }
            }
}

TEST_CASE("hostile frames and times do not make it grow or stop it") {
    Options options;
    options.ecus = 8;
    Vehicle vehicle(options);
    Random random(77);
    Time now = 0;
    std::size_t sent = 0;
    for (int i = 0; i < 60'000; ++i) {
        std::array<std::uint8_t, 8> data;
        for (auto& byte : data)
            byte = static_cast<std::uint8_t>(random.next());
        if (i % 2 == 0)
            data[0] = static_cast<std::uint8_t>(random.below(8)); // a single frame
        const std::uint32_t id = i % 3 == 0 ? 0x7DF : 0x7E0 + random.below(16);
        vehicle.feed({.id = {id, false}, .data = data}, now);
        if (i % 64 == 0)
            now += static_cast<Time>(random.below(4'000'000));
        if (i % 16 == 0)
            vehicle.poll(now, [&](const CanFrame&) { ++sent; });
    }
    CHECK(sent > 100);
    CHECK(sent < 60'000);
    // It still answers.
    now += 20 * second;
    vehicle.poll(now, [](const CanFrame&) {});
    CHECK(one(vehicle, {0x01, 0x0D}, 0, now).size() == 3);
    // Times that go back or lie far away.
    const std::vector<std::uint8_t> speed{0x02, 0x01, 0x0D, 0, 0, 0, 0, 0};
    for (const Time time : {Time{-1}, no_time, isotp::never, Time{5}, no_time + 1})
        vehicle.feed({.id = {0x7DF, false}, .data = speed}, time);
    CHECK(one(vehicle, {0x01, 0x0D}, 0, Time{0}).size() == 3);
}

} // namespace
