// SPDX-License-Identifier: Apache-2.0
#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <vector>

#include "scan.hpp"

namespace telltale::run {
namespace {

/// Sums from the first sample on.
class Sums {
  public:
    explicit Sums(std::size_t n) : sums_(n + 1) {}
    void restart() { at_ = 0; }
    void add(double value) {
        const double before = sums_[at_];
        sums_[++at_] = before + value;
    }
    double over(std::size_t from, std::size_t to) const { return sums_[to] - sums_[from]; }

  private:
    std::vector<double> sums_;
    std::size_t at_ = 0;
};

/// What was expected of a signal about a sample, maybe some time ago.
struct Expected {
    double fitted = nothing;
    double low = nothing;
    double high = nothing;

    void towards(const Expected& other, double share) {
        fitted += share * (other.fitted - fitted);
        low += share * (other.low - low);
        high += share * (other.high - high);
    }
};

/// A trace to hold against what was expected otherwise.
class Held {
  public:
    /// A tie does not say how far timing goes, and a model that is only shown has forgotten it.
    explicit Held(const Trace& trace)
        : trace_(&trace), low_(trace.low.empty() ? trace.fitted.data() : trace.low.data()),
          high_(trace.low.empty() ? trace.fitted.data() : trace.high.data()),
          per_sigma_(trace.t.size()) {
        for (std::size_t i = 0; i < per_sigma_.size(); ++i)
            per_sigma_[i] = 1 / double{trace.sigma[i]};
    }

    Expected expected(std::size_t i) const {
        return {double{trace_->fitted[i]}, double{low_[i]}, double{high_[i]}};
    }
    /// How far a sample is from what is expected, in normal differences.
    double off(std::size_t i, double expected) const {
        constexpr double farthest = 30;
        return std::clamp((double{trace_->y[i]} - expected) * per_sigma_[i], -farthest, farthest);
    }
    /// Its square, 0 where nothing is expected.
    double left(std::size_t i, double expected) const {
        const double one = off(i, expected);
        return std::isnan(one) ? 0 : one * one;
    }
    /// What is left beyond what the samples' timing may explain.
    double strange(std::size_t i, const Expected& expected) const {
        return left(i, std::clamp(double{trace_->y[i]}, expected.low, expected.high));
    }

    /// Calls `visit(i, earlier, slow)` for each sample from `first` on: what was expected `seconds`
    /// before, and what a slow sensor with this time constant makes of what is expected since
    /// `first`; as it is where nobody knows what was.
    template <class Visit>
    void late(std::size_t first, std::size_t end, double seconds, Visit visit) const {
        const std::vector<double>& t = trace_->t;
        const std::vector<std::uint32_t>& piece = trace_->piece;
        Expected slow;
        std::size_t next = first; // of the samples that are not before
        for (std::size_t i = first; i < end; ++i) {
            const double then = t[i] - seconds;
            while (next < i && t[next] < then)
                ++next;
            Expected earlier = expected(i);
            if (i == first || std::isnan(slow.fitted) || std::isnan(slow.low) ||
                piece[i] != piece[i - 1])
                slow = earlier;
            else
                slow.towards(earlier, share(i - 1, i, seconds));
            if (next > first && piece[next - 1] == piece[i] && !std::isnan(trace_->z[next - 1]) &&
                !std::isnan(trace_->z[next])) {
                earlier = expected(next - 1);
                earlier.towards(expected(next), (then - t[next - 1]) / (t[next] - t[next - 1]));
            }
            visit(i, earlier, slow);
        }
    }
    /// To compare with: calls `visit(i, expected)`, the last sample first, for a sensor that is as
    /// much ahead, as if time ran backwards.
    template <class Visit> void ahead(double seconds, Visit visit) const {
        double ahead = nothing;
        for (std::size_t i = trace_->t.size(); i-- > 0;) {
            const double here = trace_->fitted[i];
            if (std::isnan(ahead) || trace_->piece[i] != trace_->piece[i + 1])
                ahead = here;
            else
                ahead += share(i, i + 1, seconds) * (here - ahead);
            visit(i, ahead);
        }
    }

