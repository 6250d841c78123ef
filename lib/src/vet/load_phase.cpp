// SPDX-License-Identifier: Apache-2.0
// Bursts back to back, up to what the line can carry: one way, the other way, both at once.
#include <cmath>
#include <utility>

#include "phase.hpp"
#include "telltale/vet/line_time.hpp"
#include "text.hpp"

namespace telltale::vet {

namespace {

constexpr Time longest_burst = 2 * nanoseconds_a_second;
constexpr Time quiet_after = 1000 * ms;  ///< nothing came for so long: what is missing is lost
constexpr Time pause_after = 40 * ms;    ///< all has come: doubles may follow
constexpr std::size_t most_unseen = 512; ///< sent, not yet come
constexpr double most_load = 0.8;        ///< of the limit, to count as reached

class LoadPhase final : public Phase {
  public:
    explicit LoadPhase(Bench& bench) : Phase(bench), chance_(~bench.options.seed) {}

    std::string_view name() const override { return "bursts"; }
    void begin(Time now) override {
        first_ticket_ = bench_.latest_ticket + 2;
        const Time left = std::max<Time>(bench_.deadline - now, nanoseconds_a_second);
        // A whole number of rounds of three bursts.
        rounds_ = static_cast<unsigned>(
            std::max<Time>(bench_.both_fd() ? 3 : 1, left / (3 * longest_burst)));
        burst_ = left / (3 * Time{rounds_}) - 2 * pause_after;
        start_burst(now);
    }
    bool done() const override { return at_ == 3 * rounds_; }
    Time next_wakeup() const override { return wake_; }

    void received(End end, const CanFrame& frame, Time stamp, Time now) override {
        if (done() || frame.kind == CanKind::error)
            return;
        const End from = other(end);
        auto& way = ways_[index(from)];
        const auto& arrival = way.comparison.arrived(frame, stamp, bench_.own_time);
        if (way.comparison.pair())
            bench_.times.pair(from, *way.comparison.pair());
        using Fate = Comparison::Fate;
        const KnownFrame* known = arrival.fate == Fate::alien ? nullptr : &arrival.sent;
        switch (arrival.fate) {
        case Fate::arrived:
            break;
        case Fate::twice:
            note(twice_, now, known, &frame, "twice");
            break;
        case Fate::misplaced:
            note(misplaced_, now, known, &frame, "out of order");
            break;
        case Fate::changed:
            note(changed_, now, known, &frame, "changed");
            break;
        case Fate::alien:
            note(changed_, now, known, &frame, "nobody sent it");
            break;
        }
        last_event_ = now;
        if (sending_)
            wake_ = now;
        else if (all_seen())
            wake_ = now + pause_after;
    }

    void sent(SendTicket ticket, bool fine, Time stamp, Time now) override {
        if (done())
            return;
        if (ticket < first_ticket_)
            return; // of a phase before
        const auto from = static_cast<End>(ticket & 1U);
        auto& way = ways_[index(from)];
        way.waiting -= way.waiting > 0 ? 1 : 0;
        if (!fine) {
            way.comparison.refused(ticket);
            note(refused_, now, nullptr, nullptr, "not taken");
        } else if (const auto pair = way.comparison.sent(ticket, stamp)) {
            bench_.times.pair(from, *pair);
        }
        last_event_ = now;
        if (sending_)
            wake_ = now;
    }

    void poll(Time now) override {
        if (now < wake_ || done())
            return;
        if (sending_) {
            if (now >= burst_end_) {
                sending_ = false;
                active_ += burst_end_ - burst_begin_;
                last_event_ = now;
                wake_ = now + (all_seen() ? pause_after : quiet_after);
                return;
            }
            wake_ = never;
            for (const End from : {End::tested, End::reference})
                fill(from, now);
            // While nothing comes any more, frames that are missing keep others from being sent.
            if (now - last_event_ >= quiet_after)
                give_up(now);
            wake_ = std::min({wake_, burst_end_, std::max(now + 1, last_event_ + quiet_after)});
            return;
        }
        if (!all_seen() && now < last_event_ + quiet_after) {
            wake_ = last_event_ + quiet_after;
            return;
        }
        give_up(now);
        if (shape_ == Shape::fd) {
            const Tally all = sum();
            fd_sent_ += all.sent - before_.sent;
            fd_wrong_ += all.wrong() - before_.wrong();
        }
        ++at_;
        if (done())
            wake_ = never;
        else
            start_burst(now);
    }

