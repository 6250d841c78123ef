// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <limits>
#include <span>
#include <vector>

#include "model.hpp"

namespace telltale::run {

/// What can be strange about the differences between a signal and what is expected of it.
enum class Sign : std::uint8_t {
    apart,     ///< a few samples off all that is expected a moment around
    excursion, ///< a few samples away from both neighbourhoods, and back
    peak,      ///< a few samples beyond those on either side, in the signal's own course
    level,     ///< the mean over a window, as far as no view contradicts
    shown,     ///< the mean over a window that two views show
    rough,     ///< the scatter from sample to sample
    size,      ///< the size over a window
    late,      ///< in proportion to the speed of change
    frozen,    ///< no change at all: how much the others moved meanwhile
    leap,      ///< the change from one sample to the next, of signals that nothing tells
    creep,     ///< the change from one stretch to the next, of slow signals
    untied,    ///< off what ties it to one or two others
    frayed,    ///< scattered about that
    trailing,  ///< later than that
    unlike,    ///< off what it was at the same time of the same drive
    count_
};
inline constexpr std::size_t sign_count = static_cast<std::size_t>(Sign::count_);

/// A few samples and no more.
constexpr bool momentary(Sign sign) {
    return sign == Sign::leap || sign == Sign::peak || sign == Sign::apart ||
           sign == Sign::excursion;
}
/// What is off, or comes late, over a window.
constexpr bool lasts(Sign sign) {
    return sign == Sign::level || sign == Sign::shown || sign == Sign::size || sign == Sign::late ||
           sign == Sign::untied;
}

/// What a score of a sign counts: signs differ in how often they are strange with nothing wrong.
/// Measured on invented pairs of drives without a fault (tests/bench).
constexpr float weight_of(Sign sign) {
    switch (sign) {
    case Sign::shown:
    case Sign::untied:
        return 0.7F;
    case Sign::level:
    case Sign::creep:
    case Sign::late:
    case Sign::trailing:
        return 0.75F;
    case Sign::frozen:
        return 0.87F;
    default:
        return momentary(sign) ? 0.79F : 1.0F;
    }
}

/// A stretch of a run where one sign was stronger than it should be.
struct Hit {
    Sign sign = Sign::level;
    std::uint8_t width = 0; ///< which of the sign's windows
    std::size_t from = 0;   ///< samples [from, to)
    std::size_t to = 0;
    float score = 0; ///< 1 is the limit
    float value = 0; ///< of the sign, signed
};

/// A sign over some samples.
struct Window {
    std::size_t from = 0; ///< samples [from, to)
    std::size_t to = 0;
    double value = 0;
    double difference = 0; ///< in the signal's unit, of signs that have two sides
};

/// A view of one thing: a difference, and what is normal for it.
struct Seen {
    double difference;
    double unit;
};

struct Agreed {
    double value = 0; ///< in units
    double difference = 0;
};

/// What is left of the sharpest view's difference after the others', each of which may be 3 units
/// off; two of three carry it too, if all are sharp: the third may lean on what follows from this
/// signal. Three views at most, which are sorted; none: not-a-number.
Agreed agreed(std::span<Seen> views);

/// Between which values standing still is strange: at either end of what it takes a signal rests.
struct Ends {
    float low = 0;
    float high = 0;
};
Ends within_ends(const Trace& good, double step);

/// Models of one signal that are put together.
inline constexpr std::size_t most_views = 2;

/// By how many seconds what was expected comes too early for a stretch of a run: the delay, or the
/// time constant of a slow sensor, that leaves least. 0: none leaves half of the squares or less.
double late_by(const Trace& trace, std::size_t from, std::size_t to);

/// For signals that others tell, one that comes late by much: what is left of it in the quick
/// movements goes away once it is held against what was expected some seconds before. Learns from
/// the good run how much of it ever does.
class LateScanner {
  public:
    LateScanner(const std::vector<Trace>& good, double strictness);
    /// Each hit's value is by how many seconds, roughly.
    std::vector<Hit> scan(const std::vector<Trace>& traces, float least) const;

