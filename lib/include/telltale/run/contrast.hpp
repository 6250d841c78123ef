// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "telltale/base/export.hpp"
#include "telltale/base/time.hpp"
#include "telltale/base/units.hpp"
#include "telltale/run/run.hpp"
#include "telltale/run/watch.hpp"

/// Which signal left its course. See DEVELOPERS.md, "How contrast works".
namespace telltale::run {

/// How a signal departed.
enum class DepartureKind : std::uint8_t {
    drop_out,     ///< a few samples far from the rest, and back
    spike,        ///< single samples far from the rest
    end_of_range, ///< at an end of the raw range: an open or shorted circuit looks like this
    stuck,        ///< does not move when the others say that it should
    offset,       ///< a constant difference
    drift,        ///< a difference that grows slowly
    lag,          ///< follows the others too late
    noise,        ///< scatters more than it did
    scale,        ///< a difference in proportion to the value
    other,        ///< disagrees with the other signals in no simple way
};
/// Its stable word ("drop-out", "end-of-range", ...).
TELLTALE_API std::string_view word(DepartureKind kind) noexcept;

struct ContrastOptions {
    /// The mark, in seconds from the start of each bad run. Without one, the first mark of the run
    /// counts, and without that its start. One that is no number, or further off than
    /// `farthest_mark`, counts as none.
    std::optional<double> mark;
    static constexpr double farthest_mark = 1e9; ///< s: 31 years
    /// Compare only these signals; the others still help to predict them. Empty: all.
    std::vector<Pick> only;
    /// Keep what the good run makes expect, for drawing (`Expectation`).
    bool keep_expectations = false;
};

/// A piece of a bad run in which a signal was off its course.
struct Episode {
    std::uint32_t run = 0; ///< index of the bad run
    Time start = no_time;
    Time end = no_time;
    double score = 0;           ///< how far beyond what is normal; 1 is the limit
    double peak_difference = 0; ///< in the signal's unit; value minus what was expected
    Time peak_time = no_time;
    double peak_value = 0;    ///< as it was read
    double peak_expected = 0; ///< what the good run and the other signals make expect
};

/// A signal that left its course.
struct Departure {
    std::uint32_t signal = 0; ///< index into `ContrastResult::signals`
    DepartureKind kind = DepartureKind::other;
    double score = 0;        ///< that of the strongest episode; 1 is the limit
    std::uint32_t run = 0;   ///< bad run of the strongest episode, which the fields below describe
    Time start = no_time;    ///< of the first departure in that run
    Time end = no_time;      ///< of the last
    double start_second = 0; ///< the same relative to that run's reference
    double end_second = 0;
    double peak_difference = 0; ///< the largest difference, in the signal's unit, signed
    Time peak_time = no_time;
    double peak_value = 0;
    double peak_expected = 0;
    double late_by = 0; ///< seconds, of a lag: the delay or the sensor's time constant; 0: not told
    std::vector<Episode> episodes;      ///< in the order of time, run by run; at most 64
    std::uint32_t episode_count = 0;    ///< all of them, kept or not
    std::optional<std::uint32_t> after; ///< rank of the suspect that it follows from, if it does
    std::string others;                 ///< what the other signals did meanwhile
    std::string sentence;               ///< the evidence in one plain sentence
    std::string proof;                  ///< the ordinary test that would prove it (common practice)
};

/// Why a signal has the score that it has, or none.
enum class Standing : std::uint8_t {
    compared,    ///< against the other signals
    itself_only, ///< the others do not tell its value: only how it moves was compared
    constant,    ///< never moved in the good run: only excursions were looked for
    choice,      ///< a state: not scored
    too_few,     ///< too few samples
    only_good,   ///< not in the bad runs
    only_bad,    ///< not in the good run
    left_out,    ///< not asked for
};
TELLTALE_API std::string_view word(Standing standing) noexcept;

/// A signal that was looked at.
struct ContrastSignal {
    std::string ecu; ///< as in Series
    std::string line;
    std::uint8_t service = 1;
    std::uint16_t id = 0;
    std::uint8_t index = 0;
    std::string id_text;
    std::string name;
    std::string key;
    Unit unit = Unit::none;
    std::string own_unit; ///< "{mm3/stroke}": a unit that is none of `Unit`, or empty
    std::uint8_t decimals = 0;
    Standing standing = Standing::compared;
    double score = 0; ///< the highest in any bad run; 1 is the limit
    std::size_t good_samples = 0;
    std::size_t bad_samples = 0;
    double good_rate = 0; ///< samples a second
    double bad_rate = 0;
    /// Half-width of what counts as normal for one sample, in its unit: the usual difference
    /// between the signal and what the others make expect. A lasting difference shows from less.
    double tolerance = 0;
    /// Part of its movement in the good run that the other signals explain, 0 to 1.
    double explained = 0;
    std::vector<std::string> told_by;    ///< names of the signals that predict it, strongest first
    std::size_t good_series = npos;      ///< place in the good run's `series`
    std::vector<std::size_t> bad_series; ///< place in each bad run's `series`, or npos

    static constexpr std::size_t npos = static_cast<std::size_t>(-1);
};

/// What was expected of one signal in one bad run, sample by sample.
struct Expectation {
    std::uint32_t signal = 0; ///< index into `ContrastResult::signals`
    std::uint32_t run = 0;
    std::vector<Time> times;
    std::vector<float> expected;  ///< not-a-number where nothing can be said
    std::vector<float> tolerance; ///< half-width of normal, in the unit
};

/// What could have been seen in one bad run.
struct Coverage {
    std::string name; ///< of the run
    Time start = no_time;
    Time end = no_time;
    Time reference = no_time; ///< what seconds are counted from: the mark, or the start
    bool reference_is_mark = false;
    double seconds = 0;          ///< length of the run
    double good_seconds = 0;     ///< length of the good run
    std::size_t signals = 0;     ///< compared, in any way
    double familiar = 0;         ///< part of the run that is driven as the good run was, 0 to 1
    double samples_a_second = 0; ///< all signals together
};

struct ContrastResult {
    std::vector<Departure> suspects; ///< best lead first
    std::vector<ContrastSignal> signals;
    std::vector<Coverage> coverage; ///< a place for each bad run
    std::vector<std::string> notes; ///< plain sentences
    std::vector<Expectation> expectations;
};

/// Says that a departure is a lead for a pinpoint test and not a verdict, with the usual care.
TELLTALE_API std::string_view contrast_caution() noexcept;

/// Compares bad runs with a good one. The runs must be settled. Bounded time whatever the values.
TELLTALE_API ContrastResult contrast(const Run& good, std::span<const Run* const> bad,
                                     const ContrastOptions& options = {});

/// Looks for departures in a single run, against its own majority.
TELLTALE_API ContrastResult contrast_alone(const Run& run, const ContrastOptions& options = {});

} // namespace telltale::run
