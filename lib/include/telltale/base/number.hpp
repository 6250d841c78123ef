// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <cstdint>
#include <string>

#include "telltale/base/export.hpp"

namespace telltale {

/// Appends `value` with exactly `decimals` (0 to 9) digits after the point, '.' whatever the
/// locale. Not-a-number and infinities append "null". Never writes "-0".
TELLTALE_API void append_number(std::string& out, double value, unsigned decimals);

/// Appends an unsigned or signed integer in decimal.
TELLTALE_API void append_integer(std::string& out, std::uint64_t value);
TELLTALE_API void append_integer(std::string& out, std::int64_t value);

} // namespace telltale
