// SPDX-License-Identifier: Apache-2.0
#include "scan.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

#include "telltale/run/robust.hpp"

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

/// Keeps not-a-number.
float clipped(float value, float most) {
    return value > most ? most : value < -most ? -most : value;
}

bool two_sided(Sign sign) {
    return sign != Sign::rough && sign != Sign::size;
}

/// Calls see(from, to, sum, count) for windows of `width` samples, a quarter of it apart, over
/// values of which `missing` ones do not count.
template <class Value, class See>
void windows(std::size_t n, std::size_t width, Value value, See see) {
    if (width == 0 || n < width)
        return;
    const std::size_t stride = std::max<std::size_t>(1, width / 4);
    double sum = 0;
    std::size_t count = 0;
    std::size_t begin = 0;
    std::size_t end = 0;
    for (; begin + width <= n; begin += stride) {
        if (begin >= end) {
            sum = 0;
            count = 0;
            end = begin;
        }
        for (; end < begin + width; ++end) {
            const double v = value(end);
            if (!std::isnan(v)) {
                sum += v;
                ++count;
            }
        }
        see(begin, begin + width, sum, count);
        for (std::size_t i = begin; i < std::min(n, begin + stride); ++i) {
            const double v = value(i);
            if (!std::isnan(v)) {
                sum -= v;
                --count;
            }
        }
    }
}

/// Where a straight line through `count` values would stand half a sample beyond their last;
/// not-a-number when too many of them are missing.
double beyond(const float* values, std::size_t count, bool backwards) {
    double n = 0;
    double sx = 0;
    double sy = 0;
    double sxx = 0;
    double sxy = 0;
    for (std::size_t i = 0; i < count; ++i) {
        const double v = backwards ? values[count - 1 - i] : values[i];
        if (std::isnan(v))
            continue;
        const auto x = static_cast<double>(i);
        n += 1;
        sx += x;
        sy += v;
        sxx += x * x;
        sxy += x * v;
    }
    const auto all = static_cast<double>(count);
    if (n < 0.6 * all || n < 1)
        return std::numeric_limits<double>::quiet_NaN();
    if (count < 4)
        return sy / n;
    const double spread = sxx - sx * sx / n;
    const double slope = spread > 0 ? (sxy - sx * sy / n) / spread : 0;
    return sy / n + slope * (all - 0.5 - sx / n);
}

} // namespace

std::size_t Scanner::samples(const Trace& trace, double seconds) const {
    return std::max<std::size_t>(
        1, static_cast<std::size_t>(std::lround(seconds / std::max(1e-6, trace.interval))));
}

void Scanner::visit(const Trace& trace, Sign sign, double seconds, std::vector<Window>& out) const {
    out.clear();
    const std::size_t n = trace.t.size();
    const std::size_t width = samples(trace, seconds);
    if (n < 3 || width > n)
        return;
    constexpr double nothing = std::numeric_limits<double>::quiet_NaN();
    const auto enough = [&](std::size_t count) { return count > 0 && 10 * count >= 6 * width; };
    switch (sign) {
    case Sign::level:
        windows(
            n, width, [&](std::size_t i) { return double{trace.z[i]}; },
            [&](std::size_t from, std::size_t to, double sum, std::size_t count) {
                out.push_back(
                    {from, to, enough(count) ? sum / static_cast<double>(count) : nothing, 0});
            });
        break;
    case Sign::jump: {
        for (std::size_t first = 0; first + 2 * width <= n; ++first) {
            const std::size_t middle = first + width;
            out.push_back({first, middle + width, nothing, 0});
            if (trace.piece[first] == trace.piece[middle + width - 1])
                out.back().value =
                    beyond(&trace.z[middle], width, true) - beyond(&trace.z[first], width, false);
        }
        break;
    }
    case Sign::excursion: {
        std::vector<float> around;
        for (std::size_t i = 0; i < n; ++i) {
            out.push_back({i, i + 1, nothing, 0});
            if (std::isnan(trace.z[i]))
                continue;
            around.clear();
            for (std::size_t k = 1; k <= width && k <= i; ++k) {
                if (trace.piece[i - k] != trace.piece[i])
                    break;
                if (!std::isnan(trace.z[i - k]))
                    around.push_back(trace.z[i - k]);
            }
            const std::size_t before = around.size();
            for (std::size_t k = 1; k <= width && i + k < n; ++k) {
                if (trace.piece[i + k] != trace.piece[i])
                    break;
                if (!std::isnan(trace.z[i + k]))
                    around.push_back(trace.z[i + k]);
            }
            if (2 * before < width || 2 * (around.size() - before) < width)
                continue;
            const auto middle = around.begin() + static_cast<std::ptrdiff_t>(around.size() / 2);
            std::nth_element(around.begin(), middle, around.end());
            out.back().value = trace.z[i] - *middle;
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
                               enough(count)
                                   ? std::log(std::max(0.0, sum) / static_cast<double>(count) + 0.1)
                                   : nothing});
            });
        break;
    case Sign::size:
        windows(
            n, width, [&](std::size_t i) { return double{clipped(std::abs(trace.z[i]), 4)}; },
            [&](std::size_t from, std::size_t to, double sum, std::size_t count) {
                out.push_back({from, to,
                               enough(count)
                                   ? std::log(std::max(0.0, sum) / static_cast<double>(count) + 0.2)
                                   : nothing});
            });
        break;
    case Sign::late: {
        const auto most_lever = static_cast<float>(6 * std::sqrt(late_floor_ * 10) + 1e-6);
        std::vector<double> levers(n);
        for (std::size_t i = 0; i < n; ++i)
            levers[i] = std::isnan(trace.z[i])
                            ? nothing
                            : clipped(trace.slope[i] / trace.sigma[i], most_lever);
        windows(
            n, width, [&](std::size_t i) { return levers[i] * levers[i]; },
            [&](std::size_t from, std::size_t to, double sum, std::size_t count) {
                out.push_back({from, to, enough(count) ? std::max(0.0, sum) : nothing, 0});
            });
        std::size_t at = 0;
        const double floor = late_floor_ * static_cast<double>(width) + 1e-9;
        windows(
            n, width, [&](std::size_t i) { return levers[i] * clipped(trace.z[i], 6); },
            [&](std::size_t, std::size_t, double sum, std::size_t) {
                out[at].value = sum / std::sqrt(out[at].value + floor);
                ++at;
            });
        break;
    }
    default:
        break;
    }
}

