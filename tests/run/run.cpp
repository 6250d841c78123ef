// SPDX-License-Identifier: Apache-2.0
#include "telltale/run/run.hpp"

#include <doctest/doctest.h>

#include <cmath>
#include <limits>

#include "telltale/catalogue/field.hpp"

using namespace telltale;
using namespace telltale::run;

namespace {
constexpr Time second = nanoseconds_a_second;

Series numbers(std::initializer_list<std::pair<double, double>> samples) {
    Series series;
    series.id = 0x0C;
    series.name = "Engine speed";
    series.key = "RPM";
    series.unit = Unit::rpm;
    series.step = 0.25;
    series.decimals = 2;
    series.values = Values(2);
    for (const auto& [t, v] : samples)
        series.add(static_cast<Time>(t * 1e9), v);
    return series;
}

/// PID 05, written as SAE J1979 table B5 has it: one byte, offset 40 degrees.
constexpr catalogue::Field coolant{0x05,
                                   "Engine coolant temperature",
                                   "ECT",
                                   0,
                                   1,
                                   0,
                                   0,
                                   catalogue::Kind::number,
                                   false,
                                   {1, 1, -40},
                                   Unit::celsius};

struct Talk {
    RunBuilder builder;
    message::Said said;

    Talk() {
        said.header = {message::Kind::response, 1, 0};
        said.has_id = true;
        said.id = CanId{0x7E8, false};
    }
    void coolant_reads(double t, std::int64_t raw) {
        said.time = std::isnan(t) ? no_time : static_cast<Time>(t * 1e9);
        message::Value value;
        value.id = 5;
        value.name = coolant.name;
        value.key = coolant.key;
        value.number = coolant.scale.apply(raw);
        value.raw = raw;
        value.step = 1;
        value.unit = coolant.unit;
        value.field = &coolant;
        if (builder.begin(said)) {
            builder.value(said, value);
            builder.end(said);
        }
    }
    Run finish() {
        return builder.finish([](std::uint16_t) { return std::string_view("can0"); });
    }
};
} // namespace

TEST_CASE("values are kept in four bytes until that would show another number") {
    Values values(2);
    values.push_back(16383.75);
    CHECK(values[0] == 16383.75);
    values.push_back(327.67);
    CHECK(std::abs(values[1] - 327.67) < 2e-4);
    values.push_back(42949672.95); // no float is this near
    CHECK(values[2] == 42949672.95);
    CHECK(values[0] == 16383.75);
    values.push_back(1.25);
    CHECK(values.size() == 4);
    CHECK(values.back() == 1.25);
}

TEST_CASE("a series refuses what is no sample") {
    Series series = numbers({});
    CHECK_FALSE(series.add(no_time, 1));
    CHECK_FALSE(series.add(0, std::numeric_limits<double>::quiet_NaN()));
    CHECK_FALSE(series.add(0, std::numeric_limits<double>::infinity()));
    CHECK(series.add(0, 1));
    CHECK(series.size() == 1);
}

TEST_CASE("settle orders samples, finds start and end, and counts steps back") {
    Run run;
    run.series.push_back(numbers({{3, 30}, {1, 10}, {2, 20}}));
    run.series.push_back(numbers({{0.5, 5}, {4, 40}}));
    run.series.push_back(numbers({}));
    run.marks = {{3 * second, "b"}, {second, "a"}};
    run.settle();
    CHECK(run.start == second / 2);
    CHECK(run.end == 4 * second);
    CHECK(run.length() == 3.5);
    CHECK(run.disordered == 1);
    CHECK(run.series[0].values[0] == 10);
    CHECK(run.series[0].values[2] == 30);
    CHECK(run.series[0].times[2] == 3 * second);
    CHECK(run.marks[0].text == "a");
    CHECK(run.seconds(0) == -0.5);
}

TEST_CASE("an empty run has no length") {
    Run run;
    run.settle();
    CHECK(run.start == no_time);
    CHECK(run.length() == 0);
}

