// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <cstdint>
#include <string>
#include <string_view>

#include "telltale/base/export.hpp"
#include "telltale/base/units.hpp"

namespace telltale {

/// How numbers of a unit are shown in a system of units.
struct Shown {
    double factor = 1;
    double offset = 0;
    unsigned decimals = 0;
    bool converted = false;
    std::string_view text; ///< the unit as a person reads it; empty for pure numbers
    std::string_view ucum; ///< the unit as UCUM code; "1" for pure numbers

    double operator()(double si) const { return converted ? si * factor + offset : si; }
};
/// For numbers of which one raw step is `step` (0 where there is none) and that are shown with
/// `decimals` in SI units. The decimals of US units follow from the converted step. `own_unit` is a
/// unit that is none of `Unit`, as a UCUM annotation ("{mm3/stroke}"), or empty; the result has
/// views of it.
TELLTALE_API Shown shown(Unit unit, double step, unsigned decimals, UnitSystem system,
                         std::string_view own_unit = {}) noexcept;

/// Appends the shortest decimal that reads back as the same number, "null" for not-a-number and
/// infinities. A converted number is rounded to 12 digits first: what is beyond them is noise of
/// the conversion.
TELLTALE_API void append_exact(std::string& out, double number, bool converted = false);

/// Appends the identifier of a value: two upper-case hex digits, or four above FF.
TELLTALE_API void append_id(std::string& out, std::uint16_t id);

} // namespace telltale
