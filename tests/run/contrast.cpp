// SPDX-License-Identifier: Apache-2.0
// What `contrast` is to find and to leave alone, on drives that are made here: three signals that
// go together, one that goes its own way, and a temperature. How often it finds what in drives
// nearer to a vehicle's is measured by tests/bench/contrast_bench.cpp.
#include "telltale/run/contrast.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdint>
#include <functional>
#include <initializer_list>
#include <optional>
#include <span>
#include <string>
#include <utility>
#include <vector>

#include <doctest/doctest.h>

using namespace telltale;
using namespace telltale::run;

namespace {

constexpr double rate = 4;
constexpr double length = 400;

/// Numbers from 0 to 1 that are the same everywhere.
class Dice {
  public:
    explicit Dice(std::uint32_t seed) : state_(seed) {}
    double next() {
        state_ = state_ * 1664525U + 1013904223U;
        return static_cast<double>(state_ >> 8) / 16777216.0;
    }
    double scatter() { return next() + next() + next() + next() - 2; }

  private:
    std::uint32_t state_;
};

Series shell(std::uint16_t id, const char* name, Unit unit, double step) {
    Series series;
    series.ecu = "7E8";
    series.id = id;
    series.name = name;
    series.key = name;
    series.unit = unit;
    series.step = step;
    series.decimals = 3;
    series.values = Values(3);
    return series;
}

/// What its scaling can tell.
void give_ends(Series& series, double low, double high) {
    series.has_ends = true;
    series.low = low;
    series.high = high;
}

/// Value as it would be, time in seconds -> value as it is read.
using Fault = std::function<double(double, double)>;

/// What goes after a goal that is drawn anew now and then.
struct Course {
    double at = 0;
    double goal = 0;
    double often = 0; ///< part of the samples at which a goal is drawn
    double least = 0; ///< goal
    double more = 0;  ///< that it can be beyond it
    double pace = 0;  ///< part of the way that one sample goes

    void go(Dice& dice) {
        if (dice.next() < often)
            goal = least + more * dice.next();
        at += (goal - at) * pace;
    }
};

/// One sample of each signal: what they are at `t`, but for the fault in one of them. Each is asked
/// `apart` seconds after the one before it.
void sample(Run& run, std::span<const double> clean, double t, double apart, std::size_t which,
            const Fault& fault) {
    for (std::size_t k = 0; k < clean.size(); ++k) {
        const double value = k == which && fault ? fault(clean[k], t) : clean[k];
        const double step = run.series[k].step;
        run.series[k].add(
            static_cast<Time>((t + apart * static_cast<double>(k)) * nanoseconds_a_second),
            step * std::round(value / step));
    }
}

/// Fills a drive in: a sample of each signal, `rate` a second, of what `clean` makes of a time once
/// the courses have gone on.
template <class Clean>
Run along(Run run, Dice& dice, std::initializer_list<Course*> courses, Clean clean, double apart,
          std::size_t which, const Fault& fault) {
    run.name = "made here";
    for (int i = 0; i < static_cast<int>(length * rate); ++i) {
        const double t = i / rate;
        for (Course* course : courses)
            course->go(dice);
        sample(run, clean(t), t, apart, which, fault);
    }
    run.settle();
    return run;
}

enum Which : std::size_t { speed, pressure, flow, wanderer, warmth, signals };

/// A drive along a course that `seed` draws; `warm`: temperature at its start.
Run drive(std::uint32_t seed, double warm, Which which = signals, const Fault& fault = {}) {
    Dice dice(seed);
    Run run;
    // The temperature's PID is none whose name says that it comes from others.
    run.series = {
        shell(0xC0, "speed", Unit::rpm, 1), shell(0xC1, "pressure", Unit::kilopascal, 0.5),
        shell(0xC2, "flow", Unit::gram_second, 0.05), shell(0xC3, "wanderer", Unit::percent, 0.1),
        shell(0xC4, "warmth", Unit::celsius, 1)};
    Course turning{1500, 2000, 0.08, 900, 2500, 0.15};
    Course load{50, 50, 0.08, 25, 70, 0.2};
    Course own{40, 40, 0.1, 20, 40, 0.15};
    const auto clean = [&](double) {
        warm += (90 - warm) / (100 * rate);
        return std::array{turning.at + 4 * dice.scatter(), load.at + 0.4 * dice.scatter(),
                          turning.at * load.at / 4000 + 0.1 * dice.scatter(),
                          own.at + 0.2 * dice.scatter(), warm + 0.2 * dice.scatter()};
    };
    return along(std::move(run), dice, {&turning, &load, &own}, clean, 0.02, which, fault);
}

ContrastResult held(const Run& good, const Run& bad) {
    const Run* runs[] = {&bad};
    return contrast(good, runs);
}

/// The first suspect, which must be the one, or the test fails.
std::optional<Departure> first(const ContrastResult& result, Which which) {
    INFO("suspects: " << result.suspects.size());
    REQUIRE_FALSE(result.suspects.empty());
    CHECK(result.signals[result.suspects.front().signal].good_series ==
          static_cast<std::size_t>(which));
    return result.suspects.front();
}

bool between(double t, double from, double to) {
    return t >= from && t < to;
}

enum Tied : std::size_t { turns, filling, product, half_turns, double_filling, tied_signals };

/// A drive of five signals: two that go their own ways, what they make together, and what goes with
/// either.
Run tied(std::uint32_t seed, Tied which = tied_signals, const Fault& fault = {}) {
    Dice dice(seed);
    Run run;
    run.series = {shell(0xC0, "turns", Unit::rpm, 1), shell(0xC1, "filling", Unit::kilopascal, 0.1),
                  shell(0xC2, "product", Unit::gram_second, 0.01),
                  shell(0xC3, "half the turns", Unit::percent, 0.5),
                  shell(0xC4, "double the filling", Unit::percent, 0.2)};
    for (Series& series : run.series)
        give_ends(series, 0, 20000);
    Course a{1500, 2000, 0.08, 900, 2500, 0.15};
    Course b{50, 50, 0.08, 25, 70, 0.15};
    const auto clean = [&](double) {
        return std::array{a.at + dice.scatter(), b.at + 0.1 * dice.scatter(),
                          a.at * b.at / 4000 + 0.02 * dice.scatter(),
                          a.at / 2 + 0.5 * dice.scatter(), 2 * b.at + 0.2 * dice.scatter()};
    };
    return along(std::move(run), dice, {&a, &b}, clean, 0, which, fault);
}

} // namespace

