// SPDX-License-Identifier: Apache-2.0
// Holds the statistics against published worked examples, each named beside its values, and against
// GNU datamash, which nobody here wrote. Values of the literature are from memory where it says so.
#include "../../lib/src/run/robust.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <cstdio>
#include <cstdlib>
#include <random>
#include <span>
#include <string>
#include <vector>

#include <doctest/doctest.h>
#include <unistd.h>

using namespace telltale::run;
using doctest::Approx;

namespace {

using Numbers = std::vector<double>;

double mean(const Numbers& values) {
    double sum = 0;
    for (const double value : values)
        sum += value;
    return sum / static_cast<double>(values.size());
}

/// What GNU datamash prints for `operations` on the values, one column each; empty when it cannot.
Numbers datamash(const Numbers& values, const std::string& operations) {
    char name[] = "/tmp/telltale-datamash-XXXXXX";
    const int file = mkstemp(name);
    if (file < 0)
        return {};
    FILE* out = fdopen(file, "w");
    for (const double value : values)
        std::fprintf(out, "%.17g\n", value);
    std::fclose(out);
    const std::string command =
        "LC_ALL=C datamash --format %.17g " + operations + " <" + name + " 2>/dev/null";
    FILE* pipe = popen(command.c_str(), "r"); // NOLINT: fixed text
    Numbers results;
    char line[512] = {};
    if (pipe != nullptr && std::fgets(line, sizeof line, pipe) != nullptr) {
        char* end = line;
        for (const char* at = line;; at = end) {
            const double value = std::strtod(at, &end);
            if (end == at)
                break;
            results.push_back(value);
        }
    }
    if (pipe != nullptr)
        pclose(pipe);
    std::remove(name);
    return results;
}

Numbers huber(const std::vector<Numbers>& columns, const Numbers& y, double tuning = 1.345) {
    std::vector<std::span<const double>> views;
    views.reserve(columns.size());
    for (const Numbers& column : columns)
        views.emplace_back(column);
    return huber_regression(views, y, tuning);
}

// Brownlee's stack losses of a plant that oxidizes ammonia, 21 days (K. A. Brownlee, "Statistical
// Theory and Methodology in Science and Engineering", 1965; R's data set `stackloss`). From memory;
// the least-squares coefficients below, which everybody prints, confirm every row.
const Numbers air_flow{80, 80, 75, 62, 62, 62, 62, 62, 58, 58, 58,
                       58, 58, 58, 50, 50, 50, 50, 50, 56, 70};
const Numbers water{27, 27, 25, 24, 22, 23, 24, 24, 23, 18, 18,
                    17, 18, 19, 18, 18, 19, 19, 20, 20, 20};
const Numbers acid{89, 88, 90, 87, 87, 87, 93, 93, 87, 80, 89,
                   88, 82, 93, 89, 86, 72, 79, 80, 82, 91};
const Numbers loss{42, 37, 37, 28, 18, 18, 19, 20, 15, 14, 14, 13, 11, 12, 8, 7, 8, 8, 9, 15, 15};

// Calls from Belgium, in millions, 1950 to 1973; for six years something else was counted
// (P. J. Rousseeuw and A. M. Leroy, "Robust Regression and Outlier Detection", 1987, chapter 2; in
// R's package MASS `phones`). From memory, confirmed by the least-squares line.
const Numbers calls{4.4,  4.7,  4.7, 5.9, 6.6, 7.3, 8.1, 8.8, 10.6, 12, 13.5, 14.9,
                    16.1, 21.2, 119, 124, 142, 159, 182, 212, 43,   24, 27,   29};

// Copper in wholemeal flour, parts per million (Analytical Methods Committee, The Analyst 114,
// 1989; in R's package MASS `chem`). From memory, confirmed by the printed mean.
const Numbers copper{2.9,  3.1,  3.4,  3.4,  3.7,   3.7,  2.8, 2.5, 2.4, 2.4, 2.7, 2.2,
                     5.28, 3.37, 3.03, 3.03, 28.95, 3.77, 3.4, 2.2, 3.5, 3.6, 3.7, 3.7};

// Five measurements of a length, the fourth with its decimal point in the wrong place
// (P. J. Rousseeuw and M. Hubert, "Robust statistics for outlier detection", Wiley
// Interdisciplinary Reviews: Data Mining and Knowledge Discovery 1, 2011): from memory.
const Numbers lengths{6.27, 6.34, 6.25, 6.31, 6.28};
const Numbers wrong_lengths{6.27, 6.34, 6.25, 63.1, 6.28};

} // namespace

