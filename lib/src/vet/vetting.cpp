// SPDX-License-Identifier: Apache-2.0
#include "telltale/vet/vetting.hpp"

#include <algorithm>
#include <utility>

#include "pace.hpp"
#include "phase.hpp"
#include "text.hpp"

namespace telltale::vet {

class Vetting::Impl {
  public:
    Impl(const VettingOptions& options, Time now) : options_(options), bench_(options_, now) {
        const Time whole = std::max(options_.duration, nanoseconds_a_second);
        options_.duration = whole;
        // Each phase, and when the part of it that can be left out is to be over.
        const bool own = options_.own_isotp; // single frames do not pass
        add(make_connect_phase(bench_), now + whole);
        add(make_frames_phase(bench_), now + std::max(whole * 3 / 10, 20 * nanoseconds_a_second),
            own);
        add(make_filter_phase(bench_), now + whole, own);
        add(make_isotp_phase(bench_), own ? now + whole : now + whole * 2 / 5);
        add(make_disturb_phase(bench_), now + whole, own);
        add(make_load_phase(bench_), now + whole, own);
        add(make_plug_phase(bench_), now + whole, own);
        phases_.front().phase->begin(now);
    }

    void received(End end, const CanFrame& frame, Time stamp, Time now, Time own,
                  std::uint64_t lost) {
        arrive(now);
        bench_.own_time = own;
        bench_.computer_lost += lost;
        if (end == End::tested && frame.kind != CanKind::error)
            bench_.times.stamp(own != no_time ? own : stamp, frame, bench_.since_begin(now));
        if (auto* phase = current())
            phase->received(end, frame, stamp, now);
    }
    void sent(SendTicket ticket, bool fine, Time stamp, Time now) {
        arrive(now);
        if (auto* phase = current())
            phase->sent(ticket, fine, stamp, now);
    }
    void message(Bytes bytes, Time now) {
        arrive(now);
        if (auto* phase = current())
            phase->message(bytes, now);
    }
    void message_sent(bool fine, Time now) {
        arrive(now);
        if (auto* phase = current())
            phase->message_sent(fine, now);
    }
    void opened(bool fine, Time now) {
        arrive(now);
        if (auto* phase = current())
            phase->opened(fine, now);
    }
    void gone(End end, Time now) {
        arrive(now);
        auto* phase = current();
        if (phase == nullptr || phase->gone(end, now))
            return;
        Check row;
        row.id = "line-stays";
        row.group = "line";
        row.title = "Both ends stay";
        row.basis = "common practice";
        row.came = end == End::tested ? "the adapter went away" : "the reference went away";
        if (end == End::tested) {
            row.verdict = Verdict::failed;
            row.wrong_count = 1;
            row.finding = "The adapter went away while " + std::string(phase->name()) +
                          " were tried, and nobody took it off.";
        } else {
            row.finding = "The reference went away, so the rest could not be tried.";
            bench_.report.broken_off = row.finding;
        }
        bench_.report.checks.push_back(std::move(row));
        finish();
    }

    void poll(Time now, VettingOutlet& outlet) {
        arrive(now);
        if (done_)
            return;
        bench_.outlet = &outlet;
        // A phase may do many things at one moment, but the driver is to have its turn.
        for (int i = 0; i < 4 && !done_; ++i) {
            auto& phase = *phases_[at_].phase;
            if (phase.next_wakeup() > now && !phase.done())
                break;
            if (!phase.done())
                phase.poll(now);
            if (pace_.due(now))
                outlet.progress(phase.name(), Pace::part(now - bench_.begun, options_.duration));
            if (!phase.done())
                continue;
            do
                ++at_;
            while (at_ < phases_.size() && phases_[at_].skip);
            if (bench_.over || at_ >= phases_.size()) {
                finish();
                break;
            }
            bench_.lateness = 0;
            bench_.deadline = phases_[at_].deadline;
            phases_[at_].phase->begin(now);
        }
        bench_.outlet = nullptr;
        wake_ = next_wakeup();
    }
    Time next_wakeup() const {
        if (done_)
            return never;
        const auto& phase = *phases_[at_].phase;
        return phase.done() ? 0 : phase.next_wakeup();
    }
    bool done() const { return done_; }
    void stop() {
        if (done_)
            return;
        bench_.report.broken_off = "It was broken off.";
        finish();
    }
    const Report& report() const { return bench_.report; }

  private:
    struct Planned {
        std::unique_ptr<Phase> phase;
        Time deadline = never;
        bool skip = false;
    };
    void add(std::unique_ptr<Phase> phase, Time deadline, bool skip = false) {
        phases_.push_back({std::move(phase), deadline, skip});
    }
    Phase* current() { return done_ ? nullptr : phases_[at_].phase.get(); }
    /// By how much the computer is late with what was due.
    void arrive(Time now) {
        if (wake_ != never && now > wake_)
            bench_.lateness = std::max(bench_.lateness, now - wake_);
        wake_ = never;
    }
    void finish() {
        done_ = true;
        auto& checks = bench_.report.checks;
        for (auto& planned : phases_) {
            const std::size_t before = checks.size();
            planned.phase->finish();
            for (std::size_t i = before; planned.skip && i < checks.size(); ++i)
                checks[i].finding = "the adapter does ISO-TP itself, and frames do not pass it";
        }
        finish_times(bench_);
    }

    VettingOptions options_;
    Bench bench_;
    std::vector<Planned> phases_;
    std::size_t at_ = 0;
    Time wake_ = never;
    Pace pace_;
    bool done_ = false;
};

Vetting::Vetting(const VettingOptions& options, Time now)
    : impl_(std::make_unique<Impl>(options, now)) {}
Vetting::~Vetting() = default;
Vetting::Vetting(Vetting&&) noexcept = default;
Vetting& Vetting::operator=(Vetting&&) noexcept = default;

void Vetting::received(End end, const CanFrame& frame, Time stamp, Time now, Time own,
                       std::uint64_t lost) {
    impl_->received(end, frame, stamp, now, own, lost);
}
void Vetting::sent(SendTicket ticket, bool fine, Time stamp, Time now) {
    impl_->sent(ticket, fine, stamp, now);
}
void Vetting::message(Bytes bytes, Time now) {
    impl_->message(bytes, now);
}
void Vetting::message_sent(bool fine, Time now) {
    impl_->message_sent(fine, now);
}
void Vetting::opened(bool fine, Time now) {
    impl_->opened(fine, now);
}
void Vetting::gone(End end, Time now) {
    impl_->gone(end, now);
}
void Vetting::poll(Time now, VettingOutlet& outlet) {
    impl_->poll(now, outlet);
}
Time Vetting::next_wakeup() const noexcept {
    return impl_->next_wakeup();
}
bool Vetting::done() const noexcept {
    return impl_->done();
}
void Vetting::stop(Time) {
    impl_->stop();
}
const Report& Vetting::report() const noexcept {
    return impl_->report();
}

} // namespace telltale::vet
