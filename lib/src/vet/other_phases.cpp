// SPDX-License-Identifier: Apache-2.0
// Receive filters; errors and bus-off; off the computer and back.
#include <utility>

#include "phase.hpp"
#include "text.hpp"

namespace telltale::vet {

namespace {

constexpr Time settle_time = 400 * ms;

KnownFrame numbered(CanId id, std::uint32_t number) {
    KnownFrame frame;
    frame.id = id;
    frame.size = 8;
    for (std::size_t i = 0; i < 4; ++i) {
        frame.data[i] = static_cast<std::uint8_t>(number >> (24 - 8 * i));
        frame.data[4 + i] = static_cast<std::uint8_t>(~frame.data[i]);
    }
    return frame;
}

class FilterPhase final : public Phase {
  public:
    explicit FilterPhase(Bench& bench) : Phase(bench) {
        const CanId answer{0x7E8, false};
        const CanId answer_29{0x18DA'F110, true};
        sets_ = {{{answer, 0x7FF}},
                 {{answer, 0x7F8}},
                 {{{0x18DA'F100, true}, 0x1FFF'FF00}},
                 {{{0x7DF, false}, 0x7FF}, {{0x18DB'33F1, true}, 0x1FFF'FFFF}},
                 {{answer_29, 0x1FFF'FFFF}}};
    }
    std::string_view name() const override { return "receive filters"; }
    void begin(Time now) override {
        if (!bench_.facts(End::tested).filters)
            state_ = State::done;
        wake_ = now;
    }
    bool done() const override { return state_ == State::done; }
    Time next_wakeup() const override { return wake_; }

    void received(End end, const CanFrame& frame, Time, Time now) override {
        if (end != End::tested || frame.kind == CanKind::error || state_ != State::sending)
            return;
        for (auto& tried : tried_)
            if (!tried.came && same_frame(tried.frame, frame)) {
                tried.came = true;
                if (!tried.inside) {
                    ++let_through_;
                    example({bench_.since_begin(now), frame_text(frame), frame_text(frame),
                             "let through"});
                }
                return;
            }
    }
    void sent(SendTicket ticket, bool, Time, Time now) override {
        if (state_ == State::sending && ticket == latest_)
            wake_ = now + settle_time;
    }
    void opened(bool fine, Time now) override {
        if (state_ != State::opening)
            return;
        if (!fine) {
            failed_ = true;
            if (at_ <= sets_.size() && !last_try_) {
                // Without filters it must open again, or nothing else can be tried.
                at_ = sets_.size();
                last_try_ = true;
                state_ = State::open;
            } else {
                bench_.over = true;
                state_ = State::done;
            }
            wake_ = now;
            return;
        }
        state_ = at_ == sets_.size() ? State::leaving : State::settled;
        wake_ = now + 50 * ms;
    }
    bool gone(End, Time) override { return state_ == State::opening; }

    void poll(Time now) override {
        if (now < wake_)
            return;
        switch (state_) {
        case State::open:
            state_ = State::opening;
            wake_ = now + 10 * nanoseconds_a_second;
            bench_.outlet->open(at_ == sets_.size() ? std::vector<Filter>{} : sets_[at_]);
            break;
        case State::opening:
            opened(false, now);
            break;
        case State::settled:
            fill_tried();
            state_ = State::sending;
            give(now);
            break;
        case State::sending:
            if (given_ < tried_.size())
                return give(now);
            for (const auto& tried : tried_) {
                ++count_;
                if (tried.inside && !tried.came) {
                    ++held_back_;
                    example(
                        {bench_.since_begin(now), frame_text(tried.frame.view()), "", "held back"});
                }
            }
            ++at_;
            state_ = State::open;
            wake_ = now;
            break;
        case State::leaving:
        case State::done:
            state_ = State::done;
            wake_ = never;
            break;
        }
    }

    void finish() override {
        auto& row = check("filters", "filters", "Receive filters let through what they should",
                          "common practice");
        if (!bench_.facts(End::tested).filters) {
            row.finding = "this link sets no receive filters in the adapter";
            return;
        }
        row.sent = counted(count_, "frame", "frames") + " under " +
                   counted(at_, "set of filters", "sets of filters");
        row.came =
            grouped(held_back_) + " held back, " + grouped(let_through_) + " let through wrongly";
        row.sent_count = count_;
        row.wrong_count = held_back_ + let_through_;
        row.examples = examples_;
        if (row.wrong_count != 0) {
            row.verdict = Verdict::failed;
            row.finding = held_back_ != 0
                              ? "Receive filters hold frames back that they should let "
                                "through: " +
                                    grouped(held_back_) + " of " + grouped(count_) + "."
                              : "Receive filters let frames through that they should "
                                "hold back: " +
                                    grouped(let_through_) + " of " + grouped(count_) + ".";
        } else if (failed_) {
            row.verdict = Verdict::failed;
            row.wrong_count = 1;
            row.finding = "The adapter could not be opened with receive filters.";
        } else if (!done() || count_ == 0) {
            row.finding = "it was not tried to the end";
        } else {
            row.verdict = Verdict::passed;
        }
    }

  private:
    enum class State : std::uint8_t { open, opening, settled, sending, leaving, done };
    struct Tried {
        KnownFrame frame;
        bool inside = false;
        bool came = false;
    };
    void example(Example made) {
        if (examples_.size() < Check::most_examples)
            examples_.push_back(std::move(made));
    }
    bool inside(CanId id) const {
        for (const auto& filter : sets_[at_])
            if (filter.id.extended == id.extended &&
                ((filter.id.value ^ id.value) & filter.mask) == 0)
                return true;
        return false;
    }
    void fill_tried() {
        tried_.clear();
        given_ = 0;
        const auto add = [&](CanId id) {
            if (id.valid())
                tried_.push_back({numbered(id, number_++), inside(id), false});
        };
        for (const auto& filter : sets_[at_]) {
            add(filter.id);
            add({filter.id.value, !filter.id.extended}); // the other format, the same value
            for (unsigned bit = 0; bit < (filter.id.extended ? 29U : 11U); ++bit)
                add({filter.id.value ^ 1U << bit, filter.id.extended});
            add(filter.id);
        }
    }
    void give(Time now) {
        for (int i = 0; i < 8 && given_ < tried_.size(); ++i)
            latest_ = bench_.send(End::reference, tried_[given_++].frame.view());
        wake_ = now + (given_ < tried_.size() ? 5 * ms : 4 * settle_time);
    }

    std::vector<std::vector<Filter>> sets_;
    std::size_t at_ = 0;
    State state_ = State::open;
    Time wake_ = never;
    std::vector<Tried> tried_;
    std::size_t given_ = 0;
    SendTicket latest_ = 0;
    std::uint32_t number_ = 0;
    std::uint64_t count_ = 0;
    std::uint64_t held_back_ = 0;
    std::uint64_t let_through_ = 0;
    bool failed_ = false;
    bool last_try_ = false;
    std::vector<Example> examples_;
};

/// A few frames, in turn from both ends, each when the one before has come.
class Trickle {
  public:
    void begin(unsigned count, Time now) {
        left_ = count;
        waiting_ = false;
        wake_ = now;
        for (auto& comparison : comparisons_) {
            comparison.close([](const KnownFrame&) {});
            comparison.clear_tally();
        }
    }
    void received(End end, const CanFrame& frame, Time stamp, Time now) {
        auto& comparison = comparisons_[static_cast<std::size_t>(other(end))];
        comparison.arrived(frame, stamp);
        if (waiting_ && other(end) == from_ && comparison.open() == 0) {
            waiting_ = false;
            wake_ = now + 2 * ms;
        }
    }
    void refused(SendTicket ticket, Time now) {
        if (!waiting_ || ticket != ticket_)
            return;
        comparisons_[static_cast<std::size_t>(from_)].refused(ticket);
        waiting_ = false;
        wake_ = now + 10 * ms;
    }
    void poll(Bench& bench, Time now) {
        if (now < wake_)
            return;
        if (waiting_) {
            comparisons_[static_cast<std::size_t>(from_)].close([](const KnownFrame&) {});
            waiting_ = false;
        }
        if (left_ == 0) {
            wake_ = never;
            return;
        }
        --left_;
        from_ = other(from_);
        const KnownFrame frame =
            numbered({from_ == End::tested ? 0x7E0U : 0x7E8U, false}, number_++);
        ticket_ = bench.send(from_, frame.view());
        comparisons_[static_cast<std::size_t>(from_)].expect(frame, ticket_, now);
        waiting_ = true;
        wake_ = now + 2 * settle_time;
    }
    bool done() const { return left_ == 0 && !waiting_; }
    Time next_wakeup() const { return wake_; }
    Tally tally() const {
        Tally sum = comparisons_[0].tally();
        return sum += comparisons_[1].tally();
    }

  private:
    std::array<Comparison, 2> comparisons_;
    unsigned left_ = 0;
    End from_ = End::reference;
    bool waiting_ = false;
    SendTicket ticket_ = 0;
    std::uint32_t number_ = 0;
    Time wake_ = never;
};

class DisturbPhase final : public Phase {
  public:
    using Phase::Phase;
    std::string_view name() const override { return "errors and bus-off"; }
    void begin(Time now) override {
        if (!bench_.options.injects)
            state_ = State::done;
        wake_ = now;
    }
    bool done() const override { return state_ == State::done; }
    Time next_wakeup() const override { return std::min(wake_, trickle_.next_wakeup()); }

    void received(End end, const CanFrame& frame, Time stamp, Time now) override {
        if (frame.kind == CanKind::error) {
            if (end == End::tested) {
                constexpr std::uint32_t bus_off = 0x40; // class of the error frames of Linux
                ++(state_ == State::off && (frame.id.value & bus_off) != 0 ? offs_ : errors_);
            }
            return;
        }
        trickle_.received(end, frame, stamp, now);
    }
    void sent(SendTicket ticket, bool fine, Time, Time now) override {
        if (!fine)
            trickle_.refused(ticket, now);
    }
    void poll(Time now) override {
        trickle_.poll(bench_, now);
        if (now < wake_ && !(trickle_.done() && wake_ == never))
            return;
        switch (state_) {
        case State::begin:
            state_ = State::error;
            trickle_.begin(20, now);
            bench_.outlet->disturb(Disturbance::error);
            wake_ = never;
            break;
        case State::error:
            error_tally_ = trickle_.tally();
            state_ = State::off;
            off_at_ = now;
            bench_.outlet->disturb(Disturbance::bus_off);
            trickle_.begin(2, now);
            wake_ = never;
            break;
        case State::off:
            // Until frames go both ways again.
            if (trickle_.tally().arrived == 2) {
                back_after_ = now - off_at_;
                state_ = State::after;
                trickle_.begin(20, now);
            } else if (now - off_at_ > 5 * nanoseconds_a_second) {
                state_ = State::done;
            } else {
                trickle_.begin(2, now);
            }
            break;
        case State::after:
            after_tally_ = trickle_.tally();
            state_ = State::done;
            break;
        case State::done:
            break;
        }
    }
    void finish() override {
        check("errors-reported", "errors", "Error frames are reported",
              "ISO 11898-1 (error signalling)");
        check("bus-off-reported", "errors", "Bus-off is reported",
              "ISO 11898-1 (fault confinement)");
        check("bus-off-recovered", "errors", "The adapter comes back from bus-off",
              "ISO 11898-1 (fault confinement)");
        Check* const rows = &bench_.report.checks.back() - 2;
        for (int i = 0; i < 3; ++i)
            rows[i].finding = !bench_.options.injects ? "the reference cannot disturb the line"
                                                      : "it was not tried to the end";
        if (!bench_.options.injects || !done())
            return;
        finish_one(rows[0], errors_, "The adapter tells nothing of an error frame on the line.");
        finish_one(rows[1], offs_, "The adapter goes off the bus and does not say so.");
        auto& last = rows[2];
        last.sent = "bus-off, then frames both ways";
        last.sent_count = 20;
        last.finding.clear();
        if (back_after_ < 0) {
            last.verdict = Verdict::failed;
            last.wrong_count = 20;
            last.finding = "After bus-off no frame went both ways within 5 s.";
        } else if (after_tally_.arrived != 20 || error_tally_.arrived != 20) {
            last.verdict = Verdict::failed;
            last.wrong_count = 40 - after_tally_.arrived - error_tally_.arrived;
            last.finding = "Frames were lost or changed after an error on the line.";
        } else {
            last.verdict = Verdict::passed;
            last.came = "back after " + duration_text(back_after_);
        }
    }

  private:
    enum class State : std::uint8_t { begin, error, off, after, done };
    void finish_one(Check& row, std::uint64_t count, const char* finding) {
        if (!bench_.facts(End::tested).error_frames) {
            row.finding = "this link does not report error frames";
            return;
        }
        row.sent = "one";
        row.sent_count = 1;
        row.came = counted(count, "report", "reports");
        row.verdict = count != 0 ? Verdict::passed : Verdict::failed;
        row.wrong_count = count != 0 ? 0 : 1;
        row.finding = count != 0 ? "" : finding;
    }
    State state_ = State::begin;
    Time wake_ = never;
    Trickle trickle_;
    Tally error_tally_;
    Tally after_tally_;
    std::uint64_t errors_ = 0;
    std::uint64_t offs_ = 0;
    Time off_at_ = 0;
    Time back_after_ = -1;
};

class PlugPhase final : public Phase {
  public:
    using Phase::Phase;
    std::string_view name() const override { return "off the computer and back"; }
    void begin(Time now) override {
        if (!bench_.options.unplugs)
            state_ = State::done;
        wake_ = now;
    }
    bool done() const override { return state_ == State::done; }
    Time next_wakeup() const override { return std::min(wake_, trickle_.next_wakeup()); }
    void received(End end, const CanFrame& frame, Time stamp, Time now) override {
        if (frame.kind != CanKind::error && state_ == State::trying)
            trickle_.received(end, frame, stamp, now);
    }
    void sent(SendTicket ticket, bool fine, Time, Time now) override {
        if (!fine)
            trickle_.refused(ticket, now);
    }
    bool gone(End end, Time now) override {
        if (end != End::tested || state_ != State::waiting)
            return end == End::tested && state_ == State::away;
        state_ = State::away;
        wake_ = now + 60 * nanoseconds_a_second;
        return true;
    }
    void opened(bool fine, Time now) override {
        if (!fine || state_ != State::away)
            return;
        state_ = State::trying;
        trickle_.begin(tries, now + 100 * ms);
        wake_ = never;
    }
    void poll(Time now) override {
        if (state_ == State::trying) {
            trickle_.poll(bench_, now);
            if (trickle_.done())
                state_ = State::done;
            return;
        }
        if (now < wake_)
            return;
        if (state_ == State::begin) {
            state_ = State::waiting;
            wake_ = now + 60 * nanoseconds_a_second;
            bench_.outlet->unplug();
            return;
        }
        reached_ = state_;
        state_ = State::done;
        wake_ = never;
    }
    void finish() override {
        auto& row = check("replug", "line", "The adapter comes back when it was taken off",
                          "common practice");
        if (!bench_.options.unplugs) {
            row.finding = "nobody takes the adapter off the computer and puts it back";
            return;
        }
        const auto tally = trickle_.tally();
        row.sent = "taken off and put back, then " + counted(tally.sent, "frame", "frames");
        row.sent_count = tally.sent;
        row.came = grouped(tally.arrived) + " unchanged";
        if (reached_ == State::waiting) {
            row.finding = "it was not taken off, or that was not noticed within a minute";
        } else if (reached_ == State::away) {
            row.verdict = Verdict::failed;
            row.wrong_count = 1;
            row.finding = "The adapter could not be opened again after it was taken off.";
        } else if (!done() || tally.sent != tries) {
            row.finding = "it was not tried to the end";
        } else {
            row.wrong_count = tally.sent - tally.arrived;
            row.verdict = row.wrong_count == 0 ? Verdict::passed : Verdict::failed;
            if (row.wrong_count != 0)
                row.finding = "After it was put back, frames are lost or changed: " +
                              grouped(row.wrong_count) + " of " + grouped(tally.sent) + ".";
        }
    }

  private:
    enum class State : std::uint8_t { begin, waiting, away, trying, done };
    static constexpr unsigned tries = 20;
    State state_ = State::begin;
    State reached_ = State::begin;
    Time wake_ = never;
    Trickle trickle_;
};

} // namespace

std::unique_ptr<Phase> make_filter_phase(Bench& bench) {
    return std::make_unique<FilterPhase>(bench);
}
std::unique_ptr<Phase> make_disturb_phase(Bench& bench) {
    return std::make_unique<DisturbPhase>(bench);
}
std::unique_ptr<Phase> make_plug_phase(Bench& bench) {
    return std::make_unique<PlugPhase>(bench);
}

} // namespace telltale::vet