TEST_CASE("times at both ends of the range do not overflow") {
    Run run;
    Series series = numbers({});
    series.add(std::numeric_limits<Time>::max(), 1);
    series.add(std::numeric_limits<Time>::min() + 1, 2);
    run.series.push_back(series);
    run.settle();
    CHECK(run.length() > 1.8e10);
    CHECK(run.seconds(run.start) == 0);
    CHECK(pace(run.series[0]).interval > 0);
}

TEST_CASE("the pace of a series is its median interval, and a sample is good for four of them") {
    const Series series = numbers({{0, 1}, {0.2, 1}, {0.4, 1}, {0.6, 1}, {9, 1}, {9.2, 1}});
    const Pace found = pace(series);
    CHECK(found.interval == second / 5);
    CHECK(found.limit == 4 * (second / 5));
    CHECK(pace(numbers({{0, 1}})).limit == 0);
}

TEST_CASE("a run gathers what the responses say, with the ends of the raw range") {
    Talk talk;
    talk.coolant_reads(1, 100);
    talk.coolant_reads(2, 101);
    talk.said.id = CanId{0x18DAF110, true};
    talk.coolant_reads(3, 40);
    const Run run = talk.finish();
    REQUIRE(run.series.size() == 2);
    const Series& first = run.series[0];
    CHECK(first.ecu == "7E8");
    CHECK(first.line.empty());
    CHECK(first.key == "ECT");
    CHECK(first.id_text() == "05");
    CHECK(first.unit == Unit::celsius);
    CHECK(first.has_ends);
    CHECK(first.low == -40); // SAE J1979: 00 is -40, FF is 215
    CHECK(first.high == 215);
    CHECK(first.size() == 2);
    CHECK(first.values[1] == 61);
    CHECK(run.series[1].ecu == "18DAF110");
    CHECK(run.end == 3 * second);
}

TEST_CASE("only responses of live data count, and values without a time are counted apart") {
    Talk talk;
    talk.coolant_reads(std::numeric_limits<double>::quiet_NaN(), 50);
    talk.said.header.service = 2;
    talk.coolant_reads(1, 50);
    talk.said.header = {message::Kind::request, 1, 0};
    talk.coolant_reads(1, 50);
    const Run run = talk.finish();
    CHECK(run.series.empty());
    CHECK(run.untimed == 1);
}

TEST_CASE("bounds hold, and what went over them is counted") {
    RunOptions options;
    options.max_samples = 3;
    options.max_marks = 1;
    Talk talk;
    talk.builder = RunBuilder(options);
    for (int i = 0; i < 5; ++i)
        talk.coolant_reads(i, 50);
    talk.builder.mark(0, "one");
    talk.builder.mark(0, "two");
    const Run run = talk.finish();
    CHECK(run.series[0].size() == 3);
    CHECK(run.marks.size() == 1);
    CHECK(run.over_bound == 3);
}

TEST_CASE("marks come from a text file") {
    Run run;
    run.series.push_back(numbers({{100, 1}, {200, 1}}));
    run.settle();
    REQUIRE(add_marks(run, "# where it was felt\r\n\n 12.5 bucked here\r\n@150 by the clock\n3\n"));
    REQUIRE(run.marks.size() == 3);
    CHECK(run.marks[0].time == 103 * second);
    CHECK(run.marks[0].text.empty());
    CHECK(run.marks[1].time == 112 * second + second / 2);
    CHECK(run.marks[1].text == "bucked here");
    CHECK(run.marks[2].time == 150 * second);

    const auto bad = add_marks(run, "1 fine\nsoon after\n");
    REQUIRE_FALSE(bad);
    CHECK(bad.error().place.line == 2);
    CHECK(run.marks.size() == 3);
    CHECK_FALSE(add_marks(run, "1e300 far away"));
    CHECK_FALSE(add_marks(run, "nan here"));
    CHECK_FALSE(add_marks(run, "12,5 comma"));
}
