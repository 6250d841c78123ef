// SPDX-License-Identifier: Apache-2.0
// The K-line machine on a line that records what is done to it, with a virtual clock, against an
// ECU that keeps to the standards' times. The windows are those of ISO 9141-2 and ISO 14230-2/-4
// (from memory).
#include <algorithm>
#include <deque>
#include <functional>
#include <optional>
#include <string>
#include <vector>

#include <doctest/doctest.h>

#include "telltale/link/kline_machine.hpp"

using namespace telltale;
using namespace telltale::link;

namespace {

constexpr Time ms = nanoseconds_a_millisecond;
constexpr Time byte_time = KlineCutter::byte_time;
using Frame = std::vector<std::uint8_t>;

Frame with_sum(Frame frame) {
    frame.push_back(kline_checksum(frame));
    return frame;
}

/// The line: what the tester does to it, and an ECU on it.
struct Line : KlineOutlet {
    KlineMachine machine;
    Time now = 1'000 * ms;
    bool echo = true;
    Time late = 0; ///< timers ring so much too late

    struct Edge {
        Time time;
        bool low;
    };
    std::vector<Edge> edges;
    std::vector<std::pair<Time, std::uint8_t>> puts; ///< begin of each byte of the tester
    struct Byte {
        Time end;
        std::uint8_t value;
    };
    std::deque<Byte> coming; ///< on the line, by time
    Time line_busy = 0;

    std::optional<KlineAwake> up;
    std::string why;
    std::optional<KlineTrouble> trouble;
    std::vector<std::pair<Frame, bool>> frames;
    std::vector<Time> sent_at;
    std::string send_why;

    void low(bool on) override {
        if (edges.empty() ? on : edges.back().low != on)
            edges.push_back({now, on});
    }
    void put(std::uint8_t byte) override {
        puts.emplace_back(now, byte);
        if (echo)
            coming.push_back({now + byte_time, byte});
        if (tester_said)
            tester_said(byte, now + byte_time);
    }
    void discard_heard() override {}
    void awake(const KlineAwake& line) override { up = line; }
    void failed(KlineTrouble what, std::string_view text) override {
        trouble = what;
        why = text;
    }
    void frame(Bytes frame, Time, bool own) override {
        frames.emplace_back(Frame(frame.begin(), frame.end()), own);
    }
    void sent(Time time) override { sent_at.push_back(time); }
    void send_failed(KlineTrouble, std::string_view text) override { send_why = text; }

    std::function<void(std::uint8_t, Time)>
        tester_said; ///< the ECU hears a byte, and when it ended

    /// The ECU says bytes, the first one beginning at `at`, with `gap` between them.
    void ecu_says(const Frame& bytes, Time at, Time gap) {
        for (const auto byte : bytes) {
            coming.push_back({at + byte_time, byte});
            at += byte_time + gap;
        }
    }

    /// Runs until `end`, or until nothing more happens.
    void run(Time end) {
        for (int i = 0; i < 100'000; ++i) {
            const Time wake = machine.wake_at();
            const Time rings = wake == no_time ? no_time : std::max(wake, now) + late;
            std::stable_sort(coming.begin(), coming.end(),
                             [](const Byte& a, const Byte& b) { return a.end < b.end; });
            const bool byte_first =
                !coming.empty() && (rings == no_time || coming.front().end <= rings);
            const Time next = byte_first ? coming.front().end : rings;
            if (next == no_time || next > end) {
                now = end;
                return;
            }
            now = std::max(now, next);
            if (byte_first) {
                const auto byte = coming.front();
                coming.pop_front();
                machine.heard(byte.value, byte.end, *this);
            } else {
                machine.wake(now, *this);
            }
        }
        FAIL("the machine does not come to rest");
    }
};

/// Reads the address off the line as an ECU does: from the falling edge, in the middle of each bit.
std::uint8_t address_on(const std::vector<Line::Edge>& edges) {
    REQUIRE(!edges.empty());
    REQUIRE(edges[0].low);
    const Time begin = edges[0].time;
    const auto low_at = [&](Time time) {
        bool low = false;
        for (const auto& edge : edges)
            if (edge.time <= time)
                low = edge.low;
        return low;
    };
    CHECK(low_at(begin + 100 * ms));
    std::uint8_t value = 0;
    for (int bit = 0; bit < 8; ++bit)
        if (!low_at(begin + (bit + 1) * 200 * ms + 100 * ms))
            value = static_cast<std::uint8_t>(value | 1 << bit);
    CHECK(!low_at(begin + 1900 * ms));
    return value;
}

/// Wakes a line at 5 baud with an ECU of these key bytes and times.
struct FiveBaud {
    Line line;
    std::uint8_t key_1 = 0x08;
    std::uint8_t key_2 = 0x08;
    Time w1 = 60 * ms;
    Time w2 = 5 * ms;
    Time w3 = 0;
    Time w4 = 25 * ms;
    Time key_2_end = 0;
    Time began = 0;

