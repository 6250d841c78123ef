// SPDX-License-Identifier: Apache-2.0
#include "telltale/frame/j1850.hpp"

namespace telltale {

namespace {

J1850Kind kind_of(std::uint8_t priority, std::uint8_t target) {
    if (target == 0x6A) {
        if (priority == 0x61)
            return J1850Kind::request_pwm;
        if (priority == 0x68)
            return J1850Kind::request_vpw;
    }
    if (target == 0x6B) {
        if (priority == 0x41)
            return J1850Kind::response_pwm;
        if (priority == 0x48)
            return J1850Kind::response_vpw;
    }
    return J1850Kind::other;
}

} // namespace

FrameVerdict parse_j1850(Bytes frame, J1850Frame& out) noexcept {
    out = {};
    if (frame.size() < 2)
        return {ProblemCode::frame_cut, 2, frame.size()};
    if (frame.size() > max_j1850_frame)
        return {ProblemCode::bad_length, frame.size()};
    const std::uint8_t crc = j1850_crc(frame.first(frame.size() - 1));
    if (crc != frame.back())
        return {ProblemCode::checksum_wrong, crc, frame.back()};
    out.priority = frame[0];
    constexpr std::uint8_t one_byte_header = 0x10; // SAE J1850, H bit
    if ((frame[0] & one_byte_header) != 0) {
        out.data = frame.subspan(1, frame.size() - 2);
        return {};
    }
    constexpr std::size_t header = 3;
    if (frame.size() < header + 1)
        return {ProblemCode::frame_cut, header + 1, frame.size()};
    out.target = frame[1];
    out.source = frame[2];
    out.data = frame.subspan(header, frame.size() - header - 1);
    out.kind = kind_of(out.priority, out.target);
    if (out.kind != J1850Kind::other && out.data.empty())
        return {ProblemCode::frame_cut, header + 2, frame.size()};
    return {};
}

} // namespace telltale
