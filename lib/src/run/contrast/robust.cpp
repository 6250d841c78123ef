// SPDX-License-Identifier: Apache-2.0
#include "run/robust.hpp"

#include <algorithm>
#include <bit>
#include <cmath>
#include <cstddef>

#include "solve.hpp"

namespace telltale::run {
namespace {

/// Puts the `nth` smallest in its place, none greater before it and none less after it, as
/// std::nth_element does. What is compared decides no jump: numbers come in no order that a
/// processor could foresee.
void partition_at(std::span<double> values, std::size_t nth) {
    // Those that pass, to the front; how many there are.
    const auto sift = [](std::span<double> from, auto passes) {
        std::size_t count = 0;
        for (double& value : from) {
            const double one = value;
            value = from[count];
            from[count] = one;
            count += passes(one) ? 1U : 0U;
        }
        return count;
    };
    constexpr std::size_t few = 24;
    // Half of them or more go each time, mostly; with bad luck, or not-a-number, another way.
    for (std::size_t tries = 2 * std::bit_width(values.size()); values.size() > few && tries > 0;
         --tries) {
        const double a = values.front();
        const double b = values[values.size() / 2];
        const double c = values.back();
        const double pivot = std::max(std::min(a, b), std::min(std::max(a, b), c));
        const std::size_t less = sift(values, [pivot](double one) { return one < pivot; });
        if (nth < less) {
            values = values.first(less);
            continue;
        }
        values = values.subspan(less);
        nth -= less;
        const std::size_t same = sift(values, [pivot](double one) { return one <= pivot; });
        if (nth < same)
            return;
        values = values.subspan(same);
        nth -= same;
    }
    std::nth_element(values.begin(), values.begin() + static_cast<std::ptrdiff_t>(nth),
                     values.end());
}

/// The median of a buffer that may be put in another order.
double middle(std::vector<double>& values) {
    if (values.empty())
        return 0;
    const auto half = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
    partition_at(values, values.size() / 2);
    if (values.size() % 2 == 1)
        return *half;
    return (*half + *std::max_element(values.begin(), half)) / 2;
}

} // namespace

double median(std::span<const double> values) {
    std::vector<double> copy(values.begin(), values.end());
    return middle(copy);
}

double median_deviation(std::span<const double> values) {
    std::vector<double> copy(values.begin(), values.end());
    const double centre = middle(copy);
    for (double& value : copy)
        value = std::abs(value - centre);
    return middle(copy);
}

double quantile(std::span<const double> values, double share) {
    if (values.empty())
        return 0;
    std::vector<double> copy(values.begin(), values.end());
    const double place = std::clamp(share, 0.0, 1.0) * static_cast<double>(copy.size() - 1);
    const auto low = static_cast<std::ptrdiff_t>(place);
    partition_at(copy, static_cast<std::size_t>(low));
    const double first = copy[static_cast<std::size_t>(low)];
    const double part = place - static_cast<double>(low);
    if (part == 0)
        return first;
    return first + part * (*std::min_element(copy.begin() + low + 1, copy.end()) - first);
}

std::vector<bool> hampel(std::span<const double> values, std::size_t reach, double limit,
                         double floor) {
    std::vector<bool> outlying(values.size(), false);
    for (std::size_t i = 0; i < values.size(); ++i) {
        const std::size_t from = i > reach ? i - reach : 0;
        const std::size_t to = std::min(values.size(), i + reach + 1);
        const auto window = values.subspan(from, to - from);
        const double scale = std::max(floor, mad_factor * median_deviation(window));
        outlying[i] = std::abs(values[i] - median(window)) > limit * scale;
    }
    return outlying;
}

Line theil_sen(std::span<const double> x, std::span<const double> y) {
    constexpr std::size_t most = 600;
    const std::size_t n = std::min(x.size(), y.size());
    const std::size_t stride = std::max<std::size_t>(1, (n + most - 1) / most);
    std::vector<double> slopes;
    for (std::size_t i = 0; i < n; i += stride)
        for (std::size_t j = i + stride; j < n; j += stride)
            if (x[i] != x[j])
                slopes.push_back((y[j] - y[i]) / (x[j] - x[i]));
    Line line;
    line.slope = middle(slopes);
    std::vector<double> left;
    for (std::size_t i = 0; i < n; ++i)
        left.push_back(y[i] - line.slope * x[i]);
    line.intercept = middle(left);
    return line;
}

std::vector<double> huber_regression(std::span<const std::span<const double>> columns,
                                     std::span<const double> y, double tuning,
                                     unsigned iterations) {
    const std::size_t p = columns.size() + 1;
    const std::size_t n = y.size();
    if (n < p)
        return {};
    std::vector<double> weights(n, 1.0);
    std::vector<double> beta;
    std::vector<double> sizes(n);
    std::vector<double> row(p);
    for (unsigned round = 0; round <= iterations; ++round) {
        std::vector<double> gram(p * p, 0.0);
        std::vector<double> moment(p, 0.0);
        for (std::size_t i = 0; i < n; ++i) {
            row[0] = 1;
            for (std::size_t j = 1; j < p; ++j)
                row[j] = columns[j - 1][i];
            for (std::size_t a = 0; a < p; ++a) {
                moment[a] += weights[i] * row[a] * y[i];
                for (std::size_t b = 0; b <= a; ++b)
                    gram[a * p + b] += weights[i] * row[a] * row[b];
            }
        }
        if (!factor(gram, p))
            return {};
        substitute(gram, p, moment);
        double change = 0;
        for (std::size_t j = 0; j < p && !beta.empty(); ++j)
            change = std::max(change, std::abs(moment[j] - beta[j]) / (1e-12 + std::abs(beta[j])));
        const bool first = beta.empty();
        beta = moment;
        if (!first && change < 1e-10)
            break;
        for (std::size_t i = 0; i < n; ++i) {
            double fitted = beta[0];
            for (std::size_t j = 1; j < p; ++j)
                fitted += beta[j] * columns[j - 1][i];
            weights[i] = y[i] - fitted;
            sizes[i] = std::abs(weights[i]);
        }
        const double scale = mad_factor * median(sizes);
        for (double& weight : weights) {
            const double size = std::abs(weight);
            weight = size <= tuning * scale ? 1 : tuning * scale / size;
        }
        if (scale == 0)
            break;
    }
    return beta;
}

double speed_density(double rpm, double manifold_kpa, double celsius, double litres,
                     double efficiency) {
    const double moles_a_litre = manifold_kpa / (gas_constant * (celsius + 273.15));
    return rpm / 120 * litres * efficiency * moles_a_litre * air_molar_mass * 1000;
}

} // namespace telltale::run
