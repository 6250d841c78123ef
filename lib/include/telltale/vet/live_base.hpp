// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <functional>
#include <memory>
#include <string>
#include <string_view>

#include "telltale/base/export.hpp"
#include "telltale/vet/report.hpp"

namespace telltale::vet {

/// What all vetting over links has in common: it is started once, tells how far it is, and has a
/// report in the end.
///
/// The links run on one executor, and this is used from there. They must outlive it.
class TELLTALE_API LiveBase {
  public:
    LiveBase(const LiveBase&) = delete;
    LiveBase& operator=(const LiveBase&) = delete;

    /// For those who wait: what is being done, and how much of the whole is, 0 to 1.
    std::function<void(std::string_view what, double part)> on_progress;

    /// Opens the links and vets. `done` is called once: false when nothing could be tried
    /// (`trouble` says why), true when the report is there.
    void start(std::function<void(bool)> done);
    /// Ends it: what was not tried is untested, and `done` is called. Before the links are open
    /// there is no report. May be called from `on_progress`.
    void stop();
    const std::string& trouble() const noexcept;
    /// Checks, latencies, notes and links. Valid after `start` has called `done`.
    const Report& report() const noexcept;

  protected:
    class Work;
    explicit LiveBase(std::shared_ptr<Work> work);
    ~LiveBase();

  private:
    std::shared_ptr<Work> work_;
};

} // namespace telltale::vet
