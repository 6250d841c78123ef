// SPDX-License-Identifier: Apache-2.0
#include <algorithm>
#include <cstring>

#include "format_reader.hpp"
#include "packet.hpp"

namespace telltale::dump {

namespace {

// The file format: draft-ietf-opsawg-pcap. A file header of 24 bytes, then records of a 16-byte
// header and the packet, with nothing between them by which a reader that lost its way could find
// the next. So the way is found again by what a record must be: its fields agree, its time is near
// the last good one, its packet is a frame, and another such record follows.
constexpr std::size_t file_header = 24;
constexpr std::size_t record_header = 16;
/// Longer packets than these are not captured (libpcap's own bound) or are no CAN.
constexpr std::uint32_t longest_packet = 262'144;
constexpr std::uint32_t longest_can_packet = 4096;
/// A time further than this from the one before is looked at twice.
constexpr std::uint32_t near_seconds = 3600;

struct Head {
    std::uint32_t seconds = 0;
    std::uint32_t fraction = 0;
    std::uint32_t stored = 0;
    std::uint32_t length = 0;
};

class PcapReader final : public FormatReader {
  public:
    Step next(ReadState& state, Record& record, Problem& problem) override {
        Window& window = state.window;
        if (!started_) {
            started_ = true;
            if (const Step step = start(state, problem); step != Step::record)
                return step;
        }
        if (stopped_)
            return Step::end;
        for (;;) {
            if (skip_ != 0 && !skip(window))
                return cut(state, problem, {skip_place_, 0}, skip_whole_,
                           window.offset() - skip_place_);
            if (lost_ && !find_way(state))
                return stop();
            const Place place{window.offset(), 0};
            if (!window.need(record_header)) {
                if (window.size() == 0)
                    return stop();
                return cut(state, problem, place, record_header, window.size());
            }
            const Head head = head_at(window.data());
            if (!sane(head) || (timed_ && !near(head, last_) && !convincing(window, 0))) {
                problem = Problem{ProblemCode::bad_record, place};
                lose_way(window);
                return Step::problem;
            }
            const std::size_t shown = std::min<std::size_t>(head.stored, packet_head);
            if (!window.need(record_header + shown))
                return cut(state, problem, place, record_header + head.stored, window.size());
            const Time time = time_of(head);
            std::uint32_t interface = 0;
            record.direction = Direction::unknown;
            const PacketKind kind =
                !known_link_
                    ? PacketKind::foreign
                    : read_packet({link_, big_, state.filter, window.data() + record_header,
                                   head.stored, head.length, &interface},
                                  record, problem);
            if (kind == PacketKind::bad) {
                problem.place = place;
                problem.time = time;
                if (followed(window, 0, head)) {
                    last_ = head;
                    timed_ = true;
                    pass(window, head);
                } else {
                    lose_way(window);
                }
                return Step::problem;
            }
            last_ = head;
            timed_ = true;
            if (time < state.last_time) {
                problem = Problem{ProblemCode::time_backwards, place, time,
                                  static_cast<std::uint64_t>(state.last_time - time)};
                state.last_time = time; // told: the record itself comes with the next call
                return Step::problem;
            }
            state.last_time = time;
            if (kind != PacketKind::frame) {
                ++state.counts.frames;
                ++state.counts.passed_over;
                pass(window, head);
                continue;
            }
            record.line = 0;
            if (link_ == link_linux_cooked_2 && !cooked_line(state, interface, record.line)) {
                // Among another interface's its frames could make up what nobody sent.
                ++state.counts.frames;
                ++state.counts.passed_over;
                pass(window, head);
                if (lines_told_)
                    continue;
                lines_told_ = true;
                problem = Problem{ProblemCode::too_many_lines, place, time};
                return Step::problem;
            }
            count_given(state.counts, record.can.kind);
            record.kind = RecordKind::can;
            record.time = time;
            record.place = place;
            record.bytes = {};
            record.comment = {};
            pass(window, head);
            return Step::record;
        }
    }

  private:
    std::uint32_t word(const std::uint8_t* at) const {
        std::uint32_t value = 0;
        std::memcpy(&value, at, sizeof value);
        return swapped_ ? __builtin_bswap32(value) : value;
    }

    Head head_at(const std::uint8_t* at) const {
        return {word(at), word(at + 4), word(at + 8), word(at + 12)};
    }

    bool sane(const Head& head) const {
        // An empty packet is no packet: such are what a file is filled with that was not written.
        return head.fraction < fractions_ && head.stored <= head.length &&
               head.stored <= longest_ && head.length != 0;
    }

    static bool near(const Head& one, const Head& other) {
        return one.seconds - other.seconds + near_seconds <= 2 * near_seconds;
    }

    Time time_of(const Head& head) const {
        return Time{head.seconds} * nanoseconds_a_second + Time{head.fraction} * fraction_scale_;
    }

