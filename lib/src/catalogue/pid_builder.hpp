// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <span>

#include "telltale/catalogue/catalogue.hpp"

/// How the PID tables are written, so that a line reads like the standard's: PID, byte, bytes or
/// bits, scaling, unit, SAE's short name, our name, and after it what else there is to say.
namespace telltale::catalogue::table {

/// Data bytes as the standard letters them.
enum Byte : std::uint16_t {
    // clang-format off
    A, B, C, D, E, F, G, H, I, J, K, L, M, N, O, P, Q, R, S, T, U, V, W, X, Y, Z,
    AA, AB, AC, AD, AE, AF, AG, AH, AI, AJ, AK, AL, AM, AN, AO,
    // clang-format on
};

inline constexpr std::uint8_t one = 1;
inline constexpr std::uint8_t two = 2;
inline constexpr std::uint8_t four = 4;

inline constexpr Scale plain{1, 1, 0};
inline constexpr Scale percent_255{100, 255, 0};       ///< 00 to FF: 0 to 100 %
inline constexpr Scale percent_signed{100, 128, -100}; ///< 00, 80, FF: -100, 0, 99.22 %
inline constexpr Scale temperature{1, 1, -40};         ///< 00 to FF: -40 to 215 degrees
inline constexpr Scale temperature_fine{1, 10, -40};   ///< 0000 to FFFF: -40 to 6513.5 degrees
inline constexpr Scale torque{1, 1, -125};             ///< 00 to FF: -125 to 130 %

/// A field, and the words that add to it.
struct Line : Field {
    /// The support bit.
    constexpr Line on(Byte byte, std::uint8_t bit_number) const {
        Line line = *this;
        line.present = {static_cast<std::int16_t>(byte), bit_number};
        return line;
    }
    /// Only where this bit has this state (the kind of ignition).
    constexpr Line only(Byte byte, std::uint8_t bit_number, bool set) const {
        Line line = *this;
        line.when = {{static_cast<std::int16_t>(byte), bit_number}, set};
        return line;
    }
    constexpr Line signed_number() const {
        Line line = *this;
        line.is_signed = true;
        return line;
    }
    constexpr Line by_1d(const char* other_key, const char* other_name) const {
        Line line = *this;
        line.key_by_1d = other_key;
        line.name_by_1d = other_name;
        return line;
    }
    constexpr Line not_used(std::int64_t raw) const {
        Line line = *this;
        line.no_value = raw;
        return line;
    }
    constexpr Line rescaled(Rescale how) const {
        Line line = *this;
        line.rescale = how;
        return line;
    }
    constexpr Line noted(const char* text) const {
        Line line = *this;
        line.note = text;
        return line;
    }
    constexpr Line doubtful(const char* what) const {
        Line line = *this;
        line.unsure = what;
        return line;
    }
};

constexpr Line number(std::uint16_t id, Byte at, std::uint8_t bytes, Scale scale, Unit unit,
                      const char* key, const char* name) {
    Line line{};
    line.id = id;
    line.name = name;
    line.key = key;
    line.at = at;
    line.bytes = bytes;
    line.scale = scale;
    line.unit = unit;
    return line;
}

/// `bits` bits of one byte from `bit` up, as a number.
constexpr Line small(std::uint16_t id, Byte at, std::uint8_t bit, std::uint8_t bits, Unit unit,
                     const char* key, const char* name) {
    Line line = number(id, at, 1, plain, unit, key, name);
    line.bit = bit;
    line.bits = bits;
    return line;
}

constexpr Line choice(std::uint16_t id, Byte at, std::span<const Choice> choices, const char* key,
                      const char* name) {
    Line line = number(id, at, 1, plain, Unit::none, key, name);
    line.kind = Kind::choice;
    line.choices = choices;
    return line;
}

/// One of several states in `bits` bits of one byte from `bit` up.
constexpr Line state(std::uint16_t id, Byte at, std::uint8_t bit, std::uint8_t bits,
                     std::span<const Choice> choices, const char* key, const char* name) {
    Line line = choice(id, at, choices, key, name);
    line.bit = bit;
    line.bits = bits;
    return line;
}

/// One bit with two states.
constexpr Line flag(std::uint16_t id, Byte at, std::uint8_t bit, std::span<const Choice> choices,
                    const char* key, const char* name) {
    return state(id, at, bit, 1, choices, key, name);
}

constexpr Line bitmap(std::uint16_t id, const char* name) {
    Line line = number(id, A, 4, plain, Unit::none, "", name);
    line.kind = Kind::bitmap;
    return line;
}

constexpr Line code(std::uint16_t id, Byte at, const char* key, const char* name) {
    Line line = number(id, at, 2, plain, Unit::none, key, name);
    line.kind = Kind::code;
    return line;
}

/// A row before its fields are found. Without a name it has that of its first field.
struct Head {
    std::uint16_t id;
    std::uint16_t length;
    Evidence evidence = Evidence::memory;
    const char* name = nullptr;
    const char* unsure = nullptr;
    std::uint16_t short_length = 0;
    bool usually_short = false;
};

inline constexpr Evidence outside = Evidence::outside_program;
inline constexpr Evidence recalled = Evidence::memory;

} // namespace telltale::catalogue::table