    void wake(KlineWake how = {}) {
        began = line.now;
        line.machine.start(how, line.now, line);
        line.run(line.now + 305 * ms);
        REQUIRE(line.edges.size() == 1);
        const Time stop_end = line.edges[0].time + 2000 * ms;
        const Time at = stop_end + w1;
        line.ecu_says({0x55}, at, 0);
        const Time k1 = at + byte_time + w2;
        line.ecu_says({key_1}, k1, 0);
        const Time k2 = k1 + byte_time + w3;
        line.ecu_says({key_2}, k2, 0);
        key_2_end = k2 + byte_time;
        line.tester_said = [this](std::uint8_t byte, Time end) {
            CHECK(byte == static_cast<std::uint8_t>(~key_2));
            line.ecu_says({0xCC}, end + w4, 0);
            line.tester_said = nullptr;
        };
        line.run(stop_end + 1000 * ms);
    }
};

} // namespace

TEST_CASE("the address at 5 baud: idle time, bits, and the windows W1 to W4") {
    for (const Time late : {Time{0}, ms, 2 * ms})
        for (const bool echo : {true, false})
            for (const bool slow : {false, true}) {
                CAPTURE(late);
                CAPTURE(echo);
                CAPTURE(slow);
                FiveBaud ecu;
                ecu.line.late = late;
                ecu.line.echo = echo;
                if (slow) {
                    ecu.w1 = 300 * ms;
                    ecu.w2 = 20 * ms;
                    ecu.w3 = 20 * ms;
                    ecu.w4 = 50 * ms;
                }
                ecu.wake();
                const auto& edges = ecu.line.edges;
                CHECK(edges[0].time - ecu.began >= 300 * ms); // W5: line at rest before
                CHECK(address_on(edges) == 0x33);
                // 33: low 0, high 1 1, low 0 0, high 1 1, low 0 0, stop. Each edge at a multiple
                // of 200 ms, 0.5 % of 2 s off at most.
                REQUIRE(edges.size() == 6);
                for (const auto& edge : edges) {
                    const Time off = (edge.time - edges[0].time + 100 * ms) % (200 * ms) - 100 * ms;
                    CHECK(off >= 0);
                    CHECK(off <= 10 * ms);
                }
                REQUIRE(ecu.line.up);
                CHECK(ecu.line.up->key_byte_1 == 0x08);
                CHECK(ecu.line.up->key_byte_2 == 0x08);
                CHECK(ecu.line.up->form == KlineForm::iso_9141);
                CHECK(ecu.line.up->echo == echo);
                // W4: 25 to 50 ms after the second key byte.
                REQUIRE(ecu.line.puts.size() == 1);
                CHECK(ecu.line.puts[0].first - ecu.key_2_end >= 25 * ms);
                CHECK(ecu.line.puts[0].first - ecu.key_2_end <= 50 * ms);
                CHECK(!ecu.line.trouble);
            }
}

TEST_CASE("every address is written as an ECU reads it") {
    for (unsigned address = 0; address < 256; ++address) {
        Line line;
        KlineWake how;
        how.address = static_cast<std::uint8_t>(address);
        line.machine.start(how, line.now, line);
        line.run(line.now + 3500 * ms);
        CHECK(address_on(line.edges) == address);
        CHECK(line.trouble == KlineTrouble::no_answer);
    }
}

TEST_CASE("key bytes of ISO 14230 ask for its header") {
    FiveBaud ecu;
    ecu.key_1 = 0xE9;
    ecu.key_2 = 0x8F;
    ecu.wake();
    REQUIRE(ecu.line.up);
    CHECK(ecu.line.up->form == KlineForm::functional);
}

