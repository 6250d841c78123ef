// SPDX-License-Identifier: Apache-2.0
#include "binary_support.hpp"

using namespace binary;
using dump::Direction;
using dump::Format;

namespace {

const char* const rpm = "04410C1AF8AAAAAA";
constexpr Time start_time = 1'700'000'000 * nanoseconds_a_second;
constexpr std::uint64_t start_micro = 1'700'000'000'000'000;

std::size_t invented(const std::vector<Frame>& got, const std::vector<Frame>& real) {
    std::size_t n = 0;
    for (const auto& one : got)
        n += std::find(real.begin(), real.end(), one) == real.end() ? 1 : 0;
    return n;
}

} // namespace

TEST_CASE("pcapng: sections of both byte orders, several interfaces, default resolution") {
    Maker file; // little-endian parts and big-endian parts one after the other
    for (const bool big : {false, true, false}) {
        Maker part(big);
        part.section()
            .interface(227, Maker(big).option(2, "can0").u32(0).done())
            .interface(227, Maker(big).option(2, "can1").u32(0).done())
            .packet(1, start_micro + 1, socketcan(0x7E8, rpm))
            .packet(0, start_micro + 2, socketcan(0x98DAF110, rpm));
        file.raw(part.done());
    }
    const Reading got = read(file.done());
    CHECK(got.problems.empty());
    REQUIRE(got.frames.size() == 6);
    for (std::size_t i = 0; i < 6; i += 2) {
        CHECK(got.frames[i] == frame(0x7E8, rpm, start_time + 1000));
        CHECK(got.lines[i] == "can1");
        CHECK(got.frames[i + 1] == frame(0x18DAF110, rpm, start_time + 2000));
        CHECK(got.lines[i + 1] == "can0");
    }
    CHECK(got.counts.bytes == file.done().size());
}

