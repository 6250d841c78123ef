// SPDX-License-Identifier: Apache-2.0
// ISO-TP messages both ways. The reference judges the frames that it sees, whoever makes them: the
// adapter itself (`own_isotp`), or ours at the adapter's end, whose frames it is to carry in time.
#include <deque>
#include <optional>
#include <utility>

#include "phase.hpp"
#include "telltale/isotp/endpoint.hpp"
#include "text.hpp"

namespace telltale::vet {

namespace {

// ISO 15765-2:2016, table 16: (N_Br + N_Ar) < 0.9 N_Bs and (N_Cs + N_As) < 0.9 N_Cr, with the
// timeouts of ISO 15765-4 (from memory): N_Bs 75 ms, N_Cr 150 ms.
constexpr Time most_flow_control = 75 * ms * 9 / 10;
constexpr Time most_consecutive = 150 * ms * 9 / 10;
constexpr std::size_t in_first = 6;
constexpr std::size_t in_consecutive = 7;
constexpr std::size_t in_single = 7;
constexpr unsigned most_in_row = 6; ///< messages that fail one after the other: no more are tried

enum class Kind : std::uint8_t { plain, wait, overflow, pending };

struct Cell {
    End from = End::tested;
    Kind kind = Kind::plain;
    std::size_t length = 1;
    std::uint8_t block_size = 0;
    std::uint8_t st_min = 0;
    std::uint8_t padding = 0xCC;
    bool extended = false;
};

/// What a check counts.
struct Count {
    std::uint64_t judged = 0;
    std::uint64_t wrong = 0;
    Time worst = 0;
    std::vector<Example> examples;
};

class IsotpPhase final : public Phase {
  public:
    explicit IsotpPhase(Bench& bench)
        : Phase(bench),
          chance_(bench.options.seed ^ 0x15'765), outlets_{Outlet{*this, End::tested},
                                                           Outlet{*this, End::reference}} {
        for (auto& byte : pattern_)
            byte = chance_.byte();
        plan();
    }

    std::string_view name() const override { return "ISO-TP messages"; }
    void begin(Time now) override { wake_ = now; }
    bool done() const override { return state_ == State::done; }

    Time next_wakeup() const override {
        Time wake = wake_;
        if (state_ == State::running)
            for (const auto& endpoint : endpoints_)
                if (endpoint)
                    wake = std::min(wake, endpoint->next_wakeup());
        return wake;
    }

    void received(End end, const CanFrame& frame, Time stamp, Time now) override {
        if (state_ != State::running || frame.kind != CanKind::data)
            return;
        auto& endpoint = endpoints_[index(end)];
        if (!endpoint || frame.id != endpoint->address().rx)
            return;
        give_up_ = std::max(give_up_, now + patience());
        if (end == End::reference)
            watch(frame, stamp, now);
        else
            judge_padding(frame, End::reference, now);
        endpoint->feed(frame, now, outlets_[index(end)]);
    }
    void sent(SendTicket ticket, bool, Time stamp, Time now) override {
        while (!given_.empty() && given_.front().ticket < ticket &&
               given_.size() > 2 * Vetting::most_waiting)
            given_.pop_front();
        for (auto& given : given_)
            if (given.ticket == ticket) {
                if (given.end == End::reference) {
                    reference_sent_ = ticket;
                    reference_sent_at_ = stamp;
                    if (flow_came_)
                        judge_flow(*std::exchange(flow_came_, {}), now);
                }
                if (endpoints_[index(given.end)])
                    endpoints_[index(given.end)]->sent(given.own, now, outlets_[index(given.end)]);
                given.ticket = 0;
                return;
            }
    }
    void message(Bytes bytes, Time now) override { came(End::tested, bytes, now); }
    void message_sent(bool fine, Time now) override { went(End::tested, fine, now); }

