// SPDX-License-Identifier: Apache-2.0
// The ASCII form of CAN on a serial line, as the Linux kernel's slcan driver speaks it
// (drivers/net/can/slcan):
//
//     frame = "t" 3 hex digits length data [time]      11 bit
//           | "T" 8 hex digits length data [time]      29 bit
//           | "r" 3 hex digits length [time]           remote frames
//           | "R" 8 hex digits length [time]
//           | "d" | "D" | "b" | "B" ...                FD frames like t and T, without and with
//                                                      bit rate switch; the length is a length code
//     time  = 4 hex digits: milliseconds
//
// each ended by CR, LF or BEL. What else a device answers (an acknowledgement, its version, its
// state) is passed over. The milliseconds run from 0 to 59999 and start again; a stream that shows
// a higher value is one that runs to 65535. They are turned into a time that only grows, counted
// from the minute of the first one; a pause longer than a turn cannot be seen in them.
#include "text_reader.hpp"

namespace telltale::dump {

namespace {

struct SerialLine {
    CanLine can;
    bool timed = false;
    std::uint32_t milliseconds = 0;
};

/// An answer that is no frame: a letter of the protocol and at most 15 letters and digits.
bool is_answer(std::string_view line) {
    constexpr std::string_view letters = "zZvVnNFOLlCSsXMmWYPAUQe";
    if (line.size() > 16 || letters.find(line.front()) == std::string_view::npos)
        return false;
    for (const char c : line.substr(1))
        if (!is_digit(c) && !((c | 0x20) >= 'a' && (c | 0x20) <= 'z'))
            return false;
    return true;
}

Verdict parse_line(std::string_view line, SerialLine& out) {
    const auto unreadable = Verdict::unreadable(line);
    CanFrame& frame = out.can.frame;
    bool remote = false;
    switch (line.front()) {
    case 't':
    case 'T':
        break;
    case 'r':
    case 'R':
        remote = true;
        break;
    case 'b':
    case 'B':
        frame.bit_rate_switch = true;
        [[fallthrough]];
    case 'd':
    case 'D':
        frame.fd = true;
        break;
    default:
        return unreadable;
    }
    frame.id.extended = line.front() < 'a';
    const std::size_t id_size = frame.id.extended ? 8 : 3;
    std::uint64_t id = 0;
    if (line.size() < id_size + 2 || !parse_hex(line.substr(1, id_size), id))
        return unreadable;
    const unsigned code = hex_digit(line[id_size + 1]);
    if (code > 15)
        return unreadable;
    auto rest = line.substr(id_size + 2);
    constexpr std::uint8_t fd_lengths[] = {0, 1, 2, 3, 4, 5, 6, 7, 8, 12, 16, 20, 24, 32, 48, 64};
    const std::size_t length = frame.fd ? fd_lengths[code] : code;
    const std::size_t digits = remote ? 0 : length * 2;
    frame.id.value = static_cast<std::uint32_t>(id);
    if (!frame.id.valid())
        return {ProblemCode::bad_identifier, id};
    if (!frame.fd && length > 8)
        return {ProblemCode::bad_length, length};
    if (rest.size() != digits && rest.size() != digits + 4)
        return unreadable;
    if (parse_hex_bytes(rest.substr(0, digits), out.can.buffer) != digits / 2)
        return unreadable;
    if (rest.size() != digits) {
        std::uint64_t milliseconds = 0;
        if (!parse_hex(rest.substr(digits), milliseconds))
            return unreadable;
        out.timed = true;
        out.milliseconds = static_cast<std::uint32_t>(milliseconds);
    }
    if (remote) {
        frame.kind = CanKind::remote;
        frame.remote_length = static_cast<std::uint8_t>(length);
    } else {
        frame.data = Bytes(out.can.buffer).first(length);
    }
    return {};
}

class CanSerialReader final : public TextReader {
  public:
    CanSerialReader() : TextReader(TextLines::Ends::serial) {}

  protected:
    Outcome line(ReadState& state, const TextLine& line, Record& record,
                 Problem& problem) override {
        const auto text = trim(line.text);
        if (says_nothing(text) || is_answer(text))
            return Outcome::nothing;
        serial_.can.frame = {};
        serial_.can.time = no_time;
        serial_.timed = false;
        if (const auto verdict = parse_line(text, serial_); !verdict.fine())
            return told(verdict, line, problem);
        if (serial_.timed)
            serial_.can.time = time(serial_.milliseconds);
        return give(state, serial_.can, line.place, record, problem);
    }

  private:
    SerialLine serial_;
    std::uint32_t turn_ = 60'000; ///< milliseconds after which the stamps start again
    std::uint32_t last_ = 0;
    std::uint64_t turns_ = 0; ///< milliseconds of the turns that are over

    Time time(std::uint32_t milliseconds) {
        if (milliseconds >= turn_)
            turn_ = 65'536;
        if (milliseconds < last_)
            turns_ += turn_;
        last_ = milliseconds;
        // 65 s a line: 2^40 lines would be needed to leave the range.
        return static_cast<Time>(turns_ + milliseconds) * nanoseconds_a_millisecond;
    }
};

} // namespace

bool fits_can_serial(std::string_view line) {
    if (line.empty())
        return false;
    SerialLine serial;
    const auto verdict = parse_line(line, serial);
    return verdict.fine();
}

std::unique_ptr<FormatReader> make_can_serial_reader() {
    return std::make_unique<CanSerialReader>();
}

} // namespace telltale::dump
