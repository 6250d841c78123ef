// SPDX-License-Identifier: Apache-2.0
#include "make.hpp"

#include <algorithm>
#include <string>

#include "telltale/vehicle/vin.hpp"

namespace telltale::mimic {

namespace {

/// A VIN that no vehicle has: no maker has the world manufacturer identifier 0TT (ISO 3780 gives no
/// region the first character 0: from memory). Its check digit is right.
std::string make_vin(Random& random, bool diesel) {
    static constexpr std::string_view letters = "ABCDEFGHJKLMNPRSTUVWXYZ";
    const auto letter = [&] {
        return letters[random.below(static_cast<std::uint32_t>(letters.size()))];
    };
    std::string vin = "0TT";
    for (int i = 0; i < 3; ++i)
        vin += letter();
    vin += diesel ? 'D' : 'P';
    vin += static_cast<char>('1' + random.below(9));
    vin += '0'; // the check digit's place
    vin += "KLMNPR"[random.below(6)];
    vin += letter();
    for (int i = 0; i < 6; ++i)
        vin += static_cast<char>('0' + random.below(10));
    for (const char digit : std::string_view("0123456789X")) {
        vin[8] = digit;
        if (vehicle::check_vin(vin) == vehicle::VinCheck::right)
            break;
    }
    return vin;
}

std::string digits(Random& random, int count) {
    std::string text;
    for (int i = 0; i < count; ++i)
        text += static_cast<char>('0' + random.below(10));
    return text;
}

Calibration calibration(Random& random, std::string_view prefix) {
    return {std::string(prefix) + digits(random, 4) + "-" + digits(random, 2),
            static_cast<std::uint32_t>(random.next())};
}

void make_car(DriveSettings& d, Random& random) {
    Car& car = d.car;
    const bool diesel = car.fuel == Fuel::diesel;
    car.mass = random.between(1150, 2300);
    car.wheel = random.between(0.29, 0.35);
    car.drag = 0.5 * 1.2 * random.between(0.62, 1.05);
    // Engine size goes with the car's weight.
    const double litres = car.mass / 1000 * random.between(0.82, 1.0) * (diesel ? 1.1 : 1.0);
    car.cylinder = litres / 4000;
    car.manifold = 0.0021 * litres;
    car.friction = 33 * litres;
    car.throttle_flow = 75 * litres;
    car.full_air = car.cylinder * 1.184e6;
    car.idle_speed = random.between(680, 820);
    car.load_of_peak = !diesel;
    car.tank = random.between(40, 70);
    const bool boosted = diesel || random.uniform() < 0.5;
    if (diesel) {
        car.most_map = random.between(200, 240);
        car.full_torque = 130 * litres;
        car.shift = 0.8;
    } else {
        car.metering = Metering::air_flow;
        car.most_map = boosted ? random.between(150, 190) : 0.985 * d.barometric;
        car.full_torque = (boosted ? 102 : 72) * litres;
        car.shift = boosted ? 0.95 : 1.1;
    }
    const double stretch = random.between(0.94, 1.06);
    for (auto& ratio : car.ratio)
        ratio *= stretch;
}

constexpr std::uint8_t petrol_pids[] = {
    0x01, 0x03, 0x04, 0x05, 0x06, 0x07, 0x0B, 0x0C, 0x0D, 0x0E, 0x0F, 0x10, 0x11, 0x13, 0x15, 0x1C,
    0x1F, 0x21, 0x2E, 0x2F, 0x30, 0x31, 0x32, 0x33, 0x34, 0x3C, 0x41, 0x42, 0x43, 0x44, 0x45, 0x46,
    0x47, 0x49, 0x4A, 0x4C, 0x4D, 0x4E, 0x51, 0x5C, 0x5E, 0x61, 0x62, 0x63, 0x67, 0x8E, 0x9D, 0xA6};
constexpr std::uint8_t diesel_pids[] = {
    0x01, 0x04, 0x05, 0x0B, 0x0C, 0x0D, 0x0F, 0x10, 0x11, 0x1C, 0x1F, 0x21, 0x23, 0x2C,
    0x2D, 0x2F, 0x30, 0x31, 0x33, 0x41, 0x42, 0x43, 0x46, 0x49, 0x4A, 0x4D, 0x4E, 0x51,
    0x5C, 0x5D, 0x5E, 0x61, 0x62, 0x63, 0x67, 0x70, 0x78, 0x7A, 0x8E, 0x9D, 0xA6};
constexpr std::uint8_t transmission_pids[] = {0x01, 0x05, 0x0C, 0x0D, 0x1C, 0x1F, 0x42, 0xA4};
constexpr std::uint8_t tank_pids[] = {0x01, 0x1C, 0x2F, 0x32, 0x42};
constexpr std::uint8_t reduction_pids[] = {0x01, 0x1C, 0x42, 0x46, 0x78, 0x83, 0x9B};
constexpr std::uint8_t chassis_pids[] = {0x01, 0x0D, 0x1C, 0x42};
constexpr std::uint8_t frozen_pids[] = {0x03, 0x04, 0x05, 0x06, 0x07, 0x0B, 0x0C, 0x0D, 0x0E, 0x0F,
                                        0x10, 0x11, 0x1F, 0x2F, 0x33, 0x42, 0x44, 0x46, 0x49, 0x5E};

template <std::size_t N> void take(std::bitset<256>& set, const std::uint8_t (&ids)[N]) {
    for (const auto id : ids)
        set.set(id);
}

/// Monitor results as the last complete drive left them.
std::vector<MonitorTest> petrol_tests(Random& random) {
    const auto about = [&](double value, double spread) {
        return static_cast<std::uint16_t>(value * random.between(1 - spread, 1 + spread));
    };
    return {
        {0x01, 0x80, 0x0B, about(612, 0.1), 450, 820},   // front oxygen sensor, V
        {0x01, 0x81, 0x10, about(84, 0.3), 0, 250},      // its response, ms
        {0x02, 0x80, 0x0B, about(703, 0.08), 600, 1000}, // rear oxygen sensor, V
        {0x21, 0x80, 0x20, about(61, 0.4), 0, 154},      // catalyst, ratio
        {0x31, 0x80, 0x2F, about(2400, 0.3), 900, 6000}, // EGR, percent
        {0x35, 0x80, 0x1C, about(212, 0.4), 0, 700},     // camshaft, degrees
        {0x3C, 0x80, 0x17, about(31, 0.4), 0, 90},       // evaporative system, kPa
        {0x3D, 0x80, 0x17, about(38, 0.4), 10, 65535},   // purge flow, kPa
        {0x41, 0x80, 0x14, about(7, 0.3), 3, 18},        // front heater, ohm
        {0xA2, 0x0B, 0x24, 0, 0, 65535},                 // misfires by cylinder, counts
        {0xA2, 0x0C, 0x24, 0, 0, 65535},
        {0xA3, 0x0B, 0x24, 0, 0, 65535},
        {0xA3, 0x0C, 0x24, 0, 0, 65535},
        {0xA4, 0x0B, 0x24, about(1.4, 0.9), 0, 65535},
        {0xA4, 0x0C, 0x24, 0, 0, 65535},
        {0xA5, 0x0B, 0x24, 0, 0, 65535},
        {0xA5, 0x0C, 0x24, 0, 0, 65535},
    };
}

std::vector<MonitorTest> diesel_tests(Random& random) {
    const auto about = [&](double value, double spread) {
        return static_cast<std::uint16_t>(value * random.between(1 - spread, 1 + spread));
    };
    return {
        {0x31, 0x80, 0x2F, about(2100, 0.3), 800, 6000}, // EGR, percent
        {0x85, 0x80, 0x1A, about(118, 0.1), 60, 180},    // boost pressure, kPa
        {0xB2, 0x80, 0x17, about(410, 0.3), 80, 2400},   // particulate filter, kPa
    };
}

void add_old_tests(EcuState& e, Random& random) {
    const auto about = [&](double value, double spread) {
        return static_cast<std::uint8_t>(value * random.between(1 - spread, 1 + spread));
    };
    for (const std::uint8_t sensor : {std::uint8_t{0x01}, std::uint8_t{0x02}}) {
        const bool front = sensor == 0x01;
        e.sensor_tests.push_back({0x01, sensor, 90}); // thresholds: 0.45 V
        e.sensor_tests.push_back({0x02, sensor, 90});
        if (front)
            e.sensor_tests.push_back({0x05, sensor, about(18, 0.2), 0, 40, true});
        e.sensor_tests.push_back({0x07, sensor, about(16, 0.2), 0, 60, true});
        e.sensor_tests.push_back({0x08, sensor, about(164, 0.1), 110, 255, true});
    }
    e.old_tests = {{0x01, 0x01, static_cast<std::uint16_t>(about(40, 0.3) * 16U), 0x0900},
                   {0x02, 0x81, static_cast<std::uint16_t>(about(52, 0.3) * 16U), 0x0100},
                   {0x05, 0x02, about(61, 0.4), 0x009A}};
}

EcuState engine(const DriveSettings& drive, Random& random) {
    EcuState e;
    e.diesel = drive.car.fuel == Fuel::diesel;
    e.vin = make_vin(random, e.diesel);
    e.calibrations.push_back(calibration(random, "MIMIC-E"));
    if (random.uniform() < 0.5)
        e.calibrations.push_back(calibration(random, "MIMIC-F"));
    e.acronym = "ECM";
    e.name = "EngineControl";
    e.engine_serial = "MIMIC" + digits(random, 9);
    e.type_approval = "EA" + digits(random, 6);
    if (e.diesel)
        take(e.pids, diesel_pids);
    else
        take(e.pids, petrol_pids);
    if (!e.diesel && random.uniform() < 0.3) { // an older layout: a switching sensor in front
        e.pids.reset(0x34);
        e.pids.set(0x14);
    }
    take(e.frozen_pids, frozen_pids);
    e.frozen_pids &= e.pids;
    e.evaporative_test = !e.diesel;
    e.reference_torque = drive.car.full_torque + 75;
    e.tests = e.diesel ? diesel_tests(random) : petrol_tests(random);
    if (!e.diesel)
        add_old_tests(e, random);

    // Completions and opportunities by monitor, as InfoTypes 08 and 0B order them.
    const auto cycles = static_cast<std::uint16_t>(200 + random.below(1800));
    const auto general = static_cast<std::uint16_t>(cycles * random.between(0.2, 0.5));
    e.counters = {general, cycles};
    const unsigned pairs = e.diesel ? 8 : 9;
    for (unsigned i = 0; i < pairs; ++i) {
        // Second bank, secondary air, NOx adsorber: not there.
        const bool there = e.diesel ? i != 2 : i != 1 && i != 3 && i != 5 && i != 8;
        e.counters.push_back(there ? static_cast<std::uint16_t>(general * random.between(0.3, 0.9))
                                   : std::uint16_t{0});
        e.counters.push_back(there ? general : std::uint16_t{0});
    }
    e.fuelled_cycles = cycles;
    e.odometer = 9 * cycles + random.between(0, 500);

    // Readiness: petrol catalyst, evaporative, oxygen sensor, its heater, EGR/VVT; diesel NMHC
    // catalyst, NOx, boost, exhaust gas sensor, particulate filter, EGR.
    const std::uint8_t monitors = e.diesel ? 0xEB : 0xE5;
    const std::uint8_t continuous = e.diesel ? 0x0F : 0x07;
    e.since_clear = {continuous, monitors, 0x00};
    e.this_cycle = {static_cast<std::uint8_t>(continuous | 0x70), monitors, monitors};
    e.distance_since_clear = static_cast<std::uint16_t>(1200 + random.below(9000));
    e.warm_ups_since_clear = static_cast<std::uint8_t>(60 + random.below(190));
    e.minutes_since_clear = static_cast<std::uint16_t>(e.distance_since_clear * 1.4);
    return e;
}

EcuState other(unsigned place, const Options& options, bool diesel, Random& random) {
    EcuState e;
    e.diesel = diesel;
    e.since_clear = {0x04, 0x00, 0x00};
    e.this_cycle = e.since_clear;
    struct Name {
        const char* acronym;
        const char* name;
        const char* prefix;
    };
    static constexpr Name names[] = {
        {"TCM", "TransmisCtrl", "MIMIC-T"},    {"FPC", "FuelPumpCtrl", "MIMIC-P"},
        {"RDCM", "ReductantCtrl", "MIMIC-R"},  {"TACM", "ThrottleCtrl", "MIMIC-A"},
        {"ABS", "BrakeControl", "MIMIC-B"},    {"BECM", "BatteryEnergy", "MIMIC-C"},
        {"CHCM", "ChassisControl", "MIMIC-D"}, {"BCM", "BodyControl", "MIMIC-G"},
    };
    const unsigned which = place == 1 ? 0 : place == 2 ? (diesel ? 2 : 1) : place;
    const Name& name = names[which];
    e.wire_drop = random.between(0, 0.12);
    e.acronym = name.acronym;
    e.name = name.name;
    e.calibrations.push_back(calibration(random, name.prefix));
    if (which == 0)
        take(e.pids, transmission_pids);
    else if (which == 1)
        take(e.pids, tank_pids);
    else if (which == 2)
        take(e.pids, reduction_pids);
    else
        take(e.pids, chassis_pids);
    if (options.just_cleared)
        e.since_clear[0] = 0x44;
    return e;
}

struct Between {
    double low;
    double high;
};

/// Weather, warmth and the driver's mood; pressure and trim are what they were and so much more.
void make_day(DriveSettings& d, Random& random, Between pressure, Between trim) {
    d.ambient = random.between(-2, 28);
    d.barometric += random.between(pressure.low, pressure.high);
    const bool cold = random.uniform() < 0.5;
    d.coolant_start = cold ? d.ambient + random.between(0, 6) : random.between(55, 88);
    d.idle_before = random.between(5, 15);
    d.long_trim += random.between(trim.low, trim.high);
    d.eagerness = random.between(0.92, 1.06);
    d.fuel_level = random.between(20, 90);
}

/// The same vehicle on another day.
void make_another_drive(DriveSettings& d, std::uint64_t drive) {
    Random random(d.seed + drive * 0x9E3779B97F4A7C15U);
    d.seed = random.next();
    const double before = d.barometric;
    make_day(d, random, {-1.5, 1.5}, {-0.8, 0.8});
    if (d.car.fuel == Fuel::petrol && d.car.most_map < before) // what is not boosted
        d.car.most_map *= d.barometric / before;
    make_traffic(d, random);
}

} // namespace

Made make(const Options& options) {
    Made made;
    Random random(options.seed * 0x9E37 + 0x7E11);
    DriveSettings& d = made.drive;
    const bool diesel = options.fuel ? *options.fuel == Fuel::diesel : random.uniform() < 0.3;
    d.car.fuel = diesel ? Fuel::diesel : Fuel::petrol;
    d.seed = options.seed ^ 0xD121E;
    d.barometric = 0;
    d.long_trim = 0;
    make_day(d, random, {92, 102}, {-3, 4});
    make_car(d, random);
    make_road(d, random);
    if (options.drive != 0)
        make_another_drive(d, options.drive);
    d.faults = options.faults;
    if (d.faults.size() > Options::most_faults)
        d.faults.resize(Options::most_faults);

    const unsigned count = std::clamp(options.ecus, 1U, 8U);
    made.ecus.push_back(engine(d, random));
    for (unsigned i = 1; i < count; ++i)
        made.ecus.push_back(other(i, options, diesel, random));
    for (auto& e : made.ecus) {
        e.clearing = options.clearing;
        e.obd_on_uds = options.obd_on_uds;
    }

    EcuState& e = made.ecus.front();
    const auto some = [](const std::vector<std::uint16_t>& list) {
        auto codes = list;
        if (codes.size() > Ecu::most_codes)
            codes.resize(Ecu::most_codes);
        return codes;
    };
    e.stored = some(options.stored);
    e.pending = some(options.pending);
    e.permanent = some(options.permanent);
    e.lamp = !e.stored.empty();
    if (options.just_cleared) {
        e.since_clear[0] = static_cast<std::uint8_t>(e.since_clear[0] | 0x70);
        e.since_clear[2] = e.since_clear[1];
        e.distance_since_clear = 0;
        e.warm_ups_since_clear = 0;
        e.minutes_since_clear = 0;
        for (auto& test : e.tests)
            test.value = test.low = test.high = 0;
    } else if (e.lamp) {
        e.distance_with_lamp = static_cast<std::uint16_t>(20 + random.below(300));
        e.minutes_with_lamp = static_cast<std::uint16_t>(e.distance_with_lamp * 1.4);
    }
    return made;
}

} // namespace telltale::mimic