    void poll(Time now) override {
        now_ = now;
        if (state_ == State::running) {
            for (const End end : {End::tested, End::reference}) {
                auto& endpoint = endpoints_[index(end)];
                while (endpoint && endpoint->next_wakeup() <= now)
                    endpoint->poll(now, outlets_[index(end)]);
            }
            if (cell_.kind == Kind::wait && ready_at_ <= now) {
                endpoints_[1]->ready(true);
                ready_at_ = never;
            }
            if (cell_.kind == Kind::pending)
                answer(now);
            if (over() || now >= give_up_)
                end_cell(now);
            else
                wake_ = std::min({give_up_, ready_at_, answer_at_});
            return;
        }
        if (now < wake_)
            return;
        if (!next_cell(now)) {
            state_ = State::done;
            wake_ = never;
            return;
        }
        start_cell(now);
    }

    void finish() override {
        std::string what = counted(messages_.judged, "message", "messages") + " of 1 to " +
                           grouped(longest_) + " bytes, both ways";
        if (most_block_ != 0)
            what += ", BS 0 to " + grouped(most_block_);
        if (most_gap_ != 0)
            what += ", STmin up to " + duration_text(most_gap_);
        auto& whole = row("isotp-messages", "Messages arrive whole, both ways",
                          "ISO 15765-2:2016, 9.3", messages_, what);
        if (messages_.wrong != 0)
            whole.finding =
                "ISO-TP messages do not arrive whole, or not at all: " + grouped(messages_.wrong) +
                " of " + grouped(messages_.judged) + ".";
        auto& gaps = row("isotp-stmin", "STmin is kept", "ISO 15765-2:2016, 9.6.5.4", gaps_,
                         counted(gaps_.judged, "block", "blocks") + " with STmin of up to " +
                             duration_text(most_gap_));
        if (gaps.verdict == Verdict::failed)
            gaps.finding = "STmin is not kept: in " + grouped(gaps_.wrong) + " of " +
                           counted(gaps_.judged, "block", "blocks") +
                           " consecutive frames of the adapter follow sooner than the receiver "
                           "allows, by up to " +
                           duration_text(gaps_.worst) + ".";
        auto& blocks = row("isotp-block-size", "Block size and flow control are obeyed",
                           "ISO 15765-2:2016, 9.6.5", blocks_,
                           counted(blocks_.judged, "consecutive frame", "consecutive frames"));
        if (blocks_.wrong != 0)
            blocks.finding = "Flow control is not obeyed: " + grouped(blocks_.wrong) +
                             " consecutive frames of the adapter come without leave.";
        auto& flow = row(
            "isotp-flow-control", "Flow control is answered in time",
            "ISO 15765-2:2016, table 16: N_Br + N_Ar < 0.9 N_Bs, N_Bs 75 ms as ISO "
            "15765-4 has it (from memory)",
            flows_,
            counted(flows_.judged, "first frame or full block", "first frames and full blocks"));
        flow.came = "flow control after at most " + duration_text(longest_flow_);
        if (flow.verdict == Verdict::failed)
            flow.finding = "Flow control comes late: " + grouped(flows_.wrong) + " of " +
                           grouped(flows_.judged) + " later than " +
                           duration_text(most_flow_control) + ", by up to " +
                           duration_text(flows_.worst) + ".";
        auto& late = row("isotp-consecutive", "Consecutive frames come in time",
                         "ISO 15765-2:2016, table 16: N_Cs + N_As < 0.9 N_Cr, N_Cr 150 ms as ISO "
                         "15765-4 has it (from memory)",
                         lates_, counted(lates_.judged, "consecutive frame", "consecutive frames"));
        if (late.verdict == Verdict::failed)
            late.finding = "Consecutive frames come late: " + grouped(lates_.wrong) + " of " +
                           grouped(lates_.judged) + " later than " +
                           duration_text(most_consecutive) + ", by up to " +
                           duration_text(lates_.worst) + ".";
        auto& padding =
            row("isotp-padding", "Padding is kept",
                "ISO 15765-4 (all frames have 8 bytes; from memory); common practice", padding_,
                counted(padding_.judged, "frame", "frames") + " that messages do not fill");
        if (padding_.wrong != 0)
            padding.finding = "Padding is not kept: " + grouped(padding_.wrong) + " of " +
                              grouped(padding_.judged) +
                              " frames are filled with other bytes, or not to 8 bytes.";
        auto& wait = row("isotp-wait", "Waiting and overflow are heeded",
                         "ISO 15765-2:2016, 9.6.5.2", waits_,
                         counted(waits_.judged, "message", "messages") +
                             " that the receiver puts off or refuses");
        if (waits_.wrong != 0)
            wait.finding =
                "Flow control that says wait or overflow is not heeded: " + grouped(waits_.wrong) +
                " of " + grouped(waits_.judged) + " times.";
        auto& pending =
            row("response-pending", "Response pending is sat out",
                "ISO 14229-1 (negative response 78); P2* of 5 s, ISO 15765-4 (from "
                "memory)",
                pending_,
                counted(pending_.judged, "answer", "answers") +
                    " after 7F 01 78, with pauses of up to " + duration_text(long_pause()));
        if (pending_.wrong != 0)
            pending.finding = "After response pending the answer does not come through.";
        if (bench_.lateness > 20 * ms)
            bench_.report.notes.push_back("The computer was busy: it was late by up to " +
                                          duration_text(bench_.lateness) +
                                          " while ISO-TP messages were tried.");
    }

