// SPDX-License-Identifier: Apache-2.0
// Signals that nothing tells and that move slowly: temperatures, pressures of the day, a voltage.
#include <algorithm>
#include <cmath>
#include <limits>

#include "run/robust.hpp"
#include "scan.hpp"
#include "traits.hpp"

namespace telltale::run {
namespace {

/// The mean over spans of time that only move on.
class Mean {
  public:
    explicit Mean(const Track& track)
        : track_(&track), undefined_(undefined_from(track.series())) {}
    /// Not-a-number where there is too little.
    double over(double from, double to) {
        for (; end_ < track_->size() && track_->time(end_) < to; ++end_)
            pass(end_, 1);
        for (; begin_ < end_ && track_->time(begin_) < from; ++begin_)
            pass(begin_, -1);
        const auto count = static_cast<double>(count_);
        const double wanted = (to - from) / std::max(1e-6, track_->interval());
        return count >= 3 && count >= 0.6 * wanted ? sum_ / count : nothing;
    }

  private:
    void pass(std::size_t i, int sign) {
        const float value = track_->value(i);
        if (value >= undefined_)
            return;
        sum_ += sign * double{value};
        count_ += sign;
    }

    const Track* track_;
    float undefined_;
    std::size_t begin_ = 0;
    std::size_t end_ = 0;
    int count_ = 0;
    double sum_ = 0;
};

/// From one look to the next: a quarter of the width, more in a run of absurd length.
double stride_of(const Track& track, double width) {
    constexpr double most = 20000;
    return std::max(width / 4, (track.time(track.size() - 1) - track.time(0)) / most);
}

/// Until when the signal only goes one way from where it began: a warm-up, a cooling down.
double settled_at(const Track& track, double step) {
    constexpr double width = 20;
    if (track.size() == 0)
        return 0;
    const double stride = stride_of(track, width);
    const double last = track.time(track.size() - 1);
    Mean mean(track);
    double furthest = nothing;
    double since = track.time(0);
    double first = nothing;
    int way = 0;
    for (double t = track.time(0); t + width <= last; t += stride) {
        const double here = mean.over(t, t + width);
        if (std::isnan(here))
            continue;
        if (std::isnan(first))
            furthest = first = here;
        if (way == 0 && std::abs(here - first) > 1.5 * step)
            way = here > first ? 1 : -1;
        const double on = way * (here - furthest);
        // Still on its way, if it gains more than a tenth of a step a second.
        if (way != 0 && on > 0.05 * step * (t - since)) {
            furthest = here;
            since = t;
        } else if (way != 0 && (t - since > 3 * width || on < -3 * step)) {
            return since + width;
        } else if (way == 0 && t - track.time(0) > 3 * width) {
            return track.time(0);
        }
    }
    return since + width;
}

} // namespace

SlowScanner::SlowScanner(const Track& good, double step) : step_(step) {
    if (good.size() < 40)
        return;
    const double length = good.time(good.size() - 1) - good.time(0);
    // How it scatters from sample to sample tells how sure a mean is.
    std::vector<double> bends;
    const std::size_t every = std::max<std::size_t>(1, good.size() / 2000);
    for (std::size_t i = 1; i + 1 < good.size(); i += every)
        bends.push_back(
            std::abs(double{good.value(i) - 0.5F * (good.value(i - 1) + good.value(i + 1))}));
    double low = double{good.value(0)};
    double high = low;
    for (std::size_t i = 0; i < good.size(); i += every) {
        low = std::min(low, double{good.value(i)});
        high = std::max(high, double{good.value(i)});
    }
    const double range = high - low;
    const double scatter = 1.2 * median(bends);
    for (std::size_t w = 0; w < widths.size(); ++w) {
        const double width = widths[w];
        if (length < 4 * width)
            break;
        const double stride = stride_of(good, width);
        Mean before(good);
        Mean after(good);
        std::vector<double> sizes;
        for (double t = good.time(0) + width; t + width <= good.time(good.size() - 1);
             t += stride) {
            const double change = after.over(t, t + width) - before.over(t - width, t);
            if (!std::isnan(change))
                sizes.push_back(std::abs(change));
        }
        if (sizes.size() < 8)
            break;
        const double most = *std::max_element(sizes.begin(), sizes.end());
        if (w == 0 && most > 0.25 * range + 3 * step)
            return; // not slow
        limits_[w] = 3 * most + 3.5 * step + 2 * scatter;
    }
}

std::vector<SlowScanner::Change> SlowScanner::look(const Track& track, float least) const {
    std::vector<Change> out;
    if (track.size() < 10)
        return out;
    const double first = track.time(0);
    const double last = track.time(track.size() - 1);
    const bool misses = misses_recirculation(track.series());
    const double settled = misses ? first : settled_at(track, step_);
    // Moments of a great error make a mean over a few seconds.
    constexpr std::size_t minute = 2;
    const std::size_t least_width = misses ? minute : 0;
    for (std::size_t w = least_width; w < widths.size() && limits_[w] > 0; ++w) {
        const double width = widths[w];
        const double stride = stride_of(track, width);
        Mean before(track);
        Mean after(track);
        for (double t = first + width; t + width <= last; t += stride) {
            const double change = after.over(t, t + width) - before.over(t - width, t);
            if (t - width < settled)
                continue;
            const double score = change / limits_[w];
            if (std::abs(score) >= double{least}) // not-a-number is not
                out.push_back({t, width, static_cast<float>(score)});
        }
    }
    return out;
}

} // namespace telltale::run
