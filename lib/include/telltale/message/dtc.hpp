// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <array>
#include <cstdint>
#include <optional>
#include <string_view>

#include "telltale/base/export.hpp"

namespace telltale::message {

/// A trouble code as SAE J2012 / ISO 15031-6 write it in two bytes.
struct Dtc {
    std::uint16_t raw = 0;

    /// Five characters: letter, digit 0 to 3, three hex digits. 0143 is P0143, C101 is U0101.
    constexpr std::array<char, 5> text() const {
        constexpr char letters[] = {'P', 'C', 'B', 'U'};
        constexpr char digits[] = "0123456789ABCDEF";
        return {letters[raw >> 14], static_cast<char>('0' + (raw >> 12 & 3)), digits[raw >> 8 & 15],
                digits[raw >> 4 & 15], digits[raw & 15]};
    }
    friend constexpr auto operator<=>(const Dtc&, const Dtc&) = default;
};

/// Who assigns a code (SAE J2012: the first digit, and the ranges P3000, P3400, U3000).
enum class Authority : std::uint8_t { standard, maker, reserved };
TELLTALE_API Authority authority(Dtc code) noexcept;

/// The system group in plain words ("powertrain: ignition or misfire", "network"), by the letter
/// and, for powertrain codes, the third character.
TELLTALE_API std::string_view group(Dtc code) noexcept;

/// Reads "P0143" in either case. Empty when the text is no code.
TELLTALE_API std::optional<Dtc> parse_dtc(std::string_view text) noexcept;

} // namespace telltale::message
