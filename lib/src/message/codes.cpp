// SPDX-License-Identifier: Apache-2.0
// Services 03 (stored), 07 (pending), 0A (permanent codes) and 04 (clear): SAE J1979 /
// ISO 15031-5.
//
//   request:                 03
//   response on CAN:         43 count (code, two bytes)...
//   response, older lines:   43 code code code      0000 where there are fewer than three
//   request and response 04: 04, 44
#include "decoder.hpp"

namespace telltale::message::detail {

namespace {

/// Tells the whole codes from `at`, without the padding 0000; returns how many there are with it.
std::size_t tell_codes(Decoder& d, std::size_t at) {
    std::size_t there = 0;
    for (; at + 2 <= d.message.size(); at += 2, ++there)
        if (const Dtc code{static_cast<std::uint16_t>(big_endian(d.message, at, 2))}; code.raw != 0)
            d.sink.dtc(code);
    return there;
}

} // namespace

void decode_codes(Decoder& d) {
    const std::size_t size = d.message.size();
    if (d.request() || d.header.service == 0x04) {
        if (size > 1)
            d.problem(ProblemCode::message_too_long, size - 1);
        return;
    }
    if (d.header.pre_can) {
        tell_codes(d, 1);
        if (size % 2 == 0)
            d.problem(ProblemCode::message_cut, d.header.service, 1);
        return;
    }
    if (size < 2)
        return d.problem(ProblemCode::message_cut, d.header.service, 0);
    const std::size_t count = d.message[1];
    const std::size_t there = tell_codes(d, 2);
    if (there != count)
        d.problem(ProblemCode::count_differs, count, there);
    else if (size % 2 != 0)
        d.problem(ProblemCode::message_too_long, 1);
}

} // namespace telltale::message::detail
