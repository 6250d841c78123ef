// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>
#include <memory>

#include "telltale/base/bytes.hpp"
#include "telltale/base/export.hpp"
#include "telltale/base/result.hpp"
#include "telltale/base/time.hpp"
#include "telltale/frame/can.hpp"
#include "telltale/isotp/address.hpp"
#include "telltale/isotp/options.hpp"

namespace telltale::isotp {

/// Sends messages to one address, one at a time (ISO 15765-2:2016, 9.3 and 9.6). It does no I/O and
/// has no clock: it is told frames and times and gives frames. Times never go back; an earlier one,
/// or `no_time`, counts as the latest. Copies the message into a buffer of its own, which is
/// kept: it allocates only for a message longer than any before.
///
/// Whoever runs it calls `poll` whenever `next_wakeup()` is reached, and after each other call
/// tells it first what the line brought until then, and does not forget that `next_wakeup` may
/// have changed:
///
///     sender.start(bytes, now);
///     while (sender.next_wakeup() <= now)
///         sender.poll(now, outlet);
///
/// Flow control that is not for it, not expected, or cut, is passed over. No message is begun
/// twice.
class TELLTALE_API Sender {
  public:
    explicit Sender(const Address& address, const Options& options = {});

    /// Takes a message to send; its first frame comes with the next `poll`.
    /// Errors: `bad_argument` (no bytes, busy), `too_long` (above `max_message`; functional: above
    /// a single frame).
    Result<void> start(Bytes message, Time now);
    /// A frame that came over the line; flow control for this sender is heeded, others are not.
    void feed(const CanFrame& frame, Time now, Outlet& outlet);
    /// Does what is due: gives at most one frame, or gives the message up.
    void poll(Time now, Outlet& outlet);
    /// The line took the frame of this ticket at `now`. STmin and N_Bs run from here. Unknown
    /// tickets are passed over.
    void sent(Ticket ticket, Time now, Outlet& outlet);
    /// Gives up what is being sent, with N_ERROR.
    void cancel(Time now, Outlet& outlet);

    bool busy() const noexcept { return state_ != State::idle; }
    /// When to call `poll` next; `never` while nothing is due.
    Time next_wakeup() const noexcept;
    /// The most bytes that go into a single frame.
    std::size_t single_frame_room() const noexcept;

  private:
    enum class State : std::uint8_t {
        idle,
        due,     ///< a frame is to be given at `at_`
        leaving, ///< a frame was given and not yet confirmed; N_As ends at `at_`
        waiting, ///< for flow control; N_Bs ends at `at_`
    };
    enum class Kind : std::uint8_t { single, first, consecutive };

    Time advance(Time now) noexcept;
    void give(Outlet& outlet);
    void left(Outlet& outlet);
    void finish(Outcome outcome, Outlet& outlet);
    void on_flow(Bytes data, Outlet& outlet);
    bool block_ends() const noexcept;

    Address address_;
    Options options_;
    State state_ = State::idle;
    Kind kind_ = Kind::single;
    bool any_consecutive_ = false;
    std::uint8_t sequence_ = 0;
    std::uint8_t block_size_ = 0;
    std::uint8_t block_left_ = 0;
    std::uint32_t waits_ = 0;
    Ticket ticket_ = 0;
    Time now_ = no_time;
    Time at_ = never;
    Time gap_ = 0;
    Time latest_consecutive_ = no_time;
    std::size_t length_ = 0;
    std::size_t given_ = 0;
    std::size_t capacity_ = 0;
    std::unique_ptr<std::uint8_t[]> buffer_;
    std::array<std::uint8_t, 64> frame_{};
};

} // namespace telltale::isotp
