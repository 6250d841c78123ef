// SPDX-License-Identifier: Apache-2.0
// What the ECUs say, decoded, is what the simulation has, within a step of the encoding.
#include <doctest/doctest.h>

#include <cmath>
#include <map>

#include "support.hpp"

namespace {

using namespace telltale;
using namespace telltale::mimic;
using namespace telltale::mimic::test;

using Get = double (*)(const Signals&, const EcuState&);

struct Wanted {
    std::uint8_t pid;
    std::uint8_t field;
    Get get;
};

constexpr Wanted wanted[] = {
    {0x01, 1, [](const Signals&, const EcuState& e) { return double(e.stored.size()); }},
    {0x04, 0, [](const Signals& s, const EcuState&) { return s.load; }},
    {0x05, 0, [](const Signals& s, const EcuState&) { return s.coolant; }},
    {0x06, 0, [](const Signals& s, const EcuState&) { return s.short_trim; }},
    {0x07, 0, [](const Signals& s, const EcuState&) { return s.long_trim; }},
    {0x0B, 0, [](const Signals& s, const EcuState&) { return s.map; }},
    {0x0C, 0, [](const Signals& s, const EcuState&) { return s.rpm; }},
    {0x0D, 0, [](const Signals& s, const EcuState&) { return s.speed; }},
    {0x0E, 0, [](const Signals& s, const EcuState&) { return s.advance; }},
    {0x0F, 0, [](const Signals& s, const EcuState&) { return s.intake; }},
    {0x10, 0, [](const Signals& s, const EcuState&) { return s.maf; }},
    {0x11, 0, [](const Signals& s, const EcuState&) { return s.throttle; }},
    {0x15, 0, [](const Signals& s, const EcuState&) { return s.rear_oxygen; }},
    {0x1F, 0, [](const Signals& s, const EcuState&) { return s.run_time; }},
    {0x21, 0, [](const Signals&, const EcuState& e) { return double(e.distance_with_lamp); }},
    {0x23, 0, [](const Signals& s, const EcuState&) { return s.rail_pressure; }},
    {0x2C, 0, [](const Signals& s, const EcuState&) { return s.egr; }},
    {0x2E, 0, [](const Signals& s, const EcuState&) { return s.purge; }},
    {0x2F, 0, [](const Signals& s, const EcuState&) { return s.fuel_level; }},
    {0x30, 0, [](const Signals&, const EcuState& e) { return double(e.warm_ups_since_clear); }},
    {0x31, 0, [](const Signals&, const EcuState& e) { return double(e.distance_since_clear); }},
    {0x33, 0, [](const Signals& s, const EcuState&) { return s.barometric; }},
    {0x34, 0, [](const Signals& s, const EcuState&) { return s.lambda; }},
    {0x3C, 0, [](const Signals& s, const EcuState&) { return s.catalyst; }},
    {0x42, 0, [](const Signals& s, const EcuState& e) { return s.voltage - e.wire_drop; }},
    {0x43, 0, [](const Signals& s, const EcuState&) { return s.load_absolute; }},
    {0x44, 0, [](const Signals& s, const EcuState&) { return s.lambda_asked; }},
    {0x46, 0, [](const Signals& s, const EcuState&) { return s.ambient; }},
    {0x4C, 0, [](const Signals& s, const EcuState&) { return s.throttle; }},
    {0x5C, 0, [](const Signals& s, const EcuState&) { return s.oil; }},
    {0x5D, 0, [](const Signals& s, const EcuState&) { return s.advance; }},
    {0x5E, 0, [](const Signals& s, const EcuState&) { return s.fuel_rate; }},
    {0x62, 0,
     [](const Signals& s, const EcuState& e) { return 100 * s.torque / e.reference_torque; }},
    {0x67, 0, [](const Signals& s, const EcuState&) { return s.coolant; }},
    {0x70, 0, [](const Signals& s, const EcuState&) { return s.boost_wanted; }},
    {0x70, 1, [](const Signals& s, const EcuState&) { return s.map; }},
    {0x78, 0, [](const Signals& s, const EcuState&) { return s.exhaust; }},
    {0x7A, 0, [](const Signals& s, const EcuState&) { return s.filter_drop; }},
    {0xA6, 0, [](const Signals& s, const EcuState& e) { return e.odometer + s.distance / 1000; }},
};

/// Keeps the numbers of one message by PID and field.
class Numbers final : public message::Sink {
  public:
    void value(const message::Value& value) override {
        if (value.kind == message::ValueKind::number)
            values[{static_cast<std::uint8_t>(value.id), value.index}] = value;
    }
    void dtc(message::Dtc) override {}
    void problem(const Problem&) override { ++problems; }
    std::map<std::pair<std::uint8_t, std::uint8_t>, message::Value> values;
    unsigned problems = 0;
};

void check_values(const Options& options) {
    Vehicle vehicle(options);
    std::size_t compared = 0;
    std::map<std::uint8_t, double> furthest; // in steps
    for (Time now = 0; now < 400 * second; now += 1'370 * millisecond)
        for (unsigned ecu = 0; ecu < vehicle.ecus(); ++ecu)
            for (unsigned pid = 1; pid < 256; ++pid) {
                if (!vehicle.state(ecu).pids[pid])
                    continue;
                const auto id = static_cast<std::uint8_t>(pid);
                const Message answer = one(vehicle, {0x01, id}, ecu, now);
                message::Header header;
                REQUIRE(message::read_header(answer, Role::ecu, header) == ProblemCode::none);
                Numbers numbers;
                message::decode(answer, header, nullptr, numbers);
                CHECK(numbers.problems == 0);
                for (const auto& want : wanted) {
                    if (want.pid != id)
                        continue;
                    const auto found = numbers.values.find({id, want.field});
                    REQUIRE(found != numbers.values.end());
                    const message::Value& value = found->second;
                    const double truth = want.get(vehicle.signals(), vehicle.state(ecu));
                    const auto bits = value.field->width();
                    const bool at_end =
                        value.raw == 0 || value.raw == (std::int64_t{1} << bits) - 1;
                    ++compared;
                    if (!at_end) {
                        auto& far = furthest[id];
                        far = std::max(far, std::fabs(value.number - truth) / value.step);
                    }
                }
            }
    CHECK(compared > 5000);
    for (const auto& far : furthest) {
        const int pid = far.first;
        CAPTURE(pid);
        // Rounded to the nearest, except the odometer, which is cut off.
        CHECK(far.second <= (pid == 0xA6 ? 1.0 : 0.51));
    }
}

TEST_CASE("values of a petrol vehicle") {
    Options options;
    options.seed = 4;
    options.fuel = Fuel::petrol;
    check_values(options);
}

TEST_CASE("values of a diesel vehicle with faults") {
    Options options;
    options.seed = 9;
    options.fuel = Fuel::diesel;
    options.ecus = 3;
    options.faults = {*parse_fault("noise:map"), *parse_fault("stick:coolant@90"),
                      *parse_fault("scaling:speed=0.9")};
    check_values(options);
}

TEST_CASE("support bits tell exactly what is answered") {
    for (const Fuel fuel : {Fuel::petrol, Fuel::diesel}) {
        Options options;
        options.fuel = fuel;
        options.ecus = 4;
        options.verification_time = 0;
        options.faults = {*parse_fault("open:map")}; // a freeze frame is there
        Vehicle vehicle(options);
        run_to(vehicle, 30);
        const Time now = 30 * second;
        for (unsigned ecu = 0; ecu < vehicle.ecus(); ++ecu)
            for (const int which : {0x01, 0x02, 0x06, 0x09}) {
                CAPTURE(ecu);
                const auto service = static_cast<std::uint8_t>(which);
                CAPTURE(which);
                std::bitset<256> told;
                for (unsigned base = 0; base < 256; base += 32) {
                    Message request{service, static_cast<std::uint8_t>(base)};
                    if (service == 0x02)
                        request.push_back(0);
                    const Message answer = one(vehicle, request, ecu, now);
                    if (answer.size() < 3 || answer[0] == 0x7F)
                        continue;
                    const std::size_t head = service == 0x02 ? 3 : 2;
                    REQUIRE(answer.size() == head + 4);
                    const auto bits = big_endian(answer, head, 4);
                    for (unsigned i = 1; i <= 32; ++i)
                        if ((bits >> (32 - i) & 1) != 0 && base + i < 256)
                            told.set(base + i);
                }
                for (unsigned id = 1; id < 256; ++id) {
                    Message request{service, static_cast<std::uint8_t>(id)};
                    if (service == 0x02)
                        request.push_back(0);
                    const Message answer = one(vehicle, request, ecu, now);
                    CAPTURE(id);
                    CHECK((answer.size() > 2 && answer[0] == service + 0x40) == told[id]);
                }
            }
    }
}

TEST_CASE("up to six PIDs at once, and ECUs that do not take them") {
    Options options;
    Vehicle vehicle(options);
    const Message six{0x01, 0x0C, 0x0D, 0x0B, 0x10, 0x04, 0x11};
    CHECK(one(vehicle, six).size() == 1 + 3 + 2 + 2 + 3 + 2 + 2);
    CHECK(ask(vehicle, {0x01, 0x0C, 0x0D, 0x0B, 0x10, 0x04, 0x11, 0x05}, 0).empty()); // seven
    // What is not supported is left out.
    CHECK(one(vehicle, {0x01, 0xFE, 0x0D, 0xFD}).size() == 3);

    options.habits.most_pids = 1;
    Vehicle silent(options);
    CHECK(ask(silent, six, 0).empty());
    CHECK(one(silent, {0x01, 0x0C}).size() == 4);
    options.habits.refusal = Refusal::negative;
    Vehicle negative(options);
    CHECK(one(negative, six) == Message{0x7F, 0x01, 0x12});
    options.habits.refusal = Refusal::first_only;
    Vehicle first(options);
    CHECK(one(first, six).size() == 4);
    CHECK(one(first, six)[1] == 0x0C);
}

} // namespace
