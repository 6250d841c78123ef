// SPDX-License-Identifier: Apache-2.0
#include "telltale/base/text.hpp"

#include <cstddef>
#include <cstdint>

#include "telltale/base/hex.hpp"

namespace telltale {

namespace {

void append_escape(std::string& out, unsigned char byte) {
    out += "\\x";
    append_hex(out, byte, 2);
}

bool is_control(unsigned char byte) {
    return byte < 0x20 || byte == 0x7F;
}

/// Bytes of the UTF-8 sequence that begins at `at`, 0 when it is none (Unicode 15, table 3-7).
std::size_t utf8_length(std::string_view text, std::size_t at) {
    const auto byte = [&](std::size_t i) {
        return i < text.size() ? static_cast<unsigned char>(text[i]) : 0U;
    };
    const auto is_tail = [&](std::size_t i) { return (byte(i) & 0xC0U) == 0x80; };
    const unsigned first = byte(at);
    if (first < 0x80)
        return 1;
    if (first >= 0xC2 && first <= 0xDF)
        return is_tail(at + 1) ? 2 : 0;
    const unsigned second = byte(at + 1);
    if (first >= 0xE0 && first <= 0xEF) {
        const bool fits = is_tail(at + 1) && is_tail(at + 2) && (first != 0xE0 || second >= 0xA0) &&
                          (first != 0xED || second <= 0x9F);
        return fits ? 3 : 0;
    }
    if (first >= 0xF0 && first <= 0xF4) {
        const bool fits = is_tail(at + 1) && is_tail(at + 2) && is_tail(at + 3) &&
                          (first != 0xF0 || second >= 0x90) && (first != 0xF4 || second <= 0x8F);
        return fits ? 4 : 0;
    }
    return 0;
}

/// C1 controls (U+0080 to U+009F) steer terminals as much as C0 ones do.
bool is_c1(std::string_view text, std::size_t at, std::size_t length) {
    return length == 2 && static_cast<unsigned char>(text[at]) == 0xC2 &&
           static_cast<unsigned char>(text[at + 1]) < 0xA0;
}

/// Calls `plain` for each character that may stand and `strange` for each byte that may not.
template <class Plain, class Strange>
void for_each_character(std::string_view text, Plain plain, Strange strange) {
    for (std::size_t i = 0; i < text.size();) {
        const std::size_t length = utf8_length(text, i);
        const auto byte = static_cast<unsigned char>(text[i]);
        if (length == 0 || is_control(byte)) {
            strange(byte);
            ++i;
        } else if (is_c1(text, i, length)) {
            strange(byte);
            strange(static_cast<unsigned char>(text[i + 1]));
            i += 2;
        } else {
            plain(text.substr(i, length));
            i += length;
        }
    }
}

bool looks_like_number(std::string_view text) {
    if (text.size() < 2)
        return false;
    for (const char c : text.substr(1))
        if ((c < '0' || c > '9') && c != '.')
            return false;
    return text[0] == '-' || text[0] == '+';
}

} // namespace

void append_plain(std::string& out, std::string_view untrusted) {
    for (const char c : untrusted) {
        const auto byte = static_cast<unsigned char>(c);
        if (is_control(byte) || byte >= 0x80)
            append_escape(out, byte);
        else
            out.push_back(c);
    }
}

void append_printable(std::string& out, std::string_view untrusted) {
    for_each_character(
        untrusted, [&](std::string_view character) { out += character; },
        [&](unsigned char byte) { append_escape(out, byte); });
}

void append_json(std::string& out, std::string_view untrusted) {
    out.push_back('"');
    for_each_character(
        untrusted,
        [&](std::string_view character) {
            if (character == "\"" || character == "\\")
                out.push_back('\\');
            out += character;
        },
        [&](unsigned char byte) {
            out += "\\u";
            append_hex(out, byte, 4);
        });
    out.push_back('"');
}

void append_csv(std::string& out, std::string_view untrusted) {
    const bool formula = !untrusted.empty() &&
                         std::string_view("=+-@").find(untrusted[0]) != std::string_view::npos &&
                         !looks_like_number(untrusted);
    const bool quoted = untrusted.find_first_of(",;\"\t ") != std::string_view::npos;
    if (quoted)
        out.push_back('"');
    if (formula)
        out.push_back('\'');
    for_each_character(
        untrusted,
        [&](std::string_view character) {
            if (character == "\"")
                out.push_back('"');
            out += character;
        },
        [&](unsigned char byte) { append_escape(out, byte); });
    if (quoted)
        out.push_back('"');
}

void append_html(std::string& out, std::string_view untrusted) {
    for_each_character(
        untrusted,
        [&](std::string_view character) {
            switch (character[0]) {
            case '&':
                out += "&amp;";
                break;
            case '<':
                out += "&lt;";
                break;
            case '>':
                out += "&gt;";
                break;
            case '"':
                out += "&quot;";
                break;
            case '\'':
                out += "&#39;";
                break;
            default:
                out += character;
            }
        },
        [&](unsigned char byte) { append_escape(out, byte); });
}

} // namespace telltale
