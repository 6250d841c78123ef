// SPDX-License-Identifier: Apache-2.0
#include "old_lines.hpp"

#include <algorithm>

#include "telltale/frame/j1850.hpp"

namespace telltale::message::detail {

namespace {

constexpr std::uint8_t tester = 0xF1;
constexpr std::uint32_t functional = 0x18DB0000; // ISO 15765-4, 29 bit: and target, source
constexpr std::uint32_t physical = 0x18DA0000;
constexpr std::uint32_t to_all = 0x33; // what ISO 14230-4 and ISO 15765-4 call every OBD ECU

/// Two frames of one answer are not further apart, beginning to beginning, than the longest frame
/// lasts with the longest pauses in it and the longest pause behind it: 12 bytes of 1 ms with
/// P1 = 20 ms each, and P2 = 50 ms (ISO 9141-2, ISO 14230-4).
constexpr Time same_answer = 302 * nanoseconds_a_millisecond;

constexpr std::uint8_t stored_codes = 0x43;
constexpr std::uint8_t pending_codes = 0x47;
constexpr std::uint8_t information = 0x49;
constexpr std::size_t full_message = 7; ///< bytes of a message that carries codes or a part

CanId id_of(std::uint32_t base, std::uint32_t target, std::uint32_t source) {
    return {base | target << 8 | source, true};
}

/// StartCommunication, StopCommunication, AccessTimingParameters (ISO 14230-2) and their answers:
/// they tell nothing of the vehicle.
bool is_communication(Bytes data) {
    std::uint8_t service = data[0];
    if (service == 0x7F && data.size() > 1)
        service = data[1];
    service = static_cast<std::uint8_t>(service & ~0x40U);
    return service >= 0x81 && service <= 0x83;
}

/// InfoTypes whose answer is one message: how many messages the next InfoType takes.
constexpr bool tells_total(std::uint8_t info) {
    return info == 0x01 || info == 0x03 || info == 0x05 || info == 0x07 || info == 0x09 ||
           info == 0x0C || info == 0x0E;
}

Problem problem_of(const FrameVerdict& verdict, const Said& about) {
    return {verdict.code, about.place, about.time, verdict.a, verdict.b};
}

} // namespace

/// How many parts the open message has in the end; 0 where that is not known.
unsigned OldLines::Ecu::total() const {
    const std::uint8_t info = bytes[1];
    if (info < totals.size() && totals[info] != 0)
        return totals[info];
    // A VIN and the name of an ECU have their length from the standard: 17 and 20 characters.
    return info == 0x02 || info == 0x0A ? 5 : 0;
}

void OldLines::kline(Said heard, Sink& sink) {
    // The low level that wakes an ECU up is heard as one byte 00.
    const bool wake_up = heard.bytes.size() == 1 && heard.bytes[0] == 0;
    KlineInit* init = init_of(heard.line);
    if (wake_up || (init != nullptr && init->take(heard.bytes)))
        return;
    KlineFrame frame;
    if (const auto verdict = parse_kline(heard.bytes, frame); !verdict.fine())
        return sink.problem(problem_of(verdict, heard), heard);
    heard.bytes = frame.data;
    heard.has_id = frame.has_address;
    switch (frame.form) {
    case KlineForm::iso_9141:
        heard.id = frame.target == 0x6A ? id_of(functional, to_all, tester)
                                        : id_of(physical, tester, frame.source);
        break;
    case KlineForm::physical:
        heard.id = id_of(physical, frame.target, frame.source);
        break;
    case KlineForm::functional:
        heard.id = id_of(functional, frame.target, frame.source);
        break;
    case KlineForm::no_address:
        break;
    }
    said(heard, sink);
}

void OldLines::j1850(Said heard, Sink& sink) {
    J1850Frame frame;
    if (const auto verdict = parse_j1850(heard.bytes, frame); !verdict.fine())
        return sink.problem(problem_of(verdict, heard), heard);
    if (frame.kind == J1850Kind::other)
        return;
    const bool asks = frame.kind == J1850Kind::request_pwm || frame.kind == J1850Kind::request_vpw;
    heard.bytes = frame.data;
    heard.has_id = true;
    heard.id = asks ? id_of(functional, to_all, tester) : id_of(physical, tester, frame.source);
    said(heard, sink);
}

void OldLines::finish(Sink& sink) {
    for (auto& ecu : ecus_)
        close(ecu, sink);
}

void OldLines::said(Said said, Sink& sink) {
    const Role role = said.has_id ? role_of(said.id) : Role::unknown;
    const std::uint8_t service = said.bytes[0];
    const bool asks = role == Role::tester || (role == Role::unknown && (service & 0x40) == 0);
    // What was still coming is over with the next request, and when its ECU pauses too long.
    for (auto& ecu : ecus_) {
        if (ecu.line != said.line)
            continue;
        const bool timed = said.time != no_time && ecu.heard != no_time;
        if (asks || (timed && (said.time - ecu.heard > same_answer || said.time < ecu.heard))) {
            close(ecu, sink);
            ecu.lost = 0;
        }
    }
    if (is_communication(said.bytes))
        return;
    if (asks)
        return sink.message(said);

    Ecu& ecu = ecu_of(said, sink);
    ecu.heard = said.time;
    const bool full = said.bytes.size() == full_message;
    if (full && (service == stored_codes || service == pending_codes))
        return codes(ecu, said, sink);
    const bool numbered = full && service == information && (said.bytes[1] & 0x1F) != 0 &&
                          !tells_total(said.bytes[1]);
    if (numbered)
        return part(ecu, said, sink);
    close(ecu, sink);
    if (service == information && said.bytes.size() == 3 && tells_total(said.bytes[1]))
        ecu.totals[said.bytes[1] + 1U] = said.bytes[2];
    sink.message(said);
}

/// Three codes, or fewer and 0000.
void OldLines::codes(Ecu& ecu, const Said& said, Sink& sink) {
    if (ecu.open && ecu.bytes[0] == said.bytes[0] && ecu.parts < most_parts)
        return add(ecu, said, said.bytes.subspan(1));
    close(ecu, sink);
    open(ecu, said, said.bytes);
}

/// Four bytes with a number.
void OldLines::part(Ecu& ecu, const Said& said, Sink& sink) {
    const std::uint8_t info = said.bytes[1];
    const std::uint8_t number = said.bytes[2];
    const bool same = ecu.open && ecu.bytes[0] == information && ecu.bytes[1] == info;
    if (number == 1) {
        close(ecu, sink);
        ecu.lost = 0;
        open(ecu, said, said.bytes);
    } else if (same && number == ecu.parts + 1) {
        add(ecu, said, said.bytes.subspan(3));
    } else {
        if (same)
            ecu.open = false; // given up
        else
            close(ecu, sink);
        if (ecu.lost == info)
            return; // told already
        ecu.lost = info;
        return sink.problem(
            {ProblemCode::part_missing, said.place, said.time, same ? ecu.parts + 1 : 1, number},
            said);
    }
    if (ecu.parts == ecu.total())
        close(ecu, sink);
}

void OldLines::open(Ecu& ecu, const Said& said, Bytes bytes) {
    ecu.open = true;
    ecu.parts = 1;
    ecu.said = said;
    ecu.size = bytes.size();
    std::copy(bytes.begin(), bytes.end(), ecu.bytes.begin());
}

void OldLines::add(Ecu& ecu, const Said& said, Bytes bytes) {
    std::copy(bytes.begin(), bytes.end(),
              ecu.bytes.begin() + static_cast<std::ptrdiff_t>(ecu.size));
    ecu.size += bytes.size();
    ++ecu.parts;
    ecu.said.end_time = said.end_time;
}

void OldLines::close(Ecu& ecu, Sink& sink) {
    if (!ecu.open)
        return;
    ecu.open = false;
    ecu.said.frames = ecu.parts;
    ecu.said.bytes = ecu.message();
    const unsigned total = ecu.bytes[0] == information ? ecu.total() : 0;
    if (ecu.parts < total)
        return sink.problem(
            {ProblemCode::part_missing, ecu.said.place, ecu.said.time, ecu.parts + 1, 0}, ecu.said);
    sink.message(ecu.said);
}

OldLines::Ecu& OldLines::ecu_of(const Said& said, Sink& sink) {
    for (auto& ecu : ecus_)
        if (ecu.line == said.line && ecu.has_id == said.has_id && ecu.id == said.id)
            return ecu;
    std::size_t at = ecus_.size();
    if (at < most_ecus) {
        ecus_.emplace_back();
    } else {
        at = next_place_;
        next_place_ = (next_place_ + 1) % most_ecus;
        close(ecus_[at], sink);
        ecus_[at] = {};
    }
    ecus_[at].line = said.line;
    ecus_[at].has_id = said.has_id;
    ecus_[at].id = said.id;
    return ecus_[at];
}

KlineInit* OldLines::init_of(std::uint16_t line) {
    for (auto& known : inits_)
        if (known.line == line)
            return &known.init;
    if (inits_.size() == most_inits)
        return nullptr;
    inits_.push_back({line, {}});
    return &inits_.back().init;
}

} // namespace telltale::message::detail