TEST_CASE("what leaves its close ties to others by a little, for long, is found and told apart") {
    const Run good = tied(1);
    CHECK(held(good, tied(2)).suspects.empty());
    // One part in fifty, far below what it changes by anyway: a culprit in any place of a tie.
    for (const Tied which : {turns, filling, product, half_turns, double_filling}) {
        INFO("signal " << which);
        const ContrastResult result = held(good, tied(2, which, [](double value, double t) {
                                               return between(t, 200, 260) ? 1.02 * value : value;
                                           }));
        REQUIRE_FALSE(result.suspects.empty());
        const Departure& found = result.suspects.front();
        CHECK(result.signals[found.signal].good_series == static_cast<std::size_t>(which));
        CHECK(found.start_second == doctest::Approx(200).epsilon(0.05));
        CHECK(found.end_second == doctest::Approx(260).epsilon(0.03));
        CHECK(found.peak_difference > 0);
        // What it is tied to is told, and only that.
        const auto tells = [&](const char* name) {
            return found.others.find(name) != std::string::npos;
        };
        const bool by_turns = which == turns || which == half_turns;
        CHECK((tells("product") || tells(by_turns ? "turns" : "filling") || which == product));
        if (which == product)
            CHECK((tells("turns") && tells("filling")));
        CHECK(result.suspects.size() == 1);
    }
}

TEST_CASE("a signal that comes late is told from the one that it follows") {
    double slow = 0;
    const auto late = [&slow](double value, double t) {
        slow = between(t, 200, 300) ? slow + 0.25 * (value - slow) : value;
        return slow;
    };
    const ContrastResult result = held(tied(1), tied(2, half_turns, late));
    REQUIRE_FALSE(result.suspects.empty());
    CHECK(result.signals[result.suspects.front().signal].good_series ==
          static_cast<std::size_t>(half_turns));
    const Departure& found = result.suspects.front();
    CHECK(found.kind == DepartureKind::lag);
    INFO(found.sentence);
    CHECK(found.late_by == doctest::Approx(0.75).epsilon(0.15));
    CHECK(found.sentence.find(" s later than it did") != std::string::npos);
}

TEST_CASE("a sample off all its neighbours is found, and a told signal that stands still") {
    const Run good = drive(1, 88);
    const auto spike = first(held(good, drive(2, 88, pressure,
                                              [](double value, double t) {
                                                  return value + (between(t, 262, 262.2) ? 25 : 0);
                                              })),
                             pressure);
    CHECK(spike->start_second == doctest::Approx(262).epsilon(0.001));
    CHECK(spike->end_second - spike->start_second < 1);
    double stood = 0;
    const auto stuck = first(held(good, drive(2, 88, speed,
                                              [&stood](double value, double t) {
                                                  stood = between(t, 150, 200) ? stood : value;
                                                  return stood;
                                              })),
                             speed);
    CHECK(stuck->kind == DepartureKind::stuck);
}

TEST_CASE("two drives without a fault hold no suspect, warm, warming up or warmer by a little") {
    const Run good = drive(1, 88);
    for (const std::uint32_t seed : {2U, 3U, 4U, 5U})
        for (const double warm : {20.0, 80.0, 95.0}) {
            INFO("drive " << seed << " from " << warm);
            CHECK(held(good, drive(seed, warm)).suspects.empty());
        }
}

TEST_CASE("a scaling error that lasts to the end of the drive does not become what is normal") {
    const auto found =
        first(held(drive(1, 88),
                   drive(2, 88, flow,
                         [](double value, double t) { return t < 120 ? value : 0.8 * value; })),
              flow);
    CHECK(found->start_second == doctest::Approx(120).epsilon(0.15));
    CHECK(found->peak_difference < 0);
}

TEST_CASE("what a whole drive is off by is told from what comes and goes") {
    const Run good = drive(1, 88);
    const auto off = [&](double by, double from) {
        return held(good, drive(2, 88, pressure, [&](double value, double t) {
                        return t < from ? value : value + by;
                    }));
    };
    const double whole = off(10, 0).signals[pressure].score;
    const double part = off(10, 150).signals[pressure].score;
    CHECK(part >= 1);
    CHECK(part > 2 * whole);
}

TEST_CASE("a signal that nothing tells is found standing still, and not where it rests") {
    const Run good = drive(1, 88);
    double held_at = 0;
    const auto stuck = first(held(good, drive(2, 88, wanderer,
                                              [&](double value, double t) {
                                                  if (!between(t, 200, 260)) {
                                                      held_at = value;
                                                      return value;
                                                  }
                                                  return held_at;
                                              })),
                             wanderer);
    CHECK(stuck->kind == DepartureKind::stuck);
    CHECK(stuck->start_second == doctest::Approx(200).epsilon(0.02));
    CHECK(stuck->end_second == doctest::Approx(260).epsilon(0.02));
    // At its lowest, where the good drive has it too.
    const auto at_rest = [](double value, double t) {
        return between(t, 200, 260) ? 25.0 : std::max(25.0, value);
    };
    const auto rests = [](double value, double) { return std::max(25.0, value); };
    CHECK(held(drive(1, 88, wanderer, rests), drive(2, 88, wanderer, at_rest)).suspects.empty());
}

