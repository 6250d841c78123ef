// SPDX-License-Identifier: Apache-2.0
#include <doctest/doctest.h>

#include <string>

#include "telltale/message/dtc.hpp"

using namespace telltale::message;

namespace {
std::string text(std::uint16_t raw) {
    const auto letters = Dtc{raw}.text();
    return {letters.data(), letters.size()};
}
Authority by(const char* code) {
    const auto parsed = parse_dtc(code);
    REQUIRE(parsed);
    return authority(*parsed);
}
std::string_view group_of(const char* code) {
    const auto parsed = parse_dtc(code);
    REQUIRE(parsed);
    return group(*parsed);
}
} // namespace

TEST_CASE("two bytes are five characters (SAE J2012, worked example 0143 = P0143)") {
    CHECK(text(0x0143) == "P0143");
    CHECK(text(0xC101) == "U0101");
    CHECK(text(0x4123) == "C0123");
    CHECK(text(0x9234) == "B1234");
    CHECK(text(0xFFFF) == "U3FFF");
}

TEST_CASE("every code is read back from its text, in either case") {
    for (unsigned raw = 0; raw <= 0xFFFF; ++raw) {
        std::string code = text(static_cast<std::uint16_t>(raw));
        REQUIRE(parse_dtc(code) == Dtc{static_cast<std::uint16_t>(raw)});
        for (char& c : code)
            if (c >= 'A' && c <= 'Z')
                c = static_cast<char>(c + 32);
        REQUIRE(parse_dtc(code) == Dtc{static_cast<std::uint16_t>(raw)});
    }
}

TEST_CASE("text that is no code") {
    for (const char* wrong : {"", "P014", "P01433", "X0143", "P4143", "P01G3", "P0 43", "0143P"})
        CHECK_FALSE(parse_dtc(wrong));
}

TEST_CASE("who assigns a code (SAE J2012)") {
    for (const char* code :
         {"P0143", "P2563", "P3400", "P3999", "U0100", "U3000", "B0001", "C0035"})
        CHECK_MESSAGE(by(code) == Authority::standard, code);
    for (const char* code :
         {"P1234", "P3000", "P3399", "C1234", "C2000", "B1000", "B2FFF", "U1000", "U2000"})
        CHECK_MESSAGE(by(code) == Authority::maker, code);
    for (const char* code : {"B3000", "C3000", "P3A00", "P3FFF"})
        CHECK_MESSAGE(by(code) == Authority::reserved, code);
}

TEST_CASE("system groups") {
    CHECK(group_of("P0171") == "powertrain: fuel and air metering");
    CHECK(group_of("P0301") == "powertrain: ignition or misfire");
    CHECK(group_of("P1301") == "powertrain: ignition or misfire");
    CHECK(group_of("P0420") == "powertrain: auxiliary emission control");
    CHECK(group_of("P0700") == "powertrain: transmission");
    CHECK(group_of("P0A80") == "powertrain: hybrid propulsion");
    CHECK(group_of("P2A00") == "powertrain: fuel, air and emission control");
    CHECK(group_of("P3400") == "powertrain: cylinder deactivation");
    CHECK(group_of("C0035") == "chassis");
    CHECK(group_of("B0001") == "body");
    CHECK(group_of("U0100") == "network: communication");
    CHECK(group_of("U3000") == "network and vehicle integration");
}
