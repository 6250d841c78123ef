// SPDX-License-Identifier: Apache-2.0
// A sender and a receiver against each other, on a line with a virtual clock.
#include <random>

#include "line.hpp"

using namespace telltale;
using namespace telltale::isotp;
using namespace telltale::isotp::testing;

namespace {

struct Variant {
    const char* name;
    Address address;
};
const Variant variants[] = {
    {"normal", tester_address({0x7E8, false})},
    {"normal fixed", tester_address({0x18DAF110, true})},
    {"extended", extended_address({0x6F1, false}, {0x612, false}, 0x12, 0xF1)},
    {"mixed, 11 bits", mixed_address({0x710, false}, {0x718, false}, 0x99)},
    {"mixed, 29 bits", mixed_fixed_address(0x10, 0xF1, 0x42)},
};

} // namespace

TEST_CASE("each length in each addressing format and frame size arrives as it was sent") {
    std::size_t count = 0;
    for (const Variant& variant : variants)
        for (const std::size_t size : {8U, 12U, 16U, 20U, 24U, 32U, 48U, 64U})
            for (const bool padded : {true, false}) {
                Options options;
                options.fd = size > 8;
                options.tx_dl = static_cast<std::uint8_t>(size);
                if (!padded)
                    options.padding.reset();
                for (std::size_t n = 1; n <= 4095; n += n < 150 ? 1 : 341) {
                    options.block_size = static_cast<std::uint8_t>(n % 7);
                    Line line{variant.address, options, options};
                    const auto message = ramp(n, static_cast<unsigned>(size));
                    REQUIRE(line.stations[0].endpoint.transmit(message, line.now).has_value());
                    line.run();
                    INFO(variant.name, ' ', size, ' ', n);
                    REQUIRE(line.stations[0].words == "out:N_OK");
                    REQUIRE(line.stations[1].messages.size() == 1);
                    REQUIRE(line.stations[1].messages[0] == message);
                    for (const Line::Seen& seen : line.seen) {
                        const std::size_t length = seen.frame.data.size();
                        REQUIRE(length <= size);
                        REQUIRE((seen.frame.fd ? is_fd_length(length) : length <= 8));
                        if (padded)
                            REQUIRE(length >= 8);
                    }
                    ++count;
                }
            }
    MESSAGE(count, " messages");
}

TEST_CASE("both directions at once") {
    Options options;
    options.block_size = 3;
    options.confirmed = true;
    Line line{variants[0].address, options, options};
    line.frame_time = 230 * us;
    const auto a = ramp(1000, 1);
    const auto b = ramp(1500, 2);
    REQUIRE(line.stations[0].endpoint.transmit(a, line.now).has_value());
    REQUIRE(line.stations[1].endpoint.transmit(b, line.now).has_value());
    line.run();
    REQUIRE(line.stations[0].messages.size() == 1);
    REQUIRE(line.stations[1].messages.size() == 1);
    CHECK(line.stations[0].messages[0] == b);
    CHECK(line.stations[1].messages[0] == a);
    CHECK(line.stations[0].sent == 1);
    CHECK(line.stations[1].sent == 1);
}

namespace {

Options random_options(std::mt19937& random, bool fd) {
    constexpr std::uint8_t sizes[] = {8, 12, 16, 20, 24, 32, 48, 64};
    Options options;
    options.fd = fd;
    options.tx_dl = fd ? sizes[random() % 8] : std::uint8_t{8};
    if (random() % 4 == 0)
        options.padding.reset();
    options.block_size = static_cast<std::uint8_t>(random() % 2 == 0 ? 0 : random());
    options.st_min = static_cast<std::uint8_t>(random() % 4 == 0 ? 0 : random());
    options.confirmed = random() % 2 == 0;
    options.max_message = 70'000;
    return options;
}

std::vector<std::uint8_t> random_message(std::mt19937& random) {
    const std::size_t n = random() % 8 == 0     ? 1 + random() % 4095
                          : random() % 100 == 0 ? 4096 + random() % 65'536
                                                : 1 + random() % 200;
    std::vector<std::uint8_t> message(n);
    for (auto& byte : message)
        byte = static_cast<std::uint8_t>(random());
    return message;
}

/// Sends the messages of both sides, each as soon as the one before is over.
void converse(Line& line, const std::array<std::vector<std::vector<std::uint8_t>>, 2>& messages) {
    for (std::size_t i = 0; i < std::max(messages[0].size(), messages[1].size()); ++i) {
        for (std::size_t side = 0; side < 2; ++side)
            if (i < messages[side].size())
                REQUIRE(line.stations[side].endpoint.transmit(messages[side][i], line.now));
        line.run();
    }
}

} // namespace

