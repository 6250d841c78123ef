// SPDX-License-Identifier: Apache-2.0
// Service 08 (control of an on-board system, test or component): SAE J1979 / ISO 15031-5.
//
//   request:   08 TID data     up to five data bytes; or up to six of 00, 20, ...
//   response:  48 TID data
//              48 (00 A B C D)...     on the older lines 48 00 00 A B C D, one only
#include "decoder.hpp"

namespace telltale::message::detail {

namespace {

constexpr std::size_t most_data = 5;

std::string_view control_name(std::uint8_t id) {
    if (is_support_id(id))
        return support_name;
    const catalogue::Name* name = catalogue::control(id);
    return name == nullptr ? "Unknown control" : name->name;
}

void control_supports(Decoder& d) {
    std::size_t at = 1;
    while (at < d.message.size()) {
        const std::uint8_t id = d.message[at];
        const std::size_t left = d.message.size() - at - 1;
        if (!is_support_id(id))
            return d.problem(ProblemCode::message_too_long, left + 1);
        if (left < 4)
            return d.problem(ProblemCode::message_cut, id, left);
        d.support(id, support_name, d.message.subspan(at + 1, 4), 0x08);
        at += 5;
    }
}

} // namespace

void decode_controls(Decoder& d) {
    const std::size_t size = d.message.size();
    if (size < 2)
        return d.problem(ProblemCode::message_cut, d.header.service, 0);
    const std::uint8_t id = d.message[1];
    if (is_support_id(id) && !d.header.pre_can) {
        if (d.request())
            return d.asked_list(most_ids, control_name);
        return control_supports(d);
    }
    if (is_support_id(id) && !d.request()) {
        if (size < 7)
            return d.problem(ProblemCode::message_cut, id, size - 2);
        d.support(id, support_name, d.message.subspan(3, 4), 0x08);
    } else {
        const std::size_t data = size - 2 < most_data ? size - 2 : most_data;
        if (d.request())
            d.asked(id, control_name(id));
        if (data > 0 && !is_support_id(id)) {
            d.text.clear();
            d.text.hex(d.message.subspan(2, data));
            d.told(id, 0, d.request() ? "Data sent" : control_name(id), d.text.view());
        } else if (!d.request()) {
            d.told(id, 0, control_name(id), "acknowledged");
        }
    }
    if (size > 2 + most_data)
        d.problem(ProblemCode::message_too_long, size - 2 - most_data);
}

} // namespace telltale::message::detail
