// SPDX-License-Identifier: Apache-2.0
// Known frames, one after the other in step: the next one goes when the one before has come.
#include <utility>

#include "phase.hpp"
#include "text.hpp"

namespace telltale::vet {

namespace {

constexpr Time frame_patience = 1000 * ms; ///< for a frame that was sent: computers stall at times
constexpr std::uint64_t give_up = 6;       ///< lost ones in a row of a group, all it had so far

/// What came of one group in one direction.
struct Part {
    Tally tally;
    std::uint64_t skipped = 0; ///< not tried
    std::uint64_t in_row = 0;  ///< lost, since one came
    std::vector<Example> examples;
};

std::string finding_of(const Tally& tally, End from) {
    std::string text;
    const auto add = [&](std::uint64_t count, std::string_view what) {
        if (count == 0)
            return;
        text += text.empty() ? "Of " + counted(tally.sent, "frame ", "frames ") +
                                   std::string(direction(from)) + ", "
                             : std::string("; ");
        text += std::string(what) + " (" + grouped(count) + ")";
    };
    for (std::size_t i = 0; i < differences; ++i)
        if (static_cast<Difference>(i) == tally.most_common())
            add(tally.changed, describe(static_cast<Difference>(i)));
    add(tally.lost, tally.lost == tally.sent ? "none arrives" : "some are lost");
    add(tally.twice, "some arrive twice");
    add(tally.misplaced, "some arrive out of order");
    add(tally.alien, "frames arrive that nobody sent");
    add(tally.refused, "some are not taken");
    if (!text.empty())
        text += '.';
    return text;
}

class FramesPhase final : public Phase {
  public:
    explicit FramesPhase(Bench& bench) : Phase(bench) {
        for (auto& parts : parts_)
            parts.resize(known().groups.size());
    }

    std::string_view name() const override { return "known frames"; }
    void begin(Time now) override { wake_ = now; }
    bool done() const override { return from_ == 2; }
    Time next_wakeup() const override { return wake_; }

    void received(End end, const CanFrame& frame, Time stamp, Time now) override {
        if (done() || frame.kind == CanKind::error)
            return;
        auto& comparison = comparisons_[static_cast<std::size_t>(other(end))];
        const auto arrival = comparison.arrived(frame, stamp, bench_.own_time);
        if (comparison.pair())
            bench_.times.pair(other(end), *comparison.pair());
        using Fate = Comparison::Fate;
        Part& part = of(other(end), arrival.fate == Fate::alien ? group() : arrival.sent.group);
        if (arrival.fate != Fate::arrived && part.examples.size() < Check::most_examples)
            part.examples.push_back(
                {bench_.since_begin(now),
                 arrival.fate == Fate::alien ? std::string() : frame_text(arrival.sent.view()),
                 frame_text(frame), word(arrival.fate)});
        take(other(end), part);
        if (waiting_ && comparison.open() == 0 && other(end) == from()) {
            waiting_ = false;
            part.in_row = 0;
            wake_ = now;
        }
    }

    void sent(SendTicket ticket, bool fine, Time stamp, Time now) override {
        if (done())
            return;
        auto& comparison = comparisons_[from_];
        if (!fine) {
            comparison.refused(ticket);
            Part& part = of(from(), group());
            if (part.examples.size() < Check::most_examples && at_ > 0)
                part.examples.push_back({bench_.since_begin(now),
                                         frame_text(known().frames[at_ - 1].view()), "",
                                         "not taken"});
            take(from(), part);
            waiting_ = false;
            wake_ = now;
            return;
        }
        if (const auto pair = comparison.sent(ticket, stamp))
            bench_.times.pair(from(), *pair);
        if (waiting_ && ticket == ticket_)
            wake_ = now + frame_patience;
    }

    void poll(Time now) override {
        if (waiting_) {
            if (now < wake_)
                return;
            Part& part = of(from(), group());
            comparisons_[from_].close([&](const KnownFrame& lost) {
                if (part.examples.size() < Check::most_examples)
                    part.examples.push_back(
                        {bench_.since_begin(now), frame_text(lost.view()), "", "lost"});
            });
            take(from(), part);
            ++part.in_row;
            waiting_ = false;
        }
        const auto& frames = known().frames;
        for (;;) {
            if (at_ == frames.size()) {
                comparisons_[from_].close([](const KnownFrame&) {});
                at_ = 0;
                if (++from_ == 2) {
                    wake_ = never;
                    return;
                }
            }
            if (frames.empty())
                continue;
            const KnownFrame& frame = frames[at_++];
            Part& part = of(from(), frame.group);
            const auto& tally = part.tally;
            if ((frame.fd && !bench_.both_fd()) || now > bench_.deadline ||
                (part.in_row >= give_up && tally.arrived + tally.changed == 0)) {
                ++part.skipped;
                continue;
            }
            ticket_ = bench_.send(from(), frame.view());
            comparisons_[from_].expect(frame, ticket_, now);
            waiting_ = true;
            wake_ = now + 2 * frame_patience; // until the link says that it is sent
            return;
        }
    }