TEST_CASE("a slow signal that changes as it never did is found; its warm-up is none") {
    const Run good = drive(1, 88);
    const auto dropped =
        first(held(good, drive(2, 88, warmth,
                               [](double value, double t) {
                                   return value - std::clamp((t - 200) / 4, 0.0, 25.0);
                               })),
              warmth);
    CHECK(dropped->start_second > 180);
    CHECK(dropped->peak_difference < 0);
    CHECK(held(good, drive(2, 10, signals)).suspects.empty());
    // Nor does it leap, however cold it is.
    const auto leapt = first(held(good, drive(2, 10, warmth,
                                              [](double value, double t) {
                                                  return value - (between(t, 60, 100) ? 13 : 0);
                                              })),
                             warmth);
    CHECK(leapt->start_second == doctest::Approx(60).epsilon(0.02));
}

TEST_CASE("a signal that is told loosely is held to its own course as well") {
    // What the others leave open here is far more than the signal ever leaps by.
    const auto swelling = [](double extra) {
        return [extra](double value, double t) {
            return value + 12 * std::sin(t / 9) + (between(t, 250, 250.2) ? extra : 0);
        };
    };
    const Run good = drive(1, 88, pressure, swelling(0));
    CHECK(held(good, drive(2, 88, pressure, swelling(0))).suspects.empty());
    const auto leap = first(held(good, drive(2, 88, pressure, swelling(60))), pressure);
    CHECK(leap->start_second == doctest::Approx(250).epsilon(0.01));
}

TEST_CASE("a value at an end of its scaling for a moment is found, however the signal leaps") {
    const auto leaping = [](std::uint32_t seed, bool open) {
        Run run = drive(seed, 88, wanderer, [open](double value, double t) {
            if (open && between(t, 250, 251.1))
                return 0.0;
            return value + (std::fmod(t, 7) < 3 ? 30 : 0);
        });
        give_ends(run.series[wanderer], 0, 100);
        return run;
    };
    const Run good = leaping(1, false);
    CHECK(held(good, leaping(2, false)).suspects.empty());
    const auto open = first(held(good, leaping(2, true)), wanderer);
    CHECK(open->kind == DepartureKind::end_of_range);
    CHECK(open->peak_value == 0);
    CHECK(open->peak_difference < -20);
    CHECK(open->start_second == doctest::Approx(250).epsilon(0.01));
}

TEST_CASE("a signal that never moved and leaves its level for good is found") {
    const auto still = [](double by) {
        return [by](double, double t) { return t < 150 ? 40 : 40 + by; };
    };
    const Run good = drive(1, 88, wanderer, still(0));
    CHECK(held(good, drive(2, 88, wanderer, still(0))).suspects.empty());
    const auto left = first(held(good, drive(2, 88, wanderer, still(-20))), wanderer);
    CHECK(left->kind == DepartureKind::offset);
    CHECK(left->start_second == doctest::Approx(150).epsilon(0.01));
    // Another level from the beginning is another day.
    const auto other_day = [](double, double) { return 44.0; };
    CHECK(held(good, drive(2, 88, wanderer, other_day)).suspects.empty());
}

TEST_CASE(
    "a signal that never moved and leaps to another level for long is found; a slope is none") {
    const auto level = [](double pace) {
        return [pace](double, double t) {
            return 40 + std::clamp(pace * std::min(t - 150, 270 - t), 0.0, 8.0);
        };
    };
    const Run good = drive(1, 88, wanderer, level(0));
    const auto high = first(held(good, drive(2, 88, wanderer, level(100))), wanderer);
    CHECK(high->kind == DepartureKind::offset);
    CHECK(high->peak_difference == doctest::Approx(8).epsilon(0.01));
    CHECK(high->start_second == doctest::Approx(150).epsilon(0.01));
    CHECK(high->end_second == doctest::Approx(270).epsilon(0.01));
    CHECK(held(good, drive(2, 88, wanderer, level(0.2))).suspects.empty());
}

TEST_CASE("what a tank holds is another day's; a sender that drops out is none") {
    // It sways with what is told by others, as if they told what is in it.
    const auto tank = [](std::uint32_t seed, double full, double drop) {
        Run run = drive(seed, 88, pressure, [full, drop](double value, double t) {
            const double level = full - t / 100 + (value - 60) / 4;
            return between(t, 250, 250.6) ? level - drop : level;
        });
        run.series[pressure].id = 0x2F;
        run.series[pressure].step = 100 / 255.0;
        give_ends(run.series[pressure], 0, 100);
        return run;
    };
    const Run good = tank(1, 80, 0);
    CHECK(held(good, tank(2, 80, 0)).suspects.empty());
    const ContrastResult other_day = held(good, tank(2, 45, 0));
    CHECK(other_day.suspects.empty());
    CHECK(other_day.signals[pressure].told_by.empty());
    for (const ContrastSignal& signal : other_day.signals)
        CHECK(std::find(signal.told_by.begin(), signal.told_by.end(), "pressure") ==
              signal.told_by.end());
    const auto dropped = first(held(good, tank(2, 45, 35)), pressure);
    CHECK(dropped->start_second == doctest::Approx(250).epsilon(0.01));
    CHECK(dropped->end_second - dropped->start_second < 1);
}

TEST_CASE("an oxygen sensor goes where it went; where it never was it has dropped out") {
    const auto lambda = [](std::uint32_t seed, double cut, double to) {
        Run run = drive(seed, 88, wanderer, [cut, to](double value, double t) {
            // The fuel is cut for long, and once, in the second drive only, for a moment.
            const bool off = between(t, 100, 106) || between(t, 300, 307);
            return off ? 2.0 : between(t, 250, 250 + cut) ? to : 1 + (value - 40) / 4000;
        });
        run.series[wanderer].id = 0x24;
        run.series[wanderer].step = 2 / 65536.0;
        give_ends(run.series[wanderer], 0, 2);
        return run;
    };
    const Run good = lambda(1, 0, 0);
    CHECK(held(good, lambda(2, 0.6, 2)).suspects.empty());
    const auto drop = first(held(good, lambda(2, 0.6, 0.5)), wanderer);
    CHECK(drop->start_second == doctest::Approx(250).epsilon(0.01));
}

