// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>

#include "telltale/base/bytes.hpp"
#include "telltale/base/export.hpp"
#include "telltale/base/problem.hpp"
#include "telltale/base/time.hpp"

namespace telltale {

/// What came of taking a frame apart: `none`, or why it is no frame, with the numbers that the code
/// of the problem wants.
struct FrameVerdict {
    ProblemCode code = ProblemCode::none;
    std::uint64_t a = 0;
    std::uint64_t b = 0;
    constexpr bool fine() const { return code == ProblemCode::none; }
    friend constexpr bool operator==(const FrameVerdict&, const FrameVerdict&) = default;
};

/// Forms of the header of a K-line frame.
enum class KlineForm : std::uint8_t {
    iso_9141,   ///< ISO 9141-2: 68 6A source, 48 6B source; no length
    no_address, ///< ISO 14230-2: format byte with A1A0 = 00
    physical,   ///< A1A0 = 10: one ECU, or the answer to a tester
    functional, ///< A1A0 = 11: a group of ECUs
};

/// A K-line frame taken apart. A view: `data` belongs to whoever made the frame.
struct KlineFrame {
    KlineForm form = KlineForm::iso_9141;
    bool has_address = false;
    std::uint8_t target = 0; ///< when `has_address`
    std::uint8_t source = 0;
    std::uint8_t header_size = 0; ///< 1 to 4 bytes
    Bytes data;                   ///< from the service byte on, without the checksum
};

/// The longest frame: four header bytes, 255 data bytes, checksum (ISO 14230-2).
inline constexpr std::size_t max_kline_frame = 260;

/// Sum of the bytes modulo 256 (ISO 9141-2; ISO 14230-2, checksum byte).
constexpr std::uint8_t kline_checksum(Bytes bytes) {
    unsigned sum = 0;
    for (const std::uint8_t byte : bytes)
        sum += byte;
    return static_cast<std::uint8_t>(sum);
}

/// How many bytes a frame has that begins with these, checksum included; 0 where the bytes do not
/// say it: the header is cut, or is of a form without length (ISO 9141-2).
TELLTALE_API std::size_t kline_length(Bytes front) noexcept;

/// Takes a whole frame apart: header, data, checksum.
/// Problems: `frame_cut` (a bytes wanted, b there), `header_unknown` (a: the format byte),
/// `bad_length` (a: data bytes), `checksum_wrong` (a computed, b received).
TELLTALE_API FrameVerdict parse_kline(Bytes frame, KlineFrame& out) noexcept;

/// The number that the two key bytes of an initialisation write (ISO 14230-2: seven bits each, the
/// highest bit is odd parity; key byte 1 holds the low ones).
constexpr unsigned key_word(std::uint8_t key_byte_1, std::uint8_t key_byte_2) {
    return (key_byte_2 & 0x7FU) << 7 | (key_byte_1 & 0x7FU);
}

/// Where a K-line stands in the initialisation at 5 baud, as the bytes after the address show it
/// (ISO 9141-2; ISO 14230-2): 55 and two key bytes from the ECU, the second one inverted from the
/// tester, the inverted address from the ECU. Told piece by piece as the pauses cut them.
class TELLTALE_API KlineInit {
  public:
    /// True when these bytes are the next piece of an initialisation; remembers how far it came.
    /// Anything else ends the initialisation.
    bool take(Bytes piece) noexcept;
    /// The key bytes seen last; 0 before.
    std::uint8_t key_byte_1() const noexcept { return key_[0]; }
    std::uint8_t key_byte_2() const noexcept { return key_[1]; }

  private:
    enum class Next : std::uint8_t { keys, inverted_key, inverted_address };
    Next next_ = Next::keys;
    std::array<std::uint8_t, 2> key_{};
};

/// Cuts a stream of bytes with times into frames, by the pauses between bytes: inside a frame they
/// are at most 20 ms long (P1 of the ECU, P4 of the tester: ISO 9141-2 and ISO 14230-2), before the
/// next frame they are longer (P2, P3). Where a header says its length and the checksum there is
/// right, the frame ends with it, however soon the next byte comes. Bounded: what grows beyond the
/// longest frame is given in pieces of that size.
class TELLTALE_API KlineCutter {
  public:
    static constexpr Time max_pause = 20 * nanoseconds_a_millisecond;
    /// One byte: start bit, eight data bits and stop bit at 10400 baud.
    static constexpr Time byte_time = 10 * nanoseconds_a_second / 10'400;

    struct Piece {
        Time time = no_time; ///< of its first byte
        Place place;
        Bytes bytes; ///< stay valid until the next `push` or `next`
    };

    /// One byte more. `time` is when it came, in any one way (its start, its end). Call `next`
    /// until it is false before each push.
    void push(std::uint8_t byte, Time time, Place place) noexcept;
    /// No byte will come before `time`: what waits is over if the pause is long enough.
    void pause_until(Time time) noexcept;
    /// The input is over.
    void finish() noexcept { over_ = true; }
    /// Gives what is over: a frame, or what ought to be one.
    bool next(Piece& piece) noexcept;
    bool empty() const noexcept { return size_ == given_; }

  private:
    struct Mark {
        Time time = no_time;
        Place place;
    };
    void drop() noexcept;

    std::array<std::uint8_t, max_kline_frame> bytes_{};
    std::array<Mark, max_kline_frame> marks_{};
    std::size_t size_ = 0;
    std::size_t given_ = 0; ///< of them, given already
    Time last_ = no_time;
    bool over_ = false;
};

} // namespace telltale
