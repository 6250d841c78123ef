// SPDX-License-Identifier: Apache-2.0
// What a CAN bus can carry at most of parameters that are read round and round, each as often as
// the others: the least number of frames of a round, over all ways to put them into requests.
#pragma once

#include <algorithm>
#include <array>
#include <cstddef>
#include <map>
#include <span>
#include <vector>

namespace telltale::tests {

/// Frames of a request (one) and its answer of `bytes` (ISO 15765-2: a single frame holds 7, a
/// first frame 6, each consecutive frame 7; one flow control with BS 0).
constexpr std::size_t frames_of_exchange(std::size_t bytes) {
    return bytes <= 7 ? 2 : 3 + (bytes - 6 + 6) / 7;
}

/// `lengths`: data bytes of each parameter. Exact, by going through all ways to share them out:
/// parameters of the same length are alike.
inline std::size_t least_frames(std::span<const std::size_t> lengths) {
    std::map<std::size_t, std::size_t> by_length;
    for (const std::size_t length : lengths)
        ++by_length[length];
    std::vector<std::size_t> kinds;
    std::vector<std::size_t> counts;
    for (const auto& [length, count] : by_length) {
        kinds.push_back(length);
        counts.push_back(count);
    }
    std::size_t states = 1;
    for (const std::size_t count : counts)
        states *= count + 1;
    constexpr std::size_t none = static_cast<std::size_t>(-1);
    std::vector<std::size_t> best(states, none);
    best[0] = 0;
    std::vector<std::size_t> have(kinds.size());
    std::vector<std::size_t> take(kinds.size());
    for (std::size_t state = 1; state < states; ++state) {
        std::size_t rest = state;
        for (std::size_t k = 0; k < kinds.size(); ++k) {
            have[k] = rest % (counts[k] + 1);
            rest /= counts[k] + 1;
        }
        // All requests of one to six of what is there.
        const auto go = [&](auto&& self, std::size_t k, std::size_t taken, std::size_t bytes,
                            std::size_t left) -> void {
            if (k == kinds.size()) {
                if (taken != 0 && best[left] != none)
                    best[state] = std::min(best[state], best[left] + frames_of_exchange(1 + bytes));
                return;
            }
            std::size_t weight = 1;
            for (std::size_t i = 0; i < k; ++i)
                weight *= counts[i] + 1;
            for (std::size_t n = 0; n <= have[k] && taken + n <= 6; ++n)
                self(self, k + 1, taken + n, bytes + n * (1 + kinds[k]), left - n * weight);
        };
        go(go, 0, 0, 0, state);
    }
    return best[states - 1];
}

} // namespace telltale::tests
