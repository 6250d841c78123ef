// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <algorithm>
#include <array>
#include <cstddef>
#include <cstdint>
#include <limits>
#include <vector>

#include "telltale/run/run.hpp"

namespace telltale::run {

inline constexpr float missing = std::numeric_limits<float>::quiet_NaN();
inline constexpr double nothing = std::numeric_limits<double>::quiet_NaN();
inline constexpr float kelvin = 273.15F; ///< of 0 degrees Celsius

/// One signal in one run, with times in seconds from the start of the run.
class Track {
  public:
    Track() = default;
    Track(const Run& run, const Series& series);

    bool present() const { return series_ != nullptr && series_->size() > 0; }
    std::size_t size() const { return series_ == nullptr ? 0 : series_->size(); }
    double time(std::size_t i) const {
        return (static_cast<double>(series_->times[i]) - origin_) * 1e-9;
    }
    /// Held to what can be squared and added up as a float.
    float value(std::size_t i) const {
        constexpr double most = 1e15;
        return static_cast<float>(std::clamp(series_->values[i], -most, most));
    }
    /// The first sample that is not before a time; `size()` where there is none.
    std::size_t first_from(double t) const;
    double interval() const { return interval_; }
    /// Two samples further apart than this leave a gap between them.
    double limit() const { return limit_; }
    /// Between two samples this near a straight line stands for the course of the signal.
    double bridge() const { return bridge_; }
    const Series& series() const { return *series_; }

  private:
    const Series* series_ = nullptr;
    double origin_ = 0;
    double interval_ = 0;
    double limit_ = 0;
    double bridge_ = 0;
};

/// Reads a track at rising times, by a straight line between two neighbouring samples; `missing`
/// where one was lost between them, in a gap, and beyond the ends.
class Cursor {
  public:
    explicit Cursor(const Track& track) : track_(&track), n_(track.size()) { look_ahead(); }
    float at(double t) {
        while (next_ < n_ && after_ <= t) {
            before_ = after_;
            first_ = second_;
            ++next_;
            look_ahead();
        }
        if (next_ == 0)
            return missing;
        if (next_ == n_ || after_ - before_ > track_->bridge())
            return t == before_ ? first_ : missing;
        const auto part = static_cast<float>((t - before_) / (after_ - before_));
        return first_ + part * (second_ - first_);
    }

  private:
    void look_ahead() {
        if (next_ < n_) {
            after_ = track_->time(next_);
            second_ = track_->value(next_);
        }
    }

    const Track* track_;
    std::size_t n_;
    std::size_t next_ = 0; ///< first sample later than the last time asked for
    double before_ = 0;    ///< times of the one before it, and of itself
    double after_ = 0;
    float first_ = missing; ///< their values
    float second_ = missing;
};

/// Slowed forms of a signal: exponential means of what came before and of what comes after, in
/// seconds. A slow sensor follows the first, and what it measures leads it by the second.
enum class Form : std::uint8_t { plain, before1, before4, before16, after1, after4, count_ };
inline constexpr std::size_t form_count = static_cast<std::size_t>(Form::count_);

/// What the good run says about a signal's values as such.
struct Range {
    bool usable = false;  ///< enough samples, and it moves
    bool known = false;   ///< enough samples
    bool counter = false; ///< only ever rises (or falls): a clock, no signal
    bool slow = false;    ///< swung to and fro too seldom to show what goes with it
    std::size_t swings = 0;
    float low = 0; ///< least and greatest, a stray sample aside
    float high = 0;
    float reach_low = 0; ///< the same of all runs together
    float reach_high = 0;
    float mean = 0;
    float sd = 0;
    float bends = 0; ///< how far it leaves the straight line between neighbours, in `sd`s
};

/// A run made ready: a track and the slowed forms of each signal.
class Drive {
  public:
    /// `series[k]` is the place of signal k in the run, or -1.
    Drive(const Run& run, const std::vector<std::ptrdiff_t>& series);

    std::size_t signals() const { return tracks_.size(); }
    const Track& track(std::size_t signal) const { return tracks_[signal]; }
    double seconds() const { return seconds_; }
    /// A run is cut into blocks, counted through all drives of a comparison, this one's from
    /// `first` on. Each model is tried on every block after having been made without it.
    void set_blocks(std::size_t first, std::size_t count) {
        first_block_ = first;
        blocks_ = count;
    }
    std::size_t first_block() const { return first_block_; }
    std::size_t blocks() const { return blocks_; }
    std::size_t block(double t) const {
        if (!(t > 0) || seconds_ <= 0)
            return first_block_;
        return first_block_ +
               std::min(blocks_ - 1,
                        static_cast<std::size_t>(t / seconds_ * static_cast<double>(blocks_)));
    }
    /// How much the signals other than this one are on the move: 0 at rest, 1 when each is a
    /// standard deviation (`sd`) away from where it was a second ago.
    void set_scales(const std::vector<float>& sd);
    float stir(std::size_t signal, double t) const;
    /// Where a time lies among the points of the slowed forms.
    struct Place {
        std::size_t point = static_cast<std::size_t>(-1);
        float part = 0; ///< of the way to the next point
    };
    Place place(double t) const;
    /// A slowed form at a time; `missing` where the signal was not there.
    float slowed(std::size_t signal, Form form, Place place) const;
    float slowed(std::size_t signal, Form form, double t) const {
        return slowed(signal, form, place(t));
    }

  private:
    std::size_t first_block_ = 0;
    std::size_t blocks_ = 1;
    double seconds_ = 0;
    double spacing_ = 0.25;
    std::size_t points_ = 0;
    std::vector<Track> tracks_;
    std::vector<std::array<std::vector<float>, form_count>> slowed_; ///< `plain` on the grid too
    std::vector<float> sd_;
    std::vector<float> stir_;
    std::size_t stirring_ = 0;
};

} // namespace telltale::run
