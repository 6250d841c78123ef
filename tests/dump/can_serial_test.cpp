// SPDX-License-Identifier: Apache-2.0
#include <doctest/doctest.h>

#include "told.hpp"

using namespace telltale;
using test::told;

namespace {
std::string serial(std::string_view text, const CanFilter* filter = nullptr,
                   dump::Counts* counts = nullptr) {
    return told(text, dump::Format::can_serial, filter, counts);
}
} // namespace

TEST_CASE("the serial form gives its frames, whatever ends a line") {
    const std::string shown = "?  7E8 04410C1AF8AAAAAA\n"
                              "?  18DAF110 0441\n"
                              "?  123 remote 4\n"
                              "?  00000123 remote 0\n"
                              "?  7DF \n";
    for (const std::string end : {"\r", "\n", "\r\n", "\r\r", "\a"}) {
        std::string text;
        for (const char* line :
             {"t7E8804410C1AF8AAAAAA", "T18daf11020441", "r1234", "R000001230", "t7DF0"})
            text += line + end;
        CHECK(serial(text) == shown);
    }
}

TEST_CASE("answers of the device are passed over") {
    CHECK(serial("V1013\rz\rN1234\r\rZ\r\aF00\rt7E820441\rz\r\at7E820442") ==
          "?  7E8 0441\n?  7E8 0442\n");
}

TEST_CASE("milliseconds that start again make a time that grows") {
    CHECK(serial("t7E810100FF\r"      // 255 ms
                 "t7E8102EA5F\r"      // 59999 ms
                 "t7E81030000\r"      // one turn later
                 "t7E81040000\r"      // the same millisecond
                 "r7E80EA5F\r"        // 59999 again
                 "T12345678105000A\r" // two turns
                 "t7E8106\r") == "0.255000  7E8 01\n"
                                 "59.999000  7E8 02\n"
                                 "60.000000  7E8 03\n"
                                 "60.000000  7E8 04\n"
                                 "119.999000  7E8 remote 0\n"
                                 "120.010000  12345678 05\n"
                                 "?  7E8 06\n");
    // A device whose stamps use all of their 16 bits.
    CHECK(serial("t7E8101FFFF\rt7E81020000\r") == "65.535000  7E8 01\n65.536000  7E8 02\n");
}

TEST_CASE("the serial form has FD frames") {
    CHECK(serial("t7E80\r"
                 "d7E88001122334455667788\r"
                 "D18DAF11010A0A\r"
                 "b7E820102\r"
                 "B18DAF11020102\r") == "?  7E8 \n"
                                        "! unreadable-line line 2 at 6 a 23\n"
                                        "! unreadable-line line 3 at 30 a 14\n"
                                        "?  7E8 0102 fd brs\n"
                                        "?  18DAF110 0102 fd brs\n");
    CHECK(serial("d7E8900112233445566778899AABB\r") == "?  7E8 00112233445566778899AABB fd\n");
    CHECK(serial("b7E8F" + std::string(128, '1') + "00FF\r") ==
          "0.255000  7E8 " + std::string(128, '1') + " fd brs\n");
}

TEST_CASE("what is no frame of the serial form is a problem with its place") {
    const std::string good = "t7E820441\r";
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
             unreadable("t"),
             unreadable("t7E8"),
             unreadable("t7E82044"),
             unreadable("t7E8204"),
             unreadable("t7E820441A"),
             unreadable("t7E820441ABC"),
             unreadable("t7E820441ABCDE"),
             unreadable("t7E8204G1"),
             unreadable("tGE820441"),
             unreadable("t7E8X"),
             unreadable("t7E820441ABCG"),
             unreadable("z but then more"),
             unreadable("r7E8412"),
             {"t80020441", "bad-identifier", "2048"},
             {"T2000000020441", "bad-identifier", std::to_string(0x20000000)},
             {"t7E89010203040506070809", "bad-length", "9"},
             {"r7E8F", "bad-length", "15"},
         }) {
        const auto& input = line; // Clang 14 captures no structured binding
        CAPTURE(input);
        CHECK(serial(good + line + '\r' + good) ==
              shown + "! " + word + " line 2 at 10 a " + a + '\n' + shown);
    }
}

TEST_CASE("a serial form without end of line is passed over as a stream") {
    const std::string text = "t7E820441\r" + std::string(700'000, '0') + "\r\nt7E820442\r";
    CHECK(told(dump::memory_source(test::as_bytes(text)), dump::Format::can_serial) ==
          "?  7E8 0441\n! line-too-long line 2 at 10 a 700000\n?  7E8 0442\n");
}

TEST_CASE("the serial form cut anywhere gives no wrong frame") {
    const std::string text = "t7E81010001\rt7E820441\rT18DAF11020441000A\r";
    const auto whole = serial(text);
    for (std::size_t size = 12; size < text.size(); ++size) {
        CAPTURE(size);
        const auto out = serial(text.substr(0, size));
        auto frames = out.substr(0, out.find("! "));
        // A stamp that the cut took away whole leaves a frame without time.
        if (text.substr(0, size) == "t7E81010001\rt7E820441\rT18DAF11020441")
            frames.resize(frames.find("?  18DAF110 0441\n"));
        CHECK(whole.substr(0, frames.size()) == frames);
    }
}
