// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>
#include <vector>

#include "telltale/base/export.hpp"
#include "telltale/mimic/fault.hpp"
#include "telltale/mimic/random.hpp"

/// A small, deterministic simulation of a car on a road: enough physics that its signals agree with
/// each other as a real engine's do, no more. Only + - * / and square root, which IEEE 754 rounds
/// the same way everywhere, so that a drive is the same to the bit on each machine.
namespace telltale::mimic {

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

/// How a poor contact in the supply of the manifold pressure sensor behaves on a rough road.
struct HarnessFault {
    bool present = false;
    double roughness = 0.5; ///< opens only where the road is at least this rough
    double rate = 0.0;      ///< openings a second there
    double shortest = 0.3;  ///< s
    double longest = 2.0;   ///< s
    double depth = 0.4;     ///< share of the reading that is lost, at most
};

enum class Fuel : std::uint8_t { petrol, diesel };
/// What the controller of a petrol engine meters its fuel by.
enum class Metering : std::uint8_t { manifold_pressure, air_flow };

/// The car: sizes of its class, none of them anybody's. The default is a petrol van, two litres,
/// turbocharged, automatic.
struct Car {
    Fuel fuel = Fuel::petrol;
    Metering metering = Metering::manifold_pressure;
    double mass = 2350;             ///< kg
    double wheel = 0.335;           ///< m
    double drag = 0.5 * 1.2 * 1.15; ///< N s2/m2: half of air density times drag area
    double cylinder = 0.000496;     ///< m3 each, four of them
    double manifold = 0.0042;       ///< m3
    double friction = 66;           ///< Nm at rest, with what the belt drives
    double full_torque = 205;       ///< Nm that the pedal asks for at most, low speed
    double most_map = 178;          ///< kPa
    double idle_speed = 780;        ///< 1/min
    double throttle_flow = 150;     ///< g/s through the open bore
    double full_air = 598;          ///< mg a stroke that counts as a load of 100 %
    double tank = 70;               ///< L
    double shift = 1;               ///< engine speeds of the gear changes: share of the van's
    bool load_of_peak = false;      ///< PID 04 tells the load as a share of what can flow now
    std::array<double, 7> ratio = {0, 15.1, 8.8, 5.9, 4.4, 3.5, 2.8}; ///< with the final drive
};

struct DriveSettings {
    std::uint64_t seed = 1;
    double ambient = 15.0;       ///< degrees Celsius
    double barometric = 100.0;   ///< kPa
    double coolant_start = 70.0; ///< degrees Celsius
    double idle_before = 8.0;    ///< s at rest before pulling away
    double long_trim = 0.0;      ///< percent, as learnt before this drive
    double eagerness = 1.0;      ///< of the driver: share of the limit he drives at
    double fuel_level = 58;      ///< percent
    std::vector<Stretch> road;   ///< ascending, the first from 0; without any the car stands
    std::vector<Traffic> traffic;
    /// Length of the road where it begins anew, m; 0: the last stretch goes on for ever.
    double circuit = 0;
    Car car{};
    HarnessFault harness{};
    std::vector<Fault> faults{};
};

/// What the engine's sensors and its controller know at a moment, in engineering units.
struct Signals {
    double run_time = 0;      ///< s since start
    double speed = 0;         ///< km/h
    double distance = 0;      ///< m
    int gear = 1;             ///< 1 to 6
    double gear_ratio = 1;    ///< engine to wheel, final drive included
    double rpm = 0;           ///< 1/min
    double pedal = 0;         ///< percent
    double throttle = 0;      ///< percent
    double map = 0;           ///< kPa, as the sensor tells it
    double map_true = 0;      ///< kPa
    double maf = 0;           ///< g/s
    double load = 0;          ///< percent
    double load_absolute = 0; ///< percent
    double advance = 0;       ///< degrees before top dead centre
    double intake = 0;        ///< degrees Celsius
    double coolant = 0;       ///< degrees Celsius
    double oil = 0;           ///< degrees Celsius
    double catalyst = 0;      ///< degrees Celsius
    double ambient = 0;       ///< degrees Celsius
    double barometric = 0;    ///< kPa
    double short_trim = 0;    ///< percent
    double long_trim = 0;     ///< percent
    double lambda = 1;        ///< as the sensor before the catalyst tells it
    double lambda_asked = 1;  ///< as the controller commands it
    double rear_oxygen = 0;   ///< V, after the catalyst
    double voltage = 0;       ///< V at the control module
    double purge = 0;         ///< percent
    double fuel_level = 0;    ///< percent
    double fuel_rate = 0;     ///< L/h
    double torque = 0;        ///< Nm at the flywheel
    double torque_wanted = 0; ///< Nm that the pedal asks for
    double rail_pressure = 0; ///< kPa
    double egr = 0;           ///< percent, commanded
    double egr_actual = 0;    ///< percent
    double boost_wanted = 0;  ///< kPa, absolute
    double exhaust = 0;       ///< degrees Celsius, before the turbine (diesel)
    double filter_drop = 0;   ///< kPa over the particulate filter
    double soot = 0;          ///< percent of what starts a regeneration
    double idle_time = 0;     ///< s of `run_time` at rest
    bool running = true;
    bool closed_loop = false;
    bool fuel_cut = false;
    bool contact_open = false; ///< the harness fault shows at this moment
};

/// The car on its road, moved on in steps of 10 ms.
class TELLTALE_API Drive {
  public:
    explicit Drive(const DriveSettings& settings);
    /// Moves on to `seconds` after the start (never back).
    void run_to(double until);
    /// What the controller has from its sensors, faults and all.
    const Signals& signals() const noexcept { return told_; }
    /// What is the case.
    const Signals& truth() const noexcept { return signals_; }
    const DriveSettings& settings() const noexcept { return settings_; }
    /// True while a fault that `settings` has acts.
    bool acts(const Fault& fault) const noexcept;