  private:
    static constexpr std::size_t widths = 3;
    static constexpr std::array<double, widths> spans{8, 25, 80}; ///< of the windows, in seconds
    static constexpr std::array<double, widths> factors{3.8, 3.4, 1.4};
    using Course = std::array<std::vector<Window>, widths>;
    static std::size_t width_of(std::size_t w, const Trace& trace);
    static Course course(const Trace& trace, const std::array<double, widths>& above);

    std::array<std::array<double, widths>, most_views> limits_{}; ///< 0: not looked for
};

/// For signals that others tell. Learns from the good run how strong each sign normally is, and
/// looks for more in another. A signal is seen by up to two models that have no predictor in
/// common: a single view counts for little where there are others, since each may fail where its
/// own predictors changed between two of their samples.
class ToldScanner {
  public:
    /// `good`: a trace for each model, all of the same signal; it has to live on, since how strong
    /// a sign was there is worked out once there is anything to hold against it. `strictness`:
    /// factor on all limits, `lasting` another on those of what lasts.
    ToldScanner(const std::vector<Trace>& good, double step, double strictness, double lasting);

    /// The stretches with a score of at least `least`, strongest first, at most 200.
    std::vector<Hit> scan(const std::vector<Trace>& traces, float least) const;

    static constexpr std::size_t most_widths = 6;

  private:
    struct Sight;
    void visit(Sight& sight, Sign sign, double width, double above, std::vector<Window>& out) const;

    const std::vector<Trace>* good_;
    LateScanner late_;
    double step_;
    double strictness_;
    double lasting_;
    double late_floor_ = 0;
    bool taught_ = false; ///< the good run is long enough
    Ends rest_;
};

/// For signals whose value nothing else tells: only how they move from sample to sample counts.
class LooseScanner {
  public:
    /// Where standing still counts. `midway`: only far from either end of what the run looked at
    /// takes, for signals that may come to rest once they got there.
    enum class Still : std::uint8_t { nowhere, midway, anywhere };
    LooseScanner(const std::vector<Trace>& good, const Series& series, double strictness,
                 Still still);
    std::vector<Hit> scan(const std::vector<Trace>& traces, float least) const;

  private:
    static constexpr std::size_t most_widths = 4;
    struct Norm {
        double width = 0;    ///< seconds
        double limit = 0;    ///< 0: not looked for
        double at_end = 0;   ///< of standing still at either end
        double greatest = 0; ///< difference that the good run had, in the signal's unit
        std::array<double, most_views> unit{};   ///< of each model
        std::array<double, most_views> centre{}; ///< of signs that have only one side
    };
    void visit(const Trace& trace, Sign sign, double seconds, std::vector<Window>& out) const;
    static void agree(const std::vector<Trace>& traces, Sign sign, const Norm& norm,
                      std::vector<std::vector<Window>>& seen);

    bool rests_at(float value) const;
    Ends midway(const Trace& trace) const;

    double step_;
    std::vector<float> taught_; ///< values of the good run in order
    Ends rest_;
    Still still_;
    Ends range_{-std::numeric_limits<float>::infinity(), std::numeric_limits<float>::infinity()};
    std::array<std::array<Norm, most_widths>, sign_count> norms_{};
};

/// Bursts of noise: windows in which most samples leave the line between their neighbours further
/// than in any window of the good run. One leap makes no burst.
class BurstScanner {
  public:
    /// `told`: beyond what the traces' models expect a moment around, two of which have to show it
    /// where there are two; otherwise the signal's own course counts.
    BurstScanner(const std::vector<Trace>& good, double step, double strictness, bool told);
    std::vector<Hit> scan(const std::vector<Trace>& traces, float least) const;

