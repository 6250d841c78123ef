// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <string>

#include "telltale/link/link.hpp"

namespace telltale::link {

/// Says whether a line carries this piece; `why` tells in a sentence why not.
bool carries(const Traffic& traffic, LineKind line, bool fd, std::string& why);

} // namespace telltale::link
