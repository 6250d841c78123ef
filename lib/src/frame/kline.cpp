// SPDX-License-Identifier: Apache-2.0
#include "telltale/frame/kline.hpp"

#include <algorithm>

namespace telltale {

namespace {

/// The format byte of ISO 14230-2: A1A0 in the two highest bits, the length below.
constexpr unsigned address_mode(std::uint8_t format) {
    return format >> 6;
}
constexpr std::size_t format_length(std::uint8_t format) {
    return format & 0x3F;
}

constexpr unsigned mode_none = 0;
constexpr unsigned mode_exception = 1; // the headers that ISO 9141-2 had before
constexpr unsigned mode_physical = 2;

constexpr std::uint8_t request_9141[] = {0x68, 0x6A};
constexpr std::uint8_t response_9141[] = {0x48, 0x6B};
constexpr std::size_t header_9141 = 3;
constexpr std::size_t most_data_9141 = 7;

/// Bytes before the data.
constexpr std::size_t header_size(std::uint8_t format) {
    return (address_mode(format) == mode_none ? 1U : 3U) + (format_length(format) == 0 ? 1U : 0U);
}

FrameVerdict check_sum(Bytes frame) {
    const std::uint8_t sum = kline_checksum(frame.first(frame.size() - 1));
    if (sum == frame.back())
        return {};
    return {ProblemCode::checksum_wrong, sum, frame.back()};
}

FrameVerdict parse_9141(Bytes frame, KlineFrame& out) {
    const auto begins = [&](const std::uint8_t(&header)[2]) {
        return frame[0] == header[0] && (frame.size() < 2 || frame[1] == header[1]);
    };
    if (!begins(request_9141) && !begins(response_9141))
        return {ProblemCode::header_unknown, frame[0]};
    constexpr std::size_t least = header_9141 + 2;
    if (frame.size() < least)
        return {ProblemCode::frame_cut, least, frame.size()};
    const std::size_t data = frame.size() - header_9141 - 1;
    if (data > most_data_9141)
        return {ProblemCode::bad_length, data};
    out.form = KlineForm::iso_9141;
    out.has_address = true;
    out.target = frame[1];
    out.source = frame[2];
    out.header_size = header_9141;
    out.data = frame.subspan(header_9141, data);
    return check_sum(frame);
}

} // namespace

std::size_t kline_length(Bytes front) noexcept {
    if (front.empty() || address_mode(front[0]) == mode_exception)
        return 0;
    const std::size_t header = header_size(front[0]);
    if (front.size() < header)
        return 0;
    const std::size_t data =
        format_length(front[0]) != 0 ? format_length(front[0]) : front[header - 1];
    return data == 0 ? 0 : header + data + 1;
}

FrameVerdict parse_kline(Bytes frame, KlineFrame& out) noexcept {
    out = {};
    if (frame.empty())
        return {ProblemCode::frame_cut, 3, 0};
    const std::uint8_t format = frame[0];
    const unsigned mode = address_mode(format);
    if (mode == mode_exception)
        return parse_9141(frame, out);
    const std::size_t header = header_size(format);
    if (frame.size() < header)
        return {ProblemCode::frame_cut, header + 2, frame.size()};
    const std::size_t wanted = kline_length(frame);
    if (wanted == 0)
        return {ProblemCode::bad_length, 0};
    if (frame.size() < wanted)
        return {ProblemCode::frame_cut, wanted, frame.size()};
    if (frame.size() > wanted)
        return {ProblemCode::bad_length, frame.size() - header - 1};
    out.form = mode == mode_none       ? KlineForm::no_address
               : mode == mode_physical ? KlineForm::physical
                                       : KlineForm::functional;
    out.has_address = mode != mode_none;
    if (out.has_address) {
        out.target = frame[1];
        out.source = frame[2];
    }
    out.header_size = static_cast<std::uint8_t>(header);
    out.data = frame.subspan(header, wanted - header - 1);
    return check_sum(frame);
}

bool KlineInit::take(Bytes piece) noexcept {
    constexpr std::uint8_t sync = 0x55;
    if (piece.size() == 3 && piece[0] == sync) {
        key_ = {piece[1], piece[2]};
        next_ = Next::inverted_key;
        return true;
    }
    if (piece.size() == 1 && next_ == Next::inverted_key &&
        piece[0] == static_cast<std::uint8_t>(~key_[1])) {
        next_ = Next::inverted_address;
        return true;
    }
    // Whose address it was is not known here: the 5-baud byte does not show at 10400 baud.
    const bool last = piece.size() == 1 && next_ == Next::inverted_address;
    next_ = Next::keys;
    return last;
}

void KlineCutter::drop() noexcept {
    std::copy(bytes_.begin() + static_cast<std::ptrdiff_t>(given_),
              bytes_.begin() + static_cast<std::ptrdiff_t>(size_), bytes_.begin());
    std::copy(marks_.begin() + static_cast<std::ptrdiff_t>(given_),
              marks_.begin() + static_cast<std::ptrdiff_t>(size_), marks_.begin());
    size_ -= given_;
    given_ = 0;
}

void KlineCutter::pause_until(Time time) noexcept {
    if (size_ == given_ || last_ == no_time || time == no_time)
        return;
    // From the end of the last byte to the start of the one that may come.
    over_ = over_ || time < last_ || time - last_ > max_pause + byte_time;
}

void KlineCutter::push(std::uint8_t byte, Time time, Place place) noexcept {
    if (given_ != 0)
        drop();
    if (size_ == bytes_.size()) // its user did not ask for it: it is lost to keep the bound
        size_ = 0;
    bytes_[size_] = byte;
    marks_[size_] = {time, place};
    ++size_;
    last_ = time;
    over_ = false;
}

bool KlineCutter::next(Piece& piece) noexcept {
    if (given_ != 0)
        drop();
    if (size_ == 0)
        return false;
    const Bytes all(bytes_.data(), size_);
    const std::size_t length = kline_length(all);
    std::size_t end = 0;
    if (length != 0 && length <= size_ && check_sum(all.first(length)).fine())
        end = length;
    else if (over_ || size_ == bytes_.size())
        end = size_;
    else
        return false;
    piece = {marks_[0].time, marks_[0].place, all.first(end)};
    given_ = end;
    return true;
}

} // namespace telltale
