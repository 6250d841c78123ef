// SPDX-License-Identifier: Apache-2.0
// Clauses are of ISO 15765-2:2016.
#include "telltale/isotp/sender.hpp"

#include "line.hpp"

using namespace telltale;
using namespace telltale::isotp;
using namespace telltale::isotp::testing;

namespace {

const Address normal = tester_address(ecu); // sends as 7E0, hears 7E8

struct Sending : Alone<Sender> {
    using Alone::Alone;
    explicit Sending(const Options& options = {}) : Alone(normal, options) {}
    void start(std::size_t length) {
        REQUIRE(machine.start(ramp(length), now).has_value());
        run();
    }
    void hear(const std::string& hex) { feed(machine_rx, hex); }
    CanId machine_rx = ecu;
};

} // namespace

TEST_CASE("a single frame, padded or not (9.6.2)") {
    Sending bench;
    REQUIRE(bench.machine.start(bytes_of("010C"), bench.now).has_value());
    CHECK(bench.machine.busy());
    CHECK(bench.take().empty()); // poll gives it
    bench.run();
    CHECK(bench.frames.at(0).id == tester);
    CHECK(bench.take() == "02010CCCCCCCCCCC");
    CHECK(bench.take_words() == "out:N_OK");
    CHECK_FALSE(bench.machine.busy());
    CHECK(bench.machine.next_wakeup() == never);

    Options options;
    options.padding = std::uint8_t{0x55};
    Sending other{options};
    other.start(2);
    CHECK(other.take() == "0200075555555555");
    options.padding.reset();
    Sending bare{options};
    bare.start(2);
    CHECK(bare.take() == "020007");
}

TEST_CASE("first and consecutive frames; the number wraps (9.6.3, 9.6.4)") {
    Sending bench;
    bench.start(6 + 7 * 17 + 1);
    CHECK(bench.take() == "107E00070E151C23");
    bench.hear("30 00 00");
    std::string all = bench.take();
    REQUIRE(bench.words == "out:N_OK");
    CHECK(all.substr(0, 16) == "212A31383F464D54");
    CHECK(all.substr(14 * 17, 2) == "2F");
    CHECK(all.substr(15 * 17, 2) == "20");
    CHECK(all.substr(17 * 17) == "226BCCCCCCCCCCCC");
}

TEST_CASE("the length has 12 bits up to 4095 and 32 above (9.6.3)") {
    Options options;
    options.max_message = 5'000'000;
    for (const auto& [length, head] : {std::pair<std::size_t, const char*>{8, "1008"},
                                       {4095, "1FFF"},
                                       {4096, "100000001000"},
                                       {4'100'000, "1000003E8FA0"}}) {
        Sending bench{options};
        bench.start(length);
        CHECK(bench.take().substr(0, std::string_view(head).size()) == head);
    }
}

TEST_CASE("what cannot be sent is refused") {
    Sending bench;
    CHECK(bench.machine.start({}, 0).error().code == ErrorCode::bad_argument);
    CHECK(bench.machine.start(ramp(4096), 0).error().code == ErrorCode::too_long);
    bench.start(20);
    CHECK(bench.machine.start(ramp(1), bench.now).error().code == ErrorCode::bad_argument);
    Options options;
    options.functional = true; // 8.3.3: to all, a single frame only
    Sending functional{options};
    CHECK(functional.machine.start(ramp(8), 0).error().code == ErrorCode::too_long);
    CHECK(functional.machine.single_frame_room() == 7);
    functional.start(7);
    CHECK(functional.words == "out:N_OK");
}

