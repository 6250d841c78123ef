// SPDX-License-Identifier: Apache-2.0
#include "telltale/link/open.hpp"

#include "kinds.hpp"

namespace telltale::link {

std::unique_ptr<Link> make_link(const Executor& executor, const LinkName& name) {
    switch (name.kind) {
    case LinkKind::can:
        return make_socketcan(executor, name);
    case LinkKind::slcan:
        return make_serial_can(executor, name);
    case LinkKind::kline:
        return make_kline(executor, name);
    case LinkKind::doip:
        return make_doip(executor, name);
    case LinkKind::dump:
        return make_playback(executor, name);
    }
    return nullptr;
}

Result<std::unique_ptr<Link>> make_link(const Executor& executor, std::string_view name) {
    const auto read = parse_link_name(name);
    if (!read)
        return tl::unexpected<Error>(read.error());
    return make_link(executor, *read);
}

} // namespace telltale::link
