// SPDX-License-Identifier: Apache-2.0
#include <doctest/doctest.h>

#include "told.hpp"

using namespace telltale;
using test::told;

namespace {
std::string csv(std::string_view text, const CanFilter* filter = nullptr,
                dump::Counts* counts = nullptr) {
    return told(text, dump::Format::csv, filter, counts);
}
} // namespace

TEST_CASE("one data column, or a column a byte") {
    CHECK(csv("time,id,data\n"
              "1.5,7E8,04410C1AF8AAAAAA\n"
              "1.75,18DAF110,\"04 41 0C\"\n") == "1.500000  7E8 04410C1AF8AAAAAA\n"
                                                 "1.750000  18DAF110 04410C\n");
    CHECK(csv("Time (s);Arbitration ID;DLC;D0;D1;D2;D3\r\n"
              "1,5;0x7E8;4;04;41;0C;1A\r\n"
              "1,75;0x7E8;2;04;41;;\r\n"
              "1,75;0x7DF;0;;;;\r\n") == "1.500000  7E8 04410C1A\n"
                                         "1.750000  7E8 0441\n"
                                         "1.750000  7DF \n");
    CHECK(csv("byte 2\tbyte 1\tCAN ID (hex)\ttime_ms\n"
              "41\t04\t7e8\t1500\n") == "1.500000  7E8 0441\n");
}

TEST_CASE("names of columns in any order, case and quotes") {
    CHECK(csv("\"Payload\",\"Channel\",\"Direction\",\"Identifier\",\"Remark\",\"Timestamp [us]\"\n"
              "\"0441\",\"can1\",\"Rx\",\"7E8\",\"a \"\"quoted\"\", thing\",\"1500000\"\n"
              "0442,can2,tx,7E8,,1750000\n") == "1.500000 can1 7E8 0441 rx\n"
                                                "1.750000 can2 7E8 0442 tx\n");
    CHECK(csv("TIMESTAMP_NS,IS_EXTENDED_ID,IS_REMOTE_FRAME,IS_ERROR_FRAME,CAN_ID,DATA_LENGTH,DATA\n"
              "1500000000,True,False,False,0x123,2,0441\n"
              "1500000000,0,0,0,0x123,2,04-41\n"
              "1500000000,0,1,0,0x123,4,\n"
              "1500000000,0,0,1,0x4,2,04:41\n") == "1.500000  00000123 0441\n"
                                                   "1.500000  123 0441\n"
                                                   "1.500000  123 remote 4\n"
                                                   "1.500000  00000004 0441 error\n");
    CHECK(csv("\xEF\xBB\xBFtime (\xC2\xB5s),id,data\n1500000,7E8,04\n") == "1.500000  7E8 04\n");
}

TEST_CASE("hex or decimal: what the header says, a 0x, and then the cells") {
    CHECK(csv("id (dec),data (dec)\n2024,4 65 12\n") == "?  7E8 04410C\n");
    CHECK(csv("id_dec,d0 (dec),d1 (dec)\n2024,12,248\n") == "?  7E8 0CF8\n");
    CHECK(csv("id (hex),data\n123,04\n456,05\n") == "?  123 04\n?  456 05\n");
    // One letter in an identifier makes all of them hex, those before it as well.
    CHECK(csv("id,data\n201,04\n7E8,05\n") == "?  201 04\n?  7E8 05\n");
    // All of three or eight digits: hex.
    CHECK(csv("id,data\n201,04\n00000123,05\n") == "?  201 04\n?  00000123 05\n");
    CHECK(csv("id,data\n2015,020100\n2024,0641\n") == "?  7DF 020100\n?  7E8 0641\n");
    CHECK(csv("id,d0,d1,d2\n2024,4,65,12\n2024,248,17,10\n\n") == "?  7E8 04410C\n?  7E8 F8110A\n");
    CHECK(csv("id,d0,d1,d2\n0x7E8,4,65,12\n") == "?  7E8 046512\n");
    CHECK(csv("id,d0,d1,d2\n0x7E8,4,165,12\n\n") == "?  7E8 04A50C\n");
    CHECK(csv("id,d0,d1,d2\n2024,04,1F,12\n") == "?  7E8 041F12\n");
    CHECK(csv("id,d0,d1,d2\n2024,4,65,12\n\n") == "?  7E8 04410C\n");
}

