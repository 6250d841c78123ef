// SPDX-License-Identifier: Apache-2.0
#include <doctest/doctest.h>

#include <fstream>
#include <iterator>
#include <map>
#include <set>
#include <string>
#include <vector>

#include <boost/crc.hpp>

#include "telltale/base/hex.hpp"
#include "telltale/vet/known_text.hpp"

using namespace telltale;
using namespace telltale::vet;

namespace {

std::string file(const std::string& name) {
    std::ifstream in(std::string(TELLTALE_SOURCE_DIR) + "/vectors/" + name, std::ios::binary);
    REQUIRE(in.is_open());
    return {std::istreambuf_iterator<char>(in), {}};
}

/// ISO 11898-1, bit stuffing: how many bits are put into a classical data frame from its start to
/// the end of its check (CRC-15 of boost::crc).
unsigned stuff_bits(const KnownFrame& frame) {
    std::vector<bool> bits{false}; // start of frame
    const auto put = [&bits](std::uint64_t value, unsigned count) {
        for (unsigned i = count; i-- > 0;)
            bits.push_back((value >> i & 1) != 0);
    };
    if (frame.id.extended) {
        put(frame.id.value >> 18, 11);
        put(3, 2); // SRR, IDE
        put(frame.id.value & 0x3FFFF, 18);
        put(0, 3); // RTR, r1, r0
    } else {
        put(frame.id.value, 11);
        put(0, 3); // RTR, IDE, r0
    }
    put(frame.size, 4);
    for (const std::uint8_t byte : frame.bytes())
        put(byte, 8);
    boost::crc_basic<15> crc(0x4599);
    for (const bool bit : bits)
        crc.process_bit(bit);
    put(crc.checksum(), 15);
    unsigned stuffed = 0;
    unsigned run = 0;
    bool last = true;
    for (const bool bit : bits) {
        run = run > 0 && bit == last ? run + 1 : 1;
        last = bit;
        if (run == 5) {
            ++stuffed;
            last = !bit;
            run = 1;
        }
    }
    return stuffed;
}

std::string error_of(std::string_view text, std::uint64_t line) {
    const auto read = parse_known_frames(text);
    REQUIRE_FALSE(read.has_value());
    CHECK(read.error().place.line == line);
    return read.error().detail;
}

const std::string head = "group one A title\nbasis common practice\n";

} // namespace

TEST_CASE("known frames from text") {
    const auto read = parse_known_frames("# a remark\n\ngroup a-1 Two words\r\nbasis clause 1\r\n"
                                         "data 7FF -\ndata 123 0011 22\nremote 1FFFFFFF 8\n"
                                         "group b B\nbasis common practice\n"
                                         "fd 000 00112233445566778899AABB\nfd-brs 00000000 01");
    REQUIRE(read.has_value());
    REQUIRE(read->groups.size() == 2);
    CHECK(read->groups[0].id == "a-1");
    CHECK(read->groups[0].title == "Two words");
    CHECK(read->groups[0].basis == "clause 1");
    REQUIRE(read->frames.size() == 5);
    const auto shown = [&read](std::size_t i) { return describe_frame(read->frames[i].view()); };
    CHECK(shown(0) == "7FF -");
    CHECK(shown(1) == "123 00 11 22");
    CHECK(shown(2) == "1FFFFFFF remote 8");
    CHECK(shown(3) == "000 fd 00 11 22 33 44 55 66 77 88 99 AA BB");
    CHECK(shown(4) == "00000000 fd-brs 01");
    CHECK(read->frames[2].group == 0);
    CHECK(read->frames[3].group == 1);
}

