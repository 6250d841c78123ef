// SPDX-License-Identifier: Apache-2.0
// Ten thousand conversations over lines that drop, double, delay, reorder and corrupt frames, with
// ECUs that fall silent, say "pending" over and over, and adapters that are pulled out. What the
// vehicle really said is kept beside the line, and every answer that the client takes is held
// against it.
#include "kline_wire.hpp"

#include <cstdlib>
#include <map>
#include <optional>
#include <string>

#include <doctest/doctest.h>

#include "telltale/base/hex.hpp"
#include "telltale/client/finder.hpp"
#include "telltale/client/poller.hpp"
#include "telltale/client/reader.hpp"
#include "telltale/frame/kline.hpp"

using namespace telltale;
using namespace telltale::client;
using telltale::tests::ms;
using telltale::tests::sec;

namespace {

/// Sanitizers and debug builds are slow: they take a part of the campaign.
std::size_t conversations() {
    if (const char* set = std::getenv("TELLTALE_CONVERSATIONS"); set != nullptr)
        return static_cast<std::size_t>(std::strtoul(set, nullptr, 10));
#ifdef NDEBUG
    return 10'000;
#else
    return 1'000;
#endif
}

/// Asks at random, and checks what comes.
class Asker final : public Task {
  public:
    Asker(mimic::Random& random, const mimic::Vehicle& vehicle, std::size_t count, bool kline)
        : random_(random), vehicle_(vehicle), left_(count), kline_(kline) {}

    bool next(Time, Request& request) override {
        if (left_ == 0)
            return false;
        --left_;
        bytes_.clear();
        expected_.clear();
        to_.reset();
        const auto ecu = random_.below(static_cast<std::uint32_t>(vehicle_.ecus()));
        const mimic::EcuState& state = vehicle_.state(ecu);
        static constexpr std::array<std::uint8_t, 6> whole = {0x03, 0x07, 0x0A, 0x03, 0x07, 0x03};
        static constexpr std::array<std::uint8_t, 4> infos = {0x00, 0x02, 0x04, 0x0A};
        switch (random_.below(8)) {
        case 0:
            bytes_ = {whole[random_.below(kline_ ? 2 : 6)]};
            break;
        case 1:
            bytes_ = {0x09, infos[random_.below(4)]};
            break;
        case 2:
            bytes_ = {0x01, static_cast<std::uint8_t>(0x20 * random_.below(3))};
            break;
        default: {
            bytes_ = {0x01};
            const std::size_t most = kline_ ? 1 : 1 + random_.below(6);
            for (unsigned tries = 0; tries < 60 && bytes_.size() <= most; ++tries) {
                const auto pid = static_cast<std::uint8_t>(4 + random_.below(0x60));
                if (state.pids.test(pid) &&
                    std::find(bytes_.begin() + 1, bytes_.end(), pid) == bytes_.end())
                    bytes_.push_back(pid);
            }
            if (bytes_.size() == 1)
                bytes_.push_back(0x00);
        }
        }
        if (!kline_ && random_.below(2) == 0)
            to_ = vehicle_.response_id(ecu);
        else if (random_.below(2) == 0 && bytes_[0] == 0x01)
            for (std::size_t i = 0; i < vehicle_.ecus(); ++i)
                for (std::size_t k = 1; k < bytes_.size(); ++k)
                    if (bytes_[k] == 0 || vehicle_.state(i).pids.test(bytes_[k])) {
                        expected_.push_back(id_of(i));
                        break;
                    }
        request.bytes = bytes_;
        request.to = to_;
        request.expected = expected_;
        return true;
    }
    void told(const Exchange& exchange, Time now) override { check(exchange, now); }
    bool done() const override { return left_ == 0; }

    CanId id_of(std::size_t ecu) const {
        return kline_ ? CanId{0x18DAF100U | vehicle_.address(ecu), true}
                      : vehicle_.response_id(ecu);
    }
    std::function<void(const Exchange&, Time)> check;

