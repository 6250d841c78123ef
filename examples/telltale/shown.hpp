// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <string>
#include <string_view>

#include "telltale/base/units.hpp"
#include "telltale/message/message.hpp"

namespace telltale::program {

/// How numbers of a unit are shown in a system of units.
struct Shown {
    double factor = 1;
    double offset = 0;
    unsigned decimals = 0;
    bool converted = false;
    std::string_view text; ///< the unit as a person reads it
    std::string_view ucum; ///< the unit as UCUM code

    double operator()(double si) const { return converted ? si * factor + offset : si; }
};
Shown shown(Unit unit, double step, unsigned decimals, UnitSystem system);

/// Appends the shortest decimal that reads back as the same number ("null" when there is none). A
/// converted number is rounded to 12 digits first: what is beyond them is noise of the conversion.
void append_exact(std::string& out, double number, bool converted = false);

/// Appends two upper-case hex digits, or four above FF.
void append_id(std::string& out, std::uint16_t id);

} // namespace telltale::program
