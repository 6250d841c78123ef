// SPDX-License-Identifier: Apache-2.0
// The ASCII form of CAN on a serial line, as the Linux kernel's slcan driver speaks it
// (drivers/net/can/slcan):
//
//     frame = "t" 3 hex digits length data [time]      11 bit
//           | "T" 8 hex digits length data [time]      29 bit
//           | "r" 3 hex digits length [time]           remote frames
//           | "R" 8 hex digits length [time]
//           | "d" | "D" | "b" | "B" ...                FD frames like t and T, without and with
//                                                      bit rate switch; the length is a length code
//     time  = 4 hex digits: milliseconds
//
// Headers only, for the reader of dumps and for the live line.
#pragma once

#include <array>
#include <cstdint>
#include <string_view>

#include "telltale/base/hex.hpp"
#include "telltale/base/problem.hpp"
#include "telltale/frame/can.hpp"

namespace telltale {

/// A line that is a frame.
struct SerialCanLine {
    CanFrame frame;
    std::array<std::uint8_t, 64> buffer; ///< what `frame.data` looks at
    bool timed = false;
    std::uint32_t milliseconds = 0;
};

inline constexpr std::array<std::uint8_t, 16> fd_lengths = {0, 1,  2,  3,  4,  5,  6,  7,
                                                            8, 12, 16, 20, 24, 32, 48, 64};

/// What came of a line: fine, or the problem that it is, with the number that goes with it.
struct SerialCanVerdict {
    ProblemCode code = ProblemCode::none;
    std::uint64_t a = 0;
    bool fine() const { return code == ProblemCode::none; }
};

/// Hex digits to a number; false when one is none.
inline bool serial_can_number(std::string_view digits, std::uint64_t& value) {
    value = 0;
    for (const char c : digits) {
        const unsigned digit = hex_digit(c);
        if (digit > 15)
            return false;
        value = value << 4 | digit;
    }
    return true;
}

/// Reads one line without its end. `out.frame` is a view into `out`.
inline SerialCanVerdict parse_serial_can(std::string_view line, SerialCanLine& out) {
    const SerialCanVerdict unreadable{ProblemCode::unreadable_line, line.size()};
    CanFrame& frame = out.frame;
    frame = {};
    out.timed = false;
    if (line.empty())
        return unreadable;
    bool remote = false;
    switch (line.front()) {
    case 't':
    case 'T':
        break;
    case 'r':
    case 'R':
        remote = true;
        break;
    case 'b':
    case 'B':
        frame.bit_rate_switch = true;
        [[fallthrough]];
    case 'd':
    case 'D':
        frame.fd = true;
        break;
    default:
        return unreadable;
    }
    frame.id.extended = line.front() < 'a';
    const std::size_t id_size = frame.id.extended ? 8 : 3;
    std::uint64_t id = 0;
    if (line.size() < id_size + 2 || !serial_can_number(line.substr(1, id_size), id))
        return unreadable;
    const unsigned code = hex_digit(line[id_size + 1]);
    if (code > 15)
        return unreadable;
    const auto rest = line.substr(id_size + 2);
    const std::size_t length = frame.fd ? fd_lengths[code] : code;
    const std::size_t digits = remote ? 0 : length * 2;
    frame.id.value = static_cast<std::uint32_t>(id);
    if (!frame.id.valid())
        return {ProblemCode::bad_identifier, id};
    if (!frame.fd && length > 8)
        return {ProblemCode::bad_length, length};
    if (rest.size() != digits && rest.size() != digits + 4)
        return unreadable;
    for (std::size_t i = 0; i < digits / 2; ++i) {
        std::uint64_t byte = 0;
        if (!serial_can_number(rest.substr(2 * i, 2), byte))
            return unreadable;
        out.buffer[i] = static_cast<std::uint8_t>(byte);
    }
    if (rest.size() != digits) {
        std::uint64_t milliseconds = 0;
        if (!serial_can_number(rest.substr(digits), milliseconds))
            return unreadable;
        out.timed = true;
        out.milliseconds = static_cast<std::uint32_t>(milliseconds);
    }
    if (remote) {
        frame.kind = CanKind::remote;
        frame.remote_length = static_cast<std::uint8_t>(length);
    } else {
        frame.data = Bytes(out.buffer).first(length);
    }
    return {};
}

} // namespace telltale
