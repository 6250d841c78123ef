// SPDX-License-Identifier: Apache-2.0
// Any bytes as a message. The first byte has the flags, the rest is the message.
#include "message_target.hpp"

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
    if (size > 0)
        telltale::fuzz::decode_any(data[0], {data + 1, size - 1});
    return 0;
}
