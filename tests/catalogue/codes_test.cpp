// SPDX-License-Identifier: Apache-2.0
#include <array>
#include <cstdint>
#include <set>
#include <string>
#include <string_view>

#include <doctest/doctest.h>

#include "../../lib/src/catalogue/code_rows.hpp"
#include "telltale/catalogue/codes.hpp"

using namespace telltale::catalogue;

namespace {
std::string described(std::uint16_t code) {
    std::array<char, max_code_text> buffer{};
    return std::string(describe_code(code, buffer));
}
} // namespace

TEST_CASE("rules give each code of a run its number, its letter and its part") {
    CHECK(described(0x0100) == "Mass or volume air flow sensor A circuit");
    CHECK(described(0x0104) == "Mass or volume air flow sensor A circuit intermittent");
    CHECK(described(0x0143) == "O2 sensor, bank 1 sensor 3, circuit low voltage");
    CHECK(described(0x0161) == "O2 sensor, bank 2 sensor 2, heater circuit");
    CHECK(described(0x0209) == "Injector, cylinder 9, circuit");
    CHECK(described(0x0210) == "Injector, cylinder 10, circuit");
    CHECK(described(0x0296) == "Injector, cylinder 12, contribution or balance");
    CHECK(described(0x0312) == "Misfire, cylinder 12");
    CHECK(described(0x0362) == "Ignition coil L primary or secondary circuit");
    CHECK(described(0x0774) == "Shift solenoid E intermittent");
    CHECK(described(0x2335) == "Ignition coil L secondary circuit");
    CHECK(described(0x2A05).find("bank 2 sensor 3") != std::string::npos);
    CHECK(described(0xC101) == "Lost communication with transmission control module");
    CHECK(described(0xC009) == "High-speed CAN bus (-) circuit shorted to (+)");
}

TEST_CASE("what is not assigned has no description") {
    // Hex digits between decimal runs, holes, the makers' own ranges.
    for (const int code : {0x020A, 0x030A, 0x1234, 0x3000, 0x3405, 0x4123, 0x8123, 0xC0FF, 0xC200,
                           0xD000, 0xFFFF, 0x0000})
        CHECK(described(static_cast<std::uint16_t>(code)).empty());
    CHECK(described(0x3404) == "Cylinder 1 deactivation or intake valve control circuit high");
    CHECK(described(0x3409) == "Cylinder 2 deactivation or intake valve control circuit or open");
}

TEST_CASE("every description is whole, and the count is that of the codes that have one") {
    std::size_t count = 0;
    std::set<std::string> same;
    std::size_t doubled = 0;
    for (std::uint32_t code = 0; code <= 0xFFFF; ++code) {
        const std::string text = described(static_cast<std::uint16_t>(code));
        if (text.empty())
            continue;
        ++count;
        CHECK(text.size() < max_code_text);
        CHECK(text.find_first_of("#@") == std::string::npos);
        CHECK(text.back() != ',');
        CHECK(text.find("  ") == std::string::npos);
        doubled += same.insert(text).second ? 0U : 1U;
    }
    CHECK(count == described_codes());
    CHECK(count > 1000);
    // P0621 and P0623 are both the generator lamp; no other two read the same.
    CHECK(doubled == 1);
    for (const CodeRow& row : code_rows())
        for (const char* part = row.parts; *part != '\0'; ++part)
            CHECK((*part == '.' || *part == '-' || !code_part(*part).empty()));
}

// SAE J2012-DA, failure type byte (from memory).
TEST_CASE("failure types have words, unknown ones none") {
    CHECK(failure_type(0x11) == "circuit short to ground");
    CHECK(failure_type(0x1C) == "circuit voltage out of range");
    CHECK(failure_type(0xFF).empty());
}
