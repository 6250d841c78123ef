// SPDX-License-Identifier: Apache-2.0
#include "telltale/frame/can.hpp"

#include "telltale/base/hex.hpp"

namespace telltale {

void append_can_id(std::string& out, CanId id) {
    append_hex(out, id.value, id.extended ? 8 : 3);
}

} // namespace telltale