TEST_CASE("an initialisation that goes wrong ends with a reason, in time") {
    {
        FiveBaud ecu;
        ecu.w1 = 400 * ms;
        ecu.wake();
        CHECK(ecu.line.trouble == KlineTrouble::no_answer);
    }
    {
        FiveBaud ecu;
        ecu.w4 = 200 * ms;
        ecu.wake();
        CHECK(ecu.line.trouble == KlineTrouble::no_answer);
    }
    {
        Line line;
        line.machine.start({}, line.now, line);
        line.run(line.now + 2400 * ms);
        line.ecu_says({0x54}, line.now, 0);
        line.run(line.now + 1000 * ms);
        CHECK(line.trouble == KlineTrouble::wrong_answer);
        CHECK(line.machine.wake_at() == no_time);
    }
}

TEST_CASE("fast initialisation: TiniL and TWuP, start communication, key bytes") {
    for (const Time late : {Time{0}, ms / 2, ms}) {
        CAPTURE(late);
        Line line;
        line.late = late;
        const Time began = line.now;
        std::size_t heard = 0;
        line.tester_said = [&](std::uint8_t, Time end) {
            if (++heard == 5)
                line.ecu_says(with_sum({0x83, 0xF1, 0x10, 0xC1, 0xE9, 0x8F}), end + 30 * ms, ms);
        };
        KlineWake how;
        how.way = KlineWake::Way::fast;
        line.machine.start(how, line.now, line);
        line.run(line.now + 1000 * ms);
        REQUIRE(line.edges.size() == 2);
        CHECK(line.edges[0].time - began >= 300 * ms);
        const Time low = line.edges[1].time - line.edges[0].time;
        CHECK(low >= 24 * ms);
        CHECK(low <= 26 * ms);
        REQUIRE(line.puts.size() == 5);
        const Time whole = line.puts[0].first - line.edges[0].time;
        CHECK(whole >= 49 * ms);
        CHECK(whole <= 51 * ms);
        Frame request;
        for (const auto& [time, byte] : line.puts)
            request.push_back(byte);
        CHECK(request == Frame{0xC1, 0x33, 0xF1, 0x81, 0x66}); // ISO 14230-4: start communication
        REQUIRE_MESSAGE(line.up, line.why);
        CHECK(line.up->key_byte_1 == 0xE9);
        CHECK(line.up->key_byte_2 == 0x8F);
        CHECK(line.up->form == KlineForm::functional);
        CHECK(line.frames.empty()); // that was the line's own affair
    }
}

TEST_CASE("an echo that the port gathers for a while is an echo all the same") {
    for (const Time wait : {Time{0}, 16 * ms, 30 * ms, 60 * ms}) {
        CAPTURE(wait);
        Line line;
        line.echo = false;
        std::size_t heard = 0;
        line.tester_said = [&](std::uint8_t byte, Time end) {
            line.coming.push_back({end + wait, byte});
            if (++heard == 5)
                line.ecu_says(with_sum({0x83, 0xF1, 0x10, 0xC1, 0xE9, 0x8F}), end + wait + 30 * ms,
                              ms);
        };
        KlineWake how;
        how.way = KlineWake::Way::fast;
        line.machine.start(how, line.now, line);
        line.run(line.now + 1000 * ms);
        REQUIRE_MESSAGE(line.up, line.why);
        CHECK(line.up->echo);
        CHECK(line.frames.empty());
    }
}

