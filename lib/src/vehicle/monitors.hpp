// SPDX-License-Identifier: Apache-2.0
// What is commonly known of the monitors of PID 01. Internal: nothing here is installed.
#pragma once

#include <cstdint>
#include <string_view>

#include "telltale/message/dtc.hpp"

namespace telltale::vehicle {

/// The driving that commonly lets a monitor run; empty where nothing is known. `key` as in
/// Readiness. Common practice throughout.
std::string_view driving_for(std::uint16_t key);

/// True when the monitor is the one that commonly finds the code.
bool watches(std::uint16_t key, message::Dtc code);

} // namespace telltale::vehicle
