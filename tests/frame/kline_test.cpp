// SPDX-License-Identifier: Apache-2.0
#include "telltale/frame/kline.hpp"

#include <string>
#include <vector>

#include <doctest/doctest.h>

#include "telltale/base/hex.hpp"

using namespace telltale;
using Buffer = std::vector<std::uint8_t>;

namespace {

Buffer bytes(std::string_view hex) {
    std::string digits;
    for (const char c : hex)
        if (c != ' ')
            digits += c;
    Buffer out(digits.size() / 2);
    REQUIRE(from_hex(digits, out).value_or(999) == out.size());
    return out;
}

/// `form target source data`, or the word of the problem and its numbers.
std::string taken_apart(const Buffer& frame) {
    KlineFrame out;
    const auto verdict = parse_kline(frame, out);
    if (!verdict.fine())
        return std::string(word(verdict.code)) + ' ' + std::to_string(verdict.a) + ' ' +
               std::to_string(verdict.b);
    constexpr const char* forms[] = {"iso-9141", "no-address", "physical", "functional"};
    std::string text = forms[static_cast<std::size_t>(out.form)];
    if (out.has_address) {
        text += ' ';
        append_hex(text, out.target, 2);
        text += ' ';
        append_hex(text, out.source, 2);
    }
    CHECK(out.header_size + out.data.size() + 1 == frame.size());
    return text + ' ' + to_hex(out.data);
}

std::string taken_apart(std::string_view hex) {
    return taken_apart(bytes(hex));
}

Buffer with_sum(std::string_view hex) {
    Buffer out = bytes(hex);
    out.push_back(kline_checksum(out));
    return out;
}

/// What a cutter makes of lines "milliseconds hex".
std::string cut(const std::vector<std::pair<int, std::string>>& heard) {
    KlineCutter cutter;
    std::string out;
    KlineCutter::Piece piece;
    const auto take = [&] {
        while (cutter.next(piece)) {
            append_seconds(out, piece.time);
            out += ' ' + std::to_string(piece.place.line) + ' ' + to_hex(piece.bytes) + '\n';
        }
    };
    std::uint64_t line = 0;
    for (const auto& [ms, hex] : heard) {
        ++line;
        Time time = ms * nanoseconds_a_millisecond;
        for (const std::uint8_t byte : bytes(hex)) {
            cutter.pause_until(time);
            take();
            cutter.push(byte, time, {0, line});
            time += KlineCutter::byte_time;
        }
    }
    cutter.finish();
    take();
    CHECK(cutter.empty());
    return out;
}

} // namespace

TEST_CASE("the checksum is the sum modulo 256") {
    // StartCommunication to all OBD ECUs and its answer (ISO 14230-4; from memory).
    CHECK(kline_checksum(bytes("C1 33 F1 81")) == 0x66);
    CHECK(kline_checksum(bytes("83 F1 10 C1 E9 8F")) == 0xBD);
    CHECK(kline_checksum({}) == 0);
}

TEST_CASE("headers of ISO 9141-2") {
    CHECK(taken_apart("68 6A F1 01 00 C4") == "iso-9141 6A F1 0100");
    CHECK(taken_apart("48 6B 10 41 00 BE 3E B8 11 C9") == "iso-9141 6B 10 4100BE3EB811");
    CHECK(taken_apart(with_sum("68 6A F1 03")) == "iso-9141 6A F1 03");
    CHECK(taken_apart(with_sum("48 6B 10 01 02 03 04 05 06 07")) ==
          "iso-9141 6B 10 01020304050607");
    CHECK(taken_apart(with_sum("48 6B 10 01 02 03 04 05 06 07 08")) == "bad-length 8 0");
    CHECK(taken_apart("68 6A F1 F1") == "frame-cut 5 4");
    CHECK(taken_apart("68") == "frame-cut 5 1");
    CHECK(taken_apart(with_sum("68 6B F1 01 00")) == "header-unknown 104 0");
    CHECK(taken_apart(with_sum("48 6A F1 01 00")) == "header-unknown 72 0");
    CHECK(taken_apart(with_sum("4A 6B F1 01 00")) == "header-unknown 74 0");
}

TEST_CASE("every form of the format byte of ISO 14230-2") {
    CHECK(taken_apart("C1 33 F1 81 66") == "functional 33 F1 81");
    CHECK(taken_apart("83 F1 10 C1 E9 8F BD") == "physical F1 10 C1E98F");
    CHECK(taken_apart(with_sum("C2 33 F1 01 0C")) == "functional 33 F1 010C");
    CHECK(taken_apart(with_sum("84 F1 11 41 0C 1A F8")) == "physical F1 11 410C1AF8");
    CHECK(taken_apart(with_sum("02 01 0C")) == "no-address 010C");
    CHECK(taken_apart(with_sum("00 02 01 0C")) == "no-address 010C");
    CHECK(taken_apart(with_sum("80 10 F1 02 01 0C")) == "physical 10 F1 010C");
    CHECK(taken_apart(with_sum("C0 33 F1 02 01 0C")) == "functional 33 F1 010C");
    // All lengths that the format byte holds, and all that the length byte holds.
    for (unsigned length = 1; length < 64; ++length) {
        Buffer frame = {static_cast<std::uint8_t>(0x80 | length), 0xF1, 0x10};
        for (unsigned i = 0; i < length; ++i)
            frame.push_back(static_cast<std::uint8_t>(i));
        frame.push_back(kline_checksum(frame));
        CHECK(kline_length(frame) == frame.size());
        CHECK(taken_apart(frame).substr(0, 15) == "physical F1 10 ");
    }
    for (unsigned length = 1; length < 256; ++length) {
        Buffer frame = {0xC0, 0x33, 0xF1, static_cast<std::uint8_t>(length)};
        for (unsigned i = 0; i < length; ++i)
            frame.push_back(static_cast<std::uint8_t>(i * 7));
        frame.push_back(kline_checksum(frame));
        CHECK(kline_length(frame) == frame.size());
        CHECK(frame.size() <= max_kline_frame);
        CHECK(taken_apart(frame).substr(0, 17) == "functional 33 F1 ");
    }
}