TEST_CASE("pcapng: time resolutions, powers of 10 and of 2, and offsets") {
    struct Case {
        unsigned resolution;
        std::int64_t offset;
        std::uint64_t stamp;
        Time time;
    };
    for (const auto& one : {
             Case{6, 0, 1'500'000, 1'500'000'000},
             Case{9, 0, 1'500'000, 1'500'000},
             Case{0, 0, 7, 7'000'000'000},
             Case{3, 0, 7, 7'000'000},
             Case{12, 0, 7'999, 7},
             Case{18, 0, 12'345'678'900'000'000'000U, 12'345'678'900},
             Case{19, 0, 12'345'678'900'000'000'000U, 1'234'567'890},
             Case{28, 0, 12'345'678'900'000'000'000U, 1},
             Case{30, 0, 12'345'678'900'000'000'000U, 0},
             Case{127, 0, 12'345'678'900'000'000'000U, 0},
             Case{0x80, 0, 3, 3'000'000'000},
             Case{0x80 + 10, 0, 1536, 1'500'000'000},
             Case{0x80 + 32, 0, 0x1'8000'0000, 1'500'000'000},
             Case{0x80 + 63, 0, 0xC000'0000'0000'0000, 1'500'000'000},
             Case{0x80 + 64, 0, 0xC000'0000'0000'0000, 750'000'000},
             Case{0x80 + 127, 0, ~std::uint64_t{0}, 0},
             Case{6, 1'700'000'000, 250'000, start_time + 250'000'000},
             Case{6, -5, 4'000'000, -1'000'000'000},
             Case{6, -5, 6'000'000, 1'000'000'000},
             // Beyond the range before the offset, within it after.
             Case{0, -9'223'372'036, 9'223'372'037, 1'000'000'000},
         }) {
        for (const bool big : {false, true}) {
            CAPTURE(one.resolution);
            CAPTURE(one.offset);
            CAPTURE(one.stamp);
            const Reading got = read(
                Maker(big)
                    .section()
                    .interface(
                        227,
                        Maker(big)
                            .option(9, Buffer{static_cast<std::uint8_t>(one.resolution)})
                            .option(14,
                                    Maker(big).u64(static_cast<std::uint64_t>(one.offset)).done())
                            .u32(0)
                            .done())
                    .packet(0, one.stamp, socketcan(0x7E8, rpm))
                    .done());
            CHECK(got.problems.empty());
            REQUIRE(got.frames.size() == 1);
            CHECK(got.frames[0].time == one.time);
        }
    }
}

TEST_CASE("pcapng: a time that no clock can show is a problem, its frame has none") {
    const Reading got =
        read(Maker()
                 .section()
                 .interface(227, Maker().option(9, Buffer{0}).u32(0).done()) // seconds
                 .packet(0, 10'000'000'000, socketcan(0x7E8, rpm))
                 .packet(0, 5, socketcan(0x7E8, rpm))
                 .done());
    REQUIRE(got.frames.size() == 2);
    CHECK(got.frames[0].time == no_time);
    CHECK(got.frames[1].time == 5 * nanoseconds_a_second);
    CHECK(got.problems.size() == 1);
    CHECK(got.count(ProblemCode::bad_record) == 1);
}

TEST_CASE("pcapng: comments of packets, sections and interfaces, and directions") {
    const auto flags = [](std::uint32_t value) {
        return Maker().option(2, Maker().u32(value).done()).u32(0).done();
    };
    const Buffer file =
        Maker()
            .section(Maker().option(1, "drive 1").option(4, "some program").u32(0).done())
            .interface(227,
                       Maker().option(1, "port under the dash").option(2, "can0").u32(0).done())
            .packet(0, start_micro, socketcan(0x7E8, rpm), Maker().option(1, "here").u32(0).done())
            .packet(0, start_micro + 1, socketcan(0x7E8, rpm), flags(1))
            .packet(0, start_micro + 2, socketcan(0x7E8, rpm), flags(2))
            .packet(0, start_micro + 3, socketcan(0x7E8, rpm), flags(0x10))
            // two comments, and no end of options
            .packet(0, start_micro + 4, socketcan(0x7E8, rpm),
                    Maker().option(1, "one").option(1, "two").done())
            .done();
    const Reading got = read(file);
    CHECK(got.problems.empty());
    CHECK(got.comments == std::vector<std::string>{"here", "", "", "", "one\ntwo"});
    CHECK(got.directions == std::vector{Direction::unknown, Direction::received, Direction::sent,
                                        Direction::unknown, Direction::unknown});
    CHECK(got.remarks ==
          std::vector<Comment>{{"drive 1", "", no_time}, {"port under the dash", "can0", no_time}});
}

TEST_CASE("pcapng: a comment outlives the frame that the filter takes away") {
    const CanFilter filter = CanFilter::diagnostic();
    const Reading got = read(
        Maker()
            .section()
            .interface(227)
            .packet(0, start_micro, socketcan(0x123, rpm), Maker().option(1, "jerk").u32(0).done())
            .packet(0, start_micro + 1, socketcan(0x124, rpm))
            .packet(0, start_micro + 2, socketcan(0x7E8, rpm))
            .done(),
        {&filter, Format::unknown});
    CHECK(got.frames == std::vector<Frame>{frame(0x7E8, rpm, start_time + 2000)});
    CHECK(got.remarks == std::vector<Comment>{{"jerk", "", start_time}});
    CHECK(got.counts.frames == 3);
    CHECK(got.counts.passed_over == 2);
}

TEST_CASE("pcapng: comments without measure stay within bounds") {
    Maker options;
    for (int i = 0; i < 3; ++i)
        options.option(1, std::string(60'000, static_cast<char>('a' + i)));
    const Reading got = read(Maker()
                                 .section()
                                 .interface(227)
                                 .packet(0, start_micro, socketcan(0x7E8, rpm), options.done())
                                 .done());
    REQUIRE(got.comments.size() == 1);
    CHECK(got.comments[0].size() == 65'536);
}

TEST_CASE("pcapng: simple and obsolete packet blocks") {
    const Buffer packet = socketcan(0x7E8, rpm);
    const Buffer file = Maker()
                            .section()
                            .interface(227, Maker().option(2, "can0").u32(0).done())
                            .interface(227, Maker().option(2, "can1").u32(0).done())
                            .block(3, Maker().u32(16).raw(packet).done())
                            .block(2, Maker()
                                          .u16(1)
                                          .u16(7) // drops
                                          .u32(start_micro >> 32)
                                          .u32(start_micro & 0xFFFFFFFF)
                                          .u32(16)
                                          .u32(16)
                                          .raw(packet)
                                          .option(2, Maker().u32(2).done())
                                          .u32(0)
                                          .done())
                            .done();
    const Reading got = read(file);
    CHECK(got.problems.empty());
    CHECK(got.frames ==
          std::vector<Frame>{frame(0x7E8, rpm, no_time), frame(0x7E8, rpm, start_time)});
    CHECK(got.lines == std::vector<std::string>{"can0", "can1"});
    CHECK(got.directions == std::vector{Direction::unknown, Direction::sent});

    // A simple packet is as long as its interface keeps of one at most.
    const Reading cut = read(Maker()
                                 .section()
                                 .interface(227, {}, 12)
                                 .block(3, Maker().u32(16).raw(packet).done())
                                 .done());
    CHECK(cut.frames.empty());
    CHECK(cut.count(ProblemCode::cut_record) == 1);
}

TEST_CASE("pcapng: blocks of other types are read past, however long") {
    const Reading got = read(Maker()
                                 .section()
                                 .block(4, Maker().u32(0).done())
                                 .interface(227)
                                 .block(0x0BAD, Buffer(64))
                                 .block(10, Buffer(1'000'000, 0x55))
                                 .packet(0, start_micro, socketcan(0x7E8, rpm))
                                 .block(5, Buffer(20))
                                 .block(0x80000001, Buffer(400'000))
                                 .packet(0, start_micro, socketcan(0x7E8, rpm))
                                 .done());
    CHECK(got.problems.empty());
    CHECK(got.frames.size() == 2);

    Buffer torn = Maker().section().interface(227).block(10, Buffer(1'000'000)).done();
    torn.resize(torn.size() - 5);
    CHECK(read(torn).count(ProblemCode::cut_record) == 1);
    torn.resize(torn.size() + 3);
    CHECK(read(torn).count(ProblemCode::cut_record) == 1);
}

TEST_CASE("pcapng: interfaces without names stay apart, and the same in each section") {
    const Buffer part = Maker()
                            .section()
                            .interface(227)
                            .interface(227)
                            .packet(0, start_micro, socketcan(0x7E8, "00"))
                            .packet(1, start_micro, socketcan(0x7E8, "01"))
                            .done();
    Buffer file = part;
    file.insert(file.end(), part.begin(), part.end());
    auto reader = dump::Reader::from(dump::memory_source(file));
    REQUIRE(reader.has_value());
    dump::Record record;
    Problem problem;
    std::vector<int> lines;
    while (reader->next(record, problem) == dump::Step::record)
        lines.push_back(record.line);
    CHECK(lines == std::vector<int>{0, 1, 0, 1});
}

TEST_CASE("pcapng: other link types are one problem an interface") {
    const Reading got = read(Maker()
                                 .section()
                                 .interface(1)
                                 .interface(227)
                                 .interface(147)
                                 .packet(0, start_micro, Buffer(60))
                                 .packet(1, start_micro, socketcan(0x7E8, rpm))
                                 .packet(0, start_micro, Buffer(60))
                                 .packet(2, start_micro, Buffer(60))
                                 .done());
    CHECK(got.frames.size() == 1);
    REQUIRE(got.problems.size() == 2);
    CHECK(got.problems[0].code == ProblemCode::unknown_link_type);
    CHECK(got.problems[0].a == 1);
    CHECK(got.problems[1].a == 147);
    CHECK(got.counts.passed_over == 3);
}

TEST_CASE("pcapng: more interfaces than the reader keeps apart") {
    Maker file;
    file.section();
    for (int i = 0; i < 300; ++i)
        file.interface(227, Maker().option(2, "can" + std::to_string(i)).u32(0).done());
    for (std::uint32_t i = 0; i < 300; ++i)
        file.packet(i, start_micro, socketcan(0x7E8, rpm));
    const Reading got = read(file.done());
    CHECK(got.frames.size() == 256);
    CHECK(got.counts.frames == 300);
    CHECK(got.problems.size() == 1);
    CHECK(got.count(ProblemCode::too_many_lines) == 1);
}

TEST_CASE("pcapng: more names, or cooked interfaces, than the reader keeps apart") {
    Maker sections; // two sections of 200 interfaces each
    for (int part = 0; part < 2; ++part) {
        sections.section();
        for (int i = 0; i < 200; ++i)
            sections.interface(
                227,
                Maker().option(2, std::to_string(part) + "-" + std::to_string(i)).u32(0).done());
        for (std::uint32_t i = 0; i < 200; ++i)
            sections.packet(i, start_micro, socketcan(0x7E8, rpm));
    }
    Maker cooked;
    cooked.section().interface(276);
    for (std::uint32_t i = 0; i < 400; ++i)
        cooked.packet(0, start_micro,
                      Maker(true)
                          .u16(0x0C)
                          .u16(0)
                          .u32(i)
                          .u16(280)
                          .u16(0)
                          .u64(0)
                          .raw(socketcan(0x7E8, rpm, false))
                          .done());
    for (const Buffer& file : {sections.done(), cooked.done()}) {
        const Reading got = read(file);
        // The unnamed interface of the cooked capture is a line as well.
        CHECK(got.frames.size() >= 255);
        CHECK(got.frames.size() <= 256);
        CHECK(got.counts.frames == 400);
        CHECK(got.problems.size() == 1);
        CHECK(got.count(ProblemCode::too_many_lines) == 1);
    }
}

TEST_CASE("pcapng: times run backwards on one interface, not between two") {
    const Reading got = read(Maker()
                                 .section()
                                 .interface(227)
                                 .interface(227)
                                 .packet(0, start_micro + 10, socketcan(0x7E8, rpm))
                                 .packet(1, start_micro + 5, socketcan(0x7E8, rpm))
                                 .packet(0, start_micro + 8, socketcan(0x7E8, rpm))
                                 .done());
    CHECK(got.frames.size() == 3);
    REQUIRE(got.problems.size() == 1);
    CHECK(got.problems[0].code == ProblemCode::time_backwards);
    CHECK(got.problems[0].a == 2000);
}

TEST_CASE("pcapng: cooked captures have the section's byte order") {
    for (const bool big : {false, true}) {
        const Buffer first = Maker(true)
                                 .u16(4)
                                 .u16(280)
                                 .u16(0)
                                 .u64(0)
                                 .u16(0x0C)
                                 .raw(socketcan(0x98DAF110, rpm, big))
                                 .done();
        const Buffer second = Maker(true)
                                  .u16(0x0C)
                                  .u16(0)
                                  .u32(9)
                                  .u16(280)
                                  .u16(0)
                                  .u64(0)
                                  .raw(socketcan(0x7E8, rpm, big))
                                  .done();
        const Reading got = read(Maker(big)
                                     .section()
                                     .interface(113, Maker(big).option(2, "any").u32(0).done())
                                     .interface(276, Maker(big).option(2, "any").u32(0).done())
                                     .packet(0, start_micro, first)
                                     .packet(1, start_micro, second)
                                     .done());
        CHECK(got.problems.empty());
        CHECK(got.frames == std::vector<Frame>{frame(0x18DAF110, rpm, start_time),
                                               frame(0x7E8, rpm, start_time)});
        CHECK(got.directions == std::vector{Direction::sent, Direction::received});
        CHECK(got.lines == std::vector<std::string>{"any", "if9"});
    }
}

TEST_CASE("pcapng: blocks that contradict themselves are problems") {
    const Buffer packet = socketcan(0x7E8, rpm);
    const auto with = [&](const Buffer& bad) {
        return read(Maker()
                        .section()
                        .interface(227)
                        .packet(0, start_micro, packet)
                        .raw(bad)
                        .packet(0, start_micro, packet)
                        .done());
    };
    const auto one_bad_record = [](const Reading& got) {
        CHECK(got.frames.size() == 2);
        CHECK(got.problems.size() == 1);
        CHECK(got.count(ProblemCode::bad_record) == 1);
    };
    SUBCASE("a packet of no interface") {
        one_bad_record(with(Maker().packet(7, start_micro, packet).done()));
    }
    SUBCASE("a packet longer than its block") {
        one_bad_record(with(
            Maker().block(6, Maker().u32(0).u64(0).u32(17).u32(17).raw(packet).done()).done()));
    }
    SUBCASE("a packet whose length overflows") {
        one_bad_record(
            with(Maker()
                     .block(6, Maker().u32(0).u64(0).u32(0xFFFFFFFF).u32(16).raw(packet).done())
                     .done()));
    }
    SUBCASE("blocks too short for their fields") {
        one_bad_record(with(Maker().block(6, Buffer(16)).done()));
        one_bad_record(with(Maker().block(3, Buffer(0)).done()));
    }
    SUBCASE("options that run over the block's end: the frame is whole") {
        const Reading got =
            with(Maker()
                     .packet(0, start_micro, packet, Maker().u16(1).u16(400).raw("text").done())
                     .done());
        CHECK(got.frames.size() == 3);
        CHECK(got.problems.size() == 1);
        CHECK(got.count(ProblemCode::bad_record) == 1);
    }
    SUBCASE("two lengths that differ") {
        Buffer bad = Maker().packet(0, start_micro, packet).done();
        bad.back() = 1;
        one_bad_record(with(bad));
    }
    SUBCASE("a length that is no multiple of four, or below the least, or huge") {
        for (const unsigned value : {0x2DU, 0U, 8U, 0xFFFFFFFCU}) {
            Buffer bad = Maker().packet(0, start_micro, packet).done();
            for (unsigned i = 0; i < 4; ++i)
                bad[4 + i] = static_cast<std::uint8_t>(value >> 8 * i);
            one_bad_record(with(bad));
        }
    }
    SUBCASE("rubbish, not even aligned") {
        one_bad_record(with(Buffer(1001, 0xA5)));
    }
}

TEST_CASE("pcapng: an interface that cannot be read hides its packets, not the others'") {
    const Buffer packet = socketcan(0x7E8, rpm);
    const Buffer one = Maker().packet(0, start_micro, packet).packet(1, start_micro, packet).done();
    for (const Buffer& bad :
         {Maker().block(1, Buffer(4)).done(),
          Maker().interface(227, Maker().u16(9).u16(60).u32(0).done()).done()}) {
        const Reading got = read(Maker()
                                     .section()
                                     .raw(bad)
                                     .interface(227, Maker().option(2, "can1").u32(0).done())
                                     .raw(one)
                                     .done());
        CHECK(got.frames.size() == 1);
        CHECK(got.lines == std::vector<std::string>{"can1"});
        CHECK(got.problems.size() == 1);
        CHECK(got.counts.passed_over == 1);
    }
}

TEST_CASE("pcapng: a section header that cannot be read ends the interfaces before it") {
    const Buffer packet = socketcan(0x7E8, rpm);
    Buffer header = Maker().section().done();
    header[8] ^= 0xFF; // the byte-order mark
    const Reading got = read(Maker()
                                 .section()
                                 .interface(227)
                                 .packet(0, start_micro, packet)
                                 .raw(header)
                                 .interface(227, Maker().option(9, Buffer{9}).u32(0).done())
                                 .packet(0, start_micro, packet) // nanoseconds: not 2023
                                 .section()
                                 .interface(227)
                                 .packet(0, start_micro, packet)
                                 .done());
    CHECK(got.frames.size() == 2);
    CHECK(got.problems.size() == 1);
    for (const auto& one : got.frames)
        CHECK(one.time == start_time);
}

TEST_CASE("pcapng: a file cut anywhere gives the frames before the cut and says so") {
    const auto frames = mixed_frames(40, 11);
    const Buffer file = write_pcapng(frames);
    const Reading all = read(file);
    REQUIRE(all.frames == frames);
    for (std::size_t cut = 4; cut < file.size(); ++cut) {
        CAPTURE(cut);
        const Buffer torn(file.begin(), file.begin() + static_cast<long>(cut));
        const Reading got = read(torn);
        std::size_t whole = 0;
        bool boundary = cut == 28 || cut == all.places[0].offset;
        for (std::size_t i = 0; i < frames.size(); ++i) {
            const std::size_t end = i + 1 < frames.size() ? all.places[i + 1].offset : file.size();
            whole += end <= cut ? 1 : 0;
            boundary = boundary || end == cut;
        }
        const bool same =
            got.frames == std::vector<Frame>(frames.begin(), frames.begin() + long(whole));
        CHECK(same);
        CHECK(got.problems.size() == (boundary ? 0 : 1));
        CHECK(got.count(ProblemCode::cut_record) == (boundary ? 0 : 1));
    }
}

TEST_CASE("pcapng: one wrong bit in a block's frame costs a frame or two, and invents none") {
    const auto frames = mixed_frames(24, 12);
    const Buffer file = write_pcapng(frames);
    const Reading all = read(file);
    REQUIRE(all.frames == frames);
    for (std::size_t i = 0; i < frames.size(); ++i) {
        const std::size_t begin = all.places[i].offset;
        const std::size_t end = i + 1 < frames.size() ? all.places[i + 1].offset : file.size();
        for (std::size_t bit = 0; bit < 96; ++bit) {
            CAPTURE(i);
            CAPTURE(bit);
            Buffer bent = file;
            // type, length; and the length at the end
            const std::size_t at = bit < 64 ? begin + bit / 8 : end - 4 + (bit - 64) / 8;
            bent[at] = static_cast<std::uint8_t>(bent[at] ^ 1U << bit % 8);
            const Reading got = read(bent);
            const bool none_invented = invented(got.frames, frames) == 0;
            CHECK(none_invented);
            CHECK(got.frames.size() + 1 >= frames.size());
            if (bit >= 32) // a changed type is a block to read past
                CHECK_FALSE(got.problems.empty());
        }
    }
}

TEST_CASE("pcapng: room that was never written is one problem") {
    const auto frames = mixed_frames(20, 14);
    for (const std::uint8_t fill : {std::uint8_t{0}, std::uint8_t{0xFF}}) {
        Buffer file = write_pcapng(frames);
        file.resize(file.size() + 1'000'000, fill);
        const Reading got = read(file);
        const bool same = got.frames == frames;
        CHECK(same);
        CHECK(got.problems.size() == 1);
        CHECK(got.count(ProblemCode::bad_record) == 1);
    }
}

TEST_CASE("pcapng: the pieces in which the bytes come make no difference") {
    const auto frames = mixed_frames(300, 13);
    const Buffer file = write_pcapng(frames);
    for (const std::size_t most : {1U, 3U, 17U, 1000U}) {
        const Reading got = read(std::make_unique<PieceSource>(file, most));
        const bool same = got.frames == frames;
        CHECK(same);
        CHECK(got.problems.empty());
    }
}

TEST_CASE("pcapng: what is none") {
    const Reading forced = read(Buffer(100, 0x41), {nullptr, Format::pcapng});
    CHECK(forced.frames.empty());
    CHECK(forced.problems.size() == 1);
    const Reading header_only = read(bytes("0A0D0D0A"));
    CHECK(header_only.count(ProblemCode::cut_record) == 1);
}
