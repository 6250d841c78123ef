// SPDX-License-Identifier: Apache-2.0
#include <doctest/doctest.h>

#include <random>

#include "told.hpp"

using namespace telltale;
using test::told;

namespace {
std::string log(std::string_view text, const CanFilter* filter = nullptr,
                dump::Counts* counts = nullptr) {
    return told(text, dump::Format::can_log, filter, counts);
}
} // namespace

TEST_CASE("a text log gives its frames") {
    CHECK(log("(1700000000.123456) can0 7E8#04410C1AF8AAAAAA\n"
              "(1700000000.223456) can0 18DAF110#04410c1af8\n"
              "(1700000000.323456) vcan12 7DF#\n"
              "(1700000000.423456) can0 7E8#11.22.33 R\n"
              "(1700000000.423457) can0 7E8#1122 T\n") ==
          "1700000000.123456 can0 7E8 04410C1AF8AAAAAA\n"
          "1700000000.223456 can0 18DAF110 04410C1AF8\n"
          "1700000000.323456 vcan12 7DF \n"
          "1700000000.423456 can0 7E8 112233 rx\n"
          "1700000000.423457 can0 7E8 1122 tx\n");
}

TEST_CASE("a text log knows FD, remote and error frames and raw length codes") {
    CHECK(log("(1.5) can0 7E8##00441\n"
              "(1.5) can0 7E8##3" +
              std::string(128, 'A') +
              "\n"
              "(1.5) can0 123##1001122334455667788990011\n"
              "(1.5) can0 123#R\n"
              "(1.5) can0 123#R5\n"
              "(1.5) can0 123#R8_E\n"
              "(1.5) can0 123#0102030405060708_F\n"
              "(1.5) can0 20000004#0004000000000000\n") ==
          "1.500000 can0 7E8 0441 fd\n"
          "1.500000 can0 7E8 " +
              std::string(128, 'A') +
              " fd brs esi\n"
              "1.500000 can0 123 001122334455667788990011 fd brs\n"
              "1.500000 can0 123 remote 0\n"
              "1.500000 can0 123 remote 5\n"
              "1.500000 can0 123 remote 8\n"
              "1.500000 can0 123 0102030405060708\n"
              "1.500000 can0 00000004 0004000000000000 error\n");
}

TEST_CASE("a text log may have other times") {
    CHECK(log("(2026-01-02 03:04:05.123456) can0 7E8#01\n"
              "(2026-01-02T03:04:06Z) can0 7E8#02\n"
              "(1767323047.1234567899) can0 7E8#03\n"
              "(9223372035.999999999) can0 7E8#03\n") ==
          // date -u -d '2026-01-02 03:04:05' +%s gives 1767323045
          "1767323045.123456 can0 7E8 01\n"
          "1767323046.000000 can0 7E8 02\n"
          "1767323047.123456789 can0 7E8 03\n"
          "9223372035.999999999 can0 7E8 03\n");
}

TEST_CASE("white space, line ends and a byte-order mark do not matter") {
    CHECK(log("\xEF\xBB\xBF\t(1.25)\tcan0  7e8#0441 \r\n"
              "\r\n"
              "# a comment\n"
              "; another\n"
              "// a third\n"
              "(1700000000.123456) can0 7e8#0441ab\r\n"
              "(1700000000.123456) can0 7e8#0441ab\r\n"
              "(1700000000.123456) can0 7e8#0441ab") == "1.250000 can0 7E8 0441\n"
                                                        "1700000000.123456 can0 7E8 0441AB\n"
                                                        "1700000000.123456 can0 7E8 0441AB\n"
                                                        "1700000000.123456 can0 7E8 0441AB\n");
}

