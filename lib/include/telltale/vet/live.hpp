// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <functional>

#include "telltale/base/export.hpp"
#include "telltale/link/link.hpp"
#include "telltale/vet/live_base.hpp"
#include "telltale/vet/vetting.hpp"

namespace telltale::vet {

struct LiveOptions {
    /// What is to be tried. The driver fills in `ends` from the links, and `bit_rate` where it is
    /// not given and a link says it.
    VettingOptions vetting;
    link::OpenSettings open{};
    link::Timeout open_timeout = std::chrono::seconds(15);
};

/// Vets a CAN adapter over two links: sends what vetting wants sent, tells it what both receive,
/// opens the adapter again when it went away.
///
/// Both links run on one executor, and this is used from there. They must outlive it.
class TELLTALE_API LiveVetting final : public LiveBase {
  public:
    LiveVetting(link::Link& tested, link::Link& reference, const LiveOptions& options);

    /// The adapter is to be taken off the computer and put back (`VettingOptions::unplugs`).
    std::function<void()> on_unplug;

  private:
    class Impl;
};

} // namespace telltale::vet
