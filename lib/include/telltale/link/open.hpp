// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <memory>
#include <string_view>

#include "telltale/base/export.hpp"
#include "telltale/base/result.hpp"
#include "telltale/link/link.hpp"
#include "telltale/link/name.hpp"

namespace telltale::link {

/// Makes the link that a name names (link/name.hpp has the grammar). Nothing is opened yet:
/// `async_open` does that. What the name says (bit rate, way to wake the line, listening only)
/// goes before what `async_open` asks for.
/// Errors: `bad_argument` from the name.
TELLTALE_API Result<std::unique_ptr<Link>> make_link(const Executor& executor,
                                                     std::string_view name);
TELLTALE_API std::unique_ptr<Link> make_link(const Executor& executor, const LinkName& name);

} // namespace telltale::link
