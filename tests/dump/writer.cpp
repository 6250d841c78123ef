// SPDX-License-Identifier: Apache-2.0
#include "telltale/dump/writer.hpp"

#include "binary_support.hpp"

using namespace binary;
using dump::Direction;

TEST_CASE("writer: pcapng bytes, block by block") {
    Buffer out;
    {
        dump::PcapngWriter writer(dump::memory_sink(out), "trip");
        CHECK(writer.add_line("can0").value_or(9) == 0);
        CHECK(writer.add_line("can1", "left").value_or(9) == 1);
        CHECK(writer
                  .write(1, frame(0x7E8, "0102").view(), 1'700'000'000'123'456'789,
                         Direction::received, "here!")
                  .has_value());
    } // flushed when it goes
    CHECK(to_hex(out) ==
          to_hex(bytes(
              // section: type, length, mark, version, section length, opt_comment, end, length
              "0A0D0D0A 28000000 4D3C2B1A 01000000 FFFFFFFFFFFFFFFF 01000400 74726970 00000000"
              "28000000"
              // interface: type, length, link type 227, snap length, if_name, if_tsresol, end
              "01000000 28000000 E3000000 00000000 02000400 63616E30 09000100 09000000 00000000"
              "28000000"
              "01000000 30000000 E3000000 00000000 01000400 6C656674 02000400 63616E31"
              "09000100 09000000 00000000 30000000"
              // packet: type, length, interface, time, lengths, frame, comment, flags, end
              "06000000 48000000 01000000 FE9C9717 15CD853D 10000000 10000000"
              "000007E8 02000000 01020000 00000000"
              "01000500 6865726521000000 02000400 01000000 00000000 48000000")));
}

TEST_CASE("writer: what is written is read alike, in every form") {
    auto frames = mixed_frames(500, 31);
    Frame error = frame(0x20, "0001020304050607", frames.back().time);
    error.kind = CanKind::error;
    error.id.extended = true;
    frames.push_back(error);
    for (auto& one : frames)
        one.time = one.time / 1000 * 1000;
    for (const bool nano : {false, true})
        for (const bool big : {false, true}) {
            const Reading got = read(write_pcap(frames, {nano, big}));
            CHECK(got.problems.empty());
            const bool same = got.frames == frames;
            CHECK(same);
        }
    const Reading got = read(write_pcapng(frames));
    CHECK(got.problems.empty());
    const bool same = got.frames == frames;
    CHECK(same);
    CHECK(write_pcapng(frames) == write_pcapng(frames));
}

TEST_CASE("writer: comments, directions and lines come back") {
    Buffer out;
    dump::PcapngWriter writer(dump::memory_sink(out), "a drive");
    REQUIRE(writer.add_line("can0").has_value());
    REQUIRE(writer.add_line("can1").has_value());
    const Frame one = frame(0x7E0, "02010C", 5);
    REQUIRE(writer.write(0, one.view(), 5, Direction::sent, "asked").has_value());
    REQUIRE(writer.write(1, one.view(), 6, Direction::received).has_value());
    REQUIRE(
        writer.write(1, one.view(), 7, Direction::unknown, std::string(65'535, 'x')).has_value());
    REQUIRE(writer.flush().has_value());
    const Reading got = read(out);
    CHECK(got.problems.empty());
    CHECK(got.comments == std::vector<std::string>{"asked", "", std::string(65'535, 'x')});
    CHECK(got.directions == std::vector{Direction::sent, Direction::received, Direction::unknown});
    CHECK(got.lines == std::vector<std::string>{"can0", "can1", "can1"});
    CHECK(got.remarks == std::vector<Comment>{{"a drive", "", no_time}});
}

TEST_CASE("writer: what cannot be written is refused, and nothing of it is written") {
    Buffer out;
    dump::PcapngWriter writer(dump::memory_sink(out));
    REQUIRE(writer.add_line("can0").has_value());
    REQUIRE(writer.flush().has_value());
    const std::size_t before = out.size();
    const auto word_of = [](const Result<void>& result) {
        return result ? std::string("written") : std::string(word(result.error().code));
    };
    const Frame good = frame(0x7E0, "02010C");
    CHECK(word_of(writer.write(1, good.view(), 0)) == "bad-argument");
    CHECK(word_of(writer.write(0, good.view(), -1)) == "bad-argument");
    CHECK(word_of(writer.write(0, good.view(), no_time)) == "bad-argument");
    CHECK(word_of(writer.write(0, good.view(), 0, Direction::unknown, std::string(65'536, 'x'))) ==
          "too-long");
    Frame bad = good;
    bad.id = {0x800, false};
    CHECK(word_of(writer.write(0, bad.view(), 0)) == "bad-argument");
    bad = frame(0x7E0, "000102030405060708");
    CHECK(word_of(writer.write(0, bad.view(), 0)) == "bad-argument");
    bad.fd = true; // nine bytes: no FD length either
    CHECK(word_of(writer.write(0, bad.view(), 0)) == "bad-argument");
    bad = good;
    bad.kind = CanKind::remote; // with data
    CHECK(word_of(writer.write(0, bad.view(), 0)) == "bad-argument");
    CHECK(writer.add_line(std::string(65'536, 'x')).has_value() == false);
    REQUIRE(writer.flush().has_value());
    CHECK(out.size() == before);

    dump::PcapWriter plain(dump::memory_sink(out));
    CHECK(word_of(plain.write(good.view(), -1)) == "bad-argument");
    CHECK(word_of(plain.write(good.view(), Time{1} << 32 << 30)) == "bad-argument");
}

TEST_CASE("writer: files, and devices that are full") {
    const TemporaryFile file;
    {
        auto sink = dump::open_sink(file.path());
        REQUIRE(sink.has_value());
        dump::PcapWriter writer(std::move(*sink));
        REQUIRE(writer.write(frame(0x7E0, "02010C").view(), 0).has_value());
        REQUIRE(writer.flush().has_value());
    }
    CHECK(read(file.content()).frames.size() == 1);

    const auto error = [](const std::string& path) {
        const auto sink = dump::open_sink(path);
        return sink ? std::string("opened") : std::string(word(sink.error().code));
    };
    CHECK(error("/") == "is-directory");
    CHECK(error("/nowhere/at/all") == "cannot-open");

    auto full = dump::open_sink("/dev/full");
    REQUIRE(full.has_value());
    dump::PcapWriter writer(std::move(*full));
    const auto flushed = writer.flush();
    REQUIRE_FALSE(flushed.has_value());
    CHECK(word(flushed.error().code) == "cannot-write");
}