  private:
    static constexpr std::array<std::size_t, 4> widths{8, 16, 32, 64}; ///< samples
    std::size_t views(const std::vector<Trace>& traces) const {
        return told_ ? std::min(most_views, traces.size()) : 1;
    }
    std::vector<double> bends(const Trace& trace) const;
    static void scatter(const std::vector<double>& bends, std::size_t width, double above,
                        std::vector<Window>& out);
    static void hold_down(const Trace& trace, std::vector<Hit>& hits);

    double strictness_;
    bool told_;
    std::array<std::array<double, most_views>, widths.size()> most_{}; ///< 0: not looked for
};

/// What a signal does for a few samples and takes back (peaks), or from one sample to the next
/// (edges), beside the greatest of the kind that it ever did in the good run: its own course, as
/// far as the others do not explain it. The others' expectation need not be sharp for that.
class PeakScanner {
  public:
    struct Habits {
        bool edges = false;    ///< are looked for
        bool slow = false;     ///< nothing tells it, nor lets it leap
        bool switches = false; ///< to and fro by itself: what only one view shows is none
    };
    PeakScanner(const std::vector<Trace>& good, double step, double strictness, Habits habits);
    std::vector<Hit> scan(const std::vector<Trace>& traces, float least) const;

  private:
    static constexpr std::size_t widths = 5; ///< edges; peaks of one sample, of two and so on
    template <class See>
    static void each(const Trace& trace, std::size_t width, const double& above, See see);

    std::array<double, widths> limits_{}; ///< in the signal's unit; 0: not looked for
    Habits habits_;
};

/// For slow signals: how far the mean changes from one stretch of seconds to the next.
class SlowScanner {
  public:
    SlowScanner(const Track& good, double step);
    struct Change {
        double time = 0; ///< between the two stretches, in seconds
        double width = 0;
        float score = 0; ///< signed; 1 is the limit
    };
    /// Those with a score of at least `least`. Where the run begins with a movement to one side (a
    /// warm-up), that is no change.
    std::vector<Change> look(const Track& track, float least) const;

    static constexpr std::array<double, 4> widths{6, 20, 60, 150};

