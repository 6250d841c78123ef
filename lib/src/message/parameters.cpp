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
        if (const catalogue::Row* standard = catalogue::pid(id);
            standard != nullptr && d.options.plain != nullptr) {
            d.options.plain->asked(*standard, d.plain_frame());
            continue;
        }
        const catalogue::Row* row = d.pid(id);
        d.asked(id, row == nullptr ? "Unknown PID" : row->name);
    }
}

/// True when the message from `at` on is whole items, at most `most`, to its very end.
bool is_whole(const Decoder& d, std::size_t at, std::size_t frame_bytes, std::size_t most) {
    const std::size_t size = d.message.size();
    while (at < size) {
        const catalogue::Row* row = d.pid(d.message[at]);
        if (row == nullptr || most-- == 0)
            return false;
        at += 1 + frame_bytes;
        if (row->short_length != 0 && is_whole(d, at + row->short_length, frame_bytes, most))
            return true;
        if (row->length == 0) // to the end
            return at <= size;
        at += row->length;
    }
    return at == size;
}

/// The length of the data at `at` of a row that has two forms.
std::size_t length_in(const Decoder& d, std::size_t at, const catalogue::Row& row,
                      std::size_t frame_bytes, std::size_t most) {
    const bool is_short = is_whole(d, at + row.short_length, frame_bytes, most);
    const bool is_long = is_whole(d, at + row.length, frame_bytes, most);
    if (is_short != is_long)
        return is_short ? row.short_length : row.length;
    return row.usually_short ? row.short_length : row.length;
}

void response(Decoder& d, bool freeze) {
    std::size_t at = 1;
    for (std::size_t count = 0; at < d.message.size(); ++count) {
        if (count == most_ids)
            return d.problem(ProblemCode::message_too_long, d.message.size() - at);
        const std::uint8_t id = d.message[at++];
        const catalogue::Row* standard = catalogue::pid(id);
        const catalogue::Row* row = standard != nullptr ? standard : d.own(0x01, id);
        if (row == nullptr)
            return d.problem(ProblemCode::unknown_id, id);
        const std::size_t left = d.message.size() - at;
        const std::size_t frame_bytes = freeze ? 1 : 0;
        if (left < frame_bytes)
            return d.problem(ProblemCode::message_cut, id, left);
        const std::size_t length =
            row->short_length == 0
                ? pid_length(*row, left - frame_bytes)
                : length_in(d, at + frame_bytes, *row, frame_bytes, most_ids - count - 1);
        if (left - frame_bytes < length)
            return d.problem(ProblemCode::message_cut, id, left);
        // Of what is not the standard's, the length is only somebody's word: the rest must fit too.
        if (standard == nullptr &&
            !is_whole(d, at + frame_bytes + length, frame_bytes, most_ids - count - 1))
            return d.problem(ProblemCode::message_too_long, left - frame_bytes - length);
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
