// SPDX-License-Identifier: Apache-2.0
// What the tests of the pcap and pcapng readers and writers share.
#pragma once

#include <cstdint>
#include <cstdio>
#include <cstdlib>
#include <filesystem>
#include <memory>
#include <string>
#include <string_view>
#include <vector>

#include <doctest/doctest.h>

#include <unistd.h>

#include "telltale/base/hex.hpp"
#include "telltale/dump/reader.hpp"
#include "telltale/dump/writer.hpp"

namespace binary {

using namespace telltale;
using Buffer = std::vector<std::uint8_t>;

inline Buffer bytes(std::string_view hex) {
    Buffer out;
    std::string digits;
    for (const char c : hex)
        if (c != ' ')
            digits += c;
    out.resize(digits.size() / 2);
    REQUIRE(from_hex(digits, out).value_or(0) == out.size());
    return out;
}

/// A frame with bytes of its own, comparable and printable.
struct Frame {
    CanId id;
    CanKind kind = CanKind::data;
    bool fd = false;
    bool bit_rate_switch = false;
    bool error_state = false;
    std::uint8_t remote_length = 0;
    Buffer data;
    Time time = 0;

    CanFrame view() const {
        return {id, kind, fd, bit_rate_switch, error_state, remote_length, data};
    }
    friend bool operator==(const Frame&, const Frame&) = default;
};

inline Frame frame(std::uint32_t id, std::string_view data, Time time = 0) {
    return {
        {id, id > CanId::max_standard}, CanKind::data, false, false, false, 0, bytes(data), time};
}

inline Frame fd_frame(std::uint32_t id, std::string_view data, Time time = 0) {
    Frame out = frame(id, data, time);
    out.fd = true;
    return out;
}

inline doctest::String toString(const Frame& frame) {
    std::string out = std::to_string(frame.time) + " ";
    append_can_id(out, frame.id);
    out += frame.kind == CanKind::remote  ? " remote " + std::to_string(frame.remote_length)
           : frame.kind == CanKind::error ? " error"
           : frame.fd                     ? " fd"
                                          : "";
    out += frame.bit_rate_switch ? "+brs" : "";
    out += frame.error_state ? "+esi" : "";
    out += " " + to_hex(frame.data);
    return out.c_str();
}

struct Comment {
    std::string text;
    std::string line;
    Time time = no_time;
    friend bool operator==(const Comment&, const Comment&) = default;
};

/// Everything that a reader gave.
struct Reading {
    std::vector<Frame> frames;
    std::vector<std::string> lines;    ///< interface name of each frame
    std::vector<std::string> comments; ///< of each frame
    std::vector<dump::Direction> directions;
    std::vector<Place> places;
    std::vector<Comment> remarks; ///< comments that belong to no frame
    std::vector<Problem> problems;
    dump::Counts counts;
    std::string refused; ///< word of the error when the reader was not opened

    std::size_t count(ProblemCode code) const {
        std::size_t n = 0;
        for (const auto& problem : problems)
            n += problem.code == code ? 1 : 0;
        return n;
    }
};

inline Reading read(std::unique_ptr<dump::Source> source, const dump::ReaderOptions& options = {}) {
    Reading out;
    auto reader = dump::Reader::from(std::move(source), options);
    if (!reader) {
        out.refused = std::string(word(reader.error().code));
        return out;
    }
    dump::Record record;
    Problem problem;
    for (;;) {
        const auto step = reader->next(record, problem);
        if (step == dump::Step::end)
            break;
        if (step == dump::Step::problem) {
            out.problems.push_back(problem);
            continue;
        }
        const std::string line(reader->line_name(record.line));
        if (record.kind == dump::RecordKind::comment) {
            out.remarks.push_back({std::string(record.comment), line, record.time});
            continue;
        }
        REQUIRE(record.kind == dump::RecordKind::can);
        const CanFrame& can = record.can;
        out.frames.push_back({can.id, can.kind, can.fd, can.bit_rate_switch, can.error_state,
                              can.remote_length, Buffer(can.data.begin(), can.data.end()),
                              record.time});
        out.lines.push_back(line);
        out.comments.emplace_back(record.comment);
        out.directions.push_back(record.direction);
        out.places.push_back(record.place);
    }
    out.counts = reader->counts();
    return out;
}

inline Reading read(const Buffer& input, const dump::ReaderOptions& options = {}) {
    return read(dump::memory_source(input), options);
}

/// Bytes in the byte order of a file under construction.
class Maker {
  public:
    explicit Maker(bool big = false) : big_(big) {}

