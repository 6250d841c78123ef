// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <cstdint>
#include <functional>

#include "recording.hpp"

namespace demo {

/// When each record began, in seconds since the Unix epoch.
inline constexpr std::int64_t good_start = 1'758'012'067; ///< 2025-09-16 08:41:07 UTC
inline constexpr std::int64_t bad_start = 1'758'208'960;  ///< 2025-09-18 15:22:40 UTC

/// The two drives of the courier van: one without complaint, and one in which the poor contact in
/// the supply of its manifold pressure sensor shows on the cobbles. See README.md beside this file.
void record_good(const std::function<void(const Frame&)>& logger);
void record_bad(const std::function<void(const Frame&)>& logger);

} // namespace demo
