// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <cstdint>
#include <functional>
#include <memory>
#include <string>

#include "telltale/base/export.hpp"
#include "telltale/client/finder.hpp"
#include "telltale/client/session.hpp"
#include "telltale/link/link.hpp"

namespace telltale::client {

struct DriverOptions {
    link::OpenSettings open{};
    link::Timeout open_timeout = std::chrono::seconds(15);
    /// After the adapter went away: from one attempt to open it again to the next.
    std::chrono::milliseconds reopen_every{1000};
};

/// Runs a session on a link: sends what the session wants to send, tells it what the link receives,
/// wakes it, sets the line up as its tasks wish, and opens the link again when it went away.
///
/// As the link itself, it is used from one thread at a time (the link's executor). Handlers are
/// called from there. Link and session must outlive it; destroying it cancels the link's
/// operations.
class TELLTALE_API Driver {
  public:
    Driver(link::Link& link, Session& session, const DriverOptions& options = {});
    ~Driver();
    Driver(const Driver&) = delete;
    Driver& operator=(const Driver&) = delete;

    /// Each piece, before the session sees it; of those sent, the time when they were handed over.
    /// Times never go back.
    std::function<void(const link::Traffic&, Time, bool sent)> on_traffic;
    /// The line is up, or went away (then `why` says it in a sentence). The driver goes on trying.
    std::function<void(bool up, const std::string& why)> on_line;

    /// Opens the link if need be and runs the task to its end. `done` is called once: true when the
    /// task is over, false when the link could not be opened at all (`trouble` says why) or `stop`
    /// was called. The task must live until then.
    void run(Task& task, std::function<void(bool)> done);
    /// Ends the task that runs; the line stays open.
    void stop();
    /// Why the link could not be opened, or went away; empty: it is fine.
    const std::string& trouble() const noexcept;
    Session& session() noexcept;

  private:
    class Impl;
    std::shared_ptr<Impl> impl_;
};

/// What a finder can do with this link: bit rates are tried when the link sets them and none is
/// given.
TELLTALE_API FinderOptions finder_options(const link::Link& link, bool bit_rate_is_given);

} // namespace telltale::client