TEST_CASE("what is wrong with known frames is told with its line") {
    CHECK(error_of("", 0) == "no frame is in the list");
    CHECK(error_of("data 123 00\n", 1) ==
          "a frame belongs to a group: write `group ID TITLE` before it");
    CHECK(error_of("group A x\n", 1) ==
          "a group's name has small letters, digits and '-', 40 at most");
    CHECK(error_of("group a\n", 1).find("title") != std::string::npos);
    CHECK(error_of(head + "group one Again\n", 3) == "there is a group \"one\" already");
    CHECK(error_of("group a x\ndata 001 00\ngroup b x\n", 3).find("no basis") != std::string::npos);
    CHECK(error_of("group a x\ndata 001 00\n", 2).find("no basis") != std::string::npos);
    CHECK(error_of(head + "data 800 00\n", 3) == "11-bit identifiers end at 7FF");
    CHECK(error_of(head + "data 20000000 00\n", 3) == "29-bit identifiers end at 1FFFFFFF");
    CHECK(error_of(head + "data 1234 00\n", 3).find("3 hex digits") != std::string::npos);
    CHECK(error_of(head + "data 12G 00\n", 3) == "\"12G\" is no hex number");
    CHECK(error_of(head + "data 123\n", 3).find("missing") != std::string::npos);
    CHECK(error_of(head + "data 123 0\n", 3) == "bytes are two hex digits each");
    CHECK(error_of(head + "data 123 000102030405060708\n", 3).find("8 bytes at most") !=
          std::string::npos);
    CHECK(error_of(head + "fd 123 000102030405060708\n", 3).find("12, 16") != std::string::npos);
    CHECK(error_of(head + "remote 123 9\n", 3).find("0 to 8") != std::string::npos);
    CHECK(error_of(head + "\x1B[2J 1\n", 3).rfind("\"\\x1B[2J\" begins no line", 0) == 0);
    std::string many = head;
    for (std::size_t i = 0; i <= most_known_frames; ++i)
        many += "data 001 -\n";
    CHECK(error_of(many, 2 + most_known_frames + 1) == "at most 4096 frames");
    CHECK(parse_known_frames(std::string(most_known_bytes + 1, '\n')).error().code ==
          ErrorCode::too_long);
}

TEST_CASE("the known frames of vectors/ cover what they say") {
    const auto read = parse_known_frames(file("known-frames.txt"));
    REQUIRE(read.has_value());
    std::map<std::string, std::vector<KnownFrame>> groups;
    std::set<CanId> ids;
    std::set<std::vector<std::uint8_t>> contents;
    for (const KnownFrame& frame : read->frames) {
        groups[read->groups[frame.group].id].push_back(frame);
        // A damaged frame is known by its other half.
        CHECK(ids.insert(frame.id).second);
        if (frame.size >= 4 && read->groups[frame.group].id.rfind("data-steady", 0) != 0 &&
            read->groups[frame.group].id != "stuffing")
            CHECK(contents.insert({frame.bytes().begin(), frame.bytes().end()}).second);
    }
    // Each length with both kinds of identifier.
    std::set<std::pair<bool, unsigned>> lengths;
    for (const KnownFrame& frame : groups["data-lengths"])
        lengths.insert({frame.id.extended, frame.size});
    CHECK(lengths.size() == 18);
    for (const KnownFrame& frame : groups["fd-lengths"])
        CHECK(frame.fd);
    lengths.clear();
    for (const KnownFrame& frame : groups["fd-lengths"])
        lengths.insert({frame.bit_rate_switch, frame.size});
    for (const unsigned length : {0U, 8U, 12U, 16U, 20U, 24U, 32U, 48U, 64U})
        for (const bool switched : {false, true})
            CHECK(lengths.count({switched, length}) == 1);
    std::set<std::pair<bool, unsigned>> asked;
    for (const KnownFrame& frame : groups["remote"]) {
        CHECK(frame.kind == CanKind::remote);
        asked.insert({frame.id.extended, frame.remote_length});
    }
    CHECK(asked.size() == 18);
    // Ends, walking ones and walking zeros of both kinds of identifier.
    for (const bool extended : {false, true}) {
        const std::uint32_t all = extended ? CanId::max_extended : CanId::max_standard;
        for (std::uint32_t bit = 1; bit <= all; bit <<= 1) {
            CHECK(ids.count({bit, extended}) == 1);
            CHECK(ids.count({all ^ bit, extended}) == 1);
        }
        CHECK(ids.count({0, extended}) == 1);
        CHECK(ids.count({all, extended}) == 1);
    }
    std::uint64_t ones = 0;
    for (const KnownFrame& frame : groups["data-walking-ones"])
        ones |= big_endian(frame.bytes(), 0, 8);
    CHECK(groups["data-walking-ones"].size() == 64);
    CHECK(ones == ~std::uint64_t{0});
    // A frame of all zeros or ones needs fewer: (34 + 64) / 5 and (54 + 64) / 5 at most.
    unsigned most_11 = 0;
    unsigned most_29 = 0;
    for (const KnownFrame& frame : groups["stuffing"]) {
        unsigned& most = frame.id.extended ? most_29 : most_11;
        most = std::max(most, stuff_bits(frame));
    }
    CHECK(most_11 == 21);
    CHECK(most_29 == 25);
}
