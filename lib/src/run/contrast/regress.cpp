// SPDX-License-Identifier: Apache-2.0
#include "regress.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <memory>

#include "lanes.hpp"
#include "solve.hpp"

namespace telltale::run {
namespace {

/// The sums of products of a column with each of `wide` others, `stride` apart, over `n` rows.
template <std::size_t wide>
void add_products(const float* x, const float* others, std::size_t stride, std::size_t n,
                  float* out) {
    std::array<Lanes, wide> low{};
    std::array<Lanes, wide> high{};
    std::size_t i = 0;
    for (; i + 2 * lane_count <= n; i += 2 * lane_count) {
        const Lanes x_low = lanes_at(x + i);
        const Lanes x_high = lanes_at(x + i + lane_count);
        for (std::size_t k = 0; k < wide; ++k) {
            low[k] += x_low * lanes_at(others + k * stride + i);
            high[k] += x_high * lanes_at(others + k * stride + i + lane_count);
        }
    }
    for (std::size_t k = 0; k < wide; ++k) {
        float sum = sum_of(low[k]) + sum_of(high[k]);
        for (std::size_t rest = i; rest < n; ++rest)
            sum += x[rest] * others[k * stride + rest];
        out[k] = sum;
    }
}

/// The equations that the coefficients of some columns solve, kept for the next ones.
struct Equations {
    std::vector<double> lower; ///< the lower half of the matrix counts
    std::vector<double> solution;

