// SPDX-License-Identifier: Apache-2.0
#include "telltale/message/dtc.hpp"

#include "telltale/base/hex.hpp"

namespace telltale::message {

namespace {
/// P0xxx and P1xxx by the third character (SAE J2012, diagnostic trouble code groups).
constexpr std::string_view powertrain_0[16] = {
    "powertrain: fuel, air and emission control",
    "powertrain: fuel and air metering",
    "powertrain: fuel and air metering",
    "powertrain: ignition or misfire",
    "powertrain: auxiliary emission control",
    "powertrain: vehicle speed, idle control and auxiliary inputs",
    "powertrain: computer and auxiliary outputs",
    "powertrain: transmission",
    "powertrain: transmission",
    "powertrain: transmission",
    "powertrain: hybrid propulsion",
    "powertrain: hybrid propulsion",
    "powertrain: hybrid propulsion",
    "powertrain: hybrid propulsion",
    "powertrain",
    "powertrain",
};
/// P2xxx and P30xx to P33xx.
constexpr std::string_view powertrain_2[16] = {
    "powertrain: fuel, air and emission control",
    "powertrain: fuel, air and emission control",
    "powertrain: fuel, air and emission control",
    "powertrain: ignition or misfire",
    "powertrain: auxiliary emission control",
    "powertrain: auxiliary inputs",
    "powertrain: computer and auxiliary outputs",
    "powertrain: transmission",
    "powertrain: transmission",
    "powertrain: fuel, air and emission control",
    "powertrain: fuel, air and emission control",
    "powertrain: fuel, air and emission control",
    "powertrain",
    "powertrain",
    "powertrain",
    "powertrain",
};
constexpr std::string_view network[8] = {
    "network: electrical", "network: communication", "network: communication", "network: software",
    "network: data",       "network: data",          "network: communication", "network",
};
} // namespace

Authority authority(Dtc code) noexcept {
    const unsigned letter = code.raw >> 14;
    const unsigned digit = code.raw >> 12 & 3;
    const unsigned third = code.raw >> 8 & 15;
    if (letter == 0) { // P0, P2 standard; P1, P30 to P33 maker; P34 to P39 standard
        if (digit == 1)
            return Authority::maker;
        if (digit != 3)
            return Authority::standard;
        return third <= 3   ? Authority::maker
               : third <= 9 ? Authority::standard
                            : Authority::reserved;
    }
    // C, B, U: 0 standard, 1 and 2 maker; 3 reserved, but for U a range of the standard
    if (digit == 0)
        return Authority::standard;
    if (digit != 3)
        return Authority::maker;
    return letter == 3 ? Authority::standard : Authority::reserved;
}

std::string_view group(Dtc code) noexcept {
    const unsigned digit = code.raw >> 12 & 3;
    const unsigned third = code.raw >> 8 & 15;
    switch (code.raw >> 14) {
    case 0:
        if (digit < 2)
            return powertrain_0[third];
        if (digit == 2 || third < 4)
            return powertrain_2[third];
        return third == 4 ? "powertrain: cylinder deactivation" : "powertrain";
    case 1:
        return "chassis";
    case 2:
        return "body";
    default:
        return digit == 0 && third < 8 ? network[third] : "network and vehicle integration";
    }
}

std::optional<Dtc> parse_dtc(std::string_view text) noexcept {
    if (text.size() != 5)
        return std::nullopt;
    unsigned letter = 0;
    switch (text[0] | 0x20) {
    case 'p':
        letter = 0;
        break;
    case 'c':
        letter = 1;
        break;
    case 'b':
        letter = 2;
        break;
    case 'u':
        letter = 3;
        break;
    default:
        return std::nullopt;
    }
    if (text[1] < '0' || text[1] > '3')
        return std::nullopt;
    unsigned raw = letter << 2 | static_cast<unsigned>(text[1] - '0');
    for (const char c : text.substr(2)) {
        const std::uint8_t digit = hex_digit(c);
        if (digit > 15)
            return std::nullopt;
        raw = raw << 4 | digit;
    }
    return Dtc{static_cast<std::uint16_t>(raw)};
}

} // namespace telltale::message
