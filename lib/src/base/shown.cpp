// SPDX-License-Identifier: Apache-2.0
#include "telltale/base/shown.hpp"

#include <array>
#include <cmath>
#include <cstdint>

#include "base/chars.hpp"
#include "telltale/base/hex.hpp"
#include "telltale/base/number.hpp"

namespace telltale {

namespace {

/// UCUM codes of the units that US readers want, by the text that base gives them.
constexpr std::array<std::array<std::string_view, 2>, 18> us_codes = {{
    {"°F", "[degF]"},
    {"psi", "[psi]"},
    {"inHg", "[in_i'Hg]"},
    {"inH2O", "[in_i'H2O]"},
    {"mph", "[mi_i]/h"},
    {"mi", "[mi_i]"},
    {"lb/min", "[lb_av]/min"},
    {"lb/h", "[lb_av]/h"},
    {"gal/h", "[gal_us]/h"},
    {"gal", "[gal_us]"},
    {"lb", "[lb_av]"},
    {"lbf·ft", "[lbf_av].[ft_i]"},
    {"ft/s²", "[ft_i]/s2"},
    {"in", "[in_i]"},
    {"in²", "[in_i]2"},
    {"psi/s", "[psi]/s"},
    {"inH2O/s", "[in_i'H2O]/s"},
    {"lb/s", "[lb_av]/s"},
}};

/// Decimals that show a step without inventing digits, as Scale::decimals does.
unsigned decimals_for(double step) noexcept {
    unsigned places = 0;
    for (double scaled = std::fabs(step); scaled < 0.9999999 && places < 6; scaled *= 10)
        ++places;
    return places;
}

} // namespace

Shown shown(Unit unit, double step, unsigned decimals, UnitSystem system,
            std::string_view own_unit) noexcept {
    const auto& about = info(unit);
    Shown how;
    how.decimals = decimals;
    if (own_unit.size() > 2) {
        how.text = own_unit.substr(1, own_unit.size() - 2);
        how.ucum = own_unit;
        return how;
    }
    how.text = about.text;
    how.ucum = about.ucum.empty() ? std::string_view("1") : about.ucum;
    if (system == UnitSystem::si || about.us_text.empty())
        return how;
    how.converted = true;
    how.factor = about.us_factor;
    how.offset = about.us_offset;
    how.text = how.ucum = about.us_text;
    for (const auto& [text, code] : us_codes)
        if (text == about.us_text)
            how.ucum = code;
    if (step != 0)
        how.decimals = decimals_for(step * about.us_factor);
    return how;
}

void append_exact(std::string& out, double number, bool converted) {
    if (!std::isfinite(number)) {
        out += "null";
        return;
    }
    std::array<char, 40> text;
    const auto end = text.data() + text.size();
    if (converted)
        chars::read(text.data(), chars::scientific(text.data(), end, number, 11), number);
    if (number == 0)
        number = 0; // never "-0"
    // Most scalings have few decimals: four of them as an integer are several times as fast.
    if (std::fabs(number) < 1e11) {
        const double scaled = number * 1e4;
        const auto whole = static_cast<std::int64_t>(scaled < 0 ? scaled - 0.5 : scaled + 0.5);
        if (static_cast<double>(whole) / 1e4 == number) {
            const auto magnitude = static_cast<std::uint64_t>(whole < 0 ? -whole : whole);
            if (whole < 0)
                out.push_back('-');
            append_integer(out, magnitude / 10'000);
            if (auto rest = static_cast<unsigned>(magnitude % 10'000); rest != 0) {
                out.push_back('.');
                for (unsigned unit = 1000; rest != 0; unit /= 10) {
                    out.push_back(static_cast<char>('0' + rest / unit));
                    rest %= unit;
                }
            }
            return;
        }
    }
    out.append(text.data(), chars::shortest(text.data(), end, number));
}

void append_id(std::string& out, std::uint16_t id) {
    append_hex(out, id, id < 256 ? 2 : 4);
}

} // namespace telltale
