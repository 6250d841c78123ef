// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <cstddef>
#include <cstdint>
#include <memory>
#include <string_view>
#include <vector>

#include "telltale/base/bytes.hpp"
#include "telltale/base/export.hpp"
#include "telltale/base/time.hpp"
#include "telltale/link/tls.hpp"
#include "telltale/vet/report.hpp"
#include "telltale/vet/vetting.hpp"

namespace telltale::vet {

/// What is to be tried. It is copied.
struct DoipVetOptions {
    std::uint16_t tester = 0x0E00; ///< logical address that is activated
    std::uint16_t target = 0;      ///< of the ECU that the far end plays
    std::size_t longest = 4095;    ///< message that the far end takes and gives, in bytes
    /// Logical addresses of further ECUs that the far end plays, `most_ecus` with that of `target`:
    /// they answer to functional requests as well.
    std::vector<std::uint16_t> others;
    static constexpr std::size_t most_ecus = 16;
    /// Logical address of functional requests. 0: E000, that of OBD; an entity that does not know
    /// it is then not to blame, unless there are `others`.
    std::uint16_t functional = 0;
    bool tls = false;        ///< the entity is to be spoken to over TLS
    bool unverified = false; ///< with TLS: whatever its certificate says
    /// Of it all, ns; every length goes once, however long that takes.
    Time duration = 60 * nanoseconds_a_second;
    std::uint64_t seed = 1; ///< the same one tries the same things in the same order
};

/// How a connection to the entity is made.
enum class DoipConnection : std::uint8_t {
    usual,   ///< over TCP, with TLS where `DoipVetOptions::tls` says so
    plain,   ///< without TLS, to the same port
    old_tls, ///< with TLS 1.0 or 1.1, whatever its certificate says
};

/// What vetting a DoIP entity wants done. Nothing here may call it. Views die when the call
/// returns. Connections are numbered from 0, below `DoipVetting::lines`.
class TELLTALE_API DoipVetOutlet {
  public:
    virtual ~DoipVetOutlet() = default;
    /// A connection to the entity, of this number; `DoipVetting::connected` follows.
    virtual void connect(unsigned line, DoipConnection how) = 0;
    /// Bytes for an open connection, in their order; what is written to one that is closed by now
    /// is left out.
    virtual void write(unsigned line, Bytes bytes) = 0;
    /// Closes it; `DoipVetting::closed` does not follow.
    virtual void close(unsigned line) = 0;
    /// Asks for the entity's status by a datagram; `DoipVetting::status` may follow.
    virtual void ask_status() {}
    /// An ECU that the far end plays (0: that of `target`, then the `others`) sends a message to
    /// the tester; `DoipVetting::answered` follows. Several may be asked before any has done so,
    /// none twice.
    virtual void answer(unsigned ecu, Bytes message) = 0;
    /// For those who wait: what is being done, and how much of the whole is.
    virtual void progress(std::string_view /*what*/, double /*part*/) {}
};

/// Vets a DoIP entity that is a gateway to an ECU (ISO 13400-2): known messages go in at one side,
/// and what comes out at the other is held against them; its acknowledgements, its refusals, its
/// alive check; functional requests and the answers of all to them; with TLS, what it is and that
/// it cannot be gone round. The ECUs are played at the far end. No I/O. Memory is bounded whatever
/// comes. It is part of telltale::vet-live, since the codec of DoIP is that of the links. Times,
/// threads, moves and what comes too late: as `Vetting`.
class TELLTALE_API DoipVetting {
  public:
    static constexpr unsigned lines = 2; ///< connections at once; each `line` is below it

    DoipVetting(const DoipVetOptions& options, Time now);
    ~DoipVetting();
    DoipVetting(DoipVetting&&) noexcept;
    DoipVetting& operator=(DoipVetting&&) noexcept;

    static constexpr unsigned everybody = 0xFFFF; ///< in place of the number of an ECU

    /// There is a connection, or there could be none; and what came of TLS.
    void connected(unsigned line, bool fine, Time now, const link::TlsOutcome& tls = {});
    /// Bytes from the entity.
    void read(unsigned line, Bytes bytes, Time now);
    /// The entity has closed the connection.
    void closed(unsigned line, Time now);
    /// Payload of the entity's status.
    void status(Bytes payload, Time now);
    /// The far end got a message for an ECU, or for `everybody`: a functional request. Of one that
    /// came in several frames, which no functional request may, the first one's bytes will do.
    void heard(unsigned ecu, Bytes message, Time now);
    /// An ECU has sent the message that it was given, or could not.
    void answered(unsigned ecu, bool fine, Time now);
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
