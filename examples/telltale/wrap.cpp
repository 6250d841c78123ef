// SPDX-License-Identifier: Apache-2.0
#include "wrap.hpp"

namespace telltale::program {

std::size_t columns_of(std::string_view text) {
    std::size_t columns = 0;
    for (const char c : text)
        columns += (static_cast<unsigned char>(c) & 0xC0U) != 0x80 ? 1U : 0U;
    return columns;
}

void append_wrapped(std::string& out, std::size_t indent, std::string_view text) {
    const std::size_t hang = text.substr(0, 2) == "- " ? 2 : 0;
    std::size_t margin = indent;
    std::size_t column = 0; // 0: nothing in the line yet
    while (!text.empty()) {
        const std::size_t space = text.find(' ');
        const std::string_view next = text.substr(0, space);
        text.remove_prefix(space == std::string_view::npos ? text.size() : space + 1);
        if (next.empty())
            continue;
        const std::size_t width = columns_of(next);
        if (column != 0 && column + 1 + width > page_width) {
            out += '\n';
            column = 0;
            margin = indent + hang;
        }
        if (column == 0) {
            out.append(margin, ' ');
            column = margin;
        } else {
            out += ' ';
            ++column;
        }
        out += next;
        column += width;
    }
    out += '\n';
}

} // namespace telltale::program
