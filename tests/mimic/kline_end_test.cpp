// SPDX-License-Identifier: Apache-2.0
// The ECUs' end of a K-line: how it is woken, and falls asleep.
#include "telltale/mimic/kline_end.hpp"

#include <doctest/doctest.h>

#include "support.hpp"
#include "telltale/isotp/options.hpp"

namespace {

using namespace telltale;
using namespace telltale::mimic;
using namespace telltale::mimic::test;

struct Put {
    Message bytes;
    Time time;
};

/// A line with the end on it.
class Line {
  public:
    Line(bool iso_14230, bool asleep) : end_(vehicle_, iso_14230, asleep) {}
    void send(const Message& bytes, Time now) {
        run(now);
        end_.feed(bytes, now);
    }
    void run(Time until) {
        while (end_.next_wakeup() <= until) {
            const Time now = end_.next_wakeup();
            end_.poll(now, [&](Bytes b) { put.push_back({{b.begin(), b.end()}, now}); });
        }
        end_.poll(until, [&](Bytes b) { put.push_back({{b.begin(), b.end()}, until}); });
    }
    bool awake() const { return end_.awake(); }
    std::vector<Put> put;

  private:
    static Options options() {
        Options o;
        o.ecus = 1;
        return o;
    }
    Vehicle vehicle_{options()};
    KlineEnd end_;
};

Message framed(Message bytes) {
    bytes.push_back(kline_checksum(bytes));
    return bytes;
}
const Message ask_speed = framed({0x68, 0x6A, 0xF1, 0x01, 0x0D});

/// The address 33 at five baud, as a serial port hears it.
void call(Line& line, Time at) {
    for (const Time low : {Time{0}, 600 * millisecond, 1400 * millisecond})
        line.send({0x00}, at + low);
}

TEST_CASE("five baud: the times and bytes of the standard, then answers") {
    for (const bool iso_14230 : {false, true}) {
        Line line(iso_14230, true);
        line.send(ask_speed, second);
        line.run(3 * second);
        CHECK(line.put.empty()); // asleep
        const Time start = 4 * second;
        call(line, start);
        line.run(start + 2400 * millisecond);
        REQUIRE(line.put.size() == 3);
        const auto keys = Vehicle::key_bytes(iso_14230);
        CHECK(line.put[0].bytes == Message{0x55});
        CHECK(line.put[1].bytes == Message{keys[0]});
        CHECK(line.put[2].bytes == Message{keys[1]});
        // W1 60 to 300 ms after the address of ten bits of 200 ms; W2 5 to 20, W3 0 to 20.
        CHECK(line.put[0].time - (start + 2 * second) >= 60 * millisecond);
        CHECK(line.put[0].time - (start + 2 * second) <= 300 * millisecond);
        CHECK(line.put[1].time - line.put[0].time >= 5 * millisecond);
        CHECK(line.put[1].time - line.put[0].time <= 20 * millisecond);
        CHECK(line.put[2].time - line.put[1].time <= 20 * millisecond);
        CHECK_FALSE(line.awake());
        const Time back = line.put[2].time + 30 * millisecond;
        line.send({static_cast<std::uint8_t>(~keys[1])}, back);
        line.run(back + 60 * millisecond);
        REQUIRE(line.put.size() == 4);
        CHECK(line.put[3].bytes == Message{0xCC}); // the address inverted
        CHECK(line.put[3].time - back >= 25 * millisecond);
        CHECK(line.put[3].time - back <= 50 * millisecond);
        CHECK(line.awake());
        const Time ask_at = back + 200 * millisecond;
        line.send(ask_speed, ask_at);
        line.run(ask_at + 100 * millisecond);
        REQUIRE(line.put.size() == 5);
        CHECK(line.put[4].bytes.size() == 7);
        CHECK(line.put[4].time - ask_at >= 25 * millisecond);
        CHECK(line.put[4].time - ask_at <= 50 * millisecond);
        // P3max without a request: asleep again.
        line.run(ask_at + 6 * second);
        CHECK_FALSE(line.awake());
    }
}

TEST_CASE("five baud: another address, or a wrong inverted key byte, wakes nobody") {
    Line other(false, true);
    for (const Time low : {Time{0}, 400 * millisecond, 1400 * millisecond}) // not 33
        other.send({0x00}, second + low);
    other.run(5 * second);
    CHECK(other.put.empty());
    Line wrong(false, true);
    call(wrong, second);
    wrong.run(3500 * millisecond);
    REQUIRE(wrong.put.size() == 3);
    wrong.send({0x08}, 3500 * millisecond);
    wrong.run(4 * second);
    CHECK(wrong.put.size() == 3);
    CHECK_FALSE(wrong.awake());
}

TEST_CASE("fast: a low level, then StartCommunication; StopCommunication sends it to sleep") {
    Line line(true, true);
    const Message start = framed({0xC1, 0x33, 0xF1, 0x81});
    line.send(start, second); // without the wake-up
    line.run(2 * second);
    CHECK(line.put.empty());
    line.send({0x00}, 3 * second);
    line.send(start, 3 * second + 55 * millisecond);
    line.run(3200 * millisecond);
    REQUIRE(line.put.size() == 1);
    CHECK(line.put[0].bytes == framed({0x83, 0xF1, 0x10, 0xC1, 0xE9, 0x8F}));
    CHECK(line.awake());
    line.send(framed({0xC2, 0x33, 0xF1, 0x01, 0x0D}), 3300 * millisecond);
    line.run(3400 * millisecond);
    CHECK(line.put.size() == 2);
    line.send(framed({0xC1, 0x33, 0xF1, 0x82}), 3500 * millisecond);
    line.run(3600 * millisecond);
    CHECK(line.put.size() == 3);
    CHECK_FALSE(line.awake());
}

TEST_CASE("bytes one by one, noise, and what is too long") {
    Line line(false, false);
    Time now = second;
    for (const auto byte : ask_speed) {
        line.send({byte}, now);
        now += 6 * millisecond;
    }
    line.run(now += 100 * millisecond);
    CHECK(line.put.size() == 1);
    Random random(3);
    for (int i = 0; i < 20'000; ++i)
        line.send({static_cast<std::uint8_t>(random.next())},
                  now += static_cast<Time>(random.below(8) * 4'000'000));
    line.run(now += second);
    const std::size_t before = line.put.size();
    line.send(ask_speed, now);
    line.run(now += 100 * millisecond);
    CHECK(line.put.size() == before + 1);
}

} // namespace
