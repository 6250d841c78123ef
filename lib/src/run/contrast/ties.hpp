// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <array>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <span>
#include <vector>

#include "gears.hpp"
#include "model.hpp"

namespace telltale::run {

/// Close relations of a signal to one, two or three others that held throughout the good run:
/// sums, sums with squares and products, or products of powers, which what an ECU works out from
/// its sensors mostly are, and the ideal gas too. They are few figures each, so they hold on other
/// roads, and a small difference that lasts shows. What breaks tells whose fault it is: all ties of
/// the culprit break, and by the same amount of it, while those among its partners hold.
class Ties {
  public:
    /// `available`: signals that may take part, by place. `free`: those that may be set otherwise
    /// whatever the others do; what leaves a tie with one of them is no evidence.
    Ties(const Drive& good, const std::vector<const Drive*>& bad, const Survey& survey,
         const std::vector<char>& available, const std::vector<char>& free);

    /// How what is left of a tie is strange: off, scattered, or as if the signal came late.
    static constexpr auto nobody = static_cast<std::size_t>(-1);
    enum class Way : std::uint8_t { level, rough, late };
    /// A stretch of a bad run where a signal left what ties it to the others.
    struct Broken {
        std::size_t signal = 0;
        double from = 0; ///< seconds
        double to = 0;
        float score = 0; ///< 1 is the limit
        /// Another signal that explains nearly as much; `nobody` if there is none.
        std::size_t rival = nobody;
        Way way = Way::level;
        std::size_t tie = 0;
    };
    /// Makes ready to look at a bad run, and lets the one before go.
    void turn_to(std::size_t run);
    /// What broke in the run turned to, with the signals in `barred` out of the game.
    /// Signal by signal, the one that explains most first; of each its strongest first.
    std::vector<Broken> look(const std::vector<char>& barred) const;

    /// What a tie makes expect of its target at the target's own samples, in the run turned to.
    Trace trace(std::size_t tie) const;
    /// What an ECU makes of a signal.
    const std::vector<std::size_t>& made_of(std::size_t signal) const { return made_[signal]; }
    /// The signals that a tie goes by.
    std::vector<std::size_t> partners(std::size_t tie) const;

    static constexpr std::size_t most_partners = 3;
    static constexpr std::size_t most_terms =
        1 + most_partners + most_partners * (most_partners + 1) / 2;
    using Terms = std::array<double, most_terms>;
    static constexpr std::array<double, 5> level_widths{1.5, 4, 10, 25, 60}; ///< seconds
    static constexpr std::array<double, 2> rough_widths{4, 10};
    static constexpr std::array<double, 2> late_widths{10, 25};
    static constexpr std::size_t bins = 16;
    static constexpr std::size_t sights =
        level_widths.size() + rough_widths.size() + late_widths.size();

  private:
    /// All signals at common times.
    struct Grid {
        double spacing = 0.25;
        std::size_t size = 0;
        std::vector<std::vector<float>> plain; ///< by signal; `missing` where it was not there
        std::vector<std::vector<float>> logs;  ///< empty where it makes no sense
        /// Engine speed by road speed in the gear driven in, and road speed by engine speed, as
        /// logarithms; empty without gears.
        std::array<std::vector<float>, 2> geared;
        std::vector<char> aside; ///< no evidence here
        std::vector<std::uint8_t> block;
    };
    struct Tie {
        std::uint16_t target = 0;
        std::array<std::uint16_t, most_partners> by{};
        std::uint8_t count = 0;
        bool powers = false;
        bool curved = false;     ///< with squares and products
        bool gears = false;      ///< of engine and road speed, by the gear driven in
        std::vector<Terms> beta; ///< block left out; all the good run
        double scale = 0;        ///< of a normal difference
        double sharpness = 0;    ///< usual difference in the target's standard deviations
        std::array<double, sights> limit{};                        ///< 0: not looked at
        std::array<double, most_partners> low{}, high{};           ///< what its partners took
        std::array<std::array<bool, bins>, most_partners> known{}; ///< and where for long
        std::vector<float> near_places; ///< some moments of the good run: partners
        std::vector<float> near_left;   ///< and what was left there, in scales
        std::vector<std::uint8_t> near_block;
        float near_enough = 0; ///< as far as its usual neighbours
        std::array<double, most_partners> middle{}, width{};
        std::array<double, most_partners * most_partners> spread{}; ///< inverse of how they lie
        double farthest = 0;
        /// Where nothing but noise was left of it; elsewhere it is never astray itself.
        std::array<bool, sights> plain{};
        bool witness = true; ///< nowhere
    };
    /// What a whole run is off by, in the tie's space.
    struct Day {
        double more = 0;
        double part = 0; ///< of the value
        double of(double fitted) const { return more + (1 + part) * fitted; }
    };
    /// Sight of one tie over one run: for each window how strange, and how much that would be.
    struct View {
        std::array<std::vector<float>, sights> score; ///< signed; not-a-number: not known
        std::array<std::vector<float>, sights> unit;  ///< limit, in the target's unit
        Day day;
    };
    struct Near {
        float rms = 0; ///< in scales
        float distance = missing;
    };
    /// The sums of what comes before a place; what is not there adds nothing.
    struct Sum {
        double value = 0;
        double unit = 0;
        std::uint32_t count = 0;
        Sum with(double here, double unit_here) const {
            return std::isnan(here) ? *this : Sum{value + here, unit + unit_here, count + 1};
        }
    };
    /// What is left of a tie over a run, in sums by the way that it is looked at.
    struct Differences {
        std::array<std::vector<Sum>, 3> by_way;
        /// Of a bad run: its terms over the scale of a normal difference, in sums likewise; all of
        /// a place side by side.
        std::vector<double> terms;
    };

