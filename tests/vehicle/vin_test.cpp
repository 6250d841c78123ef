// SPDX-License-Identifier: Apache-2.0
#include "telltale/vehicle/vin.hpp"

#include <string>

#include <doctest/doctest.h>

using namespace telltale::vehicle;

TEST_CASE("the worked example of the regulation") {
    // 49 CFR 565.15(c), table V: 1G4AH59H?5G118341, the sum of products is 411, the rest 4.
    CHECK(check_vin("1G4AH59H45G118341") == VinCheck::right);
    for (const char digit : std::string("012356789X"))
        CHECK(check_vin(std::string("1G4AH59H") + digit + "5G118341") == VinCheck::wrong);
}

TEST_CASE("other numbers with a known check digit") {
    CHECK(check_vin("11111111111111111") == VinCheck::right); // common practice: all ones fit
    CHECK(check_vin("1M8GDM9AXKP042788") == VinCheck::right); // from memory: an X as digit
    CHECK(check_vin("WAUZZZ89ZZZ123456") == VinCheck::wrong); // Europe: Z is no check digit
}

TEST_CASE("what is no VIN") {
    CHECK(check_vin("") == VinCheck::not_a_vin);
    CHECK(check_vin("1111111111111111") == VinCheck::not_a_vin);
    CHECK(check_vin("111111111111111111") == VinCheck::not_a_vin);
    CHECK(check_vin("1G4AH59H45G11834I") == VinCheck::not_a_vin); // I, O and Q do not occur
    CHECK(check_vin("1G4AH59H45G11834O") == VinCheck::not_a_vin);
    CHECK(check_vin("1G4AH59H45G11834Q") == VinCheck::not_a_vin);
    CHECK(check_vin("1g4ah59h45g118341") == VinCheck::not_a_vin);
    CHECK(check_vin("1G4AH59H45G1183\x1b"
                    "1") == VinCheck::not_a_vin);
}

TEST_CASE("every character has the value of table III") {
    // Position 7 has the weight 2, so a change of value there moves the check digit by twice that:
    // exactly one digit fits, and it is the one that the table gives.
    const std::string letters = "ABCDEFGHJKLMNPRSTUVWXYZ";
    const int values[] = {1, 2, 3, 4, 5, 6, 7, 8, 1, 2, 3, 4, 5, 7, 9, 2, 3, 4, 5, 6, 7, 8, 9};
    for (std::size_t i = 0; i < letters.size(); ++i) {
        std::string vin = "00000000000000000";
        vin[6] = letters[i];
        const int rest = values[i] * 2 % 11;
        vin[8] = rest == 10 ? 'X' : static_cast<char>('0' + rest);
        CAPTURE(vin);
        CHECK(check_vin(vin) == VinCheck::right);
    }
}

TEST_CASE("model years") {
    // 49 CFR 565.15(d), table VII: 5 is 2005, K is 1989 or 2019, Y is 2000 or 2030.
    CHECK(model_year("1G4AH59H45G118341") == 2005);
    CHECK(model_year("1G4AH5AH4KG118341") == 2019);
    CHECK(model_year("1G4AH59H4KG118341") == 1989);
    CHECK(model_year("1G4AH59H4YG118341") == 2000);
    CHECK(model_year("1G4AH59H41G118341") == 2001);
    CHECK(model_year("1G4AH5AH4AG118341") == 2010);
    CHECK(model_year("1G4AH5AH49G118341") == 2039);
    CHECK_FALSE(model_year("1G4AH59H40G118341").has_value());
    CHECK_FALSE(model_year("1G4AH59H4UG118341").has_value());
    CHECK_FALSE(model_year("no VIN").has_value());
}

TEST_CASE("words") {
    CHECK(word(VinCheck::right) == "right");
    CHECK(word(VinCheck::wrong) == "wrong");
    CHECK(word(VinCheck::not_a_vin) == "not-a-vin");
}
