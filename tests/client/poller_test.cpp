// SPDX-License-Identifier: Apache-2.0
#include "limit.hpp"
#include "wire.hpp"

#include <map>

#include <doctest/doctest.h>

#include "telltale/catalogue/catalogue.hpp"
#include "telltale/client/finder.hpp"
#include "telltale/client/poller.hpp"
#include "telltale/client/reader.hpp"

using namespace telltale;
using namespace telltale::client;
using telltale::tests::ms;
using telltale::tests::sec;

namespace {

/// A vehicle, a session that has found it, and what its ECUs support.
struct Bench {
    explicit Bench(const mimic::Options& options, bool bit_times = true)
        : vehicle(options), session(line(), timing()), wire(session, vehicle) {
        wire.bit_times = bit_times;
        ReaderOptions reader_options;
        reader_options.support_only = true;
        Reader reader(line(), reader_options);
        session.run(reader, wire.now);
        REQUIRE(wire.run(wire.now + 30 * sec, [&] { return session.done(); }));
        ecus = reader.ecus();
        REQUIRE(ecus.size() == vehicle.ecus());
        session.stop();
        wire.run(sec);
    }
    static Line line() {
        Line line;
        line.bit_rate = 500'000;
        return line;
    }
    static Timing timing() { return timing_of(Dialect::can_11); }

    /// All parameters of the first ECU, as often as can be.
    std::vector<Wanted> everything(std::size_t most = 256) const {
        std::vector<Wanted> out;
        for (unsigned pid = 1; pid < 256; ++pid)
            if (ecus[0].supported[1].test(pid) && out.size() < most)
                out.push_back({static_cast<std::uint8_t>(pid), ecus[0].id, 0});
        return out;
    }

    mimic::Vehicle vehicle;
    Session session;
    tests::Wire wire;
    std::vector<EcuFacts> ecus;
};

mimic::Options prompt() {
    mimic::Options options;
    options.habits.delay = 0;
    options.habits.spread = 0;
    return options;
}

/// One PID a request, to all; the next one as soon as `ecus` have answered, or when P2 is over.
class PlainLoop final : public Task {
  public:
    PlainLoop(std::vector<Wanted> wanted, bool waits) : wanted_(std::move(wanted)), waits_(waits) {}
    bool next(Time, Request& request) override {
        bytes_ = {0x01, wanted_[at_++ % wanted_.size()].pid};
        request.bytes = bytes_;
        if (!waits_) {
            ecu_ = *wanted_.front().ecu;
            request.to = ecu_;
        }
        return true;
    }
    void told(const Exchange& exchange, Time) override { values += exchange.replies.size(); }
    bool done() const override { return false; }
    std::uint64_t values = 0;

  private:
    std::vector<Wanted> wanted_;
    bool waits_;
    std::size_t at_ = 0;
    CanId ecu_;
    std::array<std::uint8_t, 2> bytes_{};
};

std::uint64_t polled(Bench& bench, const std::vector<Wanted>& wanted, Time span) {
    Poller poller(Bench::line(), bench.ecus, wanted);
    std::uint64_t values = 0;
    poller.on_sample = [&](const Sample&) { ++values; };
    bench.session.run(poller, bench.wire.now);
    bench.wire.run(span);
    bench.session.stop();
    bench.wire.run(sec);
    return values;
}

std::uint64_t looped(Bench& bench, const std::vector<Wanted>& wanted, bool waits, Time span) {
    PlainLoop loop(wanted, waits);
    bench.session.run(loop, bench.wire.now);
    bench.wire.run(span);
    bench.session.stop();
    bench.wire.run(sec);
    return loop.values;
}

} // namespace

TEST_CASE("the line is full of what is asked for") {
    Bench bench(prompt());
    const auto wanted = bench.everything();
    const std::uint64_t bits = bench.wire.bit_count;
    const Time from = bench.wire.now;
    Poller poller(Bench::line(), bench.ecus, wanted);
    std::uint64_t values = 0;
    poller.on_sample = [&](const Sample&) { ++values; };
    bench.session.run(poller, bench.wire.now);
    bench.wire.run(10 * sec);
    const double share = static_cast<double>(bench.wire.bit_count - bits) * 2000 /
                         static_cast<double>(bench.wire.now - from);
    MESSAGE("", values / 10, " values a second of ", wanted.size(),
            " parameters, the bus is busy for ", share * 100, " % of the time");
    // All of the line's time is frames, and there is hardly a better way to use them.
    CHECK(share > 0.98);
    std::vector<std::size_t> lengths;
    for (const Wanted& want : wanted)
        lengths.push_back(catalogue::pid(want.pid)->length);
    const double most = static_cast<double>(lengths.size()) * 500'000 /
                        (static_cast<double>(tests::least_frames(lengths)) *
                         static_cast<double>(tests::Wire::bits({0x7DF, false}, 8)));
    MESSAGE("the most that the bus can carry: ", most, " values a second");
    CHECK(static_cast<double>(values) / 10 > 0.9 * most);
    for (const Rate& rate : poller.rates(bench.wire.now)) {
        CHECK(rate.limit == Limit::line);
        CHECK(rate.reached > 10);
    }
    bench.session.stop();
    bench.wire.run(sec);

    // Against plain loops on the same line.
    const auto waiting = looped(bench, wanted, true, 10 * sec);
    const auto eager = looped(bench, wanted, false, 10 * sec);
    MESSAGE("plain loop that waits for P2: ", waiting / 10, ", that asks one ECU: ", eager / 10);
    CHECK(values > 4 * waiting);
    CHECK(values > 2 * eager);
}