  private:
    mimic::Random& random_;
    const mimic::Vehicle& vehicle_;
    std::size_t left_;
    bool kline_;
    std::vector<std::uint8_t> bytes_;
    std::vector<CanId> expected_;
    std::optional<CanId> to_;
};

struct Tally {
    std::uint64_t exchanges = 0;
    std::uint64_t answers = 0;
    std::uint64_t silences = 0;
    std::uint64_t broken = 0;
    std::uint64_t late = 0;
    std::uint64_t doubled = 0;
    std::uint64_t samples = 0;
    std::uint64_t wrong = 0;
    std::uint64_t stale = 0;
    std::uint64_t mixed = 0;
    Time longest = 0;
    Time slowest_recovery = 0;
};

/// Whether an ECU put these bytes on the line, and so lately that it can be the answer.
bool was_said(const std::vector<tests::Spoken>& spoken, CanId ecu, Bytes bytes, Time from,
              Time until) {
    for (auto each = spoken.rbegin(); each != spoken.rend(); ++each)
        if (each->ecu == ecu && each->begun >= from && each->time <= until &&
            each->bytes.size() == bytes.size() &&
            std::equal(bytes.begin(), bytes.end(), each->bytes.begin()))
            return true;
    return false;
}

/// Counts what must not be, and says where.
void wrong(Tally& tally, std::size_t conversation, const Exchange& exchange, const Reply& reply) {
    ++tally.wrong;
    MESSAGE("conversation ", conversation, ": ", to_hex(exchange.request), " was answered by ",
            reply.ecu.value & 0xFFU, " with ", to_hex(reply.bytes), ", asked ", reply.asked,
            ", begun ", reply.begun, ", whole ", reply.time);
}

/// The question behind the answer, told without the client's own matching.
bool fits(Bytes answer, Bytes request) {
    if (answer.empty() || answer[0] != request[0] + 0x40)
        return false;
    if (request.size() < 2)
        return true;
    return answer.size() >= 2 &&
           std::find(request.begin() + 1, request.end(), answer[1]) != request.end();
}

enum class Kind : unsigned {
    clean,
    drop,
    twice,
    twice_late,
    delay,
    long_delay,
    swap,
    corrupt,
    pending,
    slow,
    everything,
    count
};

tests::Troubles troubles_of(Kind kind, mimic::Random& random) {
    tests::Troubles t;
    const double p = random.between(0.02, 0.4);
    switch (kind) {
    case Kind::drop:
        t.drop = p;
        break;
    case Kind::twice:
        t.twice = p;
        break;
    case Kind::twice_late:
        t.twice_late = p;
        break;
    case Kind::delay:
        // The request and its answer late, and the ECU slow: together less than P2 and
        // `Timing::late`, past which nobody can tell to which request an answer belongs.
        t.delay = p;
        t.latest = 120 * ms;
        break;
    case Kind::long_delay:
        t.delay = p;
        t.latest = 3 * sec;
        break;
    case Kind::swap:
        t.swap = p;
        break;
    case Kind::corrupt:
        t.corrupt = p;
        break;
    case Kind::everything:
        t.drop = t.twice = t.swap = t.delay = p / 4;
        break;
    default:
        break;
    }
    return t;
}

mimic::Options vehicle_of(Kind kind, std::uint64_t seed, mimic::Random& random) {
    mimic::Options options;
    options.seed = seed;
    options.ecus = 1 + random.below(3);
    options.extended_ids = random.below(2) == 0;
    options.stored = {0x0171, 0x0300, 0x0420, 0x0507};
    options.habits.delay = static_cast<Time>(random.below(8)) * ms;
    options.habits.spread = static_cast<Time>(random.below(12)) * ms;
    if (kind == Kind::pending || kind == Kind::everything) {
        options.habits.pending_every = 1 + random.below(3);
        options.habits.pending_for = static_cast<Time>(random.below(9000)) * ms;
        options.habits.busy_every = random.below(4);
    }
    if (kind == Kind::slow) { // later than P2 now and then
        options.habits.delay = 10 * ms;
        options.habits.spread = 200 * ms;
    }
    if (kind == Kind::everything || random.below(8) == 0) {
        options.habits.silent_every = 3 * sec;
        options.habits.silent_for = static_cast<Time>(random.below(1500)) * ms;
    }
    return options;
}

} // namespace

