// SPDX-License-Identifier: Apache-2.0
// Bare hex:
//
//     line    = [time] (id bytes | bytes)
//     time    = "(" seconds, or date and time ")" | seconds with a point
//     id      = 3 hex digits (11 bit) | 8 hex digits (29 bit), with something after it
//     bytes   = even numbers of hex digits, a byte or more at a time
//
// with white space or commas between them and "0x" before any of them; "0x4" is one byte. With an
// identifier it is a CAN frame: up to 8 bytes, or a length that only FD has. Without one it is a
// whole message.
#include "text_reader.hpp"

namespace telltale::dump {

namespace {

constexpr std::size_t max_message = 65'536;

struct HexLine {
    bool is_frame = false;
    CanFrame frame;
    Time time = no_time;
    std::size_t size = 0;
};

Verdict parse_line(std::string_view line, HexLine& out, std::span<std::uint8_t> buffer) {
    const auto unreadable = Verdict::unreadable(line);
    auto rest = trim(line);
    if (!rest.empty() && rest.front() == '(') {
        const auto close = rest.find(')');
        if (close == std::string_view::npos ||
            !parse_time(trim(rest.substr(1, close - 1)), out.time))
            return unreadable;
        rest.remove_prefix(close + 1);
    }
    auto piece = take_piece(rest);
    if (out.time == no_time && piece.find('.') != std::string_view::npos) {
        if (!parse_scaled(piece, nanoseconds_a_second, out.time))
            return unreadable;
        piece = take_piece(rest);
    }
    auto digits = piece;
    take_0x(digits);
    if ((digits.size() == 3 || digits.size() == 8) && !rest.empty()) {
        std::uint64_t value = 0;
        if (!parse_hex(digits, value))
            return unreadable;
        out.is_frame = true;
        out.frame.id = {static_cast<std::uint32_t>(value), digits.size() == 8};
        if (!out.frame.id.valid())
            return {ProblemCode::bad_identifier, value};
        piece = take_piece(rest);
    }
    if (piece.empty())
        return unreadable;
    for (; !piece.empty(); piece = take_piece(rest))
        if (!parse_hex_piece(piece, buffer, out.size))
            return unreadable;
    if (!out.is_frame)
        return out.size <= buffer.size() ? Verdict{} : Verdict{ProblemCode::bad_length, out.size};
    out.frame.fd = out.size > 8;
    return check_length(out.size, out.frame.fd);
}

class HexReader final : public TextReader {
  public:
    HexReader() : buffer_(new std::uint8_t[max_message]) {}

  protected:
    Outcome line(ReadState& state, const TextLine& line, Record& record,
                 Problem& problem) override {
        if (says_nothing(trim(line.text)))
            return Outcome::nothing;
        HexLine hex;
        if (const auto verdict = parse_line(line.text, hex, {buffer_.get(), max_message});
            !verdict.fine())
            return told(verdict, line, problem);
        const Bytes bytes(buffer_.get(), hex.size);
        if (hex.is_frame) {
            can_.frame = hex.frame;
            can_.frame.data = bytes;
            can_.time = hex.time;
            return give(state, can_, line.place, record, problem);
        }
        ++state.counts.frames;
        record.kind = RecordKind::message;
        record.can = {};
        record.bytes = bytes;
        return finish(state, {}, hex.time, Direction::unknown, line.place, record, problem);
    }

  private:
    std::unique_ptr<std::uint8_t[]> buffer_;
    CanLine can_;
};

} // namespace

bool fits_hex(std::string_view line) {
    HexLine hex;
    std::array<std::uint8_t, 64> buffer{};
    const auto verdict = parse_line(line, hex, buffer);
    return verdict.fine() || verdict.code == ProblemCode::bad_length;
}

std::unique_ptr<FormatReader> make_hex_reader() {
    return std::make_unique<HexReader>();
}

} // namespace telltale::dump
