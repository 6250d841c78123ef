// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <array>
#include <cstdint>
#include <vector>

#include "compare.hpp"
#include "telltale/vet/report.hpp"
#include "telltale/vet/vetting.hpp"

namespace telltale::vet {

/// What the times of both ends tell of the adapter's clock. Bounded: one entry each half second.
class Times {
  public:
    /// A frame came at the adapter's end, of whatever kind.
    void stamp(Time stamp, const CanFrame& frame, Time since_begin);
    /// A frame went from one end to the other. `from` sent it.
    void pair(End from, const Comparison::Pair& pair);

    std::uint64_t stamps() const { return stamps_; }
    std::uint64_t steps_back() const { return steps_back_; }
    Time greatest_step_back() const { return greatest_back_; }
    const std::vector<Example>& examples() const { return examples_; }
    /// The largest of 10 ms, 1 ms ... 1 ns of which nearly all differences are multiples.
    Time resolution() const;
    /// Of the reference's clock against the adapter's: parts of a million by which the adapter's is
    /// fast, and how far that may be wrong. False: too little to tell.
    bool drift(double& ppm, double& error) const;
    /// How much later than the quickest of its half second a frame was stamped.
    const Latency& jitter() const { return jitter_; }
    const Latency& latency(End from) const { return latency_[static_cast<std::size_t>(from)]; }

  private:
    static constexpr Time span = nanoseconds_a_second / 2;
    static constexpr std::size_t most_spans = 7200;
    static constexpr std::array<Time, 8> units{10'000'000, 1'000'000, 100'000, 10'000,
                                               1000,       100,       10,      1};
    struct Span {
        Time at = 0;    ///< the reference's time of the quickest frame
        Time least = 0; ///< its delay
    };
    std::uint64_t stamps_ = 0;
    std::uint64_t steps_back_ = 0;
    Time greatest_back_ = 0;
    std::vector<Example> examples_;
    Time last_ = no_time;
    std::uint64_t different_ = 0;
    std::array<std::uint64_t, units.size()> multiples_{};
    std::vector<Span> spans_;
    Latency jitter_;
    std::array<Latency, 2> latency_;
};

} // namespace telltale::vet
