// SPDX-License-Identifier: Apache-2.0
// How the signals of a tie go together: it is fitted to the good run with no more partners than it
// takes, and what was left of it there is kept, to be looked up where its partners stand alike.
#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <span>
#include <utility>

#include "run/robust.hpp"
#include "solve.hpp"
#include "ties_parts.hpp"

namespace telltale::run {
namespace {

constexpr std::size_t most_rows = 1000;
constexpr std::size_t near_rows = 200;
constexpr double loosest = 0.16;

/// Puts the inverse of a small symmetric matrix in its place. False when it has none.
bool invert(std::span<double> a, std::size_t n) {
    std::array<double, Ties::most_partners * Ties::most_partners> out{};
    if (!factor(a, n))
        return false;
    for (std::size_t k = 0; k < n; ++k) {
        out[k * n + k] = 1;
        substitute(a, n, {&out[k * n], n});
    }
    std::copy_n(out.begin(), n * n, a.begin());
    return true;
}

} // namespace

/// What was left of it in the good run where its partners were much as in `x`, a block aside.
Ties::Near Ties::near(const Tie& tie, std::span<const double> x, std::uint8_t aside) {
    constexpr std::size_t some = 12;
    std::array<float, some> closest;
    std::array<float, some> left;
    std::size_t count = 0;
    std::array<float, most_partners> place{};
    for (std::size_t k = 0; k < tie.count; ++k)
        place[k] = static_cast<float>(x[k + 1]);
    // They lie in the order of the first partner: outwards from there, as far as it takes.
    const auto look = [&](std::size_t r) {
        const float* const at = &tie.near_places[r * tie.count];
        const float first = (at[0] - place[0]) * (at[0] - place[0]);
        if (count == some && first >= closest[some - 1])
            return false;
        if (tie.near_block[r] == aside)
            return true;
        float distance = first;
        for (std::size_t k = 1; k < tie.count; ++k)
            distance += (at[k] - place[k]) * (at[k] - place[k]);
        if (count == some && distance >= closest[some - 1])
            return true;
        std::size_t j = count < some ? count++ : some - 1;
        for (; j > 0 && closest[j - 1] > distance; --j) {
            closest[j] = closest[j - 1];
            left[j] = left[j - 1];
        }
        closest[j] = distance;
        left[j] = tie.near_left[r];
        return true;
    };
    std::size_t above = 0;
    for (std::size_t length = tie.near_left.size(); length > 0;) {
        const std::size_t half = length / 2;
        const bool below = tie.near_places[(above + half) * tie.count] < place[0];
        above += below ? half + 1 : 0;
        length = below ? length - half - 1 : half;
    }
    std::size_t under = above;
    bool up = true;
    bool down = true;
    while (up || down) {
        up = up && above < tie.near_left.size() && look(above++);
        down = down && under > 0 && look(--under);
    }
    Near out;
    if (count < some)
        return out;
    float squares = 0;
    for (const float one : left)
        squares += one * one;
    out.rms = std::sqrt(squares / static_cast<float>(some));
    out.distance = std::sqrt(closest[some - 1]);
    return out;
}

/// Places in the good run where all of it is there, thinned; none where these are too few.
std::vector<std::size_t> Ties::rows_of(const Tie& tie, const Grid& good) const {
    const float* const y = column(good, tie.target, tie.powers).data();
    std::array<const float*, most_partners> x{};
    for (std::size_t k = 0; k < tie.count; ++k)
        x[k] = partner(tie, k, good).data();
    std::vector<std::size_t> rows;
    rows.reserve(good.size);
    for (std::size_t i = 0; i < good.size; ++i) {
        bool there = good.aside[i] == 0 && !std::isnan(y[i]);
        for (std::size_t k = 0; k < tie.count; ++k)
            there = there && !std::isnan(x[k][i]);
        if (there)
            rows.push_back(i);
    }
    const std::size_t share = tie.gears ? 8 : 5; // a gear is seldom known in town
    if (rows.size() < 100 || share * rows.size() < 2 * good.size)
        return {};
    if (rows.size() > most_rows) {
        const std::size_t every = (rows.size() + most_rows - 1) / most_rows;
        for (std::size_t i = 0; i * every < rows.size(); ++i)
            rows[i] = rows[i * every];
        rows.resize((rows.size() + every - 1) / every);
    }
    return rows;
}

/// Fits it to the good run, strays held down (Huber's weights), once without each block.
bool Ties::fit(const Grid& good, std::size_t blocks, Tie& tie) const {
    const std::vector<float>& y = column(good, tie.target, tie.powers);
    const std::vector<std::size_t> rows = rows_of(tie, good);
    if (rows.empty())
        return false;
    for (std::size_t k = 0; k < tie.count; ++k) {
        const std::size_t like = tie.gears ? tie.target : tie.by[k];
        tie.middle[k] = mean_of(like, tie.powers);
        tie.width[k] = std::max(1e-9, sd_of(like, tie.powers));
    }
    const std::size_t p = terms_in(tie);
    std::vector<double> terms(rows.size() * p);
    const auto x = [&](std::size_t r) { return std::span(terms).subspan(r * p, p); };
    std::vector<double> own(rows.size());
    for (std::size_t r = 0; r < rows.size(); ++r) {
        terms_at(tie, good, rows[r], x(r));
        own[r] = double{y[rows[r]]};
    }
    constexpr std::size_t wide = most_terms;
    using Gram = std::array<double, wide * wide + wide>;
    std::vector<Gram> grams(blocks);
    std::vector<double> weight(rows.size(), 1);
    std::vector<double> size(rows.size());
    std::array<double, wide> beta{};
    const auto solved = [&](std::size_t without, std::array<double, wide>& out) {
        std::array<double, wide * wide> gram{};
        out = {};
        for (std::size_t b = 0; b < blocks; ++b) {
            if (b == without)
                continue;
            for (std::size_t i = 0; i < p * p; ++i)
                gram[i] += grams[b][i];
            for (std::size_t i = 0; i < p; ++i)
                out[i] += grams[b][wide * wide + i];
        }
        for (std::size_t i = 1; i < p; ++i)
            gram[i * p + i] *= 1 + 1e-6;
        if (!factor({gram.data(), p * p}, p))
            return false;
        substitute({gram.data(), p * p}, p, {out.data(), p});
        return true;
    };
    const double own_sd = sd_of(tie.target, tie.powers);
    constexpr int rounds = 4;
    constexpr double hopeless = 1.5; // strays held down does not make it that much closer
    const auto add = [&](std::size_t r, double by) {
        Gram& gram = grams[std::min<std::size_t>(blocks - 1, good.block[rows[r]])];
        const double* const here = &terms[r * p];
        for (std::size_t i = 0; i < p; ++i) {
            const double weighted = by * here[i];
            for (std::size_t j = 0; j <= i; ++j)
                gram[i * p + j] += weighted * here[j];
            gram[wide * wide + i] += weighted * own[r];
        }
    };
    for (std::size_t r = 0; r < rows.size(); ++r)
        add(r, 1);
    constexpr double settled = 0.002; // a row
    std::vector<double> some;
    double changed = 1;
    for (int round = 0; round < rounds; ++round) {
        if (!solved(blocks, beta))
            return false;
        if (changed < settled)
            break;
        for (std::size_t r = 0; r < rows.size(); ++r)
            size[r] = std::abs(own[r] - sum_of(x(r), beta));
        some.clear();
        for (std::size_t r = 0; r < rows.size(); r += 2) // enough to go by
            some.push_back(size[r]);
        const double off = mad_factor * median(some);
        if (off > hopeless * loosest * own_sd)
            return false;
        const double limit = 2 * off + 1e-12;
        changed = 0;
        for (std::size_t r = 0; r < rows.size() && round + 1 < rounds; ++r) {
            const double now = size[r] <= limit ? 1 : limit / size[r];
            if (now != weight[r])
                add(r, now - weight[r]);
            changed += std::abs(now - weight[r]) / static_cast<double>(rows.size());
            weight[r] = now;
        }
    }
    tie.beta.clear();
    for (std::size_t b = 0; b < blocks; ++b) {
        std::array<double, wide> without{};
        if (!solved(b, without))
            return false;
        tie.beta.push_back(without);
    }
    tie.beta.push_back(beta);
    // Scale of a normal difference: on blocks left out.
    for (std::size_t r = 0; r < rows.size(); ++r)
        size[r] = std::abs(own[r] - sum_of(x(r), tie.beta[good.block[rows[r]]]));
    tie.scale = std::max(mad_factor * median(size), 1e-9);
    if (!tie.powers)
        tie.scale = std::max(tie.scale, 0.3 * step_[tie.target]);
    const double spread = (quantile(own, 0.95) - quantile(own, 0.05)) / 3.29;
    tie.sharpness = tie.scale / std::max(1e-9, std::min(own_sd, spread));
    return tie.sharpness < loosest;
}

/// Where the good run had its partners, one by one and together. False where they are all one.
bool Ties::bound(const Grid& good, const std::vector<std::size_t>& rows, std::span<const double> x,
                 Tie& tie) const {
    const std::size_t p = terms_in(tie);
    for (std::size_t k = 0; k < tie.count; ++k) {
        std::vector<double> values;
        values.reserve(rows.size());
        for (const std::size_t row : rows)
            values.push_back(double{partner(tie, k, good)[row]});
        const double low = quantile(values, 0.002);
        const double high = quantile(values, 0.998);
        // Where the good run hardly was, it says little.
        std::array<std::size_t, bins> often{};
        for (const double v : values)
            if (v >= low && v <= high)
                ++often[bin_of(v, low, high)];
        const std::size_t enough = std::max<std::size_t>(3, values.size() / 300);
        tie.low[k] = low;
        tie.high[k] = high;
        for (std::size_t b = 0; b < bins; ++b)
            tie.known[k][b] = often[b] >= enough;
    }
    // How its partners lie together: further out than they ever were, it may no longer hold.
    tie.spread.fill(0);
    if (tie.count > 1) {
        for (std::size_t r = 0; r < rows.size(); ++r)
            for (std::size_t i = 0; i < tie.count; ++i)
                for (std::size_t j = 0; j < tie.count; ++j)
                    tie.spread[i * tie.count + j] +=
                        x[r * p + i + 1] * x[r * p + j + 1] / static_cast<double>(rows.size());
        for (std::size_t i = 0; i < tie.count; ++i)
            tie.spread[i * tie.count + i] *= 1 + 1e-6;
        if (!invert({tie.spread.data(), std::size_t{tie.count} * tie.count}, tie.count))
            return false;
        std::vector<double> distances;
        distances.reserve(rows.size());
        for (std::size_t r = 0; r < rows.size(); ++r)
            distances.push_back(distance(tie, x.subspan(r * p, p)));
        tie.farthest = 1.2 * quantile(distances, 0.998);
    }
    return true;
}

/// Keeps where the good run had its partners, and what was left of a fitted tie at some moments of
/// it. False where its partners are all one.
bool Ties::remember(const Grid& good, Tie& tie) const {
    const std::vector<float>& y = column(good, tie.target, tie.powers);
    const std::vector<std::size_t> rows = rows_of(tie, good);
    const std::size_t p = terms_in(tie);
    std::vector<double> terms(rows.size() * p);
    const auto x = [&](std::size_t r) { return std::span(terms).subspan(r * p, p); };
    for (std::size_t r = 0; r < rows.size(); ++r)
        terms_at(tie, good, rows[r], x(r));
    if (!bound(good, rows, terms, tie))
        return false;
    const std::size_t every = std::max<std::size_t>(1, (rows.size() + near_rows - 1) / near_rows);
    std::vector<std::size_t> some;
    for (std::size_t r = every / 2; r < rows.size(); r += every)
        some.push_back(r);
    std::sort(some.begin(), some.end(),
              [&](std::size_t a, std::size_t b) { return x(a)[1] < x(b)[1]; });
    tie.near_places.clear();
    tie.near_left.clear();
    tie.near_block.clear();
    for (const std::size_t r : some) {
        for (std::size_t k = 0; k < tie.count; ++k)
            tie.near_places.push_back(static_cast<float>(x(r)[k + 1]));
        const double off =
            double{y[rows[r]]} - expect(tie, good, rows[r], tie.beta[good.block[rows[r]]]);
        tie.near_left.push_back(static_cast<float>(std::clamp(off / tie.scale, -12.0, 12.0)));
        tie.near_block.push_back(good.block[rows[r]]);
    }
    std::vector<double> alike;
    for (std::size_t r = 0; r < rows.size(); r += 8)
        alike.push_back(double{near(tie, x(r), good.block[rows[r]]).distance});
    tie.near_enough = static_cast<float>(1.5 * quantile(alike, 0.98)) + 0.02F;
    return true;
}

/// With no more partners than it takes.
bool Ties::fit_least(const Grid& good, std::size_t blocks, Tie& tie) const {
    if (!fit(good, blocks, tie))
        return false;
    constexpr double as_sharp = 1.15;
    if (tie.curved) {
        Tie straight = tie;
        straight.curved = false;
        if (fit(good, blocks, straight) && straight.sharpness <= as_sharp * tie.sharpness)
            tie = std::move(straight);
    }
    while (tie.count > 1) {
        std::size_t weakest = 0;
        double least = std::numeric_limits<double>::infinity();
        for (std::size_t p = 0; p < tie.count; ++p) {
            double by = std::abs(tie.beta.back()[p + 1]);
            for (std::size_t q = 0; q < tie.count && tie.curved; ++q)
                by += std::abs(tie.beta.back()[product_at(tie, p, q)]);
            if (by < least) {
                least = by;
                weakest = p;
            }
        }
        Tie fewer;
        fewer.target = tie.target;
        fewer.powers = tie.powers;
        fewer.curved = tie.curved;
        for (std::size_t p = 0; p < tie.count; ++p)
            if (p != weakest)
                fewer.by[fewer.count++] = tie.by[p];
        if (!fit(good, blocks, fewer) || fewer.sharpness > as_sharp * tie.sharpness)
            break;
        tie = std::move(fewer);
    }
    return true;
}

} // namespace telltale::run
