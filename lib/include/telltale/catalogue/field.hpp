// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <cstdint>
#include <numeric>
#include <span>

#include "telltale/base/bytes.hpp"
#include "telltale/base/units.hpp"

/// The standard's tables as tables. A row reads like the standard's row; there is no decoder
/// function a PID. See DEVELOPERS.md, "Add a parameter row".
namespace telltale::catalogue {

/// What a field holds.
enum class Kind : std::uint8_t {
    number, ///< a scaled number
    choice, ///< one of `choices`, by its value; one that is not listed is shown as reserved
    code,   ///< a two-byte trouble code (SAE J2012), 0000 meaning none
    text,   ///< characters, padded with 00 or spaces
    hex,    ///< bytes shown as they are
    bitmap, ///< 32 support bits for the 32 identifiers after this one (bit 31 of A is the first)
};

/// value = (raw * num + shift) / den + offset, exact in integers up to one final division.
struct Scale {
    std::int32_t num = 1;
    std::int32_t den = 1;
    std::int32_t offset = 0;
    std::int32_t shift = 0; ///< the part of an offset that is no integer, times `den`

    constexpr double apply(std::int64_t raw) const {
        return static_cast<double>(raw * num + shift + std::int64_t{offset} * den) /
               static_cast<double>(den);
    }
    /// The size of one step of the raw value.
    constexpr double step() const { return static_cast<double>(num) / static_cast<double>(den); }
    /// Decimals that show one step without inventing digits: 0 for a step of 1 or more, and enough
    /// for two neighbouring raw values never to look the same (at most 6).
    constexpr unsigned decimals() const {
        if (den == 1)
            return 0;
        const std::int64_t grain = std::gcd(std::int64_t{num}, std::int64_t{shift});
        if (grain % den == 0)
            return 0;
        unsigned places = 0;
        std::int64_t scaled = grain;
        while (scaled < den && places < 6) {
            scaled *= 10;
            ++places;
        }
        return places == 0 ? 1 : places;
    }
    friend constexpr bool operator==(const Scale&, const Scale&) = default;
};

struct Choice {
    std::uint32_t value;
    const char* text;
    bool unsure = false; ///< recalled, and not certain
};

/// One bit of the data: byte counted from 0 (A), bit 0 the lowest. byte -1: no bit.
struct Bit {
    std::int16_t byte = -1;
    std::uint8_t bit = 0;
};

/// A field that is there only when a bit has a certain state (spark or compression ignition).
struct Condition {
    Bit bit{};
    bool set = true;
};

/// Which maximum of PID 4F or 50 replaces a field's own scaling once the vehicle has told it.
enum class Rescale : std::uint8_t {
    none,
    equivalence_ratio, ///< 4F byte A: the ratio at raw FFFF
    oxygen_voltage,    ///< 4F byte B: volts at raw FFFF
    oxygen_current,    ///< 4F byte C: milliamperes at raw 10000, raw 8000 being 0 mA
    manifold_pressure, ///< 4F byte D: tens of kilopascals at raw FF
    air_flow,          ///< 50 byte A: tens of grams a second at raw FFFF
};

/// One field of a parameter.
struct Field {
    std::uint16_t id;      ///< PID or InfoType that it belongs to
    const char* name;      ///< plain, whole name
    const char* key;       ///< SAE's short name where it has one (RPM, ECT), else ""
    std::uint16_t at;      ///< first byte, from 0 (A)
    std::uint8_t bytes;    ///< 1 to 8 for numbers; any number for text and hex; 0: to the end
    std::uint8_t bit = 0;  ///< lowest bit, when `bits` is not 0
    std::uint8_t bits = 0; ///< width in bits; 0: the whole bytes
    Kind kind = Kind::number;
    bool is_signed = false;
    Scale scale{};
    Unit unit = Unit::none;
    std::span<const Choice> choices{};
    Bit present{};                ///< the support bit: the field is left out while it is 0
    Condition when{};             ///< a condition besides
    const char* unsure = nullptr; ///< what is not certain about this field, or null
    const char* note = nullptr;   ///< what else the standard says of it, or null
    /// The name where the vehicle lays its oxygen sensors out by PID 1D (two a bank) and not by
    /// PID 13 (four a bank), as `name` does; null where the layout makes no difference.
    const char* name_by_1d = nullptr;
    const char* key_by_1d = nullptr; ///< the same for `key`
    Rescale rescale = Rescale::none;
    /// The raw value that means "not used" (PIDs 14 to 1B) or -1 where every raw value is one.
    std::int64_t no_value = -1;
    /// A unit that is none of `Unit`, as a UCUM annotation: "{mm3/stroke}"; null where `unit` says
    /// all.
    const char* own_unit = nullptr;

