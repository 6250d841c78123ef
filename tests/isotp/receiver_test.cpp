// SPDX-License-Identifier: Apache-2.0
// Clauses are of ISO 15765-2:2016.
#include "telltale/isotp/receiver.hpp"

#include "line.hpp"

using namespace telltale;
using namespace telltale::isotp;
using namespace telltale::isotp::testing;

namespace {

const Address normal = tester_address(ecu); // sends as 7E0, hears 7E8

struct Receiving : Alone<Receiver> {
    explicit Receiving(const Options& options = {}, const Address& address = normal)
        : Alone(address, options), rx(address.rx) {}
    void hear(const std::string& hex) { feed(rx, hex); }
    std::string said() const {
        std::string out;
        for (const auto& message : messages)
            out += (out.empty() ? "" : " ") + to_hex(message);
        return out;
    }
    CanId rx;
};

constexpr const char* vin_first = "10 14 49 02 01 57 42 41";

} // namespace

TEST_CASE("single frames are messages, padded or not; no flow control") {
    Receiving bench;
    bench.hear("03 41 0D 28 AA AA AA AA");
    bench.hear("03 41 0D 28");
    bench.hear("07 01 02 03 04 05 06 07");
    CHECK(bench.said() == "410D28 410D28 01020304050607");
    CHECK(bench.frames.empty());
    CHECK(bench.heads[0].id == ecu);
    CHECK(bench.heads[0].time == bench.now);
    CHECK(bench.heads[0].frames == 1);
    CHECK(bench.machine.next_wakeup() == never);
}

TEST_CASE("lengths that a single frame cannot have are ignored (9.6.2)") {
    Receiving bench;
    bench.hear("00 41 0D 28 AA AA AA AA");
    bench.hear("04 41 0D 28");
    bench.hear("08 41 0D 28 01 02 03 04");
    bench.hear("0F 41 0D 28 01 02 03 04");
    bench.hear("");
    bench.hear("00");
    bench.hear("01");
    bench.hear("05 41 0D 28 01 02 03 04 05"); // nine bytes are no classic frame
    CHECK(bench.words.empty());
    bench.fd = true;
    bench.hear("07 01 02 03 04 05 06 07 08 09 0A 0B"); // above 8 bytes the nibble is 0
    bench.hear("00 00 02 03 04 05 06 07 08 09 0A 0B");
    bench.hear("00 07 02 03 04 05 06 07 08 09 0A 0B"); // would have fitted 8 bytes
    bench.hear("00 0B 02 03 04 05 06 07 08 09 0A 0B");
    bench.hear("00 08 02 03 04 05 06 07 08 09 0A 0B 0C 0D 0E 0F"); // would have fitted 12 bytes
    bench.hear("00 08 02 03 04 05 06 07 08 09 0A");                // no length of a frame
    CHECK(bench.words.empty());
    bench.hear("00 08 02 03 04 05 06 07 08 09 CC CC");
    CHECK(bench.said() == "0203040506070809");
}

TEST_CASE("a segmented message: flow control once, and its places and times") {
    Receiving bench;
    bench.hear(vin_first);
    CHECK(bench.take_words() == "begun:6/20");
    CHECK(bench.machine.busy());
    CHECK(bench.frames.at(0).id == tester);
    CHECK(bench.take() == "300000CCCCCCCCCC");
    bench.pass(149 * ms);
    bench.hear("21 31 32 33 34 35 36 37");
    bench.now += 150 * ms; // in time to the moment
    bench.hear("22 38 39 41 42 43 44 45");
    CHECK(bench.said() == "4902015742413132333435363738394142434445");
    CHECK(bench.heads[0].end_time - bench.heads[0].time == 299 * ms);
    CHECK(bench.heads[0].frames == 3);
    CHECK(bench.frames.empty());
    CHECK_FALSE(bench.machine.busy());
    CHECK(bench.machine.next_wakeup() == never);
}

TEST_CASE("flow control says what the options ask for, after each block") {
    Options options;
    options.block_size = 2;
    options.st_min = 0xF3;
    options.padding.reset();
    Receiving bench{options};
    const auto frames = cut(ramp(6 + 7 * 5));
    for (std::size_t i = 0; i < frames.size(); ++i) {
        bench.hear(to_hex(frames[i]));
        // after the first frame, after 2 and after 4; none after the last
        CHECK(bench.take() == (i == 0 || i == 2 || i == 4 ? "3002F3" : ""));
    }
    CHECK(bench.messages.at(0) == ramp(41));
}

