// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <string>

#include "telltale/base/export.hpp"
#include "telltale/base/units.hpp"
#include "telltale/run/contrast.hpp"

namespace telltale::run {

/// Appends the comparison as one line of JSON and a newline: an object as
/// examples/telltale/CONTRACT.md describes it ("contrast --as json"). Numbers are in units of
/// `system`.
TELLTALE_API void append_contrast_json(std::string& out, const ContrastResult& result,
                                       UnitSystem system = UnitSystem::si);

} // namespace telltale::run
