// SPDX-License-Identifier: Apache-2.0
#include "telltale/mimic/drive.hpp"

#include <algorithm>
#include <cmath>
#include <utility>

namespace telltale::mimic {

namespace {

constexpr double rolling = 0.011;       // rolling resistance
constexpr double gravity = 9.80665;     // m/s2
constexpr double gas = 287.05;          // J/(kg K), dry air
constexpr double torque_a_mg = 0.48;    // Nm for each mg of air a stroke
constexpr double stoichiometric = 14.6; // kg of air for a kg of petrol
constexpr double petrol_density = 745;  // g/L
constexpr double diesel_ratio = 14.5;   // kg of air for a kg of diesel fuel
constexpr double diesel_density = 832;  // g/L
constexpr double diesel_torque = 8.0;   // Nm for each mg of fuel a stroke
constexpr double richest_diesel = 1.25; // lambda at the smoke limit
constexpr double pi = 3.14159265358979;
constexpr double van_cylinder = 0.000496; // m3, of the engine that the heat was tried on

double volumetric(double rpm) {
    const double x = (rpm - 3200) / 3200;
    return 0.90 - 0.10 * x * x;
}

/// Torque that the engine and what it drives by belt take up, Nm.
double friction(const Car& car, double rpm) {
    return car.friction + 0.008 * rpm;
}

/// First-order lag: moves `value` towards `target` with a time constant in seconds.
void follow(double& value, double target, double constant, double step) {
    value += (target - value) * step / (constant + step);
}

} // namespace

Drive::Drive(const DriveSettings& settings)
    : settings_(settings), random_(settings.seed), fault_random_(settings.seed ^ 0xFA017),
      ailing_(settings.faults.size()) {
    exhaust_.fill(1.0);
    signals_.rpm = settings.car.idle_speed;
    signals_.coolant = settings.coolant_start;
    signals_.oil = settings.coolant_start - 6;
    signals_.catalyst = 380;
    signals_.intake = settings.ambient + 9;
    signals_.long_trim = settings.long_trim;
    signals_.voltage = 14.1;
    signals_.rear_oxygen = 0.68;
    signals_.fuel_level = settings.fuel_level;
    signals_.map_true = map_;
    signals_.map = map_;
    wait_left_ = settings.idle_before;
    signals_.ambient = settings.ambient;
    signals_.barometric = settings.barometric;
    signals_.gear_ratio = settings.car.ratio[1];
    signals_.rail_pressure = 28'000;
    signals_.soot = 20;
    if (settings_.car.fuel == Fuel::diesel) {
        map_ = settings.barometric;
        signals_.map_true = map_;
        signals_.map = map_;
    }
    told_ = signals_;
}

bool Drive::acts(const Fault& fault) const noexcept {
    return seconds() >= fault.from && seconds() < fault.until;
}

void Drive::run_to(double until) {
    while (seconds() < until)
        step();
}

const Stretch& Drive::stretch() const {
    static constexpr Stretch yard{0, 0, 0, 0};
    return settings_.road.empty() ? yard : settings_.road[stretch_];
}

/// What the driver would like to drive here, in m/s: the limit, what is ahead, and braking in time.
double Drive::wanted_speed() {
    if (wait_left_ > 0) {
        wait_left_ -= step_time;
        return 0;
    }
    constexpr double comfortable = 1.3; // m/s2
    double wanted = stretch().limit / 3.6 * settings_.eagerness;
    wanted = std::min(wanted, speed_ + 1.4); // he does not race up to it
    const auto ahead = [&](double place, double speed) {
        const double far = std::max(place - place_, 0.0);
        wanted = std::min(wanted, std::sqrt(speed * speed + 2 * comfortable * far));
    };
    for (std::size_t i = stretch_ + 1; i < settings_.road.size(); ++i) {
        const auto& next = settings_.road[i];
        ahead(next.from, next.limit / 3.6 * settings_.eagerness);
        if (next.from - place_ > 1000) // nobody brakes from there on
            break;
    }
    for (std::size_t i = next_stop_; i < settings_.traffic.size(); ++i) {
        const auto& thing = settings_.traffic[i];
        if (thing.speed > 0) {
            if (place_ < thing.from)
                ahead(thing.from, thing.speed / 3.6);
            else if (place_ < thing.to)
                wanted = std::min(wanted, thing.speed / 3.6);
            continue;
        }
        ahead(thing.to, 0);
        if (thing.to - place_ < 1.5 && speed_ < 0.6) {
            wait_left_ = thing.wait;
            next_stop_ = i + 1;
        }
        break; // nothing beyond a stop matters before it
    }
    return wanted;
}

/// The driver's right foot: proportional and integral, never faster than a foot, never quite still.
void Drive::steer(double wanted, double& brake) {
    const double error = wanted - speed_;
    follow(wander_, random_.normal() * 6, 1.2, step_time);
    pedal_sum_ = std::clamp(pedal_sum_ + error * 0.022 * step_time, 0.0, 0.5);
    double foot = 0.13 * error + pedal_sum_ + 0.02 * wander_;
    if (error < -0.7 || wanted < 0.3) {
        foot = 0;
        pedal_sum_ = std::max(pedal_sum_ - 0.05 * step_time, 0.0);
    }
    foot = std::clamp(foot, 0.0, 0.62);
    const double reach = 0.7 * step_time; // of the pedal's travel in one step
    pedal_ += std::clamp(foot - pedal_, -2 * reach, reach);
    pedal_ = std::max(pedal_, 0.0);
    brake = error < -1.0 ? std::min(-error - 1.0, 1.0) * 2.6 : 0; // m/s2
    if (wanted < 0.3)
        brake = std::max(brake, 1.6);
}

/// Air: the pressure that the pedal asks for, the flow into the cylinders by speed-density
/// (ideal-gas law), and the flow past the throttle, which also fills the manifold.
void Drive::breathe() {
    const Car& car = settings_.car;
    const double rpm = signals_.rpm;
    const double charge = 273.15 + signals_.intake + 14;
    const double full = car.full_torque + 0.03 * std::min(rpm, 2500.0); // Nm with the pedal down
    const double idle_help = pedal_ < 0.02 ? std::clamp((idle() - rpm) * 0.12, 0.0, 20.0) : 0;
    const double wanted_torque = pedal_ * full + friction(car, rpm) * (pedal_ < 0.02 ? 0.9 : 1.0);
    const double a_mg = volumetric(rpm) * car.cylinder / (gas * charge) * 1e9; // mg a stroke a kPa
    double wanted = (wanted_torque + idle_help) / torque_a_mg / a_mg;
    if (pedal_ < 0.02 && rpm > 1300)
        wanted = 24;
    signals_.torque_wanted = pedal_ * full;
    // Of what comes in by a leak nothing can be kept out: the pressure is not less than it makes.
    const double vacuum = std::min(map_ / settings_.barometric, 1.0);
    leak_ = leak_at_vacuum() * std::sqrt(1 - vacuum * vacuum);
    wanted = std::max(wanted, leak_ * 120 * 1000 / (4 * rpm * a_mg));
    wanted = std::clamp(wanted, 24.0, car.most_map);
    const double before = map_;
    const bool boost = wanted > settings_.barometric;
    follow(map_, wanted, boost ? 0.35 : 0.10, step_time);
    air_ = a_mg * map_;
    port_flow_ = air_ * 4 * rpm / 120 / 1000;
    const double filling =
        (map_ - before) / step_time * 1000 * car.manifold / (gas * charge) * 1000; // g/s
    signals_.maf = std::max((port_flow_ + filling - leak_) * (1 + 0.004 * random_.normal()), 0.6);
    signals_.load_absolute = 100 * air_ / car.full_air * (100.0 / 101.3);
    signals_.load = signals_.load_absolute;
    if (car.load_of_peak) // SAE J1979, PID 04: of the most that could flow at this engine speed
        signals_.load /= volumetric(rpm) * car.most_map / 101.3;

    const double pressure = std::min(map_ / settings_.barometric, 0.985);
    const double x = pressure > 0.528 ? (pressure - 0.528) / 0.472 : 0;
    const double opening =
        signals_.maf / (car.throttle_flow * std::sqrt(1 - x * x)); // of the throttle's bore
    follow(signals_.throttle, std::clamp(9 + 100 * opening, 9.0, 84.0), 0.04, step_time);
}

/// Fuel: metered by speed-density from the pressure that the sensor tells, corrected by what the
/// oxygen sensor saw some time later.
void Drive::burn() {
    auto& s = signals_;
    follow(ripple_, random_.normal() * 3, 0.03, step_time);
    s.map_true = map_;

    const auto& fault = settings_.harness;
    if (open_left_ > 0)
        open_left_ -= step_time;
    else if (fault.present && stretch().roughness >= fault.roughness && speed_ > 9 &&
             random_.uniform() < fault.rate * step_time) {
        open_left_ = fault.shortest + (fault.longest - fault.shortest) * random_.uniform();
        open_depth_ = fault.depth * (0.55 + 0.45 * random_.uniform());
    }
    s.contact_open = open_left_ > 0;
    double told = map_ + 0.25 * ripple_ + 0.25 * random_.normal();
    if (s.contact_open)
        told *= 1 - open_depth_ * (0.8 + 0.2 * random_.uniform());
    told = sensed(Sensor::map, told);
    s.map = told;
    // The air that the controller believes in, as a manifold pressure.
    double believed = told;
    told_maf_ = sensed(Sensor::maf, s.maf);
    if (settings_.car.metering == Metering::air_flow)
        believed = map_ * std::clamp(told_maf_ / s.maf, 0.3, 3.0) *
                   std::clamp(1 - leak_ / port_flow_, 0.3, 1.0);

    s.fuel_cut = pedal_ < 0.015 && s.rpm > 1350;
    // After a fuel cut the exhaust is full of air for a while: the sensor's word is not taken.
    since_cut_ = s.fuel_cut ? 0 : since_cut_ + step_time;
    s.closed_loop = told_.coolant > 30 && since_cut_ > 1.0;
    const double rich_from = settings_.car.most_map > 150 ? 150 : 0.93 * settings_.barometric;
    s.lambda_asked = map_ > rich_from ? 0.93 : 1.0;
    if (told_.coolant < 30)
        s.lambda_asked -= 0.002 * std::min(30 - told_.coolant, 60.0);
    // What the trims have to correct: injectors that flow 2 % too little, and vapour from the tank.
    follow(vapour_, 0.10 * random_.normal(), 0.8, step_time);
    const double metered =
        believed * (1 + (s.short_trim + s.long_trim) / 100) * (0.98 + vapour_ * s.purge / 25);
    lambda_ = s.fuel_cut ? 2.2 : std::clamp(s.lambda_asked * map_ / metered, 0.7, 2.2);

    exhaust_[exhaust_at_] = lambda_;
    exhaust_at_ = (exhaust_at_ + 1) % exhaust_.size();
    follow(s.lambda, exhaust_[exhaust_at_], 0.12, step_time);
    told_lambda_ = sensed(Sensor::lambda, s.lambda);
    if (s.closed_loop) {
        const double error = told_lambda_ / s.lambda_asked - 1;
        s.short_trim = std::clamp(s.short_trim + error * 55 * step_time, -25.0, 25.0);
        if (told_.coolant > 65) {
            s.long_trim = std::clamp(s.long_trim + s.short_trim * 0.012 * step_time, -30.0, 30.0);
            s.short_trim -= s.short_trim * 0.012 * step_time;
        }
    } else if (s.fuel_cut) {
        follow(s.short_trim, 0, 0.5, step_time);
    }
    follow(s.rear_oxygen, s.lambda > 1.6 ? 0.03 : s.lambda > 1.06 ? 0.12 : 0.70, 1.6, step_time);
    s.rear_oxygen = std::clamp(s.rear_oxygen + random_.normal() * 0.0015, 0.0, 1.1);

    const double lean = std::max(lambda_ - 1.08, 0.0);
    const double efficiency = s.fuel_cut ? 0 : std::max(1 - 1.6 * lean, 0.2);
    torque_ = air_ * torque_a_mg * efficiency - friction(settings_.car, s.rpm);
    const double grams = s.fuel_cut ? 0 : port_flow_ / (stoichiometric * lambda_);
    s.fuel_rate = grams * 3600 / petrol_density;
    const double wanted = 34 - 0.22 * s.load + 0.0035 * (s.rpm - 1500);
    follow(s.advance, std::clamp(s.fuel_cut ? 12 : wanted, -4.0, 38.0) + 0.35 * random_.normal(),
           0.06, step_time);
}

/// Air of a diesel engine: nothing throttles it. The turbocharger gives what the fuel asks for;
/// recirculated exhaust takes the place of fresh air at part load.
void Drive::breathe_diesel() {
    const Car& car = settings_.car;
    auto& s = signals_;
    const double rpm = s.rpm;
    const double charge = 273.15 + s.intake + 14;
    const double full = car.full_torque + 0.03 * std::min(rpm, 2500.0);
    const double idle_help = pedal_ < 0.02 ? std::clamp((idle() - rpm) * 0.12, 0.0, 20.0) : 0;
    const double drag = friction(car, rpm) * (pedal_ < 0.02 ? 0.9 : 1.0);
    s.torque_wanted = pedal_ * full;
    s.fuel_cut = pedal_ < 0.015 && rpm > 1350;
    fuel_mg_ = s.fuel_cut ? 0 : (s.torque_wanted + drag + idle_help) / diesel_torque;
    const double share = std::min(fuel_mg_ * diesel_torque / (full + car.friction), 1.0);

    s.boost_wanted = settings_.barometric + (car.most_map - settings_.barometric) * share *
                                                std::clamp((rpm - 1000) / 1000, 0.0, 1.0);
    follow(map_, s.boost_wanted, 0.45, step_time);
    s.egr = told_.coolant > 50 && !s.fuel_cut ? std::max(38 * (1 - share / 0.6), 0.0) : 0;
    follow(s.egr_actual, s.egr, 0.3, step_time);
    const double a_mg = volumetric(rpm) * car.cylinder / (gas * charge) * 1e9; // mg a stroke a kPa
    air_ = a_mg * map_ * (1 - s.egr_actual / 100);
    port_flow_ = air_ * 4 * rpm / 120 / 1000;
    s.maf = std::max(port_flow_ * (1 + 0.004 * random_.normal()), 0.6);
    follow(s.throttle, 88 - 0.5 * s.egr, 0.1, step_time);
    s.load = 100 * share;
    s.load_absolute = 100 * air_ / car.full_air * (100.0 / 101.3);
}

/// Fuel of a diesel engine: by the pedal, as far as there is air to burn it without smoke.
void Drive::burn_diesel() {
    auto& s = signals_;
    const Car& car = settings_.car;
    follow(ripple_, random_.normal() * 3, 0.03, step_time);
    s.map_true = map_;
    s.map = sensed(Sensor::map, map_ + 0.25 * ripple_ + 0.25 * random_.normal());
    told_maf_ = sensed(Sensor::maf, s.maf);
    fuel_mg_ = std::min(fuel_mg_, air_ * std::clamp(told_maf_ / s.maf, 0.3, 3.0) /
                                      (diesel_ratio * richest_diesel));
    lambda_ = fuel_mg_ > 0 ? std::clamp(air_ / (diesel_ratio * fuel_mg_), 1.0, 7.5) : 7.5;
    s.lambda_asked = lambda_;
    follow(s.lambda, lambda_, 0.25, step_time);
    told_lambda_ = sensed(Sensor::lambda, s.lambda);
    torque_ = fuel_mg_ * diesel_torque - friction(car, s.rpm);
    s.fuel_rate = fuel_mg_ * 4 * s.rpm / 120 / 1000 * 3600 / diesel_density;
    const double rail = 28'000 + 95'000 * s.load / 100 + 12 * std::max(s.rpm - 800, 0.0);
    follow(s.rail_pressure, rail * (1 + 0.004 * random_.normal()), 0.15, step_time);
    follow(s.advance, 2 + 0.004 * s.rpm - 0.03 * s.load + 0.2 * random_.normal(), 0.1, step_time);
    follow(s.exhaust, s.fuel_cut ? 140 : 150 + 4.2 * s.load + 0.05 * s.rpm, 6, step_time);
    s.soot += 0.004 * s.load / 100 * step_time; // percent
    if (s.soot > 100)
        s.soot = 5; // burnt off
    s.filter_drop = 0.03 * s.maf * (1 + s.soot / 60);
}

/// What comes in by a leak at full vacuum, g/s.
double Drive::leak_at_vacuum() const {
    double flow = 0;
    for (const auto& fault : settings_.faults)
        if (fault.kind == FaultKind::vacuum_leak && acts(fault))
            flow += std::clamp(fault.amount, 0.0, 50.0);
    return flow;
}

/// What a sensor tells of `truth`, by the faults that it has. Once a step for each sensor.
double Drive::sensed(Sensor sensor, double truth) {
    double value = truth;
    for (std::size_t i = 0; i < settings_.faults.size(); ++i) {
        const Fault& fault = settings_.faults[i];
        if (fault.sensor == sensor && fault.kind != FaultKind::vacuum_leak)
            value = ailing_[i].tell(fault, value, acts(fault), seconds(), fault_random_);
    }
    return value;
}

/// The sensors that no part of the simulation read by itself.
void Drive::sense() {
    told_ = signals_;
    told_.maf = told_maf_;
    told_.lambda = told_lambda_;
    if (settings_.faults.empty())
        return;
    const auto tell = [&](Sensor sensor, double& value) { value = sensed(sensor, value); };
    tell(Sensor::coolant, told_.coolant);
    tell(Sensor::intake, told_.intake);
    tell(Sensor::throttle, told_.throttle);
    tell(Sensor::pedal, told_.pedal);
    tell(Sensor::speed, told_.speed);
    tell(Sensor::engine_speed, told_.rpm);
    tell(Sensor::rear_oxygen, told_.rear_oxygen);
    tell(Sensor::barometric, told_.barometric);
    tell(Sensor::ambient, told_.ambient);
    tell(Sensor::oil, told_.oil);
    tell(Sensor::voltage, told_.voltage);
    tell(Sensor::fuel_level, told_.fuel_level);
    tell(Sensor::rail_pressure, told_.rail_pressure);
}

/// Where the engine turns at rest: faster when cold.
double Drive::idle() const {
    return settings_.car.idle_speed + 5 * std::max(50 - signals_.coolant, 0.0);
}

/// Gearbox and road: the automatic picks a gear by speed and pedal.
void Drive::move(double brake) {
    auto& s = signals_;
    const Car& car = settings_.car;
    const auto gear_speed = [&](int gear) {
        return speed_ / car.wheel * car.ratio[static_cast<std::size_t>(gear)] * 60 / (2 * pi);
    };
    shift_wait_ -= step_time;
    if (shift_wait_ <= 0) {
        const double up = (1900 + 2300 * pedal_) * car.shift;
        const double down = (1120 + 1100 * pedal_) * car.shift;
        if (s.gear < 6 && gear_speed(s.gear) > up && gear_speed(s.gear + 1) > down + 60) {
            ++s.gear;
            shift_wait_ = 1.2;
        } else if (s.gear > 1 && gear_speed(s.gear) < down) {
            --s.gear;
            shift_wait_ = 0.9;
        }
    }
    // The converter slips below its lock-up speed and holds the engine near idle at rest.
    const double shaft = gear_speed(s.gear);
    const double stall = idle() + 1500 * std::min(pedal_ * 1.6, 1.0);
    const double slip = std::max(stall - shaft, 0.0) * (s.gear <= 2 ? 0.8 : 0.25);
    const double engine = std::max(shaft + slip, idle());
    follow(s.rpm, engine + 5 * random_.normal(), shift_wait_ > 0.6 ? 0.16 : 0.07, step_time);

    s.gear_ratio = car.ratio[static_cast<std::size_t>(s.gear)];
    const double multiply = 1 + 0.7 * std::min(slip / 1500, 1.0);
    double force = torque_ * multiply * s.gear_ratio * 0.9 / car.wheel;
    if (shaft < idle() && pedal_ < 0.02)
        force = std::max(force, 120.0); // creep
    const double resist =
        car.mass * gravity * (rolling + stretch().grade) + car.drag * speed_ * speed_;
    double acceleration = (force - resist) / (car.mass * 1.06) - brake;
    if (speed_ < 0.05 && acceleration < 0)
        acceleration = 0;
    speed_ = std::max(speed_ + acceleration * step_time, 0.0);
    if (wait_left_ > 0 && speed_ < 0.3)
        speed_ = 0;
    place_ += speed_ * step_time;
    if (settings_.circuit > 0 && place_ >= settings_.circuit) {
        place_ -= settings_.circuit;
        laps_ += settings_.circuit;
        stretch_ = 0;
        next_stop_ = 0;
    }
    while (stretch_ + 1 < settings_.road.size() && settings_.road[stretch_ + 1].from <= place_)
        ++stretch_;
    s.distance = laps_ + place_;
    s.torque = torque_;
    s.speed = speed_ * 3.6;
    s.pedal = 100 * pedal_;
}

void Drive::warm() {
    auto& s = signals_;
    const double heat = s.fuel_rate; // L/h stands for the heat given off
    const double thermostat = std::clamp((s.coolant - 86) / 6, 0.0, 1.0);
    const double size = van_cylinder / settings_.car.cylinder;
    s.coolant += (0.021 * size * (heat + 3) - 0.30 * thermostat * (0.4 + speed_ / 40) -
                  0.05 * std::max(s.coolant - 97, 0.0) - // the fan
                  0.0006 * (s.coolant - s.ambient)) *
                 step_time;
    follow(s.oil, s.coolant + 4, 90, step_time);
    follow(s.catalyst, 420 + 26 * heat, 25, step_time);
    follow(s.intake, s.ambient + 4 + 16 / (1 + speed_ / 4) + 0.05 * std::max(map_ - 100, 0.0), 14,
           step_time);
    const double charging = 14.15 - 0.004 * (s.intake - 20);
    follow(s.voltage, charging + 0.12 * random_.normal() - (s.rpm < 850 ? 0.12 : 0), 0.4,
           step_time);
    follow(s.purge, s.closed_loop && s.coolant > 60 ? 12 + 0.3 * s.load : 0, 2.5, step_time);
    s.fuel_level -= s.fuel_rate / 3600 / settings_.car.tank * 100 * step_time;
    if (s.fuel_level < 4 && speed_ == 0) // fills up where it stands
        s.fuel_level = 92;
}

void Drive::step() {
    double brake = 0;
    const double wanted = wanted_speed();
    steer(wanted, brake);
    if (settings_.car.fuel == Fuel::petrol) {
        breathe();
        burn();
    } else {
        breathe_diesel();
        burn_diesel();
    }
    move(brake);
    warm();
    ++steps_;
    signals_.run_time += step_time;
    if (speed_ < 0.3)
        signals_.idle_time += step_time;
    sense();
}

} // namespace telltale::mimic
