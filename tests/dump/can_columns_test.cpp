// SPDX-License-Identifier: Apache-2.0
#include <doctest/doctest.h>

#include "told.hpp"

using namespace telltale;
using test::told;

namespace {
std::string columns(std::string_view text, const CanFilter* filter = nullptr,
                    dump::Counts* counts = nullptr) {
    return told(text, dump::Format::can_columns, filter, counts);
}
} // namespace

TEST_CASE("the column form gives its frames, with and without time") {
    CHECK(columns(" (1700000000.123456)  can0  7E8   [8]  04 41 0C 1A F8 AA AA AA\n"
                  " (2026-01-02 03:04:05.123456)  can0  18DAF110   [5]  04 41 0c 1a f8\r\n"
                  "  can0  7DF   [0] \n"
                  "\tcan1\t7DF\t[2]\t01\t0C\n") == "1700000000.123456 can0 7E8 04410C1AF8AAAAAA\n"
                                                   "1767323045.123456 can0 18DAF110 04410C1AF8\n"
                                                   "? can0 7DF \n"
                                                   "? can1 7DF 010C\n");
}

TEST_CASE("the column form has directions, flags, characters, FD, remote and error frames") {
    CHECK(columns("  can0  RX - -  7E8   [2]  04 41   '.A'\n"
                  "  can0  TX - -  7E8   [2]  20 27   ' ''\n"
                  "  can0  RX B E  7E8  [12]  00 01 02 03 04 05 06 07 08 09 0A 0B\n"
                  "  can0  RX B -  7E8  [02]  00 01\n"
                  "  can0  7E8  [02]  00 01\n"
                  "  can0  7E8   {E}  00 01 02 03 04 05 06 07   '........'\n"
                  "  can0  7E8   [8]  remote request\n"
                  "  can0  20000004   [8]  00 04 00 00 00 00 00 00   ERRORFRAME\n") ==
          "? can0 7E8 0441 rx\n"
          "? can0 7E8 2027 tx\n"
          "? can0 7E8 000102030405060708090A0B fd brs esi rx\n"
          "? can0 7E8 0001 fd brs rx\n"
          "? can0 7E8 0001 fd\n"
          "? can0 7E8 0001020304050607\n"
          "? can0 7E8 remote 8\n"
          "? can0 00000004 0004000000000000 error\n");
}

TEST_CASE("what is no frame of the column form is a problem with its place") {
    const std::string good = " (1700000000.123456)  can0  7E8   [2]  01 02\n";
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
    for (const auto& [line, word, a] : std::initializer_list<Case>{
             unreadable("rubbish"),
             unreadable("  can0  7E8"),
             unreadable("  can0  7E8   [2"),
             unreadable("  can0  7E8   [x]  01 02"),
             unreadable("  can0  7E8   [2]  0102"),
             unreadable("  can0  7E8   [2]  01 0G"),
             unreadable("  can0  7E8   [2]  01 02  remains"),
             unreadable("  can0  7E8   [2]  01 02  'x"),
             unreadable("  can0  7E   [2]  01 02"),
             unreadable("  can0  RX Q -  7E8   [2]  01 02"),
             unreadable("  can0  RX B -  7E8   [2]  01 02"),
             unreadable("  can0  7E8   {8}  01 02 03 04 05 06 07 08"),
             unreadable("  can0  7E8   [02]  remote request"),
             unreadable(" (1700000000.12345)6  can0"),
             {"  can0  7E8   [3]  01 02", "bad-record", "0"},
             {"  can0  7E8   [3]", "bad-record", "0"},
             {"  can0  7E8   [2]  01 02 03", "bad-record", "0"},
             {"  can0  7E8   [2]  01 02 03 04", "bad-record", "0"},
             {"  can0  7E8   [9]  01 02 03 04 05 06 07 08 09", "bad-length", "9"},
             {"  can0  7E8  [09]  01 02 03 04 05 06 07 08 09", "bad-length", "9"},
             {"  can0  7E8  [65]  01", "bad-length", "65"},
             {"  can0  800   [2]  01 02", "bad-identifier", "2048"},
             {"  can0  40000000   [2]  01 02", "bad-identifier", std::to_string(0x40000000)},
         }) {
        const auto& input = line; // Clang 14 captures no structured binding
        CAPTURE(input);
        CHECK(columns(good + line + '\n' + good) == shown + "! " + word + " line 2 at " +
                                                        std::to_string(good.size()) + " a " + a +
                                                        '\n' + shown);
    }
}

TEST_CASE("times of the column form that are differences are added up") {
    std::string differences;
    std::string starting_at_zero;
    std::string expected;
    for (int i = 0; i < 200; ++i) {
        // 0, 10, 30, 40, 60 ... ms: every second difference is below the one before it.
        const int step = i == 0 ? 0 : i % 2 == 0 ? 20 : 10;
        const int time = i / 2 * 30 + i % 2 * 10;
        const auto line = [](int ms) {
            std::string digits = std::to_string(1'000'000 + ms);
            return " (00" + digits.substr(3, 1) + '.' + digits.substr(4) +
                   "000)  can0  7E8   [1]  01\n";
        };
        differences += line(step);
        if (i < 300)
            starting_at_zero += line(time % 10'000);
        std::string shown = std::to_string(10'000'000 + time);
        expected += shown.substr(4, 1) + '.' + shown.substr(5) + "000 can0 7E8 01\n";
    }
    CHECK(columns(differences) == expected);
    CHECK(columns(starting_at_zero) == expected);
}

TEST_CASE("a small time that runs backwards once is no difference") {
    CHECK(columns("(1.000000) can0 7E8 [1] 01\n"
                  "(0.500000) can0 7E8 [1] 02\n") == "1.000000 can0 7E8 01\n"
                                                     "! time-backwards line 2 at 27 a 500000000\n"
                                                     "0.500000 can0 7E8 02\n");
}

TEST_CASE("the filter holds for the column form") {
    const auto filter = CanFilter::diagnostic();
    dump::Counts counts;
    CHECK(columns("  can0  123   [1]  01\n"
                  "  can0  7E8   [1]  02\n"
                  "  can0  123   [1]  0\n",
                  &filter, &counts) == "? can0 7E8 02\n! unreadable-line line 3 at 44 a 20\n");
    CHECK(counts.frames == 2);
    CHECK(counts.passed_over == 1);
}

TEST_CASE("the column form cut anywhere gives no wrong frame") {
    const std::string text = " (1700000000.123456)  can0  7E8   [8]  04 41 0C 1A F8 AA AA AA\n"
                             " (1700000000.223456)  can0  7E8   [3]  04 41 0C   '.A.'\n";
    const auto whole = columns(text);
    const auto first = text.find('\n') + 1;
    for (std::size_t size = first; size < text.size(); ++size) {
        CAPTURE(size);
        const auto out = columns(text.substr(0, size));
        const auto frames = out.substr(0, out.find("! "));
        CHECK(whole.substr(0, frames.size()) == frames);
    }
}
