// SPDX-License-Identifier: Apache-2.0
// Services 03, 07, 0A and 04: trouble codes.
#include "message_target.hpp"

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
    telltale::fuzz::decode_one_of({0x03, 0x07, 0x0A, 0x04}, data, size);
    return 0;
}
