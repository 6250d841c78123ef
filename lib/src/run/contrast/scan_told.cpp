// SPDX-License-Identifier: Apache-2.0
#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <optional>
#include <utility>

#include "run/robust.hpp"
#include "scan.hpp"

namespace telltale::run {
namespace {

constexpr std::size_t shoulder = 3;
constexpr double almost = 0.999; ///< of what counts

/// How strong each sign may be by the width of its windows (in samples; seconds for `late`): the
/// limit is `factor` times a power of the strongest that the good run had, or of `floor` where the
/// good run had less. Measured on invented pairs of drives without a fault (tests/bench).
struct Rule {
    Sign sign;
    double floor;
    std::array<double, ToldScanner::most_widths> widths; ///< 0: no more of them
    std::array<double, ToldScanner::most_widths> factors;
};
constexpr double power = 0.8;
constexpr std::array rules{
    Rule{Sign::apart, 4, {1, 2, 3, 4}, {3.9, 3.8, 3.8, 3.8}},
    Rule{Sign::excursion, 4, {1, 2, 3, 4}, {3.4, 2.6, 2.2, 1.9}},
    Rule{Sign::level, 1.5, {8, 20, 50, 120, 300, 800}, {10.5, 10.2, 8.0, 7.6, 5.5, 3.2}},
    Rule{Sign::shown, 1.5, {8, 20, 50, 120, 300, 800}, {6.3, 6.6, 6.6, 4.8, 4.4, 2.4}},
    Rule{Sign::rough, 1.2, {8, 16, 32, 64}, {3.6, 3.4, 3.2, 3.0}},
    Rule{Sign::size, 1.3, {64, 256, 800}, {3.2, 3.0, 2.6}},
    Rule{Sign::late, 3, {8, 25, 80}, {8.0, 7.9, 7.4}},
    Rule{Sign::frozen, 6, {1}, {1.9}},
};

/// What two views show at least, in units of normal differences; a single one counts for less.
double witnessed(const Seen* views, std::size_t count) {
    constexpr double alone = 2.5;
    if (count == 0)
        return nothing;
    if (count == 1)
        return views[0].difference / views[0].unit / alone;
    TwoGreatest up;
    TwoGreatest down;
    for (std::size_t i = 0; i < count; ++i) {
        const double z = views[i].difference / views[i].unit;
        (z > 0 ? up : down).add(std::abs(z));
    }
    return up.second >= down.second ? up.second : -down.second;
}

} // namespace

/// The views of one signal over one run, put together sample by sample, and what windows are made
/// of: a number for each sample of each view, not-a-number where it does not count.
struct ToldScanner::Sight {
    using Course = std::vector<double>;
    using Means = std::vector<std::vector<Seen>>; ///< of each view, window by window

    const std::vector<Trace>* traces;
    /// What two views show, timing set aside: how far beyond all that is expected a moment around.
    Course timed;
    std::vector<Course> rough;       ///< how far `timed` of one view leaves its neighbours
    std::vector<Course> lever;       ///< squares of the speed of change
    std::vector<Course> late;        ///< the same speed times the difference
    std::vector<Means> levels;       ///< mean differences, by ...
    std::vector<std::size_t> widths; ///< ... the width of their windows

