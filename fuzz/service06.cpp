// SPDX-License-Identifier: Apache-2.0
// Service 06: monitor test results.
#include "message_target.hpp"

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
    telltale::fuzz::decode_one_of({0x06}, data, size);
    return 0;
}
