// SPDX-License-Identifier: Apache-2.0
#include <array>
#include <cctype>
#include <cstdio>
#include <cstdlib>
#include <limits>
#include <string>
#include <string_view>

#include <doctest/doctest.h>

#include "telltale/base/bytes.hpp"
#include "telltale/base/function_ref.hpp"
#include "telltale/base/hex.hpp"
#include "telltale/base/number.hpp"
#include "telltale/base/problem.hpp"
#include "telltale/base/text.hpp"
#include "telltale/base/time.hpp"

using namespace telltale;
using namespace std::string_view_literals;

namespace {
template <class F> std::string made(F append) {
    std::string out;
    append(out);
    return out;
}
std::string number(double value, unsigned decimals) {
    return made([&](std::string& out) { append_number(out, value, decimals); });
}
std::string seconds(Time time) {
    return made([&](std::string& out) { append_seconds(out, time); });
}
} // namespace

TEST_CASE("bytes read in both orders and with their sign") {
    const std::array<std::uint8_t, 4> bytes{0x12, 0x34, 0xFE, 0xDC};
    CHECK(big_endian(bytes, 0, 2) == 0x1234);
    CHECK(big_endian(bytes, 0, 4) == 0x1234FEDC);
    CHECK(little_endian(bytes, 0, 2) == 0x3412);
    CHECK(big_endian(bytes, 4, 0) == 0);
    CHECK(sign_extend(0xFE, 8) == -2);
    CHECK(sign_extend(0x7FFF, 16) == 32767);
    CHECK(sign_extend(0x8000, 16) == -32768);
    CHECK(sign_extend(~std::uint64_t{0}, 64) == -1);
}

TEST_CASE("hex goes in and out, and says where it is wrong") {
    std::array<std::uint8_t, 4> out{};
    REQUIRE(from_hex("04 1"sv.substr(0, 2), out).value() == 1);
    REQUIRE(from_hex("041a0Cf8", out).value() == 4);
    CHECK(to_hex(out) == "041A0CF8");
    CHECK(to_hex(out, ' ') == "04 1A 0C F8");
    CHECK(from_hex("", out).value() == 0);

    const auto odd = from_hex("041", out);
    REQUIRE(!odd);
    CHECK(odd.error().code == ErrorCode::bad_hex);
    CHECK(odd.error().place.offset == 3);
    const auto strange = from_hex("04x1", out);
    REQUIRE(!strange);
    CHECK(strange.error().place.offset == 2);
    const auto second = from_hex("0g", out);
    REQUIRE(!second);
    CHECK(second.error().place.offset == 1);
    const auto full = from_hex("0102030405", out);
    REQUIRE(!full);
    CHECK(full.error().code == ErrorCode::too_long);

    for (unsigned c = 0; c < 256; ++c) {
        const char text[] = {static_cast<char>(c), 0};
        char* end = nullptr;
        const bool digit = std::isxdigit(static_cast<int>(c)) != 0;
        CHECK((hex_digit(text[0]) < 16) == digit);
        if (digit)
            CHECK(hex_digit(text[0]) == std::strtoul(text, &end, 16));
    }
}

TEST_CASE("numbers are written as the C library writes them, but for the minus of zero") {
    std::uint64_t state = 1;
    for (int i = 0; i < 20000; ++i) {
        state = state * 6364136223846793005U + 1442695040888963407U;
        const double value = static_cast<double>(static_cast<std::int64_t>(state)) /
                             static_cast<double>(1ULL << (state >> 7 & 63));
        const auto decimals = static_cast<unsigned>(state >> 3 & 7);
        std::array<char, 400> buffer{};
        std::snprintf(buffer.data(), buffer.size(), "%.*f", static_cast<int>(decimals), value);
        std::string expected = buffer.data();
        if (expected[0] == '-' && expected.find_first_not_of("-0.") == std::string::npos)
            expected.erase(0, 1);
        CHECK(number(value, decimals) == expected);
    }
    CHECK(number(-0.0, 0) == "0");
    CHECK(number(-0.0001, 2) == "0.00");
    CHECK(number(-0.5, 0) == "0");
    CHECK(number(1.0 / 3, 9) == "0.333333333");
    CHECK(number(1e308, 0).size() == 309);
    CHECK(number(std::numeric_limits<double>::quiet_NaN(), 2) == "null");
    CHECK(number(-std::numeric_limits<double>::infinity(), 2) == "null");
}

