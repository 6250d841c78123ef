// SPDX-License-Identifier: Apache-2.0
#include "diagnosis.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

#include "encode.hpp"
#include "sensors.hpp"

namespace telltale::mimic {

namespace {

constexpr std::uint16_t lean_bank_1 = 0x0171; // P0171
constexpr std::uint16_t rich_bank_1 = 0x0172; // P0172

void add(std::vector<std::uint16_t>& list, std::uint16_t code) {
    if (!has(list, code) && list.size() < Ecu::most_codes)
        list.push_back(code);
}

void remove(std::vector<std::uint16_t>& list, std::uint16_t code) {
    list.erase(std::remove(list.begin(), list.end(), code), list.end());
}

/// One more of a counter that stays at its end.
template <class Counter> void one_more(Counter& counter) {
    if (counter < std::numeric_limits<Counter>::max())
        ++counter;
}

/// The code that a controller makes of a fault. SAE J2012 has an intermittent one for the circuits
/// of some sensors (from memory).
std::uint16_t code_of(const Fault& fault) {
    const SensorRow& row = row_of(fault.sensor);
    switch (fault.kind) {
    case FaultKind::open:
        return row.open_code;
    case FaultKind::shorted:
        return row.short_code;
    case FaultKind::vacuum_leak:
        return lean_bank_1;
    case FaultKind::drop_out:
    case FaultKind::spike:
    case FaultKind::noise:
        switch (fault.sensor) {
        case Sensor::map:
            return 0x0109;
        case Sensor::maf:
            return 0x0104;
        case Sensor::coolant:
            return 0x0119;
        case Sensor::intake:
            return 0x0114;
        case Sensor::throttle:
            return 0x0124;
        case Sensor::speed:
            return 0x0503;
        default:
            return row.range_code;
        }
    default:
        return row.range_code;
    }
}

double value_of(Sensor sensor, const Signals& s) {
    switch (sensor) {
    case Sensor::map:
        return s.map;
    case Sensor::maf:
        return s.maf;
    case Sensor::coolant:
        return s.coolant;
    case Sensor::intake:
        return s.intake;
    case Sensor::throttle:
        return s.throttle;
    case Sensor::pedal:
        return s.pedal;
    case Sensor::speed:
        return s.speed;
    case Sensor::engine_speed:
        return s.rpm;
    case Sensor::lambda:
        return s.lambda;
    case Sensor::rear_oxygen:
        return s.rear_oxygen;
    case Sensor::barometric:
        return s.barometric;
    case Sensor::ambient:
        return s.ambient;
    case Sensor::oil:
        return s.oil;
    case Sensor::voltage:
        return s.voltage;
    case Sensor::fuel_level:
        return s.fuel_level;
    case Sensor::rail_pressure:
        return s.rail_pressure;
    }
    return 0;
}

// Monitors by their bit in byte C of PID 01.
enum Monitor : unsigned {
    catalyst = 0,
    nox = 1,         // diesel
    evaporative = 2, // petrol
    boost = 3,       // diesel
    sensor = 5,
    heater = 6, // petrol; diesel: particulate filter
    egr = 7,
};

/// Where the counters of a monitor stand in InfoType 08 or 0B; 0: it has none.
std::size_t counter_of(bool diesel, unsigned monitor) {
    if (diesel)
        switch (monitor) {
        case catalyst:
            return 2;
        case nox:
            return 4;
        case heater: // particulate filter
            return 8;
        case sensor:
            return 10;
        case egr:
            return 12;
        case boost:
            return 14;
        default:
            return 0;
        }
    switch (monitor) {
    case catalyst:
        return 2;
    case sensor:
        return 6;
    case egr:
        return 10;
    case evaporative:
        return 14;
    default:
        return 0;
    }
}

/// Whether the conditions of a monitor are met now, and how many seconds of them it wants.
bool conditions(bool diesel, unsigned monitor, const Signals& s, double coolant_start,
                double& wanted) {
    const bool warm = s.coolant > 65;
    const bool cruising = s.speed > 40 && s.speed < 115;
    switch (monitor) {
    case catalyst:
        wanted = 60;
        return warm && s.speed > 45 && (diesel ? s.load > 15 : s.closed_loop && s.catalyst > 470);
    case nox:
        wanted = 90;
        return diesel && warm && cruising && s.load > 10;
    case evaporative: // from a cold start only, and with some room above the fuel
        wanted = 40;
        return coolant_start < 35 && s.run_time > 420 && s.fuel_level > 15 && s.fuel_level < 85 &&
               s.purge > 8;
    case boost:
        wanted = 25;
        return s.boost_wanted > 120;
    case sensor:
        wanted = 40;
        return warm && cruising && (diesel || s.closed_loop);
    case heater:
        wanted = diesel ? 120 : 60;
        return diesel ? warm && s.speed > 50 : s.run_time > 20 && s.voltage > 11;
    case egr:
        wanted = diesel ? 40 : 12;
        return warm && (diesel ? s.egr > 5 : s.fuel_cut);
    default:
        return false;
    }
}

} // namespace

void Diagnosis::start(Ecu& ecu, const Drive& drive, bool first) {
    EcuState& e = ecu.state;
    progress_.fill({});
    continuous_ = driven_ = resting_ = 0;
    general_ = false;
    trim_ = lean_ = rich_ = 0;
    last_distance_ = 0;
    warmed_up_ = false;
    seen_.assign(drive.settings().faults.size(), 0);
    now_.clear();
    clears_ = ecu.clears();
    if (first) // it was there on the drive before
        for (const auto& fault : drive.settings().faults)
            if (fault.from <= 0)
                add(e.pending, code_of(fault));
    before_ = e.pending;
    if (!first) {
        e.this_cycle[0] =
            static_cast<std::uint8_t>((e.this_cycle[0] & 0x0F) | (e.this_cycle[0] & 0x07) << 4);
        e.this_cycle[2] = e.this_cycle[1];
        e.run_time_before = 0;
        if (e.counters.size() > 1)
            one_more(e.counters[1]);
        one_more(e.fuelled_cycles);
    }
}

void Diagnosis::step(Ecu& ecu, const Drive& drive) {
    if (ecu.clears() != clears_) {
        clears_ = ecu.clears();
        progress_.fill({});
        continuous_ = 0;
        lean_ = rich_ = 0;
        before_.clear();
        now_.clear();
        seen_.assign(seen_.size(), 0);
        lamp_km_ = clear_km_ = lamp_minutes_ = clear_minutes_ = 0;
        clean_ = 0;
    }
    count(ecu, drive.truth());
    monitors(ecu, drive);
    faults(ecu, drive);
}

void Diagnosis::count(Ecu& ecu, const Signals& s) {
    EcuState& e = ecu.state;
    const double driven = s.distance - last_distance_;
    last_distance_ = s.distance;
    const auto pass = [](double& sum, double more, double whole, std::uint16_t& counter) {
        sum += more;
        if (sum >= whole) {
            sum -= whole;
            one_more(counter);
        }
    };
    pass(clear_km_, driven, 1000, e.distance_since_clear);
    pass(clear_minutes_, step_time, 60, e.minutes_since_clear);
    if (e.lamp) {
        pass(lamp_km_, driven, 1000, e.distance_with_lamp);
        pass(lamp_minutes_, step_time, 60, e.minutes_with_lamp);
    }
    if (!warmed_up_ && s.coolant > 71 && e.run_time_before + s.run_time > 60) {
        // SAE J1979: 22 degrees warmer than at the start, and 70 at least.
        warmed_up_ = true;
        one_more(e.warm_ups_since_clear);
    }
    // The general conditions of the in-use counters: ten minutes, five of them at 40 km/h or more,
    // thirty seconds at rest.
    driven_ += s.speed >= 40 ? step_time : 0;
    resting_ += s.speed < 1.6 ? step_time : 0;
    if (!general_ && s.run_time > 600 && driven_ > 300 && resting_ > 30) {
        general_ = true;
        if (!e.counters.empty())
            one_more(e.counters[0]);
        for (unsigned i = 0; i < progress_.size(); ++i) {
            const std::size_t at = counter_of(e.diesel, i);
            if ((e.since_clear[1] >> i & 1) != 0 && at != 0 && at + 1 < e.counters.size())
                one_more(e.counters[at + 1]);
        }
    }
}

void Diagnosis::monitors(Ecu& ecu, const Drive& drive) {
    EcuState& e = ecu.state;
    const Signals& s = drive.signals();
    continuous_ += step_time;
    if (continuous_ > 20) {
        e.since_clear[0] &= 0x0F;
        e.this_cycle[0] &= 0x0F;
    }
    for (unsigned i = 0; i < progress_.size(); ++i) {
        if ((e.since_clear[1] >> i & 1) == 0 || progress_[i].complete)
            continue;
        double wanted = 0;
        if (conditions(e.diesel, i, s, drive.settings().coolant_start, wanted))
            progress_[i].seconds += step_time;
        if (wanted > 0 && progress_[i].seconds >= wanted)
            complete(ecu, i, s);
    }
}

/// A monitor has run to its end: readiness, its counter, its results.
void Diagnosis::complete(Ecu& ecu, unsigned monitor, const Signals& signals) {
    EcuState& e = ecu.state;
    progress_[monitor].complete = true;
    const auto done = static_cast<std::uint8_t>(~(1U << monitor));
    e.since_clear[2] &= done;
    e.this_cycle[2] &= done;
    if (const std::size_t at = counter_of(e.diesel, monitor); at != 0 && at < e.counters.size())
        one_more(e.counters[at]);

    const auto result = [&](std::uint8_t id, std::uint8_t test, double value, double low,
                            double high) {
        const auto raw = [](double x) {
            return static_cast<std::uint16_t>(std::clamp(x, 0.0, 65535.0));
        };
        for (auto& t : e.tests)
            if (t.monitor == id && t.test == test) {
                t.value = raw(value * random_.between(0.95, 1.05));
                t.low = raw(low);
                t.high = raw(high);
            }
    };
    if (e.diesel) {
        if (monitor == egr)
            result(0x31, 0x80, 2100, 800, 6000);
        if (monitor == boost)
            result(0x85, 0x80, signals.map, 60, 255);
        if (monitor == heater)
            result(0xB2, 0x80, 100 * signals.filter_drop + 150, 80, 2400);
        return;
    }
    switch (monitor) {
    case catalyst:
        result(0x21, 0x80, 61, 0, 154);
        break;
    case evaporative:
        result(0x3C, 0x80, 31, 0, 90);
        result(0x3D, 0x80, 38, 10, 65535);
        break;
    case sensor:
        result(0x01, 0x80, 612, 450, 820);
        result(0x01, 0x81, 84, 0, 250);
        result(0x02, 0x80, 703, 600, 1000);
        break;
    case heater:
        result(0x41, 0x80, 7, 3, 18);
        for (std::uint8_t cylinder = 0xA2; cylinder <= 0xA5; ++cylinder)
            for (const std::uint8_t test : {std::uint8_t{0x0B}, std::uint8_t{0x0C}})
                result(cylinder, test, 0, 0, 65535);
        break;
    case egr:
        result(0x31, 0x80, 2400, 900, 6000);
        result(0x35, 0x80, 212, 0, 700);
        break;
    default:
        break;
    }
}

void Diagnosis::faults(Ecu& ecu, const Drive& drive) {
    const Signals& told = drive.signals();
    const Signals& truth = drive.truth();
    if (!ecu.state.diesel && told.closed_loop) {
        const double trim = told.short_trim + told.long_trim;
        trim_ += (trim - trim_) * step_time / 4;
        lean_ = trim_ > 18 ? lean_ + step_time : 0;
        rich_ = trim_ < -18 ? rich_ + step_time : 0;
        if (lean_ > 8)
            found(ecu, lean_bank_1, told);
        if (rich_ > 8)
            found(ecu, rich_bank_1, told);
    }
    const auto& faults = drive.settings().faults;
    for (std::size_t i = 0; i < faults.size() && i < seen_.size(); ++i) {
        const Fault& fault = faults[i];
        if (fault.kind == FaultKind::vacuum_leak || !drive.acts(fault))
            continue;
        // A real controller has a model, or another sensor, to hold it against; here it is the
        // truth. An open or shorted circuit it sees by the voltage.
        const bool circuit = fault.kind == FaultKind::open || fault.kind == FaultKind::shorted;
        const double away = std::fabs(value_of(fault.sensor, told) - value_of(fault.sensor, truth));
        const bool now_and_then = fault.kind == FaultKind::drop_out ||
                                  fault.kind == FaultKind::spike || fault.kind == FaultKind::noise;
        if (circuit || away > (now_and_then ? 0.06 : 0.1) * row_of(fault.sensor).span)
            seen_[i] += step_time;
        if (seen_[i] > 2)
            found(ecu, code_of(fault), told);
    }
}

void Diagnosis::found(Ecu& ecu, std::uint16_t code, const Signals& signals) {
    if (has(now_, code))
        return;
    add(now_, code);
    EcuState& e = ecu.state;
    clean_ = 0;
    if (has(before_, code)) { // the second driving cycle in a row
        add(e.stored, code);
        add(e.permanent, code);
        e.lamp = true;
        if (!ecu.has_freeze_frame())
            ecu.freeze(code, signals);
    } else {
        add(e.pending, code);
    }
}

bool Diagnosis::all_complete(const Ecu& ecu) const {
    return ecu.state.this_cycle[2] == 0 && (ecu.state.this_cycle[0] & 0x70) == 0;
}

void Diagnosis::finish(Ecu& ecu) {
    EcuState& e = ecu.state;
    const auto pending = e.pending;
    for (const auto code : pending)
        if (!has(now_, code))
            remove(e.pending, code);
    for (const auto code : now_)
        add(e.pending, code);
    const bool clean = std::none_of(e.stored.begin(), e.stored.end(),
                                    [&](std::uint16_t code) { return has(now_, code); });
    clean_ = clean ? clean_ + 1 : 0;
    if (e.lamp && clean_ >= 3)
        e.lamp = false;
    // A permanent code goes by itself alone: after its monitor has run to the end and found nothing
    // while the lamp is off.
    const auto permanent = e.permanent;
    for (const auto code : permanent)
        if (!e.lamp && !has(now_, code) && !has(e.stored, code) && all_complete(ecu))
            remove(e.permanent, code);
    if (!e.lamp && clean_ >= 40)
        e.stored.clear();
}

} // namespace telltale::mimic