    void finish() override {
        for (std::size_t i = 0; i < known().groups.size(); ++i) {
            const auto& group = known().groups[i];
            auto& row = check("frames-" + group.id, "frames", group.title, group.basis);
            std::uint64_t wanted = 0;
            std::uint64_t fd = 0;
            for (const auto& frame : known().frames)
                if (frame.group == i) {
                    wanted += 2;
                    fd += frame.fd ? 2 : 0;
                }
            Tally all;
            for (const End from : {End::tested, End::reference}) {
                const Part& part = of(from, static_cast<std::uint16_t>(i));
                all += part.tally;
                const auto found = finding_of(part.tally, from);
                if (!found.empty())
                    row.finding += (row.finding.empty() ? "" : " ") + found;
                for (const auto& example : part.examples)
                    row.example(example);
            }
            row.sent = counted(all.sent, "frame", "frames") + ", half of them each way";
            row.came = all.wrong() == 0 ? "all the same to the bit"
                                        : counted(all.arrived, "frame", "frames") + " unchanged";
            row.sent_count = all.sent;
            row.wrong_count = all.wrong();
            if (all.sent == 0) {
                row.sent.clear();
                row.came.clear();
                row.finding = fd == wanted && wanted != 0 && !bench_.both_fd()
                                  ? "not both ends carry CAN FD"
                                  : "it was not tried";
            } else if (all.wrong() != 0) {
                row.verdict = Verdict::failed;
            } else if (all.sent < wanted) {
                row.finding = "only " + grouped(all.sent) + " of " + grouped(wanted) +
                              " were tried in the time";
            } else {
                row.verdict = Verdict::passed;
            }
        }
    }

  private:
    const KnownFrames& known() const { return bench_.options.known; }
    End from() const { return static_cast<End>(from_); }
    std::uint16_t group() const {
        return at_ == 0 || known().frames.empty() ? std::uint16_t{0}
                                                  : known().frames[at_ - 1].group;
    }
    Part& of(End from, std::uint16_t group) {
        return parts_[static_cast<std::size_t>(from)].at(group);
    }
    void take(End from, Part& part) {
        auto& comparison = comparisons_[static_cast<std::size_t>(from)];
        part.tally += comparison.tally();
        comparison.clear_tally();
    }
    static std::string word(Comparison::Fate fate) {
        using Fate = Comparison::Fate;
        return fate == Fate::twice       ? "twice"
               : fate == Fate::misplaced ? "out of order"
               : fate == Fate::changed   ? "changed"
                                         : "nobody sent it";
    }

    std::array<std::vector<Part>, 2> parts_; ///< by the end that sends, by group
    std::array<Comparison, 2> comparisons_;
    std::size_t from_ = 0;
    std::size_t at_ = 0;
    bool waiting_ = false;
    SendTicket ticket_ = 0;
    Time wake_ = never;
};

/// The line is quiet, and something goes over it at all.
class ConnectPhase final : public Phase {
  public:
    using Phase::Phase;
    std::string_view name() const override { return "the line"; }
    void begin(Time now) override { wake_ = now + listening; }
    bool done() const override { return state_ == State::done; }
    Time next_wakeup() const override { return wake_; }

    void received(End, const CanFrame& frame, Time, Time now) override {
        if (frame.kind == CanKind::error)
            return;
        if (state_ == State::listening) {
            noisy_ = frame_text(frame);
            bench_.over = true;
            state_ = State::done;
        } else if (state_ == State::trying && frame.id.value >> 4 == marker >> 4) {
            if (++came_ == 2) {
                state_ = State::settling;
                wake_ = now + 100 * ms;
            }
        }
    }
    void poll(Time now) override {
        if (now < wake_)
            return;
        switch (state_) {
        case State::listening:
            if (bench_.options.own_isotp) { // single frames do not come out at its end
                state_ = State::done;
                wake_ = never;
                return;
            }
            state_ = State::trying;
            [[fallthrough]];
        case State::trying:
            if (tries_ == most_tries) {
                if (came_ == 0)
                    bench_.over = true;
                state_ = State::settling;
                wake_ = now + 100 * ms;
                return;
            }
            for (const End from : {End::tested, End::reference}) {
                KnownFrame frame;
                frame.id = {marker + static_cast<std::uint32_t>(from), false};
                frame.size = 8;
                frame.data.fill(0xCC);
                bench_.send(from, frame.view());
            }
            ++tries_;
            wake_ = now + 200 * ms;
            break;
        case State::settling:
        case State::done:
            state_ = State::done;
            wake_ = never;
        }
    }
    void finish() override {
        if (!noisy_.empty()) {
            auto& row =
                check("line-quiet", "line", "Nobody else speaks on the line", "common practice");
            row.came = noisy_;
            row.finding = "Others speak on this line, so nothing was sent. Vet an adapter on a "
                          "bench line of its own, never against a vehicle.";
        } else if (bench_.over) {
            auto& row =
                check("line-connected", "line", "Something goes over the line", "common practice");
            row.sent = counted(std::uint64_t{2} * most_tries, "frame", "frames") +
                       ", half of them each way";
            row.finding = "Nothing came at either end: are both on one line, with the same bit "
                          "rate, its ends terminated?";
        }
    }

  private:
    enum class State : std::uint8_t { listening, trying, settling, done };
    static constexpr Time listening = 300 * ms;
    static constexpr unsigned most_tries = 5;
    static constexpr std::uint32_t marker = 0x6A0;
    State state_ = State::listening;
    Time wake_ = never;
    unsigned tries_ = 0;
    unsigned came_ = 0;
    std::string noisy_;
};

} // namespace

std::unique_ptr<Phase> make_frames_phase(Bench& bench) {
    return std::make_unique<FramesPhase>(bench);
}
std::unique_ptr<Phase> make_connect_phase(Bench& bench) {
    return std::make_unique<ConnectPhase>(bench);
}

} // namespace telltale::vet