    void finish() override {
        Tally all;
        std::string lost_text;
        std::string loss_finding;
        for (const End from : {End::tested, End::reference}) {
            const auto& tally = ways_[index(from)].comparison.tally();
            all += tally;
            if (tally.lost == 0)
                continue;
            loss_finding += (loss_finding.empty() ? "" : " ") +
                            ("Under load frames " + std::string(direction(from)) + " are lost: " +
                             grouped(tally.lost) + " of " + grouped(tally.sent) + ", one in " +
                             grouped((tally.sent + tally.lost / 2) / tally.lost) + ".");
        }
        const double seconds = static_cast<double>(active_) / 1e9;
        const double rate = seconds > 0 ? static_cast<double>(all.sent) / seconds : 0;
        const double part =
            active_ > 0 ? std::min(1.0, static_cast<double>(wire_) / static_cast<double>(active_))
                        : 0;
        const std::string sent = counted(all.sent, "frame", "frames") + " back to back for " +
                                 duration_text(active_) + ", one way, the other and both at once";
        const auto row = [&](std::string id, std::string title, std::uint64_t wrong,
                             std::vector<Example>& examples) -> Check& {
            auto& made = check(std::move(id), "load", std::move(title), "common practice");
            made.sent = sent;
            made.sent_count = all.sent;
            made.wrong_count = wrong;
            for (auto& example : examples)
                made.example(std::move(example));
            if (all.sent == 0) {
                made.sent.clear();
                made.finding = "it was not tried";
            } else if (wrong != 0) {
                made.verdict = Verdict::failed;
            } else if (!done()) {
                made.finding = "it was not tried to the end";
            } else if (all.arrived == 0) {
                made.finding = "no frame came unchanged";
            } else {
                made.verdict = Verdict::passed;
            }
            return made;
        };
        auto& loss = row("load-loss", "Nothing is lost under load", all.lost, lost_);
        loss.came = grouped(all.arrived) + " unchanged, " + grouped(all.lost) + " lost";
        if (all.lost != 0)
            loss.finding = loss_finding;
        auto& order = row("load-order", "Order is kept", all.misplaced, misplaced_);
        order.came = grouped(all.misplaced) + " out of order";
        if (all.misplaced != 0)
            order.finding = "Under load frames change places: " + grouped(all.misplaced) + " of " +
                            grouped(all.sent) + " come after ones that were sent later" +
                            ways(&Tally::misplaced) + ".";
        auto& twice = row("load-twice", "Nothing arrives twice", all.twice, twice_);
        twice.came = grouped(all.twice) + " twice";
        if (all.twice != 0)
            twice.finding = "Under load frames are doubled: " + grouped(all.twice) + " of " +
                            grouped(all.sent) + " arrive twice" + ways(&Tally::twice) + ".";
        auto& changed =
            row("load-changed", "Nothing changes under load", all.changed + all.alien, changed_);
        changed.came = grouped(all.changed + all.alien) + " changed";
        if (all.changed != 0)
            changed.finding = "Under load " + std::string(describe(all.most_common())) + ": " +
                              grouped(all.changed) + " of " + grouped(all.sent) +
                              ways(&Tally::changed) + ".";
        else if (all.alien != 0)
            changed.finding = "Under load frames arrive that nobody sent: " + grouped(all.alien) +
                              ways(&Tally::alien) + ".";
        auto& refused = row("load-taken", "Every frame is taken", all.refused, refused_);
        refused.came = grouped(all.refused) + " not taken";
        if (all.refused != 0)
            refused.finding =
                "Under load frames are not taken for sending: " + grouped(all.refused) + " of " +
                grouped(all.sent) + ways(&Tally::refused) + ".";
        auto& fd = check("load-fd", "load", "CAN FD frames of all lengths come whole under load",
                         "ISO 11898-1 (CAN FD)");
        if (!bench_.both_fd()) {
            fd.finding = "not both ends carry CAN FD";
        } else if (fd_sent_ == 0) {
            fd.finding = "it was not tried";
        } else {
            fd.sent = counted(fd_sent_, "CAN FD frame", "CAN FD frames") +
                      " back to back, one way, the other and both at once";
            fd.sent_count = fd_sent_;
            fd.wrong_count = fd_wrong_;
            fd.examples = fd_examples_;
            fd.came = grouped(fd_sent_ - std::min(fd_sent_, fd_wrong_)) + " unchanged";
            if (fd_wrong_ != 0) {
                fd.verdict = Verdict::failed;
                fd.finding = "Under load CAN FD frames are lost or changed: " + grouped(fd_wrong_) +
                             " of " + grouped(fd_sent_) + ".";
            } else if (!done()) {
                fd.finding = "it was not tried to the end";
            } else {
                fd.verdict = Verdict::passed;
            }
        }
        auto& limit = check("load-limit", "load", "Load reaches what the line can carry",
                            "ISO 11898-1: bit times of each frame with its stuff bits");
        limit.sent = sent;
        limit.came = grouped(static_cast<std::uint64_t>(rate)) + " frames a second";
        if (all.sent == 0) {
            limit.sent.clear();
            limit.came.clear();
            limit.finding = "it was not tried";
        } else if (bench_.options.bit_rate == 0) {
            limit.finding = "the line's bit rate is not known, so neither is its limit";
        } else {
            limit.sent_count = all.sent;
            limit.came += ", " + decimal(100 * part, 1) + " % of the limit";
            if (part >= most_load)
                limit.verdict = Verdict::passed;
            else
                limit.finding = "only " + decimal(100 * part, 0) +
                                " % of the line's limit were reached: what happens beyond is not "
                                "known";
        }
        if (bench_.computer_lost != 0)
            bench_.report.notes.push_back(
                "The computer itself lost " + counted(bench_.computer_lost, "frame", "frames") +
                " because it was too slow; these count as lost. Vet again on a computer that is "
                "not busy.");
    }

