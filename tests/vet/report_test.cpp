// SPDX-License-Identifier: Apache-2.0
#include <doctest/doctest.h>

#include "telltale/vet/known.hpp"
#include "telltale/vet/report.hpp"

using namespace telltale;
using namespace telltale::vet;

TEST_CASE("latency: buckets follow one another") {
    CHECK(Latency::begin(0) == 0);
    CHECK(Latency::begin(1) == 1000);
    CHECK(Latency::begin(2) == 1500);
    CHECK(Latency::begin(7) == 10'000);
    CHECK(Latency::begin(Latency::buckets - 1) == 10 * nanoseconds_a_second);
    for (std::size_t i = 1; i < Latency::buckets; ++i)
        CHECK(Latency::begin(i - 1) < Latency::begin(i));
}

TEST_CASE("latency: counts and parts") {
    Latency latency;
    CHECK(latency.within(0.5) == 0);
    for (int i = 0; i < 90; ++i)
        latency.add(120'000);
    for (int i = 0; i < 9; ++i)
        latency.add(1'700'000);
    latency.add(60 * nanoseconds_a_second);
    CHECK(latency.total() == 100);
    CHECK(latency.least() == 120'000);
    CHECK(latency.greatest() == 60 * nanoseconds_a_second);
    CHECK(latency.within(0.5) == 150'000);
    CHECK(latency.within(0.99) == 2'000'000);
    CHECK(latency.within(1) == 60 * nanoseconds_a_second);
    CHECK(latency.count(Latency::buckets - 1) == 1);
}

TEST_CASE("report: what is untested never passes") {
    Report report;
    CHECK(report.verdict() == Verdict::untested);
    report.checks.resize(2);
    CHECK(report.verdict() == Verdict::untested);
    report.checks[0].verdict = Verdict::passed;
    CHECK(report.verdict() == Verdict::passed);
    report.broken_off = "It was broken off.";
    CHECK(report.verdict() == Verdict::untested);
    report.checks[1].verdict = Verdict::failed;
    CHECK(report.verdict() == Verdict::failed);
}

TEST_CASE("known frames are compared to the bit") {
    KnownFrame known;
    known.id = {0x18DAF110, true};
    known.size = 2;
    known.data = {0x11, 0x22};
    CanFrame frame = known.view();
    CHECK(same_frame(known, frame));
    frame.id.extended = false;
    CHECK_FALSE(same_frame(known, frame));
    frame = known.view();
    frame.data = frame.data.first(1);
    CHECK_FALSE(same_frame(known, frame));
    frame = known.view();
    frame.kind = CanKind::remote;
    CHECK_FALSE(same_frame(known, frame));
    frame = known.view();
    frame.error_state = true;
    CHECK(same_frame(known, frame));
    const std::array<std::uint8_t, 2> other{0x11, 0x23};
    frame.data = other;
    CHECK_FALSE(same_frame(known, frame));
}