TEST_CASE("blocks: as many frames as BS says, then flow control again (9.6.5.3)") {
    for (const unsigned bs : {1U, 2U, 15U, 16U, 255U}) {
        Sending bench;
        bench.start(4095);
        bench.take();
        const std::size_t frames = (4095 - 6 + 6) / 7;
        std::size_t given = 0;
        while (given < frames) {
            REQUIRE(bench.words.empty());
            REQUIRE(bench.frames.empty());
            const std::uint8_t code[] = {static_cast<std::uint8_t>(bs)};
            bench.hear("30" + to_hex(code) + "00");
            const std::size_t now = bench.frames.size();
            REQUIRE(now == std::min<std::size_t>(bs, frames - given));
            given += now;
            bench.frames.clear();
            bench.pass(70 * ms);
        }
        CHECK(bench.words == "out:N_OK");
    }
    // The flow control of the next block may ask for another size.
    Sending bench;
    bench.start(100);
    bench.take();
    bench.hear("30 01 00");
    CHECK(bench.frames.size() == 1);
    bench.hear("30 03 00");
    CHECK(bench.frames.size() == 4);
    bench.hear("30 00 00");
    CHECK(bench.words == "out:N_OK");
}

TEST_CASE("STmin is never undercut, whatever its code (9.6.5.4)") {
    for (unsigned code = 0; code <= 0xFF; ++code)
        for (const bool confirmed : {false, true}) {
            CAPTURE(code);
            const Time wanted = st_min_time(static_cast<std::uint8_t>(code));
            Options options;
            options.confirmed = confirmed;
            Sending bench{options};
            Sender& sender = bench.machine;
            const std::vector<std::uint8_t> flow{0x30, 2, static_cast<std::uint8_t>(code)};
            const auto taken = [&] { // by the line, a while after it was given
                bench.now += 240 * us;
                if (confirmed)
                    sender.sent(bench.frames.back().ticket, bench.now, bench);
            };
            bench.start(6 + 7 * 5);
            taken();
            Time latest = no_time;
            for (std::size_t i = 0; i < 5; ++i) {
                if (i % 2 == 0) // a block of two; asked for at once, or only later
                    sender.feed(frame_of(ecu, flow), bench.now += i == 2 ? 0 : 70 * ms, bench);
                bench.frames.clear();
                const Time due = sender.next_wakeup();
                if (due > bench.now) { // not a moment before
                    sender.poll(due - 1, bench);
                    REQUIRE(bench.frames.empty());
                    bench.now = due;
                }
                sender.poll(bench.now, bench);
                REQUIRE(bench.frames.size() == 1);
                if (i > 0)
                    REQUIRE(bench.now >= latest + wanted);
                if (i % 2 == 1) // and not later than that
                    REQUIRE(due == latest + wanted);
                // the time counts from the end of the frame on the line, where that is known
                latest = bench.now;
                taken();
                if (confirmed)
                    latest = bench.now;
            }
            REQUIRE(bench.words == "out:N_OK");
        }
}

TEST_CASE("least_gap is kept where STmin asks for less") {
    Options options;
    options.least_gap = 3 * ms;
    Sending bench{options};
    bench.start(27);
    bench.hear("30 00 01");
    bench.take();
    CHECK(bench.machine.next_wakeup() == bench.now + 3 * ms);
    bench.pass(3 * ms);
    CHECK(bench.frames.size() == 1);
}

TEST_CASE("wait frames start N_Bs anew, up to a limit (9.6.5.1)") {
    Options options;
    options.max_waits = 3;
    Sending bench{options};
    bench.start(20);
    bench.take();
    for (int i = 0; i < 3; ++i) {
        bench.pass(74 * ms);
        bench.hear("31 00 00");
        CHECK(bench.words.empty());
    }
    bench.pass(74 * ms);
    bench.hear("30 01 00"); // as it goes on, the count starts anew
    CHECK(bench.frames.size() == 1);
    for (int i = 0; i < 3; ++i)
        bench.hear("31 00 00");
    CHECK(bench.words.empty());
    bench.hear("31 00 00");
    CHECK(bench.take_words() == "out:N_WFT_OVRN");
    CHECK_FALSE(bench.machine.busy());
}

TEST_CASE("overflow and reserved flow status end the message (9.6.5.1, 9.6.5.2)") {
    Sending bench;
    bench.start(20);
    bench.hear("32 00 00");
    CHECK(bench.take_words() == "out:N_BUFFER_OVFLW");
    for (unsigned fs = 3; fs <= 15; ++fs) {
        bench.start(20);
        const std::uint8_t head[] = {static_cast<std::uint8_t>(0x30 | fs)};
        bench.hear(to_hex(head) + "0000");
        CHECK(bench.take_words() == "out:N_INVALID_FS");
    }
    bench.start(3); // and the next message goes
    CHECK(bench.words == "out:N_OK");
}

