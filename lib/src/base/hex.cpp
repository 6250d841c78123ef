// SPDX-License-Identifier: Apache-2.0
#include "telltale/base/hex.hpp"

namespace telltale {

namespace {
constexpr char digits_upper[] = "0123456789ABCDEF";
}

Result<std::size_t> from_hex(std::string_view text, std::span<std::uint8_t> out) {
    std::size_t written = 0;
    for (std::size_t i = 0; i < text.size(); i += 2) {
        const std::uint8_t high = hex_digit(text[i]);
        if (high > 15)
            return fail(ErrorCode::bad_hex, "a character that is no hex digit", {i, 0});
        if (i + 1 == text.size())
            return fail(ErrorCode::bad_hex, "the last byte has one digit instead of two",
                        {i + 1, 0});
        const std::uint8_t low = hex_digit(text[i + 1]);
        if (low > 15)
            return fail(ErrorCode::bad_hex, "a character that is no hex digit", {i + 1, 0});
        if (written == out.size())
            return fail(ErrorCode::too_long, "more bytes than there is room for", {i, 0});
        out[written++] = static_cast<std::uint8_t>(high << 4 | low);
    }
    return written;
}

void append_hex(std::string& out, Bytes bytes, char separator) {
    for (std::size_t i = 0; i < bytes.size(); ++i) {
        if (i != 0 && separator != '\0')
            out.push_back(separator);
        out.push_back(digits_upper[bytes[i] >> 4]);
        out.push_back(digits_upper[bytes[i] & 15]);
    }
}

void append_hex(std::string& out, std::uint64_t value, unsigned digits) {
    while (digits > 0)
        out.push_back(digits_upper[value >> 4 * --digits & 15]);
}

std::string to_hex(Bytes bytes, char separator) {
    std::string out;
    append_hex(out, bytes, separator);
    return out;
}

} // namespace telltale
