// SPDX-License-Identifier: Apache-2.0
#include "telltale/vehicle/vin.hpp"

#include <array>
#include <cstddef>

namespace telltale::vehicle {

namespace {

constexpr std::size_t length = 17;
constexpr std::size_t check_place = 8;

/// 49 CFR 565.15, table IV: the weight of each position; the check digit itself has none.
constexpr std::array<unsigned, length> weights = {8, 7, 6, 5, 4, 3, 2, 10, 0,
                                                  9, 8, 7, 6, 5, 4, 3, 2};

constexpr unsigned no_value = 99;

/// 49 CFR 565.15, table III: the value of each character.
constexpr unsigned value_of(char c) {
    if (c >= '0' && c <= '9')
        return static_cast<unsigned>(c - '0');
    constexpr std::string_view letters = "ABCDEFGHJKLMNPRSTUVWXYZ";
    constexpr std::array<unsigned, 23> values = {1, 2, 3, 4, 5, 6, 7, 8, 1, 2, 3, 4,
                                                 5, 7, 9, 2, 3, 4, 5, 6, 7, 8, 9};
    const auto at = letters.find(c);
    return at == std::string_view::npos ? no_value : values[at];
}

} // namespace

std::string_view word(VinCheck check) noexcept {
    switch (check) {
    case VinCheck::right:
        return "right";
    case VinCheck::wrong:
        return "wrong";
    case VinCheck::not_a_vin:
        break;
    }
    return "not-a-vin";
}

VinCheck check_vin(std::string_view vin) noexcept {
    if (vin.size() != length)
        return VinCheck::not_a_vin;
    unsigned sum = 0;
    for (std::size_t i = 0; i < length; ++i) {
        const unsigned value = value_of(vin[i]);
        if (value == no_value)
            return VinCheck::not_a_vin;
        sum += value * weights[i];
    }
    const unsigned rest = sum % 11;
    const char digit = rest == 10 ? 'X' : static_cast<char>('0' + rest);
    return vin[check_place] == digit ? VinCheck::right : VinCheck::wrong;
}

std::optional<int> model_year(std::string_view vin) noexcept {
    if (check_vin(vin) == VinCheck::not_a_vin)
        return std::nullopt;
    // Table VII: 1980 is A; I, O, Q, U and Z are left out, and nor is there a 0.
    constexpr std::string_view codes = "ABCDEFGHJKLMNPRSTVWXY123456789";
    const auto at = codes.find(vin[9]);
    if (at == std::string_view::npos)
        return std::nullopt;
    const bool later = vin[6] > '9';
    return 1980 + static_cast<int>(at) + (later ? 30 : 0);
}

} // namespace telltale::vehicle
