// SPDX-License-Identifier: Apache-2.0
// The whole way down a K-line and up again with a virtual clock: client, the link's machine, bits
// and bytes on one wire that both ends hear, the vehicle's end. Found by 5-baud or fast
// initialisation, read, polled and cleared. A pseudo terminal carries no low level, and on a loaded
// computer no milliseconds; here there are both.
#include <algorithm>
#include <deque>
#include <functional>
#include <string>
#include <vector>

#include <doctest/doctest.h>

#include "telltale/base/hex.hpp"
#include "telltale/client/clear.hpp"
#include "telltale/client/finder.hpp"
#include "telltale/client/poller.hpp"
#include "telltale/client/reader.hpp"
#include "telltale/client/session.hpp"
#include "telltale/isotp/options.hpp"
#include "telltale/link/kline_machine.hpp"
#include "telltale/message/stream.hpp"
#include "telltale/mimic/kline_end.hpp"
#include "telltale/vehicle/picture.hpp"

using namespace telltale;
using namespace telltale::client;

namespace {

constexpr Time ms = nanoseconds_a_millisecond;
constexpr Time sec = nanoseconds_a_second;

class Stack final : link::KlineOutlet {
  public:
    Stack(mimic::Vehicle& vehicle, bool iso_14230) : end_(vehicle, iso_14230, true) {}

    Session session;
    Time now = 1'700'000'000 * sec;
    std::function<void(Bytes frame, Time time)> on_frame;
    unsigned wakes = 0;
    std::string trouble;

    bool run(Task& task, Time limit) {
        session.run(task, now);
        return run(now + limit, [&] { return session.done(); });
    }
    bool run(Time until, const std::function<bool()>& over) {
        for (unsigned turns = 0; turns < 5'000'000; ++turns) {
            settle();
            if (over())
                return true;
            Time next = until;
            const auto at = [&](Time when) {
                if (when != no_time)
                    next = std::min(next, std::max(when, now));
            };
            if (!bytes_.empty())
                at(bytes_.front().at);
            at(end_.next_wakeup());
            at(machine_.wake_at());
            at(session.wake_at());
            if (next >= until && now >= until)
                return false;
            now = next;
            step();
        }
        return false;
    }

  private:
    struct Byte {
        Time at;
        std::uint8_t value;
        bool from_tester;
    };
    struct Heard {
        std::vector<std::uint8_t> bytes;
        Time time;
        bool own;
    };

    /// What the machine told while it was called.
    void settle() {
        if (const LineWish* wish = session.wish(); wish != nullptr && !waking_) {
            waking_ = true;
            line_ = wish->line;
            link::KlineWake wake;
            wake.way =
                wish->kline_fast ? link::KlineWake::Way::fast : link::KlineWake::Way::five_baud;
            ++wakes;
            machine_.start(wake, now, *this);
        }
        if (granted_) {
            granted_ = waking_ = false;
            session.granted({up_, line_, {}}, now);
        }
        for (; !heard_.empty(); heard_.pop_front()) {
            const Heard& frame = heard_.front();
            if (on_frame)
                on_frame(frame.bytes, frame.time);
            if (!frame.own)
                session.receive(link::KlineBytes{frame.bytes}, now);
        }
        if (sent_ != 0) {
            const bool good = sent_ == 1;
            sent_ = 0;
            good ? session.sent(now) : session.send_failed(now);
        }
        link::Traffic piece;
        if (machine_.awake() && session.to_send(piece, now)) {
            const Bytes frame = std::get<link::KlineBytes>(piece).frame;
            if (on_frame)
                on_frame(frame, now);
            machine_.transmit(frame, now, *this);
        }
    }
    void step() {
        if (!bytes_.empty() && bytes_.front().at <= now) {
            const Byte byte = bytes_.front();
            bytes_.pop_front();
            if (byte.from_tester)
                end_.feed(Bytes(&byte.value, 1), now);
            machine_.heard(byte.value, now, *this);
        } else if (end_.next_wakeup() <= now) {
            end_.poll(now, [&](Bytes bytes) {
                for (const std::uint8_t value : bytes)
                    push(value, false);
            });
        } else if (const Time at = machine_.wake_at(); at != no_time && at <= now) {
            machine_.wake(now, *this);
        } else if (const Time wake = session.wake_at(); wake != no_time && wake <= now) {
            session.wake(now);
        }
    }
    void push(std::uint8_t value, bool from_tester) {
        const Time after = bytes_.empty() ? now : std::max(now, bytes_.back().at);
        bytes_.push_back({after + KlineCutter::byte_time, value, from_tester});
    }

    void low(bool on) override {
        if (on && !low_) { // the vehicle's port hears a zero byte
            const std::uint8_t zero = 0;
            end_.feed(Bytes(&zero, 1), now + KlineCutter::byte_time);
        }
        low_ = on;
    }
    void put(std::uint8_t byte) override { push(byte, true); }
    void discard_heard() override {}
    void awake(const link::KlineAwake& line) override {
        line_.dialect =
            line.form == KlineForm::iso_9141 ? Dialect::kline_9141 : Dialect::kline_14230;
        granted_ = up_ = true;
    }
    void failed(link::KlineTrouble, std::string_view why) override {
        if (waking_) {
            granted_ = true;
            up_ = false;
        } else {
            trouble = why;
        }
    }
    void frame(Bytes frame, Time time, bool own) override {
        heard_.push_back({{frame.begin(), frame.end()}, time, own});
    }
    void sent(Time) override { sent_ = 1; }
    void send_failed(link::KlineTrouble, std::string_view why) override {
        sent_ = 2;
        trouble = why;
    }

