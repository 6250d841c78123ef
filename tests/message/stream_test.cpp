// SPDX-License-Identifier: Apache-2.0
// From frames to what was said: who speaks, in which order it is told, what is remembered of whom.
#include "telltale/message/stream.hpp"

#include <string>
#include <vector>

#include <doctest/doctest.h>

#include "telltale/base/hex.hpp"

using namespace telltale;
using namespace telltale::message;

namespace {

std::vector<std::uint8_t> bytes_of(std::string_view hex) {
    std::string digits;
    for (const char c : hex)
        if (c != ' ')
            digits += c;
    std::vector<std::uint8_t> out(digits.size() / 2);
    if (!from_hex(digits, out))
        out.clear();
    return out;
}

/// Writes down each call as a word.
struct Ear final : Listener {
    bool wanted = true;
    std::string heard;
    std::vector<Said> said; // whose views are dead
    std::string bytes;      // of what `problem` was about
    std::vector<Problem> problems;

    bool begin(const Said& s) override {
        heard += "begin ";
        said.push_back(s);
        return wanted;
    }
    void value(const Said&, const Value& v) override {
        heard += v.key.empty() ? "value " : std::string(v.key) + ' ';
        last = v.number;
    }
    void dtc(const Said&, Dtc code) override { heard += std::string(code.text().data(), 5) + ' '; }
    void message_problem(const Said&, const Problem& p) override {
        heard += std::string(word(p.code)) + ' ';
        problems.push_back(p);
    }
    void end(const Said&) override { heard += "end "; }
    void problem(const Problem& p, const Said& about) override {
        heard += '!' + std::string(word(p.code)) + ' ';
        problems.push_back(p);
        said.push_back(about);
        bytes = to_hex(about.bytes);
    }
    void flow_control(const isotp::FlowControl&, const Said&) override { heard += "flow "; }

    double last = 0;
};

struct Bench {
    explicit Bench(const StreamOptions& options = {}) : stream(options) {}
    std::string feed(std::uint32_t id, std::string_view hex, std::uint16_t line = 0) {
        ear.heard.clear();
        const auto data = bytes_of(hex);
        CanFrame frame;
        frame.id = {id, id > 0x7FF};
        frame.data = data;
        place.offset += 10;
        stream.can(line, frame, 5, place, ear);
        return ear.heard;
    }
    std::string message(std::string_view hex) {
        ear.heard.clear();
        const auto data = bytes_of(hex);
        place.offset += 10;
        stream.message(data, 6, place, ear);
        return ear.heard;
    }
    Stream stream;
    Ear ear;
    Place place;
};

} // namespace

TEST_CASE("a request and its response") {
    Bench bench;
    CHECK(bench.feed(0x7DF, "02 01 0D") == "begin value end ");
    CHECK(bench.ear.said.back().header.kind == Kind::request);
    CHECK(bench.stream.ecus() == 0);
    CHECK(bench.feed(0x7E8, "03 41 0D 28").starts_with("begin "));
    const Said& said = bench.ear.said.back();
    CHECK(said.header.kind == Kind::response);
    CHECK(said.header.service == 0x01);
    CHECK(said.has_id);
    CHECK(said.id == CanId{0x7E8, false});
    CHECK(said.has_line);
    CHECK(said.ecu == 0);
    CHECK(said.time == 5);
    CHECK(said.place.offset == 20);
    CHECK(bench.ear.last == 40); // 28 is 40 km/h: SAE J1979, table of PID 0D, 1 km/h a bit
    CHECK(bench.stream.ecus() == 1);
}

TEST_CASE("identifiers of no diagnostics are passed over") {
    Bench bench;
    CHECK(bench.feed(0x123, "03 41 0D 28").empty());
    CHECK(bench.feed(0x7DE, "FF").empty());
    CHECK(bench.feed(0x18DAF210, "03 41 0D 28").empty());
    StreamOptions options;
    options.filter = CanFilter::everything();
    Bench all{options};
    CHECK(all.feed(0x123, "03 41 0D 28").starts_with("begin "));
    CHECK(all.ear.last == 40);
}

TEST_CASE("segmented, with flow control") {
    Bench bench;
    CHECK(bench.feed(0x7E8, "10 0A 43 04 01 43 01 96").empty());
    CHECK(bench.feed(0x7E0, "30 00 00") == "flow ");
    CHECK(bench.feed(0x7E8, "21 02 34 C1 01 00 00 00") == "begin P0143 P0196 P0234 U0101 end ");
    CHECK(bench.ear.said.back().frames == 2);
    CHECK(bench.ear.said.back().place.offset == 10);
    CHECK(bench.feed(0x7E8, "21 02 34 C1 01 00 00 00") == "!consecutive-unexpected ");
    bench.feed(0x7E8, "10 0A 43 04 01 43 01 96");
    bench.ear.heard.clear();
    bench.stream.finish(bench.ear);
    CHECK(bench.ear.heard == "!message-unfinished ");
}

