// SPDX-License-Identifier: Apache-2.0
#include "text_parse.hpp"

#include <limits>

namespace telltale::dump {

std::size_t parse_hex_bytes(std::string_view text, std::span<std::uint8_t> out) {
    if (text.size() % 2 != 0 || text.size() / 2 > out.size())
        return std::string_view::npos;
    for (std::size_t i = 0; i < text.size(); i += 2) {
        const unsigned high = hex_digit(text[i]);
        const unsigned low = hex_digit(text[i + 1]);
        if ((high | low) > 15)
            return std::string_view::npos;
        out[i / 2] = static_cast<std::uint8_t>(high << 4 | low);
    }
    return text.size() / 2;
}

std::string_view take_piece(std::string_view& rest) {
    const auto between = [](char c) { return is_space(c) || c == ','; };
    std::size_t begin = 0;
    while (begin < rest.size() && between(rest[begin]))
        ++begin;
    std::size_t end = begin;
    while (end < rest.size() && !between(rest[end]))
        ++end;
    const auto piece = rest.substr(begin, end - begin);
    while (end < rest.size() && between(rest[end]))
        ++end;
    rest.remove_prefix(end);
    return piece;
}

bool parse_hex_piece(std::string_view piece, std::span<std::uint8_t> out, std::size_t& size) {
    const auto keep = [&](unsigned byte) {
        if (size < out.size())
            out[size] = static_cast<std::uint8_t>(byte);
        ++size;
    };
    if (take_0x(piece) && piece.size() == 1) {
        const unsigned value = hex_digit(piece.front());
        if (value > 15)
            return false;
        keep(value);
        return true;
    }
    for (std::size_t i = 0; i < piece.size(); i += 2) {
        const unsigned high = hex_digit(piece[i]);
        const unsigned low = i + 1 < piece.size() ? hex_digit(piece[i + 1]) : 0xFF;
        if ((high | low) > 15)
            return false;
        keep(high << 4 | low);
    }
    return true;
}

bool parse_scaled(std::string_view text, Time scale, Time& time, bool comma) {
    std::size_t point = text.find('.');
    if (point == std::string_view::npos && comma)
        point = text.find(',');
    std::uint64_t whole = 0;
    if (!parse_decimal(text.substr(0, point), whole))
        return false;
    const auto unit = static_cast<std::uint64_t>(scale);
    constexpr auto most = static_cast<std::uint64_t>(std::numeric_limits<Time>::max());
    if (whole > most / unit - 1)
        return false;
    std::uint64_t sum = whole * unit;
    if (point != std::string_view::npos) {
        const auto fraction = text.substr(point + 1);
        if (fraction.empty())
            return false;
        std::uint64_t weight = unit;
        for (const char c : fraction) {
            if (!is_digit(c))
                return false;
            weight /= 10;
            sum += weight * static_cast<unsigned>(c - '0');
        }
    }
    time = static_cast<Time>(sum);
    return true;
}

namespace {

/// Exactly `count` digits at `at`.
bool fixed(std::string_view text, std::size_t at, std::size_t count, std::uint64_t& value) {
    return at + count <= text.size() && parse_decimal(text.substr(at, count), value);
}

bool leap(std::uint64_t year) {
    return year % 4 == 0 && (year % 100 != 0 || year % 400 == 0);
}

} // namespace

bool parse_time_of_day(std::string_view text, Time& time) {
    std::uint64_t hour = 0;
    std::uint64_t minute = 0;
    Time second = 0;
    if (text.size() < 8 || text[2] != ':' || text[5] != ':' || !fixed(text, 0, 2, hour) ||
        !fixed(text, 3, 2, minute))
        return false;
    const auto seconds = text.substr(6);
    // Second 60 is a leap second.
    if ((seconds.size() > 2 && seconds[2] != '.') ||
        !parse_scaled(seconds, nanoseconds_a_second, second) || hour > 23 || minute > 59 ||
        second >= 61 * nanoseconds_a_second)
        return false;
    time = static_cast<Time>(hour * 60 + minute) * 60 * nanoseconds_a_second + second;
    return true;
}

bool parse_date_time(std::string_view text, Time& time) {
    std::uint64_t year = 0;
    std::uint64_t month = 0;
    std::uint64_t day = 0;
    if (text.size() < 11 || text[4] != '-' || text[7] != '-' ||
        (text[10] != ' ' && text[10] != 'T') || !fixed(text, 0, 4, year) ||
        !fixed(text, 5, 2, month) || !fixed(text, 8, 2, day))
        return false;
    auto clock = text.substr(11);
    if (!clock.empty() && clock.back() == 'Z')
        clock.remove_suffix(1);
    Time of_day = 0;
    if (!parse_time_of_day(clock, of_day))
        return false;

    constexpr unsigned month_days[] = {31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31};
    // 2261 is the last whole year that fits into a Time.
    if (year < 1970 || year > 2261 || month < 1 || month > 12 || day < 1 ||
        day > month_days[month - 1] + (month == 2 && leap(year) ? 1U : 0U))
        return false;
    const std::uint64_t before = year - 1;
    std::uint64_t days = (year - 1970) * 365 + (before / 4 - before / 100 + before / 400) -
                         (1969 / 4 - 1969 / 100 + 1969 / 400) + day - 1;
    for (std::uint64_t m = 1; m < month; ++m)
        days += month_days[m - 1] + (m == 2 && leap(year) ? 1U : 0U);
    time = static_cast<Time>(days) * 24 * 60 * 60 * nanoseconds_a_second + of_day;
    return true;
}

} // namespace telltale::dump