    /// Without the rows of a block, unless it is empty; `penalty(i, square)` goes on the diagonal.
    /// False when they have no solution.
    template <class Penalty>
    bool solve(const std::vector<float>& block, const std::vector<double>& gram, std::size_t size,
               const std::vector<std::size_t>& columns, std::size_t target, Penalty penalty) {
        const std::size_t n = columns.size();
        lower.resize(n * n);
        solution.resize(n);
        for (std::size_t i = 0; i < n; ++i) {
            const double* const row = &gram[columns[i] * size];
            double* const out = &lower[i * n];
            for (std::size_t j = 0; j <= i; ++j)
                out[j] = row[columns[j]];
            solution[i] = row[target];
            if (!block.empty()) {
                const float* const left_out = &block[columns[i] * size];
                for (std::size_t j = 0; j <= i; ++j)
                    out[j] -= double{left_out[columns[j]]};
                solution[i] -= double{left_out[target]};
            }
            out[i] += penalty(i, row[columns[i]]);
        }
        if (!factor(lower, n))
            return false;
        substitute(lower, n, solution);
        return true;
    }
};

} // namespace

float products_of(const float* a, const float* b, std::size_t n) {
    float sum = 0;
    add_products<1>(a, b, 0, n, &sum);
    return sum;
}

std::vector<float> gram_of(const std::vector<float>& data, std::size_t stride, std::size_t columns,
                           std::size_t from, std::size_t to) {
    // These rows side by side, as many as go into whole lanes.
    constexpr std::size_t step = 2 * lane_count;
    const std::size_t n = (to - from + step - 1) / step * step;
    const auto block = std::make_unique_for_overwrite<float[]>(columns * n);
    for (std::size_t a = 0; a < columns; ++a) {
        float* const end = std::copy_n(&data[a * stride] + from, to - from, &block[a * n]);
        std::fill(end, &block[a * n] + n, 0.0F);
    }
    std::vector<float> gram(columns * columns);
    for (std::size_t a = 0; a < columns; ++a) {
        const float* const x = &block[a * n];
        float* const row = &gram[a * columns];
        constexpr std::size_t wide = 4;
        std::size_t b = 0;
        for (; b + wide <= a + 1; b += wide)
            add_products<wide>(x, &block[b * n], n, n, row + b);
        for (; b <= a; ++b)
            add_products<1>(x, &block[b * n], n, n, row + b);
        for (b = 0; b < a; ++b)
            gram[b * columns + a] = row[b];
    }
    return gram;
}

std::vector<double> sum_of(const std::vector<std::vector<float>>& blocks) {
    std::vector<double> total(blocks.empty() ? 0 : blocks.front().size(), 0.0);
    for (const auto& block : blocks)
        for (std::size_t i = 0; i < total.size(); ++i)
            total[i] += double{block[i]};
    return total;
}

std::vector<double> ridge(const std::vector<double>& gram, std::size_t size,
                          const std::vector<std::size_t>& columns, std::size_t target,
                          double penalty, std::size_t free) {
    return ridge_without({}, gram, size, columns, target, penalty, free);
}

std::vector<double> ridge_without(const std::vector<float>& block, const std::vector<double>& gram,
                                  std::size_t size, const std::vector<std::size_t>& columns,
                                  std::size_t target, double penalty, std::size_t free) {
    Equations equations;
    const bool solved =
        equations.solve(block, gram, size, columns, target,
                        [&](std::size_t i, double) { return i < free ? 1e-9 : penalty; });
    return solved ? std::move(equations.solution) : std::vector<double>{};
}

double left_in(const std::vector<float>& block, std::size_t size,
               const std::vector<std::size_t>& columns, std::size_t target,
               const std::vector<double>& beta) {
    double left = double{block[target * size + target]};
    for (std::size_t i = 0; i < columns.size(); ++i) {
        const float* const row = &block[columns[i] * size];
        left -= 2 * beta[i] * double{row[target]};
        for (std::size_t j = 0; j < columns.size(); ++j)
            left += beta[i] * beta[j] * double{row[columns[j]]};
    }
    return std::max(0.0, left);
}

Pursuit pursue(const std::vector<std::vector<float>>& blocks, const std::vector<double>& total,
               std::size_t size, const std::vector<std::size_t>& columns, std::size_t target,
               std::size_t most, const std::vector<std::size_t>& always,
               const std::vector<std::uint16_t>& group, std::size_t most_groups) {
    std::vector<std::uint16_t> groups;
    Pursuit result;
    const double rows_like = total[target * size + target];
    result.nothing = rows_like;
    if (!(rows_like > 0))
        return result;
    constexpr double penalty_share = 1e-3;
    Equations equations;
    const auto left_out_error = [&](const std::vector<std::size_t>& set) {
        double error = 0;
        for (const auto& block : blocks) {
            if (!equations.solve(block, total, size, set, target, [](std::size_t, double square) {
                    return penalty_share * square + 1e-9;
                }))
                return rows_like * 10;
            error += left_in(block, size, set, target, equations.solution);
        }
        return error;
    };

    std::vector<std::size_t> set = always;
    std::vector<double> beta;
    std::vector<double> left(size);
    std::vector<char> taken(size, 0);
    for (const std::size_t column : always)
        taken[column] = 1;
    if (!always.empty())
        result.nothing = left_out_error(set);
    double best_error = result.nothing;
    std::size_t since_best = 0;
    while (result.order.size() < most) {
        for (const std::size_t column : columns)
            left[column] = total[column * size + target];
        if (!set.empty()) {
            beta = ridge(total, size, set, target, 1e-3 * rows_like * 1e-2, always.size());
            if (beta.empty())
                break;
            for (std::size_t i = 0; i < set.size(); ++i) {
                const double* const row = &total[set[i] * size];
                for (const std::size_t column : columns)
                    left[column] -= beta[i] * row[column];
            }
        }
        std::size_t pick = size;
        double gain = 0;
        for (const std::size_t column : columns) {
            const double own = total[column * size + column];
            if (taken[column] != 0 || !(own > 1e-6 * rows_like))
                continue;
            if (most_groups > 0 && groups.size() >= most_groups &&
                std::find(groups.begin(), groups.end(), group[column]) == groups.end())
                continue;
            const double here = left[column] * left[column] / own;
            if (here > gain) {
                gain = here;
                pick = column;
            }
        }
        if (pick == size || gain < 1e-7 * rows_like)
            break;
        taken[pick] = 1;
        if (most_groups > 0 && std::find(groups.begin(), groups.end(), group[pick]) == groups.end())
            groups.push_back(group[pick]);
        set.push_back(pick);
        result.order.push_back(pick);
        const double error = left_out_error(set);
        result.error.push_back(error);
        if (error < best_error * 0.985) {
            best_error = error;
            result.best = result.order.size();
            since_best = 0;
        } else if (++since_best >= 4) {
            break;
        }
    }
    return result;
}

} // namespace telltale::run
