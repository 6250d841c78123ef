// SPDX-License-Identifier: Apache-2.0
#include "regress.hpp"

#include <algorithm>
#include <cmath>

#include "solve.hpp"

namespace telltale::run {

std::vector<float> gram_of(const std::vector<float>& data, std::size_t stride, std::size_t columns,
                           std::size_t from, std::size_t to) {
    std::vector<float> gram(columns * columns, 0.0F);
    for (std::size_t a = 0; a < columns; ++a) {
        const float* const x = &data[a * stride];
        for (std::size_t b = 0; b <= a; ++b) {
            const float* const y = &data[b * stride];
            // Eight sums side by side, which the compiler keeps in vector registers.
            float sums[8] = {};
            std::size_t i = from;
            for (; i + 8 <= to; i += 8)
                for (std::size_t k = 0; k < 8; ++k)
                    sums[k] += x[i + k] * y[i + k];
            float sum = ((sums[0] + sums[1]) + (sums[2] + sums[3])) +
                        ((sums[4] + sums[5]) + (sums[6] + sums[7]));
            for (; i < to; ++i)
                sum += x[i] * y[i];
            gram[a * columns + b] = gram[b * columns + a] = sum;
        }
    }
    return gram;
}

std::vector<double> ridge(const std::vector<double>& gram, std::size_t size,
                          const std::vector<std::size_t>& columns, std::size_t target,
                          double penalty, std::size_t free) {
    const std::size_t n = columns.size();
    std::vector<double> a(n * n);
    std::vector<double> b(n);
    for (std::size_t i = 0; i < n; ++i) {
        for (std::size_t j = 0; j < n; ++j)
            a[i * n + j] = gram[columns[i] * size + columns[j]];
        a[i * n + i] += i < free ? 1e-9 : penalty;
        b[i] = gram[columns[i] * size + target];
    }
    if (!factor(a, n))
        return {};
    substitute(a, n, b);
    return b;
}

Pursuit pursue(const std::vector<std::vector<float>>& blocks, std::size_t size,
               const std::vector<std::size_t>& columns, std::size_t target, std::size_t most,
               const std::vector<std::size_t>& always, const std::vector<std::uint16_t>& group,
               std::size_t most_groups) {
    std::vector<std::uint16_t> groups;
    Pursuit result;
    // The sum, and what each block lacks to it, for the columns met so far only.
    std::vector<double> total(size * size, 0.0);
    for (const auto& block : blocks)
        for (std::size_t i = 0; i < total.size(); ++i)
            total[i] += block[i];
    const double rows_like = total[target * size + target];
    result.nothing = rows_like;
    if (!(rows_like > 0))
        return result;
    const double penalty_share = 1e-3;

    const auto left_out_error = [&](const std::vector<std::size_t>& set) {
        const std::size_t n = set.size();
        std::vector<double> a(n * n);
        std::vector<double> b(n);
        double error = 0;
        for (const auto& block : blocks) {
            for (std::size_t i = 0; i < n; ++i) {
                for (std::size_t j = 0; j <= i; ++j)
                    a[i * n + j] = total[set[i] * size + set[j]] - block[set[i] * size + set[j]];
                a[i * n + i] += penalty_share * total[set[i] * size + set[i]] + 1e-9;
                b[i] = total[set[i] * size + target] - block[set[i] * size + target];
            }
            if (!factor(a, n))
                return rows_like * 10;
            substitute(a, n, b);
            double e = block[target * size + target];
            for (std::size_t i = 0; i < n; ++i) {
                e -= 2 * b[i] * block[set[i] * size + target];
                for (std::size_t j = 0; j < n; ++j)
                    e += b[i] * b[j] * block[set[i] * size + set[j]];
            }
            error += std::max(e, 0.0);
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
