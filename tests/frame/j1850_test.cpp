// SPDX-License-Identifier: Apache-2.0
#include "telltale/frame/j1850.hpp"

#include <random>
#include <string>
#include <vector>

#include <boost/crc.hpp>
#include <doctest/doctest.h>

#include "telltale/base/hex.hpp"

using namespace telltale;
using Buffer = std::vector<std::uint8_t>;

namespace {

Buffer with_crc(Buffer frame) {
    frame.push_back(j1850_crc(frame));
    return frame;
}

std::string taken_apart(const Buffer& frame) {
    J1850Frame out;
    const auto verdict = parse_j1850(frame, out);
    if (!verdict.fine())
        return std::string(word(verdict.code)) + ' ' + std::to_string(verdict.a) + ' ' +
               std::to_string(verdict.b);
    constexpr const char* kinds[] = {"other", "request-pwm", "response-pwm", "request-vpw",
                                     "response-vpw"};
    std::string text = kinds[static_cast<std::size_t>(out.kind)];
    text += ' ';
    append_hex(text, out.source, 2);
    return text + ' ' + to_hex(out.data);
}

} // namespace

TEST_CASE("the CRC has the check value that is published for CRC-8/SAE-J1850") {
    const std::string_view digits = "123456789";
    CHECK(j1850_crc({reinterpret_cast<const std::uint8_t*>(digits.data()), digits.size()}) == 0x4B);
    // The request for the supported PIDs on VPW (from memory).
    CHECK(j1850_crc(Buffer{0x68, 0x6A, 0xF1, 0x01, 0x00}) == 0x17);
}

TEST_CASE("the CRC is the one that boost::crc computes") {
    std::mt19937 random(1850);
    for (int i = 0; i < 5000; ++i) {
        Buffer bytes(std::uniform_int_distribution<std::size_t>(0, 40)(random));
        for (auto& byte : bytes)
            byte = static_cast<std::uint8_t>(std::uniform_int_distribution<int>(0, 255)(random));
        boost::crc_optimal<8, 0x1D, 0xFF, 0xFF, false, false> crc;
        crc.process_bytes(bytes.data(), bytes.size());
        REQUIRE(j1850_crc(bytes) == crc.checksum());
    }
}

TEST_CASE("headers of SAE J1979 on both kinds of J1850") {
    CHECK(taken_apart(with_crc({0x61, 0x6A, 0xF1, 0x01, 0x0C})) == "request-pwm F1 010C");
    CHECK(taken_apart(with_crc({0x41, 0x6B, 0x10, 0x41, 0x0C, 0x1A, 0xF8})) ==
          "response-pwm 10 410C1AF8");
    CHECK(taken_apart(with_crc({0x68, 0x6A, 0xF1, 0x01, 0x0C})) == "request-vpw F1 010C");
    CHECK(taken_apart(with_crc({0x48, 0x6B, 0x18, 0x41, 0x0C, 0x1A, 0xF8})) ==
          "response-vpw 18 410C1AF8");
    CHECK(taken_apart(with_crc({0x48, 0x6A, 0x18, 0x41})) == "other 18 41");
    CHECK(taken_apart(with_crc({0x88, 0x1B, 0x10, 0x10, 0x00})) == "other 10 1000");
    CHECK(taken_apart(with_crc({0x3B, 0x01, 0x02})) == "other 00 0102"); // one-byte header
    CHECK(taken_apart(with_crc({0x48, 0x6B, 0x10, 1, 2, 3, 4, 5, 6, 7, 8})) ==
          "response-vpw 10 0102030405060708");
}

TEST_CASE("what is no J1850 frame says why") {
    CHECK(taken_apart({}) == "frame-cut 2 0");
    CHECK(taken_apart({0x68}) == "frame-cut 2 1");
    CHECK(taken_apart(with_crc({0x68, 0x6A})) == "frame-cut 4 3");
    CHECK(taken_apart(with_crc({0x68, 0x6A, 0xF1})) == "frame-cut 5 4");
    CHECK(taken_apart(with_crc(Buffer(12, 0x48))) == "bad-length 13 0");
    Buffer wrong = with_crc({0x68, 0x6A, 0xF1, 0x01, 0x0C});
    const std::string right = std::to_string(wrong.back());
    wrong.back() ^= 0x80;
    CHECK(taken_apart(wrong) == "checksum-wrong " + right + ' ' + std::to_string(wrong.back()));
}

TEST_CASE("no burst of up to eight wrong bits passes the CRC") {
    const Buffer good = with_crc({0x48, 0x6B, 0x10, 0x41, 0x0C, 0x1A, 0xF8});
    for (std::size_t bit = 0; bit + 8 <= good.size() * 8; ++bit) {
        for (unsigned burst = 1; burst < 256; ++burst) {
            Buffer frame = good;
            for (unsigned i = 0; i < 8; ++i)
                if ((burst >> i & 1) != 0)
                    frame[(bit + i) / 8] ^= static_cast<std::uint8_t>(0x80 >> (bit + i) % 8);
            J1850Frame out;
            REQUIRE(parse_j1850(frame, out).code == ProblemCode::checksum_wrong);
        }
    }
}
