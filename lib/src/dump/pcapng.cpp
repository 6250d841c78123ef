// SPDX-License-Identifier: Apache-2.0
#include <algorithm>
#include <cstring>
#include <limits>
#include <string>
#include <vector>

#include "format_reader.hpp"
#include "packet.hpp"

namespace telltale::dump {

namespace {

// The file format: draft-ietf-opsawg-pcapng. Blocks, each with its type, its length, its body and
// its length again. A reader that lost its way looks for the next block of a known type whose two
// lengths agree.
constexpr std::uint32_t block_section = 0x0A0D'0D0A;
constexpr std::uint32_t block_interface = 1;
constexpr std::uint32_t block_packet = 2; // obsolete
constexpr std::uint32_t block_simple = 3;
constexpr std::uint32_t block_enhanced = 6;

constexpr std::uint32_t byte_order_mark = 0x1A2B'3C4D;
constexpr std::uint32_t least_block = 12;
/// Blocks of other types may be this long: they are read past without being kept.
constexpr std::uint32_t longest_foreign = 64U << 20;

constexpr std::uint16_t option_end = 0;
constexpr std::uint16_t option_comment = 1;
constexpr std::uint16_t option_name = 2;       // of an interface
constexpr std::uint16_t option_flags = 2;      // of a packet
constexpr std::uint16_t option_resolution = 9; // if_tsresol
constexpr std::uint16_t option_offset = 14;    // if_tsoffset

constexpr std::size_t longest_comment = 64U << 10;

constexpr std::size_t padded(std::size_t size) {
    return (size + 3) & ~std::size_t{3};
}

/// How an interface's time stamps turn into nanoseconds.
class Clock {
  public:
    /// `resolution` as if_tsresol has it: the upper bit tells powers of 2 from powers of 10.
    void set_resolution(std::uint8_t resolution) {
        binary_ = (resolution & 0x80) != 0;
        const unsigned exponent = resolution & 0x7FU;
        shift_ = exponent;
        multiply_ = 1;
        divide_ = 1;
        if (binary_)
            return;
        for (unsigned i = exponent; i < 9; ++i)
            multiply_ *= 10;
        for (unsigned i = 9; i < exponent; ++i) // beyond 10^19 every stamp is less than 1 ns
            divide_ = divide_ > std::numeric_limits<std::uint64_t>::max() / 10 ? 0 : divide_ * 10;
    }
    void set_offset(std::int64_t seconds) { offset_ = seconds; }

    /// False when the time is out of the range of `Time`.
    bool time(std::uint64_t stamp, Time& time) const {
        // Seconds and nanoseconds apart: 64 bits hold each, on every machine.
        constexpr std::uint64_t second = 1'000'000'000;
        constexpr auto most = static_cast<std::uint64_t>(std::numeric_limits<Time>::max());
        std::uint64_t seconds = 0;
        std::uint64_t ns = 0;
        if (binary_) {
            seconds = shift_ < 64 ? stamp >> shift_ : 0;
            const std::uint64_t part = shift_ < 64 ? stamp - (seconds << shift_) : stamp;
            const std::uint64_t low = (part & 0xFFFF'FFFF) * second;
            const std::uint64_t high = (part >> 32) * second + (low >> 32);
            if (shift_ < 32) // then the part has no more than 32 bits
                ns = low >> shift_;
            else
                ns = shift_ < 96 ? high >> (shift_ - 32) : 0;
        } else if (divide_ == 1) {
            const std::uint64_t a_second = second / multiply_;
            seconds = stamp / a_second;
            ns = stamp % a_second * multiply_;
        } else if (divide_ != 0) {
            seconds = stamp / divide_ / second;
            ns = stamp / divide_ % second;
        }
        const std::uint64_t offset = offset_ < 0 ? 0 - static_cast<std::uint64_t>(offset_)
                                                 : static_cast<std::uint64_t>(offset_);
        const bool negative = offset_ < 0 && offset > seconds;
        if (offset_ >= 0 && seconds > most) // no sum of both can wrap beyond this
            return false;
        seconds = offset_ >= 0 ? seconds + offset : negative ? offset - seconds : seconds - offset;
        if (seconds > most / second + 1)
            return false;
        const std::uint64_t size = negative ? seconds * second - ns : seconds * second + ns;
        if (size > most)
            return false;
        time = negative ? -static_cast<Time>(size) : static_cast<Time>(size);
        return true;
    }

  private:
    bool binary_ = false;
    unsigned shift_ = 0;
    std::uint64_t multiply_ = 1000;
    std::uint64_t divide_ = 1;
    std::int64_t offset_ = 0;
};

struct Interface {
    std::uint32_t link = 0;
    std::uint32_t longest = 0; ///< bytes that it stores of a packet; 0: all
    std::uint16_t line = 0;
    bool readable = false; ///< its description could be read
    bool told = false;     ///< that its packets are passed over
    Clock clock;
    Time last = no_time;
};

/// The parts of a packet block, whichever type it has.
struct PacketBlock {
    std::uint32_t interface = 0;
    bool stamped = false;
    std::uint64_t stamp = 0;
    std::uint32_t stored = 0;
    std::uint32_t length = 0;
    std::size_t data = 0;    ///< where the packet starts
    std::size_t options = 0; ///< where its options start
};

class PcapngReader final : public FormatReader {
  public:
    PcapngReader() {
        // All there ever will be: reading allocates no more.
        interfaces_.reserve(ReadState::max_lines);
        unnamed_.reserve(ReadState::max_lines);
    }

