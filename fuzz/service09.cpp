// SPDX-License-Identifier: Apache-2.0
// Service 09: vehicle information.
#include "message_target.hpp"

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
    telltale::fuzz::decode_one_of({0x09}, data, size);
    return 0;
}