TEST_CASE("a letter far into the file still decides") {
    std::string text = "id,data\n";
    std::string expected;
    for (int i = 0; i < 3000; ++i) {
        text += "20,04\n";
        expected += "?  020 04\n";
    }
    CHECK(csv(text + "7E8,05\n") == expected + "?  7E8 05\n");
    // Behind what is looked at it is a problem: the identifiers were found to be decimal.
    std::string longer = "id,data\n";
    std::string decimal;
    for (int i = 0; i < 11'000; ++i) {
        longer += "20,04\n";
        decimal += "?  014 04\n";
    }
    CHECK(csv(longer + "7E8,05\n2024,06\n") ==
          decimal + "! unreadable-line line 11002 at 66008 a 6\n?  7E8 06\n");
}

TEST_CASE("the unit of time: named, or found") {
    CHECK(csv("time,id,data\n1.5,7E8,01\n2,7E8,02\n") == "1.500000  7E8 01\n2.000000  7E8 02\n");
    CHECK(csv("time,id,data\n1700000000,7E8,01\n") == "1700000000.000000  7E8 01\n");
    CHECK(csv("time,id,data\n1700000000123,7E8,01\n") == "1700000000.123000  7E8 01\n");
    CHECK(csv("time,id,data\n1700000000123456,7E8,01\n") == "1700000000.123456  7E8 01\n");
    CHECK(csv("time,id,data\n1700000000123456789,7E8,01\n") == "1700000000.123456789  7E8 01\n");
    CHECK(csv("time,id,data\n2026-01-02 03:04:05.5,7E8,01\n") == "1767323045.500000  7E8 01\n");
    CHECK(csv("date,time,id,data\n2026-01-02,03:04:05.5,7E8,01\n") == "11045.500000  7E8 01\n");
    CHECK(csv("time_ms,id,data\n0.25,7E8,01\n1500.75,7E8,02\n") ==
          "0.000250  7E8 01\n1.500750  7E8 02\n");
    // A whole number without unit: no time rather than a wrong one, and that is told once.
    CHECK(csv("time,id,data\n10,7E8,01\n20,7E8,02\n") ==
          "! bad-record line 2 at 13 a 0\n?  7E8 01\n?  7E8 02\n");
}

TEST_CASE("FD frames in tables") {
    CHECK(csv("id,dlc,fd,brs,esi,data\n"
              "7E8,9,1,1,0,00112233445566778899AABB\n"
              "7E8,12,1,0,1,00112233445566778899AABB\n"
              "7E8,2,1,0,0,0011\n"
              "7E8,9,0,0,0,00112233445566778899AABB\n") ==
          "?  7E8 00112233445566778899AABB fd brs\n"
          "?  7E8 00112233445566778899AABB fd esi\n"
          "?  7E8 0011 fd\n"
          "! bad-length line 5 at 115 a 12\n");
    CHECK(csv("id,data\n7E8,00112233445566778899AABB\n") == "?  7E8 00112233445566778899AABB fd\n");
}

