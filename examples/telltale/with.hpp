// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <memory>
#include <string>
#include <vector>

#include "telltale/catalogue/extension.hpp"

namespace CLI {
class App;
}

namespace telltale::program {

/// Adds --with FILE, which may be given several times. `files` must outlive the parsing.
void add_with_option(CLI::App& command, std::vector<std::string>& files);

/// The parameters and codes of all files together; without files an empty one. Null when one cannot
/// be read or has a fault: standard error has a line for each.
std::shared_ptr<const catalogue::Extension> read_with(const std::vector<std::string>& files);

} // namespace telltale::program
