// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <cstdint>
#include <optional>
#include <span>

#include "telltale/base/export.hpp"
#include "telltale/base/time.hpp"
#include "telltale/client/conversation.hpp"
#include "telltale/client/line.hpp"

namespace telltale::client {

/// How a line is to be set up anew. What only concerns identifiers a session does by itself; for
/// the rest it needs whoever drives the link.
struct LineWish {
    Line line;               ///< CAN: `bit_rate` 0 is "as it stands"
    bool kline_fast = false; ///< K-line: fast initialisation (ISO 14230-4), else at 5 baud
};

/// What became of a wish.
struct LineAnswer {
    bool up = false;
    Line line; ///< as it is now: K-line has found out its dialect, CAN its bit rate
    /// DoIP: the entity that was activated.
    std::optional<std::uint16_t> entity;
};

/// Something to be done with a vehicle, request by request.
class TELLTALE_API Task {
  public:
    virtual ~Task() = default;
    /// What is known of the ECUs by now. Called before `next`.
    virtual void learn(std::span<const EcuNotes> /*notes*/) {}
    /// What to ask now; false: nothing, until `wake_at` or for good. Views in `request` stay valid
    /// until `told`.
    virtual bool next(Time now, Request& request) = 0;
    /// What came of it. Called once for each request that `next` gave.
    virtual void told(const Exchange& exchange, Time now) = 0;
    virtual bool done() const = 0;
    /// When `next` may have something again; no_time: not known.
    virtual Time wake_at() const { return no_time; }
    /// A line that is wanted before `next`; null: as it is. Answered by `granted`.
    virtual const LineWish* wish() const { return nullptr; }
    virtual void granted(const LineAnswer&, Time /*now*/) {}
};

/// Runs one task after the other in a conversation. Driven as a conversation is, and besides told
/// when the adapter is unplugged and back: what was open then is told the task as `Outcome::cut`,
/// and nothing is asked until the line is back.
class TELLTALE_API Session {
  public:
    explicit Session(const Line& line = {});
    Session(const Line& line, const Timing& timing);

    /// Begins a task, which must live until it is done or another one is begun. An exchange that
    /// is open goes on to its end first, untold.
    void run(Task& task, Time now);
    /// Leaves the task.
    void stop() noexcept { task_ = nullptr; }
    bool done() const noexcept { return task_ == nullptr || (task_->done() && talk_.idle()); }

    void receive(const link::Traffic& traffic, Time now);
    bool to_send(link::Traffic& piece, Time now);
    void sent(Time now);
    void send_failed(Time now);
    Time wake_at() const noexcept;
    void wake(Time now);

    /// The adapter is gone.
    void unplugged(Time now);
    /// It is back, and the line set up as it was.
    void plugged(Time now);
    bool is_plugged() const noexcept { return plugged_; }

    /// What the line has to be set up to; null: nothing is wanted. Whoever drives the link answers.
    const LineWish* wish() const noexcept { return waits_for_line_ ? &wish_ : nullptr; }
    void granted(const LineAnswer& answer, Time now);

    /// Timing for the lines that tasks wish for, in place of `timing_of`.
    void set_timing(const Timing& timing) { timing_ = timing; }
    const Conversation& conversation() const noexcept { return talk_; }

  private:
    void go_on(Time now);
    Timing timing_for(const Line& line) const;

    Conversation talk_;
    std::optional<Timing> timing_;
    Task* task_ = nullptr;
    Task* asker_ = nullptr; ///< whose exchange is open
    bool plugged_ = true;
    bool waits_for_line_ = false;
    LineWish wish_;
    Time task_wake_ = no_time;
};

} // namespace telltale::client
