// SPDX-License-Identifier: Apache-2.0
#include "telltale/base/problem.hpp"

#include "telltale/base/hex.hpp"
#include "telltale/base/number.hpp"

namespace telltale {

namespace {

/// One row a code: its word, and its sentence, in which {a} and {b} are the numbers in decimal, {A}
/// and {B} in hex, {at} and {bt} times in milliseconds.
struct Text {
    ProblemCode code;
    std::string_view word;
    std::string_view sentence;
};

using enum ProblemCode;

constexpr Text texts[] = {
    {none, "none", "no problem"},
    {unreadable_line, "unreadable-line",
     "a line of {a} bytes that this format does not have; it was passed over"},
    {line_too_long, "line-too-long",
     "a line of {a} bytes, longer than is read; it was passed over"},
    {cut_record, "cut-record",
     "a record is cut: {a} bytes wanted, {b} there; was the recording stopped hard, or set to keep "
     "only a part of each packet?"},
    {bad_record, "bad-record", "a record whose fields contradict each other; it was passed over"},
    {unknown_link_type, "unknown-link-type",
     "link type {a} is not one that carries CAN here; its packets are passed over"},
    {bad_identifier, "bad-identifier", "identifier {A} is above the range of its kind"},
    {bad_length, "bad-length", "length {a} is none that this kind of frame has"},
    {time_backwards, "time-backwards", "the time is {at} ms before the one ahead of it"},
    {too_many_lines, "too-many-lines", "more interfaces than are kept apart; the rest share one"},
    {read_failed, "read-failed", "the input could not be read further"},
    {single_frame_empty, "single-frame-empty", "a single frame of length 0"},
    {single_frame_too_long, "single-frame-too-long",
     "a single frame of length {a}, where {b} bytes fit"},
    {single_frame_too_short, "single-frame-too-short",
     "a single frame of length {a} in a frame of {b} bytes, which is larger than it may be"},
    {first_frame_too_short, "first-frame-too-short",
     "a first frame of length {a}, where {b} is the least that its form may have"},
    {first_frame_cut, "first-frame-cut", "a first frame of {a} bytes, where {b} are needed"},
    {message_over_bound, "message-over-bound",
     "a first frame claims {a} bytes; messages of up to {b} are put together"},
    {too_many_open, "too-many-open",
     "more messages open at once than are kept; the oldest was given up with {a} of {b} bytes"},
    {consecutive_lost, "consecutive-lost",
     "consecutive frame {a} was expected and {b} came; the message is lost"},
    {consecutive_repeated, "consecutive-repeated",
     "consecutive frame {b} came twice where {a} was expected; the message is lost"},
    {consecutive_late, "consecutive-late",
     "a consecutive frame came {at} ms after the frame before it, {bt} ms allowed (N_Cr); the "
     "message is lost"},
    {consecutive_cut, "consecutive-cut",
     "a consecutive frame of {b} data bytes, where {a} were needed; the message is lost"},
    {consecutive_too_long, "consecutive-too-long",
     "a consecutive frame of {b} bytes after a first frame of {a}; the message is lost"},
    {consecutive_unexpected, "consecutive-unexpected",
     "consecutive frame {b} came with no message open, as when its first frame was lost"},
    {message_interrupted, "message-interrupted",
     "a new message began when {a} of {b} bytes were there; the earlier one is lost"},
    {message_unfinished, "message-unfinished",
     "the input ended when {a} of {b} bytes of a message were there"},
    {flow_control_bad, "flow-control-bad", "a flow control frame with status {a}, or cut short"},
    {flow_control_overflow, "flow-control-overflow",
     "the receiver refused a message of {b} bytes as too long (overflow)"},
    {unknown_frame_type, "unknown-frame-type", "frame type {a} is reserved"},
    {frame_empty, "frame-empty", "a frame without the byte that says its type"},
    {checksum_wrong, "checksum-wrong", "checksum {B} where the bytes give {A}; not decoded"},
    {frame_cut, "frame-cut", "a frame of {b} bytes, where its header wants {a}; not decoded"},
    {header_unknown, "header-unknown", "a header {A} of no known form; not decoded"},
    {part_missing, "part-missing",
     "part {a} of a message in several parts was expected and {b} came; the message is lost"},
    {message_empty, "message-empty", "a message without bytes"},
    {unknown_service, "unknown-service", "service {A} is none that is known here"},
    {unknown_id, "unknown-id",
     "the length of {A} is not known, so what follows it in this message cannot be read"},
    {message_cut, "message-cut", "the message ends inside {A}: {b} bytes are left"},
    {message_too_long, "message-too-long", "{a} bytes stand after the end of the message"},
    {count_differs, "count-differs", "the message counts {a} items and holds {b}"},
    {unexpected_direction, "unexpected-direction",
     "service byte {A} does not fit the direction of its identifier"},
    {bad_text, "bad-text", "characters in {A} that this text may not hold"},
    {unknown_scaling, "unknown-scaling",
     "unit and scaling identifier {A} is not assigned; the raw numbers are shown"},
};

constexpr bool problems_in_order() {
    for (std::size_t i = 0; i < std::size(texts); ++i)
        if (static_cast<std::size_t>(texts[i].code) != i)
            return false;
    return true;
}
static_assert(problems_in_order(), "one row for each ProblemCode, in its order");

const Text& text_of(ProblemCode code) noexcept {
    const auto i = static_cast<std::size_t>(code);
    return texts[i < std::size(texts) ? i : 0];
}

void append_code(std::string& out, std::uint64_t value) {
    unsigned digits = 2;
    while (digits < 16 && value >> 4 * digits != 0)
        ++digits;
    append_hex(out, value, digits);
}

} // namespace

std::string_view word(ProblemCode code) noexcept {
    return text_of(code).word;
}

std::string describe(const Problem& problem) {
    std::string out;
    std::string_view rest = text_of(problem.code).sentence;
    for (;;) {
        const std::size_t open = rest.find('{');
        out += rest.substr(0, open);
        if (open == std::string_view::npos)
            return out;
        const std::size_t close = rest.find('}', open);
        const std::string_view what = rest.substr(open + 1, close - open - 1);
        const std::uint64_t number = what[0] == 'a' || what[0] == 'A' ? problem.a : problem.b;
        if (what.size() == 2)
            append_number(
                out, static_cast<double>(number) / static_cast<double>(nanoseconds_a_millisecond),
                number % 1'000'000 == 0 ? 0 : 3);
        else if (what[0] == 'A' || what[0] == 'B')
            append_code(out, number);
        else
            append_integer(out, number);
        rest.remove_prefix(close + 1);
    }
}

std::string_view word(ErrorCode code) noexcept {
    switch (code) {
    case ErrorCode::bad_hex:
        return "bad-hex";
    case ErrorCode::too_long:
        return "too-long";
    case ErrorCode::cannot_open:
        return "cannot-open";
    case ErrorCode::cannot_read:
        return "cannot-read";
    case ErrorCode::cannot_write:
        return "cannot-write";
    case ErrorCode::is_directory:
        return "is-directory";
    case ErrorCode::empty_input:
        return "empty-input";
    case ErrorCode::unknown_format:
        return "unknown-format";
    case ErrorCode::bad_argument:
        return "bad-argument";
    case ErrorCode::bad_request:
        return "bad-request";
    }
    return "unknown";
}

} // namespace telltale
