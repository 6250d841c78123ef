// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <cstdint>
#include <string>
#include <string_view>

#include "telltale/base/bytes.hpp"
#include "telltale/base/export.hpp"
#include "telltale/base/result.hpp"
#include "telltale/base/time.hpp"

namespace telltale {

/// What was wrong with a piece of the input. Decoding goes on after it. The stable word of each, as
/// JSON shows it, is the enumerator with '-' for '_' (`word`).
enum class ProblemCode : std::uint8_t {
    none,
    // dump
    unreadable_line,   ///< a line that the format does not have; `a` bytes long
    line_too_long,     ///< a line longer than the reader's bound; `a` bytes skipped
    cut_record,        ///< the input ends inside a record, or the capture kept only a part of it:
                       ///< `a` bytes wanted, `b` there
    bad_record,        ///< a record whose own fields contradict each other
    unknown_link_type, ///< an interface of link type `a`, whose packets are passed over
    bad_identifier,    ///< an identifier `a` above its range (11 or 29 bit)
    bad_length,        ///< a length `a` that the frame type does not have
    time_backwards,    ///< a time earlier than the one before it by `a` ns
    too_many_lines,    ///< more interfaces than the reader keeps apart
    read_failed,       ///< the operating system could not read on
    // ISO 15765-2
    single_frame_empty,     ///< single frame of length 0
    single_frame_too_long,  ///< single frame length `a`, room for `b`
    single_frame_too_short, ///< FD: single frame length `a` in a frame of `b` bytes, too large for
                            ///< it
    first_frame_too_short,  ///< first frame length `a`, the least that it may be is `b`
    first_frame_cut,        ///< a first frame with fewer bytes than its kind has
    message_over_bound,     ///< first frame claims `a` bytes, the bound is `b`
    too_many_open,          ///< no room for another open message: the oldest is given up
    consecutive_lost,       ///< sequence number `a` expected, `b` came
    consecutive_repeated,   ///< sequence number `b` came twice
    consecutive_late,       ///< N_Cr exceeded: `a` ns since the frame before, `b` allowed
    consecutive_cut,        ///< a consecutive frame with fewer bytes than the message still needs
    consecutive_too_long,   ///< FD: a consecutive frame of `b` bytes, the first frame had `a`
    consecutive_unexpected, ///< a consecutive frame with no message open
    message_interrupted,    ///< a new message began with `a` of `b` bytes there
    message_unfinished,     ///< the input ended with `a` of `b` bytes there
    flow_control_bad,       ///< flow control with a reserved status `a` or too short
    flow_control_overflow,  ///< the receiver said overflow: the message is given up
    unknown_frame_type,     ///< N_PCI type `a`, which ISO 15765-2 reserves
    frame_empty,            ///< a frame without N_PCI
    // older lines
    checksum_wrong, ///< checksum `a` computed, `b` received
    frame_cut,      ///< a K-line or J1850 frame shorter than its header says
    header_unknown, ///< a header of no known form
    part_missing,   ///< a numbered part of a message in several is missing
    // message
    message_empty,        ///< no bytes
    unknown_service,      ///< service `a` is none that is known
    unknown_id,           ///< PID, MID or InfoType `a`, of unknown length: the rest cannot be read
    message_cut,          ///< item `a` needs more bytes than are left: `b` left
    message_too_long,     ///< `a` bytes after the end of what the message can hold
    count_differs,        ///< the count says `a` items, `b` are there
    unexpected_direction, ///< a request on a response identifier, or the reverse
    bad_text,             ///< characters that the field may not hold
    unknown_scaling,      ///< unit and scaling identifier `a` is not assigned
};
TELLTALE_API std::string_view word(ProblemCode code) noexcept;

/// A typed problem with its place. `a` and `b` mean what the code's comment says.
struct Problem {
    ProblemCode code = ProblemCode::none;
    Place place;
    Time time = no_time;
    std::uint64_t a = 0;
    std::uint64_t b = 0;
};

/// One plain sentence: what is wrong and, where it helps, what to do.
TELLTALE_API std::string describe(const Problem& problem);

} // namespace telltale
