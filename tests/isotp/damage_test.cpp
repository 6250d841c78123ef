// SPDX-License-Identifier: Apache-2.0
// Every violation of ISO 15765-2:2016 is a typed problem, told once, and never a message.
#include "support.hpp"

#include <algorithm>
#include <map>
#include <random>

#include <doctest/doctest.h>

using namespace telltale;
using namespace telltale::isotp;
using namespace telltale::isotp::testing;

namespace {
/// The one problem of a bench.
const Problem& only(const Bench& bench) {
    REQUIRE(bench.heard.problems.size() == 1);
    return bench.heard.problems[0].problem;
}
} // namespace

TEST_CASE("single frames that cannot be") {
    struct Row {
        const char* frame;
        bool fd;
        Addressing addressing;
        const char* word;
        std::uint64_t a;
        std::uint64_t b;
    };
    // ISO 15765-2:2016, 9.6.2, tables 11 and 12 (from memory)
    const Row rows[] = {
        {"00 41 0D 28 00 00 00 00", false, Addressing::normal, "single-frame-empty", 0, 7},
        {"00", false, Addressing::normal, "single-frame-empty", 0, 0},
        {"08 01 02 03 04 05 06 07", false, Addressing::normal, "single-frame-too-long", 8, 7},
        {"0F 01 02 03 04 05 06 07", false, Addressing::normal, "single-frame-too-long", 15, 7},
        {"03 41 0D", false, Addressing::normal, "single-frame-too-long", 3, 2},
        {"01", false, Addressing::normal, "single-frame-too-long", 1, 0},
        {"55 07 01 02 03 04 05 06", false, Addressing::extended, "single-frame-too-long", 7, 6},
        // in an FD frame of up to 8 bytes the escape is not allowed
        {"00 06 01 02 03 04 05 06", true, Addressing::normal, "single-frame-empty", 0, 7},
        // more than 8 bytes: the low nibble is 0
        {"03 41 0D 28 00 00 00 00 00 00 00 00", true, Addressing::normal, "single-frame-too-short",
         3, 12},
        {"00 00 01 02 03 04 05 06 07 08 09 0A", true, Addressing::normal, "single-frame-empty", 0,
         10},
        {"00 07 01 02 03 04 05 06 07 08 09 0A", true, Addressing::normal, "single-frame-too-short",
         7, 12},
        {"00 0B 01 02 03 04 05 06 07 08 09 0A", true, Addressing::normal, "single-frame-too-long",
         11, 10},
        {"00 0A 01 02 03 04 05 06 07 08 09 0A 0B 0C 0D 0E", true, Addressing::normal,
         "single-frame-too-short", 10, 16},
        {"55 00 06 01 02 03 04 05 06 07 08 09", true, Addressing::extended,
         "single-frame-too-short", 6, 12},
        {"55 00 0A 01 02 03 04 05 06 07 08 09", true, Addressing::extended, "single-frame-too-long",
         10, 9},
    };
    for (const Row& row : rows) {
        CAPTURE(row.frame);
        ReassemblerOptions options;
        options.addressing = row.addressing;
        Bench bench{options};
        bench.fd = row.fd;
        bench.feed(row.frame);
        CHECK(bench.said().empty());
        CHECK(bench.words() == row.word);
        CHECK(only(bench).a == row.a);
        CHECK(only(bench).b == row.b);
        CHECK(only(bench).place.offset == 1);
        // and the next one is heard
        bench.fd = false;
        bench.feed(row.addressing == Addressing::normal ? "01 3E" : "55 01 3E");
        CHECK(bench.said() == "3E");
    }
}

TEST_CASE("the shortest and longest single frames of each FD length") {
    // ISO 15765-2:2016, table 12 (from memory): SF_DL of normal addressing
    const std::size_t lengths[] = {12, 16, 20, 24, 32, 48, 64};
    const std::size_t shortest[] = {8, 11, 15, 19, 23, 31, 47};
    for (std::size_t i = 0; i < 7; ++i)
        for (std::size_t n = 1; n < 64; ++n) {
            Bench bench;
            bench.fd = true;
            std::vector<std::uint8_t> frame(lengths[i], 0x11);
            frame[0] = 0;
            frame[1] = static_cast<std::uint8_t>(n);
            bench.feed(0, ecu, frame);
            const bool good = n >= shortest[i] && n <= lengths[i] - 2;
            CHECK(bench.heard.messages.size() == (good ? 1 : 0));
            CHECK(bench.heard.problems.size() == (good ? 0 : 1));
        }
}

