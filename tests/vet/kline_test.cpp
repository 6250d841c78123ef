// SPDX-License-Identifier: Apache-2.0
// A K-line adapter, made of the link's own machine, on a wire with a virtual clock; and adapters
// that do one thing wrong each.
#include <doctest/doctest.h>

#include <algorithm>
#include <deque>
#include <string>
#include <vector>

#include "bench.hpp"
#include "telltale/link/kline_machine.hpp"
#include "telltale/vet/kline.hpp"
#include "verdicts.hpp"

using namespace telltale;
using namespace telltale::vet;
using vet_test::ms;
using vet_test::Rows;
using vet_test::with;

namespace {

enum class Fault {
    none,
    sets_checksums_right,
    hands_on_its_echo,
    loses_answers,
    changes_answers,
    changes_requests,
    doubles_answers,
    cuts_slow_answers,
    sends_without_pauses,
    turns_the_key_late,
    wakes_nobody,
    hears_itself_wrong,
    misses_itself,
    loses_bytes,
    swallows_bytes,
};

class Wire final : public link::KlineOutlet {
  public:
    /// `in_pieces`: a computer that stalls cuts what comes in.
    explicit Wire(Fault fault, const KlineOptions& options = {}, bool in_pieces = false)
        : fault_(fault), in_pieces_(in_pieces), random_(options.seed), vetting_(options, now_) {}

    Report run() {
        const Time end = now_ + 600 * nanoseconds_a_second;
        while (!vetting_.done() && now_ < end) {
            Time next = end;
            const auto at = [&next](Time time) {
                if (time != no_time)
                    next = std::min(next, time);
            };
            if (!bytes_.empty())
                at(bytes_.front().at);
            at(vetting_.next_wakeup());
            at(machine_.wake_at());
            now_ = std::max(now_, next);
            if (!bytes_.empty() && bytes_.front().at <= now_) {
                const Byte byte = bytes_.front();
                bytes_.pop_front();
                const bool heard = !byte.from_adapter || !hits(Fault::swallows_bytes, 200);
                if (byte.from_adapter && heard)
                    vetting_.heard(byte.value, now_);
                else if (!byte.from_adapter && last_ != no_time && now_ - last_ > 10 * ms &&
                         now_ - last_ < 21 * ms)
                    slow_ = true;
                last_ = now_;
                if (own_ > 0 && byte.from_adapter)
                    --own_; // those that went past the machine
                else if (!hits(byte.from_adapter ? Fault::misses_itself : Fault::loses_bytes, 200))
                    machine_.heard(byte.from_adapter && hits(Fault::hears_itself_wrong, 200)
                                       ? byte.value ^ 4
                                       : byte.value,
                                   now_, *this);
            } else if (vetting_.next_wakeup() <= now_) {
                vetting_.poll(now_, wanted_);
            } else if (machine_.wake_at() != no_time && machine_.wake_at() <= now_) {
                machine_.wake(now_, *this);
            }
            if (sent_now_) {
                sent_now_ = false;
                vetting_.sent(true, now_,
                              fault_ == Fault::sends_without_pauses ? KlineEcho::unknown
                              : machine_.echoed()                   ? KlineEcho::whole
                                                                    : KlineEcho::none);
            }
        }
        CHECK(vetting_.done());
        return vetting_.report();
    }

  private:
    struct Byte {
        Time at = 0;
        std::uint8_t value = 0;
        bool from_adapter = false;
    };
    void push(std::uint8_t value, bool from_adapter, Time later = 0) {
        const Time after = bytes_.empty() ? now_ : std::max(now_, bytes_.back().at);
        bytes_.push_back({after + later + KlineCutter::byte_time, value, from_adapter});
    }

    /// What the vetting wants.
    struct Wanted final : KlineVetOutlet {
        explicit Wanted(Wire& of) : wire(of) {}
        void open(KlineWaking how) override { wire.open(how); }
        void send(Bytes frame) override { wire.send(frame); }
        void put(std::uint8_t byte) override { wire.push(byte, false); }
        Wire& wire;
    };
    void open(KlineWaking how) {
        opening_ = true;
        link::KlineWake wake;
        wake.way = how == KlineWaking::none        ? link::KlineWake::Way::none
                   : how == KlineWaking::five_baud ? link::KlineWake::Way::five_baud
                                                   : link::KlineWake::Way::fast;
        if (fault_ == Fault::wakes_nobody)
            wake.way = link::KlineWake::Way::none;
        machine_.start(wake, now_, *this);
    }
    void send(Bytes frame) {
        std::vector<std::uint8_t> bytes(frame.begin(), frame.end());
        if (fault_ == Fault::changes_requests && hits(fault_, 10)) {
            bytes[bytes.size() - 2] ^= 4;
            bytes.back() = kline_checksum(Bytes(bytes).first(bytes.size() - 1));
        }
        sent_ = bytes;
        if (fault_ == Fault::sends_without_pauses) {
            for (const std::uint8_t byte : bytes)
                push(byte, true);
            own_ = bytes.size();
            sent_now_ = true;
        } else {
            machine_.transmit(bytes, now_, *this);
        }
    }

