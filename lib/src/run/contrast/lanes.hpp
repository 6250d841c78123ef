// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <cstddef>
#include <cstring>

namespace telltale::run {

/// Four numbers side by side: the same operation on each, in the order in which it is written, so
/// that the compiler need not find out by itself that it may.
using Lanes [[gnu::vector_size(16)]] = float;
inline constexpr std::size_t lane_count = sizeof(Lanes) / sizeof(float);

inline Lanes lanes_at(const float* from) {
    Lanes out;
    std::memcpy(&out, from, sizeof out);
    return out;
}

inline Lanes lanes_of(float value) {
    return Lanes{value, value, value, value};
}

inline float sum_of(const Lanes& of) {
    return (of[0] + of[1]) + (of[2] + of[3]);
}

} // namespace telltale::run
