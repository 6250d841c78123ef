// SPDX-License-Identifier: Apache-2.0
#include <algorithm>
#include <cmath>

#include "model.hpp"
#include "regress.hpp"
#include "run/robust.hpp"
#include "traits.hpp"

namespace telltale::run {
namespace {

constexpr std::size_t survey_rows = 1000;
constexpr std::size_t least_samples = 40;
constexpr std::size_t nowhere = static_cast<std::size_t>(-1);

/// Whether a value in this unit may be one that is counted up: time, distance, events, what was
/// used. A temperature that only rises is no counter.
bool counts(Unit unit) {
    switch (unit) {
    case Unit::none:
    case Unit::count:
    case Unit::revolution:
    case Unit::second:
    case Unit::minute:
    case Unit::hour:
    case Unit::kilometre:
    case Unit::litre:
    case Unit::gram:
    case Unit::kilogram:
    case Unit::kilowatt_hour:
    case Unit::ampere_hour:
        return true;
    default:
        return false;
    }
}

Range look(const Track& track) {
    Range range;
    if (track.size() < least_samples)
        return range;
    range.known = track.series().kind == SeriesKind::number;
    const std::size_t stride = std::max<std::size_t>(1, track.size() / 4096);
    std::vector<double> values;
    std::size_t up = 0;
    std::size_t down = 0;
    for (std::size_t i = 0; i < track.size(); i += stride) {
        values.push_back(track.value(i));
        if (values.size() > 1) {
            const double change = values.back() - values[values.size() - 2];
            up += change > 0 ? 1 : 0;
            down += change < 0 ? 1 : 0;
        }
    }
    double sum = 0;
    for (const double v : values)
        sum += v;
    const double mean = sum / static_cast<double>(values.size());
    double squares = 0;
    for (const double v : values)
        squares += (v - mean) * (v - mean);
    range.mean = static_cast<float>(mean);
    range.sd = static_cast<float>(std::sqrt(squares / static_cast<double>(values.size())));
    if (range.sd > 0 && stride == 1) {
        std::vector<double> bends;
        for (std::size_t i = 1; i + 1 < values.size(); ++i)
            bends.push_back(std::abs(values[i] - 0.5 * (values[i - 1] + values[i + 1])));
        range.bends = static_cast<float>(quantile(bends, 0.95)) / range.sd;
    }
    range.low = static_cast<float>(quantile(values, 0.002));
    range.high = static_cast<float>(quantile(values, 0.998));
    range.counter = counts(track.series().unit) && up + down > 20 && (up == 0 || down == 0);
    // Swings of its smoothed course between the lower and the upper part of what it takes, which
    // many signals have at one end (a pedal at rest).
    double least = quantile(values, 0.25);
    double most = quantile(values, 0.75);
    if (most - least < 0.5 * range.sd) {
        least = quantile(values, 0.05);
        most = quantile(values, 0.95);
    }
    const double low = least + 0.3 * (most - least);
    const double high = least + 0.7 * (most - least);
    const std::size_t smooth = std::max<std::size_t>(1, values.size() / 400);
    std::size_t swings = 0;
    int side = 0;
    for (std::size_t i = 0; i + smooth <= values.size(); i += smooth) {
        double here = 0;
        for (std::size_t k = 0; k < smooth; ++k)
            here += values[i + k];
        here /= static_cast<double>(smooth);
        const int now = here > high ? 1 : here < low ? -1 : 0;
        if (now != 0 && now != side) {
            swings += side != 0 ? 1 : 0;
            side = now;
        }
    }
    range.swings = swings;
    range.usable = range.known && range.sd > 0 && range.high > range.low;
    return range;
}

std::ptrdiff_t find(const Drive& drive, std::initializer_list<int> ids, bool usable_only,
                    const std::vector<Range>& ranges) {
    for (const int id : ids)
        for (std::size_t k = 0; k < drive.signals(); ++k) {
            if (!drive.track(k).present())
                continue;
            const Series& series = drive.track(k).series();
            if (plain_id(series) == id && series.kind == SeriesKind::number &&
                (!usable_only || ranges[k].usable))
                return static_cast<std::ptrdiff_t>(k);
        }
    return -1;
}

} // namespace

Survey::Survey(const Drive& good, const std::vector<const Drive*>& bad,
               const std::vector<char>& available) {
    const std::size_t blocks = good.blocks();
    ranges_.resize(good.signals());
    plain_.assign(good.signals(), nowhere);
    for (std::size_t k = 0; k < good.signals(); ++k) {
        if (available[k] == 0)
            continue;
        ranges_[k] = look(good.track(k));
        ranges_[k].reach_low = ranges_[k].low;
        ranges_[k].reach_high = ranges_[k].high;
        std::size_t swings = 0;
        for (const Drive* drive : bad) {
            const Range there = look(drive->track(k));
            if (!there.known)
                continue;
            swings = std::max(swings, there.swings);
            ranges_[k].reach_low = std::min(ranges_[k].reach_low, there.low);
            ranges_[k].reach_high = std::max(ranges_[k].reach_high, there.high);
        }
        // Few swings in one drive and many in the other are as good.
        constexpr std::size_t enough = 5;
        ranges_[k].slow = ranges_[k].swings < 2 || ranges_[k].swings + swings < enough;
        if (!ranges_[k].usable)
            continue;
        plain_[k] = features_.size();
        for (std::size_t form = 0; form < form_count; ++form) {
            Feature feature;
            feature.kind = Feature::Kind::base;
            feature.form = static_cast<Form>(form);
            feature.a = static_cast<std::uint16_t>(k);
            features_.push_back(feature);
            groups_.push_back(feature.a);
        }
    }
    columns_ = features_.size();
    constexpr float warm = 50;
    constexpr float hot = 150;
    for (std::size_t k = 0; k < good.signals(); ++k)
        if (good.track(k).present() && good.track(k).series().unit == Unit::celsius &&
            ranges_[k].known && ranges_[k].low > warm && ranges_[k].high < hot)
            warm_.push_back(k);
    rpm = find(good, {0x0C}, true, ranges_);
    manifold = find(good, {0x0B, 0x87}, true, ranges_);
    inlet = find(good, {0x77, 0x0F, 0x68}, false, ranges_);
    air = find(good, {0x10, 0x66}, true, ranges_);
    if (rpm >= 0 && ranges_[static_cast<std::size_t>(rpm)].low > 200)
        least_rpm = 0.5F * ranges_[static_cast<std::size_t>(rpm)].low;
    speed = find(good, {0x0D}, false, ranges_);
    if (columns_ == 0)
        return;

    std::vector<float> rows(columns_ * survey_rows);
    const double step = good.seconds() / static_cast<double>(survey_rows);
    for (std::size_t c = 0; c < columns_; ++c) {
        const Feature& feature = features_[c];
        const Range& range = ranges_[feature.a];
        Cursor cursor(good.track(feature.a));
        float* const column = &rows[c * survey_rows];
        for (std::size_t i = 0; i < survey_rows; ++i) {
            const double t = (static_cast<double>(i) + 0.5) * step;
            const float value = feature.form == Form::plain
                                    ? cursor.at(t)
                                    : good.slowed(feature.a, feature.form, t);
            // What is missing says nothing: it stands at the mean. Strays count for little.
            column[i] =
                std::isnan(value) ? 0.0F : std::clamp((value - range.mean) / range.sd, -6.0F, 6.0F);
        }
    }
    gram_.resize(blocks);
    for (std::size_t b = 0; b < blocks; ++b) {
        const std::size_t from = b * survey_rows / blocks;
        const std::size_t to = (b + 1) * survey_rows / blocks;
        gram_[b] = gram_of(rows, survey_rows, columns_, from, to);
    }
    total_ = sum_of(gram_);
}

std::vector<Feature> Survey::select(std::size_t target, const std::vector<char>& barred,
                                    std::size_t most, std::size_t most_signals) const {
    std::vector<Feature> chosen;
    if (plain_[target] == nowhere || ranges_[target].slow)
        return chosen;
    std::vector<std::size_t> columns;
    for (std::size_t c = 0; c < columns_; ++c) {
        const std::size_t signal = features_[c].a;
        if (signal != target && barred[signal] == 0 && !ranges_[signal].counter &&
            !ranges_[signal].slow)
            columns.push_back(c);
    }
    const Pursuit pursuit =
        pursue(gram_, total_, columns_, columns, plain_[target], most, {}, groups_, most_signals);
    for (std::size_t i = 0; i < pursuit.best; ++i)
        chosen.push_back(features_[pursuit.order[i]]);
    return chosen;
}

Warmth Survey::warmth(const Drive& drive, double t, float far, float below) const {
    std::size_t cold = 0;
    std::size_t there = 0;
    for (const std::size_t k : warm_) {
        const float value = drive.track(k).present() ? drive.slowed(k, Form::plain, t) : missing;
        if (std::isnan(value))
            continue;
        ++there;
        cold += value < std::min(ranges_[k].low - far, below) ? 1 : 0;
    }
    return there == 0 ? Warmth::unknown : 2 * cold > there ? Warmth::cold : Warmth::warm;
}

} // namespace telltale::run
