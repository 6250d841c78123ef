// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <string_view>

namespace telltale::link {

// The log of links: goes to the spdlog logger that the program has registered as "telltale"; where
// there is none, nothing is written. Text from outside is made fit for a terminal.
void log_debug(std::string_view link, std::string_view text);
void log_warning(std::string_view link, std::string_view text);

} // namespace telltale::link