TEST_CASE("messages whose header cannot be read go to problem") {
    Bench bench;
    CHECK(bench.feed(0x7E8, "02 7F 01") == "!message-cut ");
    CHECK(bench.feed(0x7E8, "02 55 55") == "!unknown-service ");
    CHECK(bench.ear.problems.back().a == 0x15);
    CHECK(bench.feed(0x7E8, "02 01 0D") == "!unexpected-direction ");
    CHECK(bench.ear.problems.back().a == 0x01);
    CHECK(bench.feed(0x7DF, "03 41 0D 28") == "!unexpected-direction ");
    CHECK(bench.ear.problems.back().a == 0x41);
    CHECK(bench.ear.problems.back().place.offset == 40);
    CHECK(bench.ear.problems.back().time == 5);
    CHECK(bench.ear.bytes == "410D28");
    CHECK(bench.message("") == "!message-empty ");
}

TEST_CASE("problems inside a message have its place and time") {
    Bench bench;
    CHECK(bench.feed(0x7E8, "02 41 0C") == "begin message-cut end ");
    CHECK(bench.ear.problems.back().place.offset == 10);
    CHECK(bench.ear.problems.back().time == 5);
}

TEST_CASE("messages without identifier") {
    Bench bench;
    CHECK(bench.message("41 0D 28").starts_with("begin "));
    CHECK(bench.ear.last == 40);
    CHECK_FALSE(bench.ear.said.back().has_id);
    CHECK_FALSE(bench.ear.said.back().has_line);
    CHECK(bench.message("01 0D") == "begin value end ");
    CHECK(bench.stream.ecus() == 1);
    bench.feed(0x7E8, "03 41 0D 28");
    CHECK(bench.stream.ecus() == 2);
}

TEST_CASE("what an ECU says it supports is remembered for it alone, even when nobody listens") {
    Bench bench;
    bench.ear.wanted = false;
    CHECK(bench.feed(0x7E8, "06 41 00 80 00 00 01") == "begin end ");
    CHECK(bench.feed(0x7E9, "06 41 00 40 00 00 00") == "begin end ");
    CHECK(bench.feed(0x7E8, "06 41 00 10 00 00 00", 1) == "begin end ");
    CHECK(bench.feed(0x18DAF110, "06 41 00 20 00 00 00") == "begin end ");
    // several in one message, the bitmap not the first
    CHECK(bench.feed(0x7E9, "10 0A 41 0D 28 20 80 00") == "");
    CHECK(bench.feed(0x7E9, "21 00 00 0C 00 00") == "begin end ");
    REQUIRE(bench.stream.ecus() == 4);
    const auto supported = [&](std::uint32_t ecu, std::size_t pid) {
        return bench.stream.context(ecu).supported[1][pid];
    };
    CHECK(supported(0, 0x01));
    CHECK(supported(0, 0x20));
    CHECK_FALSE(supported(0, 0x02));
    CHECK(supported(1, 0x02));
    CHECK(supported(1, 0x21));
    CHECK_FALSE(supported(1, 0x01));
    CHECK(supported(2, 0x04));
    CHECK(supported(3, 0x03));
    CHECK(bench.stream.context(1).ranges_known[1][1]);
    CHECK_FALSE(bench.stream.context(0).ranges_known[1][1]);
    // a request for a bitmap teaches nothing
    bench.feed(0x7DF, "02 01 00");
    CHECK(bench.stream.ecus() == 4);
}

TEST_CASE("scaling told by PID 4F is remembered, declined or not") {
    Bench bench;
    bench.ear.wanted = false;
    bench.feed(0x7E8, "06 41 4F 01 02 03 04");
    bench.feed(0x7E9, "03 41 0D 28");
    CHECK(bench.stream.context(0).scaling_4f == std::array<std::uint8_t, 4>{1, 2, 3, 4});
    CHECK(bench.stream.context(1).scaling_4f == std::array<std::uint8_t, 4>{});
}

TEST_CASE("more ECUs than places: the last place remembers nothing") {
    StreamOptions options;
    options.max_ecus = 3;
    Bench bench{options};
    for (std::uint32_t i = 0; i < 8; ++i) {
        bench.feed(0x7E8 + i, "06 41 4F 01 02 03 04");
        CHECK(bench.ear.said.back().ecu == std::min<std::uint32_t>(i, 2));
    }
    CHECK(bench.stream.ecus() == 3);
    bench.feed(0x7EB, "03 41 0D 28");
    CHECK(bench.ear.said.back().ecu == 2);
    CHECK(bench.stream.context(0).scaling_4f[0] == 1);
    CHECK(bench.stream.context(1).scaling_4f[0] == 1);
    CHECK(bench.stream.context(2).scaling_4f[0] == 0);
    bench.feed(0x7E9, "03 41 0D 28");
    CHECK(bench.ear.said.back().ecu == 1);
    for (const std::size_t most : {0U, 1U}) {
        options.max_ecus = most;
        Bench one{options};
        one.feed(0x7E8, "06 41 4F 01 02 03 04");
        one.feed(0x7E9, "03 41 0D 28");
        CHECK(one.stream.ecus() == 1);
        CHECK(one.ear.said.back().ecu == 0);
    }
}

TEST_CASE("a stream can be moved") {
    Bench bench;
    bench.feed(0x7E8, "10 0A 43 04 01 43 01 96");
    Stream other = std::move(bench.stream);
    bench.stream = std::move(other);
    CHECK(bench.feed(0x7E8, "21 02 34 C1 01 00 00 00") == "begin P0143 P0196 P0234 U0101 end ");
}