    static constexpr double step_time = 0.01; ///< s

  private:
    void step();
    const Stretch& stretch() const;
    double wanted_speed();
    void steer(double wanted, double& brake);
    void breathe();
    void burn();
    void breathe_diesel();
    void burn_diesel();
    void move(double brake);
    void warm();
    void sense();
    double sensed(Sensor sensor, double truth);
    double leak_at_vacuum() const;
    double idle() const;
    double seconds() const noexcept { return static_cast<double>(steps_) * step_time; }

    DriveSettings settings_;
    Random random_;
    Random fault_random_;
    Signals signals_;
    Signals told_;
    std::vector<FaultState> ailing_; // one for each fault
    std::uint64_t steps_ = 0;
    double laps_ = 0;      // m of whole circuits behind
    double speed_ = 0;     // m/s
    double place_ = 0;     // m
    double pedal_ = 0;     // 0 to 1
    double pedal_sum_ = 0; // the driver's patience
    double map_ = 36;      // kPa
    double port_flow_ = 3; // g/s into the cylinders
    double leak_ = 0;      // g/s beside the meter
    double air_ = 0;       // mg a stroke
    double fuel_mg_ = 0;   // mg a stroke (diesel)
    double torque_ = 0;    // Nm at the flywheel
    double lambda_ = 1;    // in the cylinders
    double told_maf_ = 3;  // g/s
    double told_lambda_ = 1;
    double shift_wait_ = 0;     // s until the next gear change may come
    double wait_left_ = -1;     // s still to stand
    std::size_t next_stop_ = 0; // in settings_.traffic
    std::size_t stretch_ = 0;   // in settings_.road
    double open_left_ = 0;      // s that the contact stays open
    double open_depth_ = 0;
    double since_cut_ = 60; // s since fuel was cut last
    double ripple_ = 0;
    double vapour_ = 0;
    double wander_ = 0;
    std::array<double, 32> exhaust_{}; // lambda on its way to the sensor, 10 ms apart
    std::size_t exhaust_at_ = 0;
};

} // namespace telltale::mimic
