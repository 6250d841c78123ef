// SPDX-License-Identifier: Apache-2.0
#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <vector>

#include "run/robust.hpp"
#include "scan.hpp"

namespace telltale::run {
namespace {

constexpr std::size_t edge = 0;   ///< the width of what does not come back
constexpr std::size_t about = 2;  ///< samples on either side of a peak that it has to pass
constexpr std::size_t sides = 3;  ///< and of an edge
constexpr std::size_t nearby = 6; ///< and that tell how much the signal moves there anyway

/// The samples [from, to) that show a peak of so many from `at`, or an edge there.
struct Around {
    std::size_t from;
    std::size_t to;
    Around(std::size_t at, std::size_t width)
        : from(at - (width == edge ? sides : about)),
          to(at + (width == edge ? sides : width + about)) {}
};

/// How far `width` samples from `at` lie beyond those about them; of an edge, how far those from
/// `at` on lie beyond those before. Signed; 0 where it is no more than `above`, not-a-number where
/// one of them is.
template <class Value> double far_of(std::size_t at, std::size_t width, double above, Value value) {
    if (width != edge)
        return beyond_sides(at, width, about, above, value);
    if (std::abs(value(at) - value(at - 1)) <= above)
        return 0;
    Spread before;
    Spread after;
    for (std::size_t k = 0; k < sides; ++k) {
        before.add(value(at - 1 - k));
        after.add(value(at + k));
    }
    const double far = after.beyond(before);
    return std::abs(far) <= above ? 0 : far;
}

/// The greatest step from sample to sample of those that end at [from, to).
template <class Value> double step_in(std::size_t from, std::size_t to, Value value) {
    double most = 0;
    for (std::size_t i = from; i < to; ++i)
        most = std::fmax(most, std::abs(value(i) - value(i - 1)));
    return most;
}

} // namespace

/// The signal's own peaks of so many samples, or its edges: see(at, how far), where there is
/// one of more than `above`, which may change meanwhile.
template <class See>
void PeakScanner::each(const Trace& trace, std::size_t width, const double& above, See see) {
    const std::size_t n = trace.t.size();
    const std::size_t side = width == edge ? sides : about;
    for (std::size_t at = side; Around(at, width).to <= n; ++at) {
        const Around around(at, width);
        if (trace.piece[around.from] != trace.piece[around.to - 1])
            continue;
        const double far =
            far_of(at, width, above, [&](std::size_t i) { return double{trace.y[i]}; });
        if (far != 0)
            see(at, far);
    }
}

PeakScanner::PeakScanner(const std::vector<Trace>& good, double step, double strictness,
                         Habits habits)
    : habits_(habits) {
    const Trace& main = good.front();
    constexpr std::size_t few = 40;
    if (main.t.size() < few)
        return;
    const std::vector<double> own(main.y.begin(), main.y.end());
    std::vector<double> bends;
    for (const double one : bends_of(main, own))
        if (!std::isnan(one))
            bends.push_back(one);
    constexpr double bend_of_noise = 1.2247; // root of 1.5: of a sample less the mean of two
    const double noise = std::max(step, mad_factor * median(bends) / bend_of_noise);
    double most = 0;
    const auto record = [&](std::size_t, double far) { most = std::max(most, std::abs(far)); };
    for (std::size_t width = edge + 1; width < widths; ++width)
        each(main, width, most, record);
    limits_.fill(strictness * std::max(1.05 * most, 2.6 * noise));
    limits_[edge] = 0;
    if (!habits_.edges)
        return;
    most = 0;
    each(main, edge, most, record);
    limits_[edge] = strictness * std::max(1.4 * most, 3.6 * noise);
}

std::vector<Hit> PeakScanner::scan(const std::vector<Trace>& traces, float least) const {
    constexpr double apart = 0.5;  // of what lies between its sides
    constexpr double moving = 0.5; // of the greatest step nearby
    constexpr double sharp = 0.4;  // an edge is no part of a ramp
    // What only one of two views shows, and what none has a say about.
    const double alone = habits_.switches ? std::numeric_limits<double>::infinity() : 2;
    const double untold = habits_.switches ? alone : habits_.slow ? 1.5 : 3.5;
    std::vector<Hit> hits;
    const Trace& main = traces.front();
    const std::size_t n = main.t.size();
    const auto own = [&](std::size_t i) { return double{main.y[i]}; };
    for (std::size_t width = 0; width < widths; ++width) {
        if (limits_[width] <= 0)
            continue;
        Stretches stretches(width == edge ? Sign::leap : Sign::peak, width, hits);
        const double above = double{least} * limits_[width];
        each(main, width, above, [&](std::size_t at, double far) {
            const std::size_t to = at + width;
            const double usual = std::max(step_in(at - std::min(at - 1, nearby), at, own),
                                          step_in(to + 1, std::min(n, to + nearby), own));
            if (width == edge && usual > sharp * std::abs(far))
                return;
            double less = moving * usual;
            if (width != edge)
                less += apart * std::abs(own(at - 1) - own(to));
            // No more than what the others leave unexplained, by two views where there are two, and
            // less by what they move meanwhile.
            TwoGreatest shown;
            std::size_t count = 0;
            for (std::size_t v = 0; v < std::min(most_views, traces.size()); ++v) {
                const Trace& trace = traces[v];
                const auto fitted = [&](std::size_t i) { return double{trace.fitted[i]}; };
                const Around around(at, width);
                bool known = true;
                for (std::size_t i = around.from; i < around.to; ++i)
                    known = known && !std::isnan(trace.fitted[i]);
                if (!known)
                    continue;
                ++count;
                const double left =
                    far_of(at, width, 0, [&](std::size_t i) { return own(i) - fitted(i); });
                if (left * far <= 0)
                    continue;
                shown.add(std::min(std::abs(left), std::abs(far)) - less -
                          step_in(at - 1, to + 2, fitted));
            }
            const double strength = count == 0   ? (std::abs(far) - less) / untold
                                    : count == 1 ? shown.first
                                                 : std::max(shown.second, shown.first / alone);
            const auto score = static_cast<float>(strength / limits_[width]);
            if (score >= least)
                stretches.add({at - (width == edge ? 1 : 0), std::max(to, at + 1), far, 0}, score);
        });
    }
    for (const Sign sign : {Sign::peak, Sign::leap})
        hold_down_among_others(main, sign, hits);
    // However far: that the good run never did it may be how that was driven.
    constexpr float most = 3;
    for (Hit& hit : hits)
        hit.score = std::min(hit.score, most);
    settle(hits);
    return hits;
}

} // namespace telltale::run
