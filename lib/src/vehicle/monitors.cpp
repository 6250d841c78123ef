// SPDX-License-Identifier: Apache-2.0
#include "monitors.hpp"

namespace telltale::vehicle {

namespace {

/// A monitor by its place in PID 01 (SAE J1979: byte counted from 0, bit of its completion), for
/// spark (0) or compression ignition (1) where the place means different things.
struct About {
    std::uint8_t byte;
    std::uint8_t bit;
    std::uint8_t compression;
    std::string_view driving;
};

constexpr std::uint16_t key_of(const About& about) {
    return static_cast<std::uint16_t>(about.byte << 8 | about.bit << 1 | about.compression);
}

constexpr About monitors[] = {
    {1, 4, 0, "runs all the while; mixed driving with a warm engine"},
    {1, 5, 0, "runs all the while; steady driving with a warm engine in closed loop"},
    {1, 6, 0, "runs all the while, from key on"},
    {3, 0, 0, "warm engine, a steady cruise of several minutes, then coasting in gear"},
    {3, 1, 0, "a cold start, and idle until the catalyst is warm"},
    {3, 2, 0,
     "a cold start after a night, tank between a quarter and three quarters, mild weather, gentle "
     "driving"},
    {3, 3, 0, "a cold start with some minutes of idle"},
    {3, 4, 0, "driving with the air conditioning on; on later vehicles see the particulate filter"},
    {3, 5, 0, "warm engine, a steady cruise, and several long stretches of coasting in gear"},
    {3, 6, 0, "a cold start, then some minutes of idle and gentle driving"},
    {3, 7, 0, "warm engine, steady cruise, and coasting in gear without touching the brake"},
    {3, 0, 1, "warm engine, a long steady motorway drive"},
    {3, 1, 1, "warm exhaust: a long steady drive, with reagent in the tank"},
    {3, 3, 1, "warm engine, several firm accelerations where the road allows"},
    {3, 5, 1, "warm engine, steady driving and coasting in gear"},
    {3, 6, 1, "a long steady motorway drive, until the filter has been burnt free"},
    {3, 7, 1, "warm engine, steady cruise, and coasting in gear"},
};

/// Codes that a monitor commonly finds, as ranges of SAE J2012 (powertrain codes in hex digits).
struct Range {
    std::uint8_t byte;
    std::uint8_t bit;
    std::uint16_t first;
    std::uint16_t last;
};
constexpr Range ranges[] = {
    {1, 4, 0x0300, 0x0312}, // misfire
    {1, 5, 0x0170, 0x0175}, // fuel trim
    {1, 5, 0x2177, 0x2180}, // fuel trim off idle
    {1, 5, 0x2187, 0x2192}, // fuel trim at idle
    {3, 0, 0x0420, 0x0423}, // catalyst
    {3, 0, 0x0430, 0x0433}, // catalyst, bank 2
    {3, 2, 0x0440, 0x0459}, // evaporative system
    {3, 2, 0x0496, 0x0498}, // evaporative system, flow
    {3, 3, 0x0410, 0x0419}, // secondary air
    {3, 5, 0x0130, 0x0134}, // oxygen sensors
    {3, 5, 0x0136, 0x0140}, //
    {3, 5, 0x0150, 0x0154}, //
    {3, 5, 0x0156, 0x0160}, //
    {3, 5, 0x2195, 0x2198}, // oxygen sensors, stuck
    {3, 6, 0x0030, 0x0032}, // heaters
    {3, 6, 0x0036, 0x0038}, //
    {3, 6, 0x0050, 0x0052}, //
    {3, 6, 0x0056, 0x0058}, //
    {3, 6, 0x0135, 0x0135}, //
    {3, 6, 0x0141, 0x0141}, //
    {3, 6, 0x0155, 0x0155}, //
    {3, 6, 0x0161, 0x0161}, //
    {3, 7, 0x0400, 0x0409}, // exhaust gas recirculation
};

} // namespace

std::string_view driving_for(std::uint16_t key) {
    for (const auto& about : monitors)
        if (key_of(about) == key)
            return about.driving;
    // The continuous monitors and that of the exhaust gas recirculation stand at the same place for
    // either ignition; some rows give the place without saying so.
    for (const auto& about : monitors)
        if ((key_of(about) & 0xFFFEU) == (key & 0xFFFEU) && about.byte == 1)
            return about.driving;
    return {};
}

bool watches(std::uint16_t key, message::Dtc code) {
    // Of a diesel engine the bits of byte D mean other systems.
    if ((key & 1U) != 0)
        return false;
    for (const auto& range : ranges)
        if (range.byte == key >> 8 && range.bit == (key >> 1 & 7U) && code.raw >= range.first &&
            code.raw <= range.last)
            return true;
    return false;
}

} // namespace telltale::vehicle
