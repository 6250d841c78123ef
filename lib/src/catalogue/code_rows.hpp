// SPDX-License-Identifier: Apache-2.0
// The rows behind the descriptions of trouble codes. Internal: nothing here is installed.
#pragma once

#include <cstddef>
#include <cstdint>
#include <span>
#include <string_view>

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
std::span<const CodeRow> code_rows() noexcept;

/// What a letter of `CodeRow::parts` adds to the text; empty for '.', which adds nothing, and for
/// '-', a code of the run that has no description here.
std::string_view code_part(char letter) noexcept;

/// How many codes have a description.
std::size_t described_codes() noexcept;

} // namespace telltale::catalogue
