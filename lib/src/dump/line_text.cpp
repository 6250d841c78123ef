// SPDX-License-Identifier: Apache-2.0
// The older lines as text:
//
//     line  = time name bytes
//     time  = seconds | "(" seconds, or date and time of day ")" | "-" where it is not known
//     name  = ("kline" | "j1850") [digits] ["-bytes"]
//     bytes = even numbers of hex digits, a byte or more at a time, with white space or commas
//             between them and "0x" allowed before them
//
//     0.000000 kline 68 6A F1 01 0C D0
//     0.041000 kline 48 6B 10 41 0C 1A F8 22
//     0.500000 j1850 48 6B 10 41 0C 1A F8 B2
//
// Such a line holds a whole frame: header, data, checksum. Of J1850 without in-frame response.
// Digits keep several lines apart: kline1, kline2.
//
// With "-bytes" behind the name a line holds bytes as they were heard on a K-line, one or several,
// and the time is that of the first; those behind it follow without a pause. Frames are cut where
// the bytes pause (see KlineCutter):
//
//     0.000000 kline-bytes 68
//     0.006000 kline-bytes 6A F1
//
// Blank lines and comments (#, ;, //) do not matter.
#include <algorithm>
#include <vector>

#include "telltale/frame/j1850.hpp"
#include "telltale/frame/kline.hpp"

#include "text_reader.hpp"

namespace telltale::dump {

namespace {

constexpr std::size_t most_bytes = 512; ///< a line's
constexpr std::size_t most_streams = 16;

struct OldLine {
    RecordKind kind = RecordKind::kline;
    bool stream = false;
    std::string_view name;
    Time time = no_time;
    std::size_t size = 0;
};

Verdict parse_line(std::string_view line, OldLine& out, std::span<std::uint8_t> buffer) {
    const auto unreadable = Verdict::unreadable(line);
    auto rest = trim(line);
    if (rest.empty())
        return unreadable;
    if (rest.front() == '(') {
        const auto close = rest.find(')');
        if (close == std::string_view::npos ||
            !parse_time(trim(rest.substr(1, close - 1)), out.time))
            return unreadable;
        rest.remove_prefix(close + 1);
    } else if (const auto time = take_token(rest);
               time != "-" && !parse_scaled(time, nanoseconds_a_second, out.time)) {
        return unreadable;
    }

    out.name = take_token(rest);
    constexpr std::string_view stream = "-bytes";
    if (out.name.size() > stream.size() &&
        out.name.substr(out.name.size() - stream.size()) == stream) {
        out.stream = true;
        out.name.remove_suffix(stream.size());
    }
    const auto word = out.name.substr(0, 5);
    if (word != "kline" && word != "j1850")
        return unreadable;
    out.kind = word == "kline" ? RecordKind::kline : RecordKind::j1850;
    const auto digits = out.name.substr(5);
    if (digits.size() > 4 || !std::all_of(digits.begin(), digits.end(), is_digit))
        return unreadable;
    // Bytes can be cut into frames only by their times, and those of J1850 not by them.
    if (out.stream && (out.time == no_time || out.kind != RecordKind::kline))
        return unreadable;

    for (auto piece = take_piece(rest); !piece.empty(); piece = take_piece(rest))
        if (!parse_hex_piece(piece, buffer, out.size))
            return unreadable;
    if (out.size == 0)
        return unreadable;
    const std::size_t most = out.stream                      ? most_bytes
                             : out.kind == RecordKind::kline ? max_kline_frame
                                                             : max_j1850_frame;
    return out.size <= most ? Verdict{} : Verdict{ProblemCode::bad_length, out.size};
}

class LineTextReader final : public TextReader {
  protected:
    Outcome quick(ReadState& state, Record& record, Problem&) override {
        return work(state, record);
    }

    Outcome line(ReadState& state, const TextLine& line, Record& record,
                 Problem& problem) override {
        if (says_nothing(trim(line.text)))
            return Outcome::nothing;
        OldLine old;
        if (const auto verdict = parse_line(line.text, old, bytes_); !verdict.fine())
            return told(verdict, line, problem);
        if (!old.stream) {
            ++state.counts.frames;
            record.kind = old.kind;
            record.can = {};
            record.bytes = Bytes(bytes_).first(old.size);
            return finish(state, old.name, old.time, Direction::unknown, line.place, record,
                          problem);
        }
        std::uint16_t index = 0;
        if (!state.line_index(old.name, index) || !stream_of(index))
            return told({ProblemCode::too_many_lines}, line, problem);
        todo_ = old.size;
        done_ = 0;
        time_ = old.time;
        place_ = line.place;
        if (!in_order(state, old.time, line.place, problem))
            return Outcome::problem;
        return work(state, record);
    }

    Outcome at_end(ReadState& state, Record& record, Problem&) override {
        for (auto& stream : streams_)
            stream.cutter.finish();
        return work(state, record);
    }

  private:
    struct Stream {
        std::uint16_t line = 0;
        KlineCutter cutter;
    };

    std::array<std::uint8_t, most_bytes> bytes_{};
    std::vector<Stream> streams_;
    std::size_t current_ = 0; ///< the stream that the bytes to do belong to
    std::size_t todo_ = 0;    ///< bytes of the line
    std::size_t done_ = 0;    ///< of them, handed to the cutter
    Time time_ = no_time;
    Place place_;

    bool stream_of(std::uint16_t line) {
        for (current_ = 0; current_ < streams_.size(); ++current_)
            if (streams_[current_].line == line)
                return true;
        if (streams_.size() == most_streams)
            return false;
        streams_.push_back({line, {}});
        return true;
    }

    /// Hands bytes to the cutter for as long as nothing comes out.
    Outcome work(ReadState& state, Record& record) {
        for (;;) {
            for (auto& stream : streams_) {
                if (done_ < todo_)
                    stream.cutter.pause_until(now());
                KlineCutter::Piece piece;
                if (!stream.cutter.next(piece))
                    continue;
                ++state.counts.frames;
                record.kind = RecordKind::kline;
                record.can = {};
                record.bytes = piece.bytes;
                record.direction = Direction::unknown;
                record.time = piece.time;
                record.place = piece.place;
                record.comment = {};
                record.line = stream.line;
                return Outcome::record;
            }
            if (done_ == todo_)
                return Outcome::nothing;
            streams_[current_].cutter.push(bytes_[done_], now(), place_);
            ++done_;
        }
    }

    /// When the next byte came.
    Time now() const { return time_ + static_cast<Time>(done_) * KlineCutter::byte_time; }
};

} // namespace

bool fits_line_text(std::string_view line) {
    OldLine old;
    std::array<std::uint8_t, most_bytes> buffer{};
    const auto verdict = parse_line(line, old, buffer);
    return verdict.fine() || verdict.code == ProblemCode::bad_length;
}

std::unique_ptr<FormatReader> make_line_text_reader() {
    return std::make_unique<LineTextReader>();
}

} // namespace telltale::dump
