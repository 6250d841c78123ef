// SPDX-License-Identifier: Apache-2.0
#include "drive.hpp"

#include <algorithm>
#include <cmath>

namespace telltale::run {

Track::Track(const Run& run, const Series& series)
    : series_(&series), origin_(static_cast<double>(run.start)) {
    const Pace found = pace(series);
    interval_ = static_cast<double>(found.interval) * 1e-9;
    limit_ = static_cast<double>(found.limit) * 1e-9;
    bridge_ = 2.6 * interval_;
}

std::size_t Track::first_from(double t) const {
    std::size_t low = 0;
    std::size_t high = size();
    while (low < high) {
        const std::size_t middle = (low + high) / 2;
        if (time(middle) < t)
            low = middle + 1;
        else
            high = middle;
    }
    return low;
}

Drive::Drive(const Run& run, const std::vector<std::ptrdiff_t>& series) {
    constexpr double most_points = 40000;
    seconds_ = run.length();
    spacing_ = std::max(0.25, seconds_ / most_points);
    points_ = static_cast<std::size_t>(seconds_ / spacing_) + 2;
    tracks_.resize(series.size());
    slowed_.resize(series.size());
    constexpr std::array<double, form_count> constants{0, 1, 4, 16, 1, 4};
    for (std::size_t k = 0; k < series.size(); ++k) {
        if (series[k] < 0)
            continue;
        tracks_[k] = Track(run, run.series[static_cast<std::size_t>(series[k])]);
        Cursor cursor(tracks_[k]);
        std::vector<float>& plain = slowed_[k][0];
        plain.resize(points_);
        for (std::size_t i = 0; i < points_; ++i)
            plain[i] = cursor.at(static_cast<double>(i) * spacing_);
        for (std::size_t form = 1; form < form_count; ++form) {
            std::vector<float>& out = slowed_[k][form];
            out.assign(points_, missing);
            const auto rate = static_cast<float>(1 - std::exp(-spacing_ / constants[form]));
            const bool back = form >= static_cast<std::size_t>(Form::after1);
            float mean = missing;
            for (std::size_t step = 0; step < points_; ++step) {
                const std::size_t i = back ? points_ - 1 - step : step;
                if (std::isnan(plain[i]) || std::isnan(mean))
                    mean = plain[i];
                else
                    mean += rate * (plain[i] - mean);
                out[i] = mean;
            }
        }
    }
}

namespace {
float moved(float plain, float before, float sd) {
    const float size = std::abs(plain - before) / sd;
    return std::isnan(size) ? 0.0F : std::min(size, 2.0F);
}
} // namespace

void Drive::set_scales(const std::vector<float>& sd) {
    sd_ = sd;
    stir_.assign(points_, 0);
    stirring_ = 0;
    for (std::size_t k = 0; k < tracks_.size(); ++k) {
        if (!(sd[k] > 0) || slowed_[k][0].empty())
            continue;
        ++stirring_;
        const auto& forms = slowed_[k];
        for (std::size_t i = 0; i < points_; ++i)
            stir_[i] += moved(forms[0][i], forms[1][i], sd[k]);
    }
}

float Drive::stir(std::size_t signal, double t) const {
    if (stirring_ < 2 || !(t >= 0))
        return 0;
    const auto i = std::min(points_ - 1, static_cast<std::size_t>(std::llround(t / spacing_)));
    float sum = stir_[i];
    std::size_t others = stirring_;
    if (sd_[signal] > 0 && !slowed_[signal][0].empty()) {
        sum -= moved(slowed_[signal][0][i], slowed_[signal][1][i], sd_[signal]);
        --others;
    }
    return std::max(0.0F, sum) / static_cast<float>(std::max<std::size_t>(1, others));
}

Drive::Place Drive::place(double t) const {
    if (!(t >= 0))
        return {};
    const double points = t / spacing_;
    const auto point = static_cast<std::size_t>(points);
    return {point, static_cast<float>(points - static_cast<double>(point))};
}

float Drive::slowed(std::size_t signal, Form form, Place place) const {
    const std::vector<float>& grid = slowed_[signal][static_cast<std::size_t>(form)];
    const std::size_t i = place.point;
    if (i >= grid.size())
        return missing;
    return i + 1 < grid.size() ? grid[i] + place.part * (grid[i + 1] - grid[i]) : grid[i];
}

} // namespace telltale::run
