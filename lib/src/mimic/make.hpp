// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <vector>

#include "telltale/mimic/vehicle.hpp"

namespace telltale::mimic {

/// What a seed and options make.
struct Made {
    DriveSettings drive;
    std::vector<EcuState> ecus; ///< the first is the engine controller
};

Made make(const Options& options);

/// A road in a circle of some kilometres, with its traffic.
void make_road(DriveSettings& settings, Random& random);
/// Other traffic on the same road.
void make_traffic(DriveSettings& settings, Random& random);

} // namespace telltale::mimic
