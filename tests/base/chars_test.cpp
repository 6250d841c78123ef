// SPDX-License-Identifier: Apache-2.0
// What stands in for std::to_chars and std::from_chars where the standard library lacks them for
// floating-point numbers, against the real ones.
#include <charconv>
#include <cmath>
#include <cstring>
#include <random>
#include <string>

#include <doctest/doctest.h>

#include "../../lib/src/base/chars.hpp"

namespace by_c = telltale::chars::by_c;

#if defined(__cpp_lib_to_chars)
TEST_CASE("numbers as the standard library writes them") {
    std::mt19937_64 random(1);
    double values[4];
    for (int i = 0; i < 20'000; ++i) {
        const std::uint64_t bits = random();
        std::memcpy(&values[0], &bits, 8); // any number at all
        values[1] = static_cast<double>(static_cast<std::int64_t>(bits)) / 1000;
        values[2] = static_cast<double>(bits % 65536) / 255;
        values[3] = std::pow(10.0, static_cast<int>(bits % 40) - 20);
        for (const double value : values) {
            if (!std::isfinite(value))
                continue;
            char real[400];
            char ours[400];
            const auto written = [&](char* end) { return std::string(ours, end); };
            REQUIRE(written(by_c::shortest(ours, ours + 40, value)) ==
                    std::string(real, std::to_chars(real, real + sizeof real, value).ptr));
            REQUIRE(written(by_c::scientific(ours, ours + 40, value, 11)) ==
                    std::string(real, std::to_chars(real, real + sizeof real, value,
                                                    std::chars_format::scientific, 11)
                                          .ptr));
            const auto fixed =
                std::to_chars(real, real + sizeof real, value, std::chars_format::fixed, 3).ptr;
            REQUIRE(written(by_c::fixed(ours, ours + sizeof ours, value, 3)) ==
                    std::string(real, fixed));
        }
    }
}

TEST_CASE("numbers as the standard library reads them") {
    for (const std::string text : {"73.5 here", "-2e3", "+1", "1e", "1e+2x", "", ".5", "-", "e5",
                                   "1-2", "12.5.6", "007", " 1", "1,5"}) {
        CAPTURE(text);
        double real = 99;
        double ours = 99;
        const char* const begin = text.data();
        const char* const end = begin + text.size();
        const auto [rest, error] = std::from_chars(begin, end, real);
        const bool none = error != std::errc{};
        CHECK(by_c::read(begin, end, ours) == (none ? begin : rest));
        CHECK(ours == real);
    }
}
#endif
