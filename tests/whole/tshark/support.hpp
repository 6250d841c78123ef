// SPDX-License-Identifier: Apache-2.0
// What the comparisons with tshark share: frames written as a pcap file, tshark run over it, and
// our own decoding of the same file.
#pragma once

#include <cstdint>
#include <cstdio>
#include <cstdlib>
#include <fstream>
#include <string>
#include <string_view>
#include <vector>

#include <doctest/doctest.h>

#include "telltale/base/hex.hpp"
#include "telltale/dump/reader.hpp"
#include "telltale/message/stream.hpp"

namespace telltale::whole {

using Data = std::vector<std::uint8_t>;

struct Frame {
    CanId id;
    Data data;
    bool fd = false;
};

/// Cuts a message into frames of up to `size` bytes as an ISO 15765-2 sender does, padded to the
/// lengths that CAN has. Written apart from the library.
inline std::vector<Frame> cut(CanId id, const Data& message, std::size_t size = 8) {
    std::vector<Frame> out;
    const bool fd = size > 8;
    const auto push = [&](Data data) {
        while (data.size() < 8 || !is_fd_length(data.size()))
            data.push_back(0xAA);
        out.push_back({id, std::move(data), fd});
    };
    const std::size_t n = message.size();
    Data frame;
    if (n <= 7 || (fd && n <= size - 2)) {
        if (n > 7)
            frame.push_back(0);
        frame.push_back(static_cast<std::uint8_t>(n));
        frame.insert(frame.end(), message.begin(), message.end());
        push(frame);
        return out;
    }
    if (n <= 4095) {
        frame = {static_cast<std::uint8_t>(0x10 | n >> 8), static_cast<std::uint8_t>(n & 0xFF)};
    } else {
        frame = {0x10, 0};
        for (int shift = 24; shift >= 0; shift -= 8)
            frame.push_back(static_cast<std::uint8_t>(n >> shift & 0xFF));
    }
    std::size_t at = 0;
    while (frame.size() < size)
        frame.push_back(message[at++]);
    push(frame);
    for (unsigned number = 1; at < n; ++number) {
        frame = {static_cast<std::uint8_t>(0x20 | (number & 15))};
        while (frame.size() < size && at < n)
            frame.push_back(message[at++]);
        push(frame);
    }
    return out;
}

/// A pcap file (big-endian, microseconds) of link type 227, CAN_SOCKETCAN: identifier with its
/// flags, length, FD flags, two reserved bytes, data. A millisecond a frame.
inline void write_pcap(const std::string& path, const std::vector<Frame>& frames) {
    std::string out;
    const auto put = [&](std::uint32_t value, int bytes) {
        for (int shift = 8 * (bytes - 1); shift >= 0; shift -= 8)
            out += static_cast<char>(value >> shift & 0xFF);
    };
    put(0xA1B2C3D4, 4);
    put(2, 2);
    put(4, 2);
    put(0, 4);
    put(0, 4);
    put(65'535, 4);
    put(227, 4);
    std::uint32_t milliseconds = 0;
    for (const Frame& frame : frames) {
        ++milliseconds;
        put(1'700'000'000 + milliseconds / 1000, 4);
        put(milliseconds % 1000 * 1000, 4);
        const auto size = static_cast<std::uint32_t>(8 + frame.data.size());
        put(size, 4);
        put(size, 4);
        put(frame.id.value | (frame.id.extended ? 0x8000'0000U : 0U), 4);
        put(static_cast<std::uint32_t>(frame.data.size()), 1);
        put(frame.fd ? 4 : 0, 1);
        put(0, 2);
        out.append(frame.data.begin(), frame.data.end());
    }
    std::ofstream file(path, std::ios::binary);
    file.write(out.data(), static_cast<std::streamsize>(out.size()));
    REQUIRE(file.good());
}

/// Runs a command line of tshark and gives its lines, split at tabs. Fails the test when tshark is
/// not there or does not like the command.
inline std::vector<std::vector<std::string>> run_tshark(const std::string& arguments) {
    const std::string command = "LC_ALL=C WIRESHARK_CONFIG_DIR=tshark-config tshark -n " +
                                arguments + " 2>tshark-errors.txt";
    std::FILE* pipe = popen(command.c_str(), "r");
    REQUIRE(pipe != nullptr);
    std::string out;
    std::vector<char> buffer(1 << 16);
    for (std::size_t got = 0; (got = std::fread(buffer.data(), 1, buffer.size(), pipe)) > 0;)
        out.append(buffer.data(), got);
    const int status = pclose(pipe);
    if (status != 0) {
        std::ifstream errors("tshark-errors.txt");
        std::string line;
        while (std::getline(errors, line))
            std::fprintf(stderr, "tshark: %s\n", line.c_str());
        FAIL("tshark is not there or failed; it is needed for this test (Debian: tshark)");
    }
    std::vector<std::vector<std::string>> lines;
    for (std::size_t at = 0; at < out.size();) {
        std::size_t end = out.find('\n', at);
        if (end == std::string::npos)
            end = out.size();
        std::vector<std::string> cells(1);
        for (; at < end; ++at) {
            if (out[at] == '\t')
                cells.emplace_back();
            else
                cells.back() += out[at];
        }
        ++at;
        lines.push_back(std::move(cells));
    }
    return lines;
}

/// tshark writes hex in lower case.
inline std::string upper(std::string text) {
    for (char& c : text)
        if (c >= 'a' && c <= 'f')
            c = static_cast<char>(c - 'a' + 'A');
    return text;
}

/// tshark's settings for the identifiers of ISO 15765-4.
inline const std::string identifiers = "-o iso15765.can.ids:0x7df-0x7ef "
                                       "-o iso15765.can.extended_ids:0x18da00f1-0x18dbffff ";

/// A value as we told it.
struct Told {
    std::uint16_t id = 0;
    std::uint8_t index = 0;
    message::ValueKind kind = message::ValueKind::number;
    double number = 0;
    std::int64_t raw = 0;
    std::string text;
};

/// A message as we told it.
struct Ours {
    std::size_t frame = 0; ///< number of its last frame, from 1
    CanId id;
    message::Header header;
    Data bytes;
    std::vector<Told> values;
};

class Ear final : public message::Listener {
  public:
    bool begin(const message::Said& said) override {
        add(said);
        return true;
    }
    void value(const message::Said&, const message::Value& v) override {
        messages.back().values.push_back(
            {v.id, v.index, v.kind, v.number, v.raw, std::string(v.text)});
    }
    void dtc(const message::Said&, message::Dtc) override {}
    void message_problem(const message::Said&, const Problem&) override { ++message_problems; }
    void end(const message::Said&) override {}
    /// A message of no service that is known here is still a whole message.
    void problem(const Problem& p, const message::Said& about) override {
        if (p.code == ProblemCode::unknown_service || p.code == ProblemCode::unexpected_direction ||
            p.code == ProblemCode::message_cut)
            add(about);
        else
            problems.push_back(p);
    }

    std::size_t frame = 0;
    std::vector<Ours> messages;
    std::vector<Problem> problems;
    std::size_t message_problems = 0;

  private:
    void add(const message::Said& said) {
        messages.push_back(
            {frame, said.id, said.header, {said.bytes.begin(), said.bytes.end()}, {}});
    }
};

/// Decodes a file as a user of the library does.
inline void decode(const std::string& path, Ear& ear) {
    auto reader = dump::Reader::open(path);
    REQUIRE(reader.has_value());
    message::Stream stream;
    dump::Record record;
    Problem problem;
    for (;;) {
        const dump::Step step = reader->next(record, problem);
        if (step == dump::Step::end)
            break;
        REQUIRE(step == dump::Step::record);
        ++ear.frame;
        stream.can(record.line, record.can, record.time, record.place, ear);
    }
    stream.finish(ear);
}

} // namespace telltale::whole