    Step next(ReadState& state, Record& record, Problem& problem) override {
        for (;;) {
            Window& window = state.window;
            if (skip_ != 0) {
                if (const Step step = skip(window, problem); step != Step::record)
                    return step;
                continue;
            }
            if (lost_ && !find_way(window))
                return Step::end;
            lost_ = false;
            const Place place{window.offset(), 0};
            if (!window.need(least_block)) {
                if (window.size() == 0)
                    return Step::end;
                return cut(window, problem, place, least_block);
            }
            std::uint32_t type = word(window.data());
            if (type == block_section && !turn(window.data() + 8))
                return bad_block(window, problem, place, type);
            const std::uint32_t total = word(window.data() + 4);
            if (total < least_block || total % 4 != 0 || (!section_ && type != block_section))
                return bad_block(window, problem, place, type);
            if (total > window.capacity()) {
                if (is_known(type) || total > longest_foreign)
                    return bad_block(window, problem, place, type);
                skip_place_ = place.offset;
                skip_whole_ = total;
                skip_ = total;
                continue;
            }
            if (!window.need(total)) {
                // Torn, or its length is wrong and more blocks follow: look for them.
                problem = Problem{ProblemCode::cut_record, place, no_time, total, window.size()};
                lose_way(window, type);
                return Step::problem;
            }
            if (word(window.data() + total - 4) != total)
                return bad_block(window, problem, place, type);

            Given given = Given::nothing;
            switch (type) {
            case block_section:
                given = section(window, total, place, record, problem);
                break;
            case block_interface:
                given = interface(state, total, place, record, problem);
                break;
            case block_enhanced:
            case block_simple:
            case block_packet:
                given = packet(state, type, total, place, record, problem);
                break;
            default:
                break;
            }
            if (given == Given::problem_first)
                return Step::problem; // the same block again at the next call
            window.consume(total);
            if (given == Given::problem)
                return Step::problem;
            if (given == Given::record)
                return Step::record;
        }
    }

  private:
    enum class Given : std::uint8_t {
        nothing,
        record,
        problem,       ///< and the block is done
        problem_first, ///< and the block is to be read again
    };

    static std::uint32_t raw(const std::uint8_t* at) {
        std::uint32_t value = 0;
        std::memcpy(&value, at, sizeof value);
        return value;
    }
    std::uint32_t word(const std::uint8_t* at) const {
        return swapped_ ? __builtin_bswap32(raw(at)) : raw(at);
    }
    std::uint16_t half(const std::uint8_t* at) const {
        const Bytes bytes(at, 2);
        return static_cast<std::uint16_t>(big_ ? big_endian(bytes, 0, 2)
                                               : little_endian(bytes, 0, 2));
    }

    static bool is_known(std::uint32_t type) {
        return type == block_section || (type >= block_interface && type <= block_enhanced);
    }
    static bool is_packet(std::uint32_t type) {
        return type == block_enhanced || type == block_simple || type == block_packet;
    }

    /// Takes the byte order of a section from its mark.
    bool turn(const std::uint8_t* mark) {
        const std::uint32_t value = raw(mark);
        if (value != byte_order_mark && value != __builtin_bswap32(byte_order_mark))
            return false;
        swapped_ = value != byte_order_mark;
        big_ = mark[0] == 0x1A;
        return true;
    }

