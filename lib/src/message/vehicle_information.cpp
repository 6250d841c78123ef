// SPDX-License-Identifier: Apache-2.0
// Service 09 (vehicle information): SAE J1979 / ISO 15031-5.
//
//   request:                 09 InfoType       up to six of 00, 20, ... or one other
//   response on CAN:         49 InfoType NODI item...      NODI: number of data items
//                            49 (00 A B C D)...
//   response, older lines:   49 InfoType 01 data      the numbered parts already joined
#include <array>

#include "decoder.hpp"

namespace telltale::message::detail {

namespace {

constexpr std::uint8_t info_vin = 0x02;
constexpr std::uint8_t info_ecu_name = 0x0A;

std::string_view info_name(std::uint8_t id) {
    const catalogue::Row* row = catalogue::info_type(id);
    return row == nullptr ? "Unknown InfoType" : row->name;
}

/// 01, 03, ... 0E: how many messages the next InfoType takes on the older lines.
constexpr bool is_message_count(std::uint8_t id) {
    return id == 0x01 || id == 0x03 || id == 0x05 || id == 0x07 || id == 0x09 || id == 0x0C ||
           id == 0x0E;
}

/// A VIN holds digits and capital letters other than I, O and Q (ISO 3779).
constexpr bool fits_vin(std::uint8_t c) {
    return (c >= '0' && c <= '9') || (c >= 'A' && c <= 'Z' && c != 'I' && c != 'O' && c != 'Q');
}
constexpr bool is_printable(std::uint8_t c) {
    return c >= 0x20 && c <= 0x7E;
}

/// False when an item of text holds a character that it may not, padding aside.
bool text_fits(std::uint8_t id, Bytes item) {
    while (!item.empty() && item.front() == 0)
        item = item.subspan(1);
    while (!item.empty() && (item.back() == 0 || (item.back() == ' ' && id != info_vin)))
        item = item.first(item.size() - 1);
    if (id == info_vin && item.size() != 17)
        return false;
    for (const std::uint8_t c : item)
        if (id == info_vin ? !fits_vin(c) : !is_printable(c))
            return false;
    return true;
}

void supports(Decoder& d) {
    const std::size_t size = d.message.size();
    // The older lines, and ECUs that answer on CAN as on those, put the message number 01 between.
    if (size == 7 && d.message[2] == 0x01)
        return d.support(d.message[1], support_name, d.message.subspan(3), 0x09);
    std::size_t at = 1;
    while (at < size) {
        const std::uint8_t id = d.message[at];
        const std::size_t left = size - at - 1;
        if (!is_support_id(id))
            return d.problem(ProblemCode::message_too_long, left + 1);
        if (left < 4)
            return d.problem(ProblemCode::message_cut, id, left);
        d.support(id, support_name, d.message.subspan(at + 1, 4), 0x09);
        at += 5;
    }
}

} // namespace

void tell_info_item(Decoder& d, const catalogue::Row& row, Bytes item, unsigned index) {
    std::array<std::uint8_t, 20> name{};
    Bytes told = item;
    if (row.id == info_ecu_name && item.size() == name.size()) {
        // Four characters, a dash and fifteen more, each part filled up with 00: told as one text.
        std::size_t length = 0;
        for (const std::uint8_t c : item)
            if (c != 0)
                name[length++] = c;
        told = name;
    }
    d.row(row, told, 0x09, index);
    if (row.fields.size() == 1 && row.fields[0].kind == catalogue::Kind::text &&
        !text_fits(static_cast<std::uint8_t>(row.id), told))
        d.problem(ProblemCode::bad_text, static_cast<std::uint16_t>(row.id + d.id_base));
}

std::size_t tell_info_items(Decoder& d, const catalogue::Row& row, Bytes data) {
    const std::size_t length = row.length == 0 ? data.size() : row.length;
    const std::size_t there = length == 0 ? 0 : data.size() / length;
    const bool a_field_an_item = !row.fields.empty() && row.fields.back().at >= length;
    if (a_field_an_item) {
        d.row(row, data.first(there * length), 0x09);
        return there;
    }
    const auto fields = static_cast<unsigned>(row.fields.size());
    for (std::size_t i = 0; i < there; ++i)
        tell_info_item(d, row, data.subspan(i * length, length), static_cast<unsigned>(i) * fields);
    return there;
}

void decode_vehicle_information(Decoder& d) {
    const std::size_t size = d.message.size();
    if (size < 2)
        return d.problem(ProblemCode::message_cut, d.header.service, 0);
    if (d.request())
        return d.asked_list(d.header.pre_can ? 1 : most_ids, info_name);
    const std::uint8_t id = d.message[1];
    if (is_support_id(id))
        return supports(d);
    const catalogue::Row* row = catalogue::info_type(id);
    if (row == nullptr)
        return d.problem(ProblemCode::unknown_id, id);
    if (size < 3)
        return d.problem(ProblemCode::message_cut, id, 0);
    if (is_message_count(id)) {
        d.row(*row, d.message.subspan(2, 1), 0x09);
        if (size > 3)
            d.problem(ProblemCode::message_too_long, size - 3);
        return;
    }
    const std::size_t count = d.message[2];
    Bytes data = d.message.subspan(3);
    if (d.header.pre_can) { // parts of four bytes: what does not fill the last is padding in front
        const std::size_t padding = row->length == 0 ? 0 : data.size() % row->length;
        tell_info_items(d, *row, data.subspan(padding < 4 ? padding : 0));
        if (padding >= 4)
            d.problem(ProblemCode::message_cut, id, data.size());
        return;
    }
    const std::size_t there = tell_info_items(d, *row, data);
    if (row->length == 0)
        return; // how long an item is, is not known
    const std::size_t rest = data.size() - there * row->length;
    if (rest != 0 && there < count)
        d.problem(ProblemCode::message_cut, id, rest);
    else if (there != count)
        d.problem(ProblemCode::count_differs, count, there);
    else if (rest != 0)
        d.problem(ProblemCode::message_too_long, rest);
}

} // namespace telltale::message::detail
