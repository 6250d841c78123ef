// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <cstddef>
#include <memory>
#include <utility>

#include "telltale/link/link.hpp"

namespace telltale::link {

struct PairOptions {
    LineKind line = LineKind::can;
    bool fd = true;          ///< CAN only
    std::size_t room = 4096; ///< pieces that wait at each end; more are lost, and counted
};

/// Two links in this process: what one sends the other receives, at once and in order. Each lives
/// on its own executor, which may be of another thread. A piece sent while the other end is not
/// open is lost, as on a line on which nobody listens; K-line and DoIP ends open at once, without
/// initialisation or activation. When one end closes, the other's receive waits on.
TELLTALE_API std::pair<std::unique_ptr<Link>, std::unique_ptr<Link>>
in_process_pair(const Executor& first, const Executor& second, const PairOptions& options = {});

} // namespace telltale::link
