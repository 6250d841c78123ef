// SPDX-License-Identifier: Apache-2.0
#include "telltale/mimic/random.hpp"

namespace telltale::mimic {

std::uint64_t Random::next() noexcept {
    state_ += 0x9E3779B97F4A7C15;
    std::uint64_t z = state_;
    z = (z ^ z >> 30) * 0xBF58476D1CE4E5B9;
    z = (z ^ z >> 27) * 0x94D049BB133111EB;
    return z ^ z >> 31;
}

double Random::uniform() noexcept {
    return static_cast<double>(next() >> 11) / 9007199254740992.0;
}

std::uint32_t Random::below(std::uint32_t count) noexcept {
    return static_cast<std::uint32_t>((next() >> 32) * count >> 32);
}

double Random::normal() noexcept {
    double sum = -2;
    for (int i = 0; i < 4; ++i)
        sum += uniform();
    return sum * 1.7320508075688772; // four uniforms have a variance of a third
}

} // namespace telltale::mimic