    void lose_way(Window& window, std::uint32_t type) {
        if (type == block_section) {
            // Its interfaces are not those of the section before.
            interfaces_.clear();
            section_ = window.size() >= least_block && turn(window.data() + 8);
        } else if (type == block_interface && interfaces_.size() < ReadState::max_lines) {
            interfaces_.emplace_back(); // holds the place, so that those after it keep theirs
        }
        window.consume(1);
        lost_ = true;
    }

    Step bad_block(Window& window, Problem& problem, Place place, std::uint32_t type) {
        problem = Problem{ProblemCode::bad_record, place};
        lose_way(window, type);
        return Step::problem;
    }

    Step cut(Window& window, Problem& problem, Place place, std::uint64_t wanted) {
        problem = Problem{ProblemCode::cut_record, place, no_time, wanted, window.size()};
        window.consume(window.size());
        return Step::problem;
    }

    /// Moves on to the next block whose two lengths agree. False: there is none.
    bool find_way(Window& window) {
        const auto fits = [&](const std::uint8_t* at) {
            const std::uint32_t type = word(at);
            if (type == block_section) {
                const bool swapped = swapped_;
                const bool big = big_;
                const bool turned = turn(at + 8);
                const bool agrees = turned && agree(window);
                if (!agrees) {
                    swapped_ = swapped;
                    big_ = big;
                }
                return agrees;
            }
            return section_ && is_known(type) && agree(window);
        };
        while (window.need(least_block)) {
            if (fits(window.data()))
                return true;
            window.consume(1);
        }
        window.consume(window.size());
        return false;
    }

    bool agree(Window& window) const {
        const std::uint32_t total = word(window.data() + 4);
        return total >= least_block && total % 4 == 0 && total <= window.capacity() &&
               window.need(total) && word(window.data() + total - 4) == total;
    }

    /// Reads past a long block of a type that is not read. `record` means: go on.
    Step skip(Window& window, Problem& problem) {
        while (skip_ > 4) {
            if (window.size() == 0 && !window.more()) {
                skip_ = 0;
                problem = Problem{ProblemCode::cut_record,
                                  {skip_place_, 0},
                                  no_time,
                                  skip_whole_,
                                  window.offset() - skip_place_};
                return Step::problem;
            }
            const auto now = std::min<std::size_t>(skip_ - 4, window.size());
            window.consume(now);
            skip_ -= static_cast<std::uint32_t>(now);
        }
        skip_ = 0;
        if (!window.need(4))
            return cut(window, problem, {skip_place_, 0}, skip_whole_);
        if (word(window.data()) != skip_whole_) {
            problem = Problem{ProblemCode::bad_record, {skip_place_, 0}};
            lost_ = true;
            return Step::problem;
        }
        window.consume(4);
        return Step::record;
    }

    /// Calls `take(code, value)` for each option between `at` and `end`. False when they are not in
    /// order.
    template <class Take>
    bool options(const std::uint8_t* block, std::size_t at, std::size_t end, Take take) const {
        while (end - at >= 4) {
            const std::uint16_t code = half(block + at);
            const std::size_t size = half(block + at + 2);
            at += 4;
            if (code == option_end)
                return size == 0;
            if (padded(size) > end - at)
                return false;
            take(code, Bytes(block + at, size));
            at += padded(size);
        }
        return at == end;
    }

    static std::string_view text(Bytes bytes) {
        while (!bytes.empty() && bytes.back() == 0)
            bytes = bytes.first(bytes.size() - 1);
        return {reinterpret_cast<const char*>(bytes.data()), bytes.size()};
    }

    /// Several comments of one block become one, a line each.
    void add_comment(std::string_view& comment, Bytes bytes) {
        const auto more = text(bytes);
        if (comment.empty()) {
            comment = more;
            return;
        }
        joined_.reserve(longest_comment); // once
        if (comment.data() != joined_.data())
            joined_.assign(comment.substr(0, longest_comment));
        if (joined_.size() < longest_comment) {
            joined_ += '\n';
            joined_ += more.substr(0, longest_comment - joined_.size());
        }
        comment = joined_;
    }

    /// The first of two calls for the same block and reason returns true.
    bool tell_once(Place place) {
        if (told_ == place.offset)
            return false;
        told_ = place.offset;
        return true;
    }

