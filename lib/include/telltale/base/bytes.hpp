// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <cstddef>
#include <cstdint>
#include <span>

namespace telltale {

/// A view over bytes that somebody else owns.
using Bytes = std::span<const std::uint8_t>;

/// Big-endian unsigned number of `count` bytes (0 to 8) from `at`, as every OBD message writes
/// them. The caller has checked that `at + count <= bytes.size()`.
constexpr std::uint64_t big_endian(Bytes bytes, std::size_t at, std::size_t count) {
    std::uint64_t value = 0;
    for (std::size_t i = 0; i < count; ++i)
        value = value << 8 | bytes[at + i];
    return value;
}

/// Little-endian unsigned number of `count` bytes (0 to 8) from `at`. The caller has checked the
/// size.
constexpr std::uint64_t little_endian(Bytes bytes, std::size_t at, std::size_t count) {
    std::uint64_t value = 0;
    for (std::size_t i = count; i > 0; --i)
        value = value << 8 | bytes[at + i - 1];
    return value;
}

/// Two's-complement reading of the low `bits` (1 to 64) of `raw`.
constexpr std::int64_t sign_extend(std::uint64_t raw, unsigned bits) {
    const unsigned shift = 64U - bits;
    return static_cast<std::int64_t>(raw << shift) >> shift;
}

} // namespace telltale
