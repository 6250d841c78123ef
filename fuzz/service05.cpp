// SPDX-License-Identifier: Apache-2.0
// Service 05: oxygen sensor test results.
#include "message_target.hpp"

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
    telltale::fuzz::decode_one_of({0x05}, data, size);
    return 0;
}
