// SPDX-License-Identifier: Apache-2.0
// The column form of SocketCAN:
//
//     line   = ["(" time ")"] interface [direction flags] id length content [characters]
//     time   = seconds | date and time of day | seconds since the line before
//     flags  = up to two of "-", "B" (bit rate switch), "E" (error state)
//     id     = 3 hex digits (11 bit) | 8 hex digits (29 bit, or an error frame)
//     length = "[n]" classic | "[nn]" FD | "{x}" eight bytes sent with the length code x
//     content = bytes of two hex digits | "remote request"
//     characters = the bytes once more as characters in quotes | the word ERRORFRAME
//
// with white space between them. As many bytes must follow as the length says.
//
// Seconds since the line before look like seconds since the start of the log, except that they do
// not grow. A log whose first line has a small time is therefore looked at first: when, in its
// first 4 KiB, at least a quarter of at least eight times are below the one before, they are
// differences and are added up.
#include <algorithm>
#include <limits>

#include "text_reader.hpp"

namespace telltale::dump {

namespace {

bool parse_length(std::string_view text, std::size_t& length, bool& fd) {
    if (text.size() < 3)
        return false;
    const auto inner = text.substr(1, text.size() - 2);
    if (text.front() == '{' && text.back() == '}') {
        const unsigned raw = inner.size() == 1 ? hex_digit(inner.front()) : 0;
        length = 8;
        fd = false;
        return raw > 8 && raw <= 15;
    }
    std::uint64_t value = 0;
    if (text.front() != '[' || text.back() != ']' || inner.size() > 2 ||
        !parse_decimal(inner, value))
        return false;
    length = static_cast<std::size_t>(value);
    fd = inner.size() == 2;
    return true;
}

Verdict parse_line(std::string_view line, CanLine& can) {
    const auto unreadable = Verdict::unreadable(line);
    auto rest = trim(line);
    if (!rest.empty() && rest.front() == '(') {
        const auto close = rest.find(')');
        if (close == std::string_view::npos ||
            !parse_time(trim(rest.substr(1, close - 1)), can.time))
            return unreadable;
        rest.remove_prefix(close + 1);
    }
    can.interface = take_token(rest);
    auto token = take_token(rest);
    if (token == "RX" || token == "TX") {
        can.direction = token == "RX" ? Direction::received : Direction::sent;
        token = take_token(rest);
        for (int i = 0; i < 2 && token.size() == 1; ++i, token = take_token(rest)) {
            if (token == "B")
                can.frame.bit_rate_switch = true;
            else if (token == "E")
                can.frame.error_state = true;
            else if (token != "-")
                return unreadable;
        }
    }
    const auto identifier = token;
    std::size_t length = 0;
    if (!parse_length(take_token(rest), length, can.frame.fd))
        return unreadable;
    if (auto verdict = kernel_identifier(identifier, line, can.frame); !verdict.fine())
        return verdict;
    if (auto verdict = check_length(length, can.frame.fd); !verdict.fine())
        return verdict;
    if (!can.frame.fd && (can.frame.bit_rate_switch || can.frame.error_state))
        return unreadable;
    if (can.frame.kind == CanKind::error && can.frame.fd)
        return unreadable;

    if (rest == "remote request") {
        if (can.frame.fd || can.frame.kind == CanKind::error)
            return unreadable;
        can.frame.kind = CanKind::remote;
        can.frame.remote_length = static_cast<std::uint8_t>(length);
        return {};
    }
    for (std::size_t i = 0; i < length; ++i) {
        const auto byte = take_token(rest);
        if (byte.empty()) // fewer bytes than the length says
            return {ProblemCode::bad_record, 0};
        if (parse_hex_bytes(byte, std::span(can.buffer).subspan(i, 1)) != 1)
            return unreadable;
    }
    const bool quoted = rest.size() >= 2 && rest.front() == rest.back() &&
                        (rest.front() == '\'' || rest.front() == '"');
    const bool named = can.frame.kind == CanKind::error && rest == "ERRORFRAME";
    if (!rest.empty() && !quoted && !named) {
        std::uint8_t more = 0;
        return parse_hex_bytes(take_token(rest), {&more, 1}) == 1
                   ? Verdict{ProblemCode::bad_record, 0} // more bytes than the length says
                   : unreadable;
    }
    can.frame.data = Bytes(can.buffer).first(length);
    return {};
}

/// Whether the times at the front of the window are differences: see the top of this file.
bool are_differences(Window& window) {
    constexpr std::size_t head = 4096;
    constexpr Time small = 1'000'000 * nanoseconds_a_second;
    window.need(head);
    std::string_view rest(reinterpret_cast<const char*>(window.data()),
                          std::min(window.size(), head));
    std::size_t times = 0;
    std::size_t falls = 0;
    Time last = no_time;
    for (auto end = rest.find('\n'); end != std::string_view::npos; end = rest.find('\n')) {
        CanLine can;
        const auto verdict = parse_line(rest.substr(0, end), can);
        rest.remove_prefix(end + 1);
        if (!verdict.fine() || can.time == no_time)
            continue;
        if (can.time >= small)
            return false;
        ++times;
        falls += can.time < last ? 1U : 0U;
        last = can.time;
    }
    return times >= 8 && falls * 4 >= times;
}

class CanColumnsReader final : public TextReader {
  protected:
    Outcome quick(ReadState& state, Record&, Problem&) override {
        if (!looked_) {
            looked_ = true;
            // Only a time of a few digits can be a difference: a live log is not held up.
            constexpr std::size_t front = 32;
            state.window.need(front);
            const auto text = trim({reinterpret_cast<const char*>(state.window.data()),
                                    std::min(state.window.size(), front)});
            if (!text.empty() && text.front() == '(' && text.substr(0, 8).find('.') != text.npos)
                differences_ = are_differences(state.window);
        }
        return Outcome::nothing;
    }

    Outcome line(ReadState& state, const TextLine& line, Record& record,
                 Problem& problem) override {
        if (says_nothing(trim(line.text)))
            return Outcome::nothing;
        can_.frame = {};
        can_.time = no_time;
        can_.direction = Direction::unknown;
        if (const auto verdict = parse_line(line.text, can_); !verdict.fine())
            return told(verdict, line, problem);
        if (differences_ && can_.time != no_time) {
            // 1e6 s a line for 2^43 lines would be needed to leave the range.
            if (can_.time >= 1'000'000 * nanoseconds_a_second ||
                now_ > std::numeric_limits<Time>::max() / 2)
                return told(Verdict::unreadable(line.text), line, problem);
            now_ += can_.time;
            can_.time = now_;
        }
        return give(state, can_, line.place, record, problem);
    }

  private:
    CanLine can_;
    Time now_ = 0;
    bool looked_ = false;
    bool differences_ = false;
};

} // namespace

bool fits_can_columns(std::string_view line) {
    CanLine can;
    const auto verdict = parse_line(line, can);
    return verdict.fine() || verdict.code == ProblemCode::bad_length ||
           verdict.code == ProblemCode::bad_record || verdict.code == ProblemCode::bad_identifier;
}

std::unique_ptr<FormatReader> make_can_columns_reader() {
    return std::make_unique<CanColumnsReader>();
}

} // namespace telltale::dump