TEST_CASE("requests keep P3 and P4; the echo is taken off; answers come as frames") {
    FiveBaud ecu;
    ecu.wake();
    auto& line = ecu.line;
    REQUIRE(line.up);
    for (const bool echo : {true, false}) {
        line.echo = echo;
        if (!echo) {
            ecu = {};
            ecu.line.echo = false;
            ecu.wake();
            REQUIRE(line.up);
        }
        line.puts.clear();
        line.frames.clear();
        line.sent_at.clear();
        const Time before = line.now;
        const auto request = with_sum({0x68, 0x6A, 0xF1, 0x01, 0x0C});
        const auto answer = with_sum({0x48, 0x6B, 0x10, 0x41, 0x0C, 0x1A, 0xF8});
        const auto other = with_sum({0x48, 0x6B, 0x11, 0x41, 0x0C, 0x1A, 0xF0});
        std::size_t heard = 0;
        line.tester_said = [&](std::uint8_t, Time end) {
            if (++heard != request.size())
                return;
            line.ecu_says(answer, end + 30 * ms, 2 * ms);
            line.ecu_says(other, end + 30 * ms + 8 * (byte_time + 2 * ms) + 30 * ms, 2 * ms);
        };
        line.machine.transmit(request, line.now, line);
        line.run(line.now + 600 * ms);
        CHECK(line.send_why.empty());
        REQUIRE(line.sent_at.size() == 1);
        REQUIRE(line.puts.size() == request.size());
        for (std::size_t i = 1; i < line.puts.size(); ++i) {
            const Time gap = line.puts[i].first - line.puts[i - 1].first - byte_time;
            CHECK(gap >= 5 * ms);
            CHECK(gap <= 20 * ms);
        }
        REQUIRE(line.frames.size() == 2);
        CHECK(line.frames[0].first == answer);
        CHECK(line.frames[1].first == other);
        CHECK(!line.frames[0].second);

        // The next request at once: P3 from the last byte of the answer.
        const Time last = line.now;
        (void)before;
        line.puts.clear();
        line.tester_said = nullptr;
        line.ecu_says({0x00}, last, 0);
        line.run(last + 2 * ms);
        line.machine.transmit(request, line.now, line);
        line.run(line.now + 500 * ms);
        REQUIRE(!line.puts.empty());
        CHECK(line.puts[0].first - (last + byte_time) >= 55 * ms);
    }
}

TEST_CASE("keep-alive comes before P3max, and a silent ECU is told of") {
    FiveBaud ecu;
    ecu.wake();
    auto& line = ecu.line;
    REQUIRE(line.up);
    const Time from = line.now;
    std::vector<Time> begins;
    std::size_t heard = 0;
    bool answers = true;
    line.tester_said = [&](std::uint8_t, Time end) {
        if (heard++ % 6 == 0)
            begins.push_back(line.now);
        if (heard % 6 == 0 && answers)
            line.ecu_says(with_sum({0x48, 0x6B, 0x10, 0x41, 0x00, 0xBE, 0x1F, 0xB8, 0x10}),
                          end + 30 * ms, ms);
    };
    line.run(from + 60'000 * ms);
    REQUIRE(begins.size() >= 12);
    for (std::size_t i = 1; i < begins.size(); ++i)
        CHECK(begins[i] - begins[i - 1] < 5000 * ms);
    CHECK(!line.trouble);
    std::size_t own = 0;
    for (const auto& [frame, mine] : line.frames)
        own += mine;
    CHECK(own == begins.size());
    CHECK(line.frames.size() == 2 * own);
    // A request in the middle of a keep-alive follows it.
    answers = false;
    begins.clear();
    while (begins.empty())
        line.run(line.now + ms);
    line.machine.transmit(with_sum({0x68, 0x6A, 0xF1, 0x01, 0x0C}), line.now, line);
    line.sent_at.clear();
    line.run(line.now + 1000 * ms);
    CHECK(line.send_why.empty());
    CHECK(line.sent_at.size() == 1);
    line.run(line.now + 60'000 * ms);
    CHECK(line.trouble == KlineTrouble::lost);
}

TEST_CASE("somebody else's byte, and a cut line, are no echo") {
    FiveBaud ecu;
    ecu.wake();
    auto& line = ecu.line;
    REQUIRE(line.up);
    line.echo = false; // the line is cut
    line.machine.transmit(with_sum({0x68, 0x6A, 0xF1, 0x01, 0x0C}), line.now, line);
    line.run(line.now + 500 * ms);
    CHECK(line.send_why.find("come back") != std::string::npos);
    CHECK(line.sent_at.empty());
    line.send_why.clear();
    line.tester_said = [&](std::uint8_t byte, Time end) {
        line.coming.push_back({end, static_cast<std::uint8_t>(byte ^ 0x10)});
    };
    line.machine.transmit(with_sum({0x68, 0x6A, 0xF1, 0x01, 0x0C}), line.now, line);
    line.run(line.now + 500 * ms);
    CHECK(line.send_why.find("somebody else") != std::string::npos);
    CHECK(line.puts.size() >= 2);
}
