// SPDX-License-Identifier: Apache-2.0
// Services 01 (current data) and 02 (freeze frame): SAE J1979 / ISO 15031-5, CAN form.
//
//   request 01:   01 PID...               up to six PIDs
//   response 01:  41 (PID data)...
//   request 02:   02 (PID frame)...
//   response 02:  42 (PID frame data)...
#include "decoder.hpp"

namespace telltale::message::detail {

namespace {

void request(Decoder& d, std::size_t step) {
    std::size_t count = 0;
    for (std::size_t at = 1; at < d.message.size(); at += step, ++count) {
        if (count == most_ids)
            return d.problem(ProblemCode::message_too_long, d.message.size() - at);
        const std::uint8_t id = d.message[at];
        if (step == 2) {
            if (at + 1 == d.message.size())
                return d.problem(ProblemCode::message_cut, id, 0);
            d.frame = d.message[at + 1];
        }
        const catalogue::Row* row = catalogue::pid(id);
        d.asked(id, row == nullptr ? "Unknown PID" : row->name);
    }
}

void response(Decoder& d, bool freeze) {
    std::size_t at = 1;
    for (std::size_t count = 0; at < d.message.size(); ++count) {
        if (count == most_ids)
            return d.problem(ProblemCode::message_too_long, d.message.size() - at);
        const std::uint8_t id = d.message[at++];
        const catalogue::Row* row = catalogue::pid(id);
        if (row == nullptr)
            return d.problem(ProblemCode::unknown_id, id);
        const std::size_t left = d.message.size() - at;
        const std::size_t frame_bytes = freeze ? 1 : 0;
        if (left < frame_bytes)
            return d.problem(ProblemCode::message_cut, id, left);
        const std::size_t length = pid_length(*row, left - frame_bytes);
        if (left - frame_bytes < length)
            return d.problem(ProblemCode::message_cut, id, left);
        if (freeze)
            d.frame = d.message[at++];
        const Bytes data = d.message.subspan(at, length);
        if (!freeze && d.context != nullptr)
            remember_scaling(id, data, *d.context);
        d.row(*row, data, d.header.service);
        at += length;
    }
}

} // namespace

void decode_parameters(Decoder& d) {
    const bool freeze = d.header.service == 0x02;
    if (d.message.size() < 2)
        return d.problem(ProblemCode::message_cut);
    if (d.request())
        request(d, freeze ? 2 : 1);
    else
        response(d, freeze);
}

} // namespace telltale::message::detail