TEST_CASE("first frames that cannot be; what follows them is silent") {
    struct Row {
        const char* frame;
        bool fd;
        Addressing addressing;
        const char* word;
        std::uint64_t a;
        std::uint64_t b;
    };
    const Row rows[] = {
        {"10 14 49 02 01 57 42", false, Addressing::normal, "first-frame-cut", 7, 8},
        {"10", false, Addressing::normal, "first-frame-cut", 1, 8},
        {"10 07 01 02 03 04 05 06", false, Addressing::normal, "first-frame-too-short", 7, 8},
        {"55 10 06 01 02 03 04 05", false, Addressing::extended, "first-frame-too-short", 6, 7},
        {"10 00 00 00 00 00 00 00", false, Addressing::normal, "first-frame-too-short", 0, 4096},
        {"10 00 00 00 0F FF 01 02", false, Addressing::normal, "first-frame-too-short", 4095, 4096},
        {"10 00 FF FF FF FF 01 02", false, Addressing::normal, "message-over-bound", 0xFFFFFFFF,
         65'536},
        {"10 00 00 01 00 01 01 02", false, Addressing::normal, "message-over-bound", 65'537,
         65'536},
        {"10 0A 01 02 03 04 05 06 07 08 09 0A", true, Addressing::normal, "first-frame-too-short",
         10, 11},
        {"55 10 09 01 02 03 04 05 06 07 08 09", true, Addressing::mixed, "first-frame-too-short", 9,
         10},
    };
    for (const Row& row : rows) {
        CAPTURE(row.frame);
        ReassemblerOptions options;
        options.addressing = row.addressing;
        const bool address = row.addressing != Addressing::normal;
        Bench bench{options};
        bench.fd = row.fd;
        bench.feed(row.frame);
        for (unsigned i = 1; i < 40; ++i)
            bench.feed((address ? "55 2" : "2") + std::string(1, "0123456789ABCDEF"[i % 16]) +
                       " 01 02 03 04 05 06");
        bench.finish();
        CHECK(bench.said().empty());
        CHECK(bench.words() == row.word);
        CHECK(only(bench).a == row.a);
        CHECK(only(bench).b == row.b);
    }
}

TEST_CASE("the shortest first frames that can be") {
    Bench bench;
    bench.feed("10 08 01 02 03 04 05 06");
    bench.feed("21 07 08");
    CHECK(bench.said() == "0102030405060708");
    ReassemblerOptions options;
    options.addressing = Addressing::extended;
    Bench extended{options};
    extended.feed("55 10 07 01 02 03 04 05");
    extended.feed("55 21 06 07");
    CHECK(extended.said() == "01020304050607");
    Bench fd;
    fd.fd = true;
    fd.feed("10 0B 01 02 03 04 05 06 07 08 09 0A");
    fd.feed("21 0B");
    CHECK(fd.said() == "0102030405060708090A0B");
    CHECK(bench.words() + extended.words() + fd.words() == "");
}

TEST_CASE("lost, repeated and reordered consecutive frames are told once") {
    const auto frames = cut(ramp(60));
    REQUIRE(frames.size() == 9);
    for (std::size_t lost = 1; lost < frames.size(); ++lost) {
        CAPTURE(lost);
        Bench bench;
        for (std::size_t i = 0; i < frames.size(); ++i)
            if (i != lost)
                bench.feed(0, ecu, frames[i]);
        if (lost + 1 == frames.size())
            bench.finish();
        CHECK(bench.said().empty());
        if (lost + 1 == frames.size()) {
            CHECK(bench.words() == "message-unfinished");
            CHECK(only(bench).a == 6 + 7 * 7);
            CHECK(only(bench).b == 60);
        } else {
            CHECK(bench.words() == "consecutive-lost");
            CHECK(only(bench).a == lost);
            CHECK(only(bench).b == lost + 1);
            CHECK(bench.heard.problems[0].hex == to_hex(Bytes(ramp(60)).first(6 + 7 * (lost - 1))));
            CHECK(bench.heard.problems[0].about.place.offset == 1);
        }
        // the next message is heard
        bench.feed("01 3E");
        CHECK(bench.said() == "3E");
    }
    for (std::size_t twice = 1; twice + 1 < frames.size(); ++twice) {
        CAPTURE(twice);
        Bench bench;
        for (std::size_t i = 0; i < frames.size(); ++i) {
            bench.feed(0, ecu, frames[i]);
            if (i == twice)
                bench.feed(0, ecu, frames[i]);
        }
        bench.finish();
        CHECK(bench.said().empty());
        CHECK(bench.words() == "consecutive-repeated");
        CHECK(only(bench).a == twice + 1);
        CHECK(only(bench).b == twice);
    }
    for (std::size_t i = 1; i + 1 < frames.size(); ++i) {
        auto swapped = frames;
        std::swap(swapped[i], swapped[i + 1]);
        Bench bench;
        for (const auto& frame : swapped)
            bench.feed(0, ecu, frame);
        bench.finish();
        CHECK(bench.said().empty());
        CHECK(bench.words() == "consecutive-lost");
    }
}

TEST_CASE("the last frame twice: the message stands, the second is told") {
    Bench bench;
    bench.feed("10 08 01 02 03 04 05 06");
    bench.feed("21 07 08");
    bench.feed("21 07 08");
    CHECK(bench.said() == "0102030405060708");
    CHECK(bench.words() == "consecutive-unexpected");
}

TEST_CASE("a first frame twice, or number 0 after it") {
    Bench bench;
    bench.feed("10 08 01 02 03 04 05 06");
    bench.feed("10 08 01 02 03 04 05 06");
    bench.feed("21 07 08");
    CHECK(bench.words() == "message-interrupted");
    CHECK(only(bench).a == 6);
    CHECK(only(bench).b == 8);
    CHECK(bench.said() == "0102030405060708");
    Bench zero;
    zero.feed("10 08 01 02 03 04 05 06");
    zero.feed("20 07 08");
    zero.feed("21 07 08");
    CHECK(zero.words() == "consecutive-lost");
    CHECK(zero.said().empty());
}

TEST_CASE("consecutive frames without a first one are told once, not a flood") {
    Bench bench;
    for (unsigned i = 5; i < 1000; ++i)
        bench.feed(0, ecu, {static_cast<std::uint8_t>(0x20 | (i & 15)), 1, 2, 3, 4, 5, 6, 7});
    CHECK(bench.words() == "consecutive-unexpected");
    CHECK(only(bench).b == 5);
    bench.feed("01 3E");
    bench.feed("26 00");
    CHECK(bench.words() == "consecutive-unexpected consecutive-unexpected");
}

TEST_CASE("late consecutive frames: N_Cr, where both times are known") {
    const Time second = nanoseconds_a_second;
    const auto run = [](Time at_first, Time at_flow, Time at_next, Time n_cr) {
        ReassemblerOptions options;
        options.n_cr = n_cr;
        Reassembler reassembler{options};
        Heard heard;
        const auto feed = [&](CanId id, std::string_view hex, Time time) {
            const auto data = bytes_of(hex);
            CanFrame frame;
            frame.id = id;
            frame.data = data;
            reassembler.feed(0, frame, time, {}, heard);
        };
        feed(ecu, "10 0D 01 02 03 04 05 06", at_first);
        if (at_flow != -1)
            feed(tester, "30 00 00", at_flow);
        feed(ecu, "21 07 08 09 0A 0B 0C 0D", at_next);
        return heard.said() + heard.words();
    };
    const std::string whole = "0102030405060708090A0B0C0D";
    CHECK(run(0, -1, second, second) == whole);
    CHECK(run(0, -1, second + 1, second) == "consecutive-late");
    CHECK(run(no_time, -1, second + 1, second) == whole);
    CHECK(run(0, -1, no_time, second) == whole);
    CHECK(run(5 * second, -1, 0, second) == whole); // a clock that ran back says nothing
    CHECK(run(0, -1, 151, 150) == "consecutive-late");
    // the far ends of the clock
    CHECK(run(no_time + 1, -1, std::numeric_limits<Time>::max(), second) == "consecutive-late");
    CHECK(run(std::numeric_limits<Time>::max(), -1, no_time + 1, second) == whole);
    // N_Cr starts anew with the receiver's flow control
    CHECK(run(0, second, 2 * second, second) == whole);
    CHECK(run(0, second, 2 * second + 1, second) == "consecutive-late");
    CHECK(run(0, no_time, 9 * second, second) == whole);
}

TEST_CASE("what late says") {
    Bench bench;
    bench.feed("10 14 01 02 03 04 05 06");
    bench.time += 2 * nanoseconds_a_second;
    bench.feed("21 01 02 03 04 05 06 07");
    bench.feed("22 01 02 03 04 05 06 07");
    CHECK(bench.words() == "consecutive-late");
    CHECK(only(bench).a == 2 * nanoseconds_a_second + nanoseconds_a_millisecond);
    CHECK(only(bench).b == nanoseconds_a_second);
}

TEST_CASE("cut and overlong consecutive frames") {
    Bench bench;
    bench.feed("10 14 01 02 03 04 05 06");
    bench.feed("21 01 02 03 04 05 06"); // one byte short of 7
    bench.feed("22 01 02 03 04 05 06 07");
    CHECK(bench.words() == "consecutive-cut");
    CHECK(only(bench).a == 7);
    CHECK(only(bench).b == 6);
    CHECK(bench.said().empty());

    Bench last;
    last.feed("10 0A 01 02 03 04 05 06");
    last.feed("21 07 08 09");
    CHECK(last.words() == "consecutive-cut");
    CHECK(only(last).a == 4);
    CHECK(only(last).b == 3);

    Bench empty;
    empty.feed("10 0A 01 02 03 04 05 06");
    empty.feed("21");
    CHECK(empty.words() == "consecutive-cut");

    Bench fd;
    fd.fd = true;
    fd.feed("10 20 01 02 03 04 05 06 07 08 09 0A");
    fd.feed("21 01 02 03 04 05 06 07 08 09 0A 0B 0C 0D 0E 0F");
    CHECK(fd.words() == "consecutive-too-long");
    CHECK(only(fd).a == 12);
    CHECK(only(fd).b == 16);
    CHECK(fd.said().empty());
}

TEST_CASE("a new message in the middle of one, good or bad") {
    const auto interrupted = [](const char* frame) {
        Bench bench;
        bench.feed("10 14 01 02 03 04 05 06");
        bench.feed("21 07 08 09 0A 0B 0C 0D");
        bench.feed(frame);
        bench.feed("22 0E 0F 10 11 12 13 14");
        bench.finish();
        CHECK(bench.heard.problems.at(0).problem.code == ProblemCode::message_interrupted);
        CHECK(bench.heard.problems.at(0).problem.a == 13);
        CHECK(bench.heard.problems.at(0).problem.b == 20);
        CHECK(bench.heard.problems.at(0).problem.place.offset == 3);
        return bench.said() + '|' + bench.words();
    };
    CHECK(interrupted("02 01 0D") == "010D|message-interrupted consecutive-unexpected");
    CHECK(interrupted("10 08 01 02 03 04 05 06") == "|message-interrupted consecutive-lost");
    // frames that are not valid end it as well: two messages must not be joined
    CHECK(interrupted("00") == "|message-interrupted single-frame-empty consecutive-unexpected");
    CHECK(interrupted("10 04 01 02 03 04 05 06") == "|message-interrupted first-frame-too-short");
    CHECK(interrupted("10 00 FF FF FF FF 05 06") == "|message-interrupted message-over-bound");
}

TEST_CASE("frames of reserved types, empty ones and bad lengths leave a message alone") {
    Bench bench;
    bench.feed("10 08 01 02 03 04 05 06");
    bench.feed("40 00 00");
    bench.feed("F0 00 00");
    bench.feed("");
    bench.feed("00 01 02 03 04 05 06 07 08");
    bench.fd = true;
    bench.feed("00 01 02 03 04 05 06 07 08");
    bench.fd = false;
    bench.feed("21 07 08");
    CHECK(bench.words() ==
          "unknown-frame-type unknown-frame-type frame-empty bad-length bad-length");
    CHECK(bench.heard.problems[0].problem.a == 4);
    CHECK(bench.heard.problems[1].problem.a == 15);
    CHECK(bench.heard.problems[3].problem.a == 9);
    CHECK(bench.said() == "0102030405060708");

    ReassemblerOptions options;
    options.addressing = Addressing::mixed;
    Bench mixed{options};
    mixed.feed("");
    mixed.feed("55");
    CHECK(mixed.words() == "frame-empty frame-empty");
}

TEST_CASE("flow control that is reserved, cut, or an overflow") {
    Bench bench;
    bench.feed("10 08 01 02 03 04 05 06");
    bench.feed(tester, "33 00 00");
    bench.feed(tester, "30 00");
    CHECK(bench.words() == "flow-control-bad flow-control-bad");
    CHECK(bench.heard.problems[0].problem.a == 3);
    CHECK(bench.heard.flow.empty());
    bench.feed("21 07 08");
    CHECK(bench.said() == "0102030405060708");

    for (const bool wide : {false, true}) {
        const CanId from = wide ? CanId{0x18DAF110, true} : ecu;
        const CanId to = wide ? CanId{0x18DA10F1, true} : tester;
        Bench over;
        over.feed(from, "10 14 01 02 03 04 05 06");
        over.feed(CanId{0x7E9, false}, "10 08 01 02 03 04 05 06");
        over.feed(to, "32 00 00");
        over.feed(from, "21 07 08 09 0A 0B 0C 0D");
        over.feed(from, "22 07 08 09 0A 0B 0C 0D");
        over.feed(CanId{0x7E9, false}, "21 07 08");
        CHECK(over.words() == "flow-control-overflow");
        CHECK(over.heard.problems[0].about.id == from);
        CHECK(only(over).a == 6);
        CHECK(only(over).b == 20);
        CHECK(over.said() == "0102030405060708");
        REQUIRE(over.heard.flow.size() == 1);
    }
}

TEST_CASE("overflow with an address byte") {
    ReassemblerOptions options;
    options.addressing = Addressing::mixed; // the same N_AE both ways
    Bench mixed{options};
    mixed.feed("55 10 08 01 02 03 04 05");
    mixed.feed("56 10 08 01 02 03 04 05");
    mixed.feed(tester, "55 32 00 00");
    mixed.feed("55 21 06 07 08");
    mixed.feed("56 21 06 07 08");
    CHECK(mixed.words() == "flow-control-overflow");
    CHECK(mixed.said() == "0102030405060708");

    Bench wide{options};
    wide.feed(CanId{0x18CEF110, true}, "55 10 08 01 02 03 04 05");
    wide.feed(CanId{0x18CE10F1, true}, "55 32 00 00");
    CHECK(wide.words() == "flow-control-overflow");

    options.addressing = Addressing::extended; // another N_TA each way
    Bench extended{options};
    extended.feed("F1 10 08 01 02 03 04 05");
    extended.feed(tester, "10 32 00 00");
    CHECK(extended.words() == "flow-control-overflow");
    Bench two{options};
    two.feed("F1 10 08 01 02 03 04 05");
    two.feed("F2 10 08 01 02 03 04 05");
    two.feed(tester, "10 32 00 00"); // whose it is cannot be known
    CHECK(two.words().empty());
}

TEST_CASE("random damage: what is told as a message was sent, in order") {
    // The number of a consecutive frame is the only thing that tells it from others: where the end
    // of one message and the beginning of the next are lost together, or 16 frames in a row, nobody
    // could know. So the damage here is one frame, and never in two messages running.
    std::mt19937 random{20'240'101};
    for (int round = 0; round < 3000; ++round) {
        Bench bench;
        std::vector<std::string> sent;
        std::string expected;
        bool broken_before = false;
        for (int k = 0; k < 8; ++k) {
            const auto message = ramp(1 + random() % 120, static_cast<unsigned>(random()));
            auto frames = cut(message);
            const auto at = random() % frames.size();
            const auto what = broken_before ? 7 : random() % 8;
            bool good = false;
            switch (what) {
            case 0: // lost
                frames.erase(frames.begin() + static_cast<std::ptrdiff_t>(at));
                break;
            case 1: // cut below what its kind needs
                frames[at].resize(random() % 2);
                break;
            case 2: // twice
                good = at == 0 || at + 1 == frames.size();
                frames.insert(frames.begin() + static_cast<std::ptrdiff_t>(at), frames[at]);
                break;
            case 3: // swapped
                good = frames.size() == 1 || at + 1 == frames.size();
                if (!good)
                    std::swap(frames[at], frames[at + 1]);
                break;
            default:
                good = true;
            }
            for (const auto& frame : frames)
                bench.feed(0, ecu, frame);
            if (good) {
                const int copies =
                    what == 2 && frames.size() == 2 && at == 0 && frames[0] == frames[1]
                        ? 2
                        : 1; // a single frame twice is two messages
                for (int c = 0; c < copies; ++c)
                    expected += to_hex(message) + ' ';
            }
            broken_before = !good;
        }
        bench.finish();
        std::string said = bench.said();
        if (!said.empty())
            said += ' ';
        CHECK(said == expected);
    }
}
