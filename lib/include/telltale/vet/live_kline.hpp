// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "telltale/base/export.hpp"
#include "telltale/link/kline_port.hpp"
#include "telltale/link/link.hpp"
#include "telltale/vet/kline.hpp"
#include "telltale/vet/live_base.hpp"

namespace telltale::vet {

struct LiveKlineOptions {
    /// What is to be tried. What the reference's port cannot carry or time is left out.
    KlineOptions vetting;
    link::Timeout open_timeout = std::chrono::seconds(10);
};

/// Vets a K-line adapter over a link, against an ECU that it plays on another port of the line.
///
/// Link and port run on one executor, and this is used from there. They must outlive it.
class TELLTALE_API LiveKlineVetting final : public LiveBase {
  public:
    LiveKlineVetting(link::Link& tested, link::KlinePort& reference,
                     const LiveKlineOptions& options);

  private:
    class Impl;
};

} // namespace telltale::vet
