// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <memory>

#include "telltale/link/link.hpp"
#include "telltale/link/name.hpp"

namespace telltale::link {

std::unique_ptr<Link> make_socketcan(const Executor& executor, const LinkName& name);
std::unique_ptr<Link> make_serial_can(const Executor& executor, const LinkName& name);
std::unique_ptr<Link> make_kline(const Executor& executor, const LinkName& name);
std::unique_ptr<Link> make_doip(const Executor& executor, const LinkName& name);
std::unique_ptr<Link> make_playback(const Executor& executor, const LinkName& name);

} // namespace telltale::link
