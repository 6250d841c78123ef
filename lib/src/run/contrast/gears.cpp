// SPDX-License-Identifier: Apache-2.0
#include "gears.hpp"

#include <algorithm>
#include <cmath>

#include "drive.hpp"
#include "run/robust.hpp"

namespace telltale::run {
namespace {

constexpr float walking_pace = 10; // km/h; slower, its step says little and the clutch slips
constexpr float near_idle_speed = 1.2F;
constexpr std::size_t most_gears = 12;
constexpr double ratio_bin = 0.005; // of a logarithm
constexpr double gear_reach = 0.05;
constexpr double beyond_gears = 0.12;
constexpr double a_moment = 1;        // seconds; longer, the clutch may have been used
constexpr double shortest_change = 3; // seconds
constexpr double longest_change = 8;

/// A ratio that was kept to for a moment, as a logarithm; the faster, the more it counts.
struct SteadyRatio {
    double at, weight;
};

/// In the order of the ratios.
std::vector<SteadyRatio> steady_ones(std::span<const float> ratio, std::span<const float> road) {
    constexpr float steady = 0.03F;
    std::vector<SteadyRatio> out;
    for (std::size_t i = 1; i + 1 < ratio.size(); ++i)
        if (std::isfinite(ratio[i]) && std::abs(ratio[i + 1] - ratio[i - 1]) < steady)
            out.push_back({double{ratio[i]}, std::min(1.0, double{road[i]} / 40)});
    std::sort(out.begin(), out.end(),
              [](const SteadyRatio& a, const SteadyRatio& b) { return a.at < b.at; });
    return out;
}

/// Where they crowd, in order.
std::vector<double> fullest_places(const std::vector<SteadyRatio>& all) {
    constexpr double least = 0.01; // of all steady driving
    double total = 0;
    for (const SteadyRatio& one : all)
        total += one.weight;
    std::vector<double> out;
    std::vector<char> taken(all.size(), 0);
    std::vector<double> around;
    while (out.size() < most_gears) {
        double most = 0;
        std::size_t first = 0;
        double here = 0;
        std::size_t from = 0;
        for (std::size_t i = 0; i < all.size(); ++i) {
            here += taken[i] == 0 ? all[i].weight : 0;
            while (all[i].at - all[from].at > 4 * ratio_bin) {
                here -= taken[from] == 0 ? all[from].weight : 0;
                ++from;
            }
            if (here > most) {
                most = here;
                first = from;
            }
        }
        if (most < least * total)
            break;
        const double middle = all[first].at + 2 * ratio_bin;
        around.clear();
        for (std::size_t i = 0; i < all.size(); ++i)
            if (taken[i] == 0 && std::abs(all[i].at - middle) < gear_reach / 2)
                around.push_back(all[i].at);
        const double gear = median(around);
        const bool apart = std::none_of(out.begin(), out.end(), [&](double other) {
            return std::abs(other - gear) <= 1.5 * gear_reach;
        });
        for (std::size_t i = 0; i < all.size(); ++i)
            if (std::abs(all[i].at - gear) < gear_reach ||
                std::abs(all[i].at - middle) <= 2.5 * ratio_bin)
                taken[i] = 1;
        if (apart)
            out.push_back(gear);
    }
    std::sort(out.begin(), out.end());
    return out;
}

} // namespace

struct Gears::Stretch {
    std::size_t from, to;
    std::size_t gear;
};

std::vector<float> Gears::ratio(std::span<const float> engine, std::span<const float> road) const {
    std::vector<float> out(engine.size(), missing);
    for (std::size_t i = 0; i < engine.size(); ++i)
        if (road[i] >= walking_pace &&
            engine[i] > near_idle_speed * static_cast<float>(idle_)) // not-a-number is not
            out[i] = std::log(engine[i] / road[i]);
    // What is far from all of them may be a gear that the good run hardly had.
    for (float& one : out)
        if (any() && std::abs(double{one} - nearest(double{one})) > beyond_gears)
            one = missing;
    return out;
}

std::size_t Gears::nearest_gear(double log_ratio) const {
    const auto above = static_cast<std::size_t>(
        std::lower_bound(ratios_.begin(), ratios_.end(), log_ratio) - ratios_.begin());
    if (above == 0)
        return 0;
    return above == ratios_.size() || log_ratio - ratios_[above - 1] < ratios_[above] - log_ratio
               ? above - 1
               : above;
}

/// Where it keeps close to one gear for a while.
std::vector<Gears::Stretch> Gears::engaged(std::span<const float> ratio, double spacing) const {
    const double close = std::max(0.025, 4 * width_);
    const auto least = static_cast<std::size_t>(std::max(3.0, 0.75 / spacing));
    std::vector<Stretch> out;
    Stretch open{0, 0, most_gears};
    const auto close_it = [&] {
        if (open.gear < most_gears && open.to - open.from >= least)
            out.push_back(open);
        open.gear = most_gears;
    };
    for (std::size_t i = 0; i < ratio.size(); ++i) {
        std::size_t gear = most_gears;
        if (!std::isnan(ratio[i])) {
            const std::size_t by = nearest_gear(double{ratio[i]});
            if (std::abs(double{ratio[i]} - ratios_[by]) < close)
                gear = by;
        }
        if (gear != open.gear) {
            close_it();
            open = {i, i, gear};
        }
        open.to = i + 1;
    }
    close_it();
    return out;
}

void Gears::learn(std::span<const float> engine, std::span<const float> road, double spacing) {
    constexpr std::size_t enough = 100;
    ratios_.clear();
    std::vector<double> turning;
    std::vector<double> driving;
    for (std::size_t i = 0; i < engine.size(); ++i)
        if (road[i] >= walking_pace && engine[i] > 0)
            driving.push_back(double{engine[i]});
    if (driving.size() < enough)
        return;
    const double usual = median(driving);
    for (std::size_t i = 0; i < engine.size(); ++i)
        if (road[i] < 1 && double{engine[i]} > 0.2 * usual) // not where it stands too
            turning.push_back(double{engine[i]});
    idle_ = turning.size() > 20 ? median(turning) : 0;
    const std::vector<float> all = ratio(engine, road);
    const std::vector<SteadyRatio> moments = steady_ones(all, road);
    if (moments.size() < enough)
        return;
    ratios_ = fullest_places(moments);
    if (ratios_.empty())
        return;
    // Close beside them, or they are none.
    std::vector<double> off;
    off.reserve(moments.size());
    for (const SteadyRatio& one : moments)
        off.push_back(std::abs(one.at - nearest(one.at)));
    width_ = mad_factor * median(off);
    double gap = 0.4;
    for (std::size_t g = 1; g < ratios_.size(); ++g)
        gap = std::min(gap, ratios_[g] - ratios_[g - 1]);
    if (width_ > gap / 8) {
        ratios_.clear();
        return;
    }
    change_ = shortest_change;
    const std::vector<float> between = ratio(engine, road);
    const std::vector<Stretch> kept = engaged(between, spacing);
    for (std::size_t s = 1; s < kept.size(); ++s) {
        bool moving = true;
        for (std::size_t i = kept[s - 1].to; i < kept[s].from; ++i)
            moving = moving && !std::isnan(between[i]);
        if (moving)
            change_ =
                std::max(change_, 2 * static_cast<double>(kept[s].from - kept[s - 1].to) * spacing);
    }
    change_ = std::min(change_, longest_change);
}

std::vector<float> Gears::in_gear(std::span<const float> engine, std::span<const float> road,
                                  double spacing) const {
    const std::vector<float> all = ratio(engine, road);
    std::vector<float> out(all.size(), missing);
    const std::vector<Stretch> kept = engaged(all, spacing);
    for (const Stretch& one : kept)
        for (std::size_t i = one.from; i < one.to; ++i)
            out[i] = static_cast<float>(ratios_[one.gear]);
    std::size_t next = 0;
    for (std::size_t i = 0; i < all.size();) {
        while (next < kept.size() && kept[next].from < i)
            ++next;
        if (next < kept.size() && kept[next].from == i) {
            i = kept[next].to;
            continue;
        }
        const std::size_t end = next < kept.size() ? kept[next].from : all.size();
        const double length = static_cast<double>(end - i) * spacing;
        const bool lasts = length > change_;
        const bool same = length <= a_moment && next > 0 && next < kept.size() &&
                          kept[next - 1].gear == kept[next].gear;
        for (std::size_t k = i; k < end; ++k)
            if (!std::isnan(all[k]) && (same || lasts))
                out[k] =
                    static_cast<float>(same ? ratios_[kept[next].gear] : nearest(double{all[k]}));
        i = end;
    }
    return out;
}

} // namespace telltale::run