  private:
    enum class Shape : std::uint8_t { all, diagnostic, fd };
    struct Way {
        Comparison comparison;
        std::size_t waiting = 0; ///< for `sent`
        std::uint32_t number = 0;
    };
    static std::size_t index(End end) { return static_cast<std::size_t>(end); }

    std::string ways(std::uint64_t Tally::*count) const {
        const bool sends = ways_[0].comparison.tally().*count != 0;
        const bool receives = ways_[1].comparison.tally().*count != 0;
        return sends == receives ? " (both ways)"
               : sends           ? " (those that it sends)"
                                 : " (those that it receives)";
    }

    void note(std::vector<Example>& list, Time now, const KnownFrame* sent, const CanFrame* came,
              const char* what) {
        const Example made{bench_.since_begin(now),
                           sent != nullptr ? frame_text(sent->view()) : std::string(),
                           came != nullptr ? frame_text(*came) : std::string(), what};
        if (list.size() < Check::most_examples)
            list.push_back(made);
        if (shape_ == Shape::fd && fd_examples_.size() < Check::most_examples)
            fd_examples_.push_back(made);
    }

    void start_burst(Time now) {
        sending_ = true;
        burst_begin_ = now;
        burst_end_ = now + burst_;
        burst_wire_ = 0;
        last_event_ = now;
        wake_ = now;
        // Bursts in turn have frames of all kinds, the shape of diagnostics, and, where the line
        // can, CAN FD alone.
        shape_ = static_cast<Shape>(at_ / 3 % (bench_.both_fd() ? 3 : 2));
        before_ = sum();
    }
    Tally sum() const {
        Tally all = ways_[0].comparison.tally();
        return all += ways_[1].comparison.tally();
    }
    bool sends(End from) const {
        const unsigned kind = at_ % 3;
        return kind == 2 || kind == index(from);
    }
    bool all_seen() const {
        return ways_[0].comparison.open() == 0 && ways_[1].comparison.open() == 0;
    }

