// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <cstddef>
#include <span>
#include <vector>

/// Statistics that a few wrong values do not spoil. Values must be finite; an empty input gives 0.
namespace telltale::run {

/// The middle value; the mean of the two middle ones for an even number.
double median(std::span<const double> values);

/// What makes the median absolute deviation of normal values their standard deviation:
/// 1 / quantile(3/4) of the normal distribution.
inline constexpr double mad_factor = 1.482602218505602;

/// Median absolute deviation from the median, not scaled.
double median_deviation(std::span<const double> values);

/// The value below which the part `share` (0 to 1) of the values lies, by linear interpolation
/// between order statistics.
double quantile(std::span<const double> values, double share);

/// The Hampel identifier over a moving window of `reach` samples to either side: true where a value
/// is further than `limit` scaled median absolute deviations from its window's median. `floor` is
/// the least scale that counts (a sensor's step, for one).
std::vector<bool> hampel(std::span<const double> values, std::size_t reach, double limit = 3,
                         double floor = 0);

struct Line {
    double slope = 0;
    double intercept = 0;
};

/// Theil and Sen's line: the median of the slopes of all pairs, and the median of what is left.
/// Pairs at the same x are passed over. Above 600 points only as many evenly chosen ones count.
Line theil_sen(std::span<const double> x, std::span<const double> y);

/// Huber's M-estimate of a linear regression, by iterated weighting, the scale being the median
/// absolute residual. `columns` holds one span for each regressor, all as long as `y`; the result
/// is the intercept and then a coefficient for each. Empty when the regressors do not determine it.
std::vector<double> huber_regression(std::span<const std::span<const double>> columns,
                                     std::span<const double> y, double tuning = 1.345,
                                     unsigned iterations = 50);

/// The molar gas constant, J/(mol K), exact since 2019 (CODATA 2018).
inline constexpr double gas_constant = 8.314462618;
/// The molar mass of dry air, kg/mol (US Standard Atmosphere 1976).
inline constexpr double air_molar_mass = 0.0289644;

/// The mass flow of air into a four-stroke engine in g/s, from the ideal gas: half a displacement a
/// turn, at the manifold's pressure and temperature, times the volumetric efficiency (0 to 1).
double speed_density(double rpm, double manifold_kpa, double celsius, double litres,
                     double efficiency);

} // namespace telltale::run