TEST_CASE("what is no frame of a text log is a problem with its place") {
    const std::string good = "(1700000000.123456) can0 7E8#0102\n";
    const std::string shown = "1700000000.123456 can0 7E8 0102\n";
    struct Case {
        std::string line;
        std::string word;
        std::string a;
    };
    const auto unreadable = [](std::string line) {
        const auto size = std::to_string(line.size());
        return Case{std::move(line), "unreadable-line", size};
    };
    const std::string t = "(1700000000.123456) can0 ";
    for (const auto& [line, word, a] : std::initializer_list<Case>{
             unreadable("rubbish"),
             unreadable("(1700000000.123456)"),
             unreadable(t),
             unreadable(t + "7E8"),
             unreadable(t + "7E8#012"),
             unreadable(t + "7E8#01 02"),
             unreadable(t + "7E8#0G"),
             unreadable(t + "7E8#0102 X"),
             unreadable(t + "7E8#0102 RT"),
             unreadable(t + "7E#0102"),
             unreadable(t + "07E8#0102"),
             unreadable(t + "G00#0102"),
             unreadable(t + "#0102"),
             unreadable(t + "7E8#R9x"),
             unreadable(t + "7E8##"),
             unreadable(t + "7E8##X00"),
             unreadable(t + "7E8#0102_F"),
             unreadable(t + "7E8#0102030405060708_8"),
             unreadable(t + "20000004##00102"),
             unreadable("(1700000000.12345x) can0 7E8#0102"),
             unreadable("(1700000000,123456) can0 7E8#0102"),
             unreadable("(1700000000.) can0 7E8#0102"),
             unreadable("(-1.5) can0 7E8#0102"),
             unreadable("(99999999999.0) can0 7E8#0102"),
             unreadable("(9999999999.000000) can0 7E8#0102"),
             unreadable("(2026-02-29 03:04:05.1) can0 7E8#0102"),
             unreadable("(2026-01-02 24:04:05.1) can0 7E8#0102"),
             unreadable("(1700000000.123456 can0 7E8#0102"),
             {t + "800#0102", "bad-identifier", std::to_string(0x800)},
             {t + "FFF#0102", "bad-identifier", std::to_string(0xFFF)},
             {t + "40000000#0102", "bad-identifier", std::to_string(0x40000000)},
             {t + "FFFFFFFF#0102", "bad-identifier", std::to_string(0xFFFFFFFF)},
             {t + "1FFFFFFFF#0102", "bad-identifier", std::to_string(0x1FFFFFFFF)},
             {t + "7E8#010203040506070809", "bad-length", "9"},
             {t + "7E8#R9", "bad-length", "9"},
             {t + "7E8##1010203040506070809", "bad-length", "9"},
             {t + "7E8##1" + std::string(130, '0'), "bad-length", "65"},
         }) {
        const auto& input = line; // Clang 14 captures no structured binding
        CAPTURE(input);
        CHECK(log(good + line + '\n' + good) == shown + "! " + word + " line 2 at " +
                                                    std::to_string(good.size()) + " a " + a + '\n' +
                                                    shown);
    }
}

TEST_CASE("time that runs backwards is told before the frame, which still comes") {
    CHECK(log("(1700000001.000000) can0 7E8#01\n"
              "(1700000000.999999) can0 7E8#02\n"
              "(1700000000.999999) can0 7E8#03\n"
              "(1700000002.000000) can1 7E8#04\n") == "1700000001.000000 can0 7E8 01\n"
                                                      "! time-backwards line 2 at 32 a 1000\n"
                                                      "1700000000.999999 can0 7E8 02\n"
                                                      "1700000000.999999 can0 7E8 03\n"
                                                      "1700000002.000000 can1 7E8 04\n");
}

TEST_CASE("the filter passes frames over early but counts them") {
    const auto filter = CanFilter::diagnostic();
    dump::Counts counts;
    const std::string text = "(1700000000.000000) can0 123#01\n"
                             "(1700000001.000000) can0 7E8#01\n"
                             "(1.5) can0 123#02\n" // passed over, but its time is not
                             "(1700000001.000000) can0 12345678#01\n"
                             "(1700000001.000000) can0 7E8#R\n"
                             "(1700000001.000000) can0 123#R\n"
                             "(1700000001.000000) can0 123#0\n"
                             "(1700000001.000000) can0 20000004#00\n"
                             "(1700000001.000000) can0 18DAF110#02\n";
    CHECK(log(text, &filter, &counts) == "1700000001.000000 can0 7E8 01\n"
                                         "! time-backwards line 3 at 64 a 1699999999500000000\n"
                                         "1700000001.000000 can0 7E8 remote 0\n"
                                         "! unreadable-line line 7 at " +
                                             std::to_string(text.find("123#0\n") - 25) +
                                             " a 30\n"
                                             "1700000001.000000 can0 00000004 00 error\n"
                                             "1700000001.000000 can0 18DAF110 02\n");
    CHECK(counts.bytes == text.size());
    CHECK(counts.frames == 8);
    CHECK(counts.passed_over == 4);
    CHECK(counts.remote_frames == 1); // of those given
    CHECK(counts.error_frames == 1);
    CHECK(counts.problems == 2);
}