TEST_CASE("an oxygen sensor that reads nothing at all is found where it never was near nothing") {
    // To and fro between lean and rich, and 0.06 V while the fuel is cut.
    const auto probe = [](std::uint32_t seed, double lean, double cut) {
        Run run = drive(seed, 88, wanderer, [=, dice = Dice(seed)](double, double t) mutable {
            const double swing = 0.45 + 0.35 * std::sin(2.2 * t) + 0.02 * dice.scatter();
            return between(t, 250, 250 + cut) ? 0.0 : between(t, 100, 106) ? lean : swing;
        });
        run.series[wanderer].id = 0x14;
        run.series[wanderer].unit = Unit::volt;
        run.series[wanderer].step = 0.005;
        give_ends(run.series[wanderer], 0, 1.275);
        return run;
    };
    const Run good = probe(1, 0.06, 0);
    CHECK(held(good, probe(2, 0.06, 0)).suspects.empty());
    const auto open = first(held(good, probe(2, 0.06, 1)), wanderer);
    CHECK(open->kind == DepartureKind::end_of_range);
    CHECK(open->start_second == doctest::Approx(250).epsilon(0.01));
    // Nothing is what this one reads when it is lean.
    CHECK(held(probe(1, 0, 0), probe(2, 0, 1)).suspects.empty());
}

TEST_CASE("leaps that come back at once are departures of their own, however far apart") {
    const auto moments = [](double value, double t) {
        return value + (between(t, 100, 100.6) ? 30 : between(t, 300, 300.6) ? -30 : 0);
    };
    const auto leapt = first(held(drive(1, 88), drive(2, 88, wanderer, moments)), wanderer);
    REQUIRE(leapt->episodes.size() == 2);
    for (const Episode& episode : leapt->episodes) {
        CHECK(episode.end - episode.start < 2 * nanoseconds_a_second);
        CHECK(std::abs(episode.peak_difference) == doctest::Approx(30).epsilon(0.2));
    }
}

TEST_CASE("of a pressure and an air flow that the load comes of, either may be wrong") {
    enum Engine : std::size_t { crank, manifold, meter, load, engine_signals };
    const auto engine = [](std::uint32_t seed, double part) {
        Dice dice(seed);
        Run run;
        run.series = {
            shell(0x0C, "turns", Unit::rpm, 1), shell(0x0B, "filling", Unit::kilopascal, 0.1),
            shell(0x10, "flow", Unit::gram_second, 0.01), shell(0x04, "load", Unit::percent, 0.1)};
        Course a{1500, 2000, 0.08, 900, 2500, 0.15};
        Course b{50, 50, 0.08, 25, 70, 0.15};
        const auto clean = [&](double t) {
            const double air = a.at * b.at / 4000 * (between(t, 200, 260) ? part : 1);
            return std::array{a.at + dice.scatter(), b.at + 0.1 * dice.scatter(),
                              air + 0.02 * dice.scatter(), 3600 * air / a.at};
        };
        return along(std::move(run), dice, {&a, &b}, clean, 0, engine_signals, {});
    };
    const Run good = engine(1, 1);
    CHECK(held(good, engine(2, 1)).suspects.empty());
    // The load follows, so that pressure alone stands against both.
    const ContrastResult result = held(good, engine(2, 0.9));
    REQUIRE_FALSE(result.suspects.empty());
    const Departure& found = result.suspects.front();
    INFO(result.signals[found.signal].name << ": " << found.others);
    CHECK((result.signals[found.signal].good_series == meter ||
           found.others.find("flow is wrong") != std::string::npos));
    for (const Departure& one : result.suspects)
        CHECK(result.signals[one.signal].good_series != load);
}

TEST_CASE(
    "what a pedal's sensor reads below where the pedal rests is found, and a foot on it none") {
    const auto pedal = [](std::uint32_t seed, double low, double by) {
        Run run = drive(seed, 88, wanderer, [low, by](double value, double t) {
            const bool foot = std::fmod(t, 40) < 30;
            return (foot ? value : 15 + low) - (!foot && between(t, 200, 280) ? by : 0);
        });
        run.series[wanderer].id = 0x49;
        run.series[wanderer].step = 100 / 255.0;
        give_ends(run.series[wanderer], 0, 100);
        return run;
    };
    const Run good = pedal(1, 0, 0);
    CHECK(held(good, pedal(2, 0, 0)).suspects.empty());
    CHECK(held(good, pedal(2, 0, 0.4)).suspects.empty());
    const auto below = first(held(good, pedal(2, 0, 4)), wanderer);
    CHECK(below->start_second >= 200);
    CHECK(below->end_second <= 280);
    CHECK(below->peak_difference < 0);
}

TEST_CASE("what both tracks of a throttle show happened to it") {
    enum Throttle : std::size_t { first_track, second_track, turning, none };
    const auto throttle = [](std::uint32_t seed, double both, double one) {
        Dice dice(seed);
        Run run;
        run.series = {shell(0x11, "first track", Unit::percent, 0.1),
                      shell(0x47, "second track", Unit::percent, 0.1),
                      shell(0xC3, "turns", Unit::rpm, 1)};
        Course angle{30, 30, 0.08, 15, 20, 0.1};
        Course turns{1500, 2000, 0.08, 900, 2500, 0.15};
        const auto clean = [&](double t) {
            const bool now = between(t, 250, 250.6);
            const double at = angle.at + (now ? both : 0);
            return std::array{at + (now ? one : 0) + 0.1 * dice.scatter(),
                              at + 0.1 * dice.scatter(), turns.at + 4 * dice.scatter()};
        };
        return along(std::move(run), dice, {&angle, &turns}, clean, 0.02, none, {});
    };
    const Run good = throttle(1, 0, 0);
    CHECK(held(good, throttle(2, 12, 0)).suspects.empty());
    const ContrastResult result = held(good, throttle(2, 0, 12));
    REQUIRE_FALSE(result.suspects.empty());
    CHECK(result.signals[result.suspects.front().signal].good_series == first_track);
}

