// SPDX-License-Identifier: Apache-2.0
// What the parameters of SAE J1979-DA are by their names: measured, worked out, commanded.
#pragma once

#include <cstdint>

#include "telltale/run/run.hpp"

namespace telltale::run {

/// The PID, be it asked as such or as a data identifier of OBDonUDS (F4xx, SAE J1979-2).
std::uint16_t plain_id(const Series& series);

/// What the ECU works out from its sensors or asks of an actuator, as the names of the
/// parameters say: fuel system, load, trims, timing, commanded and demanded values, torque,
/// fuel rate, gear. It may set these as it likes (a gear change, fuel cut, a purge), so it
/// takes more to call one astray; and where one is, a sensor that it comes from goes first.
bool calculated(const Series& series);

/// What the ECU sets by conditions that no other signal need show: recirculation, purge, trims,
/// the fuel system, the gear.
bool set_freely(const Series& series);

/// How far recirculation misses its command, in parts of that: by much for a moment whenever the
/// command changes, but not for long.
bool misses_recirculation(const Series& series);

/// What may leap from one sample to the next with nothing wrong: what is set freely, and what
/// misses it.
bool leaps_at_will(const Series& series);

/// Fuel trims. An ECU may set one back at any moment, but keeps it far from the ends of its scaling
/// (common practice).
bool trims(const Series& series);

/// What the ECU commands as it likes, to either end of its scaling.
bool commanded(const Series& series);

/// From where on a value says nothing: how far recirculation misses its command has no bounds once
/// next to nothing is commanded, and is sent at its upper end then (SAE J1979). Endless for others.
float undefined_from(const Series& series);

/// What a vehicle has in store: fuel in its tank, charge in its traction battery. Another day it is
/// another amount, whatever the other signals do, and while it is used up it goes with time.
bool stored(const Series& series);

/// A system voltage, which a charging control sets by load, battery and temperature (common
/// practice): it may move from one level to another.
bool regulated(const Series& series);

/// Oxygen sensors: a cut of the fuel or a lean or rich moment sends them to either end at once.
bool switches(const Series& series);

/// Two fields of one oxygen sensor (a ratio and its current or voltage): they go astray together.
bool one_sensor(const Series& a, const Series& b);

/// What the ECU governs otherwise while the engine is cold (common practice): what it works out or
/// commands, the mixture, the vapour of the tank, the throttle.
bool governed(const Series& series);

/// A pedal's position: its sensor never reads less than where the pedal rests (common practice).
bool has_a_stop(const Series& series);

/// Whether an ECU makes the one of the other (common practice): what is wrong in `from` is wrong in
/// `made` too, and that they agree says nothing of either.
bool made_from(const Series& made, const Series& from);

/// Two sensors of one thing, each with a line of its own (common practice: the tracks of a throttle
/// and of a pedal).
bool twins(const Series& a, const Series& b);

/// Which sensor, or pair of them, a parameter comes from: several parameters may show the same.
std::uint16_t source_of(const Series& series);

} // namespace telltale::run
