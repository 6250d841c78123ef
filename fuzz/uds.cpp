// SPDX-License-Identifier: Apache-2.0
// The services of OBDonUDS.
#include "message_target.hpp"

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
    telltale::fuzz::decode_one_of({0x19, 0x22, 0x14, 0x31, 0x10, 0x3E}, data, size);
    return 0;
}
