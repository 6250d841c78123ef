// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>
#include <string_view>

#include "telltale/base/export.hpp"
#include "telltale/base/result.hpp"
#include "telltale/mimic/random.hpp"

namespace telltale::mimic {

/// What can be made to tell the wrong thing.
enum class Sensor : std::uint8_t {
    map,          ///< intake manifold absolute pressure, kPa
    maf,          ///< mass air flow, g/s
    coolant,      ///< engine coolant temperature, degrees Celsius
    intake,       ///< intake air temperature, degrees Celsius
    throttle,     ///< absolute throttle position, percent
    pedal,        ///< accelerator pedal, percent of its travel
    speed,        ///< vehicle speed, km/h
    engine_speed, ///< 1/min
    lambda,       ///< oxygen sensor before the catalyst, lambda
    rear_oxygen,  ///< oxygen sensor after the catalyst, V
    barometric,   ///< kPa
    ambient,      ///< degrees Celsius
    oil,          ///< degrees Celsius
    voltage,      ///< V at the control module
    fuel_level,   ///< percent
    rail_pressure ///< kPa
};
inline constexpr std::size_t sensor_count = 16;

enum class FaultKind : std::uint8_t {
    drop_out, ///< now and then, for a second or so, `amount` (a share, 0 to 1) of it is lost
    spike,    ///< now and then, for a moment, it jumps by `amount` units
    stick,    ///< stays at what it was when the fault began
    offset,   ///< `amount` units too high
    drift,    ///< goes off by `amount` units a minute
    lag,      ///< follows with a time constant of `amount` seconds
    noise,    ///< a standard deviation of `amount` units besides
    scaling,  ///< `amount` times what it ought to be
    open,     ///< wire broken: the reading goes to where the open circuit leaves it
    shorted,  ///< the reading goes to the other end of its range
    /// Air beside the meter and the throttle: `amount` g/s at full vacuum. Has no sensor.
    vacuum_leak,
};

struct Fault {
    FaultKind kind = FaultKind::offset;
    Sensor sensor = Sensor::map;
    double amount = 0;
    double from = 0;     ///< s after the engine's start; 0: was there on the drive before, too
    double until = 1e12; ///< s after the engine's start
};

/// What a fault remembers from one step of the simulation to the next.
class FaultState {
  public:
    /// What the sensor tells instead of `truth`. `acts`: the fault does so now, at `seconds`.
    double tell(const Fault& fault, double truth, bool acts, double seconds, Random& random);

  private:
    bool began_ = false;
    double kept_ = 0;  // of stick and lag
    double left_ = 0;  // s that a drop-out or spike lasts still
    double depth_ = 0; // of it
};

/// Names as `parse_fault` reads them: "map", "engine-speed", ...; "drop-out", "vacuum-leak", ...
TELLTALE_API std::string_view name_of(Sensor sensor) noexcept;
TELLTALE_API std::string_view name_of(FaultKind kind) noexcept;

/// Reads a fault as people write it: `KIND[:SENSOR][=AMOUNT][@FROM[-UNTIL]]`, seconds after the
/// start; a kind's usual amount where none is given:
///
///     drop-out:map    offset:coolant=-15@60    stick:maf@120-180    vacuum-leak=4
///
/// Errors: `bad_argument`, with the names there are.
TELLTALE_API Result<Fault> parse_fault(std::string_view text);

} // namespace telltale::mimic
