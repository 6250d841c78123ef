// SPDX-License-Identifier: Apache-2.0
// The text log of SocketCAN:
//
//     line      = "(" time ")" space interface space id body [space direction]
//     id        = 3 hex digits (11 bit) | 8 hex digits (29 bit, or an error frame)
//     body      = "#" data [raw]                classic data frame, up to 8 bytes
//               | "#R" [length] [raw]           remote frame
//               | "##" flags data               FD frame, flags: 1 bit rate switch, 2 error state
//     data      = pairs of hex digits, dots between them allowed
//     raw       = "_" hex digit                 data length code as sent, 9 to F for 8 bytes
//     direction = "R" received | "T" sent
//
// Nearly every line of a log has one shape: ten digits of seconds, six of microseconds, the same
// interface as the line before, a classic frame. That shape is read eight characters at a time
// straight from the window, and everything else the plain way.
#include "text_reader.hpp"

namespace telltale::dump {

namespace {

/// Data of the log form; npos when it is none.
std::size_t parse_data(std::string_view text, std::span<std::uint8_t, 64> out) {
    std::size_t count = 0;
    while (!text.empty()) {
        if (text.size() < 2)
            return std::string_view::npos;
        const unsigned high = hex_digit(text[0]);
        const unsigned low = hex_digit(text[1]);
        if ((high | low) > 15)
            return std::string_view::npos;
        // More than an FD frame holds is counted, not kept.
        if (count < out.size())
            out[count] = static_cast<std::uint8_t>(high << 4 | low);
        ++count;
        text.remove_prefix(2);
        if (text.size() > 1 && text.front() == '.')
            text.remove_prefix(1);
    }
    return count;
}

Verdict parse_logged(std::string_view line, CanLine& can) {
    const auto unreadable = Verdict::unreadable(line);
    auto rest = trim(line);
    if (rest.empty() || rest.front() != '(')
        return unreadable;
    const auto close = rest.find(')');
    if (close == std::string_view::npos || !parse_time(trim(rest.substr(1, close - 1)), can.time))
        return unreadable;
    rest.remove_prefix(close + 1);
    can.interface = take_token(rest);
    auto body = take_token(rest);
    if (!rest.empty()) {
        if (rest == "R")
            can.direction = Direction::received;
        else if (rest == "T")
            can.direction = Direction::sent;
        else
            return unreadable;
    }
    const auto mark = body.find('#');
    if (mark == std::string_view::npos)
        return unreadable;
    if (auto verdict = kernel_identifier(body.substr(0, mark), line, can.frame); !verdict.fine())
        return verdict;
    body.remove_prefix(mark + 1);

    unsigned raw = 0;
    if (!body.empty() && body.front() == '#') {
        if (body.size() < 2 || can.frame.kind == CanKind::error)
            return unreadable;
        const unsigned flags = hex_digit(body[1]);
        if (flags > 15)
            return unreadable;
        can.frame.fd = true;
        can.frame.bit_rate_switch = (flags & 1) != 0;
        can.frame.error_state = (flags & 2) != 0;
        body.remove_prefix(2);
    } else {
        if (body.size() >= 2 && body[body.size() - 2] == '_') {
            raw = hex_digit(body.back());
            if (raw < 9 || raw > 15)
                return unreadable;
            body.remove_suffix(2);
        }
        if (!body.empty() && (body.front() == 'R' || body.front() == 'r')) {
            if (body.size() > 2 || can.frame.kind == CanKind::error)
                return unreadable;
            const unsigned length = body.size() == 2 ? hex_digit(body[1]) : 0;
            if (length > 15)
                return unreadable;
            if (length > 8)
                return {ProblemCode::bad_length, length};
            if (raw != 0 && length != 8)
                return unreadable;
            can.frame.kind = CanKind::remote;
            can.frame.remote_length = static_cast<std::uint8_t>(length);
            return {};
        }
    }
    const std::size_t size = parse_data(body, can.buffer);
    if (size == std::string_view::npos || (raw != 0 && size < 8))
        return unreadable;
    if (auto verdict = check_length(size, can.frame.fd); !verdict.fine())
        return verdict;
    can.frame.data = Bytes(can.buffer).first(size);
    return {};
}

class CanLogReader final : public TextReader {
  protected:
    Outcome line(ReadState& state, const TextLine& line, Record& record,
                 Problem& problem) override {
        if (says_nothing(trim(line.text)))
            return Outcome::nothing;
        can_.frame = {};
        can_.direction = Direction::unknown;
        if (const auto verdict = parse_logged(line.text, can_); !verdict.fine())
            return told(verdict, line, problem);
        return give(state, can_, line.place, record, problem);
    }

