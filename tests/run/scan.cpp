// SPDX-License-Identifier: Apache-2.0
// How much standing still and leaps count, and what counts as late; looked at from inside.
#include "run/contrast/scan.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <vector>

#include <doctest/doctest.h>

using namespace telltale::run;

namespace {

Trace finished(Trace out) {
    const std::size_t samples = out.t.size();
    out.low = out.high = out.fitted;
    out.sigma.assign(samples, 4);
    out.slope.assign(samples, 0);
    out.piece.assign(samples, 0);
    for (std::size_t i = 0; i < samples; ++i)
        out.z.push_back((out.y[i] - out.fitted[i]) / out.sigma[i]);
    return out;
}

/// A signal that goes to and fro as it is expected to, but for `still` samples in the middle.
Trace trace(std::size_t still) {
    constexpr std::size_t samples = 1200;
    Trace out;
    out.interval = 0.25;
    for (std::size_t i = 0; i < samples; ++i) {
        const double t = static_cast<double>(i) * out.interval;
        const auto expected = static_cast<float>(50 + 20 * std::sin(t));
        const bool stands = i >= samples / 2 && i < samples / 2 + still;
        const auto noise = static_cast<float>(i % 3) - 1;
        out.t.push_back(t);
        out.fitted.push_back(expected);
        out.y.push_back(stands ? 50 : expected + noise);
    }
    return finished(out);
}

/// A signal of which others expect quick movements here and there; for a minute in the middle
/// `course` makes something else of what is expected (by index of the sample).
template <class Course> Trace moving(Course course, unsigned seed) {
    constexpr std::size_t samples = 1600;
    constexpr std::size_t minute = 240;
    Trace out;
    out.interval = 0.25;
    for (std::size_t i = 0; i < samples; ++i) {
        const double t = static_cast<double>(i) * out.interval;
        out.t.push_back(t);
        out.fitted.push_back(static_cast<float>(50 + 15 * std::tanh(8 * std::sin(0.31 * t + seed)) +
                                                10 * std::tanh(6 * std::sin(0.083 * t))));
    }
    for (std::size_t i = 0; i < samples; ++i) {
        const bool there = i >= samples / 2 && i < samples / 2 + minute;
        const auto noise = 0.5F * (static_cast<float>((i * 7 + seed) % 5) - 2);
        out.y.push_back((there ? static_cast<float>(course(out, i)) : out.fitted[i]) + noise);
    }
    return finished(out);
}

float lateness(const Trace& bad, float& seconds) {
    const auto as_expected = [](const Trace& of, std::size_t i) { return of.fitted[i]; };
    const Trace good = moving(as_expected, 3);
    float most = 0;
    for (const Hit& hit : LateScanner({good, good}, 1.35).scan({bad, bad}, 0.1F))
        if (hit.score > most) {
            most = hit.score;
            seconds = hit.value;
            CHECK(hit.sign == Sign::late);
            CHECK(bad.t[hit.from] < 260); // the minute begins at 200 s
            CHECK(bad.t[hit.to - 1] > 200);
        }
    return most;
}

/// The score of standing still for so many samples, in which the others went all the way; sixteen
/// in the good run.
float score(std::size_t still) {
    float most = 0;
    for (const Hit& hit : ToldScanner({trace(16)}, 0.1, 1, 1).scan({trace(still)}, 0.1F))
        if (hit.sign == Sign::frozen)
            most = std::max(most, hit.score);
    return most;
}

/// Five minutes of a signal that takes the values `own(t)` and noise, and `more(i)` on top from
/// sample to sample, while the others point to `expected(i)`.
template <class Own, class More, class Expected>
Trace beside(Own own, More more, Expected expected) {
    constexpr std::size_t samples = 1200;
    Trace out;
    out.interval = 0.25;
    for (std::size_t i = 0; i < samples; ++i) {
        const double t = static_cast<double>(i) * out.interval;
        const auto noise = static_cast<float>(i % 3) - 1;
        out.t.push_back(t);
        out.fitted.push_back(static_cast<float>(expected(i)));
        out.y.push_back(static_cast<float>(own(t)) + noise + static_cast<float>(more(i)));
    }
    return finished(out);
}

double fifty(std::size_t) {
    return 50;
}

/// `by` from sample 600 to 600 + `width`.
auto put_on(double by, std::size_t width) {
    return [=](std::size_t i) { return i >= 600 && i < 600 + width ? by : 0; };
}

/// The score of a leap by 30 that stays for so many samples, of a signal that nothing tells and
/// that wanders slowly.
float leap_score(std::size_t stays) {
    const auto wandering = [](auto more) {
        Trace out = beside([](double t) { return 50 + 8 * std::sin(0.2 * t); }, more, fifty);
        out.silence.assign(out.t.size(), Silence::none);
        out.stir.assign(out.t.size(), 1);
        out.local.assign(out.t.size(), 4);
        return out;
    };
    Series series;
    series.step = 1;
    float most = 0;
    const LooseScanner scanner({wandering(put_on(0, 0))}, series, 1, LooseScanner::Still::nowhere);
    for (const Hit& hit : scanner.scan({wandering(put_on(30, stays))}, 0.1F))
        if (hit.sign == Sign::leap)
            most = std::max(most, hit.score);
    return most;
}

/// The score of a value that rests at 26 in the good run, and goes to 25 and back in every third
/// sample of a minute in the other, by the step of its scaling.
float to_and_fro_score(double step) {
    const auto resting = [](std::size_t toggles) {
        Trace out;
        out.interval = 0.25;
        for (std::size_t i = 0; i < 1200; ++i) {
            out.t.push_back(static_cast<double>(i) * out.interval);
            out.fitted.push_back(26);
            const bool down = i >= 600 && i < 600 + toggles && i % 3 == 0;
            out.y.push_back(down ? 25.0F : i % 400 == 1 ? 26.2F : 26.0F);
        }
        out = finished(std::move(out));
        out.silence.assign(out.t.size(), Silence::none);
        out.stir.assign(out.t.size(), 1);
        out.local.assign(out.t.size(), 4);
        return out;
    };
    Series series;
    series.step = step;
    float most = 0;
    const LooseScanner scanner({resting(0)}, series, 1, LooseScanner::Still::nowhere);
    for (const Hit& hit : scanner.scan({resting(240)}, 0.1F))
        if (hit.sign == Sign::rough)
            most = std::max(most, hit.score);
    return most;
}

/// The strongest hit of a sign among the peaks and edges of a signal that moves all the time, of
/// which the others expect `expected(i)` and `also(i)`, far from what it is; `more(i)` comes on top
/// from sample to sample of the bad run.
template <class Expected, class Also, class More>
float own_course_score(Sign sign, PeakScanner::Habits habits, Expected expected, Also also,
                       More more) {
    const auto moving = [](double t) { return 50 + 30 * std::sin(0.05 * t); };
    float most = 0;
    const auto none = put_on(0, 0);
    const std::vector<Trace> good{beside(moving, none, expected), beside(moving, none, also)};
    const std::vector<Trace> bad{beside(moving, more, expected), beside(moving, more, also)};
    for (const Hit& hit : PeakScanner(good, 0.5, 1, habits).scan(bad, 0.1F))
        if (hit.sign == sign) {
            most = std::max(most, hit.score);
            CHECK(hit.to <= bad.front().t.size());
        }
    return most;
}

template <class Expected, class More>
float own_course_score(Sign sign, bool edges, Expected expected, More more) {
    return own_course_score(sign, {edges, false, false}, expected, expected, more);
}

} // namespace

