// SPDX-License-Identifier: Apache-2.0
// A dump of the ASCII form of CAN on a serial line (frame/serial_can.hpp has its grammar), its
// lines ended by CR, LF or BEL. What else a device answers (an acknowledgement, its version, its
// state) is passed over. The milliseconds run from 0 to 59999 and start again; a stream that shows
// a higher value is one that runs to 65535. They are turned into a time that only grows, counted
// from the minute of the first one; a pause longer than a turn cannot be seen in them.
#include "frame/serial_can.hpp"

#include "text_reader.hpp"

namespace telltale::dump {

namespace {

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

class CanSerialReader final : public TextReader {
  public:
    CanSerialReader() : TextReader(TextLines::Ends::serial) {}

  protected:
    Outcome line(ReadState& state, const TextLine& line, Record& record,
                 Problem& problem) override {
        const auto text = trim(line.text);
        if (says_nothing(text) || is_answer(text))
            return Outcome::nothing;
        if (const auto verdict = parse_serial_can(text, serial_); !verdict.fine())
            return told({verdict.code, verdict.a}, line, problem);
        can_.frame = serial_.frame;
        can_.time = serial_.timed ? time(serial_.milliseconds) : no_time;
        return give(state, can_, line.place, record, problem);
    }

  private:
    SerialCanLine serial_;
    CanLine can_;
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
    SerialCanLine serial;
    return parse_serial_can(line, serial).fine();
}

std::unique_ptr<FormatReader> make_can_serial_reader() {
    return std::make_unique<CanSerialReader>();
}

} // namespace telltale::dump