  private:
    enum class State : std::uint8_t { between, running, done };
    struct Outlet final : isotp::Outlet {
        Outlet(IsotpPhase& wanted, End which) : phase(wanted), end(which) {}
        void frame(const CanFrame& frame, isotp::Ticket ticket) override {
            phase.give(end, frame, ticket);
        }
        void message(const isotp::Message& message) override {
            phase.came(end, message.bytes, phase.now_);
        }
        void receive_failed(isotp::Outcome, const isotp::Message&, Time) override {
            phase.broken_ = true;
        }
        void transmitted(isotp::Outcome outcome, Time) override {
            phase.went(end, outcome == isotp::Outcome::ok, phase.now_);
        }
        IsotpPhase& phase;
        End end;
    };
    struct Given {
        SendTicket ticket = 0;
        End end = End::tested;
        isotp::Ticket own = 0;
    };
    static std::size_t index(End end) { return static_cast<std::size_t>(end); }
    Time long_pause() const {
        return bench_.options.duration >= 20 * nanoseconds_a_second ? 1800 * ms : 400 * ms;
    }

    // What is tried.

    void add(std::size_t length, std::uint8_t block_size, std::uint8_t st_min,
             Kind kind = Kind::plain) {
        for (const End from : {End::tested, End::reference}) {
            if (kind != Kind::plain && from == End::reference)
                continue;
            Cell cell;
            cell.from = from;
            cell.kind = kind;
            cell.length = length;
            cell.block_size = block_size;
            cell.st_min = st_min;
            cell.padding = bench_.options.own_isotp ? bench_.options.padding : next_padding();
            cell.extended = !bench_.options.own_isotp && cells_.size() % 4 >= 2;
            cells_.push_back(cell);
        }
    }
    std::uint8_t next_padding() {
        constexpr std::array<std::uint8_t, 6> bytes{0xCC, 0x00, 0xFF, 0x55, 0xAA, 0xCC};
        return bytes[chance_.below(bytes.size())];
    }
    void plan() {
        for (const std::size_t length :
             {1U,  2U,  3U,  4U,  5U,  6U,  7U,   8U,   9U,   12U,  13U,
              14U, 20U, 21U, 62U, 63U, 64U, 127U, 128U, 255U, 256U, 257U})
            add(length, 0, 0);
        add(20, 0, 0, Kind::wait);
        add(300, 4, 0, Kind::wait);
        add(100, 0, 0, Kind::overflow);
        for (const unsigned block : {1U, 2U, 3U, 8U, 15U, 16U})
            add(120, static_cast<std::uint8_t>(block), 0);
        add(2000, 255, 0);
        for (const unsigned gap : {0x01U, 0x05U, 0x0AU, 0x14U, 0xF1U, 0xF5U, 0xF9U})
            add(50, 0, static_cast<std::uint8_t>(gap));
        add(60, 3, 0x0A);
        add(20, 0, 0x7F);
        if (bench_.options.duration >= 10 * nanoseconds_a_second)
            for (const unsigned gap : {0x80U, 0xF0U, 0xFAU, 0xFFU}) // reserved: as 7F
                add(20, 0, static_cast<std::uint8_t>(gap));
        add(4094, 0, 0);
        add(4095, 0, 0);
        add(4095, 8, 0);
        add(2, 0, 0, Kind::pending);
        must_ = cells_.size();
    }
    bool next_cell(Time now) {
        if (in_row_ == most_in_row || (in_row_ != 0 && now > bench_.deadline))
            return false;
        if (at_ < must_)
            return true;
        if (now > bench_.deadline - 200 * ms)
            return false;
        // Any length, BS and STmin, as long as it does not take too long.
        cells_.resize(must_);
        at_ = must_;
        const std::uint32_t kind = chance_.below(4);
        std::uint8_t gap = 0;
        if (kind == 1)
            gap = static_cast<std::uint8_t>(chance_.below(0x80));
        else if (kind == 2)
            gap = static_cast<std::uint8_t>(0xF1 + chance_.below(9));
        else if (kind == 3)
            gap = chance_.byte();
        std::size_t most = chance_.below(3) == 0 ? 4095 : 300;
        if (const Time each = isotp::st_min_time(gap); each != 0)
            most = std::min<std::size_t>(
                most, in_first + in_consecutive * static_cast<std::size_t>(400 * ms / each + 2));
        add(1 + chance_.below(static_cast<std::uint32_t>(most)),
            chance_.below(2) == 0 ? std::uint8_t{0} : chance_.byte(), gap);
        return true;
    }

