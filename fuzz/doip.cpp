// SPDX-License-Identifier: Apache-2.0
// A DoIP stream: the same messages in pieces of any size, bounded; what is taken apart is within
// what came.
#include <algorithm>
#include <utility>
#include <vector>

#include "dump_target.hpp"
#include "telltale/link/doip.hpp"

using namespace telltale;
namespace doip = link::doip;

namespace {

std::pair<std::vector<std::uint8_t>, bool> messages(Bytes all, std::size_t piece) {
    doip::Parser parser;
    std::vector<std::uint8_t> again;
    for (std::size_t at = 0; at < all.size(); at += piece) {
        Bytes bytes = all.subspan(at, std::min(piece, all.size() - at));
        doip::Packet packet;
        while (parser.next(bytes, packet)) {
            FUZZ_REQUIRE(packet.payload.size() <= link::max_doip_message + 4);
            if (const auto message = doip::parse_message(packet.payload))
                FUZZ_REQUIRE(message->bytes.size() + 4 == packet.payload.size());
            if (const auto vehicle = doip::parse_announcement(packet.payload))
                FUZZ_REQUIRE(vehicle->vin.size() == 17);
            if (const auto activation = doip::parse_activation(packet.payload))
                FUZZ_REQUIRE(!doip::activation_text(activation->code).empty());
            if (const auto answer = doip::parse_acknowledge(packet.payload))
                FUZZ_REQUIRE(!doip::refusal_text(answer->code).empty());
            doip::append(again, packet.type, packet.payload, packet.version);
        }
        FUZZ_REQUIRE(bytes.empty());
    }
    return {std::move(again), parser.broken()};
}

} // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size);
int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
    const Bytes bytes(data, size);
    const auto whole = messages(bytes, std::max<std::size_t>(size, 1));
    FUZZ_REQUIRE(messages(bytes, 1) == whole);
    FUZZ_REQUIRE(messages(bytes, 5) == whole);
    // What was taken apart is the front of what came.
    FUZZ_REQUIRE(whole.first.size() <= size);
    FUZZ_REQUIRE(std::equal(whole.first.begin(), whole.first.end(), bytes.begin()));
    if (const auto packet = doip::parse_datagram(bytes))
        FUZZ_REQUIRE(packet->payload.size() + doip::header_size == size);
    return 0;
}
