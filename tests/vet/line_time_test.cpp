// SPDX-License-Identifier: Apache-2.0
#include <doctest/doctest.h>

#include <array>

#include "telltale/vet/built_in.hpp"
#include "telltale/vet/line_time.hpp"

using namespace telltale;
using namespace telltale::vet;

namespace {

std::uint32_t bits(CanId id, Bytes data) {
    CanFrame frame;
    frame.id = id;
    frame.data = data;
    return frame_bits(frame).nominal;
}

} // namespace

// The bounds are those of Davis, Burns, Bril and Lukkien, "Controller Area Network (CAN)
// schedulability analysis: Refuted, revisited and revised" (2007): 55 + 10 n bits for 11-bit
// identifiers and 80 + 10 n for 29-bit ones, stuffing and the space between frames included;
// without stuffing g + 8 n + 13 with g = 34 and 54.
TEST_CASE("line time: between the bounds, whatever the frame") {
    std::uint64_t state = 1;
    const auto random = [&] {
        state = state * 6364136223846793005U + 1442695040888963407U;
        return static_cast<std::uint32_t>(state >> 33);
    };
    for (int i = 0; i < 20'000; ++i) {
        std::array<std::uint8_t, 8> data;
        // Few different bytes make long runs.
        for (auto& byte : data)
            byte = i % 2 == 0 ? static_cast<std::uint8_t>(random())
                              : static_cast<std::uint8_t>(random() % 2 == 0 ? 0xF8 : 0x07);
        const std::uint32_t n = random() % 9;
        const bool extended = random() % 2 == 0;
        const CanId id{random() % (extended ? 0x2000'0000U : 0x800U), extended};
        const auto taken = bits(id, Bytes(data).first(n));
        CHECK(taken >= (extended ? 54 : 34) + 8 * n + 13);
        CHECK(taken <= (extended ? 80 : 55) + 10 * n);
    }
}

TEST_CASE("line time: the worst case is reached by the frames that are made for it") {
    const auto known = built_in_frames(1);
    bool standard = false;
    bool extended = false;
    for (const auto& frame : known.frames) {
        if (frame.fd || frame.size != 8 || frame.kind != CanKind::data)
            continue;
        const auto stuffed = frame_bits(frame.view()).stuffed;
        standard |= !frame.id.extended && stuffed >= 18; // a bound that none reaches: 24
        extended |= frame.id.extended && stuffed >= 21;  // 29
    }
    CHECK(standard);
    CHECK(extended);
}

TEST_CASE("line time: without stuff bits, and as time") {
    // 0101... never has five equal bits; the CRC may, and control bits do at times.
    const std::array<std::uint8_t, 8> data{0x55, 0x55, 0x55, 0x55, 0x55, 0x55, 0x55, 0x55};
    CanFrame frame;
    frame.id = {0x2AA, false};
    frame.data = data;
    const auto counted = frame_bits(frame);
    CHECK(counted.nominal - counted.stuffed == 111);
    CHECK(line_time(frame, 500'000) == Time{counted.nominal} * 2000);
    CHECK(line_time(frame, 0) == 0);
    frame.kind = CanKind::remote;
    frame.data = {};
    frame.remote_length = 8;
    const auto remote = frame_bits(frame);
    CHECK(remote.nominal - remote.stuffed == 47);
}

TEST_CASE("line time: CAN FD") {
    const std::array<std::uint8_t, 64> data{};
    CanFrame frame;
    frame.id = {0x555, false};
    frame.fd = true;
    frame.data = data;
    const auto slow = frame_bits(frame);
    CHECK(slow.fast == 0);
    frame.bit_rate_switch = true;
    const auto fast = frame_bits(frame);
    CHECK(fast.fast > 64 * 8);
    CHECK(fast.nominal + fast.fast - fast.stuffed == slow.nominal - slow.stuffed);
    // SOF, identifier, RRS, IDE, FDF, res, BRS; ESI, DLC, data, stuff count, CRC-21; 13 more.
    CHECK(slow.nominal - slow.stuffed == 17 + 5 + 512 + 4 + 21 + 13);
    CHECK(line_time(frame, 500'000, 2'000'000) ==
          Time{fast.nominal} * 2000 + Time{fast.fast} * 500);
}
