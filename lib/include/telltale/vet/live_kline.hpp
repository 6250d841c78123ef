// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <functional>
#include <memory>
#include <string>
#include <string_view>

#include "telltale/base/export.hpp"
#include "telltale/link/kline_port.hpp"
#include "telltale/link/link.hpp"
#include "telltale/vet/kline.hpp"

namespace telltale::vet {

struct LiveKlineOptions {
    /// What is to be tried. What the reference's port cannot carry or time is left out.
    KlineOptions vetting;
    link::Timeout open_timeout = std::chrono::seconds(10);
};

/// Vets a K-line adapter over a link, against an ECU that it plays on another port of the line.
///
/// Link and port run on one executor, and this is used from there. They must outlive it.
class TELLTALE_API LiveKlineVetting {
  public:
    LiveKlineVetting(link::Link& tested, link::KlinePort& reference,
                     const LiveKlineOptions& options);
    ~LiveKlineVetting();
    LiveKlineVetting(const LiveKlineVetting&) = delete;
    LiveKlineVetting& operator=(const LiveKlineVetting&) = delete;

    std::function<void(double part)> on_progress;

    /// Opens both and vets. `done` is called once: false when they could not be opened (`trouble`
    /// says why), true when the report is there.
    void start(std::function<void(bool)> done);
    /// Ends it now: what was not tried is untested.
    void stop();
    const std::string& trouble() const noexcept;
    /// Checks, latencies and links. Valid after `start` has called `done`.
    const Report& report() const noexcept;

  private:
    class Impl;
    std::shared_ptr<Impl> impl_;
};

} // namespace telltale::vet
