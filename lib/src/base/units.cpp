// SPDX-License-Identifier: Apache-2.0
#include "telltale/base/units.hpp"

#include <array>
#include <cstddef>

namespace telltale {
namespace {

// The exact definitions behind the US customary units: the international yard and pound (1959), the
// US gallon of 231 cubic inches, standard gravity (CGPM 1901), conventional mercury of 13595.1
// kg/m3 and conventional water of 1000 kg/m3 (ISO 80000-4; SAE and the trade use these columns).
constexpr double inch_m = 0.0254;
constexpr double foot_m = 0.3048;
constexpr double mile_km = 1.609344;
constexpr double pound_kg = 0.45359237;
constexpr double gallon_l = 3.785411784;
constexpr double gravity = 9.80665;
constexpr double pound_force_n = pound_kg * gravity;
constexpr double psi_pa = pound_force_n / (inch_m * inch_m);
constexpr double mercury_inch_pa = 13595.1 * gravity * inch_m;
constexpr double water_inch_pa = 1000.0 * gravity * inch_m;

struct Entry {
    Unit unit;
    UnitInfo info;
};

constexpr Entry entries[] = {
    {Unit::none, {"", "", ""}},
    {Unit::percent, {"%", "%", ""}},
    {Unit::celsius, {"Cel", "°C", "°F", 1.8, 32.0}},
    {Unit::kilopascal, {"kPa", "kPa", "psi", 1000.0 / psi_pa}},
    {Unit::kilopascal_air, {"kPa", "kPa", "inHg", 1000.0 / mercury_inch_pa}},
    {Unit::pascal, {"Pa", "Pa", "inH2O", 1.0 / water_inch_pa}},
    {Unit::rpm, {"/min", "rpm", ""}},
    {Unit::kilometre_hour, {"km/h", "km/h", "mph", 1.0 / mile_km}},
    {Unit::kilometre, {"km", "km", "mi", 1.0 / mile_km}},
    {Unit::degree, {"deg", "°", ""}},
    {Unit::gram_second, {"g/s", "g/s", "lb/min", 60.0 / (1000.0 * pound_kg)}},
    {Unit::kilogram_hour, {"kg/h", "kg/h", "lb/h", 1.0 / pound_kg}},
    {Unit::litre_hour, {"L/h", "L/h", "gal/h", 1.0 / gallon_l}},
    {Unit::litre, {"L", "L", "gal", 1.0 / gallon_l}},
    {Unit::gram, {"g", "g", "lb", 1.0 / (1000.0 * pound_kg)}},
    {Unit::milligram, {"mg", "mg", ""}},
    {Unit::milligram_stroke, {"mg/{stroke}", "mg/stroke", ""}},
    {Unit::milligram_second, {"mg/s", "mg/s", ""}},
    {Unit::kilogram, {"kg", "kg", "lb", 1.0 / pound_kg}},
    {Unit::volt, {"V", "V", ""}},
    {Unit::millivolt, {"mV", "mV", ""}},
    {Unit::ampere, {"A", "A", ""}},
    {Unit::milliampere, {"mA", "mA", ""}},
    {Unit::kiloampere, {"kA", "kA", ""}},
    {Unit::ohm, {"Ohm", "ohm", ""}},
    {Unit::kilohm, {"kOhm", "kohm", ""}},
    {Unit::milliohm, {"mOhm", "mohm", ""}},
    {Unit::watt, {"W", "W", ""}},
    {Unit::kilowatt, {"kW", "kW", ""}},
    {Unit::kilowatt_hour, {"kW.h", "kWh", ""}},
    {Unit::millisecond, {"ms", "ms", ""}},
    {Unit::second, {"s", "s", ""}},
    {Unit::minute, {"min", "min", ""}},
    {Unit::hour, {"h", "h", ""}},
    {Unit::hertz, {"Hz", "Hz", ""}},
    {Unit::kilohertz, {"kHz", "kHz", ""}},
    {Unit::megahertz, {"MHz", "MHz", ""}},
    {Unit::count, {"{count}", "", ""}},
    {Unit::ratio, {"1", "", ""}},
    {Unit::ppm, {"[ppm]", "ppm", ""}},
    {Unit::newton_metre, {"N.m", "N·m", "lbf·ft", 1.0 / (pound_force_n * foot_m)}},
    {Unit::metre_second2, {"m/s2", "m/s²", "ft/s²", 1.0 / foot_m}},
    {Unit::millimetre, {"mm", "mm", "in", 1.0 / (1000.0 * inch_m)}},
    {Unit::kilopascal_second, {"kPa/s", "kPa/s", "psi/s", 1000.0 / psi_pa}},
    {Unit::pascal_second, {"Pa/s", "Pa/s", "inH2O/s", 1.0 / water_inch_pa}},
    {Unit::millivolt_second, {"mV/s", "mV/s", ""}},
    {Unit::kilogram_second, {"kg/s", "kg/s", "lb/s", 1.0 / pound_kg}},
    {Unit::revolution, {"{revolution}", "rev", ""}},
    {Unit::bit, {"bit", "bit", ""}},
    {Unit::joule, {"J", "J", ""}},
    {Unit::degree_second, {"deg/s", "°/s", ""}},
    {Unit::gram_litre, {"g/L", "g/L", ""}},
    {Unit::microgram_second, {"ug/s", "µg/s", ""}},
    {Unit::per_second, {"/s", "/s", ""}},
    {Unit::gram_kilowatt_hour, {"g/(kW.h)", "g/kWh", ""}},
    {Unit::mole_kilogram, {"mol/kg", "mol/kg", ""}},
    {Unit::milligram_metre3, {"mg/m3", "mg/m³", ""}},
    {Unit::ampere_hour, {"A.h", "Ah", ""}},
    {Unit::square_millimetre, {"mm2", "mm²", "in²", 1.0 / (1.0e6 * inch_m * inch_m)}},
    {Unit::microampere, {"uA", "µA", ""}},
};

constexpr bool units_in_order() {
    std::size_t at = 0;
    for (const Entry& entry : entries)
        if (static_cast<std::size_t>(entry.unit) != at++)
            return false;
    return at == static_cast<std::size_t>(Unit::last_);
}
static_assert(units_in_order(), "one entry for each unit, in the order of the enumeration");

} // namespace

const UnitInfo& info(Unit unit) noexcept {
    const auto index = static_cast<std::size_t>(unit);
    return entries[index < std::size(entries) ? index : 0].info;
}

} // namespace telltale
