// SPDX-License-Identifier: Apache-2.0
#include "scan.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdlib>
#include <limits>
#include <utility>

#include "run/robust.hpp"

namespace telltale::run {
namespace {

/// The value that `sizes`, one after the other in time, would pass by chance only `by_chance` times
/// in a stretch as long: from the greatest in each of many short stretches, whose distribution is
/// near Gumbel's; from the mean excess of the greatest of these, for heavier tails; and from the
/// greatest of all.
double chance_limit(const std::vector<double>& sizes, double apart, double by_chance) {
    const auto blocks = static_cast<std::size_t>(
        std::clamp(apart / 2, 4.0, std::min(150.0, static_cast<double>(sizes.size()) / 2)));
    std::vector<double> greatest(blocks, -1e300);
    for (std::size_t i = 0; i < sizes.size(); ++i) {
        double& here = greatest[i * blocks / sizes.size()];
        here = std::max(here, sizes[i]);
    }
    std::sort(greatest.begin(), greatest.end());
    const auto n = static_cast<double>(blocks);
    double mean = 0;
    double second = 0; // the probability-weighted moment of order one
    for (std::size_t i = 0; i < blocks; ++i) {
        mean += greatest[i] / n;
        second += greatest[i] * static_cast<double>(i) / (n * (n - 1));
    }
    constexpr double euler = 0.5772156649;
    const double beta = std::max(0.0, 2 * second - mean) / std::log(2.0);
    const double gumbel = mean - euler * beta + beta * std::log(n / by_chance);
    const auto top = std::clamp<std::size_t>(blocks / 8, 2, 15);
    const double base = greatest[blocks - 1 - top];
    double excess = 0;
    for (std::size_t i = blocks - top; i < blocks; ++i)
        excess += (greatest[i] - base) / static_cast<double>(top);
    const double heavy = base + excess * std::log(static_cast<double>(top) / by_chance);
    // Few stretches tell little about the tail.
    return std::max({gumbel, heavy, 1.3 * greatest.back()}) * (1 + 2 / n);
}

bool two_sided(Sign sign) {
    return sign != Sign::rough;
}

/// What a value of a sign is in units of.
float scale_at(const Trace& trace, Sign sign, std::size_t i) {
    return sign == Sign::excursion ? trace.local[i] : trace.sigma[i];
}

/// A signal may leap to somewhere else and stay there, but for one that warms up: what a fault does
/// comes back.
void hold_down_one_way(const Trace& trace, std::vector<Hit>& hits) {
    constexpr std::size_t soon = 8; // samples
    constexpr float stays = 0.6F;
    const std::size_t n = trace.y.size();
    for (Hit& hit : hits) {
        if (hit.sign != Sign::leap || trace.silence[hit.from] == Silence::warming_up)
            continue;
        const float before = trace.y[hit.from];
        const float after = trace.y[hit.to - 1];
        const float half = 0.5F * std::abs(after - before);
        bool back = hit.to - hit.from > 2; // several leaps
        for (std::size_t i = hit.to; i < std::min(n, hit.to + soon); ++i)
            back = back || std::abs(trace.y[i] - before) < half;
        for (std::size_t i = hit.from - std::min(hit.from, soon); i < hit.from; ++i)
            back = back || std::abs(trace.y[i] - after) < half;
        if (!back)
            hit.score *= stays;
    }
}

/// The mean of what is known of a window.
double mean_over(const std::vector<double>& values, const Window& window) {
    double sum = 0;
    std::size_t count = 0;
    for (std::size_t i = window.from; i < window.to; ++i)
        if (!std::isnan(values[i])) {
            sum += values[i];
            ++count;
        }
    return count > 0 ? sum / static_cast<double>(count) : 0;
}

/// How much wider the margin of a leap is while nothing is expected, so soon after a gap.
constexpr float after_gap = 4;

} // namespace

/// Whether the good run was at this very value more than now and then.
bool LooseScanner::rests_at(float value) const {
    const auto half = static_cast<float>(0.5 * step_);
    const auto from = std::lower_bound(taught_.begin(), taught_.end(), value - half);
    const auto to = std::upper_bound(from, taught_.end(), value + half);
    constexpr std::ptrdiff_t part = 60; // one of so many
    return part * (to - from) > static_cast<std::ptrdiff_t>(taught_.size());
}

/// What lies far from both ends of what a run takes.
Ends LooseScanner::midway(const Trace& trace) const {
    constexpr float far = 0.1F; // of what the good run took
    const Ends own = within_ends(trace, step_);
    const float by = far * (taught_.back() - taught_.front());
    return {own.low + by, own.high - by};
}

void LooseScanner::visit(const Trace& trace, Sign sign, double seconds,
                         std::vector<Window>& out) const {
    out.clear();
    const std::size_t n = trace.t.size();
    const std::size_t width = samples_in(trace, seconds);
    if (n < 3 || width > n)
        return;
    switch (sign) {
    case Sign::excursion: {
        // Away and back again: how far the least of `width` samples stands beyond both shoulders.
        constexpr std::size_t shoulder = 3;
        std::vector<float> difference(n);
        for (std::size_t i = 0; i < n; ++i)
            difference[i] = trace.y[i] - trace.fitted[i];
        // The least and the greatest of each shoulder, by its first sample; not-a-number where one
        // of them is.
        std::vector<float> lowest(n - shoulder + 1);
        std::vector<float> highest(n - shoulder + 1);
        for (std::size_t i = 0; i < lowest.size(); ++i) {
            const float a = difference[i];
            const float b = difference[i + 1];
            const float c = difference[i + 2];
            const bool known = !std::isnan(a) && !std::isnan(b) && !std::isnan(c);
            lowest[i] = known ? std::min(std::min(a, b), c) : missing;
            highest[i] = known ? std::max(std::max(a, b), c) : missing;
        }
        for (std::size_t i = shoulder; i + width + shoulder <= n; ++i) {
            out.push_back({i, i + width, nothing, 0});
            if (trace.piece[i - shoulder] != trace.piece[i + width + shoulder - 1] ||
                std::isnan(lowest[i - shoulder]) || std::isnan(lowest[i + width]))
                continue;
            const float low = std::min(lowest[i - shoulder], lowest[i + width]);
            const float high = std::max(highest[i - shoulder], highest[i + width]);
            float least = difference[i];
            float most = least;
            float scale = trace.local[i];
            for (std::size_t k = i + 1; k < i + width; ++k) {
                least = std::min(least, difference[k]);
                most = std::max(most, difference[k]);
                scale = std::max(scale, trace.local[k]);
                if (std::isnan(difference[k]))
                    least = most = missing;
            }
            if (std::isnan(least))
                continue;
            out.back().value = least > high ? (least - high) / scale
                               : most < low ? (most - low) / scale
                                            : 0.0F;
        }
        break;
    }
    case Sign::rough:
        windows(
            n, width,
            [&](std::size_t i) -> double {
                if (i == 0 || i + 1 >= n || trace.piece[i - 1] != trace.piece[i + 1])
                    return nothing;
                return std::abs(trace.z[i] - 0.5F * (trace.z[i - 1] + trace.z[i + 1]));
            },
            [&](std::size_t from, std::size_t to, double sum, std::size_t count) {
                out.push_back({from, to,
                               mostly_known(count, width)
                                   ? std::log(std::max(0.0, sum) / static_cast<double>(count) + 0.1)
                                   : nothing,
                               0});
            });
        break;
    case Sign::leap:
        for (std::size_t i = 1; i < n; ++i) {
            out.push_back({i - 1, i + 1, nothing, 0});
            if (trace.piece[i] != trace.piece[i - 1] ||
                trace.t[i] - trace.t[i - 1] > 1.75 * trace.interval)
                continue;
            // What the others did as well, a moment around, is no leap, be it that they tell the
            // value or not.
            float change = trace.y[i] - trace.y[i - 1];
            const float expected =
                change > 0 ? trace.high[i] - trace.low[i - 1] : trace.low[i] - trace.high[i - 1];
            if (std::isnan(expected)) {
                // A gross leap is one whatever went before the gap, and no warm-up leaps.
                const Silence silence = std::min(trace.silence[i], trace.silence[i - 1]);
                if (silence != Silence::none)
                    out.back().value =
                        change / trace.sigma[i] / (silence == Silence::after_gap ? after_gap : 1);
                continue;
            }
            const float left = change - expected;
            change = left * change <= 0 ? 0 : std::abs(left) < std::abs(change) ? left : change;
            out.back().value = change / trace.sigma[i];
        }
        break;
    case Sign::frozen: {
        // How long it stands still to the step while the others are on the move.
        std::vector<double> stirs;
        for (std::size_t i = 0; i < n; i += 1 + n / 1000)
            stirs.push_back(trace.stir[i]);
        const double lively = 0.5 * median(stirs);
        for (std::size_t from = 0; from < n;) {
            std::size_t to = from + 1;
            double stir = trace.stir[from];
            while (to < n && trace.piece[from] == trace.piece[to] && trace.y[to] == trace.y[from])
                stir += trace.stir[to++];
            constexpr std::size_t few = 5;
            // At either end of what it takes a signal may rest.
            const bool at_end = !(trace.y[from] > rest_.low && trace.y[from] < rest_.high);
            // Nor is it strange at the ends of its scaling.
            const float here = trace.y[from];
            const bool between =
                here > range_.low && here < range_.high && !(at_end && rests_at(here));
            const bool still =
                to - from > few && between &&
                stir / static_cast<double>(to - from) > (at_end ? 1.5 : 1.0) * lively;
            out.push_back(
                {from, to, still ? trace.t[to - 1] - trace.t[from] : 0.0, at_end ? 1.0 : 0.0});
            from = to;
        }
        break;
    }
    default:
        break;
    }
}

/// Turns the first model's values, in its own units, into what no model contradicts.
void LooseScanner::agree(const std::vector<Trace>& traces, Sign sign, const Norm& norm,
                         std::vector<std::vector<Window>>& seen) {
    const std::size_t models = seen.size();
    std::vector<Window>& first = seen.front();
    for (std::size_t i = 0; i < first.size(); ++i) {
        const std::size_t middle = (first[i].from + first[i].to) / 2;
        if (!two_sided(sign)) {
            double least = std::numeric_limits<double>::quiet_NaN();
            float sharpest = std::numeric_limits<float>::infinity();
            for (std::size_t m = 0; m < models; ++m)
                sharpest = std::min(sharpest,
                                    scale_at(traces[m], sign, middle)); // not-a-number does not win
            for (std::size_t m = 0; m < models; ++m) {
                const double value = (seen[m][i].value - norm.centre[m]) / norm.unit[m];
                if (std::isnan(value) || !(scale_at(traces[m], sign, middle) <= 3 * sharpest))
                    continue;
                least = std::isnan(least) ? value : std::min(least, value);
            }
            first[i].value = least;
            continue;
        }
        std::array<Seen, most_views> all;
        std::size_t count = 0;
        for (std::size_t m = 0; m < models && m < most_views; ++m) {
            const double scale = scale_at(traces[m], sign, middle);
            const Seen one{seen[m][i].value * scale, norm.unit[m] * scale};
            if (!std::isnan(one.difference) && !std::isnan(one.unit))
                all[count++] = one;
        }
        const Agreed together = agreed({all.data(), count});
        first[i].value = together.value;
        first[i].difference = together.difference;
    }
}

LooseScanner::LooseScanner(const std::vector<Trace>& good, const Series& series, double strictness,
                           Still still)
    : step_(series.step), still_(still) {
    if (series.has_ends)
        range_ = {static_cast<float>(series.low + 1.5 * series.step),
                  static_cast<float>(series.high - 1.5 * series.step)};
    const double step = series.step;
    const Trace& main = good.front();
    const std::size_t n = main.t.size();
    std::size_t count = 0;
    for (std::size_t i = 0; i < n; ++i)
        count += std::isnan(main.z[i]) ? 0 : 1;
    if (n < 30 || count < 30)
        return;
    rest_ = within_ends(main, step);
    taught_ = main.y;
    std::sort(taught_.begin(), taught_.end());
    const bool wide = double{rest_.high - rest_.low} > 10 * step;
    const double interval = std::max(1e-6, main.interval);
    const double length = main.t.back() - main.t.front();
    const auto widths = [&](Sign sign, std::initializer_list<double> counts, double most_seconds) {
        std::size_t w = 0;
        for (const double c : counts)
            if (w < most_widths && c * interval <= most_seconds)
                norms_[static_cast<std::size_t>(sign)][w++].width = c * interval;
    };
    widths(Sign::leap, {1}, length);
    widths(Sign::excursion, {1, 2, 3, 4}, length);
    widths(Sign::rough, {8, 16, 32, 64}, length / 10);
    if (still != Still::nowhere)
        widths(Sign::frozen, {1}, length);

    std::vector<std::vector<Window>> seen(good.size());
    std::vector<double> sizes;
    for (const Sign sign : {Sign::excursion, Sign::rough, Sign::leap, Sign::frozen})
        for (Norm& norm : norms_[static_cast<std::size_t>(sign)]) {
            if (norm.width <= 0)
                continue;
            const double apart = sign == Sign::rough ? length / norm.width : static_cast<double>(n);
            for (std::size_t m = 0; m < good.size(); ++m) {
                visit(good[m], sign, norm.width, seen[m]);
                if (sign != Sign::rough) {
                    norm.unit[m] = 1; // most are nought
                    continue;
                }
                sizes.clear();
                for (const Window& one : seen[m])
                    if (!std::isnan(one.value))
                        sizes.push_back(one.value);
                if (sizes.size() < 8) {
                    norm.unit[m] = std::numeric_limits<double>::quiet_NaN();
                } else {
                    norm.centre[m] = median(sizes);
                    norm.unit[m] = std::max(0.05, mad_factor * median_deviation(sizes));
                }
            }
            if (sign == Sign::frozen) {
                double longest = 0;
                double longest_at_end = 0;
                for (const Window& one : seen.front()) {
                    double& most = one.difference > 0 ? longest_at_end : longest;
                    most = std::max(most, one.value);
                }
                // Only of what seldom stands still.
                std::size_t moves = 0;
                for (std::size_t i = 1; i < n; ++i)
                    moves += main.y[i] != main.y[i - 1] ? 1 : 0;
                if (moves >= 60 && 4 * moves > n && wide) {
                    norm.limit = strictness * (4 * longest + 15 * interval);
                    norm.at_end =
                        strictness * (6 * std::max(longest, longest_at_end) + 30 * interval);
                }
                continue;
            }
            if (sign == Sign::leap) {
                // Compared with the most that the good run had.
                double most = 0;
                for (const Window& one : seen.front())
                    if (!std::isnan(one.value))
                        most = std::max(most, std::abs(one.value));
                // Whatever the others did meanwhile, no less than the good run had.
                double raw = 0;
                for (std::size_t i = 1; i < n; ++i)
                    if (main.piece[i] == main.piece[i - 1] && main.sigma[i] > 0)
                        raw = std::max(raw, std::abs(double{main.y[i]} - double{main.y[i - 1]}) /
                                                double{main.sigma[i]});
                // Nor need it be far more than any step that the good run had.
                norm.limit = strictness * std::clamp(4.5 * most + step / double{main.sigma[n / 2]},
                                                     1.4 * raw,
                                                     1.6 * raw + step / double{main.sigma[n / 2]});
                continue;
            }
            agree(good, sign, norm, seen);
            sizes.clear();
            for (const Window& one : seen.front())
                if (!std::isnan(one.value)) {
                    sizes.push_back(two_sided(sign) ? std::abs(one.value) : one.value);
                    norm.greatest = std::max(norm.greatest, std::abs(one.difference));
                }
            if (sizes.size() < 8 || apart < 4)
                continue;
            constexpr double by_chance = 1e-4;
            const double margin = sign == Sign::rough ? 5.6 : 3.8;
            norm.limit = strictness * margin * std::max(4.0, chance_limit(sizes, apart, by_chance));
        }
}

std::vector<Hit> LooseScanner::scan(const std::vector<Trace>& traces, float least) const {
    std::vector<Hit> hits;
    std::vector<std::vector<Window>> seen(traces.size());
    std::vector<double> values(traces.front().y.begin(), traces.front().y.end());
    // What lies at an edge of its scaling goes to and fro by a step, which is no roughness.
    const std::vector<double> bends = bends_of(traces.front(), values);
    for (const Sign sign : {Sign::excursion, Sign::rough, Sign::leap, Sign::frozen})
        for (std::size_t w = 0; w < most_widths; ++w) {
            const Norm& norm = norms_[static_cast<std::size_t>(sign)][w];
            if (norm.limit <= 0)
                continue;
            const bool both = two_sided(sign);
            for (std::size_t m = 0; m < traces.size(); ++m)
                visit(traces[m], sign, norm.width, seen[m]);
            if (sign == Sign::leap)
                for (Window& one : seen.front())
                    one.difference = one.value * double{traces.front().sigma[one.from]};
            else if (sign != Sign::frozen)
                agree(traces, sign, norm, seen);
            if (sign == Sign::frozen) {
                Stretches stretches(sign, w, hits);
                const Ends inside = still_ == Still::midway ? midway(traces.front()) : range_;
                for (const Window& one : seen.front()) {
                    const float here = traces.front().y[one.from];
                    if (!(here > inside.low && here < inside.high))
                        continue;
                    const bool at_end = one.difference > 0;
                    const auto score =
                        static_cast<float>(one.value / (at_end ? norm.at_end : norm.limit));
                    // What comes back to the same end to stand there has a stop there.
                    constexpr double again = 0.1;
                    const std::vector<float>& y = traces.front().y;
                    const auto returns = [&](const Window& other) {
                        return other.from != one.from && other.value > again * one.value &&
                               y[other.from] == y[one.from];
                    };
                    if (score >= least &&
                        !(at_end && std::any_of(seen.front().begin(), seen.front().end(), returns)))
                        stretches.add(one, score);
                }
                continue;
            }
            values.clear();
            double greatest = 0;
            for (const Window& one : seen.front())
                if (!std::isnan(one.value)) {
                    values.push_back(one.value);
                    greatest = std::max(greatest, both ? std::abs(one.value) : one.value);
                }
            if (greatest < least * norm.limit)
                continue;
            // This run's own majority: what it does most of the time is no departure, unless it is
            // far beyond anything the good run had.
            constexpr double whole_run = 2.5;
            const double own_centre = median(values);
            const double own_unit =
                std::max(norm.limit / 12, mad_factor * median_deviation(values));
            Stretches stretches(sign, w, hits);
            for (const Window& one : seen.front()) {
                const double v = one.value;
                const double against_good = (both ? std::abs(v) : v) / norm.limit;
                if (!(against_good >= least))
                    continue;
                const double apart = both ? std::abs(v - own_centre) : v - own_centre;
                const double against_own = apart / (own_unit * 6);
                // However calm it is here: no more than the good run had is no departure.
                double most = 1e6;
                if (both && norm.greatest > 0)
                    most = std::abs(one.difference) / (1.1 * norm.greatest);
                const auto score = static_cast<float>(std::min(
                    most, std::max(std::min(against_good, against_own), against_good / whole_run)));
                if (score >= least && (both ? std::abs(one.difference) >= 3 * step_
                                            : mean_over(bends, one) > 1.2 * step_))
                    stretches.add(one, score);
            }
        }
    hold_down_among_others(traces.front(), Sign::leap, hits);
    hold_down_one_way(traces.front(), hits);
    settle(hits);
    return hits;
}

} // namespace telltale::run
