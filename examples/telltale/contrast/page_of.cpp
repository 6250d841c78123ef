// SPDX-License-Identifier: Apache-2.0
#include "page_of.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <limits>
#include <numeric>
#include <utility>
#include <vector>

#include "telltale/base/number.hpp"
#include "telltale/base/shown.hpp"

namespace telltale::page {

namespace {

constexpr double seconds_of(Time time) {
    return static_cast<double>(time) / static_cast<double>(nanoseconds_a_second);
}

const run::Series* series_of(const run::Run& run, std::uint16_t pid) {
    const run::Series* best = nullptr;
    for (const run::Series& series : run.series)
        if (series.service == 1 && series.id == pid && series.index == 0 &&
            (best == nullptr || series.size() > best->size()))
            best = &series;
    return best;
}

/// A signal held from sample to sample, on a grid over the run; not-a-number across gaps.
std::vector<double> on_grid(const run::Run& run, const run::Series& series, double step) {
    const auto count = static_cast<std::size_t>(std::min(run.length() / step, 200'000.0)) + 1;
    std::vector<double> out(count, std::numeric_limits<double>::quiet_NaN());
    const Time limit = run::pace(series).limit;
    std::size_t at = 0;
    for (std::size_t i = 0; i < count; ++i) {
        const Time now = run.start + static_cast<Time>(static_cast<double>(i) * step *
                                                       static_cast<double>(nanoseconds_a_second));
        while (at + 1 < series.size() && series.times[at + 1] <= now)
            ++at;
        if (series.size() > 0 && series.times[at] <= now && now - series.times[at] <= limit)
            out[i] = series.values[at];
    }
    return out;
}

double spread(const std::vector<double>& values) {
    double least = std::numeric_limits<double>::infinity();
    double most = -least;
    for (const double value : values)
        if (std::isfinite(value)) {
            least = std::min(least, value);
            most = std::max(most, value);
        }
    return most > least ? most - least : 0;
}

std::string with_unit(double value, const run::ContrastSignal& signal, UnitSystem system) {
    const Shown how = shown(signal.unit, 0, signal.decimals, system, signal.own_unit);
    std::string out = value > 0 ? "+" : "";
    append_number(out, how.converted ? value * how.factor : value, signal.decimals);
    if (!how.text.empty())
        out += " " + std::string(how.text);
    return out;
}

std::string key_of(const run::ContrastSignal& signal) {
    std::string out = signal.line + "/" + signal.ecu + "/" + signal.id_text + ".";
    append_integer(out, std::uint64_t{signal.index});
    return out;
}

std::string ecu_of(const run::ContrastSignal& signal) {
    return signal.ecu.empty() ? std::string("no identifier") : signal.ecu;
}

Samples samples_of(const run::Series& series, Time zero) {
    Samples out;
    out.time.reserve(series.size());
    out.value.reserve(series.size());
    for (std::size_t i = 0; i < series.size(); ++i) {
        out.time.push_back(seconds_of(series.times[i] - zero));
        out.value.push_back(series.values[i]);
    }
    return out;
}

} // namespace

double best_shift(const run::Run& good, const run::Run& bad, double at) {
    constexpr double step = 0.5;
    constexpr int around = 40; // grid points on either side of the moment: 20 s
    struct Pair {
        std::vector<double> good, bad;
        double scale;
    };
    std::vector<Pair> pairs;
    for (const std::uint16_t pid : {std::uint16_t{0x0D}, std::uint16_t{0x0C}}) {
        const run::Series* in_good = series_of(good, pid);
        const run::Series* in_bad = series_of(bad, pid);
        if (in_good == nullptr || in_bad == nullptr)
            continue;
        Pair pair{on_grid(good, *in_good, step), on_grid(bad, *in_bad, step), 0};
        pair.scale = spread(pair.bad);
        if (pair.scale > 0)
            pairs.push_back(std::move(pair));
    }
    if (pairs.empty())
        return 0;
    const auto middle = static_cast<std::ptrdiff_t>(at / step);
    const auto good_size = static_cast<std::ptrdiff_t>(pairs[0].good.size());
    double best = std::numeric_limits<double>::infinity();
    std::ptrdiff_t best_place = middle;
    for (std::ptrdiff_t place = 0; place < good_size; ++place) {
        double sum = 0;
        int count = 0;
        for (const Pair& pair : pairs)
            for (std::ptrdiff_t k = -around; k <= around; ++k) {
                const std::ptrdiff_t i = place + k;
                const std::ptrdiff_t j = middle + k;
                if (i < 0 || i >= good_size || j < 0 ||
                    j >= static_cast<std::ptrdiff_t>(pair.bad.size()))
                    continue;
                const double difference =
                    pair.good[static_cast<std::size_t>(i)] - pair.bad[static_cast<std::size_t>(j)];
                if (std::isfinite(difference)) {
                    sum += std::fabs(difference) / pair.scale;
                    ++count;
                }
            }
        // Half of the window must be there, so that an end of the run is not chosen for its
        // silence.
        if (count >= around * static_cast<int>(pairs.size()) && sum / count < best) {
            best = sum / count;
            best_place = place;
        }
    }
    return static_cast<double>(middle - best_place) * step;
}

Page page_of(const run::Run* good, std::span<const run::Run* const> bad,
             const run::ContrastResult& result, UnitSystem units, std::string report) {
    Page page;
    page.units = units;
    page.report = std::move(report);
    page.caution = run::contrast_caution();
    page.notes = result.notes;
    const std::uint32_t chosen = result.suspects.empty() ? 0 : result.suspects.front().run;
    if (chosen >= bad.size())
        return page;
    const run::Run& shown = *bad[chosen];
    const Time reference =
        chosen < result.coverage.size() && result.coverage[chosen].reference != no_time
            ? result.coverage[chosen].reference
            : shown.start;

    page.title = good == nullptr ? "One drive looked at alone" : "Two drives side by side";
    page.files = good == nullptr ? shown.name : good->name + " (good), " + shown.name + " (bad)";
    if (good == nullptr)
        page.bad_name = "run";
    if (result.suspects.empty()) {
        page.verdict = "No signal left its course as far as could be seen.";
    } else {
        const run::ContrastSignal& signal = result.signals[result.suspects.front().signal];
        page.verdict = "First lead: " + signal.name + " (" + ecu_of(signal) + "). " +
                       result.suspects.front().sentence;
    }
    for (const run::Mark& mark : shown.marks)
        page.marks.push_back({seconds_of(mark.time - reference), mark.text});

    for (std::size_t i = 0; i < result.suspects.size(); ++i) {
        const run::Departure& departure = result.suspects[i];
        const run::ContrastSignal& signal = result.signals[departure.signal];
        if (departure.run != chosen) {
            page.notes.push_back("In " + bad[departure.run]->name + ": " + signal.name + " (" +
                                 ecu_of(signal) + "): " + departure.sentence);
            continue;
        }
        Lead lead;
        lead.signal = key_of(signal);
        lead.name = signal.name;
        lead.ecu = ecu_of(signal);
        lead.start = seconds_of(departure.start - reference);
        lead.end = seconds_of(departure.end - reference);
        lead.score = departure.score;
        lead.peak = with_unit(departure.peak_difference, signal, units);
        lead.sentence = departure.sentence;
        lead.meanwhile = departure.others;
        lead.test = departure.proof;
        lead.follows = departure.after.has_value();
        for (const run::Episode& episode : departure.episodes)
            if (episode.run == chosen)
                lead.spans.push_back(
                    {seconds_of(episode.start - reference), seconds_of(episode.end - reference)});
        if (lead.spans.empty())
            lead.spans.push_back({lead.start, lead.end});
        page.leads.push_back(std::move(lead));
    }

    if (good != nullptr) {
        const Time about = result.suspects.empty() ? reference : result.suspects.front().start;
        const double from_start = shown.seconds(about);
        page.shift = best_shift(*good, shown, from_start) + seconds_of(shown.start - reference);
    }
    // What was compared comes first: states and what was read once or twice are rarely looked at.
    std::vector<std::size_t> order(result.signals.size());
    std::iota(order.begin(), order.end(), std::size_t{0});
    std::stable_partition(order.begin(), order.end(), [&](std::size_t i) {
        const run::Standing standing = result.signals[i].standing;
        return standing == run::Standing::compared || standing == run::Standing::itself_only ||
               standing == run::Standing::constant;
    });
    for (const std::size_t i : order) {
        const run::ContrastSignal& from = result.signals[i];
        Signal signal;
        signal.key = key_of(from);
        signal.ecu = ecu_of(from);
        signal.name = from.name;
        signal.unit = from.unit;
        signal.own_unit = from.own_unit;
        signal.decimals = from.decimals;
        Time limit = 0;
        if (good != nullptr && from.good_series != run::ContrastSignal::npos) {
            const run::Series& series = good->series[from.good_series];
            signal.good = samples_of(series, good->start);
            signal.step = series.step;
            limit = std::max(limit, run::pace(series).limit);
        }
        if (chosen < from.bad_series.size() &&
            from.bad_series[chosen] != run::ContrastSignal::npos) {
            const run::Series& series = shown.series[from.bad_series[chosen]];
            signal.bad = samples_of(series, reference);
            signal.step = series.step;
            limit = std::max(limit, run::pace(series).limit);
        }
        if (limit > 0)
            signal.gap = seconds_of(limit);
        for (const run::Expectation& expectation : result.expectations) {
            if (expectation.signal != i || expectation.run != chosen)
                continue;
            // Drawn only about the departures of this signal: elsewhere it is the signal itself.
            for (const Lead& lead : page.leads) {
                if (lead.signal != signal.key)
                    continue;
                const double around = std::max(10.0, (lead.end - lead.start) * 1.5);
                for (std::size_t k = 0; k < expectation.times.size(); ++k) {
                    const double time = seconds_of(expectation.times[k] - reference);
                    if (time >= lead.start - around && time <= lead.end + around &&
                        std::isfinite(expectation.expected[k])) {
                        signal.expected.time.push_back(time);
                        signal.expected.value.push_back(expectation.expected[k]);
                    }
                }
            }
        }
        if (!signal.good.time.empty() || !signal.bad.time.empty())
            page.signals.push_back(std::move(signal));
    }
    // What puts a departure into its setting: engine speed, road speed, load.
    for (const char* id : {"/0C.0", "/0D.0", "/04.0"})
        for (const Signal& signal : page.signals)
            if (signal.key.size() > 5 && signal.key.compare(signal.key.size() - 5, 5, id) == 0) {
                page.first.push_back(signal.key);
                break;
            }
    return page;
}

} // namespace telltale::page