    void fill(End from, Time now) {
        if (!sends(from))
            return;
        auto& way = ways_[index(from)];
        while (way.waiting < Vetting::most_waiting && way.comparison.open() < most_unseen) {
            if (bench_.options.bit_rate != 0 && burst_wire_ > now - burst_begin_ + 8 * ms) {
                // The line cannot have carried yet what it has been given.
                wake_ = std::min(wake_, now + 4 * ms);
                return;
            }
            const KnownFrame frame = next(from);
            const Time taken =
                line_time(frame.view(), bench_.options.bit_rate, bench_.options.data_rate);
            burst_wire_ += taken;
            wire_ += taken;
            const SendTicket ticket = bench_.send(from, frame.view());
            ++way.waiting;
            way.comparison.expect(frame, ticket, now);
            if (const auto lost = way.comparison.take_lost())
                note(lost_, now, &*lost, nullptr, "lost");
        }
    }

    /// A frame that bears its number, so that no two are the same for long.
    KnownFrame next(End from) {
        auto& way = ways_[index(from)];
        KnownFrame frame;
        const std::uint64_t chance = chance_.next();
        if (shape_ == Shape::diagnostic) {
            const auto ecu = static_cast<std::uint32_t>(chance & 7);
            frame.id = from == End::tested ? CanId{0x7E0 + ecu, false} : CanId{0x7E8 + ecu, false};
            if ((chance >> 3 & 7) == 0)
                frame.id =
                    from == End::tested ? CanId{0x18DA'10F1, true} : CanId{0x18DA'F110, true};
            frame.size = 8;
        } else {
            frame.id.extended = (chance & 1) != 0;
            frame.id.value = static_cast<std::uint32_t>(chance >> 8) &
                             (frame.id.extended ? CanId::max_extended : CanId::max_standard);
            frame.size =
                static_cast<std::uint8_t>((chance >> 1 & 3) == 0 ? 4 + (chance >> 3 & 3) : 8);
            if (shape_ == Shape::fd || (bench_.both_fd() && (chance >> 40 & 3) == 0)) {
                constexpr std::array<std::uint8_t, 8> sizes{8, 12, 16, 20, 24, 32, 48, 64};
                frame.fd = true;
                frame.bit_rate_switch = (chance >> 42 & 1) != 0;
                frame.size = sizes[chance >> 43 & 7];
            }
        }
        const std::uint64_t rest = chance_.next();
        for (std::size_t i = 0; i < frame.size; ++i)
            frame.data[i] = static_cast<std::uint8_t>(rest >> (i % 8 * 8)) ^
                            static_cast<std::uint8_t>(i / 8 * 0x1D);
        const std::uint32_t number = way.number++ | (from == End::tested ? 0U : 0x8000'0000U);
        for (std::size_t i = 0; i < 4; ++i)
            frame.data[i] = static_cast<std::uint8_t>(number >> (24 - 8 * i));
        return frame;
    }

    void give_up(Time now) {
        for (auto& way : ways_)
            way.comparison.close(
                [&](const KnownFrame& lost) { note(lost_, now, &lost, nullptr, "lost"); });
        last_event_ = now;
    }

    Chance chance_;
    std::array<Way, 2> ways_; ///< by the end that sends
    unsigned rounds_ = 1;
    unsigned at_ = 0; ///< burst
    SendTicket first_ticket_ = 0;
    bool sending_ = false;
    Shape shape_ = Shape::all;
    Tally before_;              ///< the burst
    std::uint64_t fd_sent_ = 0; ///< in bursts of CAN FD alone
    std::uint64_t fd_wrong_ = 0;
    std::vector<Example> fd_examples_;
    Time burst_ = 0;
    Time burst_begin_ = 0;
    Time burst_end_ = 0;
    Time burst_wire_ = 0; ///< that the line needs for what was given in this burst
    Time wire_ = 0;
    Time active_ = 0;
    Time last_event_ = 0;
    Time wake_ = never;
    std::vector<Example> lost_;
    std::vector<Example> twice_;
    std::vector<Example> misplaced_;
    std::vector<Example> changed_;
    std::vector<Example> refused_;
};

} // namespace

std::unique_ptr<Phase> make_load_phase(Bench& bench) {
    return std::make_unique<LoadPhase>(bench);
}

} // namespace telltale::vet
