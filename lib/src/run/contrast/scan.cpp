// SPDX-License-Identifier: Apache-2.0
#include "scan.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <utility>

#include "run/robust.hpp"

namespace telltale::run {

Agreed agreed(std::span<Seen> views) {
    if (views.empty())
        return {std::numeric_limits<double>::quiet_NaN(), 0};
    for (std::size_t i = 1; i < views.size(); ++i) // there are three at most
        for (std::size_t k = i; k > 0 && views[k].unit < views[k - 1].unit; --k)
            std::swap(views[k], views[k - 1]);
    const auto within = [](double difference, const Seen& other) {
        return difference > 0 ? std::clamp(other.difference + 3 * other.unit, 0.0, difference)
                              : std::clamp(other.difference - 3 * other.unit, difference, 0.0);
    };
    Agreed out;
    out.difference = views[0].difference;
    for (std::size_t m = 1; m < views.size(); ++m)
        out.difference = within(out.difference, views[m]);
    out.value = out.difference / views[0].unit;
    if (views.size() == 3 && views[2].unit <= 2.5 * views[0].unit)
        for (const auto& [a, b] : {std::pair{0U, 1U}, std::pair{0U, 2U}, std::pair{1U, 2U}}) {
            const double two = within(views[a].difference, views[b]);
            if (std::abs(two / views[b].unit) > std::abs(out.value))
                out = {two / views[b].unit, two};
        }
    return out;
}

Ends within_ends(const Trace& good, double step) {
    std::vector<double> values;
    for (std::size_t i = 0; i < good.y.size(); i += 1 + good.y.size() / 4000)
        values.push_back(double{good.y[i]});
    const double low = quantile(values, 0.005);
    const double high = quantile(values, 0.995);
    const double by = 1.5 * step + 0.03 * (high - low);
    return {static_cast<float>(low + by), static_cast<float>(high - by)};
}

void hold_down_among_others(const Trace& trace, Sign sign, std::vector<Hit>& hits) {
    constexpr double together = 10; // seconds
    constexpr float gap = 1.8F;     // times the next greatest
    constexpr float least = 0.8F;
    constexpr float unseen = 0.45F; // smaller ones are not kept
    constexpr float among_others = 0.4F;
    std::vector<const Hit*> alike;
    for (const Hit& hit : hits)
        if (hit.sign == sign)
            alike.push_back(&hit);
    std::sort(alike.begin(), alike.end(),
              [](const Hit* a, const Hit* b) { return a->from < b->from; });
    std::vector<float> peaks; // of those that lie together
    for (std::size_t i = 0; i < alike.size(); ++i) {
        if (i == 0 || trace.t[alike[i]->from] - trace.t[alike[i - 1]->from] > together)
            peaks.push_back(0);
        peaks.back() = std::max(peaks.back(), alike[i]->score);
    }
    std::sort(peaks.rbegin(), peaks.rend());
    peaks.push_back(unseen);
    for (std::size_t i = 0; i + 1 < peaks.size(); ++i)
        if (peaks[i] >= least && peaks[i] > gap * peaks[i + 1])
            return;
    for (Hit& hit : hits)
        if (hit.sign == sign)
            hit.score *= among_others;
}

void settle(std::vector<Hit>& hits) {
    // Absurd values beside a scale of nothing.
    for (Hit& hit : hits)
        if (!(hit.score <= most_score))
            hit.score = std::isnan(hit.score) ? 0.0F : most_score;
    std::sort(hits.begin(), hits.end(),
              [](const Hit& a, const Hit& b) { return a.score > b.score; });
    constexpr std::size_t most = 200;
    if (hits.size() > most)
        hits.resize(most);
}

} // namespace telltale::run
