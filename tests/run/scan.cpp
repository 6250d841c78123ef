// SPDX-License-Identifier: Apache-2.0
// How much standing still counts, looked at from inside.
#include "run/contrast/scan.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <vector>

#include <doctest/doctest.h>

using namespace telltale::run;

namespace {

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
    out.low = out.high = out.fitted;
    out.sigma.assign(samples, 4);
    out.slope.assign(samples, 0);
    out.piece.assign(samples, 0);
    for (std::size_t i = 0; i < samples; ++i)
        out.z.push_back((out.y[i] - out.fitted[i]) / out.sigma[i]);
    return out;
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

} // namespace

TEST_CASE("what stands still far longer than it ever did counts up to twice as much") {
    const float once = score(40); // more than once all the way
    CHECK(once > 0.1F);
    CHECK(score(90) == doctest::Approx(1.5F * once).epsilon(0.01));
    CHECK(score(160) == doctest::Approx(2 * once).epsilon(0.01));
    CHECK(score(400) == doctest::Approx(2 * once).epsilon(0.01));
}
