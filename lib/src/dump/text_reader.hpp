// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <array>
#include <cstdint>
#include <string_view>

#include "format_reader.hpp"
#include "text_lines.hpp"
#include "text_parse.hpp"

namespace telltale::dump {

/// Identifiers as the text forms of the Linux kernel's CAN write them: 3 hex digits are 11 bit, 8
/// are 29 bit or, with bit 29 set, the class of an error frame (linux/can.h, CAN_ERR_FLAG).
inline constexpr std::uint32_t error_flag = 0x2000'0000;

/// What a line of text says about a CAN frame.
struct CanLine {
    CanFrame frame;
    std::string_view interface; ///< empty: the format names none
    Time time = no_time;
    Direction direction = Direction::unknown;
    std::array<std::uint8_t, 64> buffer{}; ///< what `frame.data` looks at
};

/// How a line ended up: fine, or the problem that it is. `a` of the problem goes with it.
struct Verdict {
    ProblemCode code = ProblemCode::none;
    std::uint64_t a = 0;

    static Verdict unreadable(std::string_view line) {
        return {ProblemCode::unreadable_line, line.size()};
    }
    bool fine() const { return code == ProblemCode::none; }
};

/// Sets the identifier from its text and the rules above.
inline Verdict kernel_identifier(std::string_view text, std::string_view line, CanFrame& frame) {
    std::uint64_t value = 0;
    if (!parse_hex(text, value))
        return Verdict::unreadable(line);
    if (text.size() == 8 && (value & ~std::uint64_t{CanId::max_extended}) == error_flag) {
        frame.kind = CanKind::error;
        frame.id = {static_cast<std::uint32_t>(value & CanId::max_extended), true};
        return {};
    }
    if (value > CanId::max_extended || (text.size() == 3 && value > CanId::max_standard))
        return {ProblemCode::bad_identifier, value};
    if (text.size() != 3 && text.size() != 8)
        return Verdict::unreadable(line);
    frame.id = {static_cast<std::uint32_t>(value), text.size() == 8};
    return {};
}

/// Says whether so many data bytes are a CAN frame.
inline Verdict check_length(std::size_t size, bool fd) {
    if (fd ? is_fd_length(size) : size <= 8)
        return {};
    return {ProblemCode::bad_length, size};
}

/// What every reader of lines shares: cutting the input into lines, counting, the filter, the
/// interface, the order of times, and the record that follows a problem with its time.
class TextReader : public FormatReader {
  public:
    Step next(ReadState& state, Record& record, Problem& problem) override {
        if (held_there_) {
            held_there_ = false;
            record = held_;
            return Step::record;
        }
        return read(state, record, problem);
    }

  protected:
    /// What came of a line.
    enum class Outcome : std::uint8_t { nothing, record, problem };

    explicit TextReader(TextLines::Ends ends = TextLines::Ends::line_feed) : lines_(ends) {}

    /// Reads one line, which says something: it is no blank one.
    virtual Outcome line(ReadState& state, const TextLine& line, Record& record,
                         Problem& problem) = 0;

    /// A reader may take lines of a usual shape straight from the window, for as long as they come.
    virtual Outcome quick(ReadState&, Record&, Problem&) { return Outcome::nothing; }

    /// What is still to be given when all lines are read.
    virtual Outcome at_end(ReadState&, Record&, Problem&) { return Outcome::nothing; }

    /// Reads lines until there is something to give.
    Step read(ReadState& state, Record& record, Problem& problem) {
        lines_.start(state.window);
        TextLine text;
        for (;;) {
            switch (quick(state, record, problem)) {
            case Outcome::record:
                return Step::record;
            case Outcome::problem:
                return Step::problem;
            case Outcome::nothing:
                break;
            }
            switch (lines_.next(state.window, text)) {
            case TextLines::Got::end:
                switch (at_end(state, record, problem)) {
                case Outcome::record:
                    return Step::record;
                case Outcome::problem:
                    return Step::problem;
                case Outcome::nothing:
                    return Step::end;
                }
                return Step::end;
            case TextLines::Got::too_long:
                problem = {ProblemCode::line_too_long, text.place, no_time, lines_.skipped(), 0};
                return Step::problem;
            case TextLines::Got::line:
                break;
            }
            switch (one(state, text, record, problem)) {
            case Outcome::record:
                return Step::record;
            case Outcome::problem:
                return Step::problem;
            case Outcome::nothing:
                break;
            }
        }
    }

    static Outcome told(Verdict verdict, const TextLine& line, Problem& problem) {
        problem = {verdict.code, line.place, no_time, verdict.a, 0};
        return Outcome::problem;
    }

    /// A whole frame: counts it and gives it unless the filter holds it back. The order of times is
    /// watched over all frames.
    Outcome give(ReadState& state, const CanLine& can, Place place, Record& record,
                 Problem& problem) {
        if (can.frame.kind != CanKind::error && !state.wanted(can.frame.id))
            return pass_over(state, can.time, place, problem);
        ++state.counts.frames;
        if (can.frame.kind == CanKind::error)
            ++state.counts.error_frames;
        if (can.frame.kind == CanKind::remote)
            ++state.counts.remote_frames;
        record.kind = RecordKind::can;
        record.can = can.frame;
        record.bytes = {};
        return finish(state, can.interface, can.time, can.direction, place, record, problem);
    }

    /// A frame that the filter holds back.
    static Outcome pass_over(ReadState& state, Time time, Place place, Problem& problem) {
        ++state.counts.frames;
        ++state.counts.passed_over;
        return in_order(state, time, place, problem) ? Outcome::nothing : Outcome::problem;
    }

    /// What records of every kind have. A frame of an interface for which there is no room is not
    /// given: mixing it with another's could make up a message that nobody sent.
    Outcome finish(ReadState& state, std::string_view interface, Time time, Direction direction,
                   Place place, Record& record, Problem& problem) {
        record.direction = direction;
        record.time = time;
        record.place = place;
        record.comment = {};
        const bool ordered = in_order(state, time, place, problem);
        if (!state.line_index(interface, record.line)) {
            problem = {ProblemCode::too_many_lines, place, time, 0, 0};
            return Outcome::problem;
        }
        if (ordered)
            return Outcome::record;
        hold(record);
        return Outcome::problem;
    }

    static bool in_order(ReadState& state, Time time, Place place, Problem& problem) {
        if (time == no_time)
            return true;
        const Time last = state.last_time;
        state.last_time = time;
        if (time >= last)
            return true;
        problem = {ProblemCode::time_backwards, place, time,
                   static_cast<std::uint64_t>(last - time), 0};
        return false;
    }

    /// Keeps a record for the next call, after the problem that this one gives.
    void hold(const Record& record) {
        held_ = record;
        held_there_ = true;
    }

    TextLines lines_;

  private:
    Record held_;
    bool held_there_ = false;

    /// One line, whatever it is.
    Outcome one(ReadState& state, const TextLine& text, Record& record, Problem& problem) {
        // What was read before the reading failed may end anywhere.
        if (!text.ended && state.window.failed())
            return told(Verdict::unreadable(text.text), text, problem);
        return line(state, text, record, problem);
    }
};

// Whether a line, without white space around it, is one of a format. For finding the format.
bool fits_can_log(std::string_view line);
bool fits_can_columns(std::string_view line);
bool fits_can_serial(std::string_view line);
bool fits_csv_header(std::string_view line);
bool fits_hex(std::string_view line);
bool fits_line_text(std::string_view line);

} // namespace telltale::dump
