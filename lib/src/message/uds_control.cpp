// SPDX-License-Identifier: Apache-2.0
// Services 10 (session), 3E (tester present) and 31 (routines, the tests of service 08) as
// OBDonUDS uses them: ISO 14229-1, SAE J1979-2.
#include "decoder.hpp"

namespace telltale::message::detail {

namespace {

constexpr std::uint8_t no_answer_wanted = 0x80;
constexpr std::uint16_t obd_tests = 0xE000; // to E0FF: TIDs 00 to FF

std::string_view session_name(std::uint8_t id) {
    switch (id) {
    case 0x01:
        return "default";
    case 0x02:
        return "programming";
    case 0x03:
        return "extended diagnostic";
    case 0x04:
        return "safety system diagnostic";
    default:
        return {};
    }
}

/// A time of two bytes in units of `step` milliseconds.
void tell_time(Decoder& d, std::uint8_t index, std::string_view name, std::size_t at,
               std::int32_t step) {
    Value value;
    value.id = d.header.service;
    value.index = index;
    value.name = name;
    value.raw = static_cast<std::int64_t>(big_endian(d.message, at, 2));
    value.number = static_cast<double>(value.raw * step);
    value.step = step;
    value.unit = Unit::millisecond;
    d.sink.value(value);
}

} // namespace

void decode_session(Decoder& d) {
    const std::size_t size = d.message.size();
    if (size < 2)
        return d.problem(ProblemCode::message_cut, d.header.service, 0);
    const auto id = static_cast<std::uint8_t>(d.message[1] & ~no_answer_wanted);
    std::string_view name = session_name(id);
    if (name.empty()) {
        d.text.clear();
        d.text.hex(id, 2);
        name = d.text.view();
    }
    d.told(d.header.service, 0, "Session", name, id);
    std::size_t used = 2;
    if (!d.request() && size > 2) { // editions before 2013 end here
        if (size < 6)
            return d.problem(ProblemCode::message_cut, d.header.service, size - 2);
        tell_time(d, 1, "Longest response time P2", 2, 1);
        tell_time(d, 2, "Longest response time P2* after response pending", 4, 10);
        used = 6;
    }
    if (size > used)
        d.problem(ProblemCode::message_too_long, size - used);
}

void decode_tester_present(Decoder& d) {
    const std::size_t size = d.message.size();
    if (size < 2)
        return d.problem(ProblemCode::message_cut, d.header.service, 0);
    if ((d.message[1] & ~no_answer_wanted) != 0)
        d.problem(ProblemCode::unknown_id, d.message[1]);
    else if (size > 2)
        d.problem(ProblemCode::message_too_long, size - 2);
}

void decode_routine(Decoder& d) {
    const std::size_t size = d.message.size();
    if (size < 4)
        return d.problem(ProblemCode::message_cut, d.header.service, size - 1);
    const auto action = static_cast<std::uint8_t>(d.message[1] & ~no_answer_wanted);
    const auto id = static_cast<std::uint16_t>(big_endian(d.message, 2, 2));
    const auto test = static_cast<std::uint8_t>(id);
    const bool obd = (id & 0xFF00) == obd_tests;
    const Bytes data = d.message.subspan(4);
    std::string_view name = "Routine";
    if (obd && is_support_id(test))
        name = support_name;
    else if (const catalogue::Name* row = obd ? catalogue::control(test) : nullptr; row != nullptr)
        name = row->name;
    if (d.request())
        d.asked(id, name);
    if (!d.request() && obd && is_support_id(test) && (data.size() == 4 || data.size() == 5)) {
        d.row_note = "unsure: where the support bits of a routine stand";
        d.id_base = obd_tests;
        d.support(test, name, data.last(4), 0x08);
        d.row_note = {};
        return;
    }
    d.text.clear();
    switch (action) {
    case 0x01:
        d.text.add("start");
        break;
    case 0x02:
        d.text.add("stop");
        break;
    case 0x03:
        d.text.add("results");
        break;
    default:
        d.text.add("action ");
        d.text.hex(action, 2);
        break;
    }
    if (!data.empty()) {
        d.text.add(' ');
        d.text.hex(data);
    }
    d.told(id, 0, name, d.text.view(), action);
}

} // namespace telltale::message::detail
