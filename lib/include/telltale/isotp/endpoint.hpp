// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <algorithm>

#include "telltale/isotp/receiver.hpp"
#include "telltale/isotp/sender.hpp"

namespace telltale::isotp {

/// A sender and a receiver of the same address, both at once: what one side of a diagnostic
/// conversation needs. Run as `Sender` is:
///
///     endpoint.feed(frame, time, outlet);       // each frame that came
///     endpoint.transmit(bytes, now);            // also from inside `outlet.message`
///     while (endpoint.next_wakeup() <= now)     // frames, timeouts
///         endpoint.poll(now, outlet);
///     // ... and again at endpoint.next_wakeup()
///
/// Frames that have come are fed before `poll` is called, so that a late reader is no timeout.
class TELLTALE_API Endpoint {
  public:
    explicit Endpoint(const Address& address, const Options& options = {})
        : address_(address), sender_(address, options), receiver_(address, options) {}

    const Address& address() const noexcept { return address_; }

    /// As `Sender::start`.
    Result<void> transmit(Bytes message, Time now) { return sender_.start(message, now); }
    void feed(const CanFrame& frame, Time now, Outlet& outlet) {
        sender_.feed(frame, now, outlet);
        receiver_.feed(frame, now, outlet);
    }
    /// Gives at most two frames: flow control and one of the message that is being sent.
    void poll(Time now, Outlet& outlet) {
        receiver_.poll(now, outlet);
        sender_.poll(now, outlet);
    }
    void sent(Ticket ticket, Time now, Outlet& outlet) {
        sender_.sent(ticket, now, outlet);
        receiver_.sent(ticket, now, outlet);
    }
    void ready(bool is_ready) noexcept { receiver_.ready(is_ready); }
    /// Gives up what is being sent and received.
    void cancel(Time now, Outlet& outlet) {
        sender_.cancel(now, outlet);
        receiver_.cancel(now, outlet);
    }

    bool sending() const noexcept { return sender_.busy(); }
    bool receiving() const noexcept { return receiver_.busy(); }
    Time next_wakeup() const noexcept {
        return std::min(sender_.next_wakeup(), receiver_.next_wakeup());
    }
    std::size_t single_frame_room() const noexcept { return sender_.single_frame_room(); }

  private:
    Address address_;
    Sender sender_;
    Receiver receiver_;
};

} // namespace telltale::isotp
