// SPDX-License-Identifier: Apache-2.0
// What the ECU works out goes to where it rests, and that is no departure; what is grossly off, and
// as far where it does not rest, is one.
#include "run/contrast/allowances.hpp"

#include <cmath>
#include <cstddef>
#include <functional>
#include <vector>

#include <doctest/doctest.h>

#include "run/contrast/model.hpp"

using namespace telltale;
using namespace telltale::run;

namespace {

bool at_rest(double t) {
    return std::fmod(t, 20) < 6;
}

/// A fuel rate that is cut six seconds of twenty.
Run rate() {
    Series series;
    series.ecu = "7E8";
    series.id = 0x5E;
    series.name = "rate";
    series.step = 0.05;
    series.decimals = 2;
    series.values = Values(2);
    for (int i = 0; i < 1600; ++i) {
        const double t = i / 4.0;
        series.add(static_cast<Time>(t * nanoseconds_a_second), at_rest(t) ? 0 : 6 + std::sin(t));
    }
    Run run;
    run.name = "made here";
    run.series.push_back(series);
    run.settle();
    return run;
}

/// What is left of a score of 2 over a minute in which the differences are so.
float left(const std::function<float(double)>& z) {
    const Run run = rate();
    Drive good(run, {0});
    Drive bad(run, {0});
    good.set_blocks(0, 10);
    bad.set_blocks(10, 10);
    const std::vector<char> all{1};
    const Survey survey(good, {&bad}, all);
    Allowances allowances(good, {&bad}, survey, all);
    Trace beside = blank_trace(bad.track(0));
    for (std::size_t i = 0; i < beside.t.size(); ++i)
        beside.z[i] = z(beside.t[i]);
    Hit hit;
    hit.sign = Sign::level;
    hit.from = 800;
    hit.to = 1040;
    hit.score = 2;
    allowances.for_rest(0, bad, beside, hit);
    return hit.score;
}

} // namespace

TEST_CASE("what goes to its rest is told by the rest, unless it is as far off elsewhere") {
    CHECK(left([](double t) { return at_rest(t) ? -40.0F : -1.0F; }) < 1);
    CHECK(left([](double) { return -15.0F; }) < 1); // not grossly
    CHECK(left([](double) { return -40.0F; }) == 2);
}
