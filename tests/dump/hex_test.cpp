// SPDX-License-Identifier: Apache-2.0
#include <doctest/doctest.h>

#include "told.hpp"

using namespace telltale;
using test::told;

namespace {
std::string hex(std::string_view text, const CanFilter* filter = nullptr,
                dump::Counts* counts = nullptr) {
    return told(text, dump::Format::hex, filter, counts);
}
} // namespace

TEST_CASE("hex lines with an identifier are frames") {
    CHECK(hex("7E8 04 41 0C 1A F8\n"
              "18DAF110 04 41 0c 1a f8\r\n"
              "18 DA F1 10\n"
              "0x7E8, 0x04, 0x41, 0xC, 0x1A, 0xF8\n"
              "7E8 04410C1AF8AAAAAA\n"
              "7E8\t04\t41\n"
              "7E8 " +
              std::string(128, '7') + '\n') == "?  7E8 04410C1AF8\n"
                                               "?  18DAF110 04410C1AF8\n"
                                               "?  message 18DAF110\n"
                                               "?  7E8 04410C1AF8\n"
                                               "?  7E8 04410C1AF8AAAAAA\n"
                                               "?  7E8 0441\n"
                                               "?  7E8 " +
                                                   std::string(128, '7') + " fd\n");
}

TEST_CASE("hex lines without an identifier are messages") {
    CHECK(hex("41 0C 1A F8\n410C1AF8\n0x41,0x0C\n010C\n7F 01 12\n04\n") == "?  message 410C1AF8\n"
                                                                           "?  message 410C1AF8\n"
                                                                           "?  message 410C\n"
                                                                           "?  message 010C\n"
                                                                           "?  message 7F0112\n"
                                                                           "?  message 04\n");
    const std::string longest(131'072, '4');
    CHECK(told(dump::memory_source(test::as_bytes("41 0C\n" + longest)), dump::Format::hex) ==
          "?  message 410C\n?  message " + longest + '\n');
}

TEST_CASE("hex lines may start with a time") {
    CHECK(hex("0.5 7E8 04 41\n"
              "(0.75) 7E8 04 41\n"
              "(2026-01-02 03:04:05.5) 41 0C\n"
              "1767323045.500001 41 0C\n") == "0.500000  7E8 0441\n"
                                              "0.750000  7E8 0441\n"
                                              "1767323045.500000  message 410C\n"
                                              "1767323045.500001  message 410C\n");
}

TEST_CASE("what is no hex line is a problem with its place") {
    const std::string good = "7E8 04 41\n";
    const std::string shown = "?  7E8 0441\n";
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
             unreadable("7E8"),
             unreadable("7E8 0"),
             unreadable("7E8 04 4"),
             unreadable("7E8 04 411"),
             unreadable("7E8 04 0G"),
             unreadable("41 0C 1"),
             unreadable("0x 41"),
             unreadable("(0.5)"),
             unreadable("0.5"),
             unreadable("(x) 41"),
             unreadable("0.5x 41"),
             unreadable("0.5 7E8"),
             unreadable("0x7E8"),
             unreadable(std::string("41\0 42", 6)),
             {"800 01", "bad-identifier", "2048"},
             {"20000000 01", "bad-identifier", std::to_string(0x20000000)},
             {"FFFFFFFF 01", "bad-identifier", std::to_string(0xFFFFFFFF)},
             {"7E8 01 02 03 04 05 06 07 08 09", "bad-length", "9"},
             {"7E8 " + std::string(130, '1'), "bad-length", "65"},
         }) {
        const auto& input = line; // Clang 14 captures no structured binding
        CAPTURE(input);
        CHECK(hex(good + line + '\n' + good) ==
              shown + "! " + word + " line 2 at 10 a " + a + '\n' + shown);
    }
    const std::string too_long = good + std::string(131'074, '4') + '\n';
    CHECK(told(dump::memory_source(test::as_bytes(too_long)), dump::Format::hex) ==
          shown + "! bad-length line 2 at 10 a 65537\n");
}

TEST_CASE("the filter holds for frames, not for messages") {
    const auto filter = CanFilter::diagnostic();
    dump::Counts counts;
    CHECK(hex("123 01\n7E8 02\n41 0C\n", &filter, &counts) == "?  7E8 02\n?  message 410C\n");
    CHECK(counts.frames == 3);
    CHECK(counts.passed_over == 1);
}
