// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>
#include <vector>

#include "model.hpp"

namespace telltale::run {

/// What can be strange about the differences between a signal and what is expected of it.
enum class Sign : std::uint8_t {
    level,     ///< their mean over a window
    excursion, ///< a few samples away from both neighbourhoods, and back
    rough,     ///< their scatter from sample to sample
    late,      ///< in proportion to the speed of change
    size,      ///< their size over a window
    frozen,    ///< no change at all: how much the others moved meanwhile
    apart,     ///< the least distance between the signal's and the expected course, timing aside
    leap,      ///< the change from one sample to the next, of signals that nothing tells
    count_
};
inline constexpr std::size_t sign_count = static_cast<std::size_t>(Sign::count_);

/// A stretch of a run where one sign was stronger than it should be.
struct Hit {
    Sign sign = Sign::level;
    std::uint8_t width = 0; ///< which of the sign's windows
    std::size_t from = 0;   ///< samples [from, to)
    std::size_t to = 0;
    float score = 0; ///< 1 is the limit
    float value = 0; ///< of the sign, signed
};

struct ScanSettings {
    /// How often, in a run as long as the good one, one sign of one signal may pass its limit by
    /// chance.
    double by_chance = 1e-4;
    double whole_run = 2.5; ///< how much more it takes when most of the run shows it
    /// On the limit of each sign: how much more than the good run leads to fear it takes, since the
    /// other drive is another drive.
    std::array<double, sign_count> margin{};
};

/// Learns from the good run how strong each sign normally is, and looks for more in another. A
/// signal may be seen by several models that have no predictor in common: a difference counts only
/// as far as none of them contradicts it.
class Scanner {
  public:
    /// `good`: a trace for each model, all of the same signal, the most exact first.
    Scanner(const std::vector<Trace>& good, bool locked, double step, const ScanSettings& settings);

    /// The stretches with a score of at least `least`, strongest first, at most 200.
    std::vector<Hit> scan(const std::vector<Trace>& traces, float least) const;

  private:
    static constexpr std::size_t most_widths = 12;
    static constexpr std::size_t most_models = 3;
    struct Norm {
        double width = 0;    ///< seconds
        double limit = 0;    ///< 0: not looked for
        double greatest = 0; ///< difference that the good run had, in the signal's unit
        std::array<double, most_models> unit{};   ///< of each model
        std::array<double, most_models> centre{}; ///< of signs that have only one side
    };
    struct Window {
        std::size_t from = 0;
        std::size_t to = 0;
        double value = 0;
        double difference = 0; ///< in the signal's unit, of signs that have two sides
    };
    std::size_t samples(const Trace& trace, double seconds) const;
    void visit(const Trace& trace, Sign sign, double seconds, std::vector<Window>& out) const;
    void agree(const std::vector<Trace>& traces, Sign sign, const Norm& norm,
               std::vector<std::vector<Window>>& seen) const;

    ScanSettings settings_;
    bool locked_;
    double step_;
    double late_floor_ = 0;
    std::array<std::array<Norm, most_widths>, sign_count> norms_{};
};

} // namespace telltale::run
