// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <limits>
#include <vector>

#include "drive.hpp"
#include "neighbours.hpp"
#include "run/robust.hpp"

namespace telltale::run {

/// A column of a regression: a signal in one of its forms, or something made of two or three.
struct Feature {
    enum class Kind : std::uint8_t {
        one,     ///< always 1
        base,    ///< a signal in a form
        square,  ///< a * a
        product, ///< a * b
        ratio,   ///< a / (b + offset)
        density, ///< a * b / (c + 273.15): the ideal gas, flow from speed and pressure
        charge,  ///< a * (c + 273.15) / (b + offset): the same solved for pressure or filling
        bump,    ///< near one place in the space of up to three signals
    };
    Kind kind = Kind::one;
    Form form = Form::plain;
    std::uint16_t a = 0, b = 0, c = 0;
    float offset = 0;
    float mean = 0; ///< taken away, and divided by:
    float scale = 1;
};

/// What most of an engine's temperatures say.
enum class Warmth : std::uint8_t { unknown, cold, warm };

/// The good run looked at as a whole: all signals on common times, and how they move together.
/// Shared by the models of all signals.
class Survey {
  public:
    Survey(const Drive& good, const std::vector<const Drive*>& bad,
           const std::vector<char>& available);

    const Range& range(std::size_t signal) const { return ranges_[signal]; }
    const std::vector<Range>& ranges() const { return ranges_; }
    /// The forms of other signals that tell most about `target`, best first, at most `most` of at
    /// most `most_signals` signals, none of them in `barred`.
    std::vector<Feature> select(std::size_t target, const std::vector<char>& barred,
                                std::size_t most, std::size_t most_signals) const;
    /// Places of the signals that physics relates, or -1: engine speed, manifold pressure, intake
    /// temperature, air flow; and the vehicle's speed.
    std::ptrdiff_t rpm = -1, manifold = -1, inlet = -1, air = -1, speed = -1;
    /// Whether the engine is colder, by most of the temperatures that were warm all through the
    /// good run, than each was there by `far` degrees, and below `below`: it runs otherwise then.
    /// One that says so among others that do not is no cold engine.
    Warmth warmth(const Drive& drive, double t, float far, float below) const;
    /// Slower is an engine at rest; 0 where the good run has that too, or no engine speed.
    float least_rpm = 0;

  private:
    std::size_t columns_ = 0;
    std::vector<Range> ranges_;
    std::vector<std::size_t> warm_;     ///< temperatures of the engine that were warm all the time
    std::vector<Feature> features_;     ///< of each column
    std::vector<std::uint16_t> groups_; ///< signal of each column
    std::vector<std::size_t> plain_;    ///< signal -> its plain column, or npos
    std::vector<std::vector<float>> gram_; ///< of each block
    std::vector<double> total_;            ///< the sum of these
};

/// Why nothing is expected of a sample that leapt all the same: a gap before it, or a temperature
/// that is still colder than it ever was in the good run.
enum class Silence : std::uint8_t { none, after_gap, warming_up };

/// A signal over one run beside what the others make expect. All vectors are as long as `t`.
struct Trace {
    std::vector<double> t;
    std::vector<float> y;
    std::vector<float> fitted;        ///< `missing` where a predictor was not there
    std::vector<float> low;           ///< least and greatest of it as near as the samples of the
    std::vector<float> high;          ///< predictors lie apart: within, a difference is timing
    std::vector<float> sigma;         ///< scale of a normal difference
    std::vector<float> z;             ///< (y - fitted) / sigma
    std::vector<float> slope;         ///< of `fitted`, per second
    std::vector<std::uint32_t> piece; ///< number of the stretch without a gap
    std::vector<float> stir;          ///< how much the other signals are on the move
    std::vector<float> local;         ///< scale of a stray: that of the neighbourhood, in the unit
    std::vector<Silence> silence;     ///< why nothing is expected, if that is all there is to it
    // What makes differences large, from which the scale is made.
    std::vector<float> moved;    ///< change of `fitted` from sample to sample
    std::vector<float> distance; ///< from what the runs had in other blocks
    std::vector<float> bend;     ///< of the fitted course
    std::vector<float> unsure;   ///< what the blocks' models differ by, and ends that were met
    double interval = 0;
    double familiar = 1; ///< part of the samples with predictors near what the good run had
};

/// The samples of a track, nothing expected of them yet: `fitted`, `sigma` and `z` are missing.
inline Trace blank_trace(const Track& track) {
    const std::size_t n = track.size();
    Trace out;
    out.interval = track.interval();
    out.t.resize(n);
    out.y.resize(n);
    out.piece.resize(n);
    std::uint32_t piece = 0;
    for (std::size_t i = 0; i < n; ++i) {
        out.t[i] = track.time(i);
        out.y[i] = track.value(i);
        if (i > 0 && out.t[i] - out.t[i - 1] > track.limit())
            ++piece;
        out.piece[i] = piece;
    }
    out.fitted.assign(n, missing);
    out.sigma.assign(n, missing);
    out.z.assign(n, missing);
    return out;
}

/// What `off(i)` is by the whole run through: the least of its levels, two strays of ten aside; 0
/// where it is to either side. Not-a-number does not count.
template <class Off> double day_level(std::size_t n, Off off) {
    constexpr std::size_t parts = 10;
    constexpr std::size_t few = 6;
    std::vector<double> levels;
    std::vector<double> here;
    for (std::size_t part = 0; part < parts; ++part) {
        here.clear();
        for (std::size_t i = part * n / parts; i < (part + 1) * n / parts; ++i) {
            const double one = off(i);
            if (!std::isnan(one))
                here.push_back(one);
        }
        if (here.size() >= few)
            levels.push_back(median(here));
    }
    if (levels.size() < few)
        return 0;
    std::sort(levels.begin(), levels.end());
    const double low = levels[1];
    const double high = levels[levels.size() - 2];
    return low > 0 ? low : high < 0 ? high : 0;
}

/// Predicts one signal from the others. The good run says which of them and in what form; both
/// runs together, strays held down, say how much: what is new on the second road is learned there,
/// and what happened only once cannot explain itself, since every block is predicted by a model
/// that was made without it.
class Model {
  public:
    /// `barred`: signals that may not help (the target itself need not be named).
    /// `most_signals`: how many others at most.
    /// `set_freely`: the signal may be set otherwise for a while, which is to be learned.
    Model(const Survey& survey, const Drive& good, const Drive& bad, std::size_t target,
          const std::vector<char>& barred, std::size_t most_signals, bool set_freely);