    link::KlineMachine machine_;
    mimic::KlineEnd end_;
    std::deque<Byte> bytes_;
    std::deque<Heard> heard_;
    Line line_;
    bool low_ = false;
    bool waking_ = false;
    bool granted_ = false;
    bool up_ = false;
    int sent_ = 0; // 1: sent, 2: not
};

std::string to_hex_byte(std::uint32_t value) {
    const std::uint8_t byte[] = {static_cast<std::uint8_t>(value)};
    return to_hex(byte);
}

vehicle::Picture read(Stack& stack, const Finder& finder) {
    vehicle::Picture picture;
    message::Stream stream;
    stack.on_frame = [&](Bytes frame, Time time) { stream.kline(0, frame, time, {}, picture); };
    ReaderOptions options;
    options.ecus = finder.ecus();
    Reader reader(finder.line(), options);
    CHECK(stack.run(reader, 600 * sec));
    for (const auto& each : reader.missing())
        MESSAGE("missing: ", to_hex_byte(each.ecu.value), " ", to_hex_byte(each.service), " ",
                to_hex_byte(each.id), " ", std::string(word(each.outcome)));
    CHECK(reader.missing().empty());
    stack.session.stop();
    stack.on_frame = nullptr;
    stream.finish(picture);
    picture.finish();
    return picture;
}

} // namespace

TEST_CASE("a vehicle on a K-line is woken, found, read, polled and cleared") {
    for (const bool iso_14230 : {false, true}) {
        CAPTURE(iso_14230);
        mimic::Options options;
        options.seed = 9;
        options.stored = {0x0171};
        options.engine_off = true;
        options.clearing = mimic::Clearing::engine_off;
        options.verification_time = 0;
        // On top of P2min (25 ms): answers begin up to P2max (50 ms) after the request.
        options.habits.delay = 5 * ms;
        options.habits.spread = 20 * ms;
        mimic::Vehicle vehicle(options);
        Stack stack(vehicle, iso_14230);
        FinderOptions finder_options;
        finder_options.over = FinderOptions::Over::kline;
        Finder finder(finder_options);
        REQUIRE(stack.run(finder, 60 * sec));
        REQUIRE(finder.found());
        CHECK(stack.wakes == 1); // 5 baud wakes both
        CHECK(finder.line().dialect == (iso_14230 ? Dialect::kline_14230 : Dialect::kline_9141));
        CHECK(finder.ecus().size() == vehicle.ecus());

        const Time begun = stack.now;
        const vehicle::Picture before = read(stack, finder);
        MESSAGE("read in ", (stack.now - begun) / sec, " s");
        CHECK(before.vin() == vehicle.state(0).vin);
        const Losses losses = losses_of(before);
        REQUIRE(!losses.ecus.empty());
        CHECK(losses.ecus[0].stored == std::vector<std::string>{"P0171"});

        // Polled for ten seconds, after half a minute in which only the keep-alive is heard.
        stack.run(stack.now + 30 * sec, [] { return false; });
        std::vector<EcuFacts> facts;
        for (const CanId ecu : finder.ecus()) {
            facts.emplace_back();
            facts.back().id = ecu;
            for (std::size_t i = 0; i < vehicle.ecus(); ++i)
                if ((ecu.value & 0xFF) == vehicle.address(i))
                    facts.back().supported[1] = vehicle.state(i).pids;
        }
        const std::vector<Wanted> wanted = {{0x05, {}, 0}, {0x42, {}, 0}};
        Poller poller(finder.line(), facts, wanted);
        std::uint64_t samples = 0;
        poller.on_sample = [&](const Sample&) { ++samples; };
        stack.session.run(poller, stack.now);
        stack.run(stack.now + 10 * sec, [] { return false; });
        stack.session.stop();
        stack.run(stack.now + sec, [] { return false; });
        MESSAGE("", samples, " samples in 10 s");
        CHECK(samples > 40);

        auto consent = Consent::to_clear(losses, losses.phrase(), stack.now);
        REQUIRE(consent.has_value());
        Clear clear(losses, std::move(*consent), [](std::string_view, Time) {});
        REQUIRE(stack.run(clear, 60 * sec));
        for (const Deed& deed : clear.deeds())
            MESSAGE("cleared: ", to_hex_byte(deed.ecu.value), " ", std::string(word(deed.outcome)));
        CHECK(clear.cleared_all());
        CHECK(vehicle.state(0).stored.empty());
        const auto changes = changes_of(before, read(stack, finder));
        REQUIRE(!changes.empty());
        CHECK(changes[0].gone == std::vector<std::string>{"P0171"});
        CHECK(stack.trouble == "");
    }
}

TEST_CASE("where 5 baud is not answered, fast initialisation is asked for") {
    FinderOptions finder_options;
    finder_options.over = FinderOptions::Over::kline;
    Session deaf;
    Finder other(finder_options);
    deaf.run(other, sec);
    REQUIRE(deaf.wish() != nullptr);
    CHECK(!deaf.wish()->kline_fast);
    deaf.granted({false, {}, {}}, sec);
    REQUIRE(deaf.wish() != nullptr);
    CHECK(deaf.wish()->kline_fast);
    deaf.granted({false, {}, {}}, sec);
    CHECK(deaf.wish() == nullptr);
    CHECK(!other.found());
    REQUIRE(other.attempts().size() == 2);
}
