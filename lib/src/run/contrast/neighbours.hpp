// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <cstddef>
#include <cstdint>
#include <span>
#include <vector>

namespace telltale::run {

/// Rows among which the nearest is looked for. They lie in the order of their first column, so that
/// only those are looked at whose first column alone does not put them further off than another.
class Neighbours {
  public:
    Neighbours() = default;
    /// `columns` holds column after column, each `rows` long; there has to be one.
    Neighbours(std::span<const float> columns, std::size_t rows);

    /// Which row stands at each place; there may be more places than rows.
    const std::vector<std::uint32_t>& rows() const { return rows_; }
    std::size_t places() const { return places_; }
    bool empty() const { return rows_.empty(); }

    static constexpr float far_off = 1e30F;
    /// The least squared distance of any row from `here`, with `more` of its place added to it; no
    /// more than `far_off`, which `more` has to be where there is no row.
    float nearest(std::span<const float> here, std::span<const float> more) const;

  private:
    std::size_t places_ = 0; ///< a whole number of lanes
    std::vector<std::uint32_t> rows_;
    std::vector<float> columns_;
};

} // namespace telltale::run