TEST_CASE("a slow receiver sends its flow control later; frames before it are not heeded") {
    Options options;
    options.flow_control_delay = 20 * ms;
    Receiving bench{options};
    bench.hear(vin_first);
    bench.hear("21 31 32 33 34 35 36 37");
    CHECK(bench.frames.empty());
    CHECK(bench.machine.next_wakeup() == bench.now + 20 * ms);
    bench.pass(20 * ms);
    CHECK(bench.frames.size() == 1);
    bench.hear("21 31 32 33 34 35 36 37");
    bench.hear("22 38 39 41 42 43 44 45");
    CHECK(bench.messages.size() == 1);
}

TEST_CASE("not ready: wait frames each N_Br up to N_WFTmax (9.7)") {
    Options options;
    options.wft_max = 2;
    Receiving bench{options};
    bench.machine.ready(false);
    bench.hear("03 41 0D 28"); // needs no flow control
    CHECK(bench.take_words() == "message");
    bench.hear(vin_first);
    CHECK(bench.frames.empty());
    bench.pass(25 * ms);
    CHECK(bench.take() == "310000CCCCCCCCCC");
    bench.machine.ready(true);
    CHECK(bench.machine.next_wakeup() <= bench.now);
    bench.run();
    CHECK(bench.take() == "300000CCCCCCCCCC");
    bench.hear("21 31 32 33 34 35 36 37");
    bench.hear("22 38 39 41 42 43 44 45");
    CHECK(bench.messages.size() == 2);
    bench.take_words();

    bench.machine.ready(false);
    bench.hear(vin_first);
    bench.pass(50 * ms);
    CHECK(bench.take() == "310000CCCCCCCCCC 310000CCCCCCCCCC");
    CHECK(bench.take_words() == "begun:6/20");
    bench.pass(25 * ms);
    CHECK(bench.take_words() == "in:N_WFT_OVRN:6");
    CHECK(bench.take().empty());
    CHECK(bench.machine.next_wakeup() == never);
    // N_WFTmax 0, as ISO 15765-4 has it: no wait frames at all
    Receiving strict;
    strict.machine.ready(false);
    strict.hear(vin_first);
    strict.pass(25 * ms);
    CHECK(strict.words == "begun:6/20 in:N_WFT_OVRN:6");
    CHECK(strict.frames.empty());
}

TEST_CASE("a message above the bound is answered with overflow (9.6.5.1)") {
    Options options;
    options.max_message = 19;
    Receiving bench{options};
    bench.hear(vin_first);
    CHECK(bench.take() == "320000CCCCCCCCCC");
    CHECK(bench.take_words() == "in:N_BUFFER_OVFLW:0");
    CHECK_FALSE(bench.machine.busy());
    bench.hear("21 31 32 33 34 35 36 37");
    CHECK(bench.words.empty());
    bench.hear("10 00 FF FF FF FF 01 02"); // 4 GiB
    CHECK(bench.take() == "320000CCCCCCCCCC");
    bench.hear("10 13 49 02 01 57 42 41");
    CHECK(bench.take() == "300000CCCCCCCCCC");
    bench.hear("21 31 32 33 34 35 36 37");
    bench.hear("22 38 39 41 42 43 44 45");
    CHECK(bench.messages.size() == 1);
}

TEST_CASE("first frames that none would send are ignored (9.6.3)") {
    Receiving bench;
    bench.hear("10 07 01 02 03 04 05 06"); // fits a single frame
    bench.hear("10 00 01 02 03 04 05 06"); // over the bound, and so overflow
    CHECK(bench.take() == "320000CCCCCCCCCC");
    bench.take_words();
    bench.hear("10 00 00 00 0F FF 05 06"); // 32 bits for what 12 can say
    bench.hear("10 00 00 00 00 00 05 06");
    bench.hear("10 14 49 02 01 57 42"); // 7 bytes
    bench.hear("10");
    CHECK(bench.words.empty());
    CHECK(bench.frames.empty());
    bench.hear("10 08 01 02 03 04 05 06");
    CHECK(bench.take_words() == "begun:6/8");
    Receiving fd;
    fd.fd = true;
    fd.hear("10 0A 01 02 03 04 05 06 07 08 09 0A"); // fits a single frame of 12
    CHECK(fd.words.empty());
    fd.hear("10 0B 01 02 03 04 05 06 07 08 09 0A");
    CHECK(fd.words == "begun:10/11");
}

