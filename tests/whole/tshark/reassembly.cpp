// SPDX-License-Identifier: Apache-2.0
// Segmented messages of many ECUs whose frames are interleaved, put together by us from the dump
// as it is, and by tshark.
//
// Listed difference: tshark (4.0) keeps one message in reassembly on a line whoever sends it, and
// joins frames of different ECUs to messages that nobody sent. ISO 15765-2:2016, 8.3 and 9.8.3 keep
// messages apart by their address information, which in normal addressing is the CAN identifier. So
// tshark first takes the dump apart, an ECU at a time; how often it is wrong about the whole dump
// is counted.
#include <algorithm>
#include <map>
#include <random>
#include <set>

#include "support.hpp"

using namespace telltale;
using namespace telltale::whole;

namespace {

/// What tshark puts together from a file: for each message its identifier, the type of
/// its last frame, and its bytes.
std::vector<std::vector<std::string>> reassembled(const std::string& path) {
    return run_tshark("-r " + path + ' ' + identifiers +
                      "-Y 'iso15765.message_type == 0 || iso15765.reassembled.length' -T fields "
                      "-e can.id -e iso15765.message_type -e data.data");
}

struct Plan {
    const char* name;
    std::size_t frame_size;
    std::size_t ecus;
    std::size_t messages; ///< of each ECU
    std::size_t usual;    ///< most messages are up to this long
    std::size_t longest;
};

void compare(const Plan& plan) {
    std::mt19937 random{20'260'116};
    std::vector<CanId> ecus;
    for (std::uint32_t i = 0; i < plan.ecus; ++i)
        ecus.push_back(i % 3 == 2 ? CanId{0x18DAF110 + i, true} : CanId{0x7E8 + i, false});
    std::map<std::uint32_t, std::vector<Data>> sent;
    std::map<std::uint32_t, std::vector<Frame>> waiting;
    for (const CanId id : ecus)
        for (std::size_t i = 0; i < plan.messages; ++i) {
            Data message(1 + random() % (random() % 8 == 0 ? plan.longest : plan.usual));
            for (auto& byte : message)
                byte = static_cast<std::uint8_t>(random());
            const auto frames = cut(id, message, plan.frame_size);
            waiting[id.value].insert(waiting[id.value].end(), frames.begin(), frames.end());
            sent[id.value].push_back(std::move(message));
        }
    std::vector<Frame> frames;
    std::map<std::uint32_t, std::size_t> next;
    for (bool any = true; any;) {
        any = false;
        for (const CanId id : ecus)
            for (std::size_t burst = random() % 3;
                 burst > 0 && next[id.value] < waiting[id.value].size(); --burst)
                frames.push_back(waiting[id.value][next[id.value]++]);
        for (const CanId id : ecus)
            any = any || next[id.value] < waiting[id.value].size();
    }
    const std::string path = std::string(plan.name) + ".pcap";
    write_pcap(path, frames);

    Ear ear;
    decode(path, ear);
    CHECK(ear.problems.empty());
    std::map<std::uint32_t, std::vector<Data>> ours;
    for (const Ours& message : ear.messages)
        ours[message.id.value].push_back(message.bytes);
    CHECK(ours == sent);

    std::vector<Frame> apart = frames;
    std::stable_sort(apart.begin(), apart.end(),
                     [](const Frame& a, const Frame& b) { return a.id.value < b.id.value; });
    const std::string apart_path = std::string(plan.name) + "-apart.pcap";
    write_pcap(apart_path, apart);
    std::size_t compared = 0;
    std::size_t segmented = 0;
    std::set<std::string> all;
    std::map<std::uint32_t, std::size_t> at;
    for (const auto& line : reassembled(apart_path)) {
        REQUIRE(line.size() == 3);
        const auto number = static_cast<std::uint32_t>(std::stoul(line[0]));
        REQUIRE(at[number] < ours[number].size());
        CHECK(upper(line[2]) == to_hex(ours[number][at[number]++]));
        ++compared;
        segmented += line[1] == "0x00" ? 0 : 1;
        all.insert(line[2]);
    }
    MESSAGE(std::string(plan.name), ": ", compared, " messages compared, ", segmented,
            " of them segmented, ", frames.size(), " frames");
    CHECK(compared == plan.messages * ecus.size());
    CHECK(segmented >= compared / 2);
    std::size_t invented = 0;
    for (const auto& line : reassembled(path))
        invented += all.count(line.at(2)) == 0 ? 1 : 0;
    MESSAGE("listed difference, ", invented,
            " times: messages that tshark joins from frames of "
            "different ECUs and that none of them sent");
}

} // namespace

TEST_CASE("classic frames of many ECUs interleaved: the messages that tshark puts together") {
    compare({"tshark-classic", 8, 8, 120, 60, 6000});
}

TEST_CASE("CAN FD frames of ECUs interleaved: the messages that tshark puts together") {
    compare({"tshark-fd-12", 12, 2, 200, 60, 3000});
    compare({"tshark-fd-64", 64, 3, 200, 300, 6000});
}
