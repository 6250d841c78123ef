// SPDX-License-Identifier: Apache-2.0
#include <doctest/doctest.h>

#include "told.hpp"

using namespace telltale;
using test::told;

namespace {
std::string lines(std::string_view text, dump::Counts* counts = nullptr) {
    return told(text, dump::Format::line_text, nullptr, counts);
}
} // namespace

TEST_CASE("frames of the older lines as text") {
    dump::Counts counts;
    CHECK(lines("0.000000 kline 68 6A F1 01 0C D0\n"
                "(1700000000.123456) kline2\t486b10410C1AF8 22\r\n"
                "(2026-01-02 03:04:05.5) kline 0xC1, 0x33, 0xF1, 0x81, 0x66\n"
                "# a comment\n"
                "- j1850 48 6B 10 41 0C 1A F8 00\n",
                &counts) == "0.000000 kline kline 686AF1010CD0\n"
                            "1700000000.123456 kline2 kline 486B10410C1AF822\n"
                            "1767323045.500000 kline kline C133F18166\n"
                            "? j1850 j1850 486B10410C1AF800\n");
    CHECK(counts.frames == 4);
}

TEST_CASE("bytes of the older lines are cut into frames by their pauses") {
    dump::Counts counts;
    CHECK(lines("1.000 kline-bytes 68\n"
                "1.006 kline-bytes 6A F1\n"
                "1.018 kline-bytes 01\n"
                "1.024 kline-bytes 0C\n"
                "1.030 kline-bytes D0\n"
                "1.061 kline-bytes 48 6B 10 41\n"
                "1.065 kline-bytes 0C 1A F8 22\n"
                "1.100 kline-bytes C1 33 F1 81 66 83 F1 10 C1 E9 8F BD\n",
                &counts) == "1.000000 kline kline 686AF1010CD0\n"
                            "1.061000 kline kline 486B10410C1AF822\n"
                            "1.100000 kline kline C133F18166\n"
                            "1.104807690 kline kline 83F110C1E98FBD\n");
    CHECK(counts.frames == 4);
    // Two lines at once, and frames between them.
    CHECK(lines("1.000 kline1-bytes 68 6A\n"
                "1.001 kline2-bytes 48 6B\n"
                "1.002 kline 48\n"
                "1.004 kline1-bytes F1 03\n"
                "1.005 kline2-bytes 10 44\n"
                "1.006 kline1-bytes C6\n") == "1.002000 kline kline 48\n"
                                              "1.000000 kline1 kline 686AF103C6\n"
                                              "1.001000 kline2 kline 486B1044\n");
}

TEST_CASE("what is no line of this text is a problem with its place") {
    const std::string good = "0.5 kline 68 6A F1 03 C6\n";
    const std::string shown = "0.500000 kline kline 686AF103C6\n";
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
             unreadable("0.5"),
             unreadable("0.5 kline"),
             unreadable("0.5 kline 6"),
             unreadable("0.5 kline 68 6G"),
             unreadable("0.5 cline 68"),
             unreadable("0.5 klinex 68"),
             unreadable("0.5 kline12345 68"),
             unreadable("0.5x kline 68"),
             unreadable("(0.5 kline 68"),
             unreadable("kline 68 6A F1 03 C6"),
             unreadable("- kline-bytes 68"),
             unreadable("0.5 j1850-bytes 68"),
             unreadable("0.5 -bytes 68"),
             {"0.5 kline " + std::string(522, '4'), "bad-length", "261"},
             {"0.5 kline-bytes " + std::string(1026, '4'), "bad-length", "513"},
             {"0.5 j1850 " + std::string(26, '4'), "bad-length", "13"},
         }) {
        const auto& input = line; // Clang 14 captures no structured binding
        CAPTURE(input);
        CHECK(lines(good + line + '\n' + good) == shown + "! " + word + " line 2 at " +
                                                      std::to_string(good.size()) + " a " + a +
                                                      '\n' + shown);
    }
}

TEST_CASE("times of the older lines that run backwards") {
    CHECK(lines("0.5 kline 01\n0.4 kline 02\n") == "0.500000 kline kline 01\n"
                                                   "! time-backwards line 2 at 13 a 100000000\n"
                                                   "0.400000 kline kline 02\n");
    CHECK(lines("0.5 kline-bytes 01\n0.4 kline-bytes 02\n") ==
          "! time-backwards line 2 at 19 a 100000000\n"
          "0.500000 kline kline 01\n"
          "0.400000 kline kline 02\n");
}

TEST_CASE("more streams of bytes than there is room for are a problem") {
    std::string text;
    for (int i = 0; i < 17; ++i)
        text += "0.5 kline" + std::to_string(i) + "-bytes 68\n";
    const auto out = lines(text);
    CHECK(out.find("! too-many-lines line 17 ") != std::string::npos);
    CHECK(out.find("kline15 kline 68\n") != std::string::npos);
    CHECK(out.find("kline16") == std::string::npos);
}
