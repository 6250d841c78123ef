// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <cstddef>
#include <string>
#include <string_view>

namespace telltale::program {

/// Columns of plain text that is meant to be read in a terminal or on paper.
inline constexpr std::size_t page_width = 80;

/// Characters of UTF-8 text, each taken for one column wide.
std::size_t columns_of(std::string_view text);

/// Appends `text` in lines of at most `page_width` columns, each after `indent` spaces, and a
/// newline. Words longer than a line stand alone. Of text that begins with "- " the further lines
/// stand under the words.
void append_wrapped(std::string& out, std::size_t indent, std::string_view text);

} // namespace telltale::program
