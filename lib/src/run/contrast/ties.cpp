// SPDX-License-Identifier: Apache-2.0
// From drives to ties and back: all signals at common times, which ties are kept, and what one
// makes expect at its target's own samples.
#include "ties.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <utility>

#include "ties_parts.hpp"
#include "traits.hpp"

namespace telltale::run {
namespace {

constexpr std::size_t grid_points = 4000;
constexpr std::size_t most_signals = 64;
constexpr std::size_t ties_each = 6;
constexpr std::size_t witnesses_each = 3;

} // namespace

Ties::Grid Ties::grid_of(const Drive& drive, const Survey& survey) const {
    Grid grid;
    const double length = std::max(1e-3, drive.seconds());
    grid.spacing = std::max(0.25, length / static_cast<double>(grid_points));
    grid.size = std::min(grid_points, static_cast<std::size_t>(length / grid.spacing) + 1);
    grid.plain.resize(able_.size());
    grid.logs.resize(able_.size());
    for (std::size_t k = 0; k < able_.size(); ++k) {
        if (able_[k] == 0 || !drive.track(k).present())
            continue;
        const Track& track = drive.track(k);
        Cursor cursor(track);
        std::vector<float>& plain = grid.plain[k];
        plain.resize(grid.size);
        std::size_t next = 0;
        for (std::size_t i = 0; i < grid.size; ++i) {
            const double t = static_cast<double>(i) * grid.spacing;
            plain[i] = cursor.at(t);
            // The mean where there are several samples.
            double sum = 0;
            std::size_t count = 0;
            while (next < track.size() && track.time(next) < t - grid.spacing / 2)
                ++next;
            for (; next < track.size() && track.time(next) < t + grid.spacing / 2; ++next) {
                sum += double{track.value(next)};
                ++count;
            }
            if (count >= 3)
                plain[i] = static_cast<float>(sum / static_cast<double>(count));
        }
        if (std::isnan(shift_[k]))
            continue;
        grid.logs[k].resize(grid.size);
        for (std::size_t i = 0; i < grid.size; ++i) {
            const double v = double{plain[i]} + shift_[k];
            grid.logs[k][i] = v > floor_[k] ? static_cast<float>(std::log(v)) : missing;
        }
    }
    // The first seconds, and an engine at rest that the good run never had so.
    grid.aside.assign(grid.size, 0);
    grid.block.resize(grid.size);
    for (std::size_t i = 0; i < grid.size; ++i) {
        const double t = static_cast<double>(i) * grid.spacing;
        grid.block[i] = static_cast<std::uint8_t>(drive.block(t) - drive.first_block());
        grid.aside[i] = t < 3 ? 1 : 0;
    }
    constexpr float far = 15;
    constexpr float any = 150;
    for (std::size_t i = 0; i < grid.size; ++i)
        if (survey.warmth(drive, static_cast<double>(i) * grid.spacing, far, any) == Warmth::cold)
            grid.aside[i] = 1;
    if (survey.least_rpm > 0 && !grid.plain[static_cast<std::size_t>(survey.rpm)].empty()) {
        const std::vector<float>& rpm = grid.plain[static_cast<std::size_t>(survey.rpm)];
        const auto reach = static_cast<std::size_t>(2 / grid.spacing) + 1;
        for (std::size_t i = 0; i < grid.size; ++i)
            if (rpm[i] < survey.least_rpm)
                for (std::size_t k = i > reach ? i - reach : 0;
                     k < std::min(grid.size, i + reach + 1); ++k)
                    grid.aside[k] = 1;
    }
    return grid;
}

Ties::Ties(const Drive& good, const std::vector<const Drive*>& bad, const Survey& survey,
           const std::vector<char>& available, const std::vector<char>& free)
    : drives_(bad) {
    const std::size_t n = good.signals();
    able_.assign(n, 0);
    slow_.assign(n, 0);
    step_.assign(n, 1);
    least_.assign(n, -std::numeric_limits<double>::infinity());
    most_.assign(n, std::numeric_limits<double>::infinity());
    mean_.assign(n, 0);
    sd_.assign(n, 0);
    lowest_.assign(n, 0);
    highest_.assign(n, 0);
    floor_.assign(n, 0);
    shift_.assign(n, nothing);
    log_mean_.assign(n, 0);
    log_sd_.assign(n, 0);
    std::size_t count = 0;
    for (std::size_t k = 0; k < n && count < most_signals; ++k) {
        const Range& range = survey.range(k);
        if (available[k] == 0 || !range.usable || range.counter)
            continue;
        const Series& series = good.track(k).series();
        // Two or three values are states.
        if (double{range.high - range.low} < 4 * series.step)
            continue;
        // Of two fields of one sensor, which go astray together, one.
        bool again = false;
        for (std::size_t other = 0; other < k; ++other)
            again = again || (able_[other] != 0 && one_sensor(good.track(other).series(), series));
        if (again)
            continue;
        ++count;
        able_[k] = 1;
        slow_[k] = range.slow ? 1 : 0;
        step_[k] = series.step;
        if (series.has_ends) {
            least_[k] = series.low;
            most_[k] = series.high;
        }
        mean_[k] = double{range.mean};
        sd_[k] = double{range.sd};
        lowest_[k] = double{range.low};
        highest_[k] = double{range.high};
        const bool kelvins = series.unit == Unit::celsius;
        if (kelvins || (series.has_ends && series.low >= 0)) {
            shift_[k] = kelvins ? double{kelvin} : 0.0;
            floor_[k] = std::max(3 * series.step, 0.02 * (double{range.high} + shift_[k]));
        }
    }
    made_.resize(n);
    for (std::size_t k = 0; k < n; ++k)
        for (std::size_t other = 0; other < n; ++other)
            if (able_[k] != 0 && able_[other] != 0 &&
                made_from(good.track(other).series(), good.track(k).series()))
                made_[k].push_back(other);
    Grid taught = grid_of(good, survey);
    leap_.assign(n, 0);
    for (std::size_t k = 0; k < n; ++k)
        for (std::size_t i = 1; i < taught.plain[k].size(); ++i)
            leap_[k] =
                std::fmax(leap_[k], double{std::abs(taught.plain[k][i] - taught.plain[k][i - 1])});
    for (std::size_t k = 0; k < n; ++k) {
        if (taught.logs[k].empty())
            continue;
        const std::vector<double> values = known_values(taught.logs[k]);
        if (2 * values.size() < taught.size) {
            taught.logs[k].clear();
            shift_[k] = nothing;
            continue;
        }
        double sum = 0;
        for (const double v : values)
            sum += v;
        log_mean_[k] = sum / static_cast<double>(values.size());
        double squares = 0;
        for (const double v : values)
            squares += (v - log_mean_[k]) * (v - log_mean_[k]);
        log_sd_[k] = std::sqrt(squares / static_cast<double>(values.size()));
    }
    engine_ = survey.rpm;
    road_ = survey.speed;
    std::vector<Tie> found;
    if (engine_ >= 0 && road_ >= 0 && !taught.logs[engine()].empty() &&
        !taught.logs[road()].empty()) {
        gears_.learn(taught.plain[engine()], taught.plain[road()], taught.spacing);
    }
    if (gears_.any()) {
        gear_up(taught);
        for (const std::size_t target : {engine(), road()}) {
            Tie tie;
            tie.target = static_cast<std::uint16_t>(target);
            tie.by[0] = static_cast<std::uint16_t>(target == engine() ? road() : engine());
            tie.count = 1;
            tie.powers = true;
            tie.gears = true;
            found.push_back(tie);
        }
    }
    search(taught, false, found);
    search(taught, true, found);
    search_curved(taught, found);
    const std::size_t blocks = good.blocks();
    std::vector<std::vector<Tie>> by_target(n);
    for (Tie& tie : found)
        if (fit_least(taught, blocks, tie)) {
            // The same signals in sums and in powers: the sharper one.
            auto& list = by_target[tie.target];
            const auto same = std::find_if(list.begin(), list.end(), [&](const Tie& other) {
                return other.by == tie.by && other.count == tie.count;
            });
            if (same == list.end())
                list.push_back(std::move(tie));
            else if (tie.sharpness < same->sharpness)
                *same = std::move(tie);
        }
    of_.resize(n);
    for (auto& list : by_target) {
        std::sort(list.begin(), list.end(),
                  [](const Tie& a, const Tie& b) { return a.sharpness < b.sharpness; });
        std::size_t sharp_ones = 0;
        std::size_t witnesses = 0;
        for (Tie& tie : list) {
            if (sharp_ones == ties_each && witnesses == witnesses_each)
                break;
            if ((witnesses == witnesses_each && !may_break(tie, free)) || !remember(taught, tie))
                continue;
            set_limits(taught, free, tie);
            std::size_t& taken = tie.witness ? witnesses : sharp_ones;
            if (taken == (tie.witness ? witnesses_each : ties_each))
                continue;
            ++taken;
            of_[tie.target].push_back(ties_.size());
            ties_.push_back(std::move(tie));
        }
    }
    for (const Drive* drive : bad) {
        grids_.push_back(grid_of(*drive, survey));
        gear_up(grids_.back());
    }
}

/// What each of engine and road speed would be by the other in the gear driven in.
void Ties::gear_up(Grid& grid) const {
    if (!gears_.any() || grid.logs[engine()].empty() || grid.logs[road()].empty())
        return;
    const std::vector<float> ratio =
        gears_.in_gear(grid.plain[engine()], grid.plain[road()], grid.spacing);
    for (std::vector<float>& one : grid.geared)
        one.resize(grid.size);
    for (std::size_t i = 0; i < grid.size; ++i) {
        grid.geared[0][i] = grid.logs[road()][i] + ratio[i];
        grid.geared[1][i] = grid.logs[engine()][i] - ratio[i];
    }
}

/// The same for one moment: logarithm of what `tie`'s target would be.
double Ties::geared(const Tie& tie, double value, double log_partner) const {
    const bool forward = tie.target == engine();
    const double apart = std::log(value) - log_partner; // not-a-number stays so
    if (!std::isfinite(apart))
        return nothing;
    return log_partner + (forward ? gears_.nearest(apart) : -gears_.nearest(-apart));
}

void Ties::turn_to(std::size_t run) {
    run_ = run;
    views_.clear();
    views_.reserve(ties_.size());
    for (const Tie& tie : ties_) {
        const Grid& grid = grids_[run];
        bool there = !column(grid, tie.target, tie.powers).empty();
        for (std::size_t p = 0; p < tie.count; ++p)
            there = there && !partner(tie, p, grid).empty();
        views_.push_back(there ? view(tie, grid) : View{});
    }
}

std::vector<std::size_t> Ties::partners(std::size_t tie) const {
    return {ties_[tie].by.begin(), ties_[tie].by.begin() + ties_[tie].count};
}

Trace Ties::trace(std::size_t which) const {
    const Tie& tie = ties_[which];
    const Drive& drive = *drives_[run_];
    const Track& track = drive.track(tie.target);
    const Day& day = views_[which].day;
    Trace out = blank_trace(track);
    const std::size_t n = track.size();
    std::vector<Cursor> cursors;
    for (std::size_t p = 0; p < tie.count; ++p)
        cursors.emplace_back(drive.track(tie.by[p]));
    for (std::size_t i = 0; i < n; ++i) {
        std::array<double, most_partners> values{};
        for (std::size_t p = 0; p < tie.count; ++p) {
            double v = double{cursors[p].at(out.t[i])};
            if (tie.powers) {
                v += shift_[tie.by[p]];
                v = v > floor_[tie.by[p]] ? std::log(v) : nothing;
            }
            if (tie.gears)
                v = geared(tie, double{out.y[i]}, v);
            if (!knows(tie, p, v))
                v = nothing;
            values[p] = v;
        }
        Terms x;
        terms_of(tie, values, x);
        const double sum = day.of(sum_of(std::span(x).first(terms_in(tie)), tie.beta.back()));
        const double value = tie.powers ? std::exp(sum) - shift_[tie.target]
                                        : std::clamp(sum, least_[tie.target], most_[tie.target]);
        const double sigma =
            tie.powers ? tie.scale * std::exp(sum) + 0.3 * step_[tie.target] : tie.scale;
        out.fitted[i] = static_cast<float>(value);
        out.sigma[i] = static_cast<float>(sigma);
        out.z[i] = (out.y[i] - out.fitted[i]) / out.sigma[i];
    }
    return out;
}

} // namespace telltale::run
