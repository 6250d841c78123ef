// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <cstddef>
#include <cstdint>
#include <memory>

#include "telltale/base/bytes.hpp"
#include "telltale/base/export.hpp"
#include "telltale/base/problem.hpp"
#include "telltale/base/time.hpp"
#include "telltale/frame/can.hpp"
#include "telltale/isotp/address.hpp"

namespace telltale::isotp {

struct ReassemblerOptions {
    Addressing addressing = Addressing::normal;
    std::size_t max_message = 65'536; ///< bytes; a first frame that claims more is a problem
    std::size_t max_open = 512;       ///< messages in reassembly at once (0 counts as 1)
    std::size_t max_bytes = 4U << 20; ///< buffers of all messages together, in use or kept
    Time n_cr = nanoseconds_a_second; ///< ISO 15765-2:2016, 9.8: N_Cr timeout
};

/// A whole message with where it came from. `bytes` stay valid until the next call of `feed`.
/// As the `about` of a problem: the message that suffered as far as it came; or, where there is
/// none, the frame itself, `bytes` being its data from the N_PCI on.
struct Message {
    std::uint16_t line = 0;
    CanId id;
    bool has_address = false; ///< extended or mixed addressing
    std::uint8_t address = 0; ///< N_TA or N_AE, when `has_address`
    Time time = no_time;      ///< of its first frame
    Time end_time = no_time;  ///< of its last frame
    Place place;              ///< of its first frame
    std::uint32_t frames = 1; ///< how many frames carried it
    Bytes bytes;
};

/// A flow control frame (ISO 15765-2:2016, 9.6.5).
struct FlowControl {
    enum class Status : std::uint8_t { go_on = 0, wait = 1, overflow = 2 };
    Status status = Status::go_on;
    std::uint8_t block_size = 0;
    std::uint8_t st_min = 0; ///< as sent: 00 to 7F ms, F1 to F9 hundreds of microseconds
};

/// What a reassembler tells its user; each call gives views that die when it returns, except that
/// the bytes of a whole message live until the next `feed`. A sink never feeds its reassembler.
class TELLTALE_API Sink {
  public:
    virtual ~Sink() = default;
    virtual void message(const Message& message) = 0;
    /// `about`: line, identifier and what there is of the message that suffered.
    virtual void problem(const Problem& problem, const Message& about) = 0;
    virtual void flow_control(const FlowControl&, const Message& /*about*/) {}
};

/// Puts ISO 15765-2 messages together from frames that were overheard. It never sends; it holds the
/// sessions of many ECUs apart by line, identifier and address byte. Bounded by its options
/// whatever the frames claim; the bounds are checked before memory is taken. The table of sessions
/// is made once, and buffers are kept for the next message, so that a feed allocates only when a
/// message is longer than any before it in its place of the table.
///
/// A message is given only when each of its frames came, once, in order and in time. Whatever else
/// comes is a problem, told once for the message that it broke:
/// - After a lost, repeated, late or cut consecutive frame, or an overflow, or a first frame that
/// is
///   over a bound or not valid, the rest of that message passes in silence, until the identifier
///   begins another message. So do consecutive frames whose first frame was never seen, after the
///   first of them is told.
/// - A single or first frame in the middle of a message ends that message (`message_interrupted`,
///   ISO 15765-2:2016, 9.8.3), even if the frame itself is not valid: the receiver of the standard
///   passes over such a frame, but consecutive frames of two messages could then be joined.
/// - Frames of a reserved type and flow control do not disturb a message on the same identifier.
/// - N_Cr runs from the frame before, or from the flow control that the other side sent since
///   (ISO 15765-2:2016, 9.8). Only where both times are known.
/// - Flow control is paired with the message by `partner_of` the identifier and the same address
///   byte; in extended addressing, where the address byte differs, only when no more than one
///   message is open on that identifier.
/// - When `max_open` or `max_bytes` is reached, the open message that has waited longest is given
///   up (`too_many_open`).
class TELLTALE_API Reassembler {
  public:
    explicit Reassembler(const ReassemblerOptions& options = {});
    Reassembler(Reassembler&&) noexcept;
    Reassembler& operator=(Reassembler&&) noexcept;
    ~Reassembler();

    /// One frame. Remote and error frames are ignored. Calls the sink zero or more times.
    /// Problems: those under "ISO 15765-2" in ProblemCode, and `bad_length`.
    void feed(std::uint16_t line, const CanFrame& frame, Time time, Place place, Sink& sink);
    /// The input is over: each message still open is a `message_unfinished` problem, the one that
    /// has waited longest first. Afterwards the reassembler is as new.
    void finish(Sink& sink);
    /// Messages in reassembly now, and the bytes of all buffers, in use or kept.
    std::size_t open() const noexcept;
    std::size_t bytes() const noexcept;

  private:
    class Impl;
    std::unique_ptr<Impl> impl_;
};

} // namespace telltale::isotp