TEST_CASE("what an ECU makes of a wrong value does not vouch for it") {
    // Two tracks of a throttle, and what the ECU makes of the first: its travel from rest.
    enum Throttle : std::size_t { first_track, second_track, travel, none };
    const auto throttle = [](std::uint32_t seed, bool late) {
        Dice dice(seed);
        Run run;
        run.series = {shell(0x11, "first track", Unit::percent, 0.1),
                      shell(0x47, "second track", Unit::percent, 0.1),
                      shell(0x45, "travel", Unit::percent, 0.1),
                      shell(0xC3, "turns", Unit::rpm, 1)};
        Course angle{30, 30, 0.08, 15, 60, 0.3};
        Course turning{1500, 2000, 0.08, 900, 2500, 0.15};
        double slow = 30;
        const auto clean = [&](double t) {
            slow += (late && between(t, 200, 300) ? 0.15 : 1) * (angle.at - slow);
            const double read = slow + 0.1 * dice.scatter();
            return std::array{read, angle.at + 0.1 * dice.scatter(), read - 15,
                              turning.at + 4 * dice.scatter()};
        };
        return along(std::move(run), dice, {&angle, &turning}, clean, 0, none, {});
    };
    const Run good = throttle(1, false);
    CHECK(held(good, throttle(2, false)).suspects.empty());
    const ContrastResult result = held(good, throttle(2, true));
    REQUIRE(result.suspects.size() == 1);
    CHECK(result.signals[result.suspects.front().signal].good_series == first_track);
}

TEST_CASE("a leap that stands apart from all others is found; the greatest of many sizes is none") {
    const Run good = drive(1, 88);
    const auto leaping = [](std::initializer_list<double> levels) {
        return [levels = std::vector<double>(levels)](double value, double t) {
            constexpr double apart = 50;
            const auto place = static_cast<std::size_t>(t / apart);
            return value + levels[std::min(place, levels.size() - 1)];
        };
    };
    const auto alone =
        first(held(good, drive(2, 88, wanderer, leaping({0, 0, 0, 0, 0, 18}))), wanderer);
    CHECK(alone->start_second == doctest::Approx(250).epsilon(0.01));
    CHECK(alone->peak_difference > 10);
    // 8, 10, 12, 15 and 18 one after the other.
    CHECK(held(good, drive(2, 88, wanderer, leaping({0, 8, -2, 10, -5, 13}))).suspects.empty());
}

TEST_CASE(
    "a fuel trim at an end of its scaling for a moment is found; set back to nothing it is none") {
    const auto trimmed = [](std::uint32_t seed, double to, double until = 251.1) {
        Run run = drive(seed, 88, wanderer, [to, until](double value, double t) {
            return between(t, 250, until) ? to : (value - 40) / 5;
        });
        run.series[wanderer].id = 0x06;
        give_ends(run.series[wanderer], -100, 99.2);
        return run;
    };
    const Run good = trimmed(1, 0);
    CHECK(held(good, trimmed(2, 0)).suspects.empty());
    const auto open = first(held(good, trimmed(2, -100)), wanderer);
    CHECK(open->kind == DepartureKind::end_of_range);
    CHECK(open->peak_value == -100);
    // Nor does it go to and fro within half a second, as far as it never did.
    const auto dropped = first(held(good, trimmed(2, 35, 250.6)), wanderer);
    CHECK(dropped->start_second == doctest::Approx(250).epsilon(0.01));
}

TEST_CASE("a command is found at an end where it leapt as never before; sent there it is none") {
    // A purge valve: off, and at times between 10 and 20.
    const auto purging = [](std::uint32_t seed, double pace) {
        double sent = 0;
        Run run = drive(seed, 88, wanderer, [pace, sent](double value, double t) mutable {
            sent = std::clamp(sent + (between(t, 250, 262) ? pace : -pace), 0.0, 100.0);
            return std::max(sent, std::fmod(t, 40) < 20 ? value / 4 : 0.0);
        });
        run.series[wanderer].id = 0x2E;
        give_ends(run.series[wanderer], 0, 100);
        return run;
    };
    const Run good = purging(1, 0);
    CHECK(held(good, purging(2, 0)).suspects.empty());
    CHECK(held(good, purging(2, 5)).suspects.empty());
    const auto open = first(held(good, purging(2, 100)), wanderer);
    CHECK(open->kind == DepartureKind::end_of_range);
    CHECK(open->peak_value == 100);
    CHECK(open->start_second == doctest::Approx(250).epsilon(0.01));
    CHECK(open->end_second == doctest::Approx(262).epsilon(0.01));
}

TEST_CASE(
    "recirculation that misses its command for long is found; for moments, or off, it is none") {
    const auto missing = [](std::uint32_t seed, const Fault& by) {
        Run run = drive(seed, 88, wanderer, [by](double value, double t) {
            return (value - 50) / 200 + (by ? by(value, t) : 0.0);
        });
        run.series[wanderer].id = 0x2D;
        run.series[wanderer].step = 100 / 128.0;
        give_ends(run.series[wanderer], -100, 99.2);
        return run;
    };
    const Run good = missing(1, {});
    CHECK(held(good, missing(2, {})).suspects.empty());
    const auto momentary = [](double, double t) { return std::fmod(t, 70) < 1 ? 60.0 : 0.0; };
    CHECK(held(good, missing(2, momentary)).suspects.empty());
    const auto nothing_commanded = [](double, double t) { return t < 150 ? 0.0 : 99.2; };
    CHECK(held(good, missing(2, nothing_commanded)).suspects.empty());
    const auto for_long = [](double, double t) { return between(t, 150, 260) ? 25.0 : 0.0; };
    const auto off = first(held(good, missing(2, for_long)), wanderer);
    CHECK(off->start_second == doctest::Approx(150).epsilon(0.1));
}