    Outcome quick(ReadState& state, Record& record, Problem& problem) override {
        Window& window = state.window;
        while (window.size() >= most) {
            const std::uint8_t* const begin = window.data();
            const std::uint8_t* at = begin;
            // (1700000000.123456) and a space. Seconds from 9e9 on may not fit into a time.
            const std::uint64_t seconds = load8(at + 1);
            // The last digit of the seconds and the point make way for the digits behind them.
            const std::uint64_t fraction =
                (load8(at + 10) & ~std::uint64_t{0xFFFF}) | every_byte('0') >> 48;
            if (at[0] != '(' || at[1] == '9' || at[11] != '.' || at[18] != ')' || at[19] != ' ' ||
                !is_digit(static_cast<char>(at[9])) || !is_digit(static_cast<char>(at[10])) ||
                !are_digits(seconds) || !are_digits(fraction))
                return Outcome::nothing;
            at += 20;
            if ((load8(at) & name_mask_) != name_ && !remember(at))
                return Outcome::nothing;
            at += name_size_;

            CanId id;
            if (at[3] == '#') {
                const unsigned a = detail::hex_digits[at[0]];
                const unsigned b = detail::hex_digits[at[1]];
                const unsigned c = detail::hex_digits[at[2]];
                if ((a | b | c) > 15 || a > 7)
                    return Outcome::nothing;
                id = {a << 8 | b << 4 | c, false};
                at += 4;
            } else if (at[8] == '#') {
                const std::uint64_t digits = load8(at);
                if (hex_run(digits) != 8)
                    return Outcome::nothing;
                id = {__builtin_bswap32(hex_bytes(digits)), true};
                if (!id.valid())
                    return Outcome::nothing;
                at += 9;
            } else {
                return Outcome::nothing;
            }

            const std::uint64_t low = load8(at);
            const std::uint64_t high = load8(at + 8);
            unsigned digits = hex_run(low);
            if (digits == 8)
                digits += hex_run(high);
            const std::uint8_t* end = at + digits;
            Direction direction = Direction::unknown;
            if (end[0] == ' ' && (end[1] == 'R' || end[1] == 'T')) {
                direction = end[1] == 'R' ? Direction::received : Direction::sent;
                end += 2;
            }
            if (end[0] == '\r')
                ++end;
            if (end[0] != '\n' || digits % 2 != 0)
                return Outcome::nothing;

            const Place place{window.offset(), lines_.number()++};
            window.consume(static_cast<std::size_t>(end + 1 - begin));
            const Time tens = begin[9] - '0';
            const Time ones = begin[10] - '0';
            can_.time =
                (Time{digits_value(seconds)} * 100 + tens * 10 + ones) * nanoseconds_a_second +
                Time{digits_value(fraction)} * 1000;
            if (!state.wanted(id)) {
                if (pass_over(state, can_.time, place, problem) != Outcome::nothing)
                    return Outcome::problem;
                continue;
            }
            store4(can_.buffer.data(), hex_bytes(low));
            store4(can_.buffer.data() + 4, hex_bytes(high));
            can_.frame = {};
            can_.frame.id = id;
            can_.frame.data = Bytes(can_.buffer).first(digits / 2);
            can_.interface = {name_text_.data(), name_size_ - 1};
            can_.direction = direction;
            return give(state, can_, place, record, problem);
        }
        return Outcome::nothing;
    }

  private:
    /// No line of the usual shape is longer: 20 for the time, 8 for the interface, 8 and 1 for the
    /// identifier, 16 for the data, 2 for the direction, 2 for the end, and what the loads of eight
    /// reach beyond.
    static constexpr std::size_t most = 96;

    CanLine can_;
    std::uint64_t name_ = 1; ///< the interface of the last line and the space after it
    std::uint64_t name_mask_ = 0;
    std::size_t name_size_ = 0; ///< with the space
    std::array<char, 8> name_text_{};

    /// Takes the name at `at` as the usual one, if it is of at most seven characters.
    bool remember(const std::uint8_t* at) {
        std::size_t size = 0;
        while (size < 8 && !is_space(static_cast<char>(at[size])) && at[size] != '\n')
            ++size;
        if (size == 0 || size == 8 || at[size] != ' ')
            return false;
        std::memcpy(name_text_.data(), at, size);
        name_size_ = size + 1;
        name_mask_ = ~std::uint64_t{0} >> (64 - 8 * name_size_);
        name_ = load8(at) & name_mask_;
        return true;
    }
};

} // namespace

bool fits_can_log(std::string_view line) {
    CanLine can;
    const auto verdict = parse_logged(line, can);
    // A frame that cannot be, in the right form, still tells the form.
    return verdict.fine() || verdict.code == ProblemCode::bad_length ||
           verdict.code == ProblemCode::bad_identifier;
}

std::unique_ptr<FormatReader> make_can_log_reader() {
    return std::make_unique<CanLogReader>();
}

} // namespace telltale::dump
