// SPDX-License-Identifier: Apache-2.0
// What is left of a tie over a run, and how strange that is: windows of many widths, their limits
// by what the good run had, and what each window of a bad run comes to.
#include <algorithm>
#include <array>
#include <cmath>
#include <span>

#include "run/robust.hpp"
#include "ties_parts.hpp"

namespace telltale::run {
namespace {

constexpr double most_z = 16;
constexpr double slack = 10;
constexpr double strict = 1.65;
constexpr double looseness = 16;
constexpr double noisy = 1.25;
constexpr double unsureness = 4; // standard errors
constexpr std::array<double, Ties::sights> floors{2.6, 2.2, 1.8, 1.5, 1.2, 2.2, 2.0, 6.0, 6.0};
/// A moment may have many reasons; what lasts has fewer.
constexpr std::array<double, Ties::sights> caution{1.6, 1.25, 1, 1, 1, 2.4, 2.2, 1.35, 1.35};

/// A level that is strange, by what it was in the good run. What wanders there wanders further
/// elsewhere.
double level_limit(std::span<const float> seen, std::size_t sight) {
    constexpr std::array<double, Ties::level_widths.size()> base{4.0, 2.4, 1.4, 1.0, 0.8};
    constexpr double beyond = 1.4;
    double most = 0;
    double squares = 0;
    std::size_t count = 1;
    for (const float v : seen) {
        if (std::isnan(v))
            continue;
        most = std::max(most, double{std::abs(v)});
        squares += double{v} * double{v};
        ++count;
    }
    const double usual = std::sqrt(squares / static_cast<double>(count));
    return std::max(beyond * most, base[sight] + 3 * usual + 12 * usual * usual);
}

} // namespace

/// What the whole run is off by: another day's soot, fuel, weight or air. As much of each value of
/// a sum, where that leaves less.
Ties::Day Ties::day_of(const Tie& tie, const Grid& grid) const {
    constexpr double share = 0.8;
    const std::vector<float>& y = column(grid, tie.target, tie.powers);
    std::vector<double> fitted(grid.size, nothing);
    for (std::size_t i = 0; i < grid.size; ++i)
        if (grid.aside[i] == 0)
            fitted[i] = expect(tie, grid, i, tie.beta.back());
    Day day;
    day.more =
        share * day_level(grid.size, [&](std::size_t i) { return double{y[i]} - fitted[i]; });
    constexpr double tyres = 0.01;
    if (tie.gears)
        day.more = std::clamp(day.more, -tyres, tyres);
    if (tie.powers || lowest_[tie.target] < 0)
        return day;
    const double least = floor_[tie.target] + 0.3 * sd_[tie.target];
    Day other;
    other.part = share * day_level(grid.size, [&](std::size_t i) {
                     return fitted[i] > least ? double{y[i]} / fitted[i] - 1 : nothing;
                 });
    const auto left = [&](const Day& by) {
        std::vector<double> sizes;
        for (std::size_t i = 0; i < grid.size; ++i) {
            const double off = double{y[i]} - by.of(fitted[i]);
            if (!std::isnan(off))
                sizes.push_back(std::abs(off));
        }
        return sizes.empty() ? 0.0 : median(sizes);
    };
    return other.part != 0 && left(other) < left(day) ? other : day;
}

Ties::Differences Ties::differences(const Tie& tie, const Grid& grid, bool is_good,
                                    const Day& day) const {
    const std::vector<float>& y = column(grid, tie.target, tie.powers);
    std::vector<double> fitted(grid.size, nothing);
    std::vector<Near> around(grid.size);
    const std::size_t terms = terms_in(tie);
    std::vector<double> at(grid.size * terms);
    const auto terms_of_place = [&](std::size_t i) {
        return std::span(at).subspan(i * terms, terms);
    };
    std::size_t looked = 0;
    constexpr std::size_t often = 8;
    constexpr std::size_t seldom = 32;
    constexpr double little = 0.1; // standard deviations
    for (std::size_t i = 0; i < grid.size; ++i) {
        if (grid.aside[i] != 0)
            continue;
        bool inside = true;
        for (std::size_t p = 0; p < tie.count; ++p) {
            inside = inside && knows(tie, p, double{partner(tie, p, grid)[i]});
        }
        if (!inside)
            continue;
        const std::span<double> x = terms_of_place(i);
        terms_at(tie, grid, i, x);
        if (tie.count > 1 && distance(tie, x) > tie.farthest)
            continue;
        // It changes as its partners do: looked up where they moved, and now and then.
        double moved = 0;
        for (std::size_t p = 1; p <= tie.count; ++p)
            moved += std::abs(x[p] - terms_of_place(looked)[p]);
        if (std::isnan(around[looked].distance) || i >= looked + seldom ||
            (i >= looked + often && moved > little) ||
            (is_good && grid.block[i] != grid.block[looked])) {
            around[i] = near(tie, x, is_good ? grid.block[i] : 255);
            looked = i;
        } else {
            around[i] = around[looked];
        }
        if (!(around[i].distance <= tie.near_enough))
            continue;
        fitted[i] = day.of(sum_of(x, is_good ? tie.beta[grid.block[i]] : tie.beta.back()));
        if (!tie.powers) // no sensor reads beyond its ends
            fitted[i] = std::clamp(fitted[i], least_[tie.target], most_[tie.target]);
    }
    constexpr double timing = 0.1; // seconds
    constexpr double unseen = 0.3;
    constexpr double most_pace = 8;
    Differences d;
    for (std::vector<Sum>& sums : d.by_way)
        sums.resize(grid.size + 1);
    if (!is_good)
        d.terms.resize((grid.size + 1) * terms);
    double before = nothing; // what was left one place before
    const auto add = [&](std::size_t i, double left, double unit, double pace) {
        const auto next = [&](Way way, double value, double unit_of_it) {
            std::vector<Sum>& sums = d.by_way[static_cast<std::size_t>(way)];
            sums[i + 1] = sums[i].with(value, unit_of_it);
        };
        next(Way::level, left, unit);
        next(Way::rough, std::abs(left - before), unit);
        next(Way::late, -left * pace, pace * pace);
        before = left;
    };
    for (std::size_t i = 0; i < grid.size; ++i) {
        if (!is_good)
            std::copy_n(&d.terms[i * terms], terms, &d.terms[(i + 1) * terms]);
        if (!std::isfinite(fitted[i]) || std::isnan(y[i])) {
            add(i, nothing, nothing, nothing);
            continue;
        }
        double variance = tie.scale * tie.scale;
        const double wider = std::max(1.0, double{around[i].rms} / 1.15);
        variance *= wider * wider;
        double in_units = 1;
        if (tie.powers) {
            // What a step of each makes of it.
            const auto coarse = [&](std::size_t signal, double beta, double log_value) {
                const double part = beta * step_[signal] / std::exp(log_value);
                return part * part / 12;
            };
            in_units = std::exp(fitted[i]);
            variance += coarse(tie.target, 1, fitted[i]);
            for (std::size_t p = 0; p < tie.count; ++p)
                variance += coarse(tie.by[p], tie.beta.back()[p + 1] / tie.width[p],
                                   double{column(grid, tie.by[p], true)[i]});
        }
        double pace = nothing;
        if (i > 0 && i + 1 < grid.size && !std::isnan(fitted[i - 1]) &&
            !std::isnan(fitted[i + 1])) {
            pace = (fitted[i + 1] - fitted[i - 1]) / (2 * grid.spacing);
            variance += timing * pace * timing * pace;
            // Between two samples of a partner nobody knows its course.
            const double bend = unseen * (fitted[i + 1] - 2 * fitted[i] + fitted[i - 1]);
            variance += bend * bend;
        }
        const double sigma = std::sqrt(variance);
        if (!std::isfinite(sigma * in_units)) {
            add(i, nothing, nothing, nothing);
            continue;
        }
        add(i, std::clamp((double{y[i]} - fitted[i]) / sigma, -most_z, most_z), sigma * in_units,
            std::clamp(pace / sigma, -most_pace, most_pace));
        for (std::size_t k = 0; k < terms && !is_good; ++k)
            d.terms[(i + 1) * terms + k] += at[i * terms + k] / sigma;
    }
    return d;
}

Ties::Way Ties::way_of(std::size_t sight) {
    return sight < level_widths.size()                         ? Way::level
           : sight < level_widths.size() + rough_widths.size() ? Way::rough
                                                               : Way::late;
}

std::size_t Ties::points(std::size_t sight, double spacing) {
    const Way way = way_of(sight);
    const double width = way == Way::level ? level_widths[sight]
                         : way == Way::rough
                             ? rough_widths[sight - level_widths.size()]
                             : late_widths[sight - level_widths.size() - rough_widths.size()];
    return std::max<std::size_t>(4, static_cast<std::size_t>(std::lround(width / spacing)));
}

/// A window begins at every quarter of its width. Of the level the mean difference, of roughness
/// that from point to point; lateness in standard errors of it, and its unit in seconds.
void Ties::sight(const Differences& d, std::size_t sight, double spacing, std::vector<float>& value,
                 std::vector<float>& unit) {
    constexpr double still = 1e-6; // a mean square of the pace
    value.clear();
    unit.clear();
    const Way way = way_of(sight);
    const std::vector<Sum>& sums = d.by_way[static_cast<std::size_t>(way)];
    const std::size_t n = sums.size() - 1;
    const std::size_t width = points(sight, spacing);
    if (n < 6 * width)
        return;
    const std::size_t windows = (n - width) / stride_of(width) + 1;
    value.reserve(windows); // many are kept
    unit.reserve(windows);
    const std::size_t first = way == Way::rough ? 1 : 0;
    for (std::size_t from = 0; from + width <= n; from += stride_of(width)) {
        const Sum& begin = sums[from + first];
        const Sum& end = sums[from + width];
        const double sum = end.value - begin.value;
        const double units = end.unit - begin.unit;
        const std::size_t known = end.count - begin.count;
        const auto count = static_cast<double>(known);
        const bool enough =
            10 * known >= 6 * (width - first) && units > (way == Way::late ? still * count : 0);
        const double by = way == Way::late ? std::sqrt(units) : count;
        value.push_back(enough ? static_cast<float>(sum / by) : missing);
        unit.push_back(enough ? static_cast<float>((way == Way::late ? 1 : units) / by) : missing);
    }
}

/// How far the mean over each window would be another one had a part of the good run not been
/// there: the jackknife's standard error, with a factor.
void Ties::doubt(const Tie& tie, const Differences& d, std::size_t sight, double spacing,
                 std::vector<float>& unsure) {
    const std::vector<Sum>& sums = d.by_way[static_cast<std::size_t>(Way::level)];
    const std::size_t n = sums.size() - 1;
    const std::size_t width = points(sight, spacing);
    const bool level = way_of(sight) == Way::level;
    const std::size_t terms = terms_in(tie);
    const std::size_t folds = tie.beta.size() - 1;
    const auto blocks = static_cast<double>(folds);
    // The covariance of the coefficients.
    Terms mean{};
    for (std::size_t b = 0; b < folds; ++b)
        for (std::size_t k = 0; k < terms; ++k)
            mean[k] += tie.beta[b][k] / blocks;
    std::array<Terms, most_terms> spread{};
    for (std::size_t b = 0; b < folds; ++b)
        for (std::size_t k = 0; k < terms; ++k)
            for (std::size_t j = 0; j <= k; ++j)
                spread[k][j] +=
                    (tie.beta[b][k] - mean[k]) * (tie.beta[b][j] - mean[j]) * (blocks - 1) / blocks;
    unsure.clear();
    for (std::size_t from = 0; from + width <= n; from += stride_of(width)) {
        const std::size_t count = sums[from + width].count - sums[from].count;
        if (!level || count == 0) {
            unsure.push_back(0);
            continue;
        }
        const double* const begin = &d.terms[from * terms];
        const double* const end = &d.terms[(from + width) * terms];
        double variance = 0;
        for (std::size_t k = 0; k < terms; ++k) {
            const double here = end[k] - begin[k];
            for (std::size_t j = 0; j < k; ++j)
                variance += 2 * here * spread[k][j] * (end[j] - begin[j]);
            variance += here * spread[k][k] * here;
        }
        unsure.push_back(static_cast<float>(unsureness * std::sqrt(std::max(0.0, variance)) /
                                            static_cast<double>(count)));
    }
}

/// Whether it is close enough to break: the more signals it takes, the closer it has to be. Else it
/// is a witness at most.
bool Ties::may_break(const Tie& tie, const std::vector<char>& free) {
    constexpr std::array<double, most_partners> close_enough{0.13, 0.10, 0.065};
    bool close = tie.sharpness < close_enough[tie.count - 1U] && free[tie.target] == 0;
    for (std::size_t p = 0; p < tie.count; ++p)
        close = close && free[tie.by[p]] == 0;
    return close;
}

/// Of each window: how strange it has to be, and whether nothing but noise was left there, by the
/// good run with each of its blocks told by the others.
void Ties::set_limits(const Grid& good, const std::vector<char>& free, Tie& tie) const {
    const bool close = may_break(tie, free);
    const Differences d = differences(tie, good, true, {});
    std::vector<float> value;
    std::vector<float> unit;
    for (std::size_t s = 0; s < sights; ++s) {
        sight(d, s, good.spacing, value, unit);
        if (value.size() < 8)
            continue;
        double most = floors[s];
        for (const float v : value)
            most = std::fmax(most, double{std::abs(v)}); // passes over not-a-number
        tie.plain[s] = close && most <= noisy * floors[s];
        tie.witness = tie.witness && !tie.plain[s];
        tie.limit[s] = way_of(s) == Way::level
                           ? level_limit(value, s) * (1 + slack * tie.sharpness)
                           : caution[s] * (strict + looseness * tie.sharpness) * most;
    }
}

Ties::View Ties::view(const Tie& tie, const Grid& bad) const {
    View out;
    out.day = day_of(tie, bad);
    const Differences d = differences(tie, bad, false, out.day);
    std::vector<float> unsure;
    for (std::size_t s = 0; s < sights; ++s) {
        if (tie.limit[s] <= 0)
            continue;
        sight(d, s, bad.spacing, out.score[s], out.unit[s]);
        doubt(tie, d, s, bad.spacing, unsure);
        std::vector<double> usual = known_values(out.score[s]);
        if (usual.size() < 8) {
            out.score[s].clear();
            out.unit[s].clear();
            continue;
        }
        for (double& v : usual)
            v = std::abs(v);
        // What it is most of the time may be another day's doing, but of a gearbox.
        constexpr double more = 2.5;
        const double own = tie.gears ? 0 : more * quantile(usual, 0.6);
        const auto limit = static_cast<float>(std::max(tie.limit[s], own));
        for (std::size_t j = 0; j < out.score[s].size(); ++j) {
            const float here = std::hypot(limit, unsure[j]);
            out.score[s][j] /= here;
            out.unit[s][j] *= here;
        }
    }
    return out;
}

} // namespace telltale::run