TEST_CASE("median and median deviation of published examples") {
    // Wikipedia, "Median absolute deviation", the example: from memory.
    const Numbers small{1, 1, 2, 2, 4, 6, 9};
    CHECK(median(small) == 2);
    CHECK(median_deviation(small) == 1);

    // R, help page of `mad`: mad(c(1:9)), and that a wild value changes nothing.
    const Numbers nine{1, 2, 3, 4, 5, 6, 7, 8, 9};
    const Numbers wild{1, 2, 3, 4, 5, 6, 7, 8, 100};
    CHECK(median_deviation(nine) == 2);
    CHECK(median_deviation(wild) == 2);
    CHECK(1.4826 * median_deviation(nine) == Approx(2.9652).epsilon(1e-12));

    // Rousseeuw and Hubert 2011: a median of 6.28 and a MAD of 0.044 with and without the mistake,
    // which takes the mean to 17.65.
    CHECK(mean(wrong_lengths) == Approx(17.65).epsilon(0.0003));
    CHECK(median(lengths) == 6.28);
    CHECK(median(wrong_lengths) == 6.28);
    CHECK(1.483 * median_deviation(lengths) == Approx(0.044).epsilon(0.012));
    CHECK(1.483 * median_deviation(wrong_lengths) == Approx(0.044).epsilon(0.012));

    // W. N. Venables and B. D. Ripley, "Modern Applied Statistics with S", 4th edition,
    // section 5.5: mean 4.2804, median 3.385, mad 0.52632. From memory.
    CHECK(mean(copper) == Approx(4.2804).epsilon(1e-5));
    CHECK(median(copper) == Approx(3.385).epsilon(1e-12));
    CHECK(1.4826 * median_deviation(copper) == Approx(0.52632).epsilon(1e-5));
}

TEST_CASE("the factor of the median deviation is that of the normal distribution") {
    // Three quarters of a normal distribution lie below 1 / mad_factor, which erf decides.
    const double point = 1 / mad_factor;
    CHECK((1 + std::erf(point / std::sqrt(2.0))) / 2 == Approx(0.75).epsilon(1e-14));
}

TEST_CASE("quantiles of published examples") {
    // Wikipedia, "Percentile", linear interpolation with C = 1: from memory.
    const Numbers five{15, 20, 35, 40, 50};
    const Numbers four{1, 2, 3, 4};
    CHECK(quantile(five, 0.4) == Approx(29).epsilon(1e-12));
    CHECK(quantile(four, 0.75) == Approx(3.25).epsilon(1e-12));
    // NIST/SEMATECH e-Handbook of Statistical Methods, 7.2.6.2, twelve measurements of resistivity,
    // the 90th percentile by the definition k + d = 1 + p (N - 1): from memory.
    const Numbers resistivity{95.1772, 95.1567, 95.1937, 95.1959, 95.1442, 95.0610,
                              95.1591, 95.1195, 95.1065, 95.0925, 95.1990, 95.1682};
    CHECK(std::abs(quantile(resistivity, 0.9) - 95.1957) < 5e-5);
    CHECK(quantile(resistivity, 0) == 95.0610);
    CHECK(quantile(resistivity, 1) == 95.1990);
}

TEST_CASE("the Hampel identifier finds the mistake of a published example and nothing else") {
    // Rousseeuw and Hubert 2011: 1277.5 robust deviations from the middle for the fourth, 1.35 at
    // most for the others; the mean and the standard deviation make 1.79 of it and find nothing.
    const double scale = mad_factor * median_deviation(wrong_lengths);
    CHECK((wrong_lengths[3] - median(wrong_lengths)) / scale == Approx(1277.5).epsilon(1e-4));
    CHECK((wrong_lengths[1] - median(wrong_lengths)) / scale == Approx(1.35).epsilon(0.005));
    const std::vector<bool> found = hampel(wrong_lengths, 4);
    CHECK(found == std::vector<bool>{false, false, false, true, false});
    CHECK(hampel(lengths, 4) == std::vector<bool>(5, false));
    // 3 is the limit, not 1.3 and not 1300.
    CHECK(hampel(wrong_lengths, 4, 1.3)[1]);
    CHECK_FALSE(hampel(wrong_lengths, 4, 1300)[3]);
    // The floor: a sensor's step is no departure in a signal that stood still.
    Numbers still(21, 50.0);
    still[10] = 51;
    CHECK(hampel(still, 5)[10]);
    CHECK_FALSE(hampel(still, 5, 3, 1)[10]);
    // The copper: of 24 values at once, 28.95 and 5.28 are further than three from the middle.
    const std::vector<bool> copper_found = hampel(copper, 24);
    for (std::size_t i = 0; i < copper.size(); ++i)
        CHECK(copper_found[i] == (copper[i] == 28.95 || copper[i] == 5.28));
    CHECK(hampel({}, 3).empty());
}

