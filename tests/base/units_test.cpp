// SPDX-License-Identifier: Apache-2.0
// Holds the table of units against GNU units, which nobody here wrote.
#include "telltale/base/units.hpp"

#include <cmath>
#include <cstdio>
#include <cstdlib>
#include <set>
#include <string>
#include <utility>

#include <doctest/doctest.h>

using telltale::Unit;
using telltale::UnitInfo;

namespace {

/// How GNU units spells our units. Its inHg and inH2O are the conventional columns that we mean.
struct Spelling {
    Unit unit;
    const char* si;
    const char* us;
};
constexpr Spelling spellings[] = {
    {Unit::celsius, "degC", "degF"},
    {Unit::kilopascal, "kPa", "psi"},
    {Unit::kilopascal_air, "kPa", "inHg"},
    {Unit::pascal, "Pa", "inH2O"},
    {Unit::kilometre_hour, "km/hour", "mph"},
    {Unit::kilometre, "km", "mile"},
    {Unit::gram_second, "g/s", "lb/min"},
    {Unit::kilogram_hour, "kg/hour", "lb/hour"},
    {Unit::litre_hour, "L/hour", "gallon/hour"},
    {Unit::litre, "L", "gallon"},
    {Unit::gram, "g", "lb"},
    {Unit::kilogram, "kg", "lb"},
    {Unit::square_millimetre, "mm^2", "in^2"},
    {Unit::newton_metre, "N m", "lbf ft"},
    {Unit::metre_second2, "m/s^2", "ft/s^2"},
    {Unit::millimetre, "mm", "inch"},
    {Unit::kilopascal_second, "kPa/s", "psi/s"},
    {Unit::pascal_second, "Pa/s", "inH2O/s"},
    {Unit::kilogram_second, "kg/s", "lb/s"},
};

/// What `units` prints for a conversion, or not-a-number when it cannot.
double gnu_units(const std::string& from, const std::string& to) {
    const std::string command =
        "LC_ALL=C units -t -o %.17g '" + from + "' '" + to + "' 2>/dev/null";
    FILE* pipe = popen(command.c_str(), "r"); // NOLINT: fixed text
    if (pipe == nullptr)
        return NAN;
    char line[128] = {};
    const bool got = std::fgets(line, sizeof line, pipe) != nullptr;
    const int status = pclose(pipe);
    return got && status == 0 ? std::strtod(line, nullptr) : NAN;
}

} // namespace

TEST_CASE("every unit with a US unit converts as GNU units does") {
    std::set<Unit> checked;
    for (const Spelling& spelling : spellings) {
        const UnitInfo& unit = telltale::info(spelling.unit);
        CAPTURE(std::string(spelling.si));
        CHECK_FALSE(unit.us_text.empty());
        CHECK(gnu_units(spelling.si, spelling.us) ==
              doctest::Approx(unit.us_factor).epsilon(1e-14));
        checked.insert(spelling.unit);
    }
    for (int i = 0; i < static_cast<int>(Unit::last_); ++i) {
        const auto unit = static_cast<Unit>(i);
        CAPTURE(i);
        CHECK(telltale::info(unit).us_text.empty() == !checked.contains(unit));
    }
}

TEST_CASE("temperatures convert as GNU units does, offset and all") {
    const UnitInfo& celsius = telltale::info(Unit::celsius);
    for (const int temperature : {-40, -18, 0, 37, 100, 215, 1000}) {
        CAPTURE(temperature);
        CHECK(gnu_units("tempC(" + std::to_string(temperature) + ")", "tempF") ==
              doctest::Approx(temperature * celsius.us_factor + celsius.us_offset).epsilon(1e-13));
    }
}

TEST_CASE("units that stay have neither factor nor offset") {
    for (int i = 0; i < static_cast<int>(Unit::last_); ++i) {
        const UnitInfo& unit = telltale::info(static_cast<Unit>(i));
        CAPTURE(i);
        if (unit.us_text.empty()) {
            CHECK(unit.us_factor == 1.0);
            CHECK(unit.us_offset == 0.0);
        }
        CHECK(unit.us_factor > 0.0);
    }
}

TEST_CASE("only units that differ for US readers share a code") {
    std::set<std::pair<std::string_view, std::string_view>> seen;
    for (int i = 0; i < static_cast<int>(Unit::last_); ++i) {
        const UnitInfo& unit = telltale::info(static_cast<Unit>(i));
        CAPTURE(std::string(unit.ucum));
        CHECK(seen.emplace(unit.ucum, unit.us_text).second);
    }
    CHECK(&telltale::info(Unit::last_) == &telltale::info(Unit::none));
}
