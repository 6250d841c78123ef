// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>
#include <memory>
#include <optional>
#include <string_view>
#include <vector>

#include "telltale/base/bytes.hpp"
#include "telltale/base/export.hpp"
#include "telltale/base/time.hpp"
#include "telltale/frame/can.hpp"
#include "telltale/isotp/address.hpp"
#include "telltale/link/traffic.hpp"
#include "telltale/vet/known.hpp"
#include "telltale/vet/report.hpp"

/// Vetting a CAN adapter, without I/O: frames and times of both ends go in, frames for both ends
/// come out, and a report in the end. vet/live.hpp runs it on two links.
namespace telltale::vet {

/// The two ends of the line: the adapter under test, and the reference that is known to be good.
enum class End : std::uint8_t { tested, reference };
constexpr End other(End end) {
    return end == End::tested ? End::reference : End::tested;
}

/// What an end can do, as far as that is known before vetting begins.
struct EndFacts {
    bool fd = false;
    bool filters = false;          ///< `VettingOutlet::open` heeds filters
    bool error_frames = false;     ///< error frames are received
    bool confirms_on_wire = false; ///< `sent` is told when the frame was on the wire
    link::TimeFrom times = link::TimeFrom::program; ///< what its times of receipt are
    std::uint32_t most_frames_a_second = 0; ///< that the path to the line carries; 0: not known
};

/// What is to be tried. It is copied.
struct VettingOptions {
    std::array<EndFacts, 2> ends; ///< by `End`
    /// All are sent both ways (see vet/built_in.hpp, vet/known_text.hpp); none: nothing is tried by
    /// them.
    KnownFrames known;
    Time duration = 60 * nanoseconds_a_second; ///< less counts as one second
    std::uint64_t seed = 1;      ///< the same one tries the same things in the same order
    std::uint32_t bit_rate = 0;  ///< of the line; 0: not known, and then there is no limit to reach
    std::uint32_t data_rate = 0; ///< of FD frames with BRS; 0: as `bit_rate`
    /// The adapter does ISO-TP itself: under test are then whole messages at its end, and the
    /// reference sees the frames. What concerns single frames is not tested.
    bool own_isotp = false;
    isotp::Address address = isotp::tester_address({0x7E8, false}); ///< of the adapter's ISO-TP
    std::uint8_t padding = 0xCC; ///< that an adapter with its own ISO-TP is to fill frames with
    bool injects = false;        ///< `VettingOutlet::disturb` can be used
    bool unplugs = false;        ///< `VettingOutlet::unplug` can be used
};

/// Lets identifiers through that have the same bits as `id` where `mask` has a bit.
struct Filter {
    CanId id;
    std::uint32_t mask = CanId::max_extended;
};

/// What happens to a line, or is made to.
enum class Disturbance : std::uint8_t {
    error,   ///< one frame is destroyed by an error frame and repeated
    bus_off, ///< so many errors that the adapter goes off the bus
};

/// Names a frame that was given, for `Vetting::sent`.
using SendTicket = std::uint64_t;

/// What vetting wants done. Nothing here may call it. Views die when the call returns.
class TELLTALE_API VettingOutlet {
  public:
    virtual ~VettingOutlet() = default;
    /// Puts the frame on the line after those given to this end before; `Vetting::sent` is to
    /// follow. At most `Vetting::most_waiting` wait at an end.
    virtual void send(End end, const CanFrame& frame, SendTicket ticket) = 0;
    /// Only with `own_isotp`: a whole message, from the adapter; `Vetting::message_sent` follows.
    virtual void send_message(Bytes) {}
    /// Opens the adapter again, with these filters (none: everything); `Vetting::opened` follows.
    virtual void open(const std::vector<Filter>&) {}
    /// Only where `injects`: the reference disturbs the line.
    virtual void disturb(Disturbance) {}
    /// Only where `unplugs`: has the adapter taken off the computer and put back; `Vetting::gone`
    /// and then `Vetting::opened` follow.
    virtual void unplug() {}
    /// For those who wait: what is being done, and how much of the whole is.
    virtual void progress(std::string_view /*what*/, double /*part*/) {}
};

/// Vets one adapter once. Times are those of one clock (ns, from wherever it counts), which never
/// goes back, but for the times of receipt, which may be the adapter's own. Memory is bounded
/// whatever comes. Not safe for two threads at once; one that was moved from can only be destroyed
/// or assigned to. Calls that come when it is done change nothing; a ticket is given back once.
class TELLTALE_API Vetting {
  public:
    static constexpr std::size_t most_waiting = 32; ///< frames, at each end

    Vetting(const VettingOptions& options, Time now);
    ~Vetting();
    Vetting(Vetting&&) noexcept;
    Vetting& operator=(Vetting&&) noexcept;

    /// A frame came. `stamp`: its time, on the scale of `now`; `own`: what the adapter's clock
    /// showed, on a scale of its own, where it tells; `lost`: frames that the computer lost before
    /// this one.
    void received(End end, const CanFrame& frame, Time stamp, Time now, Time own = no_time,
                  std::uint64_t lost = 0);
    /// The frame of this ticket is on the line at `stamp`, or was not taken (`fine` false).
    void sent(SendTicket ticket, bool fine, Time stamp, Time now);
    /// `own_isotp`: the adapter received a message; it has sent the one it was given, or not.
    void message(Bytes bytes, Time now);
    void message_sent(bool fine, Time now);
    /// The adapter was opened again, or could not be.
    void opened(bool fine, Time now);
    /// An end is not there any more.
    void gone(End end, Time now);

    /// Does what is due. Call it when `next_wakeup()` is reached, and after each of the calls above
    /// whenever `next_wakeup()` is not later than now.
    void poll(Time now, VettingOutlet& outlet);
    /// The greatest `Time` there is: nothing is due before something comes.
    Time next_wakeup() const noexcept;

    /// The report is whole.
    bool done() const noexcept;
    /// The end of it all, whatever is left: what was not tried is untested.
    void stop(Time now);
    /// Checks, latencies and notes; the rest is for the caller to fill in. Whole when `done`; lives
    /// as long as this.
    const Report& report() const noexcept;

  private:
    class Impl;
    std::unique_ptr<Impl> impl_;
};

} // namespace telltale::vet
