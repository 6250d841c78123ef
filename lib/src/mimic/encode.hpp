// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <algorithm>
#include <cmath>
#include <cstdint>
#include <initializer_list>
#include <vector>

#include "telltale/mimic/ecu.hpp"

namespace telltale::mimic {

// The service and the codes of a negative response (ISO 14229-1, annex A).
constexpr std::uint8_t negative_response = 0x7F;
constexpr std::uint8_t service_not_supported = 0x11;
constexpr std::uint8_t conditions_not_correct = 0x22;

inline bool has(const std::vector<std::uint16_t>& list, std::uint16_t code) {
    return std::find(list.begin(), list.end(), code) != list.end();
}

/// Appends `value` in steps of `1 / per_unit` after `offset` was added, big-endian in `bytes`,
/// held to what fits.
inline void put(Message& out, double value, double per_unit, double offset = 0,
                unsigned bytes = 1) {
    const double top = bytes == 1 ? 255 : 65535;
    const double steps = std::clamp(std::floor((value + offset) * per_unit + 0.5), 0.0, top);
    const auto raw = static_cast<std::uint32_t>(steps);
    if (bytes == 2)
        out.push_back(static_cast<std::uint8_t>(raw >> 8));
    out.push_back(static_cast<std::uint8_t>(raw));
}

inline void put_word(Message& out, std::uint32_t value) {
    out.push_back(static_cast<std::uint8_t>(value >> 8));
    out.push_back(static_cast<std::uint8_t>(value));
}

inline void put_bytes(Message& out, std::initializer_list<std::uint8_t> bytes) {
    for (const std::uint8_t byte : bytes) // an insert makes GCC 12 warn of what is not there
        out.push_back(byte);
}

inline void put_percent(Message& out, double value) {
    put(out, value, 2.55);
}

/// True for 00, 20, ... E0, which ask what is supported.
constexpr bool is_range(std::uint8_t id) {
    return id % 0x20 == 0;
}

/// Support bits of the 32 identifiers after `base`; the last says that the next range has some.
template <class Supported>
void put_bitmap(Message& out, unsigned base, const Supported& supported) {
    std::uint32_t bits = 0;
    for (unsigned i = 1; i < 32; ++i)
        if (base + i <= 0xFF && supported(static_cast<std::uint8_t>(base + i)))
            bits |= 1U << (32 - i);
    for (unsigned id = base + 33; id <= 0xFF; ++id)
        if (supported(static_cast<std::uint8_t>(id)))
            bits |= 1;
    put_word(out, bits >> 16);
    put_word(out, bits & 0xFFFF);
}

/// True when the range after `base` has something, or is the first.
template <class Supported> bool has_range(unsigned base, const Supported& supported) {
    if (base == 0)
        return true;
    for (unsigned id = base + 1; id <= 0xFF; ++id)
        if (!is_range(static_cast<std::uint8_t>(id)) && supported(static_cast<std::uint8_t>(id)))
            return true;
    return false;
}

/// Appends the data bytes of a PID of service 01; false when there is no encoding of it.
bool put_parameter(Message& out, std::uint8_t pid, const EcuState& ecu, const Signals& signals);

} // namespace telltale::mimic
