// SPDX-License-Identifier: Apache-2.0
#include "telltale/link/serial_can.hpp"

#include <algorithm>

#include "frame/serial_can.hpp"
#include "telltale/base/hex.hpp"

namespace telltale::link {

namespace {

// linux/can/error.h: classes of error frames, and what their bytes say.
constexpr std::uint32_t class_controller = 0x04;
constexpr std::uint32_t class_protocol = 0x08;
constexpr std::uint32_t class_acknowledge = 0x20;
constexpr std::uint32_t class_bus_off = 0x40;
constexpr std::uint32_t class_counters = 0x200;

constexpr bool decimal(std::string_view text) {
    return std::all_of(text.begin(), text.end(), [](char c) { return c >= '0' && c <= '9'; });
}
constexpr unsigned three_digits(std::string_view text) {
    return static_cast<unsigned>(text[0] - '0') * 100 + static_cast<unsigned>(text[1] - '0') * 10 +
           static_cast<unsigned>(text[2] - '0');
}

} // namespace

bool SerialCanParser::next(Bytes& bytes, SerialCanEvent& event) noexcept {
    while (!bytes.empty()) {
        const auto byte = static_cast<char>(bytes.front());
        bytes = bytes.subspan(1);
        if (byte == '\r' || byte == '\a') {
            event = {};
            const bool long_one = std::exchange(too_long_, false);
            if (byte == '\a') {
                // Whatever stands before it is no frame: the adapter refused.
                event.kind = SerialCanEvent::Kind::refused;
            } else if (long_one) {
                event.kind = SerialCanEvent::Kind::bad;
            } else if (size_ == 0) {
                event.kind = SerialCanEvent::Kind::done;
            } else {
                event.text = {line_.data(), size_};
                if (!line(event))
                    event.kind = SerialCanEvent::Kind::bad;
            }
            size_ = 0;
            return true;
        }
        if (byte == '\n' && size_ == 0)
            continue;
        if (size_ == line_.size())
            too_long_ = true;
        else
            line_[size_++] = byte;
    }
    return false;
}

bool SerialCanParser::line(SerialCanEvent& event) noexcept {
    auto text = event.text;
    using Kind = SerialCanEvent::Kind;
    switch (text.front()) {
    case 'z':
    case 'Z':
        // Some adapters put the acknowledgement before a frame that came meanwhile.
        event.kind = Kind::queued;
        return text.size() == 1;
    case 'e':
    case 's':
        if (!(text.front() == 'e' ? errors(text) : state(text)))
            return false;
        event.kind = Kind::frame;
        event.frame = frame_;
        return true;
    case 'V':
    case 'v':
    case 'N':
    case 'F':
        event.kind = Kind::answer;
        return text.size() <= 16 &&
               std::all_of(text.begin(), text.end(), [](char c) { return c > 0x20 && c < 0x7F; });
    default:
        break;
    }
    SerialCanLine parsed;
    if (!parse_serial_can(text, parsed).fine())
        return false;
    std::copy(parsed.frame.data.begin(), parsed.frame.data.end(), data_.begin());
    event.kind = Kind::frame;
    event.frame = parsed.frame;
    event.frame.data = Bytes(data_).first(parsed.frame.data.size());
    event.timed = parsed.timed;
    event.milliseconds = parsed.milliseconds;
    return true;
}

/// "e" count letters: what went wrong on the bus (kernel, slcan_bump_err).
bool SerialCanParser::errors(std::string_view text) noexcept {
    if (text.size() < 3 || text.size() > 11 || text[1] < '1' || text[1] > '9' ||
        text.size() != 2 + static_cast<std::size_t>(text[1] - '0'))
        return false;
    std::uint32_t classes = 0;
    std::fill_n(data_.begin(), 8, std::uint8_t{0});
    for (const char c : text.substr(2)) {
        switch (c) {
        case 'a':
            classes |= class_acknowledge;
            break;
        case 'b': // a dominant bit was sent recessive: bit 0
            classes |= class_protocol;
            data_[2] |= 0x08;
            break;
        case 'B':
            classes |= class_protocol;
            data_[2] |= 0x10;
            break;
        case 'c':
            classes |= class_protocol;
            data_[3] = 0x08; // in the CRC sequence
            break;
        case 'f':
            classes |= class_protocol;
            data_[2] |= 0x02;
            break;
        case 's':
            classes |= class_protocol;
            data_[2] |= 0x04;
            break;
        case 'o':
            classes |= class_controller;
            data_[1] |= 0x01;
            break;
        case 'O':
            classes |= class_controller;
            data_[1] |= 0x02;
            break;
        default:
            return false;
        }
    }
    frame_ = {};
    frame_.kind = CanKind::error;
    frame_.id = {classes, true};
    frame_.data = Bytes(data_).first(8);
    return true;
}

/// "s" state, receive and transmit error counters (kernel, slcan_bump_state).
bool SerialCanParser::state(std::string_view text) noexcept {
    if (text.size() != 8 || !decimal(text.substr(2)))
        return false;
    const unsigned receive = three_digits(text.substr(2));
    const unsigned transmit = three_digits(text.substr(5));
    const bool receiver = receive >= transmit;
    std::fill_n(data_.begin(), 8, std::uint8_t{0});
    std::uint32_t classes = class_counters | class_controller;
    switch (text[1]) {
    case 'a':
        data_[1] = 0x40;
        break;
    case 'w':
        data_[1] = receiver ? 0x04 : 0x08;
        break;
    case 'p':
        data_[1] = receiver ? 0x10 : 0x20;
        break;
    case 'b':
        classes = class_bus_off;
        break;
    default:
        return false;
    }
    if (classes != class_bus_off) {
        data_[6] = static_cast<std::uint8_t>(std::min(transmit, 255U));
        data_[7] = static_cast<std::uint8_t>(std::min(receive, 255U));
    }
    frame_ = {};
    frame_.kind = CanKind::error;
    frame_.id = {classes, true};
    frame_.data = Bytes(data_).first(8);
    return true;
}

void append_serial_can(std::string& out, const CanFrame& frame) {
    const bool remote = frame.kind == CanKind::remote;
    const char letter = remote ? 'r' : !frame.fd ? 't' : frame.bit_rate_switch ? 'b' : 'd';
    out += frame.id.extended ? static_cast<char>(letter - 'a' + 'A') : letter;
    append_can_id(out, frame.id);
    const std::size_t length = remote ? frame.remote_length : frame.data.size();
    const auto code = std::find(fd_lengths.begin(), fd_lengths.end(), length) - fd_lengths.begin();
    append_hex(out, static_cast<std::uint64_t>(code), 1);
    append_hex(out, frame.data);
    out += '\r';
}

int serial_can_rate(std::uint32_t bit_rate) noexcept {
    constexpr std::uint32_t rates[] = {10, 20, 50, 100, 125, 250, 500, 800, 1000};
    for (int i = 0; i < 9; ++i)
        if (rates[i] * 1000 == bit_rate)
            return i;
    return -1;
}

} // namespace telltale::link