TEST_CASE(
    "a peak far smaller than what the others leave open is told from the signal's own course") {
    const auto peak = [](double by, std::size_t width) {
        return own_course_score(Sign::peak, false, fifty, put_on(by, width));
    };
    // Noise goes from -1 to 1, and the others are up to 30 off.
    for (const std::size_t width : {1U, 2U, 4U}) {
        CHECK(peak(12, width) > 1);
        CHECK(peak(-12, width) > 1);
    }
    CHECK(peak(3, 1) < 0.6F);
    // What lasts longer, goes to somewhere else, or is shared, is none.
    CHECK(peak(12, 9) == 0);
    CHECK(own_course_score(Sign::peak, false, fifty, put_on(12, 600)) == 0);
    const auto as_much = [](std::size_t i) { return 50 + put_on(12, 2)(i); };
    CHECK(own_course_score(Sign::peak, false, as_much, put_on(12, 2)) == 0);
    // Nor while the others move as much.
    const auto meanwhile = [](std::size_t i) { return i < 600 ? 50.0 : 62.0; };
    CHECK(own_course_score(Sign::peak, false, meanwhile, put_on(12, 2)) < 0.2F);
}

TEST_CASE("a peak among many of all sizes is one of them") {
    const auto many = [](std::size_t i) {
        return i % 60 == 0 && i > 60 ? static_cast<double>(i) / 100 : 0;
    };
    const float one = own_course_score(Sign::peak, false, fifty, put_on(12, 1));
    CHECK(own_course_score(Sign::peak, false, fifty, many) < 0.5F * one);
}

