// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>
#include <string>
#include <string_view>

#include "telltale/base/bytes.hpp"
#include "telltale/base/export.hpp"
#include "telltale/frame/can.hpp"

namespace telltale::link {

/// What an adapter that speaks the serial-line CAN ASCII of the Linux kernel's slcan driver said.
struct SerialCanEvent {
    enum class Kind : std::uint8_t {
        frame,   ///< a frame, in `frame`; an error frame where the adapter told of errors
        done,    ///< a command was carried out (CR alone)
        refused, ///< a command was not (BEL)
        queued,  ///< a frame to send was taken (z, Z)
        answer,  ///< another answer: version, serial number, status flags; in `text`
        bad,     ///< nothing that the protocol has
    };
    Kind kind = Kind::bad;
    CanFrame frame; ///< looks into the parser; valid until its next call
    bool timed = false;
    std::uint32_t milliseconds = 0; ///< of the adapter's clock, when `timed`
    std::string_view text;          ///< untrusted; valid until the parser's next call
};

/// Takes the stream of bytes from such an adapter apart. No I/O; bounded: what is longer than the
/// longest line is one `bad` event.
class TELLTALE_API SerialCanParser {
  public:
    /// Takes bytes off the front of `bytes` until there is an event (true) or none are left.
    bool next(Bytes& bytes, SerialCanEvent& event) noexcept;

  private:
    bool line(SerialCanEvent& event) noexcept;
    bool errors(std::string_view text) noexcept;
    bool state(std::string_view text) noexcept;

    static constexpr std::size_t longest = 1 + 8 + 1 + 128 + 4;
    std::array<char, longest> line_{};
    std::size_t size_ = 0;
    bool too_long_ = false;
    std::array<std::uint8_t, 64> data_{};
    CanFrame frame_;
};

/// Appends a frame in the words of the protocol, CR included: t7DF8..., T..., r..., R..., d...,
/// D... `frame` is a valid data or remote frame.
TELLTALE_API void append_serial_can(std::string& out, const CanFrame& frame);

/// The digit of the command S for a bit rate (10, 20, 50, 100, 125, 250, 500, 800, 1000 kbit/s:
/// 0 to 8), or -1.
TELLTALE_API int serial_can_rate(std::uint32_t bit_rate) noexcept;

} // namespace telltale::link
