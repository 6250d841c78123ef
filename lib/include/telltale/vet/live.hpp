// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <functional>
#include <memory>
#include <string>
#include <string_view>

#include "telltale/base/export.hpp"
#include "telltale/link/link.hpp"
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
class TELLTALE_API LiveVetting {
  public:
    LiveVetting(link::Link& tested, link::Link& reference, const LiveOptions& options);
    ~LiveVetting();
    LiveVetting(const LiveVetting&) = delete;
    LiveVetting& operator=(const LiveVetting&) = delete;

    std::function<void(std::string_view what, double part)> on_progress;
    /// The adapter is to be taken off the computer and put back (`VettingOptions::unplugs`).
    std::function<void()> on_unplug;

    /// Opens both links and vets. `done` is called once: false when they could not be opened
    /// (`trouble` says why), true when the report is there.
    void start(std::function<void(bool)> done);
    /// Ends it now: what was not tried is untested.
    void stop();
    const std::string& trouble() const noexcept;
    /// Checks, latencies, notes and links. Valid after `start` has called `done`.
    const Report& report() const noexcept;

  private:
    class Impl;
    std::shared_ptr<Impl> impl_;
};

} // namespace telltale::vet