    Sight(const std::vector<Trace>& of, double late_floor) : traces(&of) {
        const std::size_t n = of.front().t.size();
        timed.assign(n, nothing);
        std::array<Seen, most_views> views{};
        for (std::size_t i = 0; i < n; ++i) {
            std::size_t count = 0;
            for (const Trace& trace : of)
                if (!std::isnan(trace.z[i]) && !std::isnan(trace.low[i]) && count < views.size())
                    views[count++] = {
                        double{trace.y[i]} -
                            double{std::clamp(trace.y[i], trace.low[i], trace.high[i])},
                        double{trace.sigma[i]}};
            timed[i] = witnessed(views.data(), count);
        }
        const double most = 6 * std::sqrt(late_floor * 10) + 1e-6;
        for (const Trace& trace : of) {
            Course off(n);
            for (std::size_t i = 0; i < n; ++i)
                off[i] = beyond(trace, i);
            rough.push_back(bends_of(of.front(), off));
            Course& squares = lever.emplace_back(n, nothing);
            Course& products = late.emplace_back(n, nothing);
            for (std::size_t i = 0; i < n; ++i)
                if (!std::isnan(trace.z[i])) {
                    const double speed =
                        std::clamp(double{trace.slope[i]} / double{trace.sigma[i]}, -most, most);
                    squares[i] = speed * speed;
                    products[i] = speed * std::clamp(double{trace.z[i]}, -6.0, 6.0);
                }
        }
    }

