// SPDX-License-Identifier: Apache-2.0
#include "telltale/mimic/random.hpp"

#include "base/chance.hpp"

namespace telltale::mimic {

std::uint64_t Random::next() noexcept {
    return splitmix64(state_);
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