    static Given give_comment(std::string_view comment, std::uint16_t line, Time time, Place place,
                              Record& record) {
        record = Record{};
        record.kind = RecordKind::comment;
        record.line = line;
        record.time = time;
        record.place = place;
        record.comment = comment;
        return Given::record;
    }

    Given section(Window& window, std::size_t total, Place place, Record& record,
                  Problem& problem) {
        const std::uint8_t* block = window.data();
        if (total < 28 || half(block + 12) != 1) { // major version
            interfaces_.clear();
            section_ = false;
            problem = Problem{ProblemCode::bad_record, place};
            return Given::problem;
        }
        std::string_view comment;
        const bool in_order = options(block, 24, total - 4, [&](std::uint16_t code, Bytes value) {
            if (code == option_comment)
                add_comment(comment, value);
        });
        interfaces_.clear();
        section_ = true;
        if (!in_order && tell_once(place)) {
            problem = Problem{ProblemCode::bad_record, place};
            return Given::problem_first;
        }
        return comment.empty() ? Given::nothing : give_comment(comment, 0, no_time, place, record);
    }

    Given interface(ReadState& state, std::size_t total, Place place, Record& record,
                    Problem& problem) {
        const std::uint8_t* block = state.window.data();
        if (interfaces_.size() == ReadState::max_lines)
            return too_many(place, problem);
        if (total < 20) {
            interfaces_.emplace_back();
            problem = Problem{ProblemCode::bad_record, place};
            return Given::problem;
        }
        Interface described;
        described.link = half(block + 8);
        described.longest = word(block + 12);
        described.readable = true;
        std::string_view name;
        std::string_view comment;
        const bool in_order = options(block, 16, total - 4, [&](std::uint16_t code, Bytes value) {
            if (code == option_comment)
                add_comment(comment, value);
            else if (code == option_name)
                name = text(value);
            else if (code == option_resolution && value.size() == 1)
                described.clock.set_resolution(value[0]);
            else if (code == option_offset && value.size() == 8)
                described.clock.set_offset(static_cast<std::int64_t>(
                    big_ ? big_endian(value, 0, 8) : little_endian(value, 0, 8)));
        });
        // Options not in order may have hidden the resolution: times would be wrong.
        described.readable = in_order;
        if (!in_order) {
            interfaces_.push_back(described);
            problem = Problem{ProblemCode::bad_record, place};
            return Given::problem;
        }
        const bool room = name.empty() ? unnamed_line(state, described.line)
                                       : state.line_index(name, described.line);
        if (!room && !lines_told_)
            return too_many(place, problem); // and once more for the interface itself
        // Among another interface's its frames could make up what nobody sent.
        described.readable = room;
        interfaces_.push_back(described);
        return comment.empty() ? Given::nothing
                               : give_comment(comment, described.line, no_time, place, record);
    }

    /// The line of an interface without a name: the same for the same number in each section.
    bool unnamed_line(ReadState& state, std::uint16_t& line) {
        const std::size_t number = interfaces_.size();
        for (const auto& [known, its_line] : unnamed_)
            if (known == number) {
                line = its_line;
                return true;
            }
        if (state.lines.size() == ReadState::max_lines) {
            line = static_cast<std::uint16_t>(state.lines.size() - 1);
            return false;
        }
        line = static_cast<std::uint16_t>(state.lines.size());
        state.lines.emplace_back();
        unnamed_.push_back({number, line});
        return true;
    }

    Given too_many(Place place, Problem& problem) {
        if (lines_told_)
            return Given::nothing;
        lines_told_ = true;
        problem = Problem{ProblemCode::too_many_lines, place};
        return Given::problem_first;
    }

    /// The fields of a packet block; false when they contradict its length.
    bool parts(const std::uint8_t* block, std::uint32_t type, std::size_t total,
               PacketBlock& out) const {
        if (type == block_simple) {
            if (total < 16)
                return false;
            out.length = word(block + 8);
            out.data = 12;
            out.options = total - 4;
            std::size_t stored = std::min<std::size_t>(out.length, total - 16);
            if (!interfaces_.empty() && interfaces_[0].longest != 0)
                stored = std::min<std::size_t>(stored, interfaces_[0].longest);
            out.stored = static_cast<std::uint32_t>(stored);
            return true;
        }
        if (total < 32)
            return false;
        out.interface = type == block_packet ? half(block + 8) : word(block + 8);
        out.stamped = true;
        out.stamp = std::uint64_t{word(block + 12)} << 32 | word(block + 16);
        out.stored = word(block + 20);
        out.length = word(block + 24);
        out.data = 28;
        if (out.stored > total - 32 || padded(out.stored) > total - 32)
            return false;
        out.options = 28 + padded(out.stored);
        return true;
    }

