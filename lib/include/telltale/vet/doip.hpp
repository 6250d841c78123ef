// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <cstddef>
#include <cstdint>
#include <memory>
#include <string_view>

#include "telltale/base/bytes.hpp"
#include "telltale/base/export.hpp"
#include "telltale/base/time.hpp"
#include "telltale/vet/report.hpp"
#include "telltale/vet/vetting.hpp"

namespace telltale::vet {

/// What is to be tried. It is copied.
struct DoipVetOptions {
    std::uint16_t tester = 0x0E00; ///< logical address that is activated
    std::uint16_t target = 0;      ///< of the ECU that the far end plays
    std::size_t longest = 4095;    ///< message that the far end takes and gives, in bytes
    /// Of it all, ns; every length goes once, however long that takes.
    Time duration = 60 * nanoseconds_a_second;
    std::uint64_t seed = 1; ///< the same one tries the same things in the same order
};

/// What vetting a DoIP entity wants done. Nothing here may call it. Views die when the call
/// returns. Connections are numbered from 0, below `DoipVetting::lines`.
class TELLTALE_API DoipVetOutlet {
  public:
    virtual ~DoipVetOutlet() = default;
    /// A connection over TCP to the entity, of this number; `DoipVetting::connected` follows.
    virtual void connect(unsigned line) = 0;
    /// Bytes for an open connection, in their order; what is written to one that is closed by now
    /// is left out.
    virtual void write(unsigned line, Bytes bytes) = 0;
    /// Closes it; `DoipVetting::closed` does not follow.
    virtual void close(unsigned line) = 0;
    /// Asks for the entity's status by a datagram; `DoipVetting::status` may follow.
    virtual void ask_status() {}
    /// The ECU that the far end plays sends a message to the tester; `DoipVetting::answered`
    /// follows.
    virtual void answer(Bytes message) = 0;
    /// For those who wait: what is being done, and how much of the whole is.
    virtual void progress(std::string_view /*what*/, double /*part*/) {}
};

/// Vets a DoIP entity that is a gateway to an ECU (ISO 13400-2): known messages go in at one side,
/// and what comes out at the other is held against them; its acknowledgements, its refusals, its
/// alive check. The ECU is played at the far end. No I/O. Memory is bounded whatever comes.
/// It is part of telltale::vet-live, since the codec of DoIP is that of the links.
/// Times, threads, moves and what comes too late: as `Vetting`.
class TELLTALE_API DoipVetting {
  public:
    static constexpr unsigned lines = 2; ///< connections at once; each `line` is below it

    DoipVetting(const DoipVetOptions& options, Time now);
    ~DoipVetting();
    DoipVetting(DoipVetting&&) noexcept;
    DoipVetting& operator=(DoipVetting&&) noexcept;

    /// There is a connection, or there could be none.
    void connected(unsigned line, bool fine, Time now);
    /// Bytes from the entity.
    void read(unsigned line, Bytes bytes, Time now);
    /// The entity has closed the connection.
    void closed(unsigned line, Time now);
    /// Payload of the entity's status.
    void status(Bytes payload, Time now);
    /// The far end got a message for the ECU.
    void heard(Bytes message, Time now);
    /// The far end has sent the message that it was given, or could not.
    void answered(bool fine, Time now);
    /// The far end is not there any more: that ends it.
    void gone(Time now);

    /// As those of `Vetting`.
    void poll(Time now, DoipVetOutlet& outlet);
    Time next_wakeup() const noexcept;
    bool done() const noexcept;
    /// The end of it all: what was not tried is untested.
    void stop(Time now);
    /// Checks, latencies and notes; the rest is for the caller to fill in.
    const Report& report() const noexcept;

  private:
    class Impl;
    std::unique_ptr<Impl> impl_;
};

} // namespace telltale::vet
