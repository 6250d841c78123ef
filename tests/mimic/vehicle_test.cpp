// SPDX-License-Identifier: Apache-2.0
#include "telltale/mimic/vehicle.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <vector>

namespace {

using namespace telltale;
using mimic::Message;

struct Said {
    unsigned ecu;
    Message message;
    Time after;
};

std::vector<Said> ask(mimic::Vehicle& vehicle, const Message& request,
                      std::optional<unsigned> ecu = std::nullopt, Time now = 0) {
    std::vector<Said> all;
    vehicle.ask(request, ecu, now, [&](const mimic::Answer& answer) {
        all.push_back({answer.ecu, {answer.message.begin(), answer.message.end()}, answer.after});
    });
    return all;
}

TEST_CASE("every ECU answers what it supports") {
    mimic::Vehicle vehicle;
    const auto all = ask(vehicle, {0x01, 0x00});
    REQUIRE(all.size() == 2);
    for (const auto& said : all) {
        CHECK(said.message.size() == 6);
        CHECK(said.message[0] == 0x41);
    }
    CHECK(ask(vehicle, {0x09, 0x02}).size() == 1);
    CHECK(ask(vehicle, {0x01, 0xFE}).empty());
    CHECK(ask(vehicle, {0x01, 0xFE}, 0).at(0).message == Message{0x7F, 0x01, 0x12});
}

TEST_CASE("a single frame asks, an answer of several frames comes by flow control") {
    mimic::Vehicle vehicle;
    const std::vector<std::uint8_t> request{0x02, 0x09, 0x02, 0, 0, 0, 0, 0};
    vehicle.feed({.id = {0x7DF, false}, .data = request}, 1'000'000);
    std::vector<std::vector<std::uint8_t>> frames;
    Time now = 1'000'000;
    const auto run = [&] {
        while (vehicle.next_wakeup() < now + 50'000'000) {
            now = std::max(now, vehicle.next_wakeup());
            vehicle.poll(now, [&](const CanFrame& frame) {
                CHECK(frame.id == CanId{0x7E8, false});
                frames.emplace_back(frame.data.begin(), frame.data.end());
            });
        }
    };
    run();
    REQUIRE(frames.size() == 1);
    CHECK(frames[0][0] == 0x10);
    CHECK(frames[0][1] == 20);
    const std::vector<std::uint8_t> go_on{0x30, 0, 0, 0, 0, 0, 0, 0};
    vehicle.feed({.id = {0x7E0, false}, .data = go_on}, now);
    run();
    REQUIRE(frames.size() == 3);
    CHECK(frames[1][0] == 0x21);
    CHECK(frames[2][0] == 0x22);
}

} // namespace
