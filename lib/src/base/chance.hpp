// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <cstdint>

namespace telltale {

/// The next number of a reproducible stream: splitmix64, a published mixer in the public domain,
/// the same on every machine.
inline std::uint64_t splitmix64(std::uint64_t& state) noexcept {
    state += 0x9E37'79B9'7F4A'7C15;
    std::uint64_t z = state;
    z = (z ^ z >> 30) * 0xBF58'476D'1CE4'E5B9;
    z = (z ^ z >> 27) * 0x94D0'49BB'1331'11EB;
    return z ^ z >> 31;
}

/// Numbers that follow from the seed alone.
class Chance {
  public:
    explicit Chance(std::uint64_t seed) : state_(seed) {}
    std::uint64_t next() noexcept { return splitmix64(state_); }
    /// 0 to `count` - 1.
    std::uint32_t below(std::uint32_t count) noexcept {
        return static_cast<std::uint32_t>((next() >> 32) * count >> 32);
    }
    std::uint8_t byte() noexcept { return static_cast<std::uint8_t>(next() >> 56); }
    /// True as often as `rate` says, 0 to 1.
    bool hits(double rate) noexcept { return static_cast<double>(next() >> 11) * 0x1p-53 < rate; }

  private:
    std::uint64_t state_;
};

} // namespace telltale
