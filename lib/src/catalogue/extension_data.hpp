// SPDX-License-Identifier: Apache-2.0
// What an Extension holds. Internal: nothing here is installed.
#pragma once

#include <string>
#include <vector>

#include "telltale/catalogue/extension.hpp"

namespace telltale::catalogue {

struct Extension::Data {
    std::string words; ///< every text, ended by 00; never grows once names point into it
    std::vector<Choice> choices;
    std::vector<Field> fields;
    std::vector<OwnRow> rows;
    std::vector<OwnCode> codes;
};

} // namespace telltale::catalogue