  private:
    double step_;
    std::array<double, widths.size()> limits_{}; ///< 0: not looked for
};

/// The least and the greatest of some values; not-a-number where one of them is.
struct Spread {
    double low = std::numeric_limits<double>::infinity();
    double high = -std::numeric_limits<double>::infinity();
    void add(double value) {
        low = std::isnan(value) ? value : std::min(low, value); // not-a-number stays
        high = std::isnan(value) ? value : std::max(high, value);
    }
    /// How far all of them lie beyond all of the other, signed; 0 where they do not.
    double beyond(const Spread& other) const {
        if (std::isnan(low) || std::isnan(other.low))
            return nothing;
        return low > other.high ? low - other.high : high < other.low ? high - other.low : 0.0;
    }
};

/// Whether `width` values from `at` leave those next to them by more than `above`, to the same
/// side: else they do not lie beyond them by that. Not where one is not-a-number.
template <class Value>
bool leave_both_sides(std::size_t at, std::size_t width, double above, Value value) {
    const double before = value(at) - value(at - 1);
    const double after = value(at + width - 1) - value(at + width);
    return (before > above && after > above) || (before < -above && after < -above);
}

/// How far `width` values from `at` lie beyond as many as `side` on either side of them, signed; 0
/// where they do not, or by no more than `above`; else not-a-number where one of them is.
template <class Value>
double beyond_sides(std::size_t at, std::size_t width, std::size_t side, double above,
                    Value value) {
    if (!leave_both_sides(at, width, above, value))
        return 0;
    Spread inside;
    Spread outside;
    for (std::size_t i = at - side; i < at + width + side; ++i)
        (i >= at && i < at + width ? inside : outside).add(value(i));
    const double far = inside.beyond(outside);
    return std::abs(far) <= above ? 0 : far;
}

/// The two greatest of some sizes.
struct TwoGreatest {
    double first = 0;
    double second = 0;
    void add(double size) {
        if (size > first) {
            second = first;
            first = size;
        } else if (size > second) { // not-a-number is neither
            second = size;
        }
    }
};

/// How far a sample lies beyond all that is expected a moment around, in normal differences.
inline double beyond(const Trace& trace, std::size_t i) {
    if (std::isnan(trace.z[i]) || std::isnan(trace.low[i]))
        return nothing;
    return double{trace.y[i] - std::clamp(trace.y[i], trace.low[i], trace.high[i])} /
           double{trace.sigma[i]};
}

/// How far each value leaves the straight line between its neighbours; not-a-number at the ends of
/// a piece of the trace.
inline std::vector<double> bends_of(const Trace& trace, const std::vector<double>& values) {
    std::vector<double> out(values.size(), nothing);
    for (std::size_t i = 1; i + 1 < values.size(); ++i)
        if (trace.piece[i - 1] == trace.piece[i + 1])
            out[i] = std::abs(values[i] - 0.5 * (values[i - 1] + values[i + 1]));
    return out;
}

/// How many samples of a trace so many seconds hold.
inline std::size_t samples_in(const Trace& trace, double seconds) {
    return static_cast<std::size_t>(
        std::max(1.0, std::round(seconds / std::max(1e-6, trace.interval))));
}

/// Whether so many of its samples are known that a window says something.
inline bool mostly_known(std::size_t count, std::size_t width) {
    return count > 0 && 10 * count >= 6 * width;
}

/// Joins neighbouring windows that score at least `least` into stretches.
class Stretches {
  public:
    Stretches(Sign sign, std::size_t width, std::vector<Hit>& hits)
        : hits_(&hits), empty_{sign, static_cast<std::uint8_t>(width), 0, 0, 0, 0}, open_(empty_) {}
    Stretches(const Stretches&) = delete;
    Stretches& operator=(const Stretches&) = delete;
    ~Stretches() { close(); }
    void add(const Window& window, float score) {
        if (open_.score > 0 && window.from <= open_.to) {
            open_.to = std::max(open_.to, window.to);
        } else {
            close();
            open_ = empty_;
            open_.from = window.from;
            open_.to = window.to;
        }
        if (score > open_.score) {
            open_.score = score;
            open_.value = static_cast<float>(window.value);
        }
    }

  private:
    void close() {
        if (open_.score > 0)
            hits_->push_back(open_);
    }
    std::vector<Hit>* hits_;
    Hit empty_;
    Hit open_;
};

/// No score is greater.
inline constexpr float most_score = 1e6F;

/// Where hits of a momentary sign are of all sizes, the greatest is one of them: those of a fault
/// stand apart from the rest.
void hold_down_among_others(const Trace& trace, Sign sign, std::vector<Hit>& hits);

/// The strongest first, at most 200.
void settle(std::vector<Hit>& hits);

/// Calls see(from, to, sum, count) for windows of `width` samples, a quarter of it apart, over
/// values of which `missing` ones do not count.
template <class Value, class See>
void windows(std::size_t n, std::size_t width, Value value, See see) {
    if (width == 0 || n < width)
        return;
    const std::size_t stride = std::max<std::size_t>(1, width / 4);
    double sum = 0;
    std::size_t count = 0;
    std::size_t begin = 0;
    std::size_t end = 0;
    for (; begin + width <= n; begin += stride) {
        if (begin >= end) {
            sum = 0;
            count = 0;
            end = begin;
        }
        for (; end < begin + width; ++end) {
            const double v = value(end);
            if (!std::isnan(v)) {
                sum += v;
                ++count;
            }
        }
        see(begin, begin + width, sum, count);
        for (std::size_t i = begin; i < std::min(n, begin + stride); ++i) {
            const double v = value(i);
            if (!std::isnan(v)) {
                sum -= v;
                --count;
            }
        }
    }
}

} // namespace telltale::run
