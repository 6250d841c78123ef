// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <string>

#include "telltale/base/result.hpp"

namespace telltale::program {

/// Has what links log written to this file, anew.
Result<void> log_to(const std::string& path);

} // namespace telltale::program
