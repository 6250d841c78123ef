// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <array>
#include <cstdint>

#include "telltale/frame/can.hpp"

namespace telltale {

/// Which identifiers are wanted: any set of 11-bit ones, and up to 32 value/mask pairs of 29-bit
/// ones. Asking costs a few nanoseconds, so that a reader can pass over the rest of the bus early.
class CanFilter {
  public:
    /// Nothing passes.
    constexpr CanFilter() = default;

    /// Every identifier passes.
    static constexpr CanFilter everything() {
        CanFilter filter;
        filter.standard_.fill(~std::uint64_t{0});
        filter.add_extended(0, 0);
        return filter;
    }

    /// The identifiers of ISO 15765-4: 7DF, 7E0 to 7EF, 18DB33F1, 18DAF1xx, 18DAxxF1.
    static constexpr CanFilter diagnostic() {
        CanFilter filter;
        for (std::uint32_t id = 0x7DF; id <= 0x7EF; ++id)
            filter.add_standard(id);
        filter.add_extended(0x18DB33F1, CanId::max_extended);
        filter.add_extended(0x18DAF100, 0x1FFFFF00);
        filter.add_extended(0x18DA00F1, 0x1FFF00FF);
        return filter;
    }

    /// An 11-bit identifier; of a larger number the low 11 bits count.
    constexpr void add_standard(std::uint32_t id) {
        standard_[id / 64 % 32] |= std::uint64_t{1} << id % 64;
    }
    /// Identifiers of 29 bits that have the bits of `value` where `mask` has a bit. False when
    /// there is no room for another pair.
    constexpr bool add_extended(std::uint32_t value, std::uint32_t mask) {
        if (count_ == extended_.size())
            return false;
        extended_[count_++] = {value & mask, mask};
        return true;
    }
    constexpr bool add(CanId id) {
        if (id.extended)
            return add_extended(id.value, CanId::max_extended);
        add_standard(id.value);
        return true;
    }

    constexpr bool passes(CanId id) const {
        if (!id.extended)
            return (standard_[id.value / 64 % 32] >> id.value % 64 & 1) != 0;
        for (std::size_t i = 0; i < count_; ++i)
            if ((id.value & extended_[i].mask) == extended_[i].value)
                return true;
        return false;
    }

  private:
    struct Pair {
        std::uint32_t value = 0;
        std::uint32_t mask = 0;
    };
    std::array<std::uint64_t, 32> standard_{};
    std::array<Pair, 32> extended_{};
    std::size_t count_ = 0;
};

} // namespace telltale
