// SPDX-License-Identifier: Apache-2.0
#include "text.hpp"

#include <array>
#include <cmath>

#include "telltale/base/number.hpp"

namespace telltale::vet {

std::string grouped(std::uint64_t number) {
    std::string digits;
    append_integer(digits, number);
    for (std::size_t at = digits.size(); at > 3; at -= 3)
        digits.insert(at - 3, 1, ',');
    return digits;
}

std::string counted(std::uint64_t number, std::string_view one, std::string_view many) {
    std::string text = grouped(number);
    text += ' ';
    text += number == 1 ? one : many;
    return text;
}

std::string decimal(double value, int decimals) {
    double scaled = std::fabs(value);
    for (int i = 0; i < decimals; ++i)
        scaled *= 10;
    if (!(scaled < 9e18))
        return "?";
    std::string digits;
    append_integer(digits, static_cast<std::uint64_t>(std::llround(scaled)));
    const auto after = static_cast<std::size_t>(decimals);
    if (digits.size() <= after)
        digits.insert(0, after + 1 - digits.size(), '0');
    if (after != 0)
        digits.insert(digits.size() - after, 1, '.');
    if (value < 0)
        digits.insert(0, 1, '-');
    return digits;
}

std::string duration_text(Time duration) {
    struct Unit {
        Time size;
        std::string_view name;
    };
    constexpr std::array<Unit, 4> units{{{nanoseconds_a_second, " s"},
                                         {nanoseconds_a_millisecond, " ms"},
                                         {1000, " us"},
                                         {1, " ns"}}};
    const Time size = duration < 0 ? -duration : duration;
    for (const auto& unit : units) {
        if (size < unit.size && unit.size != 1)
            continue;
        const double value = static_cast<double>(duration) / static_cast<double>(unit.size);
        const double whole = std::fabs(value);
        std::string text = decimal(value, unit.size == 1 || whole >= 99.95 ? 0
                                          : whole >= 9.995                 ? 1
                                                                           : 2);
        if (text.find('.') != std::string::npos) {
            while (text.back() == '0')
                text.pop_back();
            if (text.back() == '.')
                text.pop_back();
        }
        return text += unit.name;
    }
    return "0 ns";
}

std::string frame_text(const CanFrame& frame) {
    constexpr std::string_view digits = "0123456789ABCDEF";
    std::string text;
    for (unsigned i = frame.id.extended ? 8 : 3; i > 0; --i)
        text += digits[frame.id.value >> (4 * (i - 1)) & 0xFU];
    if (frame.fd)
        text += frame.bit_rate_switch ? " FD+BRS" : " FD";
    if (frame.kind == CanKind::remote) {
        text += " R";
        append_integer(text, std::uint64_t{frame.remote_length});
    } else if (frame.kind == CanKind::error) {
        text += " error frame";
    }
    for (const std::uint8_t byte : frame.data) {
        text += ' ';
        text += digits[byte >> 4];
        text += digits[byte & 0xFU];
    }
    if (frame.kind == CanKind::data && frame.data.empty())
        text += " (no data)";
    return text;
}

} // namespace telltale::vet