    Grid grid_of(const Drive& drive, const Survey& survey) const;
    const std::vector<float>& column(const Grid& grid, std::size_t signal, bool powers) const {
        return powers ? grid.logs[signal] : grid.plain[signal];
    }
    const std::vector<float>& partner(const Tie& tie, std::size_t place, const Grid& grid) const {
        return tie.gears ? grid.geared[tie.target == engine() ? 0 : 1]
                         : column(grid, tie.by[place], tie.powers);
    }
    std::size_t engine() const { return static_cast<std::size_t>(engine_); }
    std::size_t road() const { return static_cast<std::size_t>(road_); }
    void gear_up(Grid& grid) const;
    double geared(const Tie& tie, double value, double log_partner) const;
    double mean_of(std::size_t signal, bool powers) const {
        return powers ? log_mean_[signal] : mean_[signal];
    }
    double sd_of(std::size_t signal, bool powers) const {
        return powers ? log_sd_[signal] : sd_[signal];
    }

    // ties_parts.hpp
    static std::size_t bin_of(double value, double low, double high);
    static bool knows(const Tie& tie, std::size_t place, double value);
    static std::size_t terms_in(const Tie& tie);
    static void terms_of(const Tie& tie, const std::array<double, most_partners>& values,
                         std::span<double> x);
    void terms_at(const Tie& tie, const Grid& grid, std::size_t i, std::span<double> x) const;
    static std::size_t product_at(const Tie& tie, std::size_t p, std::size_t q);
    static double sum_of(std::span<const double> x, const Terms& beta);
    double expect(const Tie& tie, const Grid& grid, std::size_t i, const Terms& beta) const;
    static double distance(const Tie& tie, std::span<const double> x);

    // ties_search.cpp
    std::vector<std::size_t> moving(const Grid& good, bool powers) const;
    static Tie tie_of(std::span<const std::size_t> who, std::size_t target,
                      std::span<const std::size_t> by);
    void search(const Grid& good, bool powers, std::vector<Tie>& out) const;
    void search_curved(const Grid& good, std::vector<Tie>& out) const;

    // ties_fit.cpp
    std::vector<std::size_t> rows_of(const Tie& tie, const Grid& good) const;
    bool fit(const Grid& good, std::size_t blocks, Tie& tie) const;
    bool fit_least(const Grid& good, std::size_t blocks, Tie& tie) const;
    bool bound(const Grid& good, const std::vector<std::size_t>& rows, std::span<const double> x,
               Tie& tie) const;
    bool remember(const Grid& good, Tie& tie) const;
    static Near near(const Tie& tie, std::span<const double> x, std::uint8_t aside);

    // ties_sight.cpp
    Day day_of(const Tie& tie, const Grid& grid) const;
    Differences differences(const Tie& tie, const Grid& grid, bool is_good, const Day& day) const;
    static Way way_of(std::size_t sight);
    static std::size_t points(std::size_t sight, double spacing);
    /// From one window to the next: they have four points or more.
    static std::size_t stride_of(std::size_t width) { return width / 4; }
    static void sight(const Differences& d, std::size_t sight, double spacing,
                      std::vector<float>& value, std::vector<float>& unit);
    static void doubt(const Tie& tie, const Differences& d, std::size_t sight, double spacing,
                      std::vector<float>& unsure);
    static bool may_break(const Tie& tie, const std::vector<char>& free);
    void set_limits(const Grid& good, const std::vector<char>& free, Tie& tie) const;
    View view(const Tie& tie, const Grid& bad) const;

    // ties_look.cpp
    double slope(const Tie& tie, std::size_t place, const Grid& grid, std::size_t from,
                 std::size_t to) const;
    double share(const Tie& tie, std::size_t place, const Grid& grid, std::size_t from,
                 std::size_t to) const;
    double pull(std::size_t tie, std::size_t signal, const Grid& grid, std::size_t from,
                std::size_t to, double unit, Way way) const;
    double pull_with_made(std::size_t tie, std::size_t signal, const Grid& grid, std::size_t from,
                          std::size_t to, double unit, Way way) const;
    bool holds(std::size_t tie, std::size_t signal) const;
    std::size_t turned_to(std::size_t signal, std::size_t tie) const;
    bool stranger(std::size_t a, std::size_t b, std::span<const Broken> where) const;
    double lateness(std::size_t signal, std::size_t other, const std::vector<char>& inside) const;

    Gears gears_;
    std::ptrdiff_t engine_ = -1, road_ = -1;
    std::vector<char> able_;
    std::vector<char> slow_;
    std::vector<double> least_, most_; ///< ends of what its scaling can tell
    std::vector<double> step_, mean_, sd_, lowest_, highest_, floor_, shift_, log_mean_, log_sd_;
    std::vector<double> leap_;
    std::vector<std::vector<std::size_t>> made_; ///< of each signal by an ECU
    std::vector<const Drive*> drives_;
    std::vector<Grid> grids_; ///< of the bad runs
    std::vector<Tie> ties_;
    std::vector<std::vector<std::size_t>> of_; ///< ties by target, the sharpest first
    std::size_t run_ = 0;                      ///< turned to
    std::vector<View> views_;                  ///< of each tie over the run turned to
};

} // namespace telltale::run
