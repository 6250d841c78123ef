// SPDX-License-Identifier: Apache-2.0
#include "telltale/isotp/options.hpp"

#include <doctest/doctest.h>

#include "telltale/isotp/address.hpp"

using namespace telltale;
using namespace telltale::isotp;

TEST_CASE("STmin: milliseconds, hundreds of microseconds, reserved values") {
    // ISO 15765-2:2016, 9.6.5.4, table 20
    constexpr Time ms = nanoseconds_a_millisecond;
    for (unsigned code = 0; code <= 0xFF; ++code) {
        const Time time = st_min_time(static_cast<std::uint8_t>(code));
        CAPTURE(code);
        if (code <= 0x7F)
            CHECK(time == code * ms);
        else if (code >= 0xF1 && code <= 0xF9)
            CHECK(time == (code - 0xF0) * ms / 10);
        else
            CHECK(time == 127 * ms); // 9.6.5.4: the longest value takes the place of a reserved one
    }
}

TEST_CASE("the code of a time asks for no less than the time, and for no more than needed") {
    for (Time time = 0; time <= 127 * nanoseconds_a_millisecond; time += 12'345) {
        const std::uint8_t code = st_min_code(time);
        CAPTURE(time);
        REQUIRE((code <= 0x7F || (code >= 0xF1 && code <= 0xF9)));
        REQUIRE(st_min_time(code) >= time);
        REQUIRE(st_min_time(code) < time + nanoseconds_a_millisecond);
    }
    CHECK(st_min_code(-1) == 0);
    CHECK(st_min_code(1) == 0xF1);
    CHECK(st_min_code(100'000) == 0xF1);
    CHECK(st_min_code(100'001) == 0xF2);
    CHECK(st_min_code(900'000) == 0xF9);
    CHECK(st_min_code(900'001) == 0x01);
    CHECK(st_min_code(127'000'000) == 0x7F);
    CHECK(st_min_code(never) == 0x7F);
}

TEST_CASE("the defaults are those of ISO 15765-4") {
    // ISO 15765-4:2016, table "network layer timing parameter values", from memory
    constexpr Time ms = nanoseconds_a_millisecond;
    const Options options;
    CHECK(options.timing.n_as == 25 * ms);
    CHECK(options.timing.n_ar == 25 * ms);
    CHECK(options.timing.n_bs == 75 * ms);
    CHECK(options.timing.n_br <= 25 * ms);
    CHECK(options.timing.n_cr == 150 * ms);
    CHECK(options.block_size == 0);
    CHECK(options.st_min == 0);
    CHECK(options.wft_max == 0);
    CHECK(options.padding.has_value());
    CHECK_FALSE(options.fd);
}

TEST_CASE("outcomes have the names of the standard") {
    // ISO 15765-2:2016, 8.3.7
    CHECK(word(Outcome::ok) == "N_OK");
    CHECK(word(Outcome::timeout_a) == "N_TIMEOUT_A");
    CHECK(word(Outcome::timeout_bs) == "N_TIMEOUT_Bs");
    CHECK(word(Outcome::timeout_cr) == "N_TIMEOUT_Cr");
    CHECK(word(Outcome::wrong_sn) == "N_WRONG_SN");
    CHECK(word(Outcome::invalid_fs) == "N_INVALID_FS");
    CHECK(word(Outcome::unexpected_pdu) == "N_UNEXP_PDU");
    CHECK(word(Outcome::wait_overrun) == "N_WFT_OVRN");
    CHECK(word(Outcome::buffer_overflow) == "N_BUFFER_OVFLW");
    CHECK(word(Outcome::error) == "N_ERROR");
}

TEST_CASE("addresses") {
    CHECK(tester_address({0x7E8, false}).tx == CanId{0x7E0, false});
    CHECK(tester_address({0x18DAF110, true}) == normal_fixed_address(0x10, 0xF1));
    CHECK(normal_fixed_address(0x10, 0xF1).tx == CanId{0x18DA10F1, true});
    CHECK(mixed_fixed_address(0x10, 0xF1, 5).rx == CanId{0x18CEF110, true});
    const Address extended = extended_address({0x6F1, false}, {0x612, false}, 0x12, 0xF1);
    CHECK(extended.has_byte());
    CHECK(extended.reversed().tx_byte == 0xF1);
    CHECK(extended.reversed().rx == CanId{0x6F1, false});
    CHECK(extended.reversed().reversed() == extended);
    CHECK_FALSE(tester_address({0x7E8, false}).has_byte());
}
