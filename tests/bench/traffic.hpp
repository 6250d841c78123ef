// SPDX-License-Identifier: Apache-2.0
// The bus traffic that the benchmarks and the count of allocations run on: the same frames each
// time, as many as wanted. Every fifth frame is diagnostic: engine speed asked for and answered,
// another PID, and now and then a VIN or a list of codes in several frames. The other frames are
// 24 broadcast identifiers. The vehicle and its VIN are invented.
#pragma once

#include <array>
#include <cstdint>
#include <cstring>
#include <string_view>

#include "telltale/base/time.hpp"
#include "telltale/frame/can.hpp"

namespace bench {

struct Frame {
    telltale::CanId id;
    std::array<std::uint8_t, 8> data{};
    std::uint8_t size = 8;
    telltale::Time time = 0;

    telltale::CanFrame view() const {
        telltale::CanFrame out;
        out.id = id;
        out.data = telltale::Bytes(data).first(size);
        return out;
    }
};

class Traffic {
  public:
    /// The next frame; valid until the next call.
    const Frame& next() {
        frame_.time = start + static_cast<telltale::Time>(count_) * 250'000; // 4000 frames a second
        if (count_++ % 5 == 0)
            diagnostic();
        else
            broadcast();
        return frame_;
    }

    /// Engine speed answers so far.
    std::uint64_t engine_speeds() const { return engine_speeds_; }

  private:
    static constexpr telltale::Time start = 1'700'000'000 * telltale::nanoseconds_a_second;
    static constexpr std::string_view vin = "0TTVAN2T9NX000417";

    void broadcast() {
        const std::uint64_t n = broadcasts_++;
        frame_.id = {static_cast<std::uint32_t>(0x0A0 + n % 24 * 0x2B), false};
        frame_.size = n % 24 == 7 ? 4 : 8;
        std::uint64_t mixed = (n + 1) * 0x9E37'79B9'7F4A'7C15;
        for (auto& byte : frame_.data) {
            byte = static_cast<std::uint8_t>(mixed);
            mixed >>= 8;
        }
    }

    void put(std::uint32_t id, std::array<std::uint8_t, 8> data) {
        frame_.id = {id, false};
        frame_.size = 8;
        frame_.data = data;
    }

    static std::uint8_t low(std::uint64_t value) { return static_cast<std::uint8_t>(value); }

    /// One step of a round of 400 frames; see the comment at the top.
    void diagnostic() {
        const std::uint64_t n = diagnostics_++;
        const std::uint64_t at = n % 400;
        const std::uint64_t turn = n / 2;
        if (at >= 390) { // VIN, service 09 InfoType 02, in three frames
            switch (at - 390) {
            case 0:
                return put(0x7E0, {0x02, 0x09, 0x02});
            case 1:
                return put(0x7E8,
                           {0x10, 0x14, 0x49, 0x02, 0x01, char_at(0), char_at(1), char_at(2)});
            case 2:
                return put(0x7E0, {0x30});
            case 3:
                return consecutive(0x7E8, 1, 3);
            case 4:
                return consecutive(0x7E8, 2, 10);
            case 5:
                return put(0x7E0, {0x01, 0x03}); // stored codes, in two frames
            case 6:
                return put(0x7E8, {0x10, 0x0A, 0x43, 0x04, 0x01, 0x43, 0x01, 0x96});
            case 7:
                return put(0x7E0, {0x30});
            case 8:
                return put(0x7E8, {0x21, 0x02, 0x34, 0xC1, 0x00, 0xAA, 0xAA, 0xAA});
            default:
                return put(0x7E9, {0x03, 0x41, 0x0D, low(turn)}); // another ECU: speed
            }
        }
        const bool answer = n % 2 != 0;
        if (turn % 2 == 0) { // engine speed: 600 to 4695.75 rpm and back to 600
            if (!answer)
                return put(0x7DF, {0x02, 0x01, 0x0C});
            ++engine_speeds_;
            const std::uint64_t raw = 2400 + turn * 37 % 16'384;
            return put(0x7E8, {0x04, 0x41, 0x0C, low(raw >> 8), low(raw), 0xAA, 0xAA, 0xAA});
        }
        constexpr std::array<std::uint8_t, 6> others = {0x04, 0x05, 0x0B, 0x0D, 0x0F, 0x11};
        const std::uint8_t pid = others[turn / 2 % others.size()];
        if (!answer)
            return put(0x7DF, {0x02, 0x01, pid});
        return put(0x7E8, {0x03, 0x41, pid, low(turn), 0xAA, 0xAA, 0xAA, 0xAA});
    }

    static std::uint8_t char_at(std::size_t i) { return static_cast<std::uint8_t>(vin[i]); }

    void consecutive(std::uint32_t id, unsigned number, std::size_t from) {
        frame_.id = {id, false};
        frame_.size = 8;
        frame_.data[0] = static_cast<std::uint8_t>(0x20 + number);
        std::memcpy(frame_.data.data() + 1, vin.data() + from, 7);
    }

    Frame frame_;
    std::uint64_t count_ = 0;
    std::uint64_t broadcasts_ = 0;
    std::uint64_t diagnostics_ = 0;
    std::uint64_t engine_speeds_ = 0;
};

/// Appends a frame as a line of a SocketCAN text log.
template <class Text> void append_log_line(Text& out, const Frame& frame) {
    const auto digits = [&](std::uint64_t value, int count) {
        char text[20];
        for (int i = count; i > 0; --i, value /= 10)
            text[i - 1] = static_cast<char>('0' + value % 10);
        out.append(text, static_cast<std::size_t>(count));
    };
    constexpr char hex[] = "0123456789ABCDEF";
    out.append("(", 1);
    digits(static_cast<std::uint64_t>(frame.time / telltale::nanoseconds_a_second), 10);
    out.append(".", 1);
    digits(static_cast<std::uint64_t>(frame.time % telltale::nanoseconds_a_second / 1000), 6);
    out.append(") can0 ", 7);
    for (int shift = frame.id.extended ? 28 : 8; shift >= 0; shift -= 4)
        out.append(&hex[frame.id.value >> shift & 0xF], 1);
    out.append("#", 1);
    for (std::size_t i = 0; i < frame.size; ++i) {
        out.append(&hex[frame.data[i] >> 4], 1);
        out.append(&hex[frame.data[i] & 0xF], 1);
    }
    out.append("\n", 1);
}

} // namespace bench
