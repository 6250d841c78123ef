// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <cstdint>
#include <limits>
#include <string>

#include "telltale/base/export.hpp"

namespace telltale {

/// A moment in nanoseconds, counted from whatever the source counts from (the Unix epoch in most
/// dumps, the start of the log in others). `no_time` where the source gives none.
using Time = std::int64_t;

inline constexpr Time no_time = std::numeric_limits<Time>::min();
inline constexpr Time nanoseconds_a_second = 1'000'000'000;
inline constexpr Time nanoseconds_a_millisecond = 1'000'000;

/// Appends the time in seconds with 6 decimals, or 9 where the last three are not zero; exact, no
/// rounding, no locale. Appends nothing for `no_time`.
TELLTALE_API void append_seconds(std::string& out, Time time);

} // namespace telltale