  private:
    /// Part of the way that a sensor of the first order goes from one sample to the next.
    double share(std::size_t a, std::size_t b, double seconds) const {
        const double passed = trace_->t[b] - trace_->t[a];
        return passed / (seconds + passed);
    }

    const Trace* trace_;
    const float* low_;
    const float* high_;
    std::vector<double> per_sigma_; ///< 1 / sigma
};

/// What is left of the samples of a run.
struct Left {
    Sums whole;
    Sums strange; ///< beyond what the samples' timing may explain

    explicit Left(std::size_t n) : whole(n), strange(n) {}
    void restart() {
        whole.restart();
        strange.restart();
    }
    void add(const Held& held, std::size_t i, const Expected& expected) {
        whole.add(held.left(i, expected.fitted));
        strange.add(held.strange(i, expected));
    }
};

} // namespace

std::size_t LateScanner::width_of(std::size_t w, const Trace& trace) {
    constexpr std::size_t few = 8;
    return std::max(few, samples_in(trace, spans[w]));
}

/// How much of what is left over each window goes away once the signal is held against a course
/// that comes some seconds late: the square root of the squares that do, after those that stay
/// count twice. An offset takes away as much as it can first, since a ramp looks the same late and
/// off; and so does a course that comes early, since one that is smoothed lies nearer in any case.
/// 0 everywhere, if no window of a width can have more than its `above`.
LateScanner::Course LateScanner::course(const Trace& trace,
                                        const std::array<double, widths>& above) {
    constexpr std::array delays{0.4, 0.8, 1.5, 2.8, 5.0}; // seconds
    constexpr double within = 0.2;                        // of the window, a delay may be
    constexpr double stays = 2;
    const std::size_t n = trace.t.size();
    const Held held(trace);
    Left now(n);
    for (std::size_t i = 0; i < n; ++i)
        now.add(held, i, held.expected(i));
    Course out;
    std::array<std::vector<double>, widths> whole; // of each window, an offset aside
    std::array<bool, widths> any{};
    for (std::size_t w = 0; w < widths; ++w) {
        if (above[w] <= 0)
            continue;
        const std::size_t width = width_of(w, trace);
        windows(
            n, width, [&](std::size_t i) { return held.off(i, double{trace.fitted[i]}); },
            [&](std::size_t from, std::size_t to, double sum, std::size_t count) {
                const bool there = mostly_known(count, width);
                out[w].push_back({from, to, there ? 0 : nothing, 0});
                const double off = there ? sum * sum / static_cast<double>(count) : 0;
                whole[w].push_back(now.whole.over(from, to) - off);
                any[w] = any[w] || (there && std::min(whole[w].back(), now.strange.over(from, to)) >
                                                 above[w] * above[w]);
            });
    }
    std::array<Left, 2> late{Left(n), Left(n)}; // of an earlier course, of a slow one
    std::vector<double> backwards(n);
    Sums ahead(n);
    for (const double delay : delays) {
        const auto fits = [&](std::size_t w) { return any[w] && delay <= within * spans[w]; };
        if (delay < 0.9 * trace.interval || !(fits(0) || fits(1) || fits(2)))
            continue;
        for (Left& left : late)
            left.restart();
        held.late(0, n, delay, [&](std::size_t i, const Expected& earlier, const Expected& slow) {
            late[0].add(held, i, earlier);
            late[1].add(held, i, slow);
        });
        held.ahead(delay,
                   [&](std::size_t i, double expected) { backwards[i] = held.left(i, expected); });
        ahead.restart();
        for (const double one : backwards)
            ahead.add(one);
        for (std::size_t w = 0; w < widths; ++w)
            for (std::size_t k = 0; fits(w) && k < out[w].size(); ++k) {
                Window& one = out[w][k];
                const auto over = [&](const Sums& sums) { return sums.over(one.from, one.to); };
                const double before = std::min(whole[w][k], over(ahead));
                for (const Left& then : late) {
                    const double gone = std::min(before - stays * over(then.whole),
                                                 over(now.strange) - stays * over(then.strange));
                    if (gone > one.value * one.value) { // not-a-number is not
                        one.value = std::sqrt(gone);
                        one.difference = delay;
                    }
                }
            }
    }
    return out;
}

double late_by(const Trace& trace, std::size_t from, std::size_t to) {
    constexpr double shortest = 0.2; // seconds
    constexpr double finer = 1.1;
    constexpr int delays = 42;      // up to 10 s
    constexpr double before = 40;   // seconds, after which a sensor that slow has forgotten
    constexpr double clearly = 0.5; // of the squares may stay
    const auto first = static_cast<std::size_t>(
        std::lower_bound(trace.t.begin(), trace.t.end(), trace.t[from] - before) - trace.t.begin());
    const Held held(trace);
    double least = 0;
    for (std::size_t i = from; i < to; ++i)
        least += clearly * held.left(i, double{trace.fitted[i]});
    double out = 0;
    double delay = shortest;
    for (int k = 0; k < delays; ++k, delay *= finer) {
        std::array<double, 2> left{};
        held.late(first, to, delay,
                  [&](std::size_t i, const Expected& earlier, const Expected& slow) {
                      if (i >= from) {
                          left[0] += held.left(i, earlier.fitted);
                          left[1] += held.left(i, slow.fitted);
                      }
                  });
        for (const double one : left)
            if (one < least) {
                least = one;
                out = delay;
            }
    }
    return out;
}

LateScanner::LateScanner(const std::vector<Trace>& good, double strictness) {
    constexpr double usual = 0.5; // normal differences
    for (std::size_t v = 0; v < std::min(most_views, good.size()); ++v) {
        std::array<double, widths> most{};
        for (std::size_t w = 0; w < widths; ++w) {
            const std::size_t width = width_of(w, good[v]);
            if (good[v].t.size() >= 4 * width)
                most[w] = usual * std::sqrt(static_cast<double>(width));
        }
        const Course seen = course(good[v], most);
        for (std::size_t w = 0; w < widths; ++w) {
            for (const Window& one : seen[w])
                most[w] = std::max(most[w], std::isnan(one.value) ? 0 : one.value);
            limits_[v][w] = strictness * factors[w] * most[w];
        }
    }
}

std::vector<Hit> LateScanner::scan(const std::vector<Trace>& traces, float least) const {
    constexpr double alone = 1.5; // a single view counts for less
    std::vector<Hit> hits;
    std::vector<Course> views;
    for (std::size_t v = 0; v < std::min(most_views, traces.size()); ++v) {
        std::array<double, widths> above = limits_[v];
        for (double& limit : above)
            limit *= double{least};
        views.push_back(course(traces[v], above));
    }
    for (std::size_t w = 0; w < widths && !views.empty(); ++w) {
        Stretches stretches(Sign::late, w, hits);
        for (std::size_t k = 0; k < views[0][w].size(); ++k) {
            std::array<Window, most_views> strange{}; // in limits
            std::size_t count = 0;
            for (std::size_t v = 0; v < views.size(); ++v)
                if (k < views[v][w].size() && !std::isnan(views[v][w][k].value)) {
                    strange[count] = views[v][w][k];
                    strange[count++].value /= limits_[v][w];
                }
            std::sort(strange.begin(), strange.end(),
                      [](const Window& a, const Window& b) { return a.value > b.value; });
            const Window& told = strange[count >= 2 ? 1 : 0];
            const auto score = static_cast<float>(count >= 2 ? told.value : told.value / alone);
            if (score >= least)
                stretches.add({views[0][w][k].from, views[0][w][k].to, told.difference, 0}, score);
        }
    }
    settle(hits);
    return hits;
}

} // namespace telltale::run
