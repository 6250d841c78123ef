// SPDX-License-Identifier: Apache-2.0
// The forms of the lines before CAN.
#include <doctest/doctest.h>

#include "support.hpp"
#include "telltale/frame/kline.hpp"

namespace {

using namespace telltale;
using namespace telltale::mimic;
using namespace telltale::mimic::test;

struct Heard {
    Message frame;
    Time after;
};

Message framed(Message header, const Message& data) {
    header.insert(header.end(), data.begin(), data.end());
    header.push_back(kline_checksum(header));
    return header;
}
Message old_request(const Message& data) {
    return framed({0x68, 0x6A, 0xF1}, data);
}
Message new_request(const Message& data) {
    return framed({static_cast<std::uint8_t>(0xC0 | data.size()), 0x33, 0xF1}, data);
}

std::vector<Heard> send(Vehicle& vehicle, const Message& frame, Time now = 0) {
    std::vector<Heard> all;
    vehicle.ask_kline(frame, now, [&](const Answer& answer) {
        all.push_back({{answer.message.begin(), answer.message.end()}, answer.after});
    });
    return all;
}

TEST_CASE("ISO 9141-2: header, answers of both ECUs, checksum") {
    Vehicle vehicle;
    const auto all = send(vehicle, old_request({0x01, 0x0C}));
    REQUIRE(all.size() == 2);
    CHECK(all[0].frame.size() == 8);
    CHECK(all[0].frame[0] == 0x48);
    CHECK(all[0].frame[1] == 0x6B);
    CHECK(all[0].frame[2] == 0x10);
    CHECK(all[1].frame[2] == 0x18);
    CHECK(all[0].after >= 25 * millisecond);
    CHECK(all[1].after - all[0].after >= 32 * millisecond);
    Message wrong = old_request({0x01, 0x0C});
    ++wrong.back();
    CHECK(send(vehicle, wrong).empty());
    CHECK(send(vehicle, {}).empty());
    CHECK(send(vehicle, old_request({0x0A})).empty()); // no permanent codes on these lines
}

TEST_CASE("ISO 14230: initialisation, tester present, physical address") {
    Vehicle vehicle;
    const auto start = send(vehicle, new_request({0x81}));
    REQUIRE(start.size() == 1);
    CHECK(start[0].frame == framed({0x83, 0xF1, 0x10}, {0xC1, 0xE9, 0x8F}));
    CHECK(send(vehicle, new_request({0x3E})).size() == 1);
    const auto all = send(vehicle, framed({0x82, 0x10, 0xF1}, {0x01, 0x0D}));
    REQUIRE(all.size() == 1);
    CHECK(all[0].frame.size() == 7);
    CHECK(all[0].frame[0] == 0x83);
    CHECK(send(vehicle, framed({0x82, 0x55, 0xF1}, {0x01, 0x0D})).empty());
    CHECK(send(vehicle, framed({0x82, 0x10, 0xF2}, {0x01, 0x0D})).empty()); // not the tester
}

TEST_CASE("codes come three at a time, padded") {
    Options options;
    options.ecus = 1;
    options.stored = {0x0101, 0x0102, 0x0103, 0x0104};
    Vehicle vehicle(options);
    const auto all = send(vehicle, old_request({0x03}));
    REQUIRE(all.size() == 2);
    CHECK(all[0].frame == framed({0x48, 0x6B, 0x10}, {0x43, 1, 1, 1, 2, 1, 3}));
    CHECK(all[1].frame == framed({0x48, 0x6B, 0x10}, {0x43, 1, 4, 0, 0, 0, 0}));
    const auto none = send(vehicle, old_request({0x07}));
    REQUIRE(none.size() == 1);
    CHECK(none[0].frame == framed({0x48, 0x6B, 0x10}, {0x47, 0, 0, 0, 0, 0, 0}));
}

TEST_CASE("everything that is said on a K-line is decoded without a problem") {
    for (const bool iso_14230 : {false, true}) {
        Options options;
        options.seed = 8;
        options.fuel = Fuel::petrol;
        options.stored = {0x0171, 0x0420, 0x0442, 0x0300};
        options.habits.pending_every = 11;
        Vehicle vehicle(options);
        Told told;
        message::Stream stream;
        Time now = 0;
        const auto say = [&](const Message& data) {
            const Message request = iso_14230 ? new_request(data) : old_request(data);
            stream.kline(0, request, now, {}, told);
            const auto all = send(vehicle, request, now);
            for (const auto& heard : all)
                stream.kline(0, heard.frame, now + heard.after, {}, told);
            now += (all.empty() ? 0 : all.back().after) + 400 * millisecond;
            return all.size();
        };
        say({0x01, 0x00});
        say({0x01, 0x20});
        say({0x01, 0x40});
        for (unsigned pid = 1; pid < 256; ++pid)
            if (vehicle.state(0).pids[pid])
                CHECK(say({0x01, static_cast<std::uint8_t>(pid)}) >= 1);
        say({0x03});
        say({0x07});
        say({0x02, 0x02, 0x00});
        say({0x05, 0x00, 0x01});
        for (const auto& t : vehicle.state(0).sensor_tests)
            CHECK(say({0x05, t.test, t.sensor}) >= 1);
        say({0x06, 0x00});
        for (const auto& t : vehicle.state(0).old_tests)
            CHECK(say({0x06, t.test}) >= 1);
        say({0x08, 0x00});
        say({0x09, 0x00});
        CHECK(say({0x09, 0x01}) >= 1);
        CHECK(say({0x09, 0x02}) >= 5); // VIN
        for (const std::uint8_t type :
             {std::uint8_t{0x03}, std::uint8_t{0x04}, std::uint8_t{0x05}, std::uint8_t{0x06},
              std::uint8_t{0x07}, std::uint8_t{0x08}, std::uint8_t{0x09}, std::uint8_t{0x0A},
              std::uint8_t{0x0C}, std::uint8_t{0x0D}, std::uint8_t{0x0E}, std::uint8_t{0x0F}})
            CHECK(say({0x09, type}) >= 1);
        stream.finish(told);
        for (const auto& problem : told.problems)
            MESSAGE(static_cast<int>(problem.code), " ", problem.a, " ", problem.b);
        CHECK(told.problems.empty());
        CHECK(told.has("Vehicle identification number=" + vehicle.state(0).vin));
        CHECK(told.has("Engine serial number=" + vehicle.state(0).engine_serial));
        CHECK(told.codes.size() == 4);
        CHECK(told.values > 80);
    }
}

} // namespace
