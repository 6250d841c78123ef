// SPDX-License-Identifier: Apache-2.0
#include "dump_target.hpp"

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size);
int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
    fuzz::dump_target(data, size, telltale::dump::Format::can_log);
    return 0;
}
