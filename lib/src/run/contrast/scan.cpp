// SPDX-License-Identifier: Apache-2.0
#include "scan.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <utility>

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
    return sign != Sign::rough && sign != Sign::size && sign != Sign::frozen;
}

/// What a value of a sign is in units of.
float scale_at(const Trace& trace, Sign sign, std::size_t i) {
    return sign == Sign::excursion ? trace.local[i] : trace.sigma[i];
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
    case Sign::excursion: {
        // Away and back again: how far the least of `width` samples stands beyond both shoulders.
        constexpr std::size_t shoulder = 3;
        const auto difference = [&](std::size_t i) {
            return !locked_ || std::isnan(trace.low[i])
                       ? trace.y[i] - trace.fitted[i]
                       : trace.y[i] - std::clamp(trace.y[i], trace.low[i], trace.high[i]);
        };
        float side[shoulder];
        const auto level = [&](std::size_t from, float& low, float& high) {
            for (std::size_t k = 0; k < shoulder; ++k) {
                side[k] = difference(from + k);
                if (std::isnan(side[k]))
                    return false;
            }
            std::sort(std::begin(side), std::end(side));
            low = side[0];
            high = side[shoulder - 1];
            return true;
        };
        for (std::size_t i = shoulder; i + width + shoulder <= n; ++i) {
            out.push_back({i, i + width, nothing, 0});
            if (trace.piece[i - shoulder] != trace.piece[i + width + shoulder - 1])
                continue;
            float low_before = 0;
            float high_before = 0;
            float low_after = 0;
            float high_after = 0;
            if (!level(i - shoulder, low_before, high_before) ||
                !level(i + width, low_after, high_after))
                continue;
            const float low = std::min(low_before, low_after);
            const float high = std::max(high_before, high_after);
            float least = difference(i);
            float most = least;
            float scale = trace.local[i];
            for (std::size_t k = i + 1; k < i + width; ++k) {
                least = std::min(least, difference(k));
                most = std::max(most, difference(k));
                scale = std::max(scale, trace.local[k]);
                if (std::isnan(difference(k)))
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
                               enough(count)
                                   ? std::log(std::max(0.0, sum) / static_cast<double>(count) + 0.1)
                                   : nothing,
                               0});
            });
        break;
    case Sign::size:
        windows(
            n, width, [&](std::size_t i) { return double{clipped(std::abs(trace.z[i]), 4)}; },
            [&](std::size_t from, std::size_t to, double sum, std::size_t count) {
                out.push_back({from, to,
                               enough(count)
                                   ? std::log(std::max(0.0, sum) / static_cast<double>(count) + 0.2)
                                   : nothing,
                               0});
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
    case Sign::frozen: {
        // Stretches without any change, and how far the expected course went to and fro meanwhile.
        for (std::size_t from = 0; from < n;) {
            std::size_t to = from + 1;
            float least = trace.fitted[from];
            float most = least;
            float scale = trace.sigma[from];
            while (to < n && trace.piece[to] == trace.piece[from] &&
                   std::abs(trace.y[to] - trace.y[from]) <= 0.5 * step_) {
                if (!(trace.fitted[to] >= least)) // also where it began with not-a-number
                    least = trace.fitted[to];
                if (!(trace.fitted[to] <= most))
                    most = trace.fitted[to];
                scale = std::max(scale, trace.sigma[to]);
                ++to;
            }
            const float moved = (most - least) / scale;
            out.push_back(
                {from, to, to - from >= 5 && !std::isnan(moved) ? double{moved} : 0.0, 0});
            from = to;
        }
        break;
    }
    case Sign::apart: {
        // From sample to sample both courses are bands: what lies within is a matter of timing.
        std::vector<double> apart(n, nothing);
        for (std::size_t i = 1; i + 1 < n; ++i) {
            if (trace.piece[i - 1] != trace.piece[i + 1])
                continue;
            if (std::isnan(trace.fitted[i]))
                continue;
            const float low = trace.low[i];
            const float high = trace.high[i];
            const float least = std::min({trace.y[i - 1], trace.y[i], trace.y[i + 1]});
            const float most = std::max({trace.y[i - 1], trace.y[i], trace.y[i + 1]});
            apart[i] = least > high ? (least - high) / trace.sigma[i]
                       : most < low ? (most - low) / trace.sigma[i]
                                    : 0.0;
        }
        windows(
            n, width, [&](std::size_t i) { return apart[i]; },
            [&](std::size_t from, std::size_t to, double sum, std::size_t count) {
                out.push_back(
                    {from, to, enough(count) ? sum / static_cast<double>(count) : nothing, 0});
            });
        break;
    }
    case Sign::leap:
        for (std::size_t i = 1; i < n; ++i) {
            out.push_back({i - 1, i + 1, nothing, 0});
            if (trace.piece[i] == trace.piece[i - 1] &&
                trace.t[i] - trace.t[i - 1] <= 1.75 * trace.interval)
                out.back().value = (trace.y[i] - trace.y[i - 1]) / trace.sigma[i];
        }
        break;
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
        struct Seen {
            double difference;
            double unit;
        };
        std::array<Seen, most_models> all;
        std::size_t count = 0;
        for (std::size_t m = 0; m < models && m < most_models; ++m) {
            const double scale = scale_at(traces[m], sign, middle);
            const Seen one{seen[m][i].value * scale, norm.unit[m] * scale};
            if (!std::isnan(one.difference) && !std::isnan(one.unit))
                all[count++] = one;
        }
        if (count == 0) {
            first[i].value = std::numeric_limits<double>::quiet_NaN();
            continue;
        }
        // The sharpest first.
        if (count > 1 && all[1].unit < all[0].unit)
            std::swap(all[0], all[1]);
        if (count > 2 && all[2].unit < all[1].unit)
            std::swap(all[1], all[2]);
        if (count > 2 && all[1].unit < all[0].unit)
            std::swap(all[0], all[1]);
        // What is left of one view's difference after another's, which may be 3 units off.
        const auto within = [](double difference, const Seen& other) {
            return difference > 0 ? std::clamp(other.difference + 3 * other.unit, 0.0, difference)
                                  : std::clamp(other.difference - 3 * other.unit, difference, 0.0);
        };
        double difference = all[0].difference;
        for (std::size_t m = 1; m < count; ++m)
            difference = within(difference, all[m]);
        double value = difference / all[0].unit;
        // Two of three carry it too, if both are sharp: the third may lean on what follows from
        // this signal.
        if (count == 3 && all[2].unit <= 2.5 * all[0].unit)
            for (const auto& [a, b] : {std::pair{0U, 1U}, std::pair{0U, 2U}, std::pair{1U, 2U}}) {
                const double two = within(all[a].difference, all[b]);
                if (std::abs(two) / all[b].unit > std::abs(value)) {
                    value = two / all[b].unit;
                    difference = two;
                }
            }
        first[i].value = value;
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
    if (!locked)
        widths(Sign::leap, {1}, length);
    widths(Sign::excursion, {1, 2, 3, 4}, length);
    widths(Sign::rough, {8, 16, 32, 64}, length / 10);
    if (locked) {
        widths(Sign::frozen, {1}, length);
        widths(Sign::apart, {1, 3, 8, 20, 50, 120}, length / 5);
        widths(Sign::level, {20, 50, 120, 300, 800, 2000}, length / 5);
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
            if (norm.width <= 0 || settings.margin[s] <= 0)
                continue;
            const Sign sign = static_cast<Sign>(s);
            const double apart = sign == Sign::excursion || norm.width <= interval
                                     ? static_cast<double>(n)
                                     : length / norm.width;
            for (std::size_t m = 0; m < good.size(); ++m) {
                visit(good[m], sign, norm.width, seen[m]);
                if (sign == Sign::excursion || sign == Sign::apart) {
                    norm.unit[m] = 1; // most are nought
                    continue;
                }
                sizes.clear();
                for (const Window& one : seen[m])
                    if (!std::isnan(one.value))
                        sizes.push_back(two_sided(sign) ? std::abs(one.value) : one.value);
                if (sizes.size() < 8) {
                    norm.unit[m] = std::numeric_limits<double>::quiet_NaN();
                } else if (two_sided(sign)) {
                    norm.unit[m] = std::max(1e-3, mad_factor * median(sizes));
                } else {
                    norm.centre[m] = median(sizes);
                    norm.unit[m] = std::max(0.05, mad_factor * median_deviation(sizes));
                }
            }
            if (sign == Sign::frozen || sign == Sign::leap) {
                // Compared with the most that the good run had.
                double most = 0;
                for (const Window& one : seen.front())
                    if (!std::isnan(one.value))
                        most = std::max(most, std::abs(one.value));
                norm.unit.fill(1);
                norm.centre.fill(0);
                norm.limit = sign == Sign::frozen
                                 ? 2 * most + 5
                                 : settings.margin[s] * most + 4 * step / double{main.sigma[n / 2]};
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
            norm.limit =
                settings.margin[s] * std::max(4.0, chance_limit(sizes, apart, settings.by_chance));
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
            if (sign == Sign::leap)
                for (Window& one : seen.front())
                    one.difference = one.value * double{traces.front().sigma[one.from]};
            else if (sign != Sign::frozen)
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
                // However calm it is here: no more than the good run had is no departure.
                double most = 1e6;
                if (both && norm.greatest > 0)
                    most = std::abs(one.difference) / (1.1 * norm.greatest);
                const auto score = static_cast<float>(
                    std::min(most, std::max(std::min(against_good, against_own),
                                            against_good / settings_.whole_run)));
                if (!(score >= least))
                    continue;
                if (step_ > 0 && (sign == Sign::excursion || sign == Sign::leap)) {
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
