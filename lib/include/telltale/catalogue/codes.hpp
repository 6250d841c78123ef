// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <cstddef>
#include <cstdint>
#include <span>
#include <string_view>

#include "telltale/base/export.hpp"

namespace telltale::catalogue {

/// A run of trouble codes (SAE J2012 / ISO 15031-6) that are built alike. Each code's description
/// is `text`, with '#' replaced by the number of its group (1, 2, ...) and '@' by its letter (A, B,
/// ...), followed by the words of its own letter in `parts`. The codes ascend from `first`: all
/// parts of the first group, then all parts of the second. They count in decimal ("P0209" is
/// followed by "P0210") unless `hex` is set. `code_part` says what a letter of `parts` means.
struct CodeRow {
    std::uint16_t first; ///< two-byte form: 0x0100 is P0100, 0xC100 is U0100
    const char* parts;
    const char* text;
    std::uint8_t groups = 1;
    bool hex = false;
};

/// Every row, ascending by `first`. All are from memory unless the row's table says otherwise.
TELLTALE_API std::span<const CodeRow> code_rows() noexcept;

/// What a letter of `CodeRow::parts` adds to the text; empty for '.', which adds nothing, and for
/// '-', a code of the run that has no description here.
TELLTALE_API std::string_view code_part(char letter) noexcept;

/// Longest description in characters.
inline constexpr std::size_t max_code_text = 120;

/// The plain short description of a code, written into `buffer`; empty when the code is not known.
/// Only codes that the standard assigns have one.
TELLTALE_API std::string_view describe_code(std::uint16_t code,
                                            std::span<char, max_code_text> buffer) noexcept;

/// How many codes have a description.
TELLTALE_API std::size_t described_codes() noexcept;

/// The failure type byte of a three-byte code (SAE J2012-DA, ISO 15031-6 annex): a plain short
/// description, or empty when it is not known.
TELLTALE_API std::string_view failure_type(std::uint8_t type) noexcept;

} // namespace telltale::catalogue
