// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>
#include <memory>

#include "telltale/base/bytes.hpp"
#include "telltale/base/export.hpp"
#include "telltale/base/time.hpp"
#include "telltale/frame/can.hpp"
#include "telltale/isotp/address.hpp"
#include "telltale/isotp/options.hpp"

namespace telltale::isotp {

/// Receives messages from one address and answers with flow control (ISO 15765-2:2016, 9.3, 9.6 and
/// 9.8). It is run as `Sender` is: `feed` what came, `poll` when `next_wakeup()` is reached; frames
/// come from `poll` only. Its buffer grows to the longest message so far, at most `max_message`.
///
/// What ISO 15765-2:2016 says to ignore is ignored: lengths that a frame cannot have
/// (9.6.2, 9.6.3), reserved types, consecutive frames that nobody asked for (9.8.3). A single or
/// first frame in the midst of a message ends that message with N_UNEXP_PDU and is heeded.
class TELLTALE_API Receiver {
  public:
    explicit Receiver(const Address& address, const Options& options = {});

    /// A frame that came over the line; others than those of this address are not heeded.
    void feed(const CanFrame& frame, Time now, Outlet& outlet);
    /// Does what is due: gives at most one frame, or gives the message up.
    void poll(Time now, Outlet& outlet);
    /// The line took the frame of this ticket at `now`. N_Cr runs from here.
    void sent(Ticket ticket, Time now, Outlet& outlet);
    /// While not ready it asks a sender of a segmented message to wait, with `wft_max` frames at
    /// most, one each N_Br; then it gives the message up (N_WFT_OVRN).
    void ready(bool is_ready) noexcept { ready_ = is_ready; }
    /// Forgets what has come so far, with N_ERROR.
    void cancel(Time now, Outlet& outlet);

    /// Whether a message has begun and is not whole.
    bool busy() const noexcept { return state_ != State::idle && status_ != Status::overflow; }
    /// When to call `poll` next; `never` while nothing is due.
    Time next_wakeup() const noexcept;

  private:
    using Status = FlowControl::Status;
    enum class State : std::uint8_t {
        idle,
        due,        ///< flow control is to be given at `at_`, or a wait at `wait_at_`
        leaving,    ///< it was given and not yet confirmed; N_Ar ends at `at_`
        collecting, ///< consecutive frames; N_Cr ends at `at_`
    };

    Time advance(Time now) noexcept;
    Message about(Time end) const noexcept;
    void fail(Outcome outcome, Outlet& outlet);
    bool expired(Outlet& outlet, bool inclusive);
    void ask() noexcept;
    void left() noexcept;
    void give(Status status, Outlet& outlet);
    void on_single(const CanFrame& frame, Bytes data, Outlet& outlet);
    void on_first(const CanFrame& frame, Bytes data, Outlet& outlet);
    void on_consecutive(const CanFrame& frame, Bytes data, Outlet& outlet);

    Address address_;
    Options options_;
    State state_ = State::idle;
    Status status_ = Status::go_on; ///< of the flow control that is due or leaving
    bool ready_ = true;
    std::uint8_t sequence_ = 0;
    std::uint8_t frame_length_ = 0; ///< RX_DL
    std::uint8_t block_left_ = 0;
    std::uint32_t waits_ = 0;
    std::uint32_t frames_ = 0;
    Ticket ticket_ = 0;
    Time now_ = no_time;
    Time at_ = never;
    Time wait_at_ = never;
    Time begun_ = no_time;
    Time latest_ = no_time;
    std::size_t length_ = 0;
    std::size_t filled_ = 0;
    std::size_t capacity_ = 0;
    std::unique_ptr<std::uint8_t[]> buffer_;
    std::array<std::uint8_t, 64> frame_{};
};

} // namespace telltale::isotp
