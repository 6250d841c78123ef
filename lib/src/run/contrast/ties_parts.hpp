// SPDX-License-Identifier: Apache-2.0
// What the sources of `Ties` share: what a tie makes of the values of its partners. It stands here
// so that each of them can have it inline.
#pragma once

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <span>
#include <utility>
#include <vector>

#include "ties.hpp"

namespace telltale::run {

/// Without those that are missing.
inline std::vector<double> known_values(std::span<const float> values) {
    std::vector<double> out;
    out.reserve(values.size());
    for (const float v : values)
        if (!std::isnan(v))
            out.push_back(double{v});
    return out;
}

inline std::size_t Ties::bin_of(double value, double low, double high) {
    const double part = high > low ? (value - low) / (high - low) : 0;
    return std::min(bins - 1, static_cast<std::size_t>(std::max(0.0, part) * bins));
}

/// Whether the good run had a partner near this value for more than a moment.
inline bool Ties::knows(const Tie& tie, std::size_t place, double value) {
    const double low = tie.low[place];
    const double high = tie.high[place];
    return value >= low && value <= high && // not-a-number is not
           tie.known[place][bin_of(value, low, high)];
}

inline std::size_t Ties::terms_in(const Tie& tie) {
    const std::size_t count = tie.count;
    return 1 + count + (tie.curved ? count * (count + 1) / 2 : 0);
}

/// One, its partners about their middles, and of a curved one their squares and products.
inline void Ties::terms_of(const Tie& tie, const std::array<double, most_partners>& values,
                           std::span<double> x) {
    std::array<double, most_partners> u{};
    std::size_t n = 0;
    x[n++] = 1;
    for (std::size_t p = 0; p < tie.count; ++p) {
        u[p] = (values[p] - tie.middle[p]) / tie.width[p];
        x[n++] = u[p];
    }
    for (std::size_t p = 0; p < tie.count && tie.curved; ++p)
        for (std::size_t q = p; q < tie.count; ++q)
            x[n++] = u[p] * u[q];
}

inline void Ties::terms_at(const Tie& tie, const Grid& grid, std::size_t i,
                           std::span<double> x) const {
    std::array<double, most_partners> values{};
    for (std::size_t p = 0; p < tie.count; ++p)
        values[p] = double{partner(tie, p, grid)[i]};
    terms_of(tie, values, x);
}

inline double Ties::sum_of(std::span<const double> x, const Terms& beta) {
    double sum = 0;
    for (std::size_t k = 0; k < x.size(); ++k)
        sum += beta[k] * x[k];
    return sum;
}

inline double Ties::expect(const Tie& tie, const Grid& grid, std::size_t i,
                           const Terms& beta) const {
    Terms x;
    terms_at(tie, grid, i, x);
    return sum_of(std::span(x).first(terms_in(tie)), beta);
}

/// How far its partners are from where they usually are together, squared.
inline double Ties::distance(const Tie& tie, std::span<const double> x) {
    double sum = 0;
    for (std::size_t p = 0; p < tie.count; ++p)
        for (std::size_t q = 0; q < tie.count; ++q)
            sum += x[p + 1] * tie.spread[p * tie.count + q] * x[q + 1];
    return sum;
}

/// Where the product of two partners stands among the terms.
inline std::size_t Ties::product_at(const Tie& tie, std::size_t p, std::size_t q) {
    if (p > q)
        std::swap(p, q);
    return 1 + tie.count + p * tie.count - p * (p + 1) / 2 + q;
}

} // namespace telltale::run