    // What the machine does to the line, and tells.
    void low(bool on) override {
        if (on && !low_)
            vetting_.heard(0, now_ + KlineCutter::byte_time);
        low_ = on;
    }
    void put(std::uint8_t byte) override {
        push(byte, true, opening_ && fault_ == Fault::turns_the_key_late ? 40 * ms : 0);
    }
    void discard_heard() override {}
    void awake(const link::KlineAwake&) override {
        opening_ = false;
        vetting_.opened(true, now_);
    }
    void failed(link::KlineTrouble, std::string_view) override {
        opening_ = false;
        vetting_.opened(false, now_);
    }
    void frame(Bytes bytes, Time, bool own) override {
        if (own || opening_)
            return;
        std::vector<std::uint8_t> frame(bytes.begin(), bytes.end());
        if (fault_ == Fault::loses_answers && hits(fault_, 10))
            return;
        if (fault_ == Fault::changes_answers && hits(fault_, 10))
            frame[frame.size() / 2] ^= 1;
        if (fault_ == Fault::sets_checksums_right)
            frame.back() = kline_checksum(Bytes(frame).first(frame.size() - 1));
        if (fault_ == Fault::cuts_slow_answers && slow_)
            frame.resize(frame.size() / 2);
        slow_ = false;
        const std::size_t cut = in_pieces_ ? 1 + frame.size() / 2 : frame.size();
        vetting_.received(Bytes(frame).first(cut), now_);
        if (cut < frame.size())
            vetting_.received(Bytes(frame).subspan(cut), now_);
        if (fault_ == Fault::doubles_answers && hits(fault_, 10))
            vetting_.received(frame, now_);
        if (fault_ == Fault::hands_on_its_echo && hits(fault_, 10))
            vetting_.received(sent_, now_);
    }
    void sent(Time) override { sent_now_ = true; }
    void send_failed(link::KlineTrouble, std::string_view) override {
        vetting_.sent(false, now_, KlineEcho::wrong);
    }

    bool hits(Fault fault, double one_in) { return fault_ == fault && random_.hits(1 / one_in); }

    Fault fault_;
    bool in_pieces_;
    vet_test::Random random_;
    Time now_ = nanoseconds_a_second;
    KlineVetting vetting_;
    Wanted wanted_{*this};
    link::KlineMachine machine_;
    std::deque<Byte> bytes_;
    std::vector<std::uint8_t> sent_;
    std::size_t own_ = 0;
    Time last_ = no_time;
    bool slow_ = false;
    bool low_ = false;
    bool opening_ = false;
    bool sent_now_ = false;
};

} // namespace

TEST_CASE("a sound K-line adapter passes; what the line cannot show is untested") {
    const Report report = Wire(Fault::none).run();
    CHECK(with(report, Verdict::failed) == Rows{});
    CHECK(with(report, Verdict::untested) == Rows{});
    for (const Check& check : report.checks)
        if (check.id == "kline-requests")
            CHECK(check.sent_count > 120);
    REQUIRE(report.latencies.size() == 1);
    CHECK(report.latencies[0].latency.total() > 100);

    KlineOptions options;
    options.wakes = options.exact = false;
    const Report plain = Wire(Fault::none, options).run();
    CHECK(with(plain, Verdict::failed) == Rows{});
    CHECK(with(plain, Verdict::untested) ==
          Rows{"kline-five-baud", "kline-fast", "kline-slow", "kline-pauses", "kline-rests"});
    // Where times say nothing, neither what is sound nor what is not is lost on pieces.
    const Report cut = Wire(Fault::none, options, true).run();
    CHECK(with(cut, Verdict::failed) == Rows{});
    const Report righted = Wire(Fault::sets_checksums_right, options, true).run();
    CHECK(with(righted, Verdict::failed) == Rows{"kline-checksum"});
}

// With TELLTALE_SEEDS, so many seeds; DEVELOPERS.md has what 100 gave.
TEST_CASE("campaign: faulty K-line adapters are found, by the row that names the fault") {
    const std::uint64_t count = vet_test::seeds().count;
    struct Case {
        Fault fault;
        const char* name;
        const char* row; ///< empty: a sound one
        const char* words;
    };
    vet_test::Tally::head("K-line adapter");
    for (const Case& one : {
             Case{Fault::none, "sound", "", ""},
             Case{Fault::sets_checksums_right, "sets wrong checksums right", "kline-checksum",
                  "wrong checksums are let through"},
             Case{Fault::hands_on_its_echo, "hands on its own frames, 1 in 10", "kline-echo",
                  "its own frames come back"},
             Case{Fault::loses_answers, "loses answers, 1 in 10", "kline-answers", "lost"},
             Case{Fault::changes_answers, "changes answers, 1 in 10", "kline-answers", "changed"},
             Case{Fault::loses_bytes, "loses bytes of answers, 1 in 200", "kline-answers",
                  "changed"},
             Case{Fault::changes_requests, "changes requests, 1 in 10", "kline-requests",
                  "changed"},
             Case{Fault::swallows_bytes, "swallows bytes of requests, 1 in 200", "kline-requests",
                  "lost"},
             Case{Fault::doubles_answers, "doubles answers, 1 in 10", "kline-twice",
                  "answers come twice"},
             Case{Fault::cuts_slow_answers, "cuts slow answers", "kline-slow", "slow answers"},
             Case{Fault::hears_itself_wrong, "hears itself wrong, 1 byte in 200", "kline-own",
                  "does not come back"},
             Case{Fault::misses_itself, "does not hear itself, 1 byte in 200", "kline-own",
                  "does not come back"},
             Case{Fault::sends_without_pauses, "sends without pauses", "kline-pauses",
                  "outside of P4"},
             Case{Fault::turns_the_key_late, "turns the key byte late", "kline-five-baud", "W4"},
             Case{Fault::wakes_nobody, "wakes nobody", "kline-fast", "it is not"},
         }) {
        vet_test::Tally tally(one.name, one.row, one.words);
        for (std::uint64_t seed = 1; seed <= count; ++seed) {
            KlineOptions options;
            options.seed = seed;
            tally.add(Wire(one.fault, options).run(), seed);
        }
        tally.end();
    }
}