TEST_CASE("wrong numbers end the message: lost, doubled, in another order (9.6.4.4)") {
    for (const char* wrong : {"22 38 39 41 42 43 44 45", "20 38 39 41 42 43 44 45"}) {
        Receiving bench;
        bench.hear(vin_first);
        bench.hear(wrong);
        CHECK(bench.take_words() == "begun:6/20 in:N_WRONG_SN:6");
        bench.hear("21 31 32 33 34 35 36 37");
        CHECK(bench.words.empty());
    }
    Receiving bench;
    bench.hear(vin_first);
    bench.hear("21 31 32 33 34 35 36 37");
    bench.hear("21 31 32 33 34 35 36 37");
    CHECK(bench.words == "begun:6/20 in:N_WRONG_SN:13");
    CHECK(bench.messages.empty());
}

TEST_CASE("N_Cr: no consecutive frame after flow control, or after another") {
    Receiving bench;
    bench.hear(vin_first);
    CHECK(bench.machine.next_wakeup() == bench.now + 150 * ms);
    bench.pass(150 * ms - 1);
    CHECK(bench.take_words() == "begun:6/20");
    bench.pass(1);
    CHECK(bench.take_words() == "in:N_TIMEOUT_Cr:6");
    bench.hear(vin_first);
    bench.hear("21 31 32 33 34 35 36 37");
    bench.take_words();
    bench.now += 150 * ms + 1; // noticed by the frame that comes late
    const auto late = bytes_of("2238394142434445");
    bench.machine.feed(frame_of(ecu, late), bench.now, bench);
    CHECK(bench.take_words() == "in:N_TIMEOUT_Cr:13");
    CHECK(bench.messages.empty());
    // A new message that comes late is a new message all the same.
    bench.hear(vin_first);
    bench.take_words();
    bench.now += 151 * ms;
    bench.feed(ecu, "03 41 0D 28");
    CHECK(bench.take_words() == "in:N_TIMEOUT_Cr:6 message");
}

TEST_CASE("N_Ar: flow control that the line does not take; N_Cr runs from when it did") {
    Options options;
    options.confirmed = true;
    Receiving bench{options};
    bench.hear(vin_first);
    CHECK(bench.machine.next_wakeup() == bench.now + 25 * ms);
    bench.pass(25 * ms);
    CHECK(bench.take_words() == "begun:6/20 in:N_TIMEOUT_A:6");
    bench.hear(vin_first);
    bench.now += 20 * ms;
    bench.machine.sent(bench.frames.front().ticket, bench.now, bench); // of the message before
    CHECK(bench.machine.next_wakeup() == bench.now + 5 * ms);
    bench.machine.sent(bench.frames.back().ticket, bench.now, bench);
    CHECK(bench.machine.next_wakeup() == bench.now + 150 * ms);
    bench.hear("21 31 32 33 34 35 36 37");
    bench.hear("22 38 39 41 42 43 44 45");
    CHECK(bench.messages.size() == 1);
    // A consecutive frame says that the flow control went out.
    bench.hear(vin_first);
    bench.hear("21 31 32 33 34 35 36 37");
    bench.hear("22 38 39 41 42 43 44 45");
    CHECK(bench.messages.size() == 2);
    // Overflow that is not taken troubles nobody.
    bench.take_words();
    bench.hear("10 00 FF FF FF FF 01 02");
    bench.take_words();
    bench.pass(100 * ms);
    CHECK(bench.words.empty());
    CHECK(bench.machine.next_wakeup() == never);
}

TEST_CASE("another message in the midst of one ends it and is heeded (9.8.3)") {
    Receiving bench;
    bench.hear(vin_first);
    bench.hear("21 31 32 33 34 35 36 37");
    bench.take_words();
    bench.hear("03 7F 09 78");
    CHECK(bench.take_words() == "in:N_UNEXP_PDU:13 message");
    bench.hear(vin_first);
    bench.hear(vin_first);
    CHECK(bench.take_words() == "begun:6/20 in:N_UNEXP_PDU:6 begun:6/20");
    bench.hear("21 31 32 33 34 35 36 37");
    bench.hear("22 38 39 41 42 43 44 45");
    CHECK(bench.messages.size() == 2);
    bench.take_words();
    // A frame that is to be ignored ends nothing; nor do flow control and reserved types.
    bench.hear(vin_first);
    bench.hear("00 41");
    bench.hear("10 03 41 01 02 03 04 05");
    bench.hear("30 00 00");
    bench.hear("40 00 00");
    bench.hear("F0 00 00");
    bench.hear("21 31 32 33 34 35 36 37");
    bench.hear("22 38 39 41 42 43 44 45");
    CHECK(bench.words == "begun:6/20 message");
    // In the midst of overflow, everything begins anew.
    bench.hear("10 00 FF FF FF FF 01 02");
    bench.hear("03 41 0D 28");
    CHECK(bench.messages.size() == 4);
}