TEST_CASE("N_Bs: no flow control after the first frame, or after a block") {
    Sending bench;
    bench.start(20);
    CHECK(bench.machine.next_wakeup() == bench.now + 75 * ms);
    bench.pass(75 * ms - 1);
    CHECK(bench.words.empty());
    bench.pass(1);
    CHECK(bench.take_words() == "out:N_TIMEOUT_Bs");
    bench.start(20);
    bench.hear("30 01 00");
    bench.pass(75 * ms);
    CHECK(bench.take_words() == "out:N_TIMEOUT_Bs");
    // Flow control that came in time counts though it is read late; what came late does not.
    bench.start(20);
    bench.now += 75 * ms;
    bench.hear("30 00 00");
    CHECK(bench.take_words() == "out:N_OK");
    bench.start(20);
    bench.now += 75 * ms + 1;
    bench.take();
    bench.hear("30 00 00");
    CHECK(bench.take_words() == "out:N_TIMEOUT_Bs");
    CHECK(bench.take().empty());
}

TEST_CASE("N_As: a frame that the line does not take") {
    Options options;
    options.confirmed = true;
    for (const std::size_t length : {3U, 20U}) {
        Sending bench{options};
        bench.start(length);
        CHECK(bench.machine.next_wakeup() == bench.now + 25 * ms);
        bench.pass(25 * ms);
        CHECK(bench.take_words() == "out:N_TIMEOUT_A");
        const Ticket old = bench.frames.back().ticket;
        bench.start(3);
        bench.machine.sent(old, bench.now, bench); // too late: of the message before
        CHECK(bench.words.empty());
        bench.machine.sent(bench.frames.back().ticket, bench.now, bench);
        CHECK(bench.take_words() == "out:N_OK");
    }
    Sending bench{options};
    bench.start(20);
    bench.machine.sent(bench.frames.back().ticket, bench.now, bench);
    bench.hear("30 00 00");
    bench.pass(25 * ms);
    CHECK(bench.words == "out:N_TIMEOUT_A");
}

TEST_CASE("flow control that overtakes the confirmation of the frame it answers") {
    Options options;
    options.confirmed = true;
    Sending bench{options};
    bench.start(27);
    const Ticket first = bench.frames.back().ticket;
    bench.hear("30 02 00");
    CHECK(bench.frames.size() == 2);
    bench.machine.sent(first, bench.now, bench); // changes nothing
    bench.run();
    CHECK(bench.frames.size() == 2);
    bench.hear("30 02 00"); // not at the end of a block: not expected
    CHECK(bench.frames.size() == 2);
    bench.machine.sent(bench.frames.back().ticket, bench.now, bench);
    bench.run();
    CHECK(bench.frames.size() == 3);
    bench.hear("30 00 00");
    CHECK(bench.frames.size() == 4);
    bench.machine.sent(bench.frames.back().ticket, bench.now, bench);
    CHECK(bench.words == "out:N_OK");
}

TEST_CASE("flow control that is not for it, not expected or cut is passed over") {
    Sending bench;
    bench.hear("30 00 00"); // idle
    CHECK(bench.machine.next_wakeup() == never);
    bench.start(40);
    bench.take();
    bench.feed({0x7E9, false}, "32 00 00");
    bench.feed({0x7E8, true}, "32 00 00");
    bench.hear("30");
    bench.hear("30 00");
    bench.hear("");
    bench.hear("02 41 0C");
    bench.hear("32 00 00 00 00 00 00 00 00"); // nine bytes are no classic frame
    CanFrame remote = frame_of(ecu, {});
    remote.kind = CanKind::remote;
    bench.machine.feed(remote, bench.now, bench);
    CHECK(bench.words.empty());
    CHECK(bench.frames.empty());
    bench.hear("30 00 0A");
    bench.hear("30 00 00"); // in the midst of a block: STmin stays
    bench.hear("32 00 00");
    bench.hear("3F 00 00");
    CHECK(bench.frames.size() == 1);
    CHECK(bench.words.empty());
    bench.pass(9 * ms);
    CHECK(bench.frames.size() == 1);
    bench.pass(41 * ms);
    CHECK(bench.words == "out:N_OK");
    bench.hear("32 00 00"); // over
    CHECK(bench.words == "out:N_OK");
}

