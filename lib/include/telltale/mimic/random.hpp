// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <cstdint>

#include "telltale/base/export.hpp"

namespace telltale::mimic {

/// A reproducible stream of random numbers (splitmix64: the same on every machine).
class TELLTALE_API Random {
  public:
    explicit Random(std::uint64_t seed) : state_(seed) {}
    std::uint64_t next() noexcept;
    /// From 0 up to, not including, 1.
    double uniform() noexcept;
    /// From `low` up to, not including, `high`.
    double between(double low, double high) noexcept { return low + (high - low) * uniform(); }
    /// One of 0 to `count` - 1; 0 where `count` is 0.
    std::uint32_t below(std::uint32_t count) noexcept;
    /// Zero mean, unit variance, never beyond 3.5: near enough to normal.
    double normal() noexcept;

  private:
    std::uint64_t state_;
};

} // namespace telltale::mimic
