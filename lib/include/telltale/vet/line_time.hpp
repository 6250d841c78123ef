// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <cstdint>

#include "telltale/base/export.hpp"
#include "telltale/base/time.hpp"
#include "telltale/frame/can.hpp"

namespace telltale::vet {

/// Bits that a frame takes on the wire, stuff bits and the three bits of the space after it
/// included (ISO 11898-1).
struct FrameBits {
    std::uint32_t nominal = 0; ///< at the bit rate of arbitration
    std::uint32_t fast = 0;    ///< at the bit rate of data: FD frames with BRS, from ESI to the CRC
    std::uint32_t stuffed = 0; ///< of them all, stuff bits
};

/// Exact for data and remote frames of classic CAN and of CAN FD; nothing for error frames.
TELLTALE_API FrameBits frame_bits(const CanFrame& frame) noexcept;

/// How long the wire is taken, ns; 0 where `bit_rate` is. `data_rate` 0: as `bit_rate`.
TELLTALE_API Time line_time(const CanFrame& frame, std::uint32_t bit_rate,
                            std::uint32_t data_rate = 0) noexcept;

} // namespace telltale::vet
