// SPDX-License-Identifier: Apache-2.0
#include "telltale/base/shown.hpp"

#include <cstdlib>
#include <limits>
#include <string>

#include <doctest/doctest.h>

using namespace telltale;

namespace {
std::string exact(double number, bool converted = false) {
    std::string out;
    append_exact(out, number, converted);
    return out;
}
} // namespace

TEST_CASE("exact numbers are short and read back as the same number") {
    CHECK(exact(0) == "0");
    CHECK(exact(-0.0) == "0");
    CHECK(exact(1726.25) == "1726.25");
    CHECK(exact(-40) == "-40");
    CHECK(exact(-0.5) == "-0.5");
    CHECK(exact(0.005) == "0.005");
    CHECK(exact(65.535) == "65.535");
    CHECK(exact(11500.0 / 255) == "45.09803921568628");
    CHECK(exact(98.60000000000001, true) == "98.6");
    CHECK(exact(std::numeric_limits<double>::quiet_NaN()) == "null");
    CHECK(exact(-std::numeric_limits<double>::infinity(), true) == "null");
    CHECK(exact(1e300) == "1e+300");
    // The C library's strtod is the judge.
    for (int raw = -70'000; raw <= 70'000; raw += 7)
        for (const int den : {1, 4, 10, 100, 128, 255, 1000, 32768, 65535}) {
            const double number = static_cast<double>(raw) / den;
            if (std::strtod(exact(number).c_str(), nullptr) != number)
                FAIL("not the same: " << exact(number));
        }
}

TEST_CASE("units of both systems") {
    const auto si = shown(Unit::celsius, 1, 0, UnitSystem::si);
    CHECK(si(100) == 100);
    CHECK(si.ucum == "Cel");
    CHECK_FALSE(si.converted);
    const auto us = shown(Unit::celsius, 1, 0, UnitSystem::us);
    CHECK(us(100) == doctest::Approx(212));
    CHECK(us.ucum == "[degF]");
    CHECK(us.decimals == 0);
    CHECK(shown(Unit::none, 0, 0, UnitSystem::us).ucum == "1");
    // A step of 1 kPa is 0.3 inHg: two neighbours must not look the same.
    CHECK(shown(Unit::kilopascal_air, 1, 0, UnitSystem::us).decimals == 1);
}

TEST_CASE("every unit has a UCUM code in both systems") {
    for (unsigned i = 0; i < static_cast<unsigned>(Unit::last_); ++i) {
        const auto unit = static_cast<Unit>(i);
        CAPTURE(i);
        CHECK_FALSE(shown(unit, 1, 0, UnitSystem::si).ucum.empty());
        const auto us = shown(unit, 1, 0, UnitSystem::us);
        // Where the text differs from the code, the table must have it: °F is no UCUM code.
        if (us.converted)
            CHECK(us.ucum.find('[') != std::string_view::npos);
    }
}

TEST_CASE("identifiers have two digits, or four") {
    std::string out;
    append_id(out, 0x0C);
    append_id(out, 0xF40C);
    CHECK(out == "0CF40C");
}
