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

namespace telltale::isotp {

/// Addressing formats of ISO 15765-2:2016, 10.3. Normal and normal fixed carry no address byte in
/// the data; extended and mixed put one before the N_PCI.
enum class Addressing : std::uint8_t { normal, normal_fixed, extended, mixed };

struct ReassemblerOptions {
    Addressing addressing = Addressing::normal;
    std::size_t max_message = 65'536; ///< bytes; a first frame that claims more is a problem
    std::size_t max_open = 512;       ///< messages in reassembly at once
    std::size_t max_bytes = 4U << 20; ///< buffers of all open messages together
    Time n_cr = nanoseconds_a_second; ///< ISO 15765-2:2016, 9.7: N_Cr timeout
};

/// A whole message with where it came from. `bytes` stay valid until the next call of `feed`.
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

/// What a reassembler tells its user; each call gives views that die with the next `feed`.
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
/// whatever the frames claim. Allocates only when a session needs a larger buffer than any before
/// it.
class TELLTALE_API Reassembler {
  public:
    explicit Reassembler(const ReassemblerOptions& options = {});
    Reassembler(Reassembler&&) noexcept;
    Reassembler& operator=(Reassembler&&) noexcept;
    ~Reassembler();

    /// One frame. Remote and error frames are ignored. Calls the sink zero or more times.
    void feed(std::uint16_t line, const CanFrame& frame, Time time, Place place, Sink& sink);
    /// The input is over: each message still open is a `message_unfinished` problem.
    void finish(Sink& sink);
    /// Messages in reassembly now, and the bytes of their buffers.
    std::size_t open() const noexcept;
    std::size_t bytes() const noexcept;

  private:
    class Impl;
    std::unique_ptr<Impl> impl_;
};

} // namespace telltale::isotp
