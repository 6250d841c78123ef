// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <cstddef>
#include <cstdint>
#include <string>
#include <vector>

#include "telltale/run/contrast.hpp"

/// Makes pairs of drives, one good and one with a known fault or none, for measuring `contrast`.
/// Everything follows from the seed: the same seed gives the same pair on every machine of one
/// floating-point kind.
namespace bench {

enum class Family : std::uint8_t {
    vehicle, ///< a petrol, diesel or stop-start vehicle in traffic
    latent,  ///< random systems of hidden drivers and random relations: nothing of a vehicle in it
};

struct Scenario {
    std::uint64_t seed = 1;
    Family family = Family::vehicle;
    bool faulty = true;
    telltale::run::DepartureKind kind = telltale::run::DepartureKind::offset;
    /// Wanted size in units of the signal's own noise and step together.
    double size = 10;
    double seconds = 0;          ///< length of each drive; 0: drawn from 240 to 720
    std::size_t signals = 0;     ///< 0: drawn from 8 to 40
    double samples_a_second = 0; ///< of each signal; 0: drawn from 2 to 20
};

struct Truth {
    bool faulty = false;
    std::size_t series = 0; ///< place in both runs
    telltale::run::DepartureKind kind = telltale::run::DepartureKind::other;
    /// Root mean square of what the fault changed, while it was there, in units of the signal's own
    /// noise and step together.
    double size = 0;
    double unit_size = 0; ///< that unit, in the signal's unit
    telltale::Time start = 0;
    telltale::Time end = 0;
    std::size_t touched = 0;        ///< samples that it changed
    std::vector<std::size_t> after; ///< signals that follow from it, changed as well
};

struct Pair {
    telltale::run::Run good;
    telltale::run::Run bad;
    Truth truth;
    std::string about; ///< what was drawn, in a few words
};

Pair make_pair(const Scenario& scenario);

/// A small, fast generator of random numbers with the same sequence everywhere.
class Random {
  public:
    explicit Random(std::uint64_t seed) : state_(seed * 0x9E3779B97F4A7C15U + 0x1234567) {}
    std::uint64_t bits();
    double uniform(double low = 0, double high = 1);
    double normal(double sd = 1);
    std::size_t below(std::size_t n) { return static_cast<std::size_t>(bits() % n); }
    bool chance(double p) { return uniform() < p; }

  private:
    std::uint64_t state_;
    double spare_ = 0;
    bool has_spare_ = false;
};

/// A signal as its sensor and its scaling have it, on a fine regular grid of time.
struct Channel {
    std::uint16_t id = 0;
    std::uint8_t index = 0;
    std::string name;
    std::string key;
    telltale::Unit unit = telltale::Unit::none;
    double step = 1;
    double low = 0;
    double high = 255;
    double noise = 0;     ///< standard deviation that the sensor adds
    double own = 0;       ///< its own restlessness besides (an oxygen sensor's switching)
    bool can_fail = true; ///< counters and states are left alone
    std::vector<double> grid;
};

struct Recording {
    double dt = 0.05;
    std::vector<Channel> channels;
    std::string about;
};

/// What follows from a sensor that reads wrong: channel, how much of the relative error goes on to
/// it, and how slowly (time constant in seconds).
struct Follow {
    std::size_t from = 0;
    std::size_t to = 0;
    double gain = 0;  ///< change in `to`'s unit for a relative error of 1
    double delay = 0; ///< seconds
};

struct World {
    Recording good;
    Recording bad;
    std::vector<Follow> follows;
};

World make_vehicle(Random& random, double seconds);
World make_latent(Random& random, double seconds, std::size_t signals);

} // namespace bench
