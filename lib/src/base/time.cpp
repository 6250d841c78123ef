// SPDX-License-Identifier: Apache-2.0
#include "telltale/base/time.hpp"

#include "telltale/base/number.hpp"

namespace telltale {

void append_seconds(std::string& out, Time time) {
    if (time == no_time)
        return;
    // Unsigned, because the most negative moments have no positive counterpart.
    std::uint64_t rest = static_cast<std::uint64_t>(time);
    if (time < 0) {
        out.push_back('-');
        rest = ~rest + 1;
    }
    constexpr auto second = static_cast<std::uint64_t>(nanoseconds_a_second);
    append_integer(out, rest / second);
    out.push_back('.');
    std::uint64_t fraction = rest % second;
    unsigned digits = 9;
    if (fraction % 1000 == 0) {
        fraction /= 1000;
        digits = 6;
    }
    char text[9];
    for (unsigned i = digits; i > 0; --i) {
        text[i - 1] = static_cast<char>('0' + fraction % 10);
        fraction /= 10;
    }
    out.append(text, digits);
}

} // namespace telltale
