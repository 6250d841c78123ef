// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <array>
#include <cstdint>
#include <vector>

#include "telltale/mimic/drive.hpp"
#include "telltale/mimic/ecu.hpp"

namespace telltale::mimic {

/// The engine controller's own diagnosis: watches the drive, completes monitors where their
/// conditions are met, and makes codes of what it finds: pending in one driving cycle, stored,
/// permanent and with the lamp lit in the second one in which it shows (common practice; the rule
/// of the OBD regulations).
class Diagnosis {
  public:
    explicit Diagnosis(std::uint64_t seed) : random_(seed ^ 0xD1A6) {}

    /// A new driving cycle; what a fault that was there before would have left pending is pending.
    void start(Ecu& ecu, const Drive& drive, bool first);
    /// A tenth of a second more of the drive.
    void step(Ecu& ecu, const Drive& drive);
    /// The driving cycle is over: what did not show goes, what showed stays.
    void finish(Ecu& ecu);

    static constexpr double step_time = 0.1; ///< s

  private:
    struct Progress {
        double seconds = 0; // in which the conditions of the monitor were met
        bool complete = false;
    };

    void found(Ecu& ecu, std::uint16_t code, const Signals& signals);
    void monitors(Ecu& ecu, const Drive& drive);
    void complete(Ecu& ecu, unsigned monitor, const Signals& signals);
    void faults(Ecu& ecu, const Drive& drive);
    void count(Ecu& ecu, const Signals& signals);
    bool all_complete(const Ecu& ecu) const;

    Random random_;
    std::array<Progress, 8> progress_{}; // by the bit of the monitor in byte C of PID 01
    double continuous_ = 0;              // s
    double driven_ = 0;                  // s at 40 km/h or more
    double resting_ = 0;                 // s
    bool general_ = false;               // the general conditions were met in this cycle
    double trim_ = 0;                    // percent, short and long together, over some seconds
    double lean_ = 0;                    // s
    double rich_ = 0;                    // s
    std::vector<double> seen_;           // s that each fault showed
    std::vector<std::uint16_t> before_;  // pending from the cycle before
    std::vector<std::uint16_t> now_;     // found in this one
    unsigned clean_ = 0;                 // driving cycles in a row without a stored code showing
    unsigned clears_ = 0;                // of the ECU, as seen last
    double lamp_km_ = 0;                 // m driven with the lamp on, less than a kilometre
    double clear_km_ = 0;
    double lamp_minutes_ = 0;
    double clear_minutes_ = 0;
    double last_distance_ = 0;
    bool warmed_up_ = false;
};

} // namespace telltale::mimic
