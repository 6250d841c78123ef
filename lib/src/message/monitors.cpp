// SPDX-License-Identifier: Apache-2.0
// Service 06 (monitor test results): SAE J1979 / ISO 15031-5.
//
//   request:                06 OBDMID            up to six of 00, 20, ... or one other
//   response on CAN:        46 (OBDMID TID UASID value low high)...   numbers of two bytes
//                           46 (00 A B C D)...
//   request, older lines:   06 TID
//   response, older lines:  46 TID limit value limit-value
//                           limit: bit 7 set: the limit is a minimum; bits 0 to 6 component
//                           46 00 FF A B C D
#include <cmath>

#include "decoder.hpp"

namespace telltale::message::detail {

namespace {

constexpr std::size_t record_size = 9;

std::string_view monitor_name(std::uint8_t id) {
    if (is_support_id(id))
        return support_name;
    const catalogue::Name* name = catalogue::monitor(id);
    return name == nullptr ? "Unknown monitor" : name->name;
}

/// "monitor: test", both by number where they have no name.
void put_name(Decoder& d, std::uint8_t monitor, std::uint8_t test) {
    d.text.clear();
    if (const catalogue::Name* name = catalogue::monitor(monitor); name != nullptr) {
        d.text.add(name->name);
    } else {
        d.text.add("Monitor ");
        d.text.hex(monitor, 2);
    }
    d.text.add(": ");
    if (const catalogue::Name* name = catalogue::test(test); name != nullptr) {
        d.text.add(name->name);
    } else {
        d.text.add("test ");
        d.text.hex(test, 2);
    }
}

} // namespace

void tell_test(Decoder& d, std::uint16_t id, Bytes record, std::uint8_t index) {
    const std::uint8_t monitor = static_cast<std::uint8_t>(id);
    const std::uint8_t test = record[0];
    const std::uint8_t scaling = record[1];
    put_name(d, monitor, test);
    Value value;
    value.id = id;
    value.test = test;
    value.index = index;
    value.name = d.text.view();
    const auto raw = static_cast<std::uint16_t>(big_endian(record, 2, 2));
    const catalogue::Scaling* row = catalogue::scaling(scaling);
    d.note.clear();
    if (row == nullptr) {
        d.note.add("raw value, low and high ");
        d.note.hex(record.subspan(2, 2));
        d.note.add(' ');
        d.note.hex(record.subspan(4, 2));
        d.note.add(' ');
        d.note.hex(record.subspan(6, 2));
        value.kind = ValueKind::text;
        value.raw = raw;
        value.text = d.note.view();
        d.sink.value(value);
        return d.problem(ProblemCode::unknown_scaling, scaling);
    }
    value.kind = ValueKind::test;
    value.raw = row->is_signed ? static_cast<std::int16_t>(raw) : std::int64_t{raw};
    value.number = row->apply(raw);
    value.low = row->apply(static_cast<std::uint16_t>(big_endian(record, 4, 2)));
    value.high = row->apply(static_cast<std::uint16_t>(big_endian(record, 6, 2)));
    value.passed = value.low <= value.number && value.number <= value.high;
    value.step = std::fabs(row->scale.step());
    value.decimals = static_cast<std::uint8_t>(row->scale.decimals());
    value.unit = row->unit;
    const catalogue::Name* name = catalogue::monitor(monitor);
    const char* unsure = row->unsure != nullptr ? row->unsure
                         : name != nullptr      ? name->unsure
                                                : nullptr;
    if (unsure != nullptr) {
        d.note.add("unsure: ");
        d.note.add(unsure);
        value.note = d.note.view();
    }
    d.sink.value(value);
}

namespace {

void response(Decoder& d) {
    std::size_t at = 1;
    while (at < d.message.size()) {
        const std::uint8_t id = d.message[at];
        const std::size_t left = d.message.size() - at - 1;
        const std::size_t wanted = is_support_id(id) ? 4 : record_size - 1;
        if (left < wanted)
            return d.problem(ProblemCode::message_cut, id, left);
        const Bytes data = d.message.subspan(at + 1, wanted);
        if (is_support_id(id))
            d.support(id, support_name, data, 0x06);
        else
            tell_test(d, id, data, 0);
        at += wanted + 1;
    }
}

void response_before_can(Decoder& d) {
    const std::uint8_t id = d.message[1];
    if (d.message.size() < 7)
        return d.problem(ProblemCode::message_cut, id, d.message.size() - 2);
    if (is_support_id(id)) {
        d.support(id, support_name, d.message.subspan(3, 4), 0x06);
    } else {
        const bool least = (d.message[2] & 0x80) != 0;
        Value value;
        value.kind = ValueKind::test;
        value.id = id;
        value.test = d.message[2] & 0x7F;
        const auto limit = static_cast<double>(big_endian(d.message, 5, 2));
        d.text.clear();
        d.text.add("Test ");
        d.text.hex(id, 2);
        d.text.add(", component ");
        d.text.hex(value.test, 2);
        d.text.add(least ? ": minimum" : ": maximum");
        value.name = d.text.view();
        value.raw = static_cast<std::int64_t>(big_endian(d.message, 3, 2));
        value.number = static_cast<double>(value.raw);
        value.low = least ? limit : 0.0;
        value.high = least ? 65535.0 : limit;
        value.step = 1;
        value.passed = value.low <= value.number && value.number <= value.high;
        value.note = "raw: the maker's service information gives scale and unit";
        d.sink.value(value);
    }
    if (d.message.size() > 7)
        d.problem(ProblemCode::message_too_long, d.message.size() - 7);
}

} // namespace

void decode_monitors(Decoder& d) {
    if (d.message.size() < 2)
        return d.problem(ProblemCode::message_cut, d.header.service, 0);
    if (d.request())
        d.asked_list(d.header.pre_can ? 1 : most_ids, monitor_name);
    else if (d.header.pre_can)
        response_before_can(d);
    else
        response(d);
}

} // namespace telltale::message::detail
