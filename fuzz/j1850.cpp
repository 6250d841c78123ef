// SPDX-License-Identifier: Apache-2.0
#include "telltale/frame/j1850.hpp"
#include "dump_target.hpp"

using namespace telltale;

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size);
int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
    const Bytes bytes(data, size);
    J1850Frame frame;
    if (parse_j1850(bytes, frame).fine()) {
        FUZZ_REQUIRE(size >= 2 && size <= max_j1850_frame);
        FUZZ_REQUIRE(j1850_crc(bytes.first(size - 1)) == bytes.back());
        FUZZ_REQUIRE(frame.data.size() + 2 <= size);
        FUZZ_REQUIRE(frame.kind == J1850Kind::other || !frame.data.empty());
    }
    // The CRC bit by bit, as the standard tells it.
    unsigned crc = 0xFF;
    for (const std::uint8_t byte : bytes) {
        for (int bit = 7; bit >= 0; --bit) {
            const unsigned top = (crc >> 7 ^ byte >> bit) & 1U;
            crc = (crc << 1 & 0xFFU) ^ (top != 0 ? 0x1DU : 0U);
        }
    }
    FUZZ_REQUIRE(j1850_crc(bytes) == (~crc & 0xFFU));
    return 0;
}
