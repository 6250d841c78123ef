// SPDX-License-Identifier: Apache-2.0
// Whole messages: every frame form and addressing format of ISO 15765-2:2016.
#include "support.hpp"

#include <doctest/doctest.h>

using namespace telltale;
using namespace telltale::isotp;
using namespace telltale::isotp::testing;

TEST_CASE("a single frame is a message, padded or not") {
    Bench bench;
    bench.feed("03 41 0D 28 AA AA AA AA");
    bench.feed("03 41 0D 28");
    bench.feed("07 01 02 03 04 05 06 07");
    CHECK(bench.said() == "410D28 410D28 01020304050607");
    CHECK(bench.words().empty());
    const Message& m = bench.heard.messages[1].message;
    CHECK(m.id == ecu);
    CHECK(m.place.offset == 2);
    CHECK(m.time == 2 * nanoseconds_a_millisecond);
    CHECK(m.frames == 1);
    CHECK_FALSE(m.has_address);
}

TEST_CASE("first and consecutive frames are a message, with its places and times") {
    Bench bench;
    bench.feed("10 14 49 02 01 57 42 41");
    bench.feed(tester, "30 00 00 00 00 00 00 00");
    bench.feed("21 31 32 33 34 35 36 37");
    CHECK(bench.said().empty());
    CHECK(bench.reassembler.open() == 1);
    bench.feed("22 38 39 41 42 43 44 45");
    CHECK(bench.said() == "4902015742413132333435363738394142434445");
    CHECK(bench.words().empty());
    CHECK(bench.reassembler.open() == 0);
    const Message& m = bench.heard.messages[0].message;
    CHECK(m.frames == 3);
    CHECK(m.place.offset == 1);
    CHECK(m.time == 1 * nanoseconds_a_millisecond);
    CHECK(m.end_time == 4 * nanoseconds_a_millisecond);
    REQUIRE(bench.heard.flow.size() == 1);
    CHECK(bench.heard.flow[0].status == FlowControl::Status::go_on);
}

TEST_CASE("the sequence number wraps, and messages of every length come whole") {
    for (std::size_t n = 1; n <= 700; ++n) {
        Bench bench;
        const auto message = ramp(n, 3);
        for (const auto& frame : cut(message))
            bench.feed(0, ecu, frame);
        bench.finish();
        CHECK(bench.said() == to_hex(message));
        CHECK(bench.words().empty());
    }
    for (const std::size_t n : {4094U, 4095U, 4096U, 5000U, 65'535U, 65'536U}) {
        Bench bench;
        const auto message = ramp(n, 5);
        for (const auto& frame : cut(message))
            bench.feed(0, ecu, frame);
        bench.finish();
        CHECK(bench.said() == to_hex(message));
        CHECK(bench.words().empty());
    }
}

