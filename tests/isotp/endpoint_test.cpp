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