TEST_CASE("consecutive frames that nobody asked for, and those too short, are ignored") {
    Receiving bench;
    bench.hear("21 31 32 33 34 35 36 37");
    CHECK(bench.words.empty());
    bench.hear(vin_first);
    bench.take_words();
    bench.hear("21 31 32 33 34 35 36"); // not the last one, and shorter than the first frame
    CHECK(bench.words.empty());
    bench.hear("21 31 32 33 34 35 36 37");
    bench.hear("22 38 39");
    CHECK(bench.words.empty());
    bench.hear("22 38 39 41 42 43 44 45");
    CHECK(bench.take_words() == "message");
    // The last one may be as short as what is left.
    bench.hear("10 09 01 02 03 04 05 06");
    bench.hear("21 07 08 09");
    CHECK(to_hex(bench.messages.back()) == "010203040506070809");
    // CAN FD: none longer than the first.
    bench.fd = true;
    bench.take_words();
    bench.hear("10 09 01 02 03 04 05 06");
    bench.hear("21 07 08 09 CC CC CC CC CC CC CC CC");
    bench.hear("21 07 08 09 CC CC CC CC");
    CHECK(bench.take_words() == "begun:6/9 message");
}

TEST_CASE("frames of others are not heeded") {
    Receiving bench;
    bench.hear(vin_first);
    bench.take_words();
    bench.feed({0x7E9, false}, "03 41 0D 28");
    bench.feed({0x7E8, true}, "03 41 0D 28");
    CanFrame remote = frame_of(ecu, {});
    remote.kind = CanKind::remote;
    bench.machine.feed(remote, bench.now, bench);
    CHECK(bench.words.empty());
    const Address address = extended_address({0x6F1, false}, {0x612, false}, 0x12, 0xF1);
    Receiving extended{{}, address};
    extended.hear("F2 02 41 0D");
    extended.hear("02 41 0D");
    extended.hear("F1 07 41 0D 01 02 03 04"); // 6 is the most there
    CHECK(extended.words.empty());
    extended.hear("F1 06 41 0D 01 02 03 04");
    CHECK(extended.said() == "410D01020304");
    CHECK(extended.heads[0].has_address);
    CHECK(extended.heads[0].address == 0xF1);
    extended.hear("F1 10 07 41 0D 01 02 03");
    CHECK(extended.take() == "12300000CCCCCCCC");
    extended.hear("F1 21 04 05");
    CHECK(to_hex(extended.messages.back()) == "410D0102030405");
}

TEST_CASE("requests to all: single frames only, and they disturb nothing (8.3.3)") {
    Options options;
    options.functional_rx = CanId{0x7DF, false};
    Receiving bench{options, normal.reversed()};
    bench.hear(vin_first);
    bench.take();
    bench.take_words();
    bench.feed({0x7DF, false}, "02 01 0C");
    CHECK(bench.take_words() == "message");
    CHECK(bench.heads[0].id == CanId{0x7DF, false});
    bench.feed({0x7DF, false}, vin_first);
    bench.feed({0x7DF, false}, "21 31 32 33 34 35 36 37");
    CHECK(bench.words.empty());
    bench.hear("21 31 32 33 34 35 36 37");
    bench.hear("22 38 39 41 42 43 44 45");
    CHECK(bench.take_words() == "message");
    CHECK(bench.heads[1].id == tester);
    const Address address = extended_address({0x6F1, false}, {0x612, false}, 0x12, 0xF1);
    options.functional_rx = CanId{0x6F1, false};
    options.functional_byte = 0xDF;
    Receiving extended{options, address.reversed()};
    extended.hear("DF 02 01 0C");
    extended.hear("12 02 01 0D");
    extended.hear("13 02 01 0E");
    CHECK(extended.said() == "010C 010D");
    CHECK(extended.heads[0].address == 0xDF);
    CHECK(extended.heads[1].address == 0x12);
}

TEST_CASE("what is being received can be given up") {
    Receiving bench;
    bench.machine.cancel(bench.now, bench);
    CHECK(bench.words.empty());
    bench.hear(vin_first);
    bench.machine.cancel(bench.now, bench);
    CHECK(bench.words == "begun:6/20 in:N_ERROR:6");
    CHECK(bench.machine.next_wakeup() == never);
}