TEST_CASE("what goes to and fro only a few times is told by what goes with it") {
    // One slow course, and four signals that follow it each in its own way.
    const auto slow = [](std::uint32_t seed, double drift) {
        Dice dice(seed);
        Run run;
        run.series = {
            shell(0xC0, "one", Unit::percent, 0.2), shell(0xC1, "two", Unit::kilopascal, 0.1),
            shell(0xC2, "three", Unit::volt, 0.01), shell(0xC3, "four", Unit::percent, 0.2)};
        Course course{50, 20, 1.0 / (70 * rate), 10, 80, 0.02};
        const auto clean = [&](double) {
            return std::array{course.at + 0.3 * dice.scatter(),
                              100 + course.at * course.at / 100 + 0.3 * dice.scatter(),
                              5 - course.at / 30 + 0.02 * dice.scatter(),
                              20 + course.at / 2 + 0.3 * dice.scatter()};
        };
        return along(std::move(run), dice, {&course}, clean, 0.02, 3,
                     [drift](double value, double t) {
                         return value + drift * std::max(0.0, t - 150) / 250;
                     });
    };
    const Run good = slow(3, 0);
    CHECK(held(good, slow(4, 0)).suspects.empty());
    const ContrastResult found = held(good, slow(4, 6));
    REQUIRE_FALSE(found.suspects.empty());
    CHECK(found.suspects.front().signal == 3);
    CHECK(found.signals[3].standing == Standing::compared);
}

TEST_CASE("a warm-up does not teach for how long a signal rests once it got there") {
    // Oil: from one temperature to another in 300 s, where `held_at` does not hold it meanwhile.
    const auto oil = [](std::uint32_t seed, double from, double to, double held_at) {
        Run run = drive(seed, 88, wanderer, [=](double, double t) {
            const double there = from + (to - from) * std::min(1.0, t / 300);
            return held_at > 0 && between(t, 120, 200) ? held_at : there;
        });
        run.series[wanderer].id = 0x5C;
        return run;
    };
    const Run good = oil(1, 20, 90, 0);
    CHECK(held(good, oil(2, 92, 92, 0)).suspects.empty());
    const auto stuck = first(held(good, oil(2, 30, 93, 55)), wanderer);
    CHECK(stuck->start_second == doctest::Approx(120).epsilon(0.02));
}

TEST_CASE("a cold engine is not governed as a warm one: what rests meanwhile is no fault") {
    const auto made = [](std::uint32_t seed, std::uint16_t id, double warm, double from,
                         double to) {
        Run run = drive(seed, warm, wanderer, [=](double value, double t) {
            return between(t, from, to) ? 51.3 : value;
        });
        run.series[wanderer].id = id;
        return run;
    };
    constexpr std::uint16_t mixture = 0x24; // which the ECU governs
    constexpr std::uint16_t other = 0xC3;
    // The good drive was warm all the time; the other one is as warm after some 120 s.
    const ContrastResult cold = held(made(1, mixture, 66, 0, 0), made(2, mixture, 15, 10, 80));
    CHECK(cold.suspects.empty());
    CHECK(cold.notes.back().find("the engine was colder") != std::string::npos);
    first(held(made(1, other, 66, 0, 0), made(2, other, 15, 10, 80)), wanderer);
    const auto stuck =
        first(held(made(1, mixture, 66, 0, 0), made(2, mixture, 15, 210, 280)), wanderer);
    CHECK(stuck->start_second == doctest::Approx(210).epsilon(0.02));
    // A warm engine whose sensor reads cold for a while is no cold engine.
    Run misread = made(2, mixture, 86, 180, 250);
    Series& reads = misread.series[warmth];
    Values values(3);
    for (std::size_t i = 0; i < reads.size(); ++i)
        values.push_back(
            between(static_cast<double>(reads.times[i]) * 1e-9, 170, 260) ? -40 : reads.values[i]);
    reads.values = values;
    const ContrastResult also = held(made(1, mixture, 66, 0, 0), misread);
    CHECK(std::any_of(also.suspects.begin(), also.suspects.end(), [&](const Departure& one) {
        return also.signals[one.signal].good_series == static_cast<std::size_t>(wanderer);
    }));
    CHECK(also.notes.back().find("the engine was colder") == std::string::npos);
    // Where the good drive was as cold, it shows how it is then.
    const ContrastResult both = held(made(1, mixture, 12, 0, 0), made(2, mixture, 15, 10, 80));
    first(both, wanderer);
    CHECK(both.notes.back().find("the engine was colder") == std::string::npos);
}

TEST_CASE("what several sensors do at once is how it was driven") {
    // For half a second: `all` of them, or the flow alone, go elsewhere.
    const auto made = [](std::uint32_t seed, double all, double alone) {
        Dice dice(seed);
        Run run;
        run.series = {shell(0xC0, "speed", Unit::rpm, 1),
                      shell(0xC1, "pressure", Unit::kilopascal, 0.5),
                      shell(0xC2, "flow", Unit::gram_second, 0.05),
                      shell(0xC3, "throttle", Unit::percent, 0.1)};
        Course turning{1500, 2000, 0.02, 900, 2500, 0.05};
        Course load{50, 50, 0.02, 25, 70, 0.05};
        const auto clean = [&](double t) {
            const double dart = between(t, 200, 200.5) ? 1 : 0;
            const double pressure = load.at + 25 * all * dart;
            return std::array{turning.at + 4 * dice.scatter(), pressure + 0.4 * dice.scatter(),
                              turning.at * pressure / 4000 + (8 * all + alone) * dart +
                                  0.1 * dice.scatter(),
                              pressure / 2 + 0.2 * dice.scatter()};
        };
        return along(std::move(run), dice, {&turning, &load}, clean, 0.02, 4, {});
    };
    const Run good = made(1, 0, 0);
    CHECK(held(good, made(2, 1, 0)).suspects.empty());
    const auto dropped = first(held(good, made(2, 0, 25)), flow);
    CHECK(dropped->start_second == doctest::Approx(200).epsilon(0.01));
}