TEST_CASE("conversations of any kind, which a bystander understands too; STmin is kept") {
    std::mt19937 random{15'765};
    std::size_t count = 0;
    std::size_t gaps = 0;
    for (int round = 0; round < 1500; ++round) {
        CAPTURE(round);
        const Address address = variants[random() % std::size(variants)].address;
        const bool fd = random() % 2 == 0;
        const Options options[] = {random_options(random, fd), random_options(random, fd)};
        Line line{address, options[0], options[1]};
        line.frame_time = static_cast<Time>(random() % 3) * 110 * us;
        std::array<std::vector<std::vector<std::uint8_t>>, 2> messages;
        for (auto& side : messages)
            for (std::size_t n = random() % 4; n > 0; --n)
                side.push_back(random_message(random));
        converse(line, messages);
        for (std::size_t side = 0; side < 2; ++side) {
            REQUIRE(line.stations[side].sent == messages[side].size());
            CAPTURE(line.stations[side].words);
            CAPTURE(line.stations[1 - side].words);
            REQUIRE(line.stations[side].messages == messages[1 - side]);
            count += messages[side].size();
        }

        ReassemblerOptions passive;
        passive.addressing = address.addressing;
        passive.max_message = 70'000;
        Reassembler bystander{passive};
        Heard heard;
        Time latest[2] = {no_time, no_time};
        for (const Line::Seen& seen : line.seen) {
            bystander.feed(0, frame_of(seen.frame.id, seen.frame.data, seen.frame.fd), seen.end, {},
                           heard);
            const unsigned type = seen.frame.data[address.has_byte() ? 1 : 0] >> 4;
            if (type < 2)
                latest[seen.from] = no_time;
            // Without confirmation a sender does not know what its frames waited for.
            if (type != 2 || (!options[seen.from].confirmed && line.frame_time != 0))
                continue;
            if (latest[seen.from] != no_time) {
                REQUIRE(seen.start - latest[seen.from] >=
                        st_min_time(options[1 - seen.from].st_min));
                ++gaps;
            }
            latest[seen.from] = seen.end;
        }
        bystander.finish(heard);
        REQUIRE(heard.words().empty());
        std::array<std::vector<std::string>, 2> told;
        for (const Told& one : heard.messages)
            told[one.message.id == address.tx ? 0 : 1].push_back(one.hex);
        for (std::size_t side = 0; side < 2; ++side) {
            REQUIRE(told[side].size() == messages[side].size());
            for (std::size_t i = 0; i < told[side].size(); ++i)
                REQUIRE(told[side][i] == to_hex(messages[side][i]));
        }
    }
    MESSAGE(count, " messages, ", gaps, " gaps");
    CHECK(gaps > 10'000);
}

TEST_CASE("frames lost and doubled: no message changed, no wait without end, and recovery") {
    std::mt19937 random{11'898};
    std::size_t whole = 0;
    std::size_t broken = 0;
    for (int round = 0; round < 1500; ++round) {
        CAPTURE(round);
        const Address address = variants[random() % std::size(variants)].address;
        const bool fd = random() % 2 == 0;
        Options options[] = {random_options(random, fd), random_options(random, fd)};
        Line line{address, options[0], options[1]};
        line.frame_time = 110 * us;
        bool faults = true;
        const auto rate = static_cast<unsigned>(1 + random() % 60);
        line.arrivals = [&](const Line::Seen&) {
            const unsigned dice = faults ? static_cast<unsigned>(random() % 1000) : 1000U;
            return dice < rate ? 0 : dice < 2 * rate ? 2 : 1;
        };
        std::array<std::vector<std::vector<std::uint8_t>>, 2> messages;
        for (auto& side : messages)
            for (std::size_t n = 1 + random() % 3; n > 0; --n) {
                side.push_back(random_message(random));
                if (side.back().size() > 4095)
                    side.back().resize(4095);
            }
        converse(line, messages);
        faults = false;
        for (auto& side : messages)
            side.push_back(ramp(100, 9));
        for (std::size_t side = 0; side < 2; ++side) {
            Line::Station& to = line.stations[1 - side];
            REQUIRE_FALSE(to.endpoint.receiving());
            std::size_t at = 0;
            for (const auto& message : to.messages) {
                // a single frame that came twice is two messages
                while (at < messages[side].size() && messages[side][at] != message)
                    ++at;
                REQUIRE(at < messages[side].size());
                ++whole;
            }
            broken +=
                messages[side].size() - 1 - std::min(to.messages.size(), messages[side].size() - 1);
            to.messages.clear();
            REQUIRE(line.stations[side].endpoint.transmit(messages[side].back(), line.now));
        }
        line.run();
        for (Line::Station& station : line.stations)
            REQUIRE(station.messages == std::vector<std::vector<std::uint8_t>>{ramp(100, 9)});
    }
    MESSAGE(whole, " messages whole, ", broken, " broken by faults");
    CHECK(whole > 1000);
    CHECK(broken > 1000);
}