    constexpr unsigned width() const { return bits != 0 ? bits : 8U * bytes; }
};

/// On what a row rests.
enum class Evidence : std::uint8_t {
    published_example, ///< a worked example of the standard or of another publication
    published_formula, ///< the formula in a publication that anybody can read
    outside_program,   ///< a program that nobody here wrote decodes it, and the tests agree with it
    common_practice,   ///< a fact of the trade
    memory,            ///< recalled
};

/// One parameter or InfoType: its length, its fields, and where it comes from.
struct Row {
    std::uint16_t id;
    std::uint16_t length; ///< data bytes after the id; 0: as many as the message has left
    const char* name;
    const char* clause; ///< standard and table
    Evidence evidence = Evidence::memory;
    const char* unsure = nullptr;
    std::span<const Field> fields{};
    /// Data bytes of a shorter form, in which the last fields are missing; 0 where there is one
    /// form only. A response has the form with which all of it can be read to its very end, and the
    /// usual one where that does not decide.
    std::uint16_t short_length = 0;
    bool usually_short = false;
};

/// The unsigned raw value of a number or choice field. The caller has checked that the field's
/// bytes are there.
constexpr std::uint64_t raw_of(const Field& field, Bytes data) {
    const std::uint64_t whole = big_endian(data, field.at, field.bytes);
    return field.bits == 0 ? whole : whole >> field.bit & ((std::uint64_t{1} << field.bits) - 1);
}

/// False when the field holds the raw value that stands for "not used".
constexpr bool is_value(const Field& field, Bytes data) {
    return field.no_value < 0 || raw_of(field, data) != static_cast<std::uint64_t>(field.no_value);
}

/// The scale of a field for a vehicle that told `pid_4f` and `pid_50` (bytes A to D of each, zero
/// where it did not or where the byte is zero: the default). SAE J1979-DA, PIDs 4F and 50.
constexpr Scale scale_of(const Field& field, std::span<const std::uint8_t, 4> pid_4f,
                         std::span<const std::uint8_t, 4> pid_50) {
    switch (field.rescale) {
    case Rescale::none:
        break;
    case Rescale::equivalence_ratio:
        if (pid_4f[0] != 0)
            return {pid_4f[0], 65535, 0};
        break;
    case Rescale::oxygen_voltage:
        if (pid_4f[1] != 0)
            return {pid_4f[1], 65535, 0};
        break;
    case Rescale::oxygen_current:
        if (pid_4f[2] != 0)
            return {pid_4f[2], 32768, -pid_4f[2]};
        break;
    case Rescale::manifold_pressure:
        if (pid_4f[3] != 0)
            return {pid_4f[3] * 10, 255, 0};
        break;
    case Rescale::air_flow:
        if (pid_50[0] != 0)
            return {pid_50[0] * 10, 65535, 0};
        break;
    }
    return field.scale;
}

/// True when the field's support bit and condition say that it is there.
constexpr bool is_present(const Field& field, Bytes data) {
    const auto bit = [&](Bit b) {
        return b.byte >= 0 && static_cast<std::size_t>(b.byte) < data.size() &&
               (data[static_cast<std::size_t>(b.byte)] >> b.bit & 1) != 0;
    };
    if (field.present.byte >= 0 && !bit(field.present))
        return false;
    return field.when.bit.byte < 0 || bit(field.when.bit) == field.when.set;
}

} // namespace telltale::catalogue
