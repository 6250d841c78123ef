// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>
#include <span>
#include <string>
#include <string_view>

#include "telltale/base/bytes.hpp"
#include "telltale/base/export.hpp"
#include "telltale/base/result.hpp"

namespace telltale {

namespace detail {
constexpr std::array<std::uint8_t, 256> make_hex_digits() {
    std::array<std::uint8_t, 256> table{};
    for (auto& entry : table)
        entry = 0xFF;
    for (unsigned i = 0; i < 10; ++i)
        table['0' + i] = static_cast<std::uint8_t>(i);
    for (unsigned i = 0; i < 6; ++i) {
        table['a' + i] = static_cast<std::uint8_t>(10 + i);
        table['A' + i] = static_cast<std::uint8_t>(10 + i);
    }
    return table;
}
inline constexpr std::array<std::uint8_t, 256> hex_digits = make_hex_digits();
} // namespace detail

/// Value of one hex digit, either case; 0xFF when it is none.
constexpr std::uint8_t hex_digit(char c) {
    return detail::hex_digits[static_cast<std::uint8_t>(c)];
}

/// Hex text (either case, no separators, an even number of digits) into `out`.
/// Returns how many bytes were written. Errors: `bad-hex` with the offset of the first character
/// that is no hex digit (or of the end, when a digit is missing), `too-long` when `out` is too
/// small.
TELLTALE_API Result<std::size_t> from_hex(std::string_view text, std::span<std::uint8_t> out);

/// Appends bytes as upper-case hex, with `separator` between bytes unless it is '\0'.
TELLTALE_API void append_hex(std::string& out, Bytes bytes, char separator = '\0');

/// Appends `value` as exactly `digits` upper-case hex digits.
TELLTALE_API void append_hex(std::string& out, std::uint64_t value, unsigned digits);

/// Bytes as upper-case hex text.
TELLTALE_API std::string to_hex(Bytes bytes, char separator = '\0');

} // namespace telltale
