// SPDX-License-Identifier: Apache-2.0
#include "neighbours.hpp"

#include <algorithm>
#include <cmath>
#include <numeric>

#include "lanes.hpp"

namespace telltale::run {

Neighbours::Neighbours(std::span<const float> columns, std::size_t rows) {
    const std::size_t count = columns.size() / rows;
    rows_.resize(rows);
    std::iota(rows_.begin(), rows_.end(), std::uint32_t{0});
    // Not-a-number comes last.
    std::sort(rows_.begin(), rows_.end(), [&](std::uint32_t a, std::uint32_t b) {
        return columns[a] < columns[b] || (std::isnan(columns[b]) && !std::isnan(columns[a]));
    });
    places_ = (rows + lane_count - 1) / lane_count * lane_count;
    columns_.reserve(count * places_);
    for (std::size_t c = 0; c < count; ++c) {
        for (const std::uint32_t row : rows_)
            columns_.push_back(columns[c * rows + row]);
        columns_.resize((c + 1) * places_, columns_.back());
    }
}

float Neighbours::nearest(std::span<const float> here, std::span<const float> more) const {
    const auto first = std::span(columns_).first(places_);
    Lanes least = lanes_of(far_off);
    float bound = far_off;
    const auto look_at = [&](std::size_t place) {
        Lanes sum = lanes_at(&more[place]);
        for (std::size_t c = 0; c < here.size(); ++c) {
            const Lanes delta = lanes_at(&columns_[c * places_ + place]) - lanes_of(here[c]);
            sum += delta * delta;
        }
        least = sum < least ? sum : least;
        bound = std::min({least[0], least[1], least[2], least[3]});
    };
    // No nearer than its first column says, and those beyond it even less. (Not-a-number is no
    // reason to stop.)
    const auto hopeless = [&](std::size_t place) {
        const float delta = first[place] - here[0];
        return delta * delta >= bound;
    };
    const auto middle = static_cast<std::size_t>(
        std::lower_bound(first.begin(), first.end(), here[0]) - first.begin());
    std::size_t after = std::min(middle, places_ - 1) / lane_count * lane_count;
    std::size_t before = after; // what is not looked at yet begins at `after` and ends at `before`
    while (after < places_ || before > 0) {
        if (after < places_) {
            look_at(after);
            after += lane_count;
            if (after < places_ && hopeless(after))
                after = places_;
        }
        if (before > 0) {
            if (hopeless(before - 1)) {
                before = 0;
            } else {
                before -= lane_count;
                look_at(before);
            }
        }
    }
    return bound;
}

} // namespace telltale::run
