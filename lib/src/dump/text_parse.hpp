// SPDX-License-Identifier: Apache-2.0
// Pieces that the text readers share. The wide forms work on eight characters at a time in a
// 64-bit word, first character in the lowest byte.
#pragma once

#include <bit>
#include <cstdint>
#include <cstring>
#include <span>
#include <string_view>

#include "telltale/base/bytes.hpp"
#include "telltale/base/hex.hpp"
#include "telltale/base/time.hpp"

namespace telltale::dump {

inline constexpr std::uint64_t every_byte(std::uint8_t byte) {
    return 0x0101'0101'0101'0101U * byte;
}

inline std::uint64_t load8(const void* at) {
    std::uint64_t word = 0;
    std::memcpy(&word, at, 8);
    if constexpr (std::endian::native == std::endian::big)
        word = __builtin_bswap64(word);
    return word;
}

/// True when all eight characters are decimal digits.
inline bool are_digits(std::uint64_t word) {
    // A digit is 30 to 39: its high half is 3, and still is when 6 is added.
    return ((word & every_byte(0xF0)) | ((word + every_byte(0x06)) & every_byte(0xF0)) >> 4) ==
           every_byte(0x33);
}

/// The number that eight decimal digits write.
inline std::uint32_t digits_value(std::uint64_t word) {
    word &= every_byte(0x0F);
    word = (word * 10 + (word >> 8)) & 0x00FF'00FF'00FF'00FF;
    word = (word * 100 + (word >> 16)) & 0x0000'FFFF'0000'FFFF;
    return static_cast<std::uint32_t>(word * 10'000 + (word >> 32));
}

/// The top bit of each byte that is a hex digit, in either case.
inline std::uint64_t hex_places(std::uint64_t word) {
    const std::uint64_t low = word & every_byte(0x7F);
    const std::uint64_t lower = low | every_byte(0x20);
    // Adding 80 - x sets the top bit of every byte (below 80) that is x or more.
    const std::uint64_t digit =
        (low + every_byte(0x80 - '0')) & ~(low + every_byte(0x80 - ('9' + 1)));
    const std::uint64_t letter =
        (lower + every_byte(0x80 - 'a')) & ~(lower + every_byte(0x80 - ('f' + 1)));
    return (digit | letter) & ~word & every_byte(0x80);
}

/// How many of the eight characters, from the first on, are hex digits.
inline unsigned hex_run(std::uint64_t word) {
    const std::uint64_t other = ~hex_places(word) & every_byte(0x80);
    return other == 0 ? 8 : static_cast<unsigned>(std::countr_zero(other)) / 8;
}

/// The four bytes that eight hex digits write, the first in the lowest byte.
inline std::uint32_t hex_bytes(std::uint64_t word) {
    std::uint64_t nibbles = (word & every_byte(0x0F)) + (word >> 6 & every_byte(0x01)) * 9;
    nibbles = (nibbles << 4 | nibbles >> 8) & 0x00FF'00FF'00FF'00FF;
    nibbles = (nibbles | nibbles >> 8) & 0x0000'FFFF'0000'FFFF;
    return static_cast<std::uint32_t>(nibbles | nibbles >> 16);
}

/// Stores the four bytes, the lowest first.
inline void store4(std::uint8_t* at, std::uint32_t word) {
    if constexpr (std::endian::native == std::endian::big)
        word = __builtin_bswap32(word);
    std::memcpy(at, &word, 4);
}

inline bool is_space(char c) {
    return c == ' ' || c == '\t';
}

inline bool is_digit(char c) {
    return c >= '0' && c <= '9';
}

inline std::string_view trim(std::string_view text) {
    while (!text.empty() && is_space(text.front()))
        text.remove_prefix(1);
    while (!text.empty() && (is_space(text.back()) || text.back() == '\r'))
        text.remove_suffix(1);
    return text;
}

/// True for a line that says nothing: blank, or a comment (#, ; or // at its start).
inline bool says_nothing(std::string_view trimmed) {
    return trimmed.empty() || trimmed.front() == '#' || trimmed.front() == ';' ||
           trimmed.substr(0, 2) == "//";
}

/// Takes what stands before the next space or tab off the front of `rest`, with the space around
/// it. Empty at the end.
inline std::string_view take_token(std::string_view& rest) {
    std::size_t begin = 0;
    while (begin < rest.size() && is_space(rest[begin]))
        ++begin;
    std::size_t end = begin;
    while (end < rest.size() && !is_space(rest[end]))
        ++end;
    const auto token = rest.substr(begin, end - begin);
    while (end < rest.size() && is_space(rest[end]))
        ++end;
    rest.remove_prefix(end);
    return token;
}

/// A number of 1 to 16 hex digits and nothing else.
inline bool parse_hex(std::string_view text, std::uint64_t& value) {
    if (text.empty() || text.size() > 16)
        return false;
    value = 0;
    for (const char c : text) {
        const unsigned digit = hex_digit(c);
        if (digit > 15)
            return false;
        value = value << 4 | digit;
    }
    return true;
}

/// A number of 1 to 19 decimal digits and nothing else.
inline bool parse_decimal(std::string_view text, std::uint64_t& value) {
    if (text.empty() || text.size() > 19)
        return false;
    value = 0;
    for (const char c : text) {
        if (!is_digit(c))
            return false;
        value = value * 10 + static_cast<unsigned>(c - '0');
    }
    return true;
}

/// Hex digits without separators into `out`; how many bytes, or `npos` when they are not an even
/// number of hex digits or too many.
std::size_t parse_hex_bytes(std::string_view text, std::span<std::uint8_t> out);

/// Takes "0x" off the front.
inline bool take_0x(std::string_view& text) {
    if (text.size() < 3 || text[0] != '0' || (text[1] | 0x20) != 'x')
        return false;
    text.remove_prefix(2);
    return true;
}

/// As take_token, where a comma is white space too.
std::string_view take_piece(std::string_view& rest);

/// Bytes from a piece of text into `out` at `size`, which grows: an even number of hex digits with
/// or without 0x, or 0x and one digit. What has no room is counted, not kept. False when the piece
/// is no such thing.
bool parse_hex_piece(std::string_view piece, std::span<std::uint8_t> out, std::size_t& size);

/// A number with an optional fraction after a point (or, where `comma` says so, a comma), in units
/// of `scale` nanoseconds, which is a power of ten from 1 to 1e9. Digits below a nanosecond are
/// dropped. False when it is no such number, or too large for a time.
bool parse_scaled(std::string_view text, Time scale, Time& time, bool comma = false);

/// A date and time of day, `2026-01-02 03:04:05.123456` (or with T between, or Z at the end), as
/// nanoseconds since 1970. A text without zone is read as it stands, as if it were UTC.
bool parse_date_time(std::string_view text, Time& time);

/// A time of day, `03:04:05.123456`, as nanoseconds since midnight.
bool parse_time_of_day(std::string_view text, Time& time);

/// Seconds with an optional fraction, or a date and time of day.
inline bool parse_time(std::string_view text, Time& time) {
    return parse_scaled(text, nanoseconds_a_second, time) || parse_date_time(text, time);
}

} // namespace telltale::dump
