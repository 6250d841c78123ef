// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <cstddef>
#include <span>
#include <vector>

namespace telltale::run {

/// The gears that a good run was driven in: ratios of engine speed to road speed that it kept to.
/// A gearbox has a few fixed ones (common practice), so engine speed, road speed and a gear that
/// nobody reports make a relation of many values.
class Gears {
  public:
    /// Engine and road speed at common times, `spacing` seconds apart; not-a-number where they were
    /// not there. Finds no gears in a run of a stepless transmission.
    void learn(std::span<const float> engine, std::span<const float> road, double spacing);
    bool any() const { return !ratios_.empty(); }
    /// The logarithm of the ratio of the gear that each moment was driven in; not-a-number while
    /// the gear is changed, at walking pace and at idle. A ratio that keeps off all gears for
    /// longer than a change of gears takes is set beside the nearest.
    std::vector<float> in_gear(std::span<const float> engine, std::span<const float> road,
                               double spacing) const;
    /// The same for one moment of its own: that of the nearest gear.
    double nearest(double log_ratio) const { return ratios_[nearest_gear(log_ratio)]; }

  private:
    std::size_t nearest_gear(double log_ratio) const;
    std::vector<float> ratio(std::span<const float> engine, std::span<const float> road) const;
    struct Stretch;
    std::vector<Stretch> engaged(std::span<const float> ratio, double spacing) const;

    std::vector<double> ratios_; ///< logarithms, rising
    double width_ = 0;           ///< usual distance from them
    double idle_ = 0;            ///< engine speed
    double change_ = 0;          ///< seconds that a change of gears takes at most
};

} // namespace telltale::run
