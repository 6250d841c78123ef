// SPDX-License-Identifier: Apache-2.0
// The handle of an extension, which whatever decodes with it shares. Internal: nothing here is
// installed.
#pragma once

#include <memory>

#include "telltale/catalogue/extension.hpp"

namespace telltale::c {
/// Null: none.
using SharedExtension = std::shared_ptr<const catalogue::Extension>;
} // namespace telltale::c

struct telltale_extension {
    telltale::c::SharedExtension extension; ///< never null
};