TEST_CASE("no wrong value, no hang, whatever the CAN line does") {
    const std::size_t count = conversations();
    Tally tally;
    std::array<Tally, static_cast<std::size_t>(Kind::count)> by_kind{};
    constexpr std::size_t a_vehicle = 100;
    std::optional<mimic::Vehicle> vehicle;
    Kind kind = Kind::clean;
    Time clock = 1'700'000'000 * sec;
    mimic::Random random(20'240);
    for (std::size_t n = 0; n < count; ++n) {
        if (n % a_vehicle == 0) {
            kind = static_cast<Kind>(n / a_vehicle % static_cast<std::size_t>(Kind::count));
            vehicle.emplace(vehicle_of(kind, n, random));
        }
        const bool extended = vehicle->response_id(0).extended;
        Line line;
        line.dialect = extended ? Dialect::can_29 : Dialect::can_11;
        line.bit_rate = 500'000;
        Session session(line);
        tests::Wire wire(session, *vehicle, n);
        wire.now = clock;
        wire.troubles = troubles_of(kind, random);
        const Time latest = wire.troubles.latest;
        Tally& mine = by_kind[static_cast<std::size_t>(kind)];
        Time talked = wire.now;
        Asker asker(random, *vehicle, 6, false);
        asker.check = [&](const Exchange& exchange, Time now) {
            talked = now;
            ++mine.exchanges;
            if (exchange.asked != no_time)
                mine.longest = std::max(mine.longest, exchange.ended - exchange.asked);
            for (const Reply& reply : exchange.replies) {
                if (reply.outcome != Outcome::answer) {
                    mine.silences += reply.outcome == Outcome::silence ? 1U : 0U;
                    mine.broken += reply.outcome == Outcome::broken ? 1U : 0U;
                    continue;
                }
                ++mine.answers;
                if (kind == Kind::corrupt)
                    continue; // no layer of CAN diagnostics could tell
                // To this question, and said at all. (Frames that come seconds late can mix two
                // messages in a way that ISO 15765-2 has no means to notice.)
                if (!fits(reply.bytes, exchange.request))
                    wrong(mine, n, exchange, reply);
                else if (!was_said(wire.spoken, reply.ecu, reply.bytes, clock, now)) {
                    if (kind == Kind::long_delay)
                        ++mine.mixed;
                    else
                        wrong(mine, n, exchange, reply);
                }
                // Said after it was asked, unless the line holds answers back for longer than
                // anybody can know of, or says them twice.
                else if (!was_said(wire.spoken, reply.ecu, reply.bytes,
                                   kind == Kind::twice_late || kind == Kind::everything
                                       ? reply.asked - latest
                                   : kind == Kind::twice ? reply.asked - 20 * ms
                                                         : reply.asked,
                                   now)) {
                    ++mine.stale;
                    if (kind != Kind::long_delay)
                        wrong(mine, n, exchange, reply);
                }
            }
        };
        session.run(asker, wire.now);
        const bool pulls = random.below(10) == 0;
        const Time limit = wire.now + 6 * (session.conversation().longest(8) + sec);
        if (pulls) {
            wire.run(static_cast<Time>(random.below(400)) * ms);
            wire.unplug();
            CHECK(session.conversation().idle());
            wire.run(static_cast<Time>(random.below(2000)) * ms);
            wire.plug();
        }
        const bool over = wire.run(limit, [&] { return session.done(); });
        if (!over)
            MESSAGE("kind ", static_cast<int>(kind), ", conversation ", n);
        REQUIRE(over);
        mine.late += session.conversation().counts().late;
        mine.doubled += session.conversation().counts().doubled;
        CHECK(mine.longest <= session.conversation().longest(8));
        wire.troubles = {};
        wire.run(500 * ms);
        clock = wire.now + sec;
    }
    for (std::size_t k = 0; k < by_kind.size(); ++k) {
        const Tally& t = by_kind[k];
        MESSAGE("kind ", k, ": ", t.exchanges, " exchanges, ", t.answers, " answers, ", t.silences,
                " silences, ", t.broken, " broken, ", t.late, " late, ", t.doubled,
                " doubled, longest ", t.longest / ms, " ms, wrong ", t.wrong, ", stale ", t.stale,
                ", mixed ", t.mixed);
        CHECK(t.wrong == 0);
        if (static_cast<Kind>(k) != Kind::long_delay)
            CHECK(t.stale == 0);
        tally.exchanges += t.exchanges;
        tally.answers += t.answers;
    }
    CHECK(tally.answers > tally.exchanges / 3);
}

TEST_CASE("no wrong value, no hang, whatever a K-line does") {
    const std::size_t count = conversations() / 5;
    constexpr std::size_t a_vehicle = 50;
    std::optional<mimic::Vehicle> vehicle;
    mimic::Random random(14'230);
    Time clock = 1'700'000'000 * sec;
    std::uint64_t exchanges = 0;
    std::uint64_t answers_taken = 0;
    std::uint64_t broken = 0;
    for (std::size_t n = 0; n < count; ++n) {
        if (n % a_vehicle == 0) {
            mimic::Options options;
            options.seed = n;
            options.ecus = 1 + random.below(2);
            options.stored = {0x0171, 0x0300, 0x0420, 0x0507};
            options.habits.delay = 25 * ms;
            options.habits.spread = 20 * ms;
            options.habits.pending_every = random.below(6);
            options.habits.busy_every = random.below(9);
            vehicle.emplace(options);
        }
        Line line;
        line.dialect = n % 2 == 0 ? Dialect::kline_9141 : Dialect::kline_14230;
        Session session(line);
        tests::KlineWire wire(session, *vehicle, n);
        wire.now = clock;
        const double p = random.between(0, 0.3);
        switch (random.below(4)) {
        case 0:
            wire.troubles.corrupt = p;
            break;
        case 1:
            wire.troubles.drop = p;
            break;
        case 2:
            wire.troubles.delay = p;
            break;
        default:
            wire.troubles.corrupt = wire.troubles.drop = wire.troubles.twice = p / 3;
        }
        Asker asker(random, *vehicle, 5, true);
        asker.check = [&](const Exchange& exchange, Time now) {
            ++exchanges;
            if (exchange.asked != no_time)
                CHECK(exchange.ended - exchange.asked <= session.conversation().longest(8));
            for (const Reply& reply : exchange.replies) {
                broken += reply.outcome == Outcome::broken ? 1U : 0U;
                if (reply.outcome != Outcome::answer)
                    continue;
                ++answers_taken;
                const bool right =
                    was_said(wire.spoken, reply.ecu, reply.bytes, reply.asked - 2 * sec, now) &&
                    fits(reply.bytes, exchange.request);
                CHECK_MESSAGE(right, "conversation ", n, ": ", to_hex(exchange.request), " ",
                              to_hex(reply.bytes));
            }
        };
        session.run(asker, wire.now);
        REQUIRE(wire.run(wire.now + 6 * session.conversation().longest(8),
                         [&] { return session.done(); }));
        CHECK(wire.shortest_pause >= 50 * ms);
        wire.troubles = {};
        wire.run(500 * ms);
        clock = wire.now + sec;
    }
    MESSAGE("", exchanges, " exchanges, ", answers_taken, " answers, ", broken, " broken");
    CHECK(answers_taken > exchanges / 2);
}

TEST_CASE("the poller gets over everything within its time") {
    // The longest way back: "pending" was said just before the trouble ended, and then P2* runs
    // out (5 s); the ECU counts as silent by then and is asked once a second.
    constexpr Time recovery = 7 * sec;
    const std::size_t count = conversations() / 20;
    mimic::Random random(15'765);
    Tally tally;
    for (std::size_t n = 0; n < count; ++n) {
        const auto kind = static_cast<Kind>(n % static_cast<std::size_t>(Kind::count));
        mimic::Options options = vehicle_of(kind, n / 64, random);
        options.habits.silent_every = 0;
        if (kind == Kind::slow)
            options.habits.spread = 60 * ms;
        if (options.habits.busy_every == 1)
            options.habits.busy_every = 0; // it would never answer at all
        mimic::Vehicle vehicle(options);
        Line line;
        line.dialect = options.extended_ids ? Dialect::can_29 : Dialect::can_11;
        line.bit_rate = 500'000;
        Session session(line);
        tests::Wire wire(session, vehicle, n);
        std::vector<EcuFacts> facts;
        std::vector<Wanted> wanted;
        for (std::size_t i = 0; i < vehicle.ecus(); ++i) {
            facts.emplace_back();
            facts.back().id = vehicle.response_id(i);
            facts.back().supported[1] = vehicle.state(i).pids;
        }
        for (const std::uint8_t pid :
             std::initializer_list<std::uint8_t>{0x04, 0x05, 0x0B, 0x0C, 0x0D, 0x11, 0x42, 0x46})
            wanted.push_back(
                {pid, {}, random.below(3) == 0 ? 0 : 20 * ms * (1 + random.below(10))});
        Poller poller(line, facts, wanted);
        std::map<std::pair<std::uint32_t, std::uint8_t>, Time> latest;
        poller.on_sample = [&](const Sample& sample) {
            ++tally.samples;
            latest[{sample.ecu.value, sample.pid}] = sample.time;
            if (kind == Kind::corrupt || kind == Kind::long_delay)
                return;
            // Each value stands in a message that this ECU put on the line lately.
            bool found = false;
            for (auto each = wire.spoken.rbegin(); each != wire.spoken.rend() && !found; ++each) {
                if (each->ecu != sample.ecu || each->bytes[0] != 0x41)
                    continue;
                if (each->time < sample.time - sec)
                    break;
                std::vector<std::uint8_t> item = {sample.pid};
                item.insert(item.end(), sample.data.begin(), sample.data.end());
                found = std::search(each->bytes.begin() + 1, each->bytes.end(), item.begin(),
                                    item.end()) != each->bytes.end();
            }
            if (found)
                return;
            // A frame that comes once more up to 150 ms later can take the place of one of the
            // next message, and four bits of a counter do not tell.
            if (kind == Kind::twice_late) {
                ++tally.mixed;
                return;
            }
            ++tally.wrong;
            MESSAGE("kind ", static_cast<int>(kind), ", conversation ", n, ": PID ",
                    int{sample.pid}, " of ", sample.ecu.value & 0xFFU, " is ", to_hex(sample.data),
                    ", asked ", sample.asked, ", whole ", sample.time);
        };
        wire.troubles = troubles_of(kind, random);
        session.run(poller, wire.now);
        wire.run(sec);
        if (random.below(4) == 0) {
            wire.unplug();
            wire.run(static_cast<Time>(random.below(1500)) * ms);
            wire.plug();
        }
        wire.run(sec);
        wire.troubles = {};
        const Time well = wire.now;
        const bool slow_by_itself = kind == Kind::pending || kind == Kind::everything;
        const auto all_back = [&] {
            return std::all_of(facts.begin(), facts.end(), [&](const EcuFacts& ecu) {
                return std::all_of(wanted.begin(), wanted.end(), [&](const Wanted& want) {
                    const auto at = latest.find({ecu.id.value, want.pid});
                    return !ecu.supported[1].test(want.pid) ||
                           (at != latest.end() && at->second >= well);
                });
            });
        };
        // ECUs that go on saying "pending" are that slow when they are well, too: up to half a
        // minute for each value.
        const Time by_itself = static_cast<Time>(wanted.size() * facts.size()) * 30 * sec;
        const bool back = wire.run(well + recovery + (slow_by_itself ? by_itself : 0), all_back);
        if (!back)
            MESSAGE("kind ", static_cast<int>(kind), ", conversation ", n, ", ", facts.size(),
                    " ECUs, pending every ", options.habits.pending_every, " for ",
                    options.habits.pending_for / ms, " ms, busy every ", options.habits.busy_every);
        CHECK(back);
        if (!slow_by_itself)
            tally.slowest_recovery = std::max(tally.slowest_recovery, wire.now - well);
    }
    MESSAGE("", tally.samples, " samples, slowest recovery ", tally.slowest_recovery / ms,
            " ms, mixed ", tally.mixed);
    CHECK(tally.wrong == 0);
    CHECK(tally.mixed <= 1 + tally.samples / 50'000);
    CHECK(tally.samples > count);
}