TEST_CASE("extended and mixed addressing put the byte first, and hear only their own (10.3.4)") {
    const Address address = extended_address({0x6F1, false}, {0x612, false}, 0x12, 0xF1);
    Sending bench{address};
    bench.machine_rx = address.rx;
    CHECK(bench.machine.single_frame_room() == 6);
    bench.start(6);
    CHECK(bench.take() == "120600070E151C23");
    CHECK(bench.take_words() == "out:N_OK");
    bench.start(13);
    CHECK(bench.take() == "12100D00070E151C");
    bench.hear("F2 30 00 00"); // for somebody else
    bench.hear("30 00 00");
    bench.hear("F1 30 00");
    CHECK(bench.take().empty());
    bench.hear("F1 30 00 00");
    CHECK(bench.take() == "1221232A31383F46 12224D54CCCCCCCC");
    CHECK(bench.words == "out:N_OK");
}

TEST_CASE("CAN FD: the escape of single frames and the lengths that frames have (9.6.2)") {
    Options options;
    options.fd = true;
    options.bit_rate_switch = true;
    options.tx_dl = 64;
    Sending bench{options};
    bench.fd = true;
    CHECK(bench.machine.single_frame_room() == 62);
    bench.start(7);
    CHECK(bench.take() == "0700070E151C232A");
    bench.start(8);
    CHECK(bench.take() == "000800070E151C232A31CCCC");
    bench.start(62);
    CHECK(bench.frames.back().data.size() == 64);
    CHECK(bench.take().substr(0, 4) == "003E");
    bench.take_words();
    bench.start(63);
    CHECK(bench.frames.back().data.size() == 64);
    CHECK(bench.take().substr(0, 4) == "103F");
    bench.hear("30 00 00");
    CHECK(bench.take() == "21B2CCCCCCCCCCCC"); // 63 - 62: one byte
    CHECK(bench.take_words() == "out:N_OK");
    bench.start(62 + 63 + 8);
    bench.take();
    bench.hear("30 00 00");
    CHECK(bench.frames.at(0).data.size() == 64);
    CHECK(bench.frames.at(1).data.size() == 12);
    options.tx_dl = 63; // no length of a frame: the next below
    CHECK(Sending{options}.machine.single_frame_room() == 46);
    options.tx_dl = 3;
    CHECK(Sending{options}.machine.single_frame_room() == 7);
    options.fd = false;
    options.tx_dl = 64;
    CHECK(Sending{options}.machine.single_frame_room() == 7);
}

TEST_CASE("a message can be given up, and the next sent") {
    Sending bench;
    bench.machine.cancel(bench.now, bench);
    CHECK(bench.words.empty());
    bench.start(20);
    bench.machine.cancel(bench.now, bench);
    CHECK(bench.take_words() == "out:N_ERROR");
    bench.hear("30 00 00");
    CHECK(bench.words.empty());
    bench.start(1);
    CHECK(bench.words == "out:N_OK");
}

TEST_CASE("times at the ends of the range, unknown, or going back, do no harm") {
    for (const Time start : {no_time, no_time + 1, Time{0}, never - 1, never}) {
        Sending bench;
        bench.now = start;
        REQUIRE(bench.machine.start(ramp(20), start).has_value());
        bench.machine.poll(start, bench);
        CHECK(bench.frames.size() == 1);
        const auto flow = bytes_of("30007F");
        bench.machine.feed(frame_of(ecu, flow), no_time, bench);
        bench.machine.poll(start, bench);
        bench.machine.poll(never, bench);
        bench.machine.poll(never, bench);
        CHECK(bench.words == "out:N_OK");
    }
    Sending bench;
    bench.start(20);
    bench.now -= 500 * ms; // counts as the latest time
    bench.hear("30 00 00");
    CHECK(bench.words.empty());
    bench.now += 500 * ms;
    bench.run();
    CHECK(bench.words == "out:N_OK");
}
