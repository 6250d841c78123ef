// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <cstdint>
#include <string_view>

#include "telltale/base/export.hpp"

namespace telltale {

/// Units of values. Several enumerators may share a UCUM code: they differ in what they turn into
/// for US readers (manifold pressure in inHg, fuel pressure in psi).
enum class Unit : std::uint8_t {
    none, ///< a pure number, or not a number at all
    percent,
    celsius,
    kilopascal,     ///< shown as psi in US units
    kilopascal_air, ///< shown as inHg in US units
    pascal,         ///< shown as inH2O in US units
    rpm,
    kilometre_hour,
    kilometre,
    degree, ///< of crank or other angle
    gram_second,
    kilogram_hour,
    litre_hour,
    litre,
    gram,
    milligram,
    milligram_stroke,
    milligram_second,
    kilogram,
    volt,
    millivolt,
    ampere,
    milliampere,
    kiloampere,
    ohm,
    kilohm,
    milliohm,
    watt,
    kilowatt,
    kilowatt_hour,
    millisecond,
    second,
    minute,
    hour,
    hertz,
    kilohertz,
    megahertz,
    count,
    ratio, ///< lambda, dimensionless and not a percentage
    ppm,
    newton_metre,
    metre_second2,
    millimetre,
    kilopascal_second,
    pascal_second,
    millivolt_second,
    kilogram_second,
    revolution,
    bit,
    joule,
    degree_second,
    gram_litre,
    microgram_second,
    per_second,
    gram_kilowatt_hour,
    mole_kilogram,
    milligram_metre3, ///< concentration in a gas
    ampere_hour,
    square_millimetre,
    microampere,
    last_
};

struct UnitInfo {
    std::string_view ucum;    ///< UCUM code, as JSON shows it
    std::string_view text;    ///< as a person reads it
    std::string_view us_text; ///< as a US reader wants it; empty: the same unit
    double us_factor = 1.0;   ///< us = si * us_factor + us_offset
    double us_offset = 0.0;
};

/// What is known of a unit; constant, no locale. A value outside the enumeration gives that of
/// `Unit::none`.
TELLTALE_API const UnitInfo& info(Unit unit) noexcept;

enum class UnitSystem : std::uint8_t { si, us };

} // namespace telltale
