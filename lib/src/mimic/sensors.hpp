// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <cstddef>
#include <cstdint>

#include "telltale/mimic/fault.hpp"

namespace telltale::mimic {

/// What belongs to a sensor, in its unit. The codes are those of SAE J2012 for its circuit, range
/// and performance, low input, high input (from memory).
struct SensorRow {
    const char* name;
    double least;   ///< that it can tell
    double most;    ///< that it can tell
    double span;    ///< that it usually has
    double open;    ///< what a broken wire reads (common practice: by pull-up or pull-down)
    double shorted; ///< what a short to ground reads
    std::uint16_t range_code;
    std::uint16_t open_code;
    std::uint16_t short_code;
};

// In the order of Sensor.
inline constexpr SensorRow sensor_rows[] = {
    // clang-format off
    {"map",             0,  255,  80,   0, 255, 0x0106, 0x0107, 0x0108},
    {"maf",             0,  655,  40,   0, 300, 0x0101, 0x0102, 0x0103},
    {"coolant",       -40,  215, 100, -40, 150, 0x0116, 0x0118, 0x0117},
    {"intake",        -40,  215,  60, -40, 150, 0x0111, 0x0113, 0x0112},
    {"throttle",        0,  100,  60,   0, 100, 0x0121, 0x0122, 0x0123},
    {"pedal",           0,  100,  60,   0, 100, 0x2138, 0x2122, 0x2123},
    {"speed",           0,  255,  80,   0,   0, 0x0501, 0x0502, 0x0502},
    {"engine-speed",    0, 8000,2000,   0,   0, 0x0336, 0x0335, 0x0335},
    {"lambda",        0.5, 1.99, 0.5, 1.99, 0.6, 0x0133, 0x0132, 0x0131},
    {"rear-oxygen",     0, 1.27,   1, 0.45,  0, 0x0139, 0x0140, 0x0137},
    {"barometric",     50,  120,  20,  50, 120, 0x2227, 0x2228, 0x2229},
    {"ambient",       -40,  215,  40, -40, 150, 0x0071, 0x0073, 0x0072},
    {"oil",           -40,  210, 100, -40, 150, 0x0196, 0x0198, 0x0197},
    {"voltage",         0,   18,   4,   0,   0, 0x0561, 0x0562, 0x0562},
    {"fuel-level",      0,  100,  60,   0, 100, 0x0461, 0x0462, 0x0463},
    {"rail-pressure",   0,  250'000, 100'000, 0, 250'000, 0x0191, 0x0192, 0x0193},
    // clang-format on
};
static_assert(sizeof sensor_rows / sizeof sensor_rows[0] == sensor_count);

constexpr const SensorRow& row_of(Sensor sensor) {
    return sensor_rows[static_cast<std::size_t>(sensor) % sensor_count];
}

} // namespace telltale::mimic
