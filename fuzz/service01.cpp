// SPDX-License-Identifier: Apache-2.0
// Services 01 and 02: current data and freeze frames.
#include "message_target.hpp"

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
    telltale::fuzz::decode_one_of({0x01, 0x02}, data, size);
    return 0;
}