TEST_CASE("a line longer than the bound is passed over as a stream") {
    const std::string good = "(1700000000.123456) can0 7E8#0102\n";
    const std::string shown = "1700000000.123456 can0 7E8 0102\n";
    for (const std::size_t size : {262'143U, 262'144U, 262'145U, 1'000'000U, 10'000'000U}) {
        CAPTURE(size);
        const std::string text = good + std::string(size, 'A') + '\n' + good;
        const auto out = told(dump::memory_source(test::as_bytes(text)), dump::Format::can_log);
        const std::string word = size < 262'144 ? "unreadable-line" : "line-too-long";
        CHECK(out ==
              shown + "! " + word + " line 2 at 34 a " + std::to_string(size) + '\n' + shown);
    }
    const std::string last = good + std::string(300'000, 'A');
    CHECK(told(dump::memory_source(test::as_bytes(last)), dump::Format::can_log) ==
          shown + "! line-too-long line 2 at 34 a 300000\n");
}

TEST_CASE("a log cut at any byte gives no other frame than the whole one, but for its last") {
    const std::string text = "(1700000000.123456) can0 7E8#04410C1AF8AAAAAA\n"
                             "(1700000000.223456) can0 18DAF110#04410c1af8 R\n"
                             "(1700000000.323456) can0 7E8##100112233445566778899AABB\n";
    const auto whole = log(text);
    for (std::size_t size = 1; size <= text.size(); ++size) {
        CAPTURE(size);
        const auto out = log(text.substr(0, size));
        if (text[size - 1] == '\n') {
            CHECK(whole.substr(0, out.size()) == out);
            continue;
        }
        if (size < 46)
            continue; // nothing but the cut line: its form may not be known
        const auto lines = out.substr(0, out.rfind('\n', out.size() - 2) + 1);
        CHECK(whole.substr(0, lines.size()) == lines);
        // What is left of the last line is a problem, or a frame with fewer bytes.
        const auto last = out.substr(lines.size());
        const auto bytes = last.substr(0, std::min(last.find(" fd"), last.find('\n')));
        const bool shorter = whole.compare(lines.size(), bytes.size(), bytes) == 0;
        CHECK((shorter || last.substr(0, 2) == "! "));
    }
}

TEST_CASE("more interfaces than there is room for are a problem, not mixed up") {
    std::string text;
    for (int i = 0; i < 258; ++i)
        text += "(1700000000.123456) c" + std::to_string(i) + " 7E8#01\n";
    text += "(1700000000.123456) c0 7E8#02\n";
    text += "(1700000000.123456) " + std::string(65, 'x') + " 7E8#02\n";
    const auto out = log(text);
    CHECK(out.find("c255 7E8 01\n! too-many-lines line 257 ") != std::string::npos);
    CHECK(out.find("! too-many-lines line 258 ") != std::string::npos);
    CHECK(out.find("c0 7E8 02\n! too-many-lines line 260 ") != std::string::npos);
}

TEST_CASE("the quick way and the plain way read the same") {
    // The same random frames, once in the usual shape and once with a second blank, which only the
    // plain way reads.
    std::mt19937 random(20'260'102);
    const auto draw = [&](unsigned below) {
        return static_cast<unsigned>(std::uniform_int_distribution<unsigned>(0, below - 1)(random));
    };
    std::string quick;
    std::string plain;
    std::string expected;
    for (int i = 0; i < 5000; ++i) {
        const std::string interface = draw(4) == 0 ? "can1" : "can0";
        std::string time = std::to_string(1'700'000'000 + i) + '.';
        for (int digit = 0; digit < 6; ++digit)
            time += static_cast<char>('0' + draw(10));
        std::string id;
        if (draw(2) == 0)
            append_hex(id, draw(0x800), 3);
        else
            append_hex(id, draw(0x2000'0000), 8);
        std::string data;
        for (unsigned size = draw(9); size > 0; --size)
            append_hex(data, draw(256), 2);
        const char* const direction[] = {"", " R", " T"};
        const char* const shown[] = {"", " rx", " tx"};
        const auto which = draw(3);
        const auto line = [&](const char* blank) {
            return '(' + time + ')' + blank + interface + ' ' + id + '#' + data + direction[which] +
                   (which == 2 ? "\r\n" : "\n");
        };
        quick += line(" ");
        plain += line("  ");
        expected += time + ' ' + interface + ' ' + id + ' ' + data + shown[which] + '\n';
    }
    CHECK(log(quick) == expected);
    CHECK(log(plain) == expected);
}