TEST_CASE("what the ECU works out may go to where it rests and back") {
    // Load, which a cut of the fuel sends to nought while the pedal is let go; `wavers`: to and
    // fro.
    const auto cut = [](std::uint32_t seed, bool wavers) {
        Dice dice(seed);
        Run run;
        run.series = {shell(0xC0, "speed", Unit::rpm, 1), shell(0x04, "load", Unit::percent, 0.4),
                      shell(0xC2, "pedal", Unit::percent, 0.4)};
        Course turning{1500, 2000, 0.08, 900, 2500, 0.15};
        Course own{50, 50, 0.08, 25, 70, 0.2};
        int turn = 0;
        const auto clean = [&](double t) {
            const bool off = std::fmod(t, 20) < 4;
            const bool back = wavers && between(t, 220, 224) && ++turn % 4 == 0;
            return std::array{turning.at + 4 * dice.scatter(),
                              off ? (back ? 12 : 0) : own.at + 0.2 * dice.scatter(),
                              off ? 0 : own.at + 0.2 * dice.scatter()};
        };
        return along(std::move(run), dice, {&turning, &own}, clean, 0.02, 3, {});
    };
    CHECK(held(cut(1, false), cut(2, true)).suspects.empty());
}

TEST_CASE("a burst of noise is found, told by others or not; commands may leap to and fro") {
    const auto burst = [](double size) {
        return [size, dice = Dice(77)](double value, double t) mutable {
            return value + (between(t, 200, 230) ? size * dice.scatter() : 0);
        };
    };
    const Run good = drive(1, 88);
    const auto told = first(held(good, drive(2, 88, pressure, burst(6))), pressure);
    CHECK(told->start_second == doctest::Approx(200).epsilon(0.05));
    CHECK(told->end_second == doctest::Approx(230).epsilon(0.05));
    // A trim, whose leaps are no evidence, and a command that does the same.
    const auto as = [](std::uint16_t id, Run run) {
        run.series[wanderer].id = id;
        return run;
    };
    const auto trim =
        first(held(as(0x07, good), as(0x07, drive(2, 88, wanderer, burst(30)))), wanderer);
    CHECK(trim->kind == DepartureKind::noise);
    CHECK(trim->start_second == doctest::Approx(200).epsilon(0.05));
    CHECK(held(as(0x2C, good), as(0x2C, drive(2, 88, wanderer, burst(30)))).suspects.empty());
}

TEST_CASE(
    "strange moments close together are found; as many all over the drive are how it is driven") {
    const auto moments = [](double from, double to, int apart) {
        return [=, turn = 0](double value, double t) mutable {
            const bool now = between(t, from, to) && ++turn % apart == 0;
            return value + (!now ? 0 : turn / apart % 2 == 0 ? 13 : -13);
        };
    };
    const Run good = drive(1, 88);
    const auto burst = first(held(good, drive(2, 88, wanderer, moments(200, 220, 8))), wanderer);
    CHECK(burst->score < 3); // which would be enough anywhere
    CHECK(burst->episode_count >= 6);
    CHECK(burst->start_second >= 199);
    CHECK(burst->end_second <= 221);
    CHECK(held(good, drive(2, 88, wanderer, moments(60, 400, 60))).suspects.empty());
    // Of a temperature it is not.
    const auto few_degrees = [all = moments(60, 400, 160)](double value, double t) mutable {
        return value + 0.4 * (all(value, t) - value);
    };
    const auto often = first(held(good, drive(2, 88, warmth, few_degrees)), warmth);
    CHECK(often->episode_count >= 6);
}

TEST_CASE("a short drop is found by the signal's own course where the others tell it badly") {
    constexpr auto half_told = static_cast<Which>(2);
    const auto drive_of = [](std::uint32_t seed, const Fault& fault) {
        Dice dice(seed);
        Run run;
        run.series = {shell(0xC0, "speed", Unit::rpm, 1), shell(0xC1, "load", Unit::percent, 0.4),
                      shell(0xC2, "half told", Unit::kilopascal, 0.1)};
        Course turning{1500, 2000, 0.08, 900, 2500, 0.04};
        Course load{50, 50, 0.08, 25, 70, 0.2};
        Course unseen{50, 50, 0.05, 40, 20, 0.04};
        const auto clean = [&](double) {
            return std::array{turning.at + 4 * dice.scatter(), load.at + 0.4 * dice.scatter(),
                              turning.at / 60 + unseen.at + 0.3 * dice.scatter()};
        };
        return along(std::move(run), dice, {&turning, &load, &unseen}, clean, 0.02, 2, fault);
    };
    const auto drop = [](double by) {
        return [by](double value, double t) { return value - (between(t, 250, 250.4) ? by : 0); };
    };
    const Run good = drive_of(1, {});
    CHECK(held(good, drive_of(2, {})).suspects.empty());
    CHECK(held(good, drive_of(2, drop(1))).suspects.empty());
    const auto found = first(held(good, drive_of(2, drop(3.75))), half_told);
    CHECK(found->kind == DepartureKind::drop_out);
    CHECK(found->start_second == doctest::Approx(250).epsilon(0.01));
    // Beside its own neighbours, since the others point to anywhere.
    CHECK(found->peak_difference == doctest::Approx(-3.75).epsilon(0.2));
    CHECK(found->sentence.find("where its own course leads to") != std::string::npos);
}

TEST_CASE("two fields of one oxygen sensor do not vouch for each other") {
    const auto lambda = [](std::uint32_t seed, double off) {
        Dice dice(seed);
        Run run;
        run.series = {shell(0xC0, "speed", Unit::rpm, 1),
                      shell(0xC1, "pressure", Unit::kilopascal, 0.5),
                      shell(0x34, "ratio", Unit::none, 0.0005),
                      shell(0x34, "current", Unit::milliampere, 0.004)};
        run.series.back().index = 1;
        Course turning{1500, 2000, 0.08, 900, 2500, 0.15};
        Course load{50, 50, 0.08, 25, 70, 0.2};
        const auto clean = [&](double t) {
            const double ratio = 1 + (load.at - 60) / 400 + 0.001 * dice.scatter() +
                                 (between(t, 200, 240) ? off : 0);
            return std::array{turning.at + 4 * dice.scatter(), load.at + 0.4 * dice.scatter(),
                              ratio, 2.6 * (ratio - 1)};
        };
        return along(std::move(run), dice, {&turning, &load}, clean, 0.02, 4, {});
    };
    const Run good = lambda(1, 0);
    CHECK(held(good, lambda(2, 0)).suspects.empty());
    const ContrastResult result = held(good, lambda(2, 0.08));
    REQUIRE_FALSE(result.suspects.empty());
    CHECK(result.signals[result.suspects.front().signal].id == 0x34);
    CHECK(result.suspects.front().start_second == doctest::Approx(200).epsilon(0.05));
}