TEST_CASE("Theil and Sen's line of a published example") {
    // M. Hollander and D. A. Wolfe, "Nonparametric Statistical Methods", example 9.1: the effect of
    // cloud seeding (Smith 1967), double ratios of five years; the slope is -.056. From memory.
    const Numbers year{1, 2, 3, 4, 5};
    const Numbers ratio{1.26, 1.27, 1.12, 1.16, 1.03};
    const Line line = theil_sen(year, ratio);
    CHECK(std::abs(line.slope - -0.056) < 5e-4);
    // Their intercept is the median of what is left, by definition.
    CHECK(line.intercept == Approx(1.26 - line.slope).epsilon(1e-12));
}

TEST_CASE("Theil and Sen's line stands against a quarter of wrong values, and is bounded") {
    // y = 3 - 2 x, and every fourth value wrong; long enough for points to be passed over.
    Numbers x;
    Numbers y;
    for (int i = 0; i < 5000; ++i) {
        x.push_back(i / 10.0);
        y.push_back(i % 4 == 3 ? 1000.0 + i : 3 - 2 * x.back());
    }
    const Line line = theil_sen(x, y);
    CHECK(line.slope == Approx(-2).epsilon(1e-9));
    CHECK(line.intercept == Approx(3).epsilon(1e-9));
    const Numbers same{1, 1, 1};
    CHECK(theil_sen(same, same).slope == 0);
}

TEST_CASE("regression of Brownlee's stack losses") {
    // Least squares, which the Huber estimate is with a tuning that no residual reaches:
    // -39.9197, 0.7156, 1.2953, -0.1521 (R, help page of `stackloss`).
    const Numbers least = huber({air_flow, water, acid}, loss, 1e9);
    REQUIRE(least.size() == 4);
    CHECK(std::abs(least[0] - -39.9197) < 5e-5);
    CHECK(std::abs(least[1] - 0.7156) < 5e-5);
    CHECK(std::abs(least[2] - 1.2953) < 5e-5);
    CHECK(std::abs(least[3] - -0.1521) < 5e-5);
    // Huber's estimate with k = 1.345 and the median absolute residual as scale: -41.0265, 0.8294,
    // 0.9261, -0.1278 (R, package MASS, example of `rlm`, which stops at 1e-4: from memory).
    const Numbers robust = huber({air_flow, water, acid}, loss);
    REQUIRE(robust.size() == 4);
    CHECK(robust[0] == Approx(-41.0265).epsilon(1e-3));
    CHECK(robust[1] == Approx(0.8294).epsilon(1e-3));
    CHECK(robust[2] == Approx(0.9261).epsilon(1e-3));
    CHECK(robust[3] == Approx(-0.1278).epsilon(2e-3));
}

TEST_CASE("regression of the Belgian telephone calls") {
    Numbers year;
    for (int i = 50; i < 74; ++i)
        year.push_back(i);
    // Venables and Ripley, section 6.5: least squares -260.059 + 5.041 year, Huber's estimate
    // -102.62 + 2.04 year. From memory.
    const Numbers least = huber({year}, calls, 1e9);
    REQUIRE(least.size() == 2);
    CHECK(std::abs(least[0] - -260.059) < 5e-4);
    CHECK(std::abs(least[1] - 5.041) < 5e-4);
    const Numbers robust = huber({year}, calls);
    REQUIRE(robust.size() == 2);
    CHECK(robust[0] == Approx(-102.62).epsilon(1e-3));
    CHECK(std::abs(robust[1] - 2.04) < 5e-3);
}

TEST_CASE("a regression that its regressors do not determine is none") {
    const Numbers x{1, 2, 3, 4, 5};
    const Numbers twice{2, 4, 6, 8, 10};
    const Numbers y{1, 2, 2, 3, 4};
    CHECK(huber({x, twice}, y).empty());
    CHECK(huber({Numbers{7, 7, 7, 7, 7}}, y).empty());
    CHECK(huber({Numbers{1}}, Numbers{1}).empty());
    CHECK(huber({x}, y).size() == 2);
}

