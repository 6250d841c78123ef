// SPDX-License-Identifier: Apache-2.0
#include "times.hpp"

#include <algorithm>
#include <cmath>
#include <string>

#include "phase.hpp"
#include "text.hpp"

namespace telltale::vet {

void Times::stamp(Time stamp, const CanFrame& frame, Time since_begin) {
    ++stamps_;
    Time step = 0;
    if (last_ != no_time) {
        step = last_ - stamp;
        const Time ahead = stamp - last_;
        if (ahead > 0) {
            ++different_;
            for (std::size_t i = 0; i < units.size(); ++i)
                if (ahead % units[i] == 0)
                    ++multiples_[i];
        }
    }
    if (step > 0) {
        ++steps_back_;
        greatest_back_ = std::max(greatest_back_, step);
        if (examples_.size() < Check::most_examples)
            examples_.push_back({since_begin,
                                 {},
                                 frame_text(frame),
                                 "stamped " + duration_text(step) + " before the frame before it"});
    }
    last_ = stamp;
}

void Times::pair(End from, const Comparison::Pair& pair) {
    latency_[static_cast<std::size_t>(from)].add(pair.came - pair.sent);
    if (from != End::reference)
        return;
    // What the adapter's own clock showed counts from somewhere else: only changes say something.
    const Time delay = (pair.own != no_time ? pair.own : pair.came) - pair.sent;
    if (spans_.empty() || pair.sent - spans_.back().at >= span) {
        if (spans_.size() == most_spans)
            return;
        spans_.push_back({pair.sent, delay});
        return;
    }
    auto& now = spans_.back();
    jitter_.add(delay - std::min(delay, now.least));
    if (delay < now.least)
        now.least = delay;
}

Time Times::resolution() const {
    for (std::size_t i = 0; i < units.size(); ++i)
        if (multiples_[i] * 20 >= different_ * 19)
            return units[i];
    return 1;
}

bool Times::drift(double& ppm, double& error) const {
    if (spans_.size() < 8)
        return false;
    // A line through the least delays. The first span is left out: things settle in it.
    const auto n = static_cast<double>(spans_.size() - 1);
    double x = 0;
    double y = 0;
    for (std::size_t i = 1; i < spans_.size(); ++i) {
        x += static_cast<double>(spans_[i].at - spans_[1].at);
        y += static_cast<double>(spans_[i].least - spans_[1].least);
    }
    x /= n;
    y /= n;
    double xx = 0;
    double xy = 0;
    double yy = 0;
    for (std::size_t i = 1; i < spans_.size(); ++i) {
        const double dx = static_cast<double>(spans_[i].at - spans_[1].at) - x;
        const double dy = static_cast<double>(spans_[i].least - spans_[1].least) - y;
        xx += dx * dx;
        xy += dx * dy;
        yy += dy * dy;
    }
    if (xx <= 0)
        return false;
    const double slope = xy / xx;
    const double rest = std::max(0.0, yy - slope * xy);
    ppm = slope * 1e6;
    error = 2 * std::sqrt(rest / (n - 2) / xx) * 1e6;
    return true;
}

namespace {

/// A crystal of the usual kind is within 100 ppm; two of them within twice that.
constexpr double most_drift = 200;
constexpr Time coarsest = 1 * ms;
constexpr Time most_jitter = 1 * ms;

Check& add(Bench& bench, std::string id, std::string title, std::string basis) {
    Check made;
    made.id = std::move(id);
    made.group = "times";
    made.title = std::move(title);
    made.basis = std::move(basis);
    bench.report.checks.push_back(std::move(made));
    return bench.report.checks.back();
}

} // namespace

void finish_times(Bench& bench) {
    const auto& times = bench.times;
    const auto from = bench.facts(End::tested).times;
    const bool own = from == link::TimeFrom::device;
    const std::string stamps = counted(times.stamps(), "time stamp", "time stamps");
    const std::string not_own =
        bench.options.own_isotp ? "the adapter gives messages, and no times of frames"
        : from == link::TimeFrom::system
            ? "this link has the operating system's times, not the adapter's"
            : "this link has the computer's times, not the adapter's";

    auto& order = add(bench, "times-monotonic", "Time stamps never step back", "common practice");
    order.sent = stamps + " of received frames";
    order.sent_count = times.stamps();
    order.wrong_count = times.steps_back();
    if (times.stamps() < 10) {
        order.finding = "too few frames came to judge their times";
    } else if (times.steps_back() != 0) {
        order.verdict = Verdict::failed;
        order.came = counted(times.steps_back(), "step back", "steps back") + ", of at most " +
                     duration_text(times.greatest_step_back());
        order.finding = "Time stamps step back: " + counted(times.steps_back(), "time", "times") +
                        " in " + stamps + ", by at most " +
                        duration_text(times.greatest_step_back()) + ".";
        order.examples = times.examples();
    } else if (own) {
        order.verdict = Verdict::passed;
        order.came = "none steps back";
    } else {
        order.came = "none steps back";
        order.finding = not_own;
    }

    auto& resolution = add(bench, "times-resolution", "Resolution of time stamps",
                           "common practice: 1 ms, the unit of STmin, or finer");
    resolution.sent = stamps + " of received frames";
    if (!own) {
        resolution.finding = not_own;
    } else if (times.stamps() < 100) {
        resolution.finding = "too few frames came to judge their times";
    } else {
        const Time unit = times.resolution();
        resolution.sent_count = times.stamps();
        resolution.came = duration_text(unit);
        resolution.verdict = unit <= coarsest ? Verdict::passed : Verdict::failed;
        if (unit > coarsest) {
            resolution.wrong_count = times.stamps();
            resolution.finding = "Time stamps are coarse: they go in steps of " +
                                 duration_text(unit) + ", and no more than 1 ms is wanted.";
        }
    }

    auto& drift = add(bench, "times-drift", "The adapter's clock keeps pace",
                      "common practice: two crystals of 100 ppm, so 200 ppm");
    drift.sent = "frames that the reference sent, over the whole of the time";
    double ppm = 0;
    double error = 0;
    if (!own) {
        drift.finding = not_own;
    } else if (!times.drift(ppm, error) || error > most_drift / 2) {
        drift.finding =
            "the time was too short, or the reference's times too uneven, to measure it";
    } else {
        drift.sent_count = times.latency(End::reference).total();
        drift.came = decimal(ppm, 1) + " ppm, give or take " + decimal(error, 1);
        drift.verdict = std::fabs(ppm) - error <= most_drift ? Verdict::passed : Verdict::failed;
        if (drift.verdict == Verdict::failed) {
            drift.wrong_count = drift.sent_count;
            drift.finding = std::string("The adapter's clock runs too ") +
                            (ppm > 0 ? "fast" : "slow") + " by " + decimal(std::fabs(ppm), 0) +
                            " ppm against the reference; at most 200 ppm are usual.";
        }
    }

    auto& jitter = add(bench, "times-jitter", "Time stamps are even",
                       "common practice: 99 of 100 within 1 ms and one step of the clock");
    jitter.sent = "frames that the reference sent, against its own times";
    const auto& spread = times.jitter();
    if (spread.total() != 0)
        jitter.came = "99 of 100 within " + duration_text(spread.within(0.99)) + ", all within " +
                      duration_text(spread.greatest());
    if (!own) {
        jitter.finding = not_own;
    } else if (spread.total() < 100) {
        jitter.finding = "too few frames came to judge their times";
    } else if (bench.facts(End::reference).times == link::TimeFrom::program) {
        jitter.finding = "the reference has the computer's times only, which are uneven themselves";
    } else {
        jitter.sent_count = spread.total();
        const bool fine = spread.within(0.99) <= most_jitter * 3 / 2 + times.resolution();
        jitter.verdict = fine ? Verdict::passed : Verdict::failed;
        if (!fine) {
            jitter.wrong_count = spread.total() / 100;
            jitter.finding = "Time stamps are uneven: one in a hundred is off by more than " +
                             duration_text(spread.within(0.99)) + ".";
        }
    }

    for (const End end : {End::reference, End::tested})
        if (times.latency(end).total() != 0)
            bench.report.latencies.push_back(
                {end == End::reference ? "reference to adapter" : "adapter to reference",
                 times.latency(end)});
}

} // namespace telltale::vet