/// Turns the first model's values, in its own units, into what no model contradicts.
void Scanner::agree(const std::vector<Trace>& traces, Sign sign, const Norm& norm,
                    std::vector<std::vector<Window>>& seen) const {
    const std::size_t models = seen.size();
    std::vector<Window>& first = seen.front();
    for (std::size_t i = 0; i < first.size(); ++i) {
        const std::size_t middle = (first[i].from + first[i].to) / 2;
        if (!two_sided(sign)) {
            double least = std::numeric_limits<double>::quiet_NaN();
            float sharpest = std::numeric_limits<float>::infinity();
            for (std::size_t m = 0; m < models; ++m)
                sharpest = std::min(sharpest, traces[m].sigma[middle]); // not-a-number does not win
            for (std::size_t m = 0; m < models; ++m) {
                const double value = (seen[m][i].value - norm.centre[m]) / norm.unit[m];
                if (std::isnan(value) || !(traces[m].sigma[middle] <= 3 * sharpest))
                    continue;
                least = std::isnan(least) ? value : std::min(least, value);
            }
            first[i].value = least;
            continue;
        }
        std::size_t best = models;
        double best_unit = 0;
        for (std::size_t m = 0; m < models; ++m) {
            const double unit = norm.unit[m] * traces[m].sigma[middle];
            if (std::isnan(seen[m][i].value) || std::isnan(unit))
                continue;
            if (best == models || unit < best_unit) {
                best = m;
                best_unit = unit;
            }
        }
        if (best == models) {
            first[i].value = std::numeric_limits<double>::quiet_NaN();
            continue;
        }
        double difference = seen[best][i].value * traces[best].sigma[middle];
        for (std::size_t m = 0; m < models; ++m) {
            const double here = seen[m][i].value * traces[m].sigma[middle];
            const double unit = norm.unit[m] * traces[m].sigma[middle];
            if (m == best || std::isnan(here) || std::isnan(unit))
                continue;
            if (difference > 0)
                difference = std::clamp(here + 3 * unit, 0.0, difference);
            else
                difference = std::clamp(here - 3 * unit, difference, 0.0);
        }
        first[i].value = difference / best_unit;
        first[i].difference = difference;
    }
}

