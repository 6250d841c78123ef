// SPDX-License-Identifier: Apache-2.0
#include "check.hpp"

#include "telltale/base/problem.hpp"

namespace telltale::link {

namespace {

std::string check_can(const CanFrame& frame, bool fd) {
    if (frame.kind == CanKind::error)
        return "an error frame cannot be sent";
    if (!frame.id.valid())
        return "the CAN identifier is above its range (7FF, or 1FFFFFFF for 29 bits)";
    if (frame.fd && !fd)
        return "this link carries no CAN FD frames";
    if (frame.kind == CanKind::remote)
        return frame.fd || frame.remote_length > 8 || !frame.data.empty()
                   ? "a remote frame is classic, carries no data and asks for 8 bytes at most"
                   : "";
    if (frame.fd ? !is_fd_length(frame.data.size()) : frame.data.size() > 8)
        return "a length that the CAN frame type does not have";
    return {};
}

std::string check_kline(const KlineBytes& kline) {
    KlineFrame frame;
    const auto verdict = parse_kline(kline.frame, frame);
    if (verdict.fine())
        return {};
    return "not a whole K-line frame: " +
           describe(Problem{verdict.code, {}, no_time, verdict.a, verdict.b});
}

} // namespace

bool carries(const Traffic& traffic, LineKind line, bool fd, std::string& why) {
    if (const auto* can = std::get_if<CanFrame>(&traffic))
        why = line == LineKind::can ? check_can(*can, fd) : "this link carries no CAN frames";
    else if (const auto* kline = std::get_if<KlineBytes>(&traffic))
        why = line == LineKind::kline ? check_kline(*kline) : "this link carries no K-line frames";
    else if (line != LineKind::doip)
        why = "this link carries no diagnostic messages, only frames";
    else if (const auto size = bytes_of(traffic).size(); size == 0 || size > max_doip_message)
        why = "a diagnostic message has 1 to 65536 bytes";
    else
        why.clear();
    return why.empty();
}

} // namespace telltale::link
