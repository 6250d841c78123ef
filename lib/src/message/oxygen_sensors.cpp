// SPDX-License-Identifier: Apache-2.0
// Service 05 (oxygen sensor test results), which CAN has no longer: SAE J1979 / ISO 15031-5.
//
//   request:   05 TID sensor
//   response:  45 TID sensor value             a constant (TIDs 01 to 04)
//              45 TID sensor value low high    a calculated value with its limits
//              45 00 sensor A B C D
//   sensor:    one bit, laid out as PID 13 or 1D lays them out
#include <bit>
#include <cmath>

#include "decoder.hpp"

namespace telltale::message::detail {

namespace {

struct SensorTest {
    catalogue::Scale scale;
    Unit unit;
};

/// The scale of a standard TID (SAE J1979, table of service 05 test identifiers), or null.
const SensorTest* sensor_test(std::uint8_t id) noexcept {
    static constexpr SensorTest volts{{5, 1000}, Unit::volt};
    static constexpr SensorTest switching{{4, 1000}, Unit::second};
    static constexpr SensorTest period{{4, 100}, Unit::second};
    if (id == 0x05 || id == 0x06)
        return &switching;
    if (id == 0x09 || id == 0x0A)
        return &period;
    return id >= 0x01 && id <= 0x08 ? &volts : nullptr;
}

/// ", bank 1 sensor 2", by the layout that the vehicle has; by its bits where it names not one.
void put_sensor(Decoder& d, std::uint8_t sensor) {
    if (std::popcount(sensor) != 1) {
        d.text.add(", sensor bits ");
        return d.text.hex(sensor, 2);
    }
    const auto bit = static_cast<unsigned>(std::countr_zero(sensor));
    const unsigned a_bank = two_sensors_a_bank(d.context) ? 2 : 4;
    d.text.add(", bank ");
    d.text.decimal(bit / a_bank + 1);
    d.text.add(" sensor ");
    d.text.decimal(bit % a_bank + 1);
}

void put_sensor_name(Decoder& d, std::uint8_t id, std::uint8_t sensor) {
    d.text.clear();
    const catalogue::Name* name = sensor_test(id) == nullptr ? nullptr : catalogue::test(id);
    if (is_support_id(id)) {
        d.text.add(support_name);
    } else if (name == nullptr) {
        d.text.add("Sensor test ");
        d.text.hex(id, 2);
    } else { // a name of its own here, not what follows a monitor's
        const std::string_view words = name->name;
        d.text.add(static_cast<char>(words.front() - 'a' + 'A'));
        d.text.add(words.substr(1));
    }
    put_sensor(d, sensor);
}

void sensor_response(Decoder& d) {
    const std::size_t size = d.message.size();
    const std::uint8_t id = d.message[1];
    if (size < 4)
        return d.problem(ProblemCode::message_cut, id, size - 2);
    const std::uint8_t sensor = d.message[2];
    if (is_support_id(id)) {
        if (size < 7)
            return d.problem(ProblemCode::message_cut, id, size - 2);
        d.support(id, support_name, d.message.subspan(3, 4), 0x05);
        if (size > 7)
            d.problem(ProblemCode::message_too_long, size - 7);
        return;
    }
    if (size == 5) // a low limit without the high one
        return d.problem(ProblemCode::message_cut, id, size - 2);
    put_sensor_name(d, id, sensor);
    Value value;
    value.id = id;
    value.test = sensor;
    value.index = static_cast<std::uint8_t>(sensor == 0 ? 0 : std::countr_zero(sensor));
    value.name = d.text.view();
    value.raw = d.message[3];
    const bool limits = size >= 6;
    const SensorTest* test = sensor_test(id);
    if (test == nullptr) {
        d.note.clear();
        d.note.add("raw ");
        d.note.hex(d.message.subspan(3, limits ? 3 : 1));
        value.kind = ValueKind::text;
        value.text = d.note.view();
        d.sink.value(value);
        d.problem(ProblemCode::unknown_scaling, id);
    } else {
        value.kind = limits ? ValueKind::test : ValueKind::number;
        value.number = test->scale.apply(value.raw);
        if (limits) {
            value.low = test->scale.apply(d.message[4]);
            value.high = test->scale.apply(d.message[5]);
            value.passed = value.low <= value.number && value.number <= value.high;
        }
        value.step = test->scale.step();
        value.decimals = static_cast<std::uint8_t>(test->scale.decimals());
        value.unit = test->unit;
        if (!two_sensors_a_bank(d.context) && !four_sensors_a_bank(d.context) && sensor > 0x02)
            value.note = "named by PID 13; PID 1D would number two sensors a bank";
        d.sink.value(value);
    }
    const std::size_t most = limits ? 6 : 4;
    if (size > most)
        d.problem(ProblemCode::message_too_long, size - most);
}

} // namespace

void decode_oxygen_sensors(Decoder& d) {
    const std::size_t size = d.message.size();
    if (size < 2)
        return d.problem(ProblemCode::message_cut, d.header.service, 0);
    if (!d.request())
        return sensor_response(d);
    if (size < 3)
        return d.problem(ProblemCode::message_cut, d.message[1], 0);
    put_sensor_name(d, d.message[1], d.message[2]);
    d.asked(d.message[1], d.text.view());
    if (size > 3)
        d.problem(ProblemCode::message_too_long, size - 3);
}

} // namespace telltale::message::detail