Scanner::Scanner(const std::vector<Trace>& good, bool locked, double step,
                 const ScanSettings& settings)
    : settings_(settings), locked_(locked), step_(step) {
    const Trace& main = good.front();
    const std::size_t n = main.t.size();
    if (n < 30)
        return;
    const double interval = std::max(1e-6, main.interval);
    const double length = main.t.back() - main.t.front();
    const auto widths = [&](Sign sign, std::initializer_list<double> counts, double most_seconds) {
        std::size_t w = 0;
        for (const double count : counts)
            if (w < most_widths && count * interval <= most_seconds)
                norms_[static_cast<std::size_t>(sign)][w++].width = count * interval;
    };
    widths(Sign::jump, {2, 4, 8, 16, 32, 64}, std::min(20.0, length / 10));
    widths(Sign::excursion, {3, 8}, 12);
    widths(Sign::rough, {8, 16, 32, 64}, length / 10);
    if (locked) {
        widths(Sign::level, {1, 3, 8, 20, 50, 120, 300, 800, 2000}, length / 5);
        widths(Sign::size, {16, 64, 256}, length / 8);
        std::size_t w = 0;
        for (const double seconds : {8.0, 25.0, 80.0})
            if (seconds < length / 4 && seconds / interval > 8)
                norms_[static_cast<std::size_t>(Sign::late)][w++].width = seconds;
    }
    double slopes = 0;
    std::size_t count = 0;
    for (std::size_t i = 0; i < n; ++i)
        if (!std::isnan(main.z[i])) {
            slopes += std::pow(main.slope[i] / main.sigma[i], 2);
            ++count;
        }
    if (count < 30) {
        norms_ = {};
        return;
    }
    late_floor_ = 0.1 * slopes / static_cast<double>(count);

    std::vector<std::vector<Window>> seen(good.size());
    std::vector<double> sizes;
    for (std::size_t s = 0; s < sign_count; ++s)
        for (std::size_t w = 0; w < most_widths; ++w) {
            Norm& norm = norms_[s][w];
            if (norm.width <= 0)
                continue;
            const Sign sign = static_cast<Sign>(s);
            const double apart = sign == Sign::excursion || norm.width <= interval
                                     ? static_cast<double>(n)
                                     : length / norm.width;
            for (std::size_t m = 0; m < good.size(); ++m) {
                visit(good[m], sign, norm.width, seen[m]);
                sizes.clear();
                for (const Window& one : seen[m])
                    if (!std::isnan(one.value))
                        sizes.push_back(one.value);
                if (sizes.size() < 8) {
                    norm.unit[m] = std::numeric_limits<double>::quiet_NaN();
                } else if (two_sided(sign)) {
                    for (double& v : sizes)
                        v = std::abs(v);
                    norm.unit[m] = std::max(1e-3, mad_factor * median(sizes));
                } else {
                    norm.centre[m] = median(sizes);
                    norm.unit[m] = std::max(0.05, mad_factor * median_deviation(sizes));
                }
            }
            agree(good, sign, norm, seen);
            sizes.clear();
            for (const Window& one : seen.front())
                if (!std::isnan(one.value))
                    sizes.push_back(two_sided(sign) ? std::abs(one.value) : one.value);
            if (sizes.size() < 8 || apart < 4)
                continue;
            norm.limit =
                settings.margin * std::max(4.0, chance_limit(sizes, apart, settings.by_chance));
        }
}

std::vector<Hit> Scanner::scan(const std::vector<Trace>& traces, float least) const {
    std::vector<Hit> hits;
    std::vector<std::vector<Window>> seen(traces.size());
    std::vector<double> values;
    for (std::size_t s = 0; s < sign_count; ++s)
        for (std::size_t w = 0; w < most_widths; ++w) {
            const Norm& norm = norms_[s][w];
            if (norm.limit <= 0)
                continue;
            const Sign sign = static_cast<Sign>(s);
            const bool both = two_sided(sign);
            for (std::size_t m = 0; m < traces.size(); ++m)
                visit(traces[m], sign, norm.width, seen[m]);
            agree(traces, sign, norm, seen);
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
            const double own_centre = median(values);
            const double own_unit =
                std::max(norm.limit / 12, mad_factor * median_deviation(values));
            Hit open;
            const auto close = [&] {
                if (open.score > 0)
                    hits.push_back(open);
                open.score = 0;
            };
            for (const Window& one : seen.front()) {
                const double v = one.value;
                const double size = both ? std::abs(v) : v;
                const double against_good = size / norm.limit;
                if (!(against_good >= least))
                    continue;
                const double apart = both ? std::abs(v - own_centre) : v - own_centre;
                const double against_own = apart / (own_unit * 6);
                const auto score =
                    static_cast<float>(std::min(1e6, std::max(std::min(against_good, against_own),
                                                              against_good / settings_.whole_run)));
                if (!(score >= least))
                    continue;
                if (step_ > 0 && (sign == Sign::jump || sign == Sign::excursion)) {
                    if (std::abs(one.difference) < 3 * step_)
                        continue;
                }
                if (open.score > 0 && one.from <= open.to) {
                    open.to = std::max(open.to, one.to);
                } else {
                    close();
                    open = {sign, static_cast<std::uint8_t>(w), one.from, one.to, 0, 0};
                }
                if (score > open.score) {
                    open.score = score;
                    open.value = static_cast<float>(v);
                }
            }
            close();
        }
    std::sort(hits.begin(), hits.end(),
              [](const Hit& a, const Hit& b) { return a.score > b.score; });
    constexpr std::size_t most = 200;
    if (hits.size() > most)
        hits.resize(most);
    return hits;
}

} // namespace telltale::run
