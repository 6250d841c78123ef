// SPDX-License-Identifier: Apache-2.0
#include "traits.hpp"

#include <algorithm>
#include <iterator>
#include <limits>

namespace telltale::run {

std::uint16_t plain_id(const Series& series) {
    return (series.id & 0xFF00) == 0xF400 ? static_cast<std::uint16_t>(series.id & 0xFF)
                                          : series.id;
}

bool calculated(const Series& series) {
    constexpr std::uint16_t ids[] = {0x03, 0x04, 0x06, 0x07, 0x08, 0x09, 0x0E, 0x2C, 0x2D, 0x2E,
                                     0x43, 0x44, 0x4C, 0x55, 0x56, 0x57, 0x58, 0x5D, 0x5E, 0x61,
                                     0x62, 0x63, 0x64, 0x69, 0x6A, 0x70, 0x8E, 0x9D, 0xA2, 0xA4};
    return std::find(std::begin(ids), std::end(ids), plain_id(series)) != std::end(ids);
}

bool set_freely(const Series& series) {
    constexpr std::uint16_t ids[] = {0x03, 0x06, 0x07, 0x08, 0x09, 0x2C, 0x2E, 0x44,
                                     0x55, 0x56, 0x57, 0x58, 0x69, 0x6A, 0xA4};
    return std::find(std::begin(ids), std::end(ids), plain_id(series)) != std::end(ids);
}

bool misses_recirculation(const Series& series) {
    return plain_id(series) == 0x2D;
}

bool leaps_at_will(const Series& series) {
    return set_freely(series) || misses_recirculation(series);
}

bool trims(const Series& series) {
    const std::uint16_t id = plain_id(series);
    return (id >= 0x06 && id <= 0x09) || (id >= 0x55 && id <= 0x58);
}

bool commanded(const Series& series) {
    return set_freely(series) && !trims(series);
}

float undefined_from(const Series& series) {
    return misses_recirculation(series) && series.has_ends
               ? static_cast<float>(series.high - 1.5 * series.step)
               : std::numeric_limits<float>::infinity();
}

bool stored(const Series& series) {
    const std::uint16_t id = plain_id(series);
    return id == 0x2F || id == 0x5B;
}

bool regulated(const Series& series) {
    return plain_id(series) == 0x42;
}

bool switches(const Series& series) {
    const std::uint16_t id = plain_id(series);
    return (id >= 0x14 && id <= 0x1B) || (id >= 0x24 && id <= 0x2B) || (id >= 0x34 && id <= 0x3B);
}

bool one_sensor(const Series& a, const Series& b) {
    return switches(a) && a.id == b.id && a.service == b.service && a.ecu == b.ecu &&
           a.line == b.line;
}

bool governed(const Series& series) {
    constexpr std::uint16_t ids[] = {0x11, 0x32, 0x45, 0x47, 0x48, 0x53, 0x54};
    return calculated(series) || set_freely(series) || switches(series) ||
           std::find(std::begin(ids), std::end(ids), plain_id(series)) != std::end(ids);
}

bool has_a_stop(const Series& series) {
    const std::uint16_t id = plain_id(series);
    return id == 0x49 || id == 0x4A || id == 0x4B;
}

bool made_from(const Series& made, const Series& from) {
    struct Made {
        std::uint16_t id;
        std::uint16_t from;
    };
    constexpr Made all[] = {
        {0x45, 0x11}, {0x5A, 0x49},               // what a pedal or a throttle is beyond its rest
        {0x04, 0x10}, {0x43, 0x10}, {0x5E, 0x10}, // by air flow
        {0x04, 0x0B}, {0x43, 0x0B},               // or by manifold pressure
    };
    return made.ecu == from.ecu && made.line == from.line &&
           std::any_of(std::begin(all), std::end(all), [&](const Made& one) {
               return plain_id(made) == one.id && plain_id(from) == one.from;
           });
}

std::uint16_t source_of(const Series& series) {
    const std::uint16_t id = plain_id(series);
    struct Shared {
        std::uint16_t id;
        std::uint16_t source;
    };
    constexpr Shared shared[] = {
        {0x45, 0x11}, {0x47, 0x11}, {0x48, 0x11}, {0x4C, 0x11}, // throttle
        {0x4A, 0x49}, {0x4B, 0x49}, {0x5A, 0x49},               // pedal
        {0x66, 0x10},                                           // air flow
        {0x70, 0x0B}, {0x87, 0x0B},                             // manifold pressure
        {0x67, 0x05},                                           // coolant
        {0x68, 0x0F}, {0x77, 0x0F},                             // intake air
        {0x22, 0x23}, {0x59, 0x23}, {0x6D, 0x23},               // rail pressure
    };
    for (const Shared& one : shared)
        if (one.id == id)
            return one.source;
    constexpr std::uint16_t lambda = 0x14;
    return switches(series) ? lambda : id;
}

bool twins(const Series& a, const Series& b) {
    const auto track = [](const Series& series) {
        const std::uint16_t id = plain_id(series);
        return id == 0x11 || (id >= 0x47 && id <= 0x4B);
    };
    return track(a) && track(b) && a.ecu == b.ecu && a.line == b.line &&
           plain_id(a) != plain_id(b) && source_of(a) == source_of(b);
}

} // namespace telltale::run
