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

/// A trouble code of OBDonUDS: three bytes, the two of SAE J2012 and a failure type byte
/// (SAE J2012-DA, ISO 15031-6).
struct Dtc3 {
    Dtc code;
    std::uint8_t failure_type = 0;

    static constexpr Dtc3 from(std::uint32_t raw) {
        return {{static_cast<std::uint16_t>(raw >> 8)}, static_cast<std::uint8_t>(raw)};
    }
    constexpr std::uint32_t raw() const { return std::uint32_t{code.raw} << 8 | failure_type; }
    /// Eight characters: the code, a hyphen, the failure type byte in hex. 01431C is P0143-1C.
    constexpr std::array<char, 8> text() const {
        constexpr char digits[] = "0123456789ABCDEF";
        const std::array<char, 5> letters = code.text();
        return {letters[0],
                letters[1],
                letters[2],
                letters[3],
                letters[4],
                '-',
                digits[failure_type >> 4],
                digits[failure_type & 15]};
    }
    friend constexpr auto operator<=>(const Dtc3&, const Dtc3&) = default;
};

/// What the bits of a status byte say, bit 0 first (ISO 14229-1, annex D).
inline constexpr std::array<std::string_view, 8> dtc_status_bits{
    "test failed",
    "test failed this operation cycle",
    "pending",
    "confirmed",
    "test not completed since clear",
    "test failed since clear",
    "test not completed this operation cycle",
    "warning indicator requested",
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
