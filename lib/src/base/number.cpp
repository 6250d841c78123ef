// SPDX-License-Identifier: Apache-2.0
#include "telltale/base/number.hpp"

#include <array>
#include <charconv>
#include <cmath>
#include <cstddef>
#include <string_view>

#include "base/chars.hpp"

namespace telltale {

namespace {

template <class Integer> void append_any(std::string& out, Integer value) {
    std::array<char, 24> buffer;
    const auto end = std::to_chars(buffer.data(), buffer.data() + buffer.size(), value).ptr;
    out.append(buffer.data(), end);
}

} // namespace

void append_number(std::string& out, double value, unsigned decimals) {
    if (!std::isfinite(value)) {
        out += "null";
        return;
    }
    if (decimals == 0 && std::fabs(value) < 1e15 &&
        value == static_cast<double>(static_cast<std::int64_t>(value))) {
        append_any(out, static_cast<std::int64_t>(value)); // the usual case, and never "-0"
        return;
    }
    // The widest finite double has 309 digits before the point.
    std::array<char, 352> buffer;
    const auto end = chars::fixed(buffer.data(), buffer.data() + buffer.size(), value,
                                  static_cast<int>(decimals < 9 ? decimals : 9));
    std::string_view text(buffer.data(), static_cast<std::size_t>(end - buffer.data()));
    if (text.front() == '-' && text.find_first_not_of("-0.") == std::string_view::npos)
        text.remove_prefix(1);
    out += text;
}

void append_integer(std::string& out, std::uint64_t value) {
    append_any(out, value);
}
void append_integer(std::string& out, std::int64_t value) {
    append_any(out, value);
}

} // namespace telltale
