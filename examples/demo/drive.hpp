// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>
#include <vector>

/// A small, deterministic simulation of a petrol van on a road: enough physics that its signals
/// agree with each other as a real engine's do, no more. Only + - * / and square root, which
/// IEEE 754 rounds the same way everywhere, so that a drive is the same to the bit on each machine.
namespace demo {

/// A reproducible stream of random numbers (splitmix64).
class Random {
  public:
    explicit Random(std::uint64_t seed) : state_(seed) {}
    std::uint64_t next();
    /// From 0 up to, not including, 1.
    double uniform();
    /// Zero mean, unit variance, never beyond 3.5: near enough to normal.
    double normal();

  private:
    std::uint64_t state_;
};

/// A stretch of road, from `from` metres up to the next stretch.
struct Stretch {
    double from;      ///< m
    double limit;     ///< km/h
    double grade;     ///< m climbed per m
    double roughness; ///< 0 smooth asphalt, 1 broken cobbles
};

/// Something in the way: between the two places nobody drives faster.
struct Traffic {
    double from;  ///< m
    double to;    ///< m
    double speed; ///< km/h; 0: stand at `to`
    double wait;  ///< s to stand there
};

/// How a poor contact in the supply of the manifold pressure sensor behaves.
struct HarnessFault {
    bool present = false;
    double roughness = 0.5; ///< opens only where the road is at least this rough
    double rate = 0.0;      ///< openings a second there
    double shortest = 0.3;  ///< s
    double longest = 2.0;   ///< s
    double depth = 0.4;     ///< share of the reading that is lost, at most
};

struct DriveSettings {
    std::uint64_t seed = 1;
    double ambient = 15.0;       ///< degrees Celsius
    double barometric = 100.0;   ///< kPa
    double coolant_start = 70.0; ///< degrees Celsius
    double idle_before = 8.0;    ///< s at rest before pulling away
    double long_trim = 0.0;      ///< percent, as learnt before this drive
    double eagerness = 1.0;      ///< of the driver: share of the limit he drives at
    std::vector<Stretch> road;
    std::vector<Traffic> traffic;
    HarnessFault fault{};
};

/// What the engine's sensors and its controller know at a moment, in engineering units.
struct Signals {
    double run_time = 0;     ///< s since start
    double speed = 0;        ///< km/h
    double distance = 0;     ///< m
    int gear = 1;            ///< 1 to 6
    double rpm = 0;          ///< 1/min
    double pedal = 0;        ///< percent
    double throttle = 0;     ///< percent
    double map = 0;          ///< kPa, as the sensor tells it
    double map_true = 0;     ///< kPa
    double maf = 0;          ///< g/s
    double load = 0;         ///< percent
    double advance = 0;      ///< degrees before top dead centre
    double intake = 0;       ///< degrees Celsius
    double coolant = 0;      ///< degrees Celsius
    double oil = 0;          ///< degrees Celsius
    double catalyst = 0;     ///< degrees Celsius
    double ambient = 0;      ///< degrees Celsius
    double barometric = 0;   ///< kPa
    double short_trim = 0;   ///< percent
    double long_trim = 0;    ///< percent
    double lambda = 1;       ///< as the sensor before the catalyst tells it
    double lambda_asked = 1; ///< as the controller commands it
    double rear_oxygen = 0;  ///< V, after the catalyst
    double voltage = 0;      ///< V at the control module
    double purge = 0;        ///< percent
    double fuel_level = 0;   ///< percent
    double fuel_rate = 0;    ///< L/h
    bool closed_loop = false;
    bool fuel_cut = false;
    bool contact_open = false; ///< the fault shows at this moment
};

/// The van on its road, moved on in steps of 10 ms.
class Van {
  public:
    explicit Van(const DriveSettings& settings);
    /// Moves on to `seconds` after the start (never back).
    void run_to(double seconds);
    const Signals& signals() const { return signals_; }

  private:
    static constexpr double step_ = 0.01;

    void step();
    const Stretch& stretch() const;
    double wanted_speed();
    void drive(double wanted, double& brake);
    void breathe();
    void burn();
    void move(double brake);
    void warm();

    DriveSettings settings_;
    Random random_;
    Signals signals_;
    std::uint64_t steps_ = 0;
    double speed_ = 0;          // m/s
    double place_ = 0;          // m
    double pedal_ = 0;          // 0 to 1
    double pedal_sum_ = 0;      // the driver's patience
    double map_ = 36;           // kPa
    double port_flow_ = 3;      // g/s into the cylinders
    double air_ = 0;            // mg a stroke
    double torque_ = 0;         // Nm at the flywheel
    double lambda_ = 1;         // in the cylinders
    double shift_wait_ = 0;     // s until the next gear change may come
    double wait_left_ = -1;     // s still to stand
    std::size_t next_stop_ = 0; // in settings_.traffic
    double open_left_ = 0;      // s that the contact stays open
    double open_depth_ = 0;
    double since_cut_ = 60; // s since fuel was cut last
    double ripple_ = 0;
    double vapour_ = 0;
    double wander_ = 0;
    std::array<double, 32> exhaust_{}; // lambda on its way to the sensor, 10 ms apart
    std::size_t exhaust_at_ = 0;
};

} // namespace demo
