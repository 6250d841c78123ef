// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <cstdint>
#include <string>
#include <vector>

#include "telltale/base/result.hpp"
#include "telltale/mimic/vehicle.hpp"

namespace CLI {
class App;
}

namespace telltale::program {

/// The simulated vehicle that the user asks for.
struct MimicOptions {
    std::uint64_t seed = 1;
    std::uint64_t drive = 0;
    std::vector<std::string> faults;
    std::vector<std::string> stored;
    std::string fuel;
    int ecus = 2;
    bool engine_off = false;
    bool just_cleared = false;
    bool extended = false;
    bool uds = false;
    double delay_ms = 3;
    unsigned pending_every = 0;
    unsigned busy_every = 0;
    int most_pids = 6;
    std::string refusal = "silence";
    std::string silent;
};

void add_mimic_options(CLI::App& command, MimicOptions& options);
/// Errors: `bad_argument`.
Result<mimic::Options> mimic_options(const MimicOptions& options);

} // namespace telltale::program
