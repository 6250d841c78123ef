// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <cstddef>
#include <cstdint>
#include <memory>

#include "telltale/base/export.hpp"
#include "telltale/frame/can.hpp"
#include "telltale/frame/filter.hpp"
#include "telltale/isotp/reassembler.hpp"
#include "telltale/message/message.hpp"

namespace telltale::message {

/// A whole message with its meaning and its place. Views die when the call that gave it returns.
struct Said {
    Header header;
    bool has_id = false; ///< false: the dump gave no identifier
    CanId id;            ///< when `has_id`
    bool has_line = false;
    std::uint16_t line = 0; ///< interface, when `has_line`
    std::uint32_t ecu = 0;  ///< index of the speaker (responses) among those seen, from 0;
                            ///< not set for requests and in `problem`
    Time time = no_time;
    Time end_time = no_time;
    Place place;
    std::uint32_t frames = 1;
    Bytes bytes;
};

/// What a stream tells its user.
class TELLTALE_API Listener {
  public:
    virtual ~Listener() = default;
    /// A message. Return false when its values are of no interest: then only `end` follows. What
    /// the message tells of its ECU is remembered all the same.
    virtual bool begin(const Said& said) = 0;
    virtual void value(const Said& said, const Value& value) = 0;
    virtual void dtc(const Said& said, Dtc code) = 0;
    /// A code in three bytes (service 19 of OBDonUDS).
    virtual void dtc3(const Said&, const DtcRecord&) {}
    /// Something wrong inside this message, after the values that came before it.
    virtual void message_problem(const Said& said, const Problem& problem) = 0;
    virtual void end(const Said& said) = 0;
    /// Something wrong below the messages, or with a message whose header cannot be read;
    /// `about` has the identifier and what bytes there are.
    virtual void problem(const Problem& problem, const Said& about) = 0;
    virtual void flow_control(const isotp::FlowControl&, const Said& /*about*/) {}
    /// Internal; asked for after `begin`.
    virtual detail::PlainSink* plain() { return nullptr; }
};

struct StreamOptions {
    isotp::ReassemblerOptions isotp{};
    /// Which CAN identifiers carry diagnostics.
    CanFilter filter = CanFilter::diagnostic();
    /// ECUs kept apart (0 counts as 1). The last place is for all that find no place of their own;
    /// nothing is remembered there from one message to the next.
    std::size_t max_ecus = 256;
    /// Parameters beside the standard's; null: none. Must outlive the stream.
    const catalogue::Extension* extension = nullptr;
};

/// From frames to what was said: reassembly, headers, decoding with each ECU's own context.
/// No I/O, bounded memory, no allocation a frame in steady state. Not safe for two threads at once.
class TELLTALE_API Stream {
  public:
    explicit Stream(const StreamOptions& options = {});
    Stream(Stream&&) noexcept;
    Stream& operator=(Stream&&) noexcept;
    ~Stream();

    /// One CAN frame of an interface.
    void can(std::uint16_t line, const CanFrame& frame, Time time, Place place, Listener& listener);
    /// A whole message that came without identifier.
    void message(Bytes bytes, Time time, Place place, Listener& listener);
    /// A whole message of a line that names its speakers otherwise than CAN does: `id` keeps them
    /// apart, and is its ECU's for requests to one as well.
    void message(std::uint16_t line, CanId id, Bytes bytes, Time time, Place place,
                 Listener& listener);
    /// One frame of a K-line (ISO 9141-2, ISO 14230-2 and -4), header and checksum included.
    /// Speakers have the identifier that ISO 15765-4 gives the same addresses in 29 bits: ECU 10 is
    /// 18DAF110, a request to all is 18DB33F1; without addresses they have none. What an ECU says
    /// in several messages (codes three at a time, service 09 in numbered parts) is told as one, as
    /// `Header::pre_can` describes it, when the last part is there, the next request comes, the ECU
    /// says something else or pauses for more than 0.3 s, or the input is over. Initialisation and
    /// the communication services (81 to 83) are passed over.
    /// Problems: those of `parse_kline`, `part_missing`.
    void kline(std::uint16_t line, Bytes frame, Time time, Place place, Listener& listener);
    /// The same for J1850 (SAE J1979 headers), CRC included. Other traffic is passed over.
    void j1850(std::uint16_t line, Bytes frame, Time time, Place place, Listener& listener);
    /// The input is over.
    void finish(Listener& listener);

    /// ECUs seen so far, and what each said it supports. `ecu` below `ecus()`.
    std::size_t ecus() const noexcept;
    const EcuContext& context(std::uint32_t ecu) const noexcept;

  private:
    class Impl;
    std::unique_ptr<Impl> impl_;
};

} // namespace telltale::message
