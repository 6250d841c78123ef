// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <cstdint>
#include <string>
#include <string_view>

#include "telltale/base/time.hpp"
#include "telltale/frame/can.hpp"

namespace telltale::vet {

/// 12,345.
std::string grouped(std::uint64_t number);
/// `3 frames`, `1 frame`.
std::string counted(std::uint64_t number, std::string_view one, std::string_view many);
/// With three figures and a unit: `1.25 ms`, `40 us`, `3.2 s`.
std::string duration_text(Time duration);
/// 0.123 with `decimals` decimals (up to 6), no locale.
std::string decimal(double value, int decimals);
/// `7E8 02 01 00`; 8 digits of identifier when it has 29 bits, `R` for remote frames, `FD` for FD.
std::string frame_text(const CanFrame& frame);

} // namespace telltale::vet