    /// The mean difference of each view over windows, in its usual unit there.
    const Means& level(std::size_t width) {
        const auto known = std::find(widths.begin(), widths.end(), width);
        if (known != widths.end())
            return levels[static_cast<std::size_t>(known - widths.begin())];
        widths.push_back(width);
        Means& means = levels.emplace_back(traces->size());
        for (std::size_t m = 0; m < traces->size(); ++m) {
            const Trace& trace = (*traces)[m];
            std::vector<Seen>& out = means[m];
            windows(
                trace.t.size(), width, [&](std::size_t i) { return double{trace.z[i]}; },
                [&](std::size_t, std::size_t, double sum, std::size_t count) {
                    out.push_back(
                        {mostly_known(count, width) ? sum / static_cast<double>(count) : nothing,
                         1});
                });
            std::size_t at = 0;
            windows(
                trace.t.size(), width,
                [&](std::size_t i) {
                    return std::isnan(trace.z[i]) ? nothing : double{trace.sigma[i]};
                },
                [&](std::size_t, std::size_t, double sum, std::size_t count) {
                    Seen& one = out[at++];
                    if (count > 0)
                        one.unit = sum / static_cast<double>(count);
                    one.difference *= one.unit;
                });
        }
        return means;
    }
};

/// The windows of a sign; of momentary ones those with a value above `above`.
void ToldScanner::visit(Sight& sight, Sign sign, double wide, double above,
                        std::vector<Window>& out) const {
    out.clear();
    const std::vector<Trace>& traces = *sight.traces;
    const Trace& main = traces.front();
    const std::size_t n = main.t.size();
    const auto one_piece = [&](std::size_t a, std::size_t b) {
        return main.piece[a] == main.piece[b];
    };
    const std::size_t width =
        sign == Sign::late ? samples_in(main, wide) : static_cast<std::size_t>(wide);
    // Of values a window: the mean of each view, put together.
    Sight::Means means(traces.size());
    const auto add_up = [&](auto value_of) {
        for (std::size_t m = 0; m < traces.size(); ++m)
            windows(
                n, width, [&](std::size_t i) { return value_of(m, i); },
                [&](std::size_t from, std::size_t to, double sum, std::size_t count) {
                    if (m == 0)
                        out.push_back({from, to, nothing, 0});
                    means[m].push_back(
                        {mostly_known(count, width) ? sum / static_cast<double>(count) : nothing,
                         1});
                });
    };
    const auto put_together = [&](const Sight::Means& of, auto merge) {
        std::array<Seen, most_views> views{};
        for (std::size_t i = 0; i < out.size(); ++i) {
            std::size_t count = 0;
            for (const auto& of_model : of)
                if (!std::isnan(of_model[i].difference) && count < views.size())
                    views[count++] = of_model[i];
            out[i].value = merge(views.data(), count);
        }
    };
    const auto least = [](const Seen* views, std::size_t count) {
        double value = nothing;
        for (std::size_t i = 0; i < count; ++i)
            value = std::isnan(value) ? views[i].difference : std::min(value, views[i].difference);
        return value;
    };
    switch (sign) {
    case Sign::apart: {
        const std::vector<double>& course = sight.timed;
        for (std::size_t i = 0; i + width <= n; ++i) {
            if (!(std::abs(course[i]) > above) || !one_piece(i, i + width - 1))
                continue;
            double low = course[i];
            double high = course[i];
            for (std::size_t k = i + 1; k < i + width; ++k) {
                if (std::isnan(course[k])) {
                    low = nothing;
                    break;
                }
                low = std::min(low, course[k]);
                high = std::max(high, course[k]);
            }
            if (!std::isnan(low))
                out.push_back({i, i + width, low > 0 ? low : high < 0 ? high : 0, 0});
        }
        break;
    }
    case Sign::excursion:
        for (std::size_t i = shoulder; i + width + shoulder <= n; ++i) {
            if (!one_piece(i - shoulder, i + width + shoulder - 1))
                continue;
            const double far = beyond_sides(i, width, shoulder, above,
                                            [&](std::size_t k) { return sight.timed[k]; });
            if (std::abs(far) > above) // not-a-number is not
                out.push_back({i, i + width, far, 0});
        }
        break;
    case Sign::level:
    case Sign::shown: {
        windows(
            n, width, [](std::size_t) { return 0.0; },
            [&](std::size_t from, std::size_t to, double, std::size_t) {
                out.push_back({from, to, nothing, 0});
            });
        const Sight::Means& levels = sight.level(width);
        if (sign == Sign::level)
            put_together(levels, [](Seen* views, std::size_t count) {
                return agreed({views, count}).value;
            });
        else
            put_together(levels, witnessed);
        break;
    }
    case Sign::rough:
        add_up([&](std::size_t m, std::size_t i) { return sight.rough[m][i]; });
        put_together(means, least);
        break;
    case Sign::size:
        add_up([&](std::size_t m, std::size_t i) -> double {
            const float size = std::abs(traces[m].z[i]);
            return size > 4 ? 4.0F : size; // keeps not-a-number
        });
        put_together(means, least);
        break;
    case Sign::late: {
        const double floor = late_floor_ * static_cast<double>(width) + 1e-9;
        for (std::size_t m = 0; m < traces.size(); ++m) {
            windows(
                n, width, [&](std::size_t i) { return sight.lever[m][i]; },
                [&](std::size_t from, std::size_t to, double sum, std::size_t count) {
                    if (m == 0)
                        out.push_back({from, to, nothing, 0});
                    means[m].push_back(
                        {mostly_known(count, width) ? std::max(0.0, sum) : nothing, 1});
                });
            std::size_t at = 0;
            windows(
                n, width, [&](std::size_t i) { return sight.late[m][i]; },
                [&](std::size_t, std::size_t, double sum, std::size_t) {
                    Seen& one = means[m][at++];
                    one.difference = sum / std::sqrt(one.difference + floor);
                });
        }
        put_together(means, witnessed);
        break;
    }
    case Sign::frozen:
        // Stretches without any change, and how far the expected course went to and fro meanwhile.
        for (std::size_t from = 0; from < n;) {
            std::size_t to = from + 1;
            while (to < n && one_piece(from, to) &&
                   std::abs(main.y[to] - main.y[from]) <= 0.5 * step_)
                ++to;
            constexpr std::size_t few = 5;
            double moved = to - from >= few && main.y[from] > rest_.low && main.y[from] < rest_.high
                               ? 1e300
                               : 0.0;
            for (const Trace& trace : traces) {
                float low = 1e30F;
                float high = -1e30F;
                float scale = 0;
                std::size_t count = 0;
                for (std::size_t i = from; i < to && to - from >= few; ++i)
                    if (!std::isnan(trace.z[i])) {
                        low = std::min(low, trace.fitted[i]);
                        high = std::max(high, trace.fitted[i]);
                        scale += trace.sigma[i];
                        ++count;
                    }
                if (count > 0)
                    moved = std::min(moved, double{high - low} /
                                                (double{scale} / static_cast<double>(count)));
            }
            out.push_back({from, to, moved < 1e300 ? moved : 0.0, 0});
            from = to;
        }
        break;
    default:
        break;
    }
}

ToldScanner::ToldScanner(const std::vector<Trace>& good, double step, double strictness,
                         double lasting)
    : good_(&good), late_(good, strictness), step_(step), strictness_(strictness),
      lasting_(lasting) {
    const Trace& main = good.front();
    const std::size_t n = main.t.size();
    double slopes = 0;
    std::size_t count = 0;
    for (std::size_t i = 0; i < n; ++i)
        if (!std::isnan(main.z[i])) {
            slopes += std::pow(main.slope[i] / main.sigma[i], 2);
            ++count;
        }
    if (count < 30)
        return;
    rest_ = within_ends(main, step);
    late_floor_ = 0.1 * slopes / static_cast<double>(count);
    taught_ = true;
}

std::vector<Hit> ToldScanner::scan(const std::vector<Trace>& traces, float least) const {
    constexpr double most_longer = 2;
    std::vector<Hit> hits;
    Sight sight(traces, late_floor_);
    std::optional<Sight> good;
    std::vector<Window> seen;
    std::vector<Window> taught;
    const Trace& main = good_->front();
    for (const Rule& rule : rules)
        for (std::size_t w = 0; w < most_widths && taught_; ++w) {
            const bool in_seconds = rule.sign == Sign::late;
            const double samples =
                rule.widths[w] / (in_seconds ? std::max(1e-6, main.interval) : 1.0);
            const double least_windows = in_seconds ? 4 : 5;
            if (rule.widths[w] <= 0 ||
                samples * least_windows > static_cast<double>(main.t.size()) ||
                (in_seconds && samples <= 8))
                continue;
            const bool frozen = rule.sign == Sign::frozen;
            const double factor =
                strictness_ * (lasts(rule.sign) ? lasting_ : 1.0) * rule.factors[w];
            // What is too little beside the least that the good run counts for need not be held to
            // what it had.
            const double lowest = factor * std::pow(rule.floor, power);
            const double above = almost * double{least} * lowest;
            visit(sight, rule.sign, rule.widths[w], above, seen);
            const double enough = frozen ? above / most_longer : above;
            if (std::none_of(seen.begin(), seen.end(), [enough](const Window& one) {
                    return std::abs(one.value) > enough; // not-a-number is not
                }))
                continue;
            if (!good)
                good.emplace(*good_, late_floor_);
            visit(*good, rule.sign, rule.widths[w], rule.floor, taught);
            double most = rule.floor;
            std::size_t longest_still = 0; // samples
            for (const Window& one : taught)
                if (!std::isnan(one.value)) {
                    most = std::max(most, std::abs(one.value));
                    if (frozen && one.value > 0)
                        longest_still = std::max(longest_still, one.to - one.from);
                }
            const double limit = factor * std::pow(most, power);
            // What standing still counts more where it lasts far longer than it ever did there.
            const auto far_longer = [&](std::size_t still) {
                const double long_enough = 2 * static_cast<double>(longest_still) + 8;
                return std::clamp(std::sqrt(static_cast<double>(still) / long_enough), 1.0,
                                  most_longer);
            };
            Stretches stretches(rule.sign, w, hits);
            for (const Window& one : seen) {
                double strange = std::abs(one.value) / limit;
                if (frozen)
                    strange *= far_longer(one.to - one.from);
                const auto score = static_cast<float>(strange);
                if (score >= least) // not-a-number is not
                    stretches.add(one, score);
            }
        }
    const std::vector<Hit> by_much = late_.scan(traces, least);
    hits.insert(hits.end(), by_much.begin(), by_much.end());
    settle(hits);
    return hits;
}

} // namespace telltale::run
