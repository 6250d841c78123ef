// SPDX-License-Identifier: Apache-2.0
// Names of links: one that is read is written so that it reads the same; a wrong one is explained
// in text that is fit for a terminal.
#include <string_view>

#include "dump_target.hpp"
#include "telltale/link/name.hpp"

using namespace telltale;

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size);
int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
    const auto name = link::parse_link_name({reinterpret_cast<const char*>(data), size});
    if (name) {
        const auto again = link::parse_link_name(link::to_string(*name));
        FUZZ_REQUIRE(again && *again == *name);
        return 0;
    }
    FUZZ_REQUIRE(!name.error().detail.empty());
    for (const char c : name.error().detail)
        FUZZ_REQUIRE(c >= 0x20 && c < 0x7F);
    return 0;
}