TEST_CASE("nothing in, nothing out") {
    CHECK(median({}) == 0);
    CHECK(median_deviation({}) == 0);
    CHECK(quantile({}, 0.5) == 0);
    CHECK(theil_sen({}, {}).slope == 0);
}

TEST_CASE("order statistics are those of GNU datamash") {
    std::mt19937 random(20250918);
    std::normal_distribution<double> normal(40, 12);
    std::uniform_int_distribution<int> steps(0, 255);
    for (const std::size_t count : {1U, 2U, 3U, 4U, 7U, 10U, 99U, 100U, 1001U}) {
        for (const bool stepped : {false, true}) { // many equal values, as a sensor gives them
            CAPTURE(count);
            CAPTURE(stepped);
            Numbers values;
            for (std::size_t i = 0; i < count; ++i)
                values.push_back(stepped ? 0.5 * std::floor(steps(random) / 8.0) : normal(random));
            const Numbers told =
                datamash(values, "median 1 madraw 1 mad 1 q1 1 q3 1 perc:1 1 perc:37 1 perc:90 1 "
                                 "perc:99 1 min 1 max 1");
            REQUIRE_MESSAGE(told.size() == 11, "is GNU datamash installed?");
            CHECK(median(values) == Approx(told[0]).epsilon(1e-12));
            CHECK(median_deviation(values) == Approx(told[1]).epsilon(1e-12));
            CHECK(1.4826 * median_deviation(values) == Approx(told[2]).epsilon(1e-12));
            CHECK(quantile(values, 0.25) == Approx(told[3]).epsilon(1e-12));
            CHECK(quantile(values, 0.75) == Approx(told[4]).epsilon(1e-12));
            CHECK(quantile(values, 0.01) == Approx(told[5]).epsilon(1e-12));
            CHECK(quantile(values, 0.37) == Approx(told[6]).epsilon(1e-12));
            CHECK(quantile(values, 0.90) == Approx(told[7]).epsilon(1e-12));
            CHECK(quantile(values, 0.99) == Approx(told[8]).epsilon(1e-12));
            CHECK(quantile(values, 0) == told[9]);
            CHECK(quantile(values, 1) == told[10]);
        }
    }
}

TEST_CASE("the middle of values in any order, many of them alike, is that of sorted ones") {
    std::mt19937 random(20251129);
    for (int round = 0; round < 3000; ++round) {
        Numbers values(1 + random() % 300);
        const std::size_t kind = random() % 6;
        for (std::size_t i = 0; i < values.size(); ++i) {
            const auto place = static_cast<double>(i);
            values[i] = kind == 0   ? static_cast<double>(random()) - 2e9
                        : kind == 1 ? static_cast<double>(random() % 3)
                        : kind == 2 ? place
                        : kind == 3 ? -place
                        : kind == 4 ? std::abs(place - 100) // down and up again
                                    : 7.0;
        }
        Numbers sorted = values;
        std::sort(sorted.begin(), sorted.end());
        const std::size_t half = sorted.size() / 2;
        REQUIRE(median(values) ==
                (sorted.size() % 2 == 1 ? sorted[half] : (sorted[half - 1] + sorted[half]) / 2));
        const std::size_t place = random() % sorted.size();
        const double share =
            sorted.size() > 1 ? static_cast<double>(place) / static_cast<double>(sorted.size() - 1)
                              : 0;
        REQUIRE(quantile(values, share) == Approx(sorted[place]));
    }
}

TEST_CASE("the air into an engine is that of the ideal gas with CODATA's constant") {
    // The constant is the product of two that are exact since 2019: Avogadro's and Boltzmann's
    // (BIPM, "The International System of Units", 9th edition, 2019).
    CHECK(gas_constant == Approx(6.02214076e23 * 1.380649e-23).epsilon(1e-9));
    // CODATA 2018: the molar volume of an ideal gas at 273.15 K and 101.325 kPa is
    // 22.41396954e-3 m3/mol. 120 turns a minute of a four-stroke engine are one filling a second.
    CHECK(speed_density(120, 101.325, 0, 22.41396954, 1) ==
          Approx(air_molar_mass * 1000).epsilon(1e-9));
    // US Standard Atmosphere 1976: air at 15 degrees Celsius and 101.325 kPa has 1.2250 kg/m3.
    CHECK(speed_density(120, 101.325, 15, 1, 1) == Approx(1.2250).epsilon(5e-5));
    // And it goes with speed, pressure, displacement and efficiency.
    CHECK(speed_density(2400, 50.6625, 15, 2, 0.8) == Approx(1.2250 * 20 * 0.8).epsilon(5e-5));
}
