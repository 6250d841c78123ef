// SPDX-License-Identifier: Apache-2.0
// Look-up by one-byte identifier in constant time. Internal: nothing here is installed.
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>

namespace telltale::catalogue {

/// For each identifier its place in an ascending table, counted from 1; 0 where it is not there.
template <class T, std::size_t n>
constexpr std::array<std::uint8_t, 256> index_of(const T (&table)[n]) {
    static_assert(n < 256);
    std::array<std::uint8_t, 256> index{};
    for (std::size_t i = 0; i < n; ++i)
        index[table[i].id] = static_cast<std::uint8_t>(i + 1);
    return index;
}

template <class T, std::size_t n>
constexpr const T* look_up(const T (&table)[n], const std::array<std::uint8_t, 256>& index,
                           std::uint8_t id) {
    return index[id] == 0 ? nullptr : &table[index[id] - 1];
}

} // namespace telltale::catalogue