    Given packet(ReadState& state, std::uint32_t type, std::size_t total, Place place,
                 Record& record, Problem& problem) {
        const std::uint8_t* block = state.window.data();
        PacketBlock parts_of;
        if (!parts(block, type, total, parts_of)) {
            problem = Problem{ProblemCode::bad_record, place};
            return Given::problem;
        }
        Counts& counts = state.counts;
        if (parts_of.interface >= interfaces_.size() || !interfaces_[parts_of.interface].readable) {
            if (parts_of.interface >= interfaces_.size() &&
                interfaces_.size() < ReadState::max_lines) {
                problem = Problem{ProblemCode::bad_record, place}; // no such interface
                return Given::problem;
            }
            ++counts.frames; // what is wrong with its interface was told
            ++counts.passed_over;
            return Given::nothing;
        }
        Interface& on = interfaces_[parts_of.interface];
        Time time = no_time;
        const bool in_range = !parts_of.stamped || on.clock.time(parts_of.stamp, time);

        PacketKind kind = PacketKind::foreign;
        std::uint32_t number = 0;
        record.direction = Direction::unknown;
        if (is_can_link(on.link)) {
            kind = read_packet({on.link, big_, state.filter, block + parts_of.data, parts_of.stored,
                                parts_of.length, &number},
                               record, problem);
        } else if (!on.told) {
            on.told = true;
            problem = Problem{ProblemCode::unknown_link_type, place, time, on.link};
            return Given::problem_first;
        }
        if (kind == PacketKind::bad) {
            problem.place = place;
            problem.time = time;
            return Given::problem;
        }
        if (time != no_time) {
            if (time < on.last) {
                problem =
                    Problem{ProblemCode::time_backwards, place, time,
                            static_cast<std::uint64_t>(on.last) - static_cast<std::uint64_t>(time)};
                on.last = time; // told: the record itself comes with the next call
                return Given::problem_first;
            }
            on.last = time;
            state.last_time = time;
        }

        std::string_view comment;
        std::uint32_t flags = 0;
        bool in_order = true;
        if (parts_of.options + 4 < total)
            in_order =
                options(block, parts_of.options, total - 4, [&](std::uint16_t code, Bytes value) {
                    if (code == option_comment)
                        add_comment(comment, value);
                    else if (code == option_flags && value.size() == 4)
                        flags = word(value.data());
                });
        if ((!in_order || !in_range) && tell_once(place)) {
            problem = Problem{ProblemCode::bad_record, place, time};
            return Given::problem_first;
        }
        if (kind != PacketKind::frame) {
            ++counts.frames;
            ++counts.passed_over;
            // Somebody's remark matters whatever the frame it hangs on.
            return comment.empty() ? Given::nothing
                                   : give_comment(comment, on.line, time, place, record);
        }
        record.line = on.line;
        if (on.link == link_linux_cooked_2 && !cooked_line(state, number, record.line)) {
            if (!lines_told_)
                return too_many(place, problem);
            ++counts.frames;
            ++counts.passed_over;
            return Given::nothing;
        }
        if ((flags & 3) == 1)
            record.direction = Direction::received;
        else if ((flags & 3) == 2)
            record.direction = Direction::sent;
        count_given(counts, record.can.kind);
        record.kind = RecordKind::can;
        record.time = time;
        record.place = place;
        record.bytes = {};
        record.comment = comment;
        return Given::record;
    }

    struct Unnamed {
        std::size_t number = 0;
        std::uint16_t line = 0;
    };

    bool section_ = false; ///< a section header was read: the byte order is known
    bool swapped_ = false;
    bool big_ = false;
    bool lost_ = false;
    bool lines_told_ = false;
    std::uint64_t told_ = std::numeric_limits<std::uint64_t>::max();
    std::uint32_t skip_ = 0; ///< bytes of a block that are still to be read past
    std::uint64_t skip_place_ = 0;
    std::uint32_t skip_whole_ = 0;
    std::vector<Interface> interfaces_;
    std::vector<Unnamed> unnamed_;
    std::string joined_;
};

} // namespace

std::unique_ptr<FormatReader> make_pcapng_reader() {
    return std::make_unique<PcapngReader>();
}

} // namespace telltale::dump
