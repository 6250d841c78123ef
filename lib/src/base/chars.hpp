// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <charconv>
#include <clocale>
#include <cstddef>
#include <cstdio>
#include <cstdlib>
#include <cstring>
#include <system_error>

/// Text of floating-point numbers as std::to_chars and std::from_chars have it, which some standard
/// libraries lack (libc++ has to_chars since LLVM 14, from_chars for none but integers until 20).
namespace telltale::chars {

/// The same by means of the C library; each character is what std::to_chars would give. `last`
/// leaves room for the longest text that may come.
namespace by_c {

/// The C library's point may be another character; ours never is.
inline char* mend_point(char* first, char* last) {
    for (char* at = first; at != last; ++at)
        if (std::strchr("0123456789+-e", *at) == nullptr)
            *at = '.';
    return last;
}

inline char* print(char* first, char* last, const char* format, int precision, double value) {
    const int length =
        std::snprintf(first, static_cast<std::size_t>(last - first), format, precision, value);
    return mend_point(first, first + length);
}

inline char* fixed(char* first, char* last, double value, int decimals) {
    return print(first, last, "%.*f", decimals, value);
}

inline char* scientific(char* first, char* last, double value, int decimals) {
    return print(first, last, "%.*e", decimals, value);
}

/// A decimal number without white space before it; 63 characters of it at most. Returns where it
/// ends, `first` when there is none.
inline const char* read(const char* first, const char* last, double& value) {
    char text[64];
    std::size_t length = 0;
    for (const char* at = first; at != last && length + 1 < sizeof text; ++at) {
        if (std::strchr("0123456789.-e+", *at) == nullptr || *at == '\0' ||
            (*at == '+' && (length == 0 || text[length - 1] != 'e')))
            break;
        text[length++] = *at == '.' ? *std::localeconv()->decimal_point : *at;
    }
    text[length] = '\0';
    char* end = text;
    const double found = std::strtod(text, &end);
    if (end != text)
        value = found;
    return first + (end - text);
}

/// The fewest digits that read back as the same number, in the shorter of both forms.
inline char* shortest(char* first, char* last, double value) {
    char text[40];
    char* end = text;
    int digits = 0;
    for (; digits <= 16; ++digits) {
        end = scientific(text, text + sizeof text, value, digits);
        double back = 0;
        if (read(text, end, back) == end && back == value)
            break;
    }
    const auto mark = static_cast<const char*>(std::memchr(text, 'e', sizeof text));
    const int exponent = std::atoi(mark + 1);
    const int decimals = digits > exponent ? digits - exponent : 0;
    // Far below or above, the form without exponent is never the shorter one.
    if (exponent > -20 && exponent < 24) {
        char plain[64];
        char* const plain_end = fixed(plain, plain + sizeof plain, value, decimals);
        if (plain_end - plain <= end - text) {
            std::memcpy(first, plain, static_cast<std::size_t>(plain_end - plain));
            return first + (plain_end - plain);
        }
    }
    static_cast<void>(last);
    std::memcpy(first, text, static_cast<std::size_t>(end - text));
    return first + (end - text);
}

} // namespace by_c

#if defined(__cpp_lib_to_chars)
inline char* fixed(char* first, char* last, double value, int decimals) {
    return std::to_chars(first, last, value, std::chars_format::fixed, decimals).ptr;
}
inline char* scientific(char* first, char* last, double value, int decimals) {
    return std::to_chars(first, last, value, std::chars_format::scientific, decimals).ptr;
}
inline char* shortest(char* first, char* last, double value) {
    return std::to_chars(first, last, value).ptr;
}
inline const char* read(const char* first, const char* last, double& value) {
    const auto [rest, error] = std::from_chars(first, last, value);
    return error == std::errc{} ? rest : first;
}
#else
using by_c::fixed;
using by_c::read;
using by_c::scientific;
using by_c::shortest;
#endif

} // namespace telltale::chars
