// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <cstddef>
#include <cstdint>
#include <limits>
#include <optional>
#include <string_view>

#include "telltale/base/export.hpp"
#include "telltale/base/time.hpp"
#include "telltale/frame/can.hpp"
#include "telltale/isotp/reassembler.hpp"

namespace telltale::isotp {

/// The moment that never comes: nothing to wake up for.
inline constexpr Time never = std::numeric_limits<Time>::max();

/// How a transfer ended, as ISO 15765-2:2016, 8.3.7 (N_Result) names it; `word` gives its name
/// there.
enum class Outcome : std::uint8_t {
    ok,              ///< N_OK
    timeout_a,       ///< N_TIMEOUT_A: the line did not take a frame in time (N_As, N_Ar)
    timeout_bs,      ///< N_TIMEOUT_Bs: no flow control came
    timeout_cr,      ///< N_TIMEOUT_Cr: no consecutive frame came
    wrong_sn,        ///< N_WRONG_SN: a consecutive frame was lost, doubled or changed places
    invalid_fs,      ///< N_INVALID_FS: flow control of a reserved status
    unexpected_pdu,  ///< N_UNEXP_PDU: another message began in the midst of one
    wait_overrun,    ///< N_WFT_OVRN: more waiting than is allowed
    buffer_overflow, ///< N_BUFFER_OVFLW: a message longer than the receiver has room for
    error,           ///< N_ERROR: given up by the user
};
TELLTALE_API std::string_view word(Outcome outcome) noexcept;

/// The time that STmin of a flow control asks for (ISO 15765-2:2016, 9.6.5.4): 00 to 7F whole
/// milliseconds, F1 to F9 100 to 900 microseconds; reserved values count as 7F.
constexpr Time st_min_time(std::uint8_t st_min) {
    if (st_min >= 0xF1 && st_min <= 0xF9)
        return (st_min - 0xF0) * (nanoseconds_a_millisecond / 10);
    return (st_min <= 0x7F ? st_min : 0x7F) * nanoseconds_a_millisecond;
}

/// The least STmin that is no shorter than `time`; 7F for all above 127 ms.
constexpr std::uint8_t st_min_code(Time time) {
    constexpr Time step = nanoseconds_a_millisecond / 10;
    if (time <= 0)
        return 0;
    if (time <= 9 * step)
        return static_cast<std::uint8_t>(0xF0 + (time + step - 1) / step);
    if (time > 127 * nanoseconds_a_millisecond)
        return 0x7F;
    return static_cast<std::uint8_t>((time + nanoseconds_a_millisecond - 1) /
                                     nanoseconds_a_millisecond);
}

/// The times of ISO 15765-2:2016, 9.7. N_Cs has no timeout: a sender here never waits longer than
/// STmin and `Options::least_gap` ask for.
struct Timing {
    Time n_as = 25 * nanoseconds_a_millisecond;  ///< until the line has taken a frame: sender
    Time n_ar = 25 * nanoseconds_a_millisecond;  ///< the same: flow control of the receiver
    Time n_bs = 75 * nanoseconds_a_millisecond;  ///< until flow control
    Time n_br = 25 * nanoseconds_a_millisecond;  ///< receiver not ready: until it sends a wait
    Time n_cr = 150 * nanoseconds_a_millisecond; ///< until a consecutive frame

    /// As it stands: what ISO 15765-4 prescribes for emissions-related systems (from memory).
    /// `general`: the timeouts of ISO 15765-2:2016, table 16, one second each.
    static constexpr Timing general() {
        constexpr Time second = nanoseconds_a_second;
        return {second, second, second, second / 10, second};
    }
};

/// What a sender, a receiver and an endpoint keep to; the defaults are those of ISO 15765-4.
struct Options {
    Timing timing;
    // frames
    std::optional<std::uint8_t> padding = 0xCC; ///< fills classic and short FD frames to 8 bytes;
                                                ///< none: they are as long as they have to be.
                                                ///< Above 8 bytes CAN FD asks for padding: CC then
    bool fd = false;
    bool bit_rate_switch = false; ///< FD: BRS
    std::uint8_t tx_dl = 8; ///< FD: the longest frame to send, 8 to 64 (others: the next below)
    // sender
    bool functional = false;      ///< to all: single frames only (ISO 15765-2:2016, 8.3.3)
    std::uint16_t max_waits = 10; ///< flow control in a row that says wait, before giving up
                                  ///< (not of the standard: an end to waiting)
    Time least_gap = 0;           ///< between consecutive frames, even where STmin asks for less
    // receiver
    std::uint8_t block_size = 0;        ///< BS to ask for; 0: no more flow control
    std::uint8_t st_min = 0;            ///< STmin to ask for, as coded in the frame
    std::uint16_t wft_max = 0;          ///< N_WFTmax: wait frames in a row while not ready
    Time flow_control_delay = 0;        ///< until flow control is sent (a slow receiver)
    std::optional<CanId> functional_rx; ///< hears single frames on this identifier too
    std::uint8_t functional_byte = 0;   ///< their address byte, in extended and mixed addressing
    // both
    std::size_t max_message = 4095; ///< bytes, up to 2^32 - 1; a longer one is not sent, and
                                    ///< answered with overflow
    bool confirmed = false;         ///< the driver tells when the line has taken a frame (`sent`);
                                    ///< else each counts as sent when it is given
};

/// Names a frame that was given, for `sent`.
using Ticket = std::uint32_t;

/// Where a sender, a receiver or an endpoint puts what it has to give. Views die when a call
/// returns. From inside a call `transmit`, `start`, `ready` and `sent` may be used, nothing else of
/// the one that calls.
class TELLTALE_API Outlet {
  public:
    virtual ~Outlet() = default;
    /// To be put on the line; in `confirmed` mode `sent(ticket, time)` is to follow.
    virtual void frame(const CanFrame& frame, Ticket ticket) = 0;
    /// A message has come whole (N_USData.indication). Its address byte is the one received; line
    /// and place are not set.
    virtual void message(const Message&) {}
    /// A first frame has come, of a message of `length` bytes (N_USData_FF.indication).
    virtual void begun(const Message& /*so_far*/, std::size_t /*length*/) {}
    /// A message that had begun will not come (N_USData.indication with a result).
    virtual void receive_failed(Outcome, const Message& /*so_far*/, Time) {}
    /// What was given to `transmit` is sent, or will not be (N_USData.confirm).
    virtual void transmitted(Outcome, Time) {}
};

} // namespace telltale::isotp
