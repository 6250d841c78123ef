// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <limits>

#include "telltale/base/time.hpp"

namespace telltale::vet {

inline constexpr Time never = std::numeric_limits<Time>::max();
inline constexpr Time ms = nanoseconds_a_millisecond;

} // namespace telltale::vet
