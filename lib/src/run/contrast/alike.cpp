// SPDX-License-Identifier: Apache-2.0
#include "alike.hpp"

#include <algorithm>
#include <cmath>

#include "run/robust.hpp"

namespace telltale::run {

Trace Alike::trace(std::size_t signal) const {
    constexpr double least = 0.01; // of how it varies: who drives again never does quite the same
    const Track& good = good_->track(signal);
    const Track& bad = bad_->track(signal);
    const std::size_t n = bad.size();
    Trace out = blank_trace(bad);
    out.low.assign(n, missing);
    out.high.assign(n, missing);
    // Neither was asked at the same moments: within what it took a moment around, all is timing.
    const double reach = 0.05 + 1.2 * std::max(good.interval(), bad.interval());
    Cursor cursor(good);
    std::size_t first = 0;
    std::vector<double> sizes;
    for (std::size_t i = 0; i < n; ++i) {
        const double t = out.t[i];
        out.fitted[i] = cursor.at(t);
        if (std::isnan(out.fitted[i]))
            continue;
        while (first < good.size() && good.time(first) < t - reach)
            ++first;
        out.low[i] = out.high[i] = out.fitted[i];
        for (std::size_t k = first; k < good.size() && good.time(k) <= t + reach; ++k) {
            out.low[i] = std::min(out.low[i], good.value(k));
            out.high[i] = std::max(out.high[i], good.value(k));
        }
        sizes.push_back(std::abs(double{out.y[i] - out.fitted[i]}));
    }
    if (sizes.empty())
        return out;
    const auto sigma =
        static_cast<float>(std::max({0.5 * good.series().step, mad_factor * median(sizes),
                                     least * double{survey_->range(signal).sd}, 1e-12}));
    for (std::size_t i = 0; i < n; ++i)
        if (!std::isnan(out.fitted[i])) {
            out.sigma[i] = sigma;
            out.z[i] = (out.y[i] - std::clamp(out.y[i], out.low[i], out.high[i])) / sigma;
        }
    return out;
}

/// Samples off by more than `few` normal differences and more than a step, with no more than
/// `between` others between two of them.
std::vector<Alike::Off> Alike::look(const Trace& trace, double step) {
    constexpr float few = 5;
    constexpr float single = 7;
    constexpr double steps = 1.5;
    constexpr std::size_t between = 3;
    constexpr std::size_t lasting = 3;
    std::vector<Off> out;
    std::size_t count = 0;
    const auto close = [&] {
        if (out.empty())
            return;
        Off& open = out.back();
        if (count < lasting)
            open.hit.score *= few / single;
        if (open.hit.score < 1)
            out.pop_back();
    };
    for (std::size_t i = 0; i < trace.y.size(); ++i) {
        const float size = std::abs(trace.z[i]);
        const float limit = std::max(few, static_cast<float>(steps * step) / trace.sigma[i]);
        if (!(size > limit)) // not-a-number is not
            continue;
        if (out.empty() || i > out.back().hit.to + between) {
            close();
            Off open;
            open.hit.sign = Sign::unlike;
            open.hit.from = i;
            open.from = trace.t[i];
            out.push_back(open);
            count = 0;
        }
        Off& open = out.back();
        ++count;
        open.hit.to = i + 1;
        open.to = trace.t[i];
        if (size / limit > open.hit.score) {
            open.hit.score = size / limit;
            open.hit.value = trace.z[i];
        }
    }
    close();
    constexpr std::size_t most = 200;
    if (out.size() > most) {
        const auto end = out.begin() + most;
        std::nth_element(out.begin(), end, out.end(),
                         [](const Off& a, const Off& b) { return a.hit.score > b.hit.score; });
        out.erase(end, out.end());
    }
    return out;
}

Alike::Alike(const Drive& good, const Drive& bad, const Survey& survey,
             const std::vector<char>& comparable)
    : good_(&good), bad_(&bad), survey_(&survey) {
    constexpr double close = 0.95; // of how it varies
    constexpr std::size_t least = 4;
    std::size_t moving = 0;
    std::size_t together = 0;
    std::vector<std::size_t> looked_at;
    for (std::size_t k = 0; k < good.signals(); ++k) {
        if (comparable[k] == 0 || !survey.range(k).usable || survey.range(k).counter)
            continue;
        looked_at.push_back(k);
        if (survey.range(k).slow)
            continue;
        Cursor cursor(good.track(k));
        const Track& track = bad.track(k);
        double left = 0;
        double whole = 0;
        std::size_t known = 0;
        const double mean = double{survey.range(k).mean};
        const std::size_t every = 1 + track.size() / 1000;
        for (std::size_t i = 0; i < track.size(); i += every) {
            const double there = double{cursor.at(track.time(i))};
            if (std::isnan(there))
                continue;
            const double here = double{track.value(i)};
            left += (here - there) * (here - there);
            whole += (here - mean) * (here - mean);
            ++known;
        }
        ++moving;
        together += 4 * known * every > 3 * track.size() && left < (1 - close) * whole ? 1 : 0;
    }
    same_ = moving >= least && 10 * together >= 7 * moving;
    if (!same_)
        return;
    std::vector<std::vector<Off>> off;
    off.reserve(looked_at.size());
    for (const std::size_t k : looked_at)
        off.push_back(look(trace(k), good.track(k).series().step));
    hits_.resize(good.signals());
    for (std::size_t i = 0; i < off.size(); ++i)
        hits_[looked_at[i]] = alone(off[i], off);
}

/// Of one signal, but for what most do at the same time: there it was driven otherwise.
std::vector<Hit> Alike::alone(const std::vector<Off>& mine,
                              const std::vector<std::vector<Off>>& all) {
    std::vector<Hit> out;
    for (const Off& one : mine) {
        const auto elsewhere =
            std::count_if(all.begin(), all.end(), [&](const std::vector<Off>& of) {
                return std::any_of(of.begin(), of.end(), [&](const Off& other) {
                    return other.from <= one.to && one.from <= other.to;
                });
            });
        if (2 * static_cast<std::size_t>(elsewhere) <= all.size())
            out.push_back(one.hit);
    }
    settle(out);
    return out;
}

} // namespace telltale::run
