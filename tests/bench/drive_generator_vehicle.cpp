// SPDX-License-Identifier: Apache-2.0
// Drives of invented petrol, diesel and stop-start vehicles: a driver follows traffic, the engine
// gives the power that this needs, the sensors see the engine. The figures are plausible (common
// practice), not those of any vehicle.
#include <algorithm>
#include <array>
#include <cmath>
#include <numeric>

#include "drive_generator.hpp"

namespace bench {
namespace {

constexpr double dt = 0.05;

struct Vehicle {
    bool diesel = false;
    bool stop_start = false;
    bool stepless = false; ///< no fixed gears
    bool smart_generator = false;
    bool turbo = false;
    bool wide_sensor = true;
    double mass = 1400;
    double drag = 0.7;
    double rolling = 0.011;
    double litres = 1.6;
    double idle = 750;
    double top_torque = 150;
    double thermostat = 90;
    double open_gear[8] = {};
    std::size_t gears = 5;
    double shift_up = 2400;
    double ve_base = 0.75;
    double ve_slope = 0.15;
    double ve_peak = 4000;
    double spark_base = 12;
    double spark_rpm = 6;
    double spark_load = 18;
    double trim_cells[4][4] = {};
    double sensor_lag[40] = {};
    double noise_scale = 1;
    double boost_gain = 0.9;
    double egr_top = 30;
    double rail_base = 300;
    double rail_gain = 900;
};

Vehicle draw_vehicle(Random& random) {
    Vehicle v;
    v.diesel = random.chance(0.4);
    v.stop_start = random.chance(0.25);
    v.stepless = random.chance(0.15);
    v.smart_generator = random.chance(0.4);
    v.turbo = v.diesel || random.chance(0.4);
    v.mass = random.uniform(900, 2600);
    v.drag = random.uniform(0.55, 1.3);
    v.rolling = random.uniform(0.008, 0.015);
    v.litres = random.uniform(1.0, 3.5);
    v.idle = random.uniform(620, 900);
    v.top_torque = v.litres * (v.turbo ? random.uniform(120, 180) : random.uniform(85, 105));
    v.thermostat = random.uniform(82, 104);
    v.gears = 4 + random.below(4);
    const double first = random.uniform(11, 15);
    const double last = random.uniform(2.3, 3.4);
    for (std::size_t g = 0; g < v.gears; ++g)
        v.open_gear[g] = first * std::pow(last / first, static_cast<double>(g) /
                                                            static_cast<double>(v.gears - 1));
    v.shift_up = v.diesel ? random.uniform(1700, 2400) : random.uniform(2000, 3200);
    v.ve_base = random.uniform(0.65, 0.85);
    v.ve_slope = random.uniform(0.05, 0.25);
    v.ve_peak = v.diesel ? random.uniform(2000, 3000) : random.uniform(3000, 5000);
    v.spark_base = random.uniform(8, 16);
    v.spark_rpm = random.uniform(3, 9);
    v.spark_load = random.uniform(10, 25);
    for (auto& row : v.trim_cells)
        for (double& cell : row)
            cell = random.normal(2.5);
    for (double& lag : v.sensor_lag)
        lag = random.uniform(0.02, 0.25);
    v.noise_scale = std::exp(random.normal(0.4));
    v.boost_gain = random.uniform(0.5, 1.4);
    v.egr_top = random.uniform(15, 45);
    v.rail_base = random.uniform(250, 400);
    v.rail_gain = random.uniform(600, 1400);
    return v;
}

struct Day {
    double ambient = 15;
    double baro = 100;
    double start_temperature = 15;
    double fuel_level = 60;
    double electric_load = 0.3;
    double eagerness = 1;
    double town = 0.5;
    double soot = 0.5;
};

Day draw_day(Random& random) {
    Day day;
    day.ambient = random.uniform(-5, 32);
    day.baro = random.uniform(94, 103);
    day.fuel_level = random.uniform(20, 95);
    day.electric_load = random.uniform(0.1, 0.6);
    day.soot = random.uniform(0.2, 0.8);
    return day;
}

/// The same road another day: a little warmer, other lights, another start.
Day another_day(Random& random, const Day& first) {
    Day day = first;
    day.ambient += random.normal(3);
    day.baro += random.normal(0.6);
    day.soot = std::clamp(first.soot + random.normal(0.01), 0.1, 1.0);
    day.fuel_level = std::clamp(first.fuel_level + random.normal(10), 5.0, 98.0);
    day.electric_load = std::clamp(first.electric_load + random.normal(0.1), 0.05, 0.8);
    return day;
}

std::vector<double> draw_speed(Random& random, const Day& day, double seconds) {
    const auto steps = static_cast<std::size_t>(seconds / dt) + 1;
    std::vector<double> speed(steps, 0.0);
    double v = 0;
    double target = 0;
    double until = random.uniform(2, 15);
    double a = 0;
    double wobble = 0;
    for (std::size_t i = 0; i < steps; ++i) {
        const double t = static_cast<double>(i) * dt;
        if (t > until) {
            const bool stop = random.chance(0.25 + 0.1 * day.town) && target > 0;
            const double top = random.chance(day.town) ? 16 : 36;
            target = stop ? 0 : random.uniform(5, top);
            until = t + (stop ? random.uniform(4, 40) : random.uniform(8, 60));
        }
        wobble += dt * (-wobble / 4) + random.normal(0.25) * std::sqrt(dt);
        const double wish = target == 0 ? 0 : std::max(0.0, target + 1.5 * wobble);
        const double pull = std::clamp((wish - v) * 0.35, -2.6, 1.9 * day.eagerness / (1 + v / 35));
        a += (pull - a) * dt / 0.6;
        v = std::max(0.0, v + a * dt);
        if (target == 0 && v < 0.3) {
            v = 0;
            a = 0;
        }
        speed[i] = v;
    }
    return speed;
}

/// First-order sensor or process.
void slow(std::vector<double>& grid, double time_constant) {
    const double k = 1 - std::exp(-dt / std::max(1e-3, time_constant));
    double y = grid.empty() ? 0 : grid.front();
    for (double& x : grid) {
        y += k * (x - y);
        x = y;
    }
}

struct Row {
    std::uint16_t id;
    std::uint8_t index;
    const char* name;
    const char* key;
    telltale::Unit unit;
    double step, low, high, noise;
    bool can_fail;
};

Recording drive(Random& random, const Vehicle& v, const Day& day, double seconds,
                const std::vector<double>& grade_by_road) {
    using telltale::Unit;
    const std::vector<double> speed = draw_speed(random, day, seconds);
    const std::size_t n = speed.size();
    enum : std::size_t {
        rpm,
        vss,
        load,
        app_d,
        app_e,
        ect,
        iat,
        map,
        maf,
        baro,
        aat,
        volts,
        eot,
        rail,
        egr,
        egr_error,
        level,
        runtime,
        demand,
        torque,
        absload,
        throttle,
        throttle_rel,
        tac,
        spark,
        stft1,
        ltft1,
        stft2,
        ltft2,
        o2_front,
        o2_rear,
        ratio,
        cat1,
        cat2,
        purge,
        fuel_rate, // petrol from `throttle` on, the diesel's below share `common`
        boost_wish,
        vane,
        egt1,
        egt2,
        dpf_dp,
        charge_temp,
        injection,
        nox,
        fuel_temp,
        count
    };
    std::vector<std::vector<double>> s(count, std::vector<double>(n, 0.0));

    double engine = v.idle;
    double coolant = day.start_temperature;
    double oil = day.start_temperature;
    double bay = day.ambient + 2;
    std::size_t gear = 0;
    double shift_left = 0;
    double previous_power = 0;
    double o2_phase = 0;
    double rear = 0.65;
    double purge_now = 0;
    double purge_until = 60;
    double cat = day.ambient + 20;
    double exhaust = day.ambient + 20;
    double filter_load = day.soot;
    double lamps = 0;
    double lamps_until = 30;
    double trim_short = 0;
    std::array<std::array<double, 4>, 4> cells{};
    for (std::size_t i = 0; i < 4; ++i)
        for (std::size_t j = 0; j < 4; ++j)
            cells[i][j] = v.trim_cells[i][j];
    double boost = 0;
    double travelled = 0;
    double height = 0;
    double slosh = 0;
    double pump = 0;
    double fan = 0;
    for (std::size_t i = 0; i < n; ++i) {
        const double t = static_cast<double>(i) * dt;
        const double vel = speed[i];
        const double acc = i > 0 ? (vel - speed[i - 1]) / dt : 0;
        travelled += vel * dt;
        const auto km =
            std::min(static_cast<std::size_t>(travelled / 100), grade_by_road.size() - 1);
        const double grade = grade_by_road[km];
        height += grade * vel * dt;
        const double force = v.mass * acc + v.mass * 9.81 * (grade + (vel > 0.1 ? v.rolling : 0)) +
                             0.6 * v.drag * vel * vel;
        const double power = force * vel; // W
        const bool stopped = vel < 0.2;
        const bool off = v.stop_start && stopped && t > 20 && coolant > 50;
        // Gears: up when turning fast, down when slow, with a moment of slip between.
        double wish = v.idle;
        if (v.stepless) {
            const double need = std::clamp(power / 1000, 0.0, 90.0);
            wish = std::max(v.idle + (stopped ? 0 : 250), 1100 + 38 * need);
            if (!stopped)
                wish = std::min(wish, std::max(v.idle, vel * 250));
        } else {
            const double per = vel / (2 * 3.14159 * 0.31) * 60;
            if (shift_left <= 0) {
                const double now = per * v.open_gear[gear];
                const double up = v.shift_up * (1 + 0.5 * std::clamp(power / 60000, 0.0, 1.0));
                if (now > up && gear + 1 < v.gears) {
                    ++gear;
                    shift_left = 0.6;
                } else if (now < v.shift_up * 0.52 && gear > 0) {
                    --gear;
                    shift_left = 0.4;
                }
            }
            shift_left -= dt;
            wish = std::max(v.idle + (vel > 0.3 && gear == 0 ? 150 : 0), per * v.open_gear[gear]);
        }
        const double cold = std::clamp((60 - coolant) / 60, 0.0, 1.0);
        wish = std::max(wish, v.idle + 350 * cold);
        if (off)
            wish = 0;
        engine += (wish - engine) * dt / (shift_left > 0 ? 0.18 : 0.10);
        const double turning = std::max(0.0, engine);
        const double omega = std::max(40.0, turning * 2 * 3.14159 / 60);
        const double friction = v.litres * (9 + turning / 450) * (1 + 0.8 * cold);
        const double smooth_power = previous_power + (power - previous_power) * dt / 0.3;
        previous_power = smooth_power;
        double need = smooth_power / omega / 0.9 + friction * (stopped ? 1.0 : 0.6) +
                      (lamps + day.electric_load) * 8;
        const bool overrun = !stopped && need < friction * 0.25 && turning > v.idle + 250;
        if (shift_left > 0.1)
            need *= 0.4;
        const double top =
            v.top_torque * (1 - 0.25 * std::pow((turning - v.ve_peak) / (v.ve_peak + 1500), 2));
        double share = overrun ? 0.03 : std::clamp(need / std::max(20.0, top), 0.05, 1.0);
        if (off)
            share = 0;
        const double pressure_top = v.turbo ? day.baro * (1 + v.boost_gain) : day.baro;
        double manifold = 0;
        if (v.diesel) {
            const double goal = day.baro * (1 + v.boost_gain * share *
                                                    std::clamp((turning - 900) / 1400, 0.0, 1.0));
            boost += (goal - day.baro - boost) * dt / 0.7;
            manifold = day.baro + boost - 1.5;
            s[boost_wish][i] = goal;
        } else {
            const double goal = overrun ? 22 : 26 + (pressure_top - 26) * std::pow(share, 0.92);
            manifold = std::min(goal, pressure_top);
            if (off)
                manifold = day.baro;
        }
        s[map][i] = manifold;
        const double inlet = bay;
        const double ve =
            v.ve_base + v.ve_slope * (1 - std::pow((turning - v.ve_peak) / (v.ve_peak + 1000), 2)) +
            0.0006 * (manifold - 60) * (v.diesel ? 0.2 : 1);
        double recirculation = 0;
        if (coolant > 50 && share > 0.08 && share < 0.6 && !off)
            recirculation = v.egr_top * (1 - std::pow((share - 0.3) / 0.35, 2)) *
                            std::clamp((3500 - turning) / 1500, 0.0, 1.0);
        recirculation = std::max(0.0, recirculation);
        // Ideal gas: mass = p V M / (R T), per two turns of a four-stroke engine.
        const double air = turning / 120 * v.litres * 1e-3 * manifold * 1000 * 28.96 /
                           (8.314462618 * (inlet + 273.15)) * ve *
                           (1 - (v.diesel ? recirculation / 100 : 0));
        s[maf][i] = air;
        s[rpm][i] = turning;
        s[vss][i] = vel * 3.6;
        s[load][i] = v.diesel ? 100 * share
                              : std::min(100.0, 100 * manifold / pressure_top * (0.8 + 0.2 * ve));
        s[absload][i] =
            std::min(400.0, turning > 200 ? air * 120 / turning / v.litres / 1.184 * 100 : 0);
        const double open =
            overrun || off
                ? 0
                : std::clamp(share * (0.35 + 0.65 * turning / 5500) + 0.02 * share, 0.0, 1.0);
        s[throttle][i] = off ? 6 : 12 + 75 * std::pow(open, 0.9);
        s[throttle_rel][i] = std::max(0.0, s[throttle][i] - 11.5);
        s[tac][i] = std::max(0.0, s[throttle][i] - 9.0);
        const double pedal =
            overrun || stopped ? 0 : std::clamp((need - friction * 0.5) / v.top_torque, 0.0, 1.0);
        s[app_d][i] = 15 + 60 * pedal;
        s[app_e][i] = 7.5 + 30 * pedal;
        s[demand][i] = overrun ? -8 : 100 * share - 2;
        s[torque][i] = overrun ? -8 : 100 * share * (0.97 + 0.03 * ve) - 2;
        s[spark][i] = off ? 0
                          : v.spark_base + v.spark_rpm * turning / 1000 - v.spark_load * share +
                                (overrun ? -6 : 0) + 4 * cold +
                                (stopped ? 4 * std::sin(t * 2.1 + std::sin(t)) * 0.6 : 0);
        // Mixture: a slow learned trim by cell of speed and load, a quick one that hunts about it.
        const auto ci = static_cast<std::size_t>(std::clamp(turning / 900, 0.0, 3.0));
        const auto cj = static_cast<std::size_t>(std::clamp(share * 4, 0.0, 3.0));
        const bool closed = coolant > 35 && !overrun && !off && share < 0.9;
        const double rate = 0.8 + turning / 2500;
        o2_phase += dt * rate;
        const bool rich = o2_phase - std::floor(o2_phase) < 0.5;
        trim_short +=
            closed ? dt * (rich ? -3.0 : 3.0) - trim_short * dt * 0.4 : -trim_short * dt * 2;
        cells[ci][cj] += closed ? trim_short * dt * 0.003 : 0;
        s[stft1][i] = trim_short;
        s[stft2][i] = trim_short * 0.9 + random.normal(0.2);
        s[ltft1][i] = cells[ci][cj];
        s[ltft2][i] = cells[ci][cj] * 0.8 + 0.6;
        s[o2_front][i] = overrun || off ? 0.08 : !closed ? 0.8 : (rich ? 0.78 : 0.15);
        rear += ((overrun || off ? 0.1 : 0.68) - rear) * dt / 4;
        s[o2_rear][i] = rear;
        s[ratio][i] = overrun ? 1.3 : share > 0.9 ? 0.88 : 1 + (rich ? -0.008 : 0.008);
        cat += (day.ambient + (off ? 250 : 320 + 450 * share + turning * 0.03) - cat) * dt / 60;
        s[cat1][i] = cat;
        s[cat2][i] = day.ambient + (cat - day.ambient) * 0.88;
        if (t > purge_until) {
            purge_now = closed && random.chance(0.7) ? random.uniform(5, 60) : 0;
            purge_until = t + random.uniform(15, 60);
        }
        s[purge][i] = overrun || off ? 0 : purge_now * std::min(1.0, share * 2);
        const double fuel = overrun || off ? 0
                            : v.diesel     ? share * turning * v.litres * 0.0027
                                           : air / 14.7 / 745 * 3600;
        s[fuel_rate][i] = fuel;
        exhaust +=
            (day.ambient + (off ? 120 : 140 + 420 * share + turning * 0.035) - exhaust) * dt / 8;
        s[egt1][i] = exhaust;
        s[egt2][i] = 0;
        filter_load = std::min(1.0, filter_load + dt * share * 2e-5);
        s[dpf_dp][i] = (1 + 3 * filter_load) * std::pow(air / 40, 1.3) * 2.2;
        s[charge_temp][i] =
            inlet + 6 + 0.25 * std::max(0.0, manifold - day.baro) - std::min(12.0, vel * 0.3);
        s[injection][i] = off ? 0 : 2 + turning / 500 + 4 * share - 3 * cold;
        s[nox][i] =
            off || overrun ? 20 : 60 + 900 * std::pow(share, 1.4) * (1 - recirculation / 70);
        s[vane][i] = off ? 85 : std::clamp(85 - 55 * share - turning * 0.006, 8.0, 90.0);
        s[egr][i] = recirculation;
        s[egr_error][i] = recirculation > 1 ? random.normal(1.5) : 0;
        pump +=
            ((off ? 0 : v.rail_base + v.rail_gain * share * std::clamp(turning / 2500, 0.3, 1.2)) -
             pump) *
            dt / 0.25;
        s[rail][i] = pump * (v.diesel ? 100 : 12);
        // Heat.
        const double heat = off ? 0 : 0.05 + 0.25 * share * turning / 2000;
        const double opened = std::clamp((coolant - v.thermostat) / 6, 0.0, 1.0);
        fan = coolant > v.thermostat + 7 ? 1 : coolant < v.thermostat + 3 ? 0 : fan;
        coolant += dt * (heat * 1.6 - opened * (0.15 + 0.012 * vel + 0.4 * fan) -
                         0.0008 * (coolant - day.ambient));
        oil += dt * ((coolant + 12 * share + 4 - oil) / 120);
        bay += dt * ((day.ambient + 22 / (1 + vel * 0.25) + (off ? 6 : 0) - bay) / 60);
        s[ect][i] = coolant;
        s[eot][i] = oil;
        s[iat][i] = bay;
        s[aat][i] = day.ambient + 3 * std::exp(-vel / 6);
        s[fuel_temp][i] = day.ambient + 5 + 12 * (1 - std::exp(-t / 900));
        s[baro][i] = day.baro - 0.0115 * height;
        if (t > lamps_until) {
            lamps = random.chance(0.5) ? random.uniform(0, 0.5) : lamps;
            lamps_until = t + random.uniform(20, 90);
        }
        double voltage = 14.25 - 0.5 * (lamps + day.electric_load) - 0.15 * fan;
        if (v.smart_generator)
            voltage = overrun ? 14.8 : share > 0.5 ? 12.9 : 13.7 - 0.3 * lamps;
        if (off)
            voltage = 12.3 - 0.4 * lamps;
        if (turning < v.idle * 0.95 && !off)
            voltage -= 0.2;
        s[volts][i] = voltage;
        slosh += dt * (-slosh / 6) +
                 random.normal(0.5) * std::sqrt(dt) * std::min(1.0, std::abs(acc) + 0.1);
        s[level][i] = day.fuel_level - travelled * 1e-4 + slosh;
        s[runtime][i] = t;
    }
    slow(s[throttle], 0.06);
    slow(s[throttle_rel], 0.06);
    slow(s[tac], 0.03);
    slow(s[map], v.sensor_lag[0]);
    slow(s[maf], v.sensor_lag[1]);
    slow(s[load], 0.1);
    slow(s[absload], v.sensor_lag[1]);
    slow(s[spark], 0.08);
    slow(s[torque], 0.12);
    slow(s[volts], 0.3);
    slow(s[egr], v.sensor_lag[2] * 3);
    slow(s[egr_error], 0.3);
    slow(s[o2_front], 0.08);
    slow(s[ratio], 0.15);
    slow(s[stft1], 0.1);
    slow(s[purge], 0.3);
    slow(s[fuel_rate], 0.15);
    slow(s[nox], 1.5);
    slow(s[vane], 0.3);
    slow(s[dpf_dp], 0.2);
    slow(s[app_e], 0.01);
    s[egt2] = s[egt1];
    slow(s[egt2], 25);
    slow(s[charge_temp], 6);
    slow(s[iat], 4);

    // PIDs, steps and ranges as SAE J1979-DA has them; the noise of each sensor is invented.
    const double q = v.noise_scale;
    const Row rows[] = {
        {0x0C, 0, "Engine speed", "RPM", Unit::rpm, 0.25, 0, 16383.75, 6 * q, true},
        {0x0D, 0, "Vehicle speed", "VSS", Unit::kilometre_hour, 1, 0, 255, 0.15, true},
        {0x04, 0, "Calculated load", "LOAD_PCT", Unit::percent, 100 / 255.0, 0, 100, 0.4 * q, true},
        {0x49, 0, "Accelerator pedal position D", "APP_D", Unit::percent, 100 / 255.0, 0, 100,
         0.2 * q, true},
        {0x4A, 0, "Accelerator pedal position E", "APP_E", Unit::percent, 100 / 255.0, 0, 100,
         0.15 * q, true},
        {0x05, 0, "Engine coolant temperature", "ECT", Unit::celsius, 1, -40, 215, 0.2, true},
        {0x0F, 0, "Intake air temperature", "IAT", Unit::celsius, 1, -40, 215, 0.2, true},
        {0x0B, 0, "Intake manifold absolute pressure", "MAP", Unit::kilopascal_air, 1, 0, 255,
         0.5 * q, true},
        {0x10, 0, "Mass air flow", "MAF", Unit::gram_second, 0.01, 0, 655.35, 0.12 * q, true},
        {0x33, 0, "Barometric pressure", "BARO", Unit::kilopascal_air, 1, 0, 255, 0.1, true},
        {0x46, 0, "Ambient air temperature", "AAT", Unit::celsius, 1, -40, 215, 0.1, true},
        {0x42, 0, "Control module voltage", "VPWR", Unit::volt, 0.001, 0, 65.535, 0.04 * q, true},
        {0x5C, 0, "Engine oil temperature", "EOT", Unit::celsius, 1, -40, 215, 0.2, true},
        {0x23, 0, "Fuel rail gauge pressure", "FRP", Unit::kilopascal, 10, 0, 655350,
         (v.diesel ? 300 : 40) * q, true},
        {0x2C, 0, "Commanded EGR", "EGR_PCT", Unit::percent, 100 / 255.0, 0, 100, 0.1, true},
        {0x2D, 0, "EGR error", "EGR_ERR", Unit::percent, 100 / 128.0, -100, 99.21875, 0.5, true},
        {0x2F, 0, "Fuel level", "FLI", Unit::percent, 100 / 255.0, 0, 100, 0.2, true},
        {0x1F, 0, "Run time", "RUNTM", Unit::second, 1, 0, 65535, 0, false},
        {0x61, 0, "Demanded torque", "TQ_DD", Unit::percent, 1, -125, 130, 0.2, true},
        {0x62, 0, "Actual torque", "TQ_ACT", Unit::percent, 1, -125, 130, 0.4 * q, true},
        {0x43, 0, "Absolute load", "LOAD_ABS", Unit::percent, 100 / 255.0, 0, 25700, 0.4 * q, true},
        {0x11, 0, "Throttle position", "TP", Unit::percent, 100 / 255.0, 0, 100, 0.15 * q, true},
        {0x45, 0, "Relative throttle position", "TP_R", Unit::percent, 100 / 255.0, 0, 100,
         0.15 * q, true},
        {0x4C, 0, "Commanded throttle", "TAC_PCT", Unit::percent, 100 / 255.0, 0, 100, 0.05, true},
        {0x0E, 0, "Timing advance", "SPARKADV", Unit::degree, 0.5, -64, 63.5, 0.4 * q, true},
        {0x06, 0, "Short term fuel trim 1", "SHRTFT1", Unit::percent, 100 / 128.0, -100, 99.21875,
         0.4, true},
        {0x07, 0, "Long term fuel trim 1", "LONGFT1", Unit::percent, 100 / 128.0, -100, 99.21875,
         0.0, true},
        {0x08, 0, "Short term fuel trim 2", "SHRTFT2", Unit::percent, 100 / 128.0, -100, 99.21875,
         0.4, true},
        {0x09, 0, "Long term fuel trim 2", "LONGFT2", Unit::percent, 100 / 128.0, -100, 99.21875,
         0.0, true},
        {0x14, 0, "O2 sensor 11 voltage", "O2S11", Unit::volt, 0.005, 0, 1.275, 0.02, true},
        {0x15, 0, "O2 sensor 12 voltage", "O2S12", Unit::volt, 0.005, 0, 1.275, 0.01, true},
        {0x24, 0, "O2 sensor 11 ratio", "LAMBDA11", Unit::ratio, 2.0 / 65536, 0, 1.99997, 0.003 * q,
         true},
        {0x3C, 0, "Catalyst temperature 11", "CATEMP11", Unit::celsius, 0.1, -40, 6513.5, 0.8 * q,
         true},
        {0x3E, 0, "Catalyst temperature 12", "CATEMP12", Unit::celsius, 0.1, -40, 6513.5, 0.8 * q,
         true},
        {0x2E, 0, "Commanded evaporative purge", "EVAP_PCT", Unit::percent, 100 / 255.0, 0, 100,
         0.1, true},
        {0x5E, 0, "Engine fuel rate", "FUEL_RATE", Unit::litre_hour, 0.05, 0, 3276.75, 0.05 * q,
         true},
        {0x70, 1, "Commanded boost pressure A", "", Unit::kilopascal_air, 0.03125, 0, 2047.97, 0.1,
         true},
        {0x71, 1, "Variable geometry turbo A position", "", Unit::percent, 100 / 255.0, 0, 100,
         0.4 * q, true},
        {0x78, 1, "Exhaust gas temperature 11", "EGT11", Unit::celsius, 0.1, -40, 6513.5, 1.0 * q,
         true},
        {0x78, 2, "Exhaust gas temperature 12", "EGT12", Unit::celsius, 0.1, -40, 6513.5, 1.0 * q,
         true},
        {0x7A, 1, "Particulate filter pressure difference 1", "", Unit::kilopascal, 0.01, -327.68,
         327.67, 0.05 * q, true},
        {0x77, 1, "Charge air temperature 11", "", Unit::celsius, 1, -40, 215, 0.3, true},
        {0x5D, 0, "Fuel injection timing", "FUEL_TIMING", Unit::degree, 1 / 128.0, -210, 301.99,
         0.1 * q, true},
        {0x83, 1, "NOx 11", "", Unit::ppm, 1, 0, 65535, 6 * q, true},
        {0x97, 1, "Fuel temperature", "", Unit::celsius, 1, -40, 215, 0.2, true},
    };
    static_assert(std::size(rows) == count);
    Recording recording;
    recording.dt = dt;
    for (std::size_t c = 0; c < count; ++c) {
        const bool petrol_only = c >= throttle && c <= fuel_rate && c != ratio && c != fuel_rate;
        const bool diesel_only = c >= boost_wish;
        if (v.diesel ? petrol_only : diesel_only)
            continue;
        Channel channel;
        channel.id = rows[c].id;
        channel.index = rows[c].index;
        channel.name = rows[c].name;
        channel.key = rows[c].key;
        channel.unit = rows[c].unit;
        channel.step = rows[c].step;
        channel.low = rows[c].low;
        channel.high = rows[c].high;
        channel.noise = rows[c].noise;
        channel.own = c == o2_front ? 0.3 : c == egr_error ? 1.5 : 0;
        channel.can_fail = rows[c].can_fail;
        channel.grid = std::move(s[c]);
        recording.channels.push_back(std::move(channel));
    }
    return recording;
}

std::size_t place(const Recording& recording, std::uint16_t id) {
    for (std::size_t i = 0; i < recording.channels.size(); ++i)
        if (recording.channels[i].id == id)
            return i;
    return recording.channels.size();
}

} // namespace

World make_vehicle(Random& random, double seconds) {
    const Vehicle vehicle = draw_vehicle(random);
    Day day = draw_day(random);
    Day other = another_day(random, day);
    const bool cold = random.chance(0.4);
    day.start_temperature = cold ? day.ambient + random.uniform(0, 5) : random.uniform(70, 95);
    other.start_temperature =
        random.chance(0.8) == cold ? other.ambient + random.uniform(0, 5) : random.uniform(70, 95);
    day.eagerness = random.uniform(0.7, 1.3);
    other.eagerness = std::clamp(day.eagerness + random.normal(0.15), 0.6, 1.5);
    day.town = random.uniform(0.2, 0.9);
    other.town = std::clamp(day.town + random.normal(0.15), 0.1, 1.0);
    std::vector<double> road(2000);
    double grade = 0;
    for (double& piece : road) {
        grade = grade * 0.9 + random.normal(0.008);
        piece = grade;
    }
    World world;
    world.good = drive(random, vehicle, day, seconds, road);
    world.bad = drive(random, vehicle, other, seconds, road);
    world.good.about = std::string(vehicle.diesel ? "diesel" : "petrol") +
                       (vehicle.stop_start ? ", stop-start" : "") +
                       (vehicle.stepless ? ", stepless" : "");
    const auto link = [&](std::uint16_t from, std::uint16_t to, double gain, double delay) {
        const Follow follow{place(world.bad, from), place(world.bad, to), gain, delay};
        if (follow.from < world.bad.channels.size() && follow.to < world.bad.channels.size())
            world.follows.push_back(follow);
    };
    // What the engine's computer makes of a sensor that reads wrong (common practice): the trims
    // put right what the air meter gets wrong, timing goes with the load and the coolant.
    link(0x10, 0x06, -40, 1);
    link(0x10, 0x07, -30, 12);
    link(0x10, 0x5E, 4, 0.2);
    link(0x0B, 0x06, -40, 1);
    link(0x0B, 0x0E, -10, 0.3);
    link(0x05, 0x0E, -5, 1);
    link(0x23, 0x06, -20, 1);
    link(0x0B, 0x71, -25, 0.6);
    return world;
}

} // namespace bench
