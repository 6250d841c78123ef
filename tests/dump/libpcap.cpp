// SPDX-License-Identifier: Apache-2.0
// The pcap and pcapng readers and writers against libpcap.
#include "binary_support.hpp"

#include <pcap/pcap.h>

using namespace binary;

namespace {

constexpr int link_socketcan = 227;

/// The frames of a file as libpcap reads them, taken apart here by linux/can.h.
std::vector<Frame> libpcap_read(const std::string& path) {
    std::vector<Frame> out;
    char error[PCAP_ERRBUF_SIZE];
    pcap_t* file =
        pcap_open_offline_with_tstamp_precision(path.c_str(), PCAP_TSTAMP_PRECISION_NANO, error);
    REQUIRE_MESSAGE(file != nullptr, error);
    CHECK(pcap_datalink(file) == link_socketcan);
    pcap_pkthdr* header = nullptr;
    const u_char* data = nullptr;
    int got = 0;
    while ((got = pcap_next_ex(file, &header, &data)) == 1) {
        REQUIRE(header->caplen >= 8);
        CHECK(header->caplen == header->len);
        const auto word = static_cast<std::uint32_t>(big_endian(Bytes(data, 4), 0, 4));
        Frame one;
        one.time = header->ts.tv_sec * nanoseconds_a_second + header->ts.tv_usec;
        one.id = {word & CanId::max_extended, (word & 0x80000000) != 0};
        one.fd = header->caplen == 72;
        CHECK(((data[5] & 4) != 0) == one.fd);
        one.bit_rate_switch = one.fd && (data[5] & 1) != 0;
        one.error_state = one.fd && (data[5] & 2) != 0;
        if ((word & 0x40000000) != 0) {
            one.kind = CanKind::remote;
            one.remote_length = data[4];
        } else {
            REQUIRE(header->caplen >= 8U + data[4]);
            one.data.assign(data + 8, data + 8 + data[4]);
        }
        out.push_back(one);
    }
    CHECK(got == PCAP_ERROR_BREAK); // the end, not an error
    pcap_close(file);
    return out;
}

std::string libpcap_write(const TemporaryFile& file, const std::vector<Buffer>& packets,
                          const std::vector<Frame>& frames, int precision, int link) {
    pcap_t* dead =
        pcap_open_dead_with_tstamp_precision(link, 262'144, static_cast<u_int>(precision));
    REQUIRE(dead != nullptr);
    pcap_dumper_t* dumper = pcap_dump_open(dead, file.path().c_str());
    REQUIRE(dumper != nullptr);
    for (std::size_t i = 0; i < packets.size(); ++i) {
        pcap_pkthdr header{};
        header.ts.tv_sec = frames[i].time / nanoseconds_a_second;
        header.ts.tv_usec = frames[i].time % nanoseconds_a_second /
                            (precision == PCAP_TSTAMP_PRECISION_NANO ? 1 : 1000);
        header.caplen = static_cast<bpf_u_int32>(packets[i].size());
        header.len = header.caplen;
        pcap_dump(reinterpret_cast<u_char*>(dumper), &header, packets[i].data());
    }
    pcap_dump_close(dumper);
    pcap_close(dead);
    return file.path();
}

Buffer packet(const Frame& one, bool big_id) {
    const std::uint32_t word = one.id.value | (one.id.extended ? 0x80000000 : 0) |
                               (one.kind == CanKind::remote ? 0x40000000 : 0);
    const unsigned flags =
        one.fd ? 4U + (one.bit_rate_switch ? 1U : 0U) + (one.error_state ? 2U : 0U) : 0U;
    Buffer out = socketcan(word, to_hex(one.data), big_id, flags, one.fd ? 72 : 16);
    if (one.kind == CanKind::remote)
        out[4] = one.remote_length;
    return out;
}

} // namespace

TEST_CASE("libpcap reads what the writers write") {
    auto frames = mixed_frames(2000, 41);
    for (auto& one : frames)
        one.time += one.id.value % 1000; // nanoseconds
    {
        const TemporaryFile file(write_pcapng(frames));
        const bool same = libpcap_read(file.path()) == frames;
        CHECK(same);
    }
    for (const bool big : {false, true}) {
        const TemporaryFile file(write_pcap(frames, {true, big}));
        const bool same = libpcap_read(file.path()) == frames;
        CHECK(same);
    }
    for (auto& one : frames)
        one.time = one.time / 1000 * 1000;
    for (const bool big : {false, true}) {
        const TemporaryFile file(write_pcap(frames, {false, big}));
        const bool same = libpcap_read(file.path()) == frames;
        CHECK(same);
    }
}

TEST_CASE("the reader reads what libpcap writes") {
    const auto frames = mixed_frames(2000, 42);
    std::vector<Buffer> packets;
    for (const auto& one : frames)
        packets.push_back(packet(one, true));
    for (const int precision : {PCAP_TSTAMP_PRECISION_MICRO, PCAP_TSTAMP_PRECISION_NANO}) {
        const TemporaryFile file;
        libpcap_write(file, packets, frames, precision, link_socketcan);
        const Reading got = read(file.content());
        CHECK(got.problems.empty());
        const bool same = got.frames == frames;
        CHECK(same);
    }
}

TEST_CASE("the reader reads cooked captures that libpcap writes") {
    const auto frames = mixed_frames(500, 43);
    const std::uint16_t probe = 1;
    const bool big_machine = *reinterpret_cast<const std::uint8_t*>(&probe) == 0;
    for (const int link : {113, 276}) {
        std::vector<Buffer> packets;
        for (const auto& one : frames) {
            const unsigned protocol = one.fd ? 0x0D : 0x0C;
            Maker maker(true);
            if (link == 113)
                maker.u16(0).u16(280).u16(0).u64(0).u16(protocol);
            else
                maker.u16(protocol).u16(0).u32(5).u16(280).u16(0).u64(0);
            packets.push_back(maker.raw(packet(one, big_machine)).done());
        }
        const TemporaryFile file;
        libpcap_write(file, packets, frames, PCAP_TSTAMP_PRECISION_MICRO, link);
        const Reading got = read(file.content());
        CHECK(got.problems.empty());
        const bool same = got.frames == frames;
        CHECK(same);
    }
}
