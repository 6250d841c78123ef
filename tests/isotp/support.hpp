// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <cstdint>
#include <string>
#include <string_view>
#include <vector>

#include "telltale/base/hex.hpp"
#include "telltale/isotp/reassembler.hpp"

namespace telltale::isotp::testing {

inline std::vector<std::uint8_t> bytes_of(std::string_view hex) {
    std::string digits;
    for (const char c : hex)
        if (c != ' ')
            digits += c;
    std::vector<std::uint8_t> out(digits.size() / 2);
    if (!from_hex(digits, out))
        out.clear();
    return out;
}

/// A message as it was told, with its bytes copied.
struct Told {
    Message message;
    std::string hex;
};
struct Trouble {
    Problem problem;
    Message about;
    std::string hex; ///< of `about`
};

struct Heard final : Sink {
    std::vector<Told> messages;
    std::vector<Trouble> problems;
    std::vector<FlowControl> flow;

    void message(const Message& m) override { messages.push_back({m, to_hex(m.bytes)}); }
    void problem(const Problem& p, const Message& about) override {
        problems.push_back({p, about, to_hex(about.bytes)});
    }
    void flow_control(const FlowControl& control, const Message&) override {
        flow.push_back(control);
    }

    /// The problems' codes, as one line of words.
    std::string words() const {
        std::string out;
        for (const Trouble& trouble : problems) {
            if (!out.empty())
                out += ' ';
            out += word(trouble.problem.code);
        }
        return out;
    }
    /// The messages' bytes, as one line of hex.
    std::string said() const {
        std::string out;
        for (const Told& told : messages) {
            if (!out.empty())
                out += ' ';
            out += told.hex;
        }
        return out;
    }
};

constexpr CanId ecu{0x7E8, false};
constexpr CanId tester{0x7E0, false};

/// A reassembler with an ear, a clock that goes 1 ms a frame, and places counted in frames.
struct Bench {
    explicit Bench(const ReassemblerOptions& options = {}) : reassembler(options) {}

    void feed(CanId id, std::string_view hex) { feed(0, id, bytes_of(hex)); }
    void feed(std::string_view hex) { feed(ecu, hex); }
    void feed(std::uint16_t line, CanId id, const std::vector<std::uint8_t>& data) {
        CanFrame frame;
        frame.id = id;
        frame.fd = fd;
        frame.data = data;
        if (time != no_time)
            time += nanoseconds_a_millisecond;
        ++place.offset;
        reassembler.feed(line, frame, time, place, heard);
    }
    void finish() { reassembler.finish(heard); }
    std::string words() const { return heard.words(); }
    std::string said() const { return heard.said(); }

    Reassembler reassembler;
    Heard heard;
    bool fd = false;
    Time time = 0;
    Place place;
};

/// Cuts a message into frames of `size` bytes as a sender would (ISO 15765-2:2016, 9.4): single
/// frame where it fits, the length escapes where they are due, padding with AA.
/// Written apart from the library.
inline std::vector<std::vector<std::uint8_t>> cut(const std::vector<std::uint8_t>& message,
                                                  std::size_t size = 8, int address = -1) {
    std::vector<std::vector<std::uint8_t>> out;
    std::vector<std::uint8_t> start;
    if (address >= 0)
        start.push_back(static_cast<std::uint8_t>(address));
    const auto pad = [&](std::vector<std::uint8_t> frame) {
        while (frame.size() < 8 || !is_fd_length(frame.size()))
            frame.push_back(0xAA);
        out.push_back(frame);
    };
    std::vector<std::uint8_t> frame = start;
    const std::size_t n = message.size();
    if (n + 1 + start.size() <= 8) {
        frame.push_back(static_cast<std::uint8_t>(n));
        frame.insert(frame.end(), message.begin(), message.end());
        pad(frame);
        return out;
    }
    if (size > 8 && n + 2 + start.size() <= size) {
        frame.push_back(0);
        frame.push_back(static_cast<std::uint8_t>(n));
        frame.insert(frame.end(), message.begin(), message.end());
        pad(frame);
        return out;
    }
    if (n <= 4095) {
        frame.push_back(static_cast<std::uint8_t>(0x10 | n >> 8));
        frame.push_back(static_cast<std::uint8_t>(n & 0xFF));
    } else {
        frame.push_back(0x10);
        frame.push_back(0);
        for (int shift = 24; shift >= 0; shift -= 8)
            frame.push_back(static_cast<std::uint8_t>(n >> shift & 0xFF));
    }
    std::size_t at = 0;
    while (frame.size() < size)
        frame.push_back(message[at++]);
    out.push_back(frame);
    for (unsigned number = 1; at < n; ++number) {
        frame = start;
        frame.push_back(static_cast<std::uint8_t>(0x20 | (number & 0xF)));
        while (frame.size() < size && at < n)
            frame.push_back(message[at++]);
        pad(frame);
    }
    return out;
}

inline std::vector<std::uint8_t> ramp(std::size_t n, unsigned start = 0) {
    std::vector<std::uint8_t> out(n);
    for (std::size_t i = 0; i < n; ++i)
        out[i] = static_cast<std::uint8_t>(start + i * 7);
    return out;
}

} // namespace telltale::isotp::testing