TEST_CASE("the same drive twice: each signal is held against itself at the same time") {
    const Run good = drive(1, 88);
    const auto again = [](double off) {
        return drive(1, 88, wanderer, [off](double value, double t) {
            return value + (between(t, 250, 262) ? off : 0.0);
        });
    };
    const ContrastResult none = held(good, again(0));
    CHECK(none.suspects.empty());
    CHECK(none.notes.back().find("second by second") != std::string::npos);
    // Nothing else tells the wanderer, and it moves further than that by itself.
    const auto off = first(held(good, again(6)), wanderer);
    CHECK(off->start_second == doctest::Approx(250).epsilon(0.01));
    CHECK(off->end_second == doctest::Approx(262).epsilon(0.01));
    CHECK(off->peak_difference == doctest::Approx(6).epsilon(0.5));
    CHECK(off->sentence.find("where the good drive had") != std::string::npos);
    // Another drive along the same road is not the same drive.
    for (const std::string& note : held(good, drive(2, 88)).notes)
        CHECK(note.find("second by second") == std::string::npos);
}

TEST_CASE("what lasts beside values that the good drive seldom had says little") {
    // High up, where only the second drive is for long, one of three goes otherwise than below.
    const auto made = [](std::uint32_t seed, double from, double to, double bend, double off) {
        Dice dice(seed);
        Run run;
        for (const std::uint16_t id : std::initializer_list<std::uint16_t>{0xC0, 0xC1, 0xC2, 0xC3})
            run.series.push_back(shell(id, "one", Unit::rpm, 1));
        Course low{1500, 2000, 0.08, 900, 2300, 0.15};
        Course high{3000, 3000, 0.08, 2900, 400, 0.15};
        Course own{40, 40, 0.1, 20, 40, 0.15};
        const auto clean = [&](double t) {
            const double a = between(t, from, to) ? high.at : low.at;
            const double c = a + bend * std::max(0.0, a - 2950) + (between(t, 50, 90) ? off : 0);
            return std::array{a + 2 * dice.scatter(), a / 2 + 2 * dice.scatter(),
                              c / 3 + 2 * dice.scatter(), own.at + dice.scatter()};
        };
        return along(std::move(run), dice, {&low, &high, &own}, clean, 0, 4, {});
    };
    const Run good = made(1, 0, 0, 0, 0);
    CHECK(held(good, made(2, 150, 300, 2.35, 0)).suspects.empty());
    const ContrastResult result = held(good, made(2, 150, 300, 2.35, 90));
    REQUIRE_FALSE(result.suspects.empty());
    CHECK(result.suspects.front().start_second < 90);
}

TEST_CASE("engine and road speed are held to the gears, which nobody reports") {
    enum Part : std::size_t { engine, road, none };
    // `last`: the highest gear used, from 0.
    const auto made = [](std::uint32_t seed, std::size_t last, bool stepless, Part which,
                         const Fault& fault) {
        Dice dice(seed);
        Run run;
        run.series = {shell(0x0C, "engine", Unit::rpm, 0.25),
                      shell(0x0D, "road", Unit::kilometre_hour, 1),
                      shell(0xC3, "wanderer", Unit::percent, 0.1)};
        for (Series& series : run.series)
            give_ends(series, 0, 20000);
        constexpr std::array<double, 5> gears{110, 66, 44, 33, 26}; // rpm at 1 km/h
        Course driving{40, 40, 0.03, 15, 90, 0.03};
        Course own{40, 40, 0.1, 20, 40, 0.15};
        Course slip{50, 50, 0.05, 25, 80, 0.1};
        std::size_t gear = 1;
        double turning = 2000;
        const auto clean = [&](double) {
            const double v = driving.at;
            if (v * gears[gear] > 2800 && gear < last)
                ++gear;
            else if (v * gears[gear] < 1300 && gear > 0)
                --gear;
            turning += 0.6 * (v * (stepless ? slip.at : gears[gear]) - turning);
            return std::array{turning + 3 * dice.scatter(), v + 0.1 * dice.scatter(),
                              own.at + 0.2 * dice.scatter()};
        };
        return along(std::move(run), dice, {&driving, &own, &slip}, clean, 0, which, fault);
    };
    const Run good = made(1, 3, false, none, {});
    CHECK(held(good, made(2, 3, false, none, {})).suspects.empty());
    // A gear that the good drive never had is none of them, and no fault.
    CHECK(held(good, made(2, 4, false, none, {})).suspects.empty());
    const auto by = [](double part) {
        return
            [part](double value, double t) { return between(t, 150, 230) ? part * value : value; };
    };
    for (const Part which : {engine, road}) {
        const ContrastResult result = held(good, made(2, 3, false, which, by(1.04)));
        REQUIRE(result.suspects.size() == 1);
        const Departure& found = result.suspects.front();
        CHECK(result.signals[found.signal].good_series < static_cast<std::size_t>(none));
        CHECK(found.start_second == doctest::Approx(150).epsilon(0.05));
        CHECK(found.end_second == doctest::Approx(230).epsilon(0.1));
        // Only these two are in it, and both are named.
        CHECK(found.others.find("engine") != std::string::npos);
        CHECK(found.others.find("road") != std::string::npos);
        CHECK(found.others.find("check both") != std::string::npos);
    }
    // Without gears they tell nothing of each other.
    CHECK(held(made(1, 3, true, none, {}), made(2, 3, true, engine, by(1.04))).suspects.empty());
}
