// SPDX-License-Identifier: Apache-2.0
// What our ISO 15765-2 sender and receiver put on the line, written as pcapng by our writer, is
// taken apart by tshark: no malformed field, the same messages, the flow control that was asked
// for.
#include <random>

#include "../../isotp/line.hpp"
#include "support.hpp"
#include "telltale/dump/writer.hpp"

using namespace telltale;
using namespace telltale::isotp;
using namespace telltale::isotp::testing;
using whole::Data;

namespace {

struct Plan {
    const char* name;
    Address address;
    std::uint8_t tx_dl;
    bool padded = true;
};

std::string hex_id(CanId id) {
    char text[16];
    std::snprintf(text, sizeof text, "0x%x", static_cast<unsigned>(id.value));
    return text;
}

/// tshark's number, decimal or 0x.
unsigned long number(const std::string& text) {
    return std::stoul(text, nullptr, 0);
}

void compare(const Plan& plan, std::mt19937& random) {
    INFO(std::string(plan.name));
    // The conversation
    Options options;
    options.fd = plan.tx_dl > 8;
    options.tx_dl = plan.tx_dl;
    options.max_message = 70'000;
    if (!plan.padded)
        options.padding.reset();
    Options other = options;
    options.block_size = 5;
    options.st_min = 0xF2;
    other.block_size = 0;
    other.st_min = 2;
    Line line{plan.address, options, other};
    line.frame_time = 130 * us;
    std::vector<std::pair<std::size_t, Data>> sent;
    std::vector<std::size_t> lengths;
    for (std::size_t n = 1; n <= 150; ++n)
        lengths.push_back(n);
    // Listed difference: tshark (4.0) counts at most 4096 consecutive frames of a message.
    for (const std::size_t n : {500U, 4094U, 4095U, 4096U, 4097U, 9000U})
        lengths.push_back(n);
    for (const std::size_t n : lengths) {
        Data message(n);
        for (auto& byte : message)
            byte = static_cast<std::uint8_t>(random());
        const std::size_t side = sent.size() % 2;
        REQUIRE(line.stations[side].endpoint.transmit(message, line.now).has_value());
        line.run();
        REQUIRE(line.stations[1 - side].messages.size() == sent.size() / 2 + 1);
        sent.emplace_back(side, std::move(message));
    }

    // The dump
    const std::string path = "tshark-isotp.pcapng";
    {
        auto sink = dump::open_sink(path);
        REQUIRE(sink.has_value());
        dump::PcapngWriter writer(std::move(*sink));
        const auto number_of_line = writer.add_line("bus");
        REQUIRE(number_of_line.has_value());
        for (const Line::Seen& seen : line.seen)
            REQUIRE(writer
                        .write(*number_of_line,
                               frame_of(seen.frame.id, seen.frame.data, seen.frame.fd), seen.end)
                        .has_value());
        REQUIRE(writer.flush().has_value());
    }

    // What tshark says
    const CanId a = plan.address.tx;
    const CanId b = plan.address.rx;
    const std::string kind = a.extended ? "extended_ids" : "ids";
    const std::string ids =
        "-o iso15765.can." + kind + ":" + hex_id(a) + "," + hex_id(b) + " " +
        "-o 'iso15765.addressing:" + (plan.address.has_byte() ? "Extended" : "Normal") +
        " addressing' ";
    const auto lines = whole::run_tshark(
        "-r " + path + ' ' + ids +
        "-T fields -e can.id -e iso15765.message_type -e iso15765.reassembled.length -e data.data "
        "-e iso15765.flow_control.bs -e iso15765.flow_control.stmin -e iso15765.address "
        "-e _ws.malformed -e iso15765.message_type.bad -e iso15765.fragment.error");
    REQUIRE(lines.size() == line.seen.size());
    std::size_t at = 0;
    std::size_t flow = 0;
    for (std::size_t i = 0; i < lines.size(); ++i) {
        CAPTURE(i);
        const auto& cells = lines[i];
        REQUIRE(cells.size() == 10);
        const std::size_t from = line.seen[i].from;
        REQUIRE(number(cells[0]) == (from == 0 ? a : b).value);
        REQUIRE(cells[7].empty());
        REQUIRE(cells[8].empty());
        REQUIRE(cells[9].empty());
        if (plan.address.has_byte())
            REQUIRE(number(cells[6]) == (from == 0 ? plan.address.tx_byte : plan.address.rx_byte));
        const unsigned long type = number(cells[1]);
        if (type == 3) {
            const Options& asked = from == 0 ? options : other;
            REQUIRE(number(cells[4]) == asked.block_size);
            REQUIRE(number(cells[5]) == asked.st_min);
            ++flow;
        } else if (type == 0 || !cells[2].empty()) {
            REQUIRE(at < sent.size());
            REQUIRE(from == sent[at].first);
            REQUIRE(whole::upper(cells[3]) == to_hex(sent[at].second));
            ++at;
        }
    }
    CHECK(at == sent.size());
    CHECK(flow > 100);
    MESSAGE(std::string(plan.name), ", frames of ", static_cast<int>(plan.tx_dl), ": ", at,
            " messages, ", lines.size(), " frames");
}

} // namespace

TEST_CASE("what we send is taken apart by tshark as it was meant") {
    std::mt19937 random{20'261'125};
    const Plan plans[] = {
        {"normal", tester_address({0x7E8, false}), 8},
        {"normal fixed", normal_fixed_address(0x10, 0xF1), 12},
        {"extended, not padded", extended_address({0x6F1, false}, {0x612, false}, 0x12, 0xF1), 8,
         false},
        {"mixed, 11 bits", mixed_address({0x710, false}, {0x718, false}, 0x99), 24},
        {"mixed, 29 bits", mixed_fixed_address(0x10, 0xF1, 0x42), 64},
    };
    for (const Plan& plan : plans)
        compare(plan, random);
}