TEST_CASE("what is no K-line frame says why") {
    CHECK(taken_apart("") == "frame-cut 3 0");
    CHECK(taken_apart("C2 33 F1 01 0C") == "frame-cut 6 5");
    CHECK(taken_apart("C2") == "frame-cut 5 1");
    CHECK(taken_apart("80 F1 10") == "frame-cut 6 3");
    CHECK(taken_apart("80 F1 10 00 81") == "bad-length 0 0");
    CHECK(taken_apart("C1 33 F1 81 66 00") == "bad-length 2 0");
    CHECK(taken_apart("C1 33 F1 81 67") == "checksum-wrong 102 103");
    CHECK(taken_apart("48 6B 10 41 00 BE 3E B8 11 C8") == "checksum-wrong 201 200");
}

TEST_CASE("no single byte that is wrong passes the checksum") {
    const Buffer good = with_sum("48 6B 10 41 0C 1A F8");
    for (std::size_t at = 0; at < good.size(); ++at) {
        for (unsigned change = 1; change < 256; ++change) {
            Buffer frame = good;
            frame[at] = static_cast<std::uint8_t>(frame[at] ^ change);
            KlineFrame out;
            CHECK_FALSE(parse_kline(frame, out).fine());
        }
    }
}

TEST_CASE("initialisation at 5 baud") {
    // To address 33: 55, key bytes 08 08, inverted F7, inverted address CC (ISO 9141-2; from
    // memory).
    KlineInit init;
    CHECK(init.take(bytes("55 08 08")));
    CHECK(init.take(bytes("F7")));
    CHECK(init.take(bytes("CC")));
    CHECK(init.key_byte_1() == 0x08);
    CHECK(init.key_byte_2() == 0x08);
    CHECK_FALSE(init.take(bytes("CC"))); // only once
    // Key bytes 94 94 (ISO 9141-2), and those of ISO 14230 (key word 2025: E9 8F; from memory).
    CHECK(init.take(bytes("55 94 94")));
    CHECK(init.take(bytes("6B")));
    CHECK(init.take(bytes("CC")));
    CHECK(init.take(bytes("55 E9 8F")));
    CHECK(init.take(bytes("70")));
    CHECK(key_word(init.key_byte_1(), init.key_byte_2()) == 2025);
    CHECK(key_word(0x08, 0x08) == 1032);
    CHECK_FALSE(init.take(bytes("68 6A F1 01 00 C4")));
    CHECK_FALSE(init.take(bytes("CC")));
    CHECK(init.take(bytes("55 08 08")));
    CHECK_FALSE(init.take(bytes("F6"))); // not the inverted one
    CHECK_FALSE(init.take(bytes("CC")));
}

TEST_CASE("frames are cut where the bytes pause") {
    // A byte lasts 0.96 ms at 10400 baud: the pause to a byte 20 ms later is 19 ms.
    CHECK(cut({{0, "68"},
               {6, "6A"},
               {12, "F1"},
               {18, "01"},
               {24, "00"},
               {30, "C4"},
               {61, "48"},
               {62, "6B"},
               {63, "10"},
               {64, "41"},
               {65, "00"},
               {66, "BE"},
               {67, "3E"},
               {68, "B8"},
               {88, "11"},
               {89, "C9"}}) == "0.000000 1 686AF10100C4\n0.061000 7 486B104100BE3EB811C9\n");
    CHECK(cut({{0, "68 6A"}, {20, "F1 01 00 C4"}, {56, "48 6B 10 41"}, {80, "0C"}}) ==
          "0.000000 1 686AF10100C4\n0.056000 3 486B1041\n0.080000 4 0C\n");
    // The pause that is just allowed, and the next larger one.
    CHECK(cut({{0, "68"}, {20, "6A"}}) == "0.000000 1 686A\n");
    CHECK(cut({{0, "68"}, {21, "6A"}}) == "0.000000 1 68\n0.021000 2 6A\n");
    // A time that runs backwards ends a frame.
    CHECK(cut({{100, "68"}, {99, "6A"}}) == "0.100000 1 68\n0.099000 2 6A\n");
}

TEST_CASE("a frame whose length is known ends there, however soon the next begins") {
    CHECK(cut({{0, "C1 33 F1 81 66 83 F1 10 C1 E9 8F BD 55"}}) ==
          "0.000000 1 C133F18166\n0.004807690 1 83F110C1E98FBD\n0.011538456 1 55\n");
    // Not when the checksum there is wrong.
    CHECK(cut({{0, "C1 33 F1 81 67 83"}}) == "0.000000 1 C133F1816783\n");
}

TEST_CASE("bytes without a pause come in pieces that are bounded") {
    std::string much;
    for (int i = 0; i < 1000; ++i)
        much += "48";
    const auto out = cut({{0, much}});
    CHECK(out.size() < 2 * 1000 + 4 * 40);
    CHECK(out.substr(0, 20) == "0.000000 1 484848484");
    CHECK(std::count(out.begin(), out.end(), '\n') == 4);
}
