// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <cstdint>
#include <optional>
#include <string_view>

#include "telltale/base/export.hpp"

namespace telltale::vehicle {

/// What the check digit says of a vehicle identification number.
enum class VinCheck : std::uint8_t {
    right,     ///< position 9 is the check digit of the other sixteen characters
    wrong,     ///< it is not. Only North America requires one: elsewhere this proves nothing
    not_a_vin, ///< not seventeen of the characters that a VIN may have
};
/// Its stable word: "right", "wrong", "not-a-vin".
TELLTALE_API std::string_view word(VinCheck check) noexcept;

/// Checks a VIN by 49 CFR 565.15(c): each character has a value (table III), each position a weight
/// (table IV), and the sum of their products modulo 11 stands in position 9, X for 10. Letters must
/// be upper case; I, O and Q do not occur (565.13(g), ISO 3779).
TELLTALE_API VinCheck check_vin(std::string_view vin) noexcept;

/// The model year by position 10 (49 CFR 565.15(d), table VII), 1980 to 2039. The code repeats
/// after thirty years; position 7 tells the halves apart for cars and light trucks: a digit means
/// 1980 to 2009, a letter 2010 to 2039. Only meaningful where North American rules hold. Empty when
/// the text is no VIN or position 10 is no year.
TELLTALE_API std::optional<int> model_year(std::string_view vin) noexcept;

} // namespace telltale::vehicle