TEST_CASE(
    "a peak that nobody has a say about has to be larger, and one of two views is enough then") {
    const auto peak = [](auto expected, auto also, double by, bool switches = false) {
        return own_course_score(Sign::peak, {false, false, switches}, expected, also,
                                put_on(by, 2));
    };
    const auto unknown = [](std::size_t) { return std::nan(""); };
    const auto jitters = [](std::size_t i) { return i % 2 == 0 ? 10.0 : 90.0; };
    const float told = peak(fifty, fifty, 12);
    CHECK(told > 1);
    CHECK(peak(unknown, unknown, 12) < 0.5F * told);
    CHECK(peak(unknown, unknown, 40) > 1);
    // Who knows nothing does not contradict.
    CHECK(peak(unknown, fifty, 12) == doctest::Approx(told));
    CHECK(peak(jitters, fifty, 12) == doctest::Approx(0.5F * told));
    CHECK(peak(fifty, jitters, 30) > 1);
    CHECK(peak(jitters, jitters, 30) == 0);
    // What switches to and fro by itself has to be told by both.
    CHECK(peak(fifty, fifty, 12, true) == doctest::Approx(told));
    CHECK(peak(fifty, jitters, 30, true) == 0);
    CHECK(peak(unknown, unknown, 40, true) == 0);
}

TEST_CASE("what nothing lets leap does not, though nothing tells it") {
    const auto unknown = [](std::size_t) { return std::nan(""); };
    const auto edge = [&](bool slow, double by) {
        return own_course_score(Sign::leap, {true, slow, false}, unknown, unknown, put_on(by, 600));
    };
    CHECK(edge(true, 14) > 1);
    CHECK(edge(false, 14) < 0.6F * edge(true, 14));
    CHECK(edge(true, 3) < 0.6F);
}

TEST_CASE("an edge counts where the others tell the value, and a ramp is none") {
    const auto stays = put_on(14, 600);
    CHECK(own_course_score(Sign::leap, true, fifty, stays) > 1);
    CHECK(own_course_score(Sign::leap, false, fifty, stays) == 0);
    const auto as_much = [&](std::size_t i) { return 50 + stays(i); };
    CHECK(own_course_score(Sign::leap, true, as_much, stays) == 0);
    const auto ramp = [](std::size_t i) {
        return 14 * std::clamp((static_cast<double>(i) - 598) / 4, 0.0, 1.0);
    };
    CHECK(own_course_score(Sign::leap, true, fifty, ramp) < 0.5F);
}

TEST_CASE("a leap counts less where what it leapt from does not come back soon") {
    const float back = leap_score(6);
    CHECK(back > 1);
    CHECK(leap_score(7) > 0.8F * back); // the wandering adds to one leap and takes from another
    CHECK(leap_score(60) < 0.7F * back);
    CHECK(leap_score(600) < 0.7F * back);
}

TEST_CASE("what goes to and fro by a step of its scaling scatters no more than rounding makes it") {
    CHECK(to_and_fro_score(0.1) > 0.1F);
    CHECK(to_and_fro_score(1) == 0);
}

TEST_CASE("what stands still far longer than it ever did counts up to twice as much") {
    const float once = score(40); // more than once all the way
    CHECK(once > 0.1F);
    CHECK(score(90) == doctest::Approx(1.5F * once).epsilon(0.01));
    CHECK(score(160) == doctest::Approx(2 * once).epsilon(0.01));
    CHECK(score(400) == doctest::Approx(2 * once).epsilon(0.01));
}

TEST_CASE("a slow sensor and a delay are late, and by how much; what is early or off is not") {
    float seconds = 0;
    // First order, a time constant of 2 s, exactly between the samples.
    const auto slow = [](const Trace& of, std::size_t i) {
        double value = of.fitted[0];
        for (std::size_t k = 1; k <= i; ++k)
            value += (1 - std::exp(-of.interval / 2.0)) * (double{of.fitted[k]} - value);
        return value;
    };
    CHECK(lateness(moving(slow, 5), seconds) > 1);
    CHECK(seconds > 2 / 1.5F); // the steps that are tried lie further apart
    CHECK(seconds < 2 * 1.5F);
    const auto by = [](const Trace& trace) { return late_by(trace, 800, 1040); };
    CHECK(by(moving(slow, 5)) == doctest::Approx(2).epsilon(0.15));
    constexpr std::size_t second = 4; // samples
    const auto delayed = [](const Trace& of, std::size_t i) { return of.fitted[i - second]; };
    CHECK(lateness(moving(delayed, 5), seconds) > 1);
    CHECK(seconds > 1 / 1.5F);
    CHECK(seconds < 1 * 1.5F);
    CHECK(by(moving(delayed, 5)) == doctest::Approx(1).epsilon(0.15));
    const auto early = [](const Trace& of, std::size_t i) { return of.fitted[i + second]; };
    CHECK(lateness(moving(early, 5), seconds) < 0.5F);
    CHECK(by(moving(early, 5)) == 0);
    const auto off = [](const Trace& of, std::size_t i) { return of.fitted[i] + 12; };
    CHECK(lateness(moving(off, 5), seconds) < 0.5F);
    CHECK(by(moving(off, 5)) == 0);
    const auto twice = [](const Trace& of, std::size_t i) { return 2 * of.fitted[i] - 50; };
    CHECK(lateness(moving(twice, 5), seconds) < 0.5F);
}
