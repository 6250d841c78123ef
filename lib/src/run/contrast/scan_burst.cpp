// SPDX-License-Identifier: Apache-2.0
#include <algorithm>
#include <array>
#include <cmath>
#include <iterator>
#include <vector>

#include "scan.hpp"

namespace telltale::run {

/// How far each sample leaves the straight line between its neighbours: of the signal itself in its
/// unit, or beyond what a model expects a moment around in normal differences.
std::vector<double> BurstScanner::bends(const Trace& trace) const {
    std::vector<double> off(trace.t.size());
    for (std::size_t i = 0; i < off.size(); ++i)
        off[i] = told_ ? beyond(trace, i) : double{trace.y[i]};
    return bends_of(trace, off);
}

/// The median of that over windows; 0 where it is no more than `above`.
void BurstScanner::scatter(const std::vector<double>& bends, std::size_t width, double above,
                           std::vector<Window>& out) {
    out.clear();
    std::vector<double> here;
    for (std::size_t from = 0; from + width <= bends.size(); from += width / 2) {
        std::size_t known = 0;
        std::size_t beyond = 0;
        for (std::size_t i = from; i < from + width; ++i) { // not-a-number is neither
            known += bends[i] >= 0 ? 1U : 0U;
            beyond += bends[i] > above ? 1U : 0U;
        }
        Window window{from, from + width, nothing, 0};
        if (10 * known >= 8 * width)
            window.value = 0;
        if (10 * known >= 8 * width && beyond >= known - known / 2) {
            here.clear();
            std::copy_if(bends.begin() + static_cast<std::ptrdiff_t>(from),
                         bends.begin() + static_cast<std::ptrdiff_t>(from + width),
                         std::back_inserter(here), [](double bend) { return bend >= 0; });
            const auto half = here.begin() + static_cast<std::ptrdiff_t>(known / 2);
            std::nth_element(here.begin(), half, here.end());
            window.value = *half;
        }
        out.push_back(window);
    }
}

/// Where bursts as strong are in several places of a drive, they are how it is driven.
void BurstScanner::hold_down(const Trace& trace, std::vector<Hit>& hits) {
    constexpr double together = 10; // seconds
    constexpr float as_strong = 0.6F;
    constexpr std::size_t several = 3;
    constexpr float among_others = 0.4F;
    std::sort(hits.begin(), hits.end(), [](const Hit& a, const Hit& b) { return a.from < b.from; });
    std::vector<float> peaks; // of those that lie together
    std::size_t to = 0;
    for (const Hit& hit : hits) {
        if (peaks.empty() || trace.t[hit.from] - trace.t[to] > together)
            peaks.push_back(0);
        peaks.back() = std::max(peaks.back(), hit.score);
        to = std::max(to, hit.to - 1);
    }
    const float strongest = peaks.empty() ? 0 : *std::max_element(peaks.begin(), peaks.end());
    const auto alike = std::count_if(peaks.begin(), peaks.end(),
                                     [&](float peak) { return peak >= as_strong * strongest; });
    if (static_cast<std::size_t>(alike) >= several)
        for (Hit& hit : hits)
            hit.score *= among_others;
}

BurstScanner::BurstScanner(const std::vector<Trace>& good, double step, double strictness,
                           bool told)
    : strictness_(strictness), told_(told) {
    constexpr double usual = 0.7; // normal differences
    constexpr std::size_t few = 12;
    std::vector<Window> seen;
    for (std::size_t v = 0; v < views(good); ++v) {
        const std::vector<double> bent = bends(good[v]);
        for (std::size_t w = 0; w < widths.size(); ++w) {
            double most = told ? usual : step;
            scatter(bent, widths[w], most, seen);
            std::size_t count = 0;
            for (const Window& one : seen)
                if (!std::isnan(one.value)) {
                    most = std::max(most, one.value);
                    ++count;
                }
            most_[w][v] = count >= few ? most : 0;
        }
    }
}

std::vector<Hit> BurstScanner::scan(const std::vector<Trace>& traces, float least) const {
    // Times the greatest of the good run, by the width: of 5295 signals of invented pairs without a
    // fault, three had more than 2.3 times by two views, and three of those that nothing tells
    // more than 6 times by their own courses, commands aside.
    constexpr std::array<double, widths.size()> told_limits{3.9, 3.2, 3.0, 2.7};
    constexpr double own_limit = 6;
    constexpr double alone = 2.5;
    std::vector<Hit> hits;
    std::vector<std::vector<double>> bent;
    for (std::size_t v = 0; v < views(traces); ++v)
        bent.push_back(bends(traces[v]));
    std::vector<std::vector<Window>> seen(bent.size());
    const bool several = bent.size() > 1;
    for (std::size_t w = 0; w < widths.size(); ++w) {
        const double limit =
            strictness_ * (!told_ ? own_limit : told_limits[w] * (several ? 1 : alone));
        for (std::size_t v = 0; v < bent.size(); ++v)
            scatter(bent[v], widths[w], most_[w][v] * limit * double{least}, seen[v]);
        Stretches stretches(Sign::rough, w, hits);
        for (std::size_t j = 0; j < seen.front().size(); ++j) {
            TwoGreatest ratios;
            for (std::size_t v = 0; v < bent.size(); ++v) {
                if (most_[w][v] <= 0 || std::isnan(seen[v][j].value))
                    continue;
                ratios.add(seen[v][j].value / most_[w][v]);
            }
            const auto score = static_cast<float>((several ? ratios.second : ratios.first) / limit);
            if (score >= least)
                stretches.add(seen.front()[j], score);
        }
    }
    hold_down(traces.front(), hits);
    settle(hits);
    return hits;
}

} // namespace telltale::run