TEST_CASE("what is no row is a problem with its place") {
    const std::string header = "time,id,ext,dlc,data\n";
    const std::string good = "1.5,7E8,0,2,0441\n";
    const std::string shown = "1.500000  7E8 0441\n";
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
             unreadable("1.5,7G8,0,2,0441"),
             unreadable("1.5,,0,2,0441"),
             unreadable("x,7E8,0,2,0441"),
             unreadable("1.5.5,7E8,0,2,0441"),
             unreadable("1.5,7E8,perhaps,2,0441"),
             unreadable("1.5,7E8,0,x,0441"),
             unreadable("1.5,7E8,0,2,044"),
             unreadable("1.5,7E8,0,2,04G1"),
             unreadable("1.5,7E8,0,2,\"0441"),
             unreadable("1.5,7E8,0,2,\"0441\"x"),
             unreadable("1.5,7E8,0,2,0441,more"),
             {"1.5,7E8,0,3,0441", "bad-record", "0"},
             {"1.5,7E8,0,2", "bad-record", "0"},
             {"1.5,7E8,0,9,010203040506070809", "bad-length", "9"},
             {"1.5,800,0,2,0441", "bad-identifier", "2048"},
             {"1.5,20000000,1,2,0441", "bad-identifier", std::to_string(0x20000000)},
             {"1.5,FFFFFFFFFF,1,2,0441", "bad-identifier", std::to_string(0xFFFFFFFFFF)},
         }) {
        const auto& input = line; // Clang 14 captures no structured binding
        CAPTURE(input);
        CHECK(csv(header + good + line + '\n' + good) ==
              shown + "! " + word + " line 3 at " + std::to_string(header.size() + good.size()) +
                  " a " + a + '\n' + shown);
    }
    CHECK(csv("id,d0,d1,d2\n7E8,01,,03\n7E8,01,02,\n") ==
          "! unreadable-line line 2 at 12 a 10\n?  7E8 0102\n");
}

TEST_CASE("lines before the header, and comments") {
    CHECK(csv("written by nobody\n"
              "# a comment\n"
              "; id, data in a comment\n"
              "\n"
              "id,data\n"
              "// one more\n"
              "7E8,01\n") == "! unreadable-line line 1 at 0 a 17\n?  7E8 01\n");
    // Where semicolons separate, a row may start with an empty cell.
    CHECK(csv("time;id;data\n;7E8;01\n") == "?  7E8 01\n");
}

TEST_CASE("a table whose last row is cut gives no wrong frame") {
    for (const std::string text :
         {"time,id,data\n1.25,7E8,0441\n1.50,7E8,0442\n",
          "id,data,time\n7E8,0441,1.25\n7E8,0442,1.75\n", "id,d0,d1\n7E8,04,41\n7E8,05,42\n",
          "id (dec),d0 (dec),d1 (dec)\n2024,4,165\n2024,4,166\n",
          "data,bus,id\n0441,can10,7E8\n0442,can12,18DAF110\n"}) {
        const auto whole = csv(text);
        const auto header = text.find('\n') + 1;
        const auto first = text.find('\n', header) + 1;
        for (std::size_t size = first; size < text.size() - 1; ++size) {
            CAPTURE(text.substr(0, size));
            const auto out = csv(text.substr(0, size));
            const auto frames = out.substr(0, out.find("! "));
            // Only bytes at the end of a single data cell may be missing.
            if (!frames.empty())
                CHECK(whole.substr(0, frames.size() - 1) == frames.substr(0, frames.size() - 1));
        }
    }
}

TEST_CASE("headers that name no identifier or no data are none") {
    CHECK(told("time,data\n1.5,x0441\n", dump::Format::csv) == "error: unknown-format\n");
    CHECK(told("time,id\n1.5,x7E8\n", dump::Format::csv) == "error: unknown-format\n");
    CHECK(told("id,d0,d2\n7E8,1,2x\n", dump::Format::csv) == "error: unknown-format\n");
}

TEST_CASE("the filter holds for tables, but a broken row is still told") {
    const auto filter = CanFilter::diagnostic();
    dump::Counts counts;
    CHECK(csv("id,data\n123,01\n7E8,02\n123,0\n", &filter, &counts) ==
          "?  7E8 02\n! unreadable-line line 4 at 22 a 5\n");
    CHECK(counts.frames == 2);
    CHECK(counts.passed_over == 1);
}