TEST_CASE("times are exact to the nanosecond") {
    CHECK(seconds(1'700'000'000'123'456'000) == "1700000000.123456");
    CHECK(seconds(1'700'000'000'123'456'789) == "1700000000.123456789");
    CHECK(seconds(0) == "0.000000");
    CHECK(seconds(-1) == "-0.000000001");
    CHECK(seconds(-1'500'000'000) == "-1.500000");
    CHECK(seconds(no_time).empty());
    CHECK(seconds(no_time + 1) == "-9223372036.854775807");
    CHECK(seconds(std::numeric_limits<Time>::max()) == "9223372036.854775807");
}

TEST_CASE("untrusted text is made harmless for where it goes") {
    const std::string hostile("\x1b[2J<b>\"&'\x00\x9b\xc2\x9bµ\xff", 18);
    const auto plain = made([&](std::string& out) { append_plain(out, hostile); });
    for (const char c : plain)
        CHECK((c >= 0x20 && c < 0x7F));
    CHECK(made([](std::string& out) { append_printable(out, "9 \xc2\xb0\x1b[2J\xff"); }) ==
          "9 \xc2\xb0\\x1B[2J\\xFF");
    CHECK(made([](std::string& out) { append_json(out, "a\"\\\n\xff\xc2\xb5"); }) ==
          "\"a\\\"\\\\\\u000A\\u00FF\xc2\xb5\"");
    CHECK(made([](std::string& out) { append_html(out, "<a href='x'>&\""); }) ==
          "&lt;a href=&#39;x&#39;&gt;&amp;&quot;");
    const auto page = made([&](std::string& out) { append_html(out, hostile); });
    CHECK(page.find('<') == std::string::npos);
    CHECK(page.find('\x1b') == std::string::npos);

    const auto cell = [](std::string_view text) {
        return made([&](std::string& out) { append_csv(out, text); });
    };
    CHECK(cell("plain") == "plain");
    CHECK(cell("a,b") == "\"a,b\"");
    CHECK(cell("a\"b") == "\"a\"\"b\"");
    CHECK(cell("=1+1") == "'=1+1");
    CHECK(cell("-12.5") == "-12.5");
    CHECK(cell("-12+A1") == "'-12+A1");
    CHECK(cell("a\nb") == "a\\x0Ab");
}

TEST_CASE("every problem has a word of its own and a sentence without holes") {
    for (unsigned i = 1; i <= static_cast<unsigned>(ProblemCode::unknown_scaling); ++i) {
        const Problem problem{static_cast<ProblemCode>(i), {}, no_time, 0x7E8, 1'500'000};
        CAPTURE(i);
        CHECK(!word(problem.code).empty());
        const std::string sentence = describe(problem);
        CHECK(sentence.find_first_of("{}") == std::string::npos);
        for (unsigned j = 1; j < i; ++j)
            CHECK(word(static_cast<ProblemCode>(j)) != word(problem.code));
    }
    CHECK(describe({ProblemCode::consecutive_late, {}, no_time, 1'250'000'000, 1'000'000'000})
              .find("1250 ms after the frame before it, 1000 ms allowed") != std::string::npos);
    CHECK(describe({ProblemCode::unknown_id, {}, no_time, 0xC9, 0}).find("C9") !=
          std::string::npos);
}

TEST_CASE("a function reference calls what it refers to") {
    int sum = 0;
    const auto add = [&](int n) { sum += n; };
    const FunctionRef<void(int)> reference = add;
    reference(2);
    reference(3);
    CHECK(sum == 5);
}
