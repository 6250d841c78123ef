// SPDX-License-Identifier: Apache-2.0
#include "drive.hpp"

#include <algorithm>
#include <cmath>
#include <utility>

namespace demo {

namespace {

// The van. All of it invented; the sizes are those of its class.
constexpr double mass = 2350;             // kg, half loaded
constexpr double wheel = 0.335;           // m
constexpr double rolling = 0.011;         // rolling resistance
constexpr double drag = 0.5 * 1.2 * 1.15; // N s2/m2: half of air density times drag area
constexpr double gravity = 9.80665;       // m/s2
constexpr double cylinder = 0.000496;     // m3 each, four of them
constexpr double gas = 287.05;            // J/(kg K), dry air
constexpr double manifold = 0.0042;       // m3
constexpr double torque_a_mg = 0.48;      // Nm for each mg of air a stroke
constexpr double idle_speed = 780;        // 1/min
constexpr double stoichiometric = 14.6;   // kg of air for a kg of petrol
constexpr double petrol_density = 745;    // g/L
constexpr double pi = 3.14159265358979;
constexpr std::array<double, 7> ratio = {0, 15.1, 8.8, 5.9, 4.4, 3.5, 2.8}; // with the final drive

double volumetric(double rpm) {
    const double x = (rpm - 3200) / 3200;
    return 0.90 - 0.10 * x * x;
}

/// Torque that the engine and what it drives by belt take up, Nm.
double friction(double rpm) {
    return 66 + 0.008 * rpm;
}

/// First-order lag: moves `value` towards `target` with a time constant in seconds.
void follow(double& value, double target, double constant, double step) {
    value += (target - value) * step / (constant + step);
}

} // namespace

std::uint64_t Random::next() {
    state_ += 0x9E3779B97F4A7C15;
    std::uint64_t z = state_;
    z = (z ^ z >> 30) * 0xBF58476D1CE4E5B9;
    z = (z ^ z >> 27) * 0x94D049BB133111EB;
    return z ^ z >> 31;
}

double Random::uniform() {
    return static_cast<double>(next() >> 11) / 9007199254740992.0;
}

double Random::normal() {
    double sum = -2;
    for (int i = 0; i < 4; ++i)
        sum += uniform();
    return sum * 1.7320508075688772; // four uniforms have a variance of a third
}

Van::Van(const DriveSettings& settings) : settings_(settings), random_(settings.seed) {
    exhaust_.fill(1.0);
    signals_.rpm = idle_speed;
    signals_.coolant = settings.coolant_start;
    signals_.oil = settings.coolant_start - 6;
    signals_.catalyst = 380;
    signals_.intake = settings.ambient + 9;
    signals_.long_trim = settings.long_trim;
    signals_.voltage = 14.1;
    signals_.rear_oxygen = 0.68;
    signals_.fuel_level = 58;
    signals_.map_true = map_;
    signals_.map = map_;
    wait_left_ = settings.idle_before;
    signals_.ambient = settings.ambient;
    signals_.barometric = settings.barometric;
}

void Van::run_to(double seconds) {
    while (static_cast<double>(steps_) * step_ < seconds)
        step();
}

const Stretch& Van::stretch() const {
    std::size_t i = 0;
    while (i + 1 < settings_.road.size() && settings_.road[i + 1].from <= place_)
        ++i;
    return settings_.road[i];
}

/// What the driver would like to drive here, in m/s: the limit, what is ahead, and braking in time.
double Van::wanted_speed() {
    if (wait_left_ > 0) {
        wait_left_ -= step_;
        return 0;
    }
    constexpr double comfortable = 1.3; // m/s2
    double wanted = stretch().limit / 3.6 * settings_.eagerness;
    wanted = std::min(wanted, speed_ + 1.4); // he does not race up to it
    const auto ahead = [&](double place, double speed) {
        const double far = std::max(place - place_, 0.0);
        wanted = std::min(wanted, std::sqrt(speed * speed + 2 * comfortable * far));
    };
    for (const auto& next : settings_.road)
        if (next.from > place_)
            ahead(next.from, next.limit / 3.6 * settings_.eagerness);
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
void Van::drive(double wanted, double& brake) {
    const double error = wanted - speed_;
    follow(wander_, random_.normal() * 6, 1.2, step_);
    pedal_sum_ = std::clamp(pedal_sum_ + error * 0.022 * step_, 0.0, 0.5);
    double foot = 0.13 * error + pedal_sum_ + 0.02 * wander_;
    if (error < -0.7 || wanted < 0.3) {
        foot = 0;
        pedal_sum_ = std::max(pedal_sum_ - 0.05 * step_, 0.0);
    }
    foot = std::clamp(foot, 0.0, 0.62);
    const double reach = 0.7 * step_; // of the pedal's travel in one step
    pedal_ += std::clamp(foot - pedal_, -2 * reach, reach);
    pedal_ = std::max(pedal_, 0.0);
    brake = error < -1.0 ? std::min(-error - 1.0, 1.0) * 2.6 : 0; // m/s2
    if (wanted < 0.3)
        brake = std::max(brake, 1.6);
}

/// Air: the pressure that the pedal asks for, the flow into the cylinders by speed-density
/// (ideal-gas law), and the flow past the throttle, which also fills the manifold.
void Van::breathe() {
    const double rpm = signals_.rpm;
    const double charge = 273.15 + signals_.intake + 14;
    const double full = 205 + 0.03 * std::min(rpm, 2500.0); // Nm wanted with the pedal down
    const double idle_help = pedal_ < 0.02 ? std::clamp((idle_speed - rpm) * 0.12, 0.0, 20.0) : 0;
    const double wanted_torque = pedal_ * full + friction(rpm) * (pedal_ < 0.02 ? 0.9 : 1.0);
    const double a_mg = volumetric(rpm) * cylinder / (gas * charge) * 1e9; // mg a stroke a kPa
    double wanted = (wanted_torque + idle_help) / torque_a_mg / a_mg;
    if (pedal_ < 0.02 && rpm > 1300)
        wanted = 24;
    wanted = std::clamp(wanted, 24.0, 178.0);
    const double before = map_;
    const bool boost = wanted > settings_.barometric;
    follow(map_, wanted, boost ? 0.35 : 0.10, step_);
    air_ = a_mg * map_;
    port_flow_ = air_ * 4 * rpm / 120 / 1000;
    const double filling = (map_ - before) / step_ * 1000 * manifold / (gas * charge) * 1000; // g/s
    signals_.maf = std::max((port_flow_ + filling) * (1 + 0.004 * random_.normal()), 0.6);
    signals_.load = 100 * air_ / 598 * (100.0 / 101.3);

    const double pressure = std::min(map_ / settings_.barometric, 0.985);
    const double x = pressure > 0.528 ? (pressure - 0.528) / 0.472 : 0;
    const double opening = signals_.maf / (150 * std::sqrt(1 - x * x)); // of the throttle's bore
    follow(signals_.throttle, std::clamp(9 + 100 * opening, 9.0, 84.0), 0.04, step_);
}

/// Fuel: metered by speed-density from the pressure that the sensor tells, corrected by what the
/// oxygen sensor saw some time later.
void Van::burn() {
    auto& s = signals_;
    follow(ripple_, random_.normal() * 3, 0.03, step_);
    s.map_true = map_;

    const auto& fault = settings_.fault;
    if (open_left_ > 0)
        open_left_ -= step_;
    else if (fault.present && stretch().roughness >= fault.roughness && speed_ > 9 &&
             random_.uniform() < fault.rate * step_) {
        open_left_ = fault.shortest + (fault.longest - fault.shortest) * random_.uniform();
        open_depth_ = fault.depth * (0.55 + 0.45 * random_.uniform());
    }
    s.contact_open = open_left_ > 0;
    double told = map_ + 0.25 * ripple_ + 0.25 * random_.normal();
    if (s.contact_open)
        told *= 1 - open_depth_ * (0.8 + 0.2 * random_.uniform());
    s.map = told;

    s.fuel_cut = pedal_ < 0.015 && s.rpm > 1350;
    // After a fuel cut the exhaust is full of air for a while: the sensor's word is not taken.
    since_cut_ = s.fuel_cut ? 0 : since_cut_ + step_;
    s.closed_loop = s.coolant > 30 && since_cut_ > 1.0;
    s.lambda_asked = map_ > 150 ? 0.93 : 1.0;
    // What the trims have to correct: injectors that flow 2 % too little, and vapour from the tank.
    follow(vapour_, 0.10 * random_.normal(), 0.8, step_);
    const double metered =
        told * (1 + (s.short_trim + s.long_trim) / 100) * (0.98 + vapour_ * s.purge / 25);
    lambda_ = s.fuel_cut ? 2.2 : std::clamp(s.lambda_asked * map_ / metered, 0.7, 2.2);

    exhaust_[exhaust_at_] = lambda_;
    exhaust_at_ = (exhaust_at_ + 1) % exhaust_.size();
    follow(s.lambda, exhaust_[exhaust_at_], 0.12, step_);
    if (s.closed_loop) {
        const double error = s.lambda / s.lambda_asked - 1;
        s.short_trim = std::clamp(s.short_trim + error * 55 * step_, -25.0, 25.0);
        if (s.coolant > 65) {
            s.long_trim += s.short_trim * 0.012 * step_;
            s.short_trim -= s.short_trim * 0.012 * step_;
        }
    } else if (s.fuel_cut) {
        follow(s.short_trim, 0, 0.5, step_);
    }
    follow(s.rear_oxygen, s.lambda > 1.6 ? 0.03 : s.lambda > 1.06 ? 0.12 : 0.70, 1.6, step_);
    s.rear_oxygen = std::clamp(s.rear_oxygen + random_.normal() * 0.0015, 0.0, 1.1);

    const double lean = std::max(lambda_ - 1.08, 0.0);
    const double efficiency = s.fuel_cut ? 0 : std::max(1 - 1.6 * lean, 0.2);
    torque_ = air_ * torque_a_mg * efficiency - friction(s.rpm);
    const double grams = s.fuel_cut ? 0 : port_flow_ / (stoichiometric * lambda_);
    s.fuel_rate = grams * 3600 / petrol_density;
    const double wanted = 34 - 0.22 * s.load + 0.0035 * (s.rpm - 1500);
    follow(s.advance, std::clamp(s.fuel_cut ? 12 : wanted, -4.0, 38.0) + 0.35 * random_.normal(),
           0.06, step_);
}

/// Gearbox and road: the automatic picks a gear by speed and pedal.
void Van::move(double brake) {
    auto& s = signals_;
    const auto gear_speed = [&](int gear) {
        return speed_ / wheel * ratio[static_cast<std::size_t>(gear)] * 60 / (2 * pi);
    };
    shift_wait_ -= step_;
    if (shift_wait_ <= 0) {
        const double up = 1900 + 2300 * pedal_;
        const double down = 1120 + 1100 * pedal_;
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
    const double stall = idle_speed + 1500 * std::min(pedal_ * 1.6, 1.0);
    const double slip = std::max(stall - shaft, 0.0) * (s.gear <= 2 ? 0.8 : 0.25);
    const double engine = std::max(shaft + slip, idle_speed);
    follow(s.rpm, engine + 5 * random_.normal(), shift_wait_ > 0.6 ? 0.16 : 0.07, step_);

    const double multiply = 1 + 0.7 * std::min(slip / 1500, 1.0);
    double force = torque_ * multiply * ratio[static_cast<std::size_t>(s.gear)] * 0.9 / wheel;
    if (shaft < idle_speed && pedal_ < 0.02)
        force = std::max(force, 120.0); // creep
    const double resist = mass * gravity * (rolling + stretch().grade) + drag * speed_ * speed_;
    double acceleration = (force - resist) / (mass * 1.06) - brake;
    if (speed_ < 0.05 && acceleration < 0)
        acceleration = 0;
    speed_ = std::max(speed_ + acceleration * step_, 0.0);
    if (wait_left_ > 0 && speed_ < 0.3)
        speed_ = 0;
    place_ += speed_ * step_;
    s.distance = place_;
    s.speed = speed_ * 3.6;
    s.pedal = 100 * pedal_;
}

void Van::warm() {
    auto& s = signals_;
    const double heat = s.fuel_rate; // L/h stands for the heat given off
    const double thermostat = std::clamp((s.coolant - 86) / 6, 0.0, 1.0);
    s.coolant += (0.021 * (heat + 3) - 0.30 * thermostat * (0.4 + speed_ / 40) -
                  0.0006 * (s.coolant - s.ambient)) *
                 step_;
    follow(s.oil, s.coolant + 4, 90, step_);
    follow(s.catalyst, 420 + 26 * heat, 25, step_);
    follow(s.intake, s.ambient + 4 + 16 / (1 + speed_ / 4) + 0.05 * std::max(map_ - 100, 0.0), 14,
           step_);
    const double charging = 14.15 - 0.004 * (s.intake - 20);
    follow(s.voltage, charging + 0.12 * random_.normal() - (s.rpm < 850 ? 0.12 : 0), 0.4, step_);
    follow(s.purge, s.closed_loop && s.coolant > 60 ? 12 + 0.3 * s.load : 0, 2.5, step_);
    s.fuel_level -= s.fuel_rate / 3600 / 70 * 100 * step_; // of a tank of 70 L
}

void Van::step() {
    double brake = 0;
    const double wanted = wanted_speed();
    drive(wanted, brake);
    breathe();
    burn();
    move(brake);
    warm();
    ++steps_;
    signals_.run_time += step_;
}

} // namespace demo
