// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <cstddef>
#include <cstdint>
#include <span>
#include <string_view>

#include "telltale/base/export.hpp"

namespace telltale::catalogue {

/// Longest description in characters.
inline constexpr std::size_t max_code_text = 120;

/// The plain short description of a code, written into `buffer`; empty when the code is not known.
/// Only codes that the standard assigns have one.
TELLTALE_API std::string_view describe_code(std::uint16_t code,
                                            std::span<char, max_code_text> buffer) noexcept;

/// The failure type byte of a three-byte code (SAE J2012-DA, ISO 15031-6 annex): a plain short
/// description, or empty when it is not known.
TELLTALE_API std::string_view failure_type(std::uint8_t type) noexcept;

} // namespace telltale::catalogue