    // One message.

    void start_cell(Time now) {
        cell_ = cells_[at_++];
        state_ = State::running;
        begun_ = now;
        came_ = went_ = broken_ = false;
        right_ = true;
        ready_at_ = answer_at_ = never;
        answers_ = 0;
        allowed_ = 0;
        block_ = {};
        rest_ = {0, 0};
        pending_came_ = 0;
        flow_came_.reset();
        reference_given_ = reference_sent_ = 0;
        isotp::Address address = bench_.options.address;
        if (!bench_.options.own_isotp)
            address = isotp::tester_address(cell_.extended ? CanId{0x18DA'F110, true}
                                                           : CanId{0x7E8, false});
        isotp::Options options;
        // Who judges is patient: what is late is to be seen, not to be cut off.
        options.timing = isotp::Timing::general();
        options.timing.n_br = 25 * ms;
        options.confirmed = true;
        options.padding = cell_.padding;
        options.block_size = cell_.block_size;
        options.st_min = cell_.st_min;
        options.wft_max = 20;
        if (bench_.options.own_isotp)
            endpoints_[0].reset();
        else
            endpoints_[0].emplace(address, options);
        if (cell_.kind == Kind::overflow)
            options.max_message = cell_.length - 1;
        endpoints_[1].emplace(address.reversed(), options);
        if (cell_.kind == Kind::wait) {
            endpoints_[1]->ready(false);
            ready_at_ = now + 90 * ms;
        }
        wanted_.assign(pattern_.begin(),
                       pattern_.begin() + static_cast<std::ptrdiff_t>(cell_.length));
        wanted_[0] = static_cast<std::uint8_t>(at_); // no two in a row are the same
        if (cell_.kind == Kind::pending)
            wanted_ = {0x01, 0x00};
        give_up_ = now + patience();
        now_ = now;
        if (cell_.from == End::tested && bench_.options.own_isotp)
            bench_.outlet->send_message(wanted_);
        else
            (void)endpoints_[index(cell_.from)]->transmit(wanted_, now);
        wake_ = std::min({give_up_, ready_at_, now});
    }
    /// Without a frame for so long, a message will not come whole.
    Time patience() const {
        return 1500 * ms + isotp::st_min_time(cell_.st_min) +
               (cell_.kind == Kind::pending ? long_pause() : 0);
    }
    bool over() const {
        if (cell_.kind == Kind::pending)
            return pending_came_ == answers_wanted && answers_ == answers_wanted;
        if (cell_.kind == Kind::overflow)
            return went_ && now_ >= begun_ + 100 * ms;
        return came_ && went_;
    }
    void end_cell(Time now) {
        const bool in_time = over();
        auto& count = cell_.kind == Kind::pending ? pending_
                      : cell_.kind == Kind::plain ? messages_
                                                  : waits_;
        ++count.judged;
        const bool fine = in_time && right_;
        in_row_ = fine ? 0 : in_row_ + 1;
        if (!fine)
            wrong(count, now, counted(cell_.length, "byte", "bytes"), "",
                  !right_   ? "not what was sent"
                  : broken_ ? "broken off"
                            : "not whole in time");
        end_block(now);
        longest_ = std::max(longest_, cell_.length);
        if (cell_.length > in_single) {
            most_block_ = std::max<unsigned>(most_block_, cell_.block_size);
            most_gap_ = std::max(most_gap_, isotp::st_min_time(cell_.st_min));
        }
        for (const End end : {End::tested, End::reference})
            if (endpoints_[index(end)])
                endpoints_[index(end)]->cancel(now, quiet_);
        state_ = State::between;
        // What failed may have frames under way that are not to disturb the next one.
        wake_ = now + (fine ? 2 * ms : 300 * ms);
    }

    static constexpr unsigned answers_wanted = 3; ///< two that say wait, and the answer
    void answer(Time now) {
        if (!came_)
            return;
        if (answer_at_ == never && answers_ == 0)
            answer_at_ = now + 5 * ms;
        if (now < answer_at_ || answers_ == answers_wanted || endpoints_[1]->sending())
            return;
        ++answers_;
        const std::array<std::uint8_t, 3> pending{0x7F, 0x01, 0x78};
        if (answers_ < answers_wanted) {
            (void)endpoints_[1]->transmit(pending, now);
            answer_at_ = now + (answers_ == 1 ? 400 * ms : long_pause());
        } else {
            (void)endpoints_[1]->transmit(Bytes(pattern_).first(40), now);
            answer_at_ = never;
        }
        // Its frames come with the next poll, which is due at once.
    }

    void came(End end, Bytes bytes, Time now) {
        if (state_ != State::running)
            return;
        if (cell_.kind == Kind::pending && end == End::tested) {
            const bool last = pending_came_ + 1 == answers_wanted;
            const std::array<std::uint8_t, 3> pending{0x7F, 0x01, 0x78};
            const Bytes expected = last ? Bytes(pattern_).first(40) : Bytes(pending);
            right_ &= std::equal(bytes.begin(), bytes.end(), expected.begin(), expected.end());
            ++pending_came_;
        } else if (end == cell_.from || came_) {
            right_ = false; // an echo, or a second one
        } else {
            came_ = true;
            right_ &= std::equal(bytes.begin(), bytes.end(), wanted_.begin(), wanted_.end());
        }
        wake_ = now;
    }
    void went(End end, bool fine, Time now) {
        if (state_ != State::running || end != cell_.from || went_)
            return;
        went_ = true;
        if (fine == (cell_.kind == Kind::overflow))
            right_ = false;
        wake_ = now;
    }

    // Frames of ours.

    void give(End end, const CanFrame& frame, isotp::Ticket own) {
        const SendTicket ticket = bench_.send(end, frame);
        given_.push_back({ticket, end, own});
        if (end != End::reference || frame.data.empty())
            return;
        reference_given_ = ticket;
        if (frame.data[0] >> 4 == 3) { // what the adapter may do from now on
            end_block(now_);
            block_.gap = isotp::st_min_time(frame.data[2]);
            const unsigned status = frame.data[0] & 0xFU;
            allowed_ = status != 0          ? 0
                       : frame.data[1] == 0 ? std::numeric_limits<unsigned>::max()
                                            : frame.data[1];
        }
    }

    // Frames of the adapter, as the reference sees them.

    struct Block {
        Time gap = 0; ///< STmin
        Time first = 0;
        Time last = 0;
        unsigned frames = 0;
        bool short_gap = false;
        Time shortest = never;
    };

    void watch(const CanFrame& frame, Time stamp, Time now) {
        judge_padding(frame, End::tested, now);
        if (frame.data.empty())
            return;
        switch (frame.data[0] >> 4) {
        case 2:
            ++blocks_.judged;
            if (allowed_ == 0)
                wrong(blocks_, now, "", frame_text(frame), "without leave");
            else if (allowed_ != std::numeric_limits<unsigned>::max())
                --allowed_;
            if (block_.frames == 0) {
                block_.first = stamp;
                if (reference_sent_ == reference_given_ && reference_sent_ != 0)
                    judge_late(stamp - reference_sent_at_, frame, now);
            } else {
                const Time gap = stamp - block_.last;
                block_.shortest = std::min(block_.shortest, gap);
                if (gap + tolerance() < block_.gap)
                    block_.short_gap = true;
                if (block_.gap <= 100 * ms)
                    judge_late(gap, frame, now);
            }
            block_.last = stamp;
            ++block_.frames;
            break;
        case 3:
            if (reference_sent_ == reference_given_)
                judge_flow(stamp, now);
            else
                flow_came_ = stamp;
            break;
        default:
            break;
        }
    }
    /// What even a sound adapter may be early by, because times are only so good.
    Time tolerance() const {
        const bool late_confirm =
            !bench_.options.own_isotp && !bench_.facts(End::tested).confirms_on_wire;
        const auto times = bench_.facts(End::reference).times;
        return ms / 10 + (late_confirm ? 3 * ms / 2 : 0) +
               (times == link::TimeFrom::device ? ms : 0);
    }
    void end_block(Time now) {
        if (block_.frames > 1 && block_.gap > 0) {
            ++gaps_.judged;
            const Time wanted = block_.gap * (block_.frames - 1);
            const Time missing = wanted - (block_.last - block_.first);
            const bool even = bench_.facts(End::reference).times != link::TimeFrom::program;
            // Times of the computer lie as much as it is late; what counts is the whole block.
            const Time slack = even ? tolerance() : 10 * ms + 2 * bench_.lateness;
            if ((even && block_.short_gap) || (missing > slack && missing * 5 > wanted)) {
                const Time by = std::max(missing, block_.gap - block_.shortest);
                gaps_.worst = std::max(gaps_.worst, by);
                wrong(gaps_, now, "STmin " + duration_text(block_.gap),
                      duration_text(block_.shortest) + " between two", "too soon");
            }
        }
        block_.frames = 0;
        block_.short_gap = false;
        block_.shortest = never;
    }
    void judge_late(Time gap, const CanFrame& frame, Time now) {
        ++lates_.judged;
        if (gap <= most_consecutive + bench_.lateness)
            return;
        lates_.worst = std::max(lates_.worst, gap - most_consecutive);
        wrong(lates_, now, "", frame_text(frame), "after " + duration_text(gap));
    }
    void judge_flow(Time stamp, Time now) {
        ++flows_.judged;
        const Time after = stamp - reference_sent_at_;
        longest_flow_ = std::max(longest_flow_, after);
        if (after <= most_flow_control + 2 * bench_.lateness)
            return;
        flows_.worst = std::max(flows_.worst, after - most_flow_control);
        wrong(flows_, now, "", "flow control", "after " + duration_text(after));
    }
    void judge_padding(const CanFrame& frame, End from, Time now) {
        if (frame.data.empty())
            return;
        std::size_t end = 0;
        auto& rest = rest_[index(from)];
        switch (frame.data[0] >> 4) {
        case 0:
            end = 1U + (frame.data[0] & 0xFU);
            break;
        case 1:
            if (frame.data.size() == 8) {
                const std::size_t length = (frame.data[0] & 0xFU) << 8U | frame.data[1];
                rest = length > in_first ? length - in_first : 0;
            }
            return;
        case 2:
            end = 1 + std::min(rest, in_consecutive);
            rest -= std::min(rest, in_consecutive);
            break;
        case 3:
            end = 3;
            break;
        default:
            return;
        }
        if (end >= 8)
            return;
        ++padding_.judged;
        bool kept = frame.data.size() == 8;
        for (std::size_t i = end; i < frame.data.size(); ++i)
            kept &= frame.data[i] == cell_.padding;
        if (!kept)
            wrong(padding_, now, "padding " + frame_text_of(cell_.padding), frame_text(frame),
                  "other padding");
    }
    static std::string frame_text_of(std::uint8_t byte) {
        CanFrame frame;
        frame.data = Bytes(&byte, 1);
        return frame_text(frame).substr(4);
    }

    void wrong(Count& count, Time now, std::string sent, std::string got, std::string what) {
        ++count.wrong;
        if (count.examples.size() < Check::most_examples)
            count.examples.push_back(
                {bench_.since_begin(now), std::move(sent), std::move(got), std::move(what)});
    }

    Check& row(std::string id, std::string title, std::string basis, Count& count, std::string sent,
               bool = false) {
        auto& made = check(std::move(id), "isotp", std::move(title), std::move(basis));
        made.sent_count = count.judged;
        made.wrong_count = count.wrong;
        if (count.judged == 0) {
            made.finding = "it was not tried";
            return made;
        }
        made.sent = std::move(sent);
        made.came = count.wrong == 0
                        ? "all as they should be"
                        : grouped(count.wrong) + " of " + grouped(count.judged) + " wrong";
        made.examples = count.examples;
        // Where the reference has the computer's times only, a few late ones say nothing.
        const bool timed = &count == &gaps_ || &count == &flows_ || &count == &lates_;
        const bool uneven = timed && count.wrong * 20 < count.judged &&
                            bench_.facts(End::reference).times == link::TimeFrom::program;
        if (count.wrong != 0 && uneven)
            made.finding = "the computer's times were too uneven to judge it";
        else if (count.wrong != 0)
            made.verdict = Verdict::failed;
        else if (at_ < must_)
            made.finding = "it was not tried to the end";
        else
            made.verdict = Verdict::passed;
        return made;
    }

    struct Quiet final : isotp::Outlet {
        void frame(const CanFrame&, isotp::Ticket) override {}
    };

    Chance chance_;
    std::array<std::uint8_t, 4095> pattern_{};
    std::vector<Cell> cells_;
    std::size_t must_ = 0;
    std::size_t at_ = 0;
    State state_ = State::between;
    Cell cell_;
    std::vector<std::uint8_t> wanted_;
    std::array<Outlet, 2> outlets_;
    Quiet quiet_;
    std::array<std::optional<isotp::Endpoint>, 2> endpoints_;
    std::deque<Given> given_;
    Time now_ = 0;
    Time wake_ = never;
    Time begun_ = 0;
    Time give_up_ = never;
    Time ready_at_ = never;
    Time answer_at_ = never;
    unsigned answers_ = 0;
    unsigned pending_came_ = 0;
    bool came_ = false;
    bool went_ = false;
    bool broken_ = false;
    bool right_ = true;
    unsigned in_row_ = 0;  ///< messages that failed
    unsigned allowed_ = 0; ///< consecutive frames that the adapter may send
    Block block_;
    std::array<std::size_t, 2> rest_{}; ///< bytes that the message of an end still has to send
    SendTicket reference_given_ = 0;
    SendTicket reference_sent_ = 0;
    Time reference_sent_at_ = 0;
    std::optional<Time> flow_came_;

    Count messages_;
    Count gaps_;
    Count blocks_;
    Count flows_;
    Count lates_;
    Count padding_;
    Count waits_;
    Count pending_;
    Time longest_flow_ = 0;
    std::size_t longest_ = 0;
    unsigned most_block_ = 0;
    Time most_gap_ = 0;
};

} // namespace

std::unique_ptr<Phase> make_isotp_phase(Bench& bench) {
    return std::make_unique<IsotpPhase>(bench);
}

} // namespace telltale::vet