    bool usable() const { return usable_; }
    std::size_t target() const { return target_; }
    /// Either run, each block predicted by the model that was made without it.
    const Trace& good_trace() const { return good_course_; }
    const Trace& bad_trace() const { return bad_course_; }
    /// Lets the traces go, of which a long drive has many: the good run's, and the other's unless
    /// it is still to be shown.
    void forget(bool keep_bad);

    /// Part of the variance in the good run that the others explain, on blocks left out; 0 to 1.
    double explained() const { return explained_; }
    /// How often the predicted value swung to and fro in the good run.
    std::size_t swings() const { return swings_; }
    /// The others tell the value itself, not only its movements.
    bool locked() const { return locked_; }
    /// Usual scale of a difference, in the unit.
    double usual() const { return usual_; }
    /// The signals used, the strongest first, and the standard deviation that each contributes.
    struct Use {
        std::size_t signal;
        double weight;
    };
    const std::vector<Use>& uses() const { return uses_; }
    bool uses(std::size_t signal) const;

  private:
    void fit(const Survey& survey);
    Trace run_over(const Drive& drive) const;
    void set_aside(const Drive& drive, Trace& trace) const;
    static void allow_for_the_day(Trace& trace);
    void doubt_the_cold();
    void weigh(Trace& trace) const;
    void look_around(Trace& trace) const;
    void evaluate(const Drive& drive, const std::vector<double>& t,
                  std::vector<std::vector<float>>& columns, std::vector<float>& beyond) const;
    static void look_for_strange(const std::vector<float>& design, const std::vector<double>& beta,
                                 std::size_t n, std::size_t n_good, std::vector<float>& out);
    void derive(const Feature& feature, const std::vector<std::vector<float>>& base,
                std::size_t from, std::size_t to, float* out) const;

    const Survey* survey_;
    const Drive* good_;
    const Drive* bad_;
    std::size_t target_;
    bool usable_ = false;
    bool locked_ = false;
    float off_ = -std::numeric_limits<float>::infinity(); ///< what is set freely is off up to here
    double explained_ = 0;
    double usual_ = 0;
    std::size_t swings_ = 0;
    std::vector<Use> uses_;

    struct Base {
        std::uint16_t signal;
        Form form;
        float low, high; ///< clipped to these
        float middle;
        float pull = 0; ///< change of the prediction per unit, near enough
    };
    std::vector<Base> bases_;
    std::vector<Feature> features_; ///< a and b index `bases_`
    std::vector<float> beta_;       ///< of the whole good run
    std::vector<std::vector<float>> block_beta_;
    // Places of the bumps in up to three bases, scaled.
    std::vector<std::uint16_t> bump_bases_;
    std::vector<float> bump_scale_;
    std::vector<float> bump_centres_; ///< row by row
    float bump_reach_ = 1;
    // What the good run looked like to the model, for distances.
    std::vector<std::uint16_t> seen_bases_;
    std::vector<float> seen_weight_;
    Neighbours seen_;
    std::vector<std::uint8_t> seen_block_; ///< of each of their places
    // Scale of a difference: root of a^2 + (b * movement)^2 + (c * distance)^2 + (d * stir)^2 +
    // spread^2.
    float scale_a_ = 1, scale_b_ = 0, scale_c_ = 0, scale_d_ = 0, scale_e_ = 0;
    float usual_far_ = 0;      ///< distance that 95 % of the good run keep below, block from block
    std::vector<float> doubt_; ///< what its scale is larger by in the other run
    float mean_ = 0;
    Trace good_course_;
    Trace bad_course_;
};

} // namespace telltale::run
