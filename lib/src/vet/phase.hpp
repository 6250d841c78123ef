// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <algorithm>
#include <array>
#include <cstdint>
#include <memory>
#include <string>
#include <string_view>
#include <vector>

#include "base/chance.hpp"
#include "clock.hpp"
#include "compare.hpp"
#include "telltale/vet/report.hpp"
#include "telltale/vet/vetting.hpp"
#include "times.hpp"

namespace telltale::vet {

/// What the phases of vetting share.
struct Bench {
    explicit Bench(const VettingOptions& wanted, Time now)
        : options(wanted), chance(wanted.seed), begun(now) {}

    const VettingOptions& options;
    Report report;
    Chance chance;
    Times times;
    Time begun;
    Time deadline = never;           ///< of the phase: what can be left out is, when it has passed
    std::uint64_t computer_lost = 0; ///< frames that the computer lost on their way to it
    Time lateness = 0;               ///< by how much the computer was late at most in this phase
    Time own_time = no_time; ///< of the frame that came last: the adapter's clock, if it tells
    SendTicket latest_ticket = 0;
    VettingOutlet* outlet = nullptr; ///< during `poll`
    bool over = false;               ///< nothing more can be tried

    const EndFacts& facts(End end) const { return options.ends[static_cast<std::size_t>(end)]; }
    bool both_fd() const { return facts(End::tested).fd && facts(End::reference).fd; }
    SendTicket send(End end, const CanFrame& frame) {
        latest_ticket += 2; // tickets rise, and the last bit says whose they are
        const SendTicket ticket = latest_ticket | static_cast<SendTicket>(end);
        outlet->send(end, frame, ticket);
        return ticket;
    }
    Time since_begin(Time now) const { return now - begun; }
};

/// One part of vetting. Phases run one after the other; each waits at its end for what it sent.
class Phase {
  public:
    explicit Phase(Bench& bench) : bench_(bench) {}
    virtual ~Phase() = default;
    Phase(const Phase&) = delete;
    Phase& operator=(const Phase&) = delete;

    virtual std::string_view name() const = 0;
    virtual void begin(Time now) = 0;
    virtual void received(End, const CanFrame&, Time /*stamp*/, Time /*now*/) {}
    virtual void sent(SendTicket, bool /*fine*/, Time /*stamp*/, Time /*now*/) {}
    virtual void message(Bytes, Time /*now*/) {}
    virtual void message_sent(bool /*fine*/, Time /*now*/) {}
    virtual void opened(bool /*fine*/, Time /*now*/) {}
    /// An end went away. True: that was expected.
    virtual bool gone(End, Time /*now*/) { return false; }
    virtual void poll(Time now) = 0;
    virtual Time next_wakeup() const = 0;
    virtual bool done() const = 0;
    /// Adds the checks to the report. Also called when the phase did not come to its end, or was
    /// never begun.
    virtual void finish() = 0;

  protected:
    Check& check(std::string id, std::string group, std::string title, std::string basis) {
        Check made;
        made.id = std::move(id);
        made.group = std::move(group);
        made.title = std::move(title);
        made.basis = std::move(basis);
        bench_.report.checks.push_back(std::move(made));
        return bench_.report.checks.back();
    }
    Bench& bench_;
};

std::unique_ptr<Phase> make_connect_phase(Bench& bench);
std::unique_ptr<Phase> make_frames_phase(Bench& bench);
std::unique_ptr<Phase> make_filter_phase(Bench& bench);
std::unique_ptr<Phase> make_isotp_phase(Bench& bench);
std::unique_ptr<Phase> make_disturb_phase(Bench& bench);
std::unique_ptr<Phase> make_plug_phase(Bench& bench);
std::unique_ptr<Phase> make_load_phase(Bench& bench);
/// Not a phase of its own: what the times of all the others showed.
void finish_times(Bench& bench);

/// `that the adapter sends`, `that the adapter receives`: by the end that sends.
inline std::string_view direction(End from) {
    return from == End::tested ? "that the adapter sends" : "that the adapter receives";
}

} // namespace telltale::vet