    /// The file header. `record` means: go on.
    Step start(ReadState& state, Problem& problem) {
        Window& window = state.window;
        if (!window.need(file_header)) {
            stopped_ = true;
            return cut(state, problem, {0, 0}, file_header, window.size());
        }
        const Bytes bytes = window.bytes();
        const auto as_big = static_cast<std::uint32_t>(big_endian(bytes, 0, 4));
        const auto as_little = static_cast<std::uint32_t>(little_endian(bytes, 0, 4));
        bool nano = false;
        if (as_big == 0xA1B2C3D4 || as_big == 0xA1B23C4D) {
            big_ = true;
            nano = as_big == 0xA1B23C4D;
        } else if (as_little == 0xA1B2C3D4 || as_little == 0xA1B23C4D) {
            nano = as_little == 0xA1B23C4D;
        } else {
            stopped_ = true;
            problem = Problem{ProblemCode::bad_record, {0, 0}};
            return Step::problem;
        }
        const std::uint16_t probe = 1;
        std::uint8_t first = 0;
        std::memcpy(&first, &probe, 1);
        swapped_ = big_ == (first == 1);
        fractions_ = nano ? 1'000'000'000 : 1'000'000;
        fraction_scale_ = nano ? 1 : 1000;
        // The upper bits tell of frame check sequences, which CAN links do not store.
        link_ = word(window.data() + 20) & 0xFFFF;
        known_link_ = is_can_link(link_);
        longest_ = link_ == link_can_socketcan ? longest_can_packet : longest_packet;
        window.consume(file_header);
        if (!known_link_) {
            problem = Problem{ProblemCode::unknown_link_type, {20, 0}, no_time, link_};
            return Step::problem;
        }
        return Step::record;
    }

    Step stop() {
        stopped_ = true;
        return Step::end;
    }

    /// The input ends inside a record: there is nothing after it.
    Step cut(ReadState& state, Problem& problem, Place place, std::uint64_t wanted,
             std::uint64_t there) {
        stopped_ = true;
        state.window.consume(state.window.size());
        problem = Problem{ProblemCode::cut_record, place, no_time, wanted, there};
        return Step::problem;
    }

    /// Leaves the record behind; what of it is not yet in the window is read past later, so that
    /// the record's bytes stay where they are until the next call.
    void pass(Window& window, const Head& head) {
        const std::uint64_t whole = record_header + std::uint64_t{head.stored};
        const auto now = static_cast<std::size_t>(std::min<std::uint64_t>(whole, window.size()));
        skip_place_ = window.offset();
        skip_whole_ = whole;
        skip_ = whole - now;
        window.consume(now);
    }

    /// False: the input ended first.
    bool skip(Window& window) {
        while (skip_ != 0) {
            if (window.size() == 0 && !window.more()) {
                skip_ = 0;
                return false;
            }
            const auto now =
                static_cast<std::size_t>(std::min<std::uint64_t>(skip_, window.size()));
            window.consume(now);
            skip_ -= now;
        }
        return true;
    }

    void lose_way(Window& window) {
        window.consume(1);
        lost_ = true;
    }

    /// Moves on to the next place that looks like a record beyond doubt. False: there is none.
    bool find_way(ReadState& state) {
        Window& window = state.window;
        while (window.need(record_header)) {
            const Head head = head_at(window.data());
            if (sane(head) && convincing(window, 0) &&
                (!timed_ || near(head, last_) || again(window, head))) {
                lost_ = false;
                return true;
            }
            window.consume(1);
        }
        window.consume(window.size());
        return false;
    }

    /// A record stands here, whole, with a packet in order, and another or the end after it.
    bool convincing(Window& window, std::size_t at) {
        const Head head = head_at(window.data() + at);
        if (known_link_) {
            const std::size_t shown = std::min<std::size_t>(head.stored, packet_head);
            if (!window.need(at + record_header + shown))
                return false;
            Record record;
            Problem problem;
            const PacketKind kind =
                read_packet({link_, big_, nullptr, window.data() + at + record_header, head.stored,
                             head.length, nullptr},
                            record, problem);
            if (kind == PacketKind::bad)
                return false;
        }
        return followed(window, at, head);
    }

    /// The record after the first in the window is convincing as well, as far as one can see.
    bool again(Window& window, const Head& first) {
        const std::size_t after = record_header + first.stored;
        return after + record_header > window.capacity() ||
               (window.need(after + record_header) && sane(head_at(window.data() + after)) &&
                convincing(window, after));
    }

    /// Another record follows the one at `at`, or the end of the input.
    bool followed(Window& window, std::size_t at, const Head& head) {
        const std::size_t after = at + record_header + head.stored;
        if (after + record_header > window.capacity())
            return true; // too far away to look
        if (!window.need(after + record_header))
            return window.size() == after;
        const Head second = head_at(window.data() + after);
        return sane(second) && near(second, head);
    }

    bool started_ = false;
    bool stopped_ = false;
    bool lost_ = false;
    bool big_ = false;
    bool swapped_ = false;
    bool known_link_ = false;
    bool lines_told_ = false;
    bool timed_ = false; ///< `last_` is of a record
    std::uint32_t link_ = 0;
    std::uint32_t longest_ = longest_packet;
    std::uint32_t fractions_ = 1'000'000;
    Time fraction_scale_ = 1000;
    Head last_;
    std::uint64_t skip_ = 0; ///< bytes of the record before that are still to be read past
    std::uint64_t skip_place_ = 0;
    std::uint64_t skip_whole_ = 0;
};

} // namespace

std::unique_ptr<FormatReader> make_pcap_reader() {
    return std::make_unique<PcapReader>();
}

} // namespace telltale::dump
