// SPDX-License-Identifier: Apache-2.0
#include "allowances.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

#include "run/robust.hpp"
#include "traits.hpp"

namespace telltale::run {
namespace {

/// Until when an engine that begins colder than it ever was in the good run is so; 0 where it does
/// not. What reads colder later on is a sensor's fault, or cools down slowly.
double warmed_up_at(const Drive& drive, const Survey& survey) {
    // Degrees: colder than in the good run, and not yet where an engine is warmed up (from memory).
    constexpr float colder_by = 2;
    constexpr float warmed_up = 75;
    constexpr int looks = 2000;
    double until = 0;
    for (int i = 0; i < looks; ++i) {
        const double t = (i + 0.5) / looks * drive.seconds();
        const Warmth warmth = survey.warmth(drive, t, colder_by, warmed_up);
        if (warmth == Warmth::warm)
            break;
        if (warmth == Warmth::cold)
            until = t;
    }
    return until;
}

/// Whether a signal went somewhere and came back between two moments.
bool darts(const Track& track, double from, double to) {
    const double reach = std::max({1.0, 4 * track.interval(), to - from});
    const double by = track.interval();
    constexpr float none = std::numeric_limits<float>::infinity();
    struct Span {
        float low = none;
        float high = -none;
        void take(float v) {
            low = std::min(low, v);
            high = std::max(high, v);
        }
    };
    Span before;
    Span inside;
    Span after;
    for (std::size_t i = track.first_from(from - by - reach); i < track.size(); ++i) {
        const double t = track.time(i);
        if (t > to + by + reach)
            break;
        (t < from - by ? before : t <= to + by ? inside : after).take(track.value(i));
    }
    if (before.low > before.high || inside.low > inside.high || after.low > after.high)
        return false;
    const float low = std::min(before.low, after.low);
    const float high = std::max(before.high, after.high);
    const float beyond = std::max(inside.high - high, low - inside.low);
    return beyond > 0.5F * (high - low) + 2 * static_cast<float>(track.series().step);
}

/// Whether what lasts is grossly off, and as far where the signal does not rest: the rest is not
/// what tells it then.
bool off_when_awake(const Track& track, float rest, const Trace& beside, const Hit& hit) {
    constexpr double gross = 25; // normal differences
    constexpr double as_far = 0.7;
    std::vector<double> all;
    std::vector<double> awake;
    for (std::size_t i = hit.from; i < hit.to; ++i)
        if (!std::isnan(beside.z[i])) {
            all.push_back(double{beside.z[i]});
            if (track.value(i) > rest)
                awake.push_back(double{beside.z[i]});
        }
    if (3 * awake.size() <= all.size())
        return false;
    const double usual = median(all);
    const double then = median(awake);
    return usual * then > 0 && std::abs(then) >= std::max(gross, as_far * std::abs(usual));
}

} // namespace

Allowances::Allowances(const Drive& good, const std::vector<const Drive*>& bad,
                       const Survey& survey, const std::vector<char>& comparable)
    : good_(&good), survey_(&survey), comparable_(&comparable), goes_to_rest_(good.signals()),
      values_(good.signals()) {
    for (const Drive* drive : bad)
        cold_until_.push_back(warmed_up_at(*drive, survey));
}

void Allowances::for_the_unfamiliar(std::size_t k, const Trace& beside, Hit& hit) {
    if (!lasts(hit.sign) || hit.sign == Sign::late)
        return;
    constexpr double often = 0.09; // of the good run
    constexpr std::size_t enough = 60;
    std::vector<double> parts;
    for (std::size_t i = hit.from; i < hit.to; i += 1 + (hit.to - hit.from) / enough)
        if (!std::isnan(beside.fitted[i]))
            parts.push_back(familiar(k, beside.fitted[i]));
    if (parts.empty())
        return;
    const double part = std::min(1.0, median(parts) / often);
    hit.score *= static_cast<float>(part * part);
}

/// Whether in the good run it leapt to its lowest value from far, several times, and stayed for
/// a while.
bool Allowances::goes_to_rest(std::size_t k) const {
    constexpr std::size_t often = 5;
    const Track& good = good_->track(k);
    const float lowest = survey_->range(k).low;
    const float far = lowest + 0.1F * (survey_->range(k).high - lowest);
    std::size_t leaps = 0;
    std::size_t rests = 0;
    for (std::size_t i = 1; i < good.size(); ++i)
        if (good.value(i) <= lowest) {
            ++rests;
            leaps += good.value(i - 1) > far ? 1 : 0;
        }
    return leaps >= often && 100 * rests >= good.size();
}

void Allowances::for_rest(std::size_t k, const Drive& bad, const Trace& beside, Hit& hit) {
    if (hit.sign == Sign::frozen || hit.sign == Sign::unlike)
        return;
    if (!goes_to_rest_[k])
        goes_to_rest_[k] = goes_to_rest(k) ? 1 : 0;
    if (*goes_to_rest_[k] == 0)
        return;
    constexpr std::size_t around = 2;
    constexpr float at_rest = 0.15F;
    const Track& track = bad.track(k);
    const float lowest = survey_->range(k).low;
    std::size_t there = 0;
    const std::size_t to = std::min(track.size(), hit.to + around);
    for (std::size_t i = hit.from - std::min(hit.from, around); i < to; ++i)
        there += track.value(i) <= lowest ? 1 : 0;
    if (there < std::max<std::size_t>(2, lasts(hit.sign) ? (hit.to - hit.from) / 6 : 0))
        return;
    if (!lasts(hit.sign) || !off_when_awake(track, lowest, beside, hit))
        hit.score *= at_rest;
}

void Allowances::for_the_cold(std::size_t run, const Track& track, Hit& hit) const {
    if (hit.sign == Sign::leap || hit.sign == Sign::peak || hit.sign == Sign::creep ||
        hit.sign == Sign::unlike || !governed(track.series()))
        return;
    constexpr float still = 0.03F;
    constexpr float off = 0.4F;
    if (track.time((hit.from + hit.to) / 2) < cold_until_[run])
        hit.score *= hit.sign == Sign::frozen ? still : off;
}

void Allowances::for_company(std::size_t k, const Drive& bad, Hit& hit) const {
    if (!momentary(hit.sign))
        return;
    constexpr double longest = 5; // seconds
    constexpr double seldom = 2.5;
    constexpr std::size_t several = 2;
    constexpr float in_company = 0.35F;
    const Track& own = bad.track(k);
    const double from = own.time(hit.from);
    const double to = own.time(hit.to - 1);
    if (to - from > longest)
        return;
    std::vector<std::uint16_t> sources{source_of(own.series())};
    for (std::size_t other = 0; other < bad.signals(); ++other) {
        if ((*comparable_)[other] == 0 || !survey_->range(other).usable ||
            calculated(good_->track(other).series()))
            continue;
        const Track& track = bad.track(other);
        const std::uint16_t source = source_of(track.series());
        if (track.interval() <= std::max(1.0, seldom * own.interval()) &&
            std::find(sources.begin(), sources.end(), source) == sources.end() &&
            darts(track, from, to))
            sources.push_back(source);
    }
    if (sources.size() > several)
        hit.score *= in_company;
}

void Allowances::for_its_twin(std::size_t k, const Drive& bad, Hit& hit) const {
    if (!momentary(hit.sign) && hit.sign != Sign::frozen)
        return;
    constexpr double longest = 5; // seconds, of what comes back
    constexpr double little = 2;  // steps
    constexpr double as_far = 0.6;
    constexpr float with_it = 0.35F;
    const Track& own = bad.track(k);
    const double from = own.time(hit.from);
    const double to = own.time(hit.to - 1);
    if (momentary(hit.sign) && to - from > longest)
        return;
    const auto moved = [](const Track& track, double first, double last) {
        Spread taken;
        for (std::size_t i = track.first_from(first); i < track.size() && track.time(i) <= last;
             ++i)
            taken.add(double{track.value(i)});
        return taken.high - taken.low; // minus endless where there is none
    };
    const auto range_of = [&](std::size_t signal) {
        return double{survey_->range(signal).high} - double{survey_->range(signal).low};
    };
    for (std::size_t other = 0; other < bad.signals(); ++other) {
        const Track& track = bad.track(other);
        if (other == k || (*comparable_)[other] == 0 || !survey_->range(other).usable ||
            !twins(own.series(), track.series()))
            continue;
        const bool same =
            hit.sign == Sign::frozen
                ? std::abs(moved(track, from, to)) <= little * track.series().step
                : moved(track, from - track.interval(), to + track.interval()) * range_of(k) >=
                      as_far * moved(own, from - own.interval(), to + own.interval()) *
                          range_of(other);
        if (same)
            hit.score *= with_it;
    }
}

/// How much of the good run a signal was within a tenth of its range of a value.
double Allowances::familiar(std::size_t k, float value) {
    std::vector<float>& values = values_[k];
    if (values.empty()) {
        const Track& track = good_->track(k);
        constexpr std::size_t most = 2000;
        const std::size_t every = track.size() / most + 1;
        for (std::size_t i = 0; i < track.size(); i += every)
            values.push_back(track.value(i));
        std::sort(values.begin(), values.end());
    }
    const std::size_t n = values.size();
    const float reach = 0.1F * (values[n - 1 - n / 200] - values[n / 200]);
    const auto from = std::lower_bound(values.begin(), values.end(), value - reach);
    const auto to = std::upper_bound(from, values.end(), value + reach);
    return static_cast<double>(to - from) / static_cast<double>(n);
}

} // namespace telltale::run