TEST_CASE("CAN FD: single-frame escape and longer frames, every length") {
    for (const std::size_t size : {12U, 16U, 20U, 24U, 32U, 48U, 64U})
        for (const Addressing addressing : {Addressing::normal, Addressing::extended}) {
            ReassemblerOptions options;
            options.addressing = addressing;
            const int address = addressing == Addressing::normal ? -1 : 0x33;
            for (std::size_t n = 1; n <= 300; ++n) {
                Bench bench{options};
                bench.fd = true;
                const auto message = ramp(n);
                for (const auto& frame : cut(message, size, address))
                    bench.feed(0, ecu, frame);
                bench.finish();
                CHECK(bench.said() == to_hex(message));
                CHECK(bench.words().empty());
            }
            Bench bench{options};
            bench.fd = true;
            const auto message = ramp(60'000);
            for (const auto& frame : cut(message, size, address))
                bench.feed(0, ecu, frame);
            CHECK(bench.said() == to_hex(message));
        }
}

TEST_CASE("extended and mixed addressing keep the address byte apart") {
    for (const Addressing addressing : {Addressing::extended, Addressing::mixed}) {
        ReassemblerOptions options;
        options.addressing = addressing;
        Bench bench{options};
        bench.feed("10 03 41 0D 28 AA AA AA");
        CHECK(bench.said() == "410D28");
        CHECK(bench.heard.messages[0].message.has_address);
        CHECK(bench.heard.messages[0].message.address == 0x10);
        // two senders on one identifier, interleaved
        const auto a = ramp(100, 1);
        const auto b = ramp(100, 2);
        const auto frames_a = cut(a, 8, 0x01);
        const auto frames_b = cut(b, 8, 0x02);
        REQUIRE(frames_a.size() == frames_b.size());
        for (std::size_t i = 0; i < frames_a.size(); ++i) {
            bench.feed(0, ecu, frames_a[i]);
            bench.feed(0, ecu, frames_b[i]);
        }
        CHECK(bench.said() == "410D28 " + to_hex(a) + ' ' + to_hex(b));
        CHECK(bench.words().empty());
    }
}

TEST_CASE("sessions are apart by line, identifier and its width") {
    Bench bench;
    const CanId standard{0x7E8, false};
    const CanId extended{0x7E8, true};
    struct Sender {
        std::uint16_t line;
        CanId id;
        std::vector<std::uint8_t> message;
    };
    std::vector<Sender> senders;
    for (unsigned i = 0; i < 8; ++i)
        senders.push_back({0, {0x7E8 + i, false}, ramp(60, i)});
    senders.push_back({1, standard, ramp(60, 20)});
    senders.push_back({0, extended, ramp(60, 21)});
    senders.push_back({0, {0x18DAF110, true}, ramp(60, 22)});
    senders.push_back({0, {0x18DAF111, true}, ramp(60, 23)});
    const std::size_t frames = cut(senders[0].message).size();
    for (std::size_t i = 0; i < frames; ++i)
        for (const Sender& sender : senders)
            bench.feed(sender.line, sender.id, cut(sender.message)[i]);
    CHECK(bench.words().empty());
    REQUIRE(bench.heard.messages.size() == senders.size());
    for (std::size_t i = 0; i < senders.size(); ++i) {
        CHECK(bench.heard.messages[i].hex == to_hex(senders[i].message));
        CHECK(bench.heard.messages[i].message.id == senders[i].id);
        CHECK(bench.heard.messages[i].message.line == senders[i].line);
    }
}

TEST_CASE("flow control is told and disturbs nothing") {
    Bench bench;
    bench.feed("10 08 01 02 03 04 05 06");
    bench.feed("32 00 00");         // same identifier: the ECU's own flow control
    bench.feed(tester, "31 08 F1"); // wait
    bench.feed(tester, "30 08 14");
    bench.feed("21 07 08");
    CHECK(bench.said() == "0102030405060708");
    CHECK(bench.words().empty());
    REQUIRE(bench.heard.flow.size() == 3);
    CHECK(bench.heard.flow[0].status == FlowControl::Status::overflow);
    CHECK(bench.heard.flow[1].status == FlowControl::Status::wait);
    CHECK(bench.heard.flow[1].st_min == 0xF1);
    CHECK(bench.heard.flow[2].block_size == 8);
    CHECK(bench.heard.flow[2].st_min == 0x14);
}

TEST_CASE("remote and error frames are not heard") {
    Bench bench;
    const auto data = bytes_of("03 41 0D 28");
    for (const CanKind kind : {CanKind::remote, CanKind::error}) {
        CanFrame frame;
        frame.id = ecu;
        frame.kind = kind;
        frame.data = data;
        bench.reassembler.feed(0, frame, 0, {}, bench.heard);
    }
    CHECK(bench.said().empty());
    CHECK(bench.words().empty());
}

TEST_CASE("a reassembler can be moved, and is as new after finish") {
    Bench bench;
    bench.feed("10 08 01 02 03 04 05 06");
    Reassembler other = std::move(bench.reassembler);
    bench.reassembler = std::move(other);
    bench.feed("21 07 08");
    CHECK(bench.said() == "0102030405060708");
    bench.feed("22 00"); // told
    bench.feed("23 00"); // in silence
    bench.finish();
    bench.feed("24 00"); // told: nothing is remembered
    CHECK(bench.words() == "consecutive-unexpected consecutive-unexpected");
}