    Maker& u8(unsigned value) {
        out_.push_back(static_cast<std::uint8_t>(value));
        return *this;
    }
    Maker& u16(std::uint64_t value) { return number(value, 2); }
    Maker& u32(std::uint64_t value) { return number(value, 4); }
    Maker& u64(std::uint64_t value) { return number(value, 8); }
    Maker& raw(const Buffer& more) {
        out_.insert(out_.end(), more.begin(), more.end());
        return *this;
    }
    Maker& raw(std::string_view more) {
        out_.insert(out_.end(), more.begin(), more.end());
        return *this;
    }
    Maker& pad() {
        while (out_.size() % 4 != 0)
            out_.push_back(0);
        return *this;
    }
    bool big() const { return big_; }
    const Buffer& done() const { return out_; }

    // pcap
    Maker& pcap_header(std::uint32_t link, bool nano = false) {
        return u32(nano ? 0xA1B23C4D : 0xA1B2C3D4).u16(2).u16(4).u64(0).u32(262'144).u32(link);
    }
    Maker& pcap_record(std::uint32_t seconds, std::uint32_t fraction, const Buffer& packet,
                       std::size_t length = 0) {
        return u32(seconds)
            .u32(fraction)
            .u32(packet.size())
            .u32(length == 0 ? packet.size() : length)
            .raw(packet);
    }

    // pcapng
    Maker& option(unsigned code, const Buffer& value) {
        return u16(code).u16(value.size()).raw(value).pad();
    }
    Maker& option(unsigned code, std::string_view value) {
        return option(code, Buffer(value.begin(), value.end()));
    }
    Maker& block(std::uint32_t type, const Buffer& body) {
        const std::size_t total = 12 + body.size();
        return u32(type).u32(total).raw(body).u32(total);
    }
    Maker& section(const Buffer& options = {}) {
        return block(
            0x0A0D0D0A,
            Maker(big_).u32(0x1A2B3C4D).u16(1).u16(0).u64(~std::uint64_t{0}).raw(options).done());
    }
    Maker& interface(std::uint32_t link, const Buffer& options = {}, std::uint32_t longest = 0) {
        return block(1, Maker(big_).u16(link).u16(0).u32(longest).raw(options).done());
    }
    Maker& packet(std::uint32_t interface, std::uint64_t stamp, const Buffer& packet,
                  const Buffer& options = {}, std::size_t length = 0) {
        return block(6, Maker(big_)
                            .u32(interface)
                            .u32(stamp >> 32)
                            .u32(stamp & 0xFFFF'FFFF)
                            .u32(packet.size())
                            .u32(length == 0 ? packet.size() : length)
                            .raw(packet)
                            .pad()
                            .raw(options)
                            .done());
    }

  private:
    Maker& number(std::uint64_t value, unsigned size) {
        for (unsigned i = 0; i < size; ++i)
            out_.push_back(static_cast<std::uint8_t>(value >> 8 * (big_ ? size - 1 - i : i)));
        return *this;
    }
    bool big_;
    Buffer out_;
};

/// A SocketCAN frame as Linux stores it: the identifier word in the order asked for, padded.
inline Buffer socketcan(std::uint32_t word, std::string_view data, bool big = true,
                        unsigned flags = 0, std::size_t size = 16) {
    Buffer out = Maker(big).u32(word).done();
    const Buffer payload = bytes(data);
    out.push_back(static_cast<std::uint8_t>(payload.size()));
    out.push_back(static_cast<std::uint8_t>(flags));
    out.resize(8);
    out.insert(out.end(), payload.begin(), payload.end());
    if (out.size() < size)
        out.resize(size);
    return out;
}

/// Gives the bytes in pieces of 1, 2, 3 ... `most` bytes over and over.
class PieceSource final : public dump::Source {
  public:
    PieceSource(Bytes bytes, std::size_t most) : rest_(bytes), most_(most) {}
    Result<std::size_t> read(std::span<std::uint8_t> into) override {
        piece_ = piece_ % most_ + 1;
        const std::size_t count = std::min({piece_, into.size(), rest_.size()});
        std::copy_n(rest_.begin(), count, into.begin());
        rest_ = rest_.subspan(count);
        return count;
    }

  private:
    Bytes rest_;
    std::size_t most_;
    std::size_t piece_ = 0;
};

/// A file of its own that goes away with the test.
class TemporaryFile {
  public:
    explicit TemporaryFile(const Buffer& content = {}) {
        static int serial = 0;
        path_ = (std::filesystem::temp_directory_path() /
                 ("telltale-dump-" + std::to_string(::getpid()) + "-" + std::to_string(serial++)))
                    .string();
        if (std::FILE* file = std::fopen(path_.c_str(), "wb")) {
            if (!content.empty()) // an empty buffer may have no address to write from
                CHECK(std::fwrite(content.data(), 1, content.size(), file) == content.size());
            std::fclose(file);
        }
    }
    TemporaryFile(const TemporaryFile&) = delete;
    TemporaryFile& operator=(const TemporaryFile&) = delete;
    ~TemporaryFile() { std::filesystem::remove(path_); }

    const std::string& path() const { return path_; }
    Buffer content() const {
        Buffer out;
        if (std::FILE* file = std::fopen(path_.c_str(), "rb")) {
            std::uint8_t piece[4096];
            for (std::size_t n = 0; (n = std::fread(piece, 1, sizeof piece, file)) != 0;)
                out.insert(out.end(), piece, piece + n);
            std::fclose(file);
        }
        return out;
    }

  private:
    std::string path_;
};

/// What a command prints, line by line; it must end well.
inline std::vector<std::string> run(const std::string& command) {
    std::vector<std::string> lines;
    std::FILE* pipe = ::popen((command + " 2>/dev/null").c_str(), "r");
    REQUIRE(pipe != nullptr);
    std::string line;
    for (int c = 0; (c = std::fgetc(pipe)) != EOF;) {
        if (c != '\n') {
            line += static_cast<char>(c);
            continue;
        }
        lines.push_back(line);
        line.clear();
    }
    REQUIRE_MESSAGE(::pclose(pipe) == 0, command);
    return lines;
}

/// Numbers from a seed: the same on every machine (splitmix64, a published public-domain mixer).
class Random {
  public:
    explicit Random(std::uint64_t seed) : state_(seed) {}
    std::uint64_t next() {
        state_ += 0x9E37'79B9'7F4A'7C15;
        std::uint64_t z = state_;
        z = (z ^ z >> 30) * 0xBF58'476D'1CE4'E5B9;
        z = (z ^ z >> 27) * 0x94D0'49BB'1331'11EB;
        return z ^ z >> 31;
    }
    std::uint64_t below(std::uint64_t bound) { return next() % bound; }

  private:
    std::uint64_t state_;
};

/// Frames of every kind that a bus has, at times that rise.
inline std::vector<Frame> mixed_frames(std::size_t count, std::uint64_t seed) {
    Random random(seed);
    std::vector<Frame> out;
    Time time = 1'700'000'000 * nanoseconds_a_second;
    for (std::size_t i = 0; i < count; ++i) {
        time += static_cast<Time>(random.below(5'000'000)) * 1000;
        Frame one;
        one.time = time;
        one.id.extended = random.below(3) == 0;
        one.id.value = static_cast<std::uint32_t>(random.below(
            std::uint64_t{one.id.extended ? CanId::max_extended : CanId::max_standard} + 1));
        std::size_t size = random.below(9);
        const auto pick = random.below(8);
        if (pick == 0) {
            one.kind = CanKind::remote;
            one.remote_length = static_cast<std::uint8_t>(size);
            size = 0;
        } else if (pick == 1) {
            one.fd = true;
            one.bit_rate_switch = random.below(2) == 0;
            one.error_state = random.below(2) == 0;
            size = fd_length_for(random.below(65));
        }
        for (std::size_t k = 0; k < size; ++k)
            one.data.push_back(static_cast<std::uint8_t>(random.next()));
        out.push_back(one);
    }
    return out;
}

inline Buffer write_pcap(const std::vector<Frame>& frames, const dump::PcapOptions& options = {}) {
    Buffer out;
    dump::PcapWriter writer(dump::memory_sink(out), options);
    for (const auto& one : frames)
        REQUIRE(writer.write(one.view(), one.time).has_value());
    REQUIRE(writer.flush().has_value());
    return out;
}

inline Buffer write_pcapng(const std::vector<Frame>& frames, std::string_view line = "can0") {
    Buffer out;
    dump::PcapngWriter writer(dump::memory_sink(out));
    REQUIRE(writer.add_line(line).value_or(9) == 0);
    for (const auto& one : frames)
        REQUIRE(writer.write(0, one.view(), one.time).has_value());
    REQUIRE(writer.flush().has_value());
    return out;
}

} // namespace binary