TEST_CASE("ECUs that take their time: a request for six is worth it") {
    mimic::Options options;
    options.habits.delay = 5 * ms;
    options.habits.spread = 2 * ms;
    Bench bench(options);
    const auto wanted = bench.everything();
    const auto values = polled(bench, wanted, 10 * sec);
    const auto eager = looped(bench, wanted, false, 10 * sec);
    MESSAGE("poller ", values / 10, ", plain loop that asks one ECU ", eager / 10,
            " values a second");
    CHECK(values > 4 * eager);
}

TEST_CASE("each parameter at its own rate") {
    mimic::Options options;
    options.habits.delay = 2 * ms;
    options.habits.spread = 2 * ms;
    Bench bench(options);
    std::vector<Wanted> wanted = {{0x0C, {}, 50 * ms},  {0x0D, {}, 100 * ms}, {0x05, {}, sec},
                                  {0x11, {}, 200 * ms}, {0x0B, {}, 0},        {0xA9, {}, sec}};
    Poller poller(Bench::line(), bench.ecus, wanted);
    bench.session.run(poller, bench.wire.now);
    bench.wire.run(10 * sec);
    bool unsupported = false;
    for (const Rate& rate : poller.rates(bench.wire.now)) {
        if (rate.limit == Limit::not_supported) {
            unsupported = true;
            CHECK(rate.samples == 0);
            continue;
        }
        if (rate.wanted != 0) {
            CHECK(rate.reached > 0.95 * rate.wanted);
            CHECK(rate.reached < 1.35 * rate.wanted);
            CHECK(rate.limit == Limit::none);
        } else {
            CHECK(rate.reached > 100);
        }
    }
    CHECK(unsupported);
}

TEST_CASE("an ECU that does not take several PIDs is found out") {
    for (const mimic::Refusal refusal :
         {mimic::Refusal::silence, mimic::Refusal::negative, mimic::Refusal::first_only})
        for (const unsigned most : {1U, 3U}) {
            mimic::Options options;
            options.ecus = 1;
            options.habits = {};
            options.habits.delay = 2 * ms;
            options.habits.spread = ms;
            options.habits.most_pids = most;
            options.habits.refusal = refusal;
            Bench bench(options);
            const auto wanted = bench.everything(12);
            Poller poller(Bench::line(), bench.ecus, wanted);
            bench.session.run(poller, bench.wire.now);
            bench.wire.run(5 * sec); // learns
            std::uint64_t values = 0;
            poller.on_sample = [&](const Sample&) { ++values; };
            bench.wire.run(5 * sec);
            CAPTURE(static_cast<int>(refusal));
            CAPTURE(most);
            CHECK(values / 5 > (most == 1 ? 200 : 400));
            for (const Rate& rate : poller.rates(bench.wire.now)) {
                CHECK(rate.samples > 0);
                CHECK(rate.limit == (most == 1 ? Limit::one_at_a_time : Limit::ecu));
            }
        }
}

TEST_CASE("an ECU that falls silent does not stop the others, and is asked again") {
    mimic::Options options;
    options.habits.delay = 2 * ms;
    options.habits.spread = ms;
    mimic::Habits goes = options.habits;
    goes.silent_every = 10 * sec;
    goes.silent_for = 4 * sec;
    options.habits_by_ecu = {options.habits, goes};
    Bench bench(options);
    std::vector<Wanted> wanted = {{0x0C, {}, 20 * ms}, {0x0D, {}, 20 * ms}};
    Poller poller(Bench::line(), bench.ecus, wanted);
    std::map<std::uint32_t, std::vector<bool>> turns;
    poller.on_ecu = [&](CanId ecu, bool answers) { turns[ecu.value].push_back(answers); };
    Time longest_gap = 0;
    Time latest = bench.wire.now;
    poller.on_sample = [&](const Sample& sample) {
        if (sample.ecu != bench.vehicle.response_id(0))
            return;
        longest_gap = std::max(longest_gap, sample.time - latest);
        latest = sample.time;
    };
    bench.session.run(poller, bench.wire.now);
    bench.wire.run(30 * sec);
    CHECK(turns.size() == 1);
    const auto& second = turns[bench.vehicle.response_id(1).value];
    REQUIRE(second.size() >= 4);
    CHECK(!second[0]);
    CHECK(second[1]);
    CHECK(longest_gap < 200 * ms);
}

TEST_CASE("an exchange that ends while a piece for the line is asked for is told all the same") {
    Session session(Bench::line(), Bench::timing());
    PlainLoop loop({{0x0C, CanId{0x7E8, false}, 0}}, true);
    Time now = sec;
    session.plugged(now);
    session.run(loop, now);
    unsigned requests = 0;
    for (int turn = 0; turn < 100; ++turn) {
        const Time at = session.wake_at();
        REQUIRE(at != no_time);
        now = std::max(now, at - 1); // woken just too soon, asked for a piece when it is due
        session.wake(now);
        link::Traffic piece;
        if (session.to_send(piece, ++now)) {
            ++requests;
            session.sent(now);
        }
    }
    CHECK(requests > 10);
}

TEST_CASE("an adapter that is unplugged and plugged in again") {
    Bench bench(prompt());
    Poller poller(Bench::line(), bench.ecus, bench.everything(8));
    std::uint64_t values = 0;
    poller.on_sample = [&](const Sample&) { ++values; };
    bench.session.run(poller, bench.wire.now);
    bench.wire.run(sec);
    CHECK(values > 100);
    bench.wire.unplug();
    values = 0;
    bench.wire.run(2 * sec);
    CHECK(values == 0);
    bench.wire.plug();
    bench.wire.run(sec);
    CHECK(values > 100);
}
