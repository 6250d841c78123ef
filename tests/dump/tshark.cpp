// SPDX-License-Identifier: Apache-2.0
// The pcap and pcapng readers and writers against the Wireshark tools.
#include "binary_support.hpp"

#include <algorithm>
#include <sstream>

using namespace binary;
using dump::Direction;

namespace {

constexpr const char* fields =
    " -T fields -E separator=, -e frame.time_epoch -e can.id -e can.flags.xtd -e can.flags.rtr"
    " -e can.len -e canfd.flags.brs -e canfd.flags.esi -e data.data -e _ws.malformed";

/// The line that tshark ought to print for a frame with the fields above.
std::string expected(const Frame& one) {
    std::string out = std::to_string(one.time / nanoseconds_a_second) + ".";
    const auto rest = std::to_string(one.time % nanoseconds_a_second);
    out += std::string(9 - rest.size(), '0') + rest;
    out += "," + std::to_string(one.id.value);
    out += one.id.extended ? ",1" : ",0";
    // An FD frame has no remote flag and two flags of its own.
    out += one.fd ? "," : one.kind == CanKind::remote ? ",1" : ",0";
    out += "," + std::to_string(one.kind == CanKind::remote ? one.remote_length : one.data.size());
    out += one.fd ? (one.bit_rate_switch ? ",1" : ",0") : ",";
    out += one.fd ? (one.error_state ? ",1" : ",0") : ",";
    std::string data = to_hex(one.data);
    if (one.kind == CanKind::remote)
        data = std::string(std::size_t{2} * one.remote_length, '0'); // it shows the padding
    std::transform(data.begin(), data.end(), data.begin(),
                   [](char c) { return c >= 'A' && c <= 'F' ? static_cast<char>(c + 32) : c; });
    return out + "," + data + ",";
}

} // namespace

TEST_CASE("tshark dissects what the writers write, field by field") {
    auto frames = mixed_frames(1500, 51);
    for (auto& one : frames)
        one.time += one.id.value % 1000;
    std::vector<std::string> wanted;
    for (const auto& one : frames)
        wanted.push_back(expected(one));
    for (const Buffer& content : {write_pcapng(frames), write_pcap(frames, {true, true})}) {
        const TemporaryFile file(content);
        const auto got = run(std::string(TSHARK) + " -r " + file.path() + fields);
        REQUIRE(got.size() == wanted.size());
        for (std::size_t i = 0; i < got.size(); ++i)
            CHECK(got[i] == wanted[i]);
    }
}

TEST_CASE("tshark shows the comments, interfaces and directions of the pcapng writer") {
    Buffer out;
    dump::PcapngWriter writer(dump::memory_sink(out), "a drive round the block");
    REQUIRE(writer.add_line("can0").has_value());
    REQUIRE(writer.add_line("can1", "behind the dash").has_value());
    const Frame one = frame(0x7E0, "02010C");
    REQUIRE(writer.write(0, one.view(), 1000, Direction::sent, "asked").has_value());
    REQUIRE(writer.write(1, one.view(), 2000, Direction::received).has_value());
    REQUIRE(writer.write(1, one.view(), 3000, Direction::unknown, "caf\xC3\xA9").has_value());
    REQUIRE(writer.flush().has_value());
    const TemporaryFile file(out);
    const auto got = run(std::string(TSHARK) + " -r " + file.path() +
                         " -T fields -E separator=, -e frame.interface_name"
                         " -e frame.packet_flags_direction -e frame.comment -e _ws.malformed");
    CHECK(got == std::vector<std::string>{"can0,0x00000002,asked,", "can1,0x00000001,,",
                                          "can1,,caf\xC3\xA9,"});
}

TEST_CASE("pcapng that editcap makes of a pcap is read back") {
    const auto frames = mixed_frames(1000, 52);
    const TemporaryFile plain(write_pcap(frames));
    const TemporaryFile converted;
    run(std::string(EDITCAP) + " -F pcapng -a '3:a remark' " + plain.path() + " " +
        converted.path());
    const Reading got = read(converted.content());
    CHECK(got.problems.empty());
    const bool same = got.frames == frames;
    CHECK(same);
    CHECK(got.comments[2] == "a remark");

    const TemporaryFile nano;
    run(std::string(EDITCAP) + " -F nsecpcap " + converted.path() + " " + nano.path());
    const bool nano_same = read(nano.content()).frames == frames;
    CHECK(nano_same);
}

TEST_CASE("pcapng that mergecap makes of two files keeps them apart") {
    const auto first = mixed_frames(200, 53);
    const auto second = mixed_frames(200, 54);
    const TemporaryFile one(write_pcapng(first, "can0"));
    const TemporaryFile two(write_pcapng(second, "can1"));
    const TemporaryFile merged;
    run(std::string(MERGECAP) + " -I all -w " + merged.path() + " " + one.path() + " " +
        two.path());
    const Reading got = read(merged.content());
    CHECK(got.problems.empty());
    std::vector<Frame> from_first;
    std::vector<Frame> from_second;
    for (std::size_t i = 0; i < got.frames.size(); ++i)
        (got.lines[i] == "can0" ? from_first : from_second).push_back(got.frames[i]);
    const bool same = from_first == first && from_second == second;
    CHECK(same);
}

TEST_CASE("cooked captures are read as tshark reads them, in both byte orders") {
    const char* const data = "0341050A";
    for (const bool big : {false, true})
        for (const std::uint32_t link : {113U, 276U}) {
            CAPTURE(big);
            CAPTURE(link);
            Maker file(big);
            file.pcap_header(link);
            std::uint32_t micro = 0;
            for (const std::uint32_t word : {0x7E8U, 0x98DAF110U, 0x80000123U}) {
                Maker packet(true);
                if (link == 113)
                    packet.u16(0).u16(280).u16(0).u64(0).u16(0x0C);
                else
                    packet.u16(0x0C).u16(0).u32(5).u16(280).u16(0).u64(0);
                packet.raw(socketcan(word, data, big));
                file.pcap_record(1'700'000'000, micro++, packet.done());
            }
            const Reading ours = read(file.done());
            std::vector<std::string> wanted;
            for (const auto& one : ours.frames)
                wanted.push_back(expected(one));
            REQUIRE(wanted.size() == 3);
            const TemporaryFile on_disk(file.done());
            CHECK(run(std::string(TSHARK) + " -r " + on_disk.path() + fields) == wanted);
        }
}
