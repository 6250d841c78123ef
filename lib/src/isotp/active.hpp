// SPDX-License-Identifier: Apache-2.0
// What the sender and the receiver share.
#pragma once

#include <algorithm>
#include <array>
#include <limits>
#include <memory>
#include <new>

#include "telltale/isotp/options.hpp"

namespace telltale::isotp::active {

/// N_PCI types, ISO 15765-2:2016, 9.6.1, table 9.
enum : std::uint8_t { single = 0, first = 1, consecutive = 2, flow = 3 };

constexpr std::size_t classic_length = 8;
/// The longest message whose length the 12 bits of a first frame can say (9.6.3).
constexpr std::size_t longest_short_length = 4095;
constexpr std::size_t longest_message = std::numeric_limits<std::uint32_t>::max();

/// a + b without running over; a negative wait is none.
constexpr Time after(Time a, Time b) {
    b = std::max<Time>(b, 0);
    return a > never - b ? never : a + b;
}

/// TX_DL as a length that a frame can have.
constexpr std::size_t tx_dl(const Options& options) {
    std::size_t n = options.fd ? std::clamp<std::size_t>(options.tx_dl, 8, 64) : 8;
    while (!is_fd_length(n))
        --n;
    return n;
}

/// The frame of `used` bytes that `bytes` begin with, padded as the options say and the line needs.
inline CanFrame finished(std::array<std::uint8_t, 64>& bytes, std::size_t used, CanId id,
                         const Options& options) {
    std::size_t length = fd_length_for(used);
    if (options.padding.has_value())
        length = std::max(length, classic_length);
    std::fill(bytes.begin() + static_cast<std::ptrdiff_t>(used),
              bytes.begin() + static_cast<std::ptrdiff_t>(length), options.padding.value_or(0xCC));
    CanFrame frame;
    frame.id = id;
    frame.fd = options.fd;
    frame.bit_rate_switch = options.fd && options.bit_rate_switch;
    frame.data = Bytes{bytes.data(), length};
    return frame;
}

/// The data from the N_PCI on, if it is a data frame of a possible length that bears this
/// identifier and address byte; else nothing.
inline Bytes payload(const CanFrame& frame, const Address& address, CanId id, std::uint8_t byte) {
    if (frame.kind != CanKind::data || frame.id != id ||
        (frame.fd ? !is_fd_length(frame.data.size()) : frame.data.size() > classic_length))
        return {};
    if (!address.has_byte())
        return frame.data;
    if (frame.data.empty() || frame.data[0] != byte)
        return {};
    return frame.data.subspan(1);
}

/// Room for `length` bytes; what was there is lost. False when the system has no memory.
inline bool make_room(std::unique_ptr<std::uint8_t[]>& buffer, std::size_t& capacity,
                      std::size_t length) {
    if (capacity >= length)
        return true;
    buffer.reset();
    capacity = 0;
    buffer.reset(new (std::nothrow) std::uint8_t[length]);
    if (buffer == nullptr)
        return false;
    capacity = length;
    return true;
}

} // namespace telltale::isotp::active
