// SPDX-License-Identifier: Apache-2.0
#include "binary_support.hpp"

using namespace binary;
using dump::Direction;
using dump::Format;

namespace {

constexpr std::uint32_t start = 1'700'000'000;
constexpr Time start_time = Time{start} * nanoseconds_a_second;
const char* const rpm = "04410C1AF8AAAAAA";

Buffer cooked(unsigned protocol, const Buffer& frame, unsigned packet_type = 0) {
    return Maker(true).u16(packet_type).u16(280).u16(0).u64(0).u16(protocol).raw(frame).done();
}

Buffer cooked_2(unsigned protocol, const Buffer& frame, std::uint32_t interface,
                unsigned packet_type = 0) {
    return Maker(true)
        .u16(protocol)
        .u16(0)
        .u32(interface)
        .u16(280)
        .u8(packet_type)
        .u8(0)
        .u64(0)
        .raw(frame)
        .done();
}

/// Counts the frames that are none of `real`: a reader must never invent one.
std::size_t invented(const std::vector<Frame>& got, const std::vector<Frame>& real) {
    std::size_t n = 0;
    for (const auto& one : got)
        n += std::find(real.begin(), real.end(), one) == real.end() ? 1 : 0;
    return n;
}

} // namespace

TEST_CASE("pcap: both byte orders, microseconds and nanoseconds") {
    for (const bool big : {false, true})
        for (const bool nano : {false, true}) {
            CAPTURE(big);
            CAPTURE(nano);
            const Buffer file = Maker(big)
                                    .pcap_header(227, nano)
                                    .pcap_record(start, 123'456, socketcan(0x7E8, rpm))
                                    .pcap_record(start + 1, 0, socketcan(0x98DAF110, "0322"))
                                    .done();
            const Reading got = read(file);
            const Time fraction = nano ? 123'456 : 123'456'000;
            CHECK(got.frames ==
                  std::vector<Frame>{frame(0x7E8, rpm, start_time + fraction),
                                     frame(0x18DAF110, "0322", start_time + nanoseconds_a_second)});
            CHECK(got.problems.empty());
            CHECK(got.places == std::vector<Place>{{24, 0}, {56, 0}});
            CHECK(got.counts.frames == 2);
            CHECK(got.counts.bytes == file.size());
        }
}

TEST_CASE("pcap: the kinds of frames") {
    const std::string eight = "0001020304050607";
    const std::string twelve = eight + "08090A0B";
    const Buffer file = Maker()
                            .pcap_header(227)
                            .pcap_record(start, 0, socketcan(0x123, ""))
                            .pcap_record(start, 0, bytes("40000123 04000000 00000000 00000000"))
                            .pcap_record(start, 0, socketcan(0x20000004, "0001000000000000"))
                            .pcap_record(start, 0, socketcan(0x7E8, twelve, true, 0x04, 72))
                            .pcap_record(start, 0, socketcan(0x7E8, twelve, true, 0x07, 72))
                            .pcap_record(start, 0, socketcan(0x7E8, twelve, true, 0, 72))
                            .pcap_record(start, 0, socketcan(0x7E8, eight, true, 0x04, 16))
                            .pcap_record(start, 0, socketcan(0x7E8, "0102", true, 0, 0))
                            .done();
    const Reading got = read(file);
    CHECK(got.problems.empty());
    REQUIRE(got.frames.size() == 8);
    CHECK(got.frames[0] == frame(0x123, "", start_time));
    Frame remote = frame(0x123, "", start_time);
    remote.kind = CanKind::remote;
    remote.remote_length = 4;
    CHECK(got.frames[1] == remote);
    Frame error = frame(4, "0001000000000000", start_time);
    error.id.extended = true; // the error class has 29 bits
    error.kind = CanKind::error;
    CHECK(got.frames[2] == error);
    CHECK(got.frames[3] == fd_frame(0x7E8, twelve, start_time));
    Frame fast = fd_frame(0x7E8, twelve, start_time);
    fast.bit_rate_switch = true;
    fast.error_state = true;
    CHECK(got.frames[4] == fast);
    CHECK(got.frames[5] == fd_frame(0x7E8, twelve, start_time));
    CHECK(got.frames[6] == fd_frame(0x7E8, eight, start_time));
    CHECK(got.frames[7] == frame(0x7E8, "0102", start_time));
    CHECK(got.counts.remote_frames == 1);
    CHECK(got.counts.error_frames == 1);
}

TEST_CASE("pcap: frames that cannot be are problems, and the next one is read") {
    struct Case {
        const char* packet;
        ProblemCode code;
        std::uint64_t a;
    };
    for (const auto& one : {
             Case{"00000800 02000000 0102", ProblemCode::bad_identifier, 0x800},
             Case{"1FFFFFFF 02000000 0102", ProblemCode::bad_identifier, 0x1FFFFFFF},
             Case{"00000123 09000000 0102030405060708", ProblemCode::bad_length, 9},
             Case{"00000123 0D040000 000102030405060708090A0B0C", ProblemCode::bad_length, 13},
             Case{"40000123 09000000 0000000000000000", ProblemCode::bad_length, 9},
             Case{"00000123 03000000 0102", ProblemCode::bad_length, 3},
             Case{"000001230300", ProblemCode::bad_record, 0},
         }) {
        CAPTURE(one.packet);
        const Reading got = read(Maker()
                                     .pcap_header(227)
                                     .pcap_record(start, 7, bytes(one.packet))
                                     .pcap_record(start, 8, socketcan(0x7E8, rpm))
                                     .done());
        CHECK(got.frames == std::vector<Frame>{frame(0x7E8, rpm, start_time + 8000)});
        REQUIRE(got.problems.size() == 1);
        CHECK(got.problems[0].code == one.code);
        CHECK(got.problems[0].a == one.a);
        CHECK(got.problems[0].place == Place{24, 0});
        CHECK(got.problems[0].time == start_time + 7000);
    }
}

TEST_CASE("pcap: packets that the capture cut") {
    const Buffer whole = socketcan(0x7E8, rpm);
    const auto cut_to = [&](std::size_t size) {
        return read(
            Maker()
                .pcap_header(227)
                .pcap_record(start, 0, Buffer(whole.begin(), whole.begin() + long(size)), 16)
                .pcap_record(start, 1, whole)
                .done());
    };
    for (const std::size_t size : {0U, 7U, 8U, 15U}) {
        CAPTURE(size);
        const Reading got = cut_to(size);
        CHECK(got.frames.size() == 1);
        REQUIRE(got.problems.size() == 1);
        CHECK(got.problems[0].code == ProblemCode::cut_record);
        CHECK(got.problems[0].a == 16);
        CHECK(got.problems[0].b == size);
    }
    // What is cut off is padding alone: nothing of the frame is missing.
    const Buffer three = socketcan(0x7E8, "010203");
    const Reading got =
        read(Maker()
                 .pcap_header(227)
                 .pcap_record(start, 0, Buffer(three.begin(), three.begin() + 11), 16)
                 .done());
    CHECK(got.frames == std::vector<Frame>{frame(0x7E8, "010203", start_time)});
    CHECK(got.problems.empty());
}

TEST_CASE("pcap: Linux cooked captures, versions 1 and 2") {
    // The identifier is in the byte order of the file: tshark reads it so.
    for (const bool big : {false, true}) {
        CAPTURE(big);
        const Buffer classic = socketcan(0x98DAF110, rpm, big);
        const Buffer fast = socketcan(0x7E8, std::string(rpm) + rpm, big, 0x05, 72);
        const Reading first = read(Maker(big)
                                       .pcap_header(113)
                                       .pcap_record(start, 0, cooked(0x0C, classic))
                                       .pcap_record(start, 1, cooked(0x0D, fast, 4))
                                       .pcap_record(start, 2, cooked(0x0800, Buffer(1400, 0x45)))
                                       .pcap_record(start, 3, cooked(0x0C, classic, 1))
                                       .done());
        CHECK(first.problems.empty());
        REQUIRE(first.frames.size() == 3);
        CHECK(first.frames[0] == frame(0x18DAF110, rpm, start_time));
        Frame wanted = fd_frame(0x7E8, std::string(rpm) + rpm, start_time + 1000);
        wanted.bit_rate_switch = true;
        CHECK(first.frames[1] == wanted);
        CHECK(first.directions ==
              std::vector{Direction::received, Direction::sent, Direction::received});
        CHECK(first.counts.frames == 4);
        CHECK(first.counts.passed_over == 1);

        const Reading second = read(Maker(big)
                                        .pcap_header(276)
                                        .pcap_record(start, 0, cooked_2(0x0C, classic, 3))
                                        .pcap_record(start, 1, cooked_2(0x0D, fast, 4, 4))
                                        .pcap_record(start, 2, cooked_2(0x0C, classic, 3))
                                        .done());
        CHECK(second.problems.empty());
        REQUIRE(second.frames.size() == 3);
        CHECK(second.frames[0] == first.frames[0]);
        CHECK(second.frames[1] == first.frames[1]);
        CHECK(second.lines == std::vector<std::string>{"if3", "if4", "if3"});
        CHECK(second.directions ==
              std::vector{Direction::received, Direction::sent, Direction::received});
    }
    const Reading cut =
        read(Maker().pcap_header(113).pcap_record(start, 0, bytes("00000118000000"), 32).done());
    CHECK(cut.count(ProblemCode::cut_record) == 1);
}

TEST_CASE("pcap: more cooked interfaces than the reader keeps apart") {
    Maker file;
    file.pcap_header(276);
    for (std::uint32_t i = 0; i < 300; ++i)
        file.pcap_record(start, i, cooked_2(0x0C, socketcan(0x7E8, rpm, false), i));
    const Reading got = read(file.done());
    CHECK(got.frames.size() == 256);
    CHECK(got.counts.frames == 300);
    CHECK(got.counts.passed_over == 44);
    CHECK(got.count(ProblemCode::too_many_lines) == 1);
    CHECK(got.problems.size() == 1);
}

TEST_CASE("pcap: another link type is one problem, its packets are passed over") {
    const Reading got = read(Maker()
                                 .pcap_header(1)
                                 .pcap_record(start, 0, Buffer(60, 0xFF))
                                 .pcap_record(start, 1, Buffer(60'000, 0xFF))
                                 .done());
    CHECK(got.frames.empty());
    REQUIRE(got.problems.size() == 1);
    CHECK(got.problems[0].code == ProblemCode::unknown_link_type);
    CHECK(got.problems[0].a == 1);
    CHECK(got.counts.frames == 2);
    CHECK(got.counts.passed_over == 2);
}

TEST_CASE("pcap: times that run backwards are told, and their frames given") {
    const Reading got = read(Maker()
                                 .pcap_header(227)
                                 .pcap_record(start, 500, socketcan(0x7E8, "01"))
                                 .pcap_record(start, 200, socketcan(0x7E8, "02"))
                                 .pcap_record(start, 300, socketcan(0x7E8, "03"))
                                 .done());
    CHECK(got.frames == std::vector<Frame>{frame(0x7E8, "01", start_time + 500'000),
                                           frame(0x7E8, "02", start_time + 200'000),
                                           frame(0x7E8, "03", start_time + 300'000)});
    REQUIRE(got.problems.size() == 1);
    CHECK(got.problems[0].code == ProblemCode::time_backwards);
    CHECK(got.problems[0].a == 300'000);
    CHECK(got.problems[0].place == Place{56, 0});
}

TEST_CASE("pcap: a clock that was set is no damage") {
    // Captures begun before the clock was set jump by decades, and back when a battery was pulled.
    Maker file;
    file.pcap_header(227);
    for (std::uint32_t i = 0; i < 3; ++i)
        file.pcap_record(12 + i, i, socketcan(0x7E8, "01"));
    for (std::uint32_t i = 0; i < 3; ++i)
        file.pcap_record(start + i, i, socketcan(0x7E8, "02"));
    file.pcap_record(40, 0, socketcan(0x7E8, "03"));
    const Reading got = read(file.done());
    CHECK(got.frames.size() == 7);
    CHECK(got.problems.size() == 1);
    CHECK(got.count(ProblemCode::time_backwards) == 1);
}

TEST_CASE("pcap: the filter passes over, counts, and lets error frames through") {
    const CanFilter filter = CanFilter::diagnostic();
    const Reading got = read(Maker()
                                 .pcap_header(227)
                                 .pcap_record(start, 0, socketcan(0x100, rpm))
                                 .pcap_record(start, 1, socketcan(0x7E8, rpm))
                                 .pcap_record(start, 2, socketcan(0x800007E8, rpm))
                                 .pcap_record(start, 3, socketcan(0x98DB33F1, rpm))
                                 .pcap_record(start, 4, socketcan(0x20000004, rpm))
                                 .done(),
                             {&filter, Format::unknown});
    CHECK(got.frames.size() == 3);
    CHECK(got.counts.frames == 5);
    CHECK(got.counts.passed_over == 2);
    CHECK(got.counts.error_frames == 1);
    CHECK(got.problems.empty());
}

TEST_CASE("pcap: a file cut anywhere gives the frames before the cut and says so") {
    const auto frames = mixed_frames(40, 1);
    const Buffer file = write_pcap(frames);
    const Reading all = read(file);
    REQUIRE(all.frames == frames);
    for (std::size_t cut = 0; cut < file.size(); ++cut) {
        CAPTURE(cut);
        const Buffer torn(file.begin(), file.begin() + static_cast<long>(cut));
        const Reading got = read(torn);
        if (cut == 0) {
            CHECK(got.refused == "empty-input");
            continue;
        }
        if (cut < 4)
            continue; // not even the magic number: no pcap
        std::size_t whole = 0;
        bool boundary = cut == 24;
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

TEST_CASE("pcap: one wrong bit in a record's header costs a frame or two, and invents none") {
    const auto frames = mixed_frames(24, 2);
    const Buffer file = write_pcap(frames, {true, false});
    const Reading all = read(file);
    REQUIRE(all.frames == frames);
    for (std::size_t i = 0; i < frames.size(); ++i)
        for (std::size_t bit = 0; bit < 128; ++bit) {
            CAPTURE(i);
            CAPTURE(bit);
            Buffer bent = file;
            const std::size_t at = all.places[i].offset + bit / 8;
            bent[at] = static_cast<std::uint8_t>(bent[at] ^ 1U << bit % 8);
            const Reading got = read(bent);
            // A wrong time may pass for a right one: compare what it stands beside.
            auto without_time = [](std::vector<Frame> list) {
                for (auto& one : list)
                    one.time = 0;
                return list;
            };
            const auto seen = without_time(got.frames);
            const bool none_invented = invented(seen, without_time(frames)) == 0;
            CHECK(none_invented);
            CHECK(seen.size() + 2 >= frames.size());
            if (seen.size() < frames.size())
                CHECK_FALSE(got.problems.empty());
        }
}

TEST_CASE("pcap: rubbish between records is stepped over") {
    const auto frames = mixed_frames(20, 3);
    const Buffer file = write_pcap(frames);
    const Reading all = read(file);
    Random random(4);
    for (const std::size_t size : {1U, 7U, 16U, 100U, 5000U, 300'000U}) {
        CAPTURE(size);
        Buffer bent = file;
        Buffer rubbish(size);
        for (auto& value : rubbish)
            value = static_cast<std::uint8_t>(random.next());
        bent.insert(bent.begin() + static_cast<long>(all.places[10].offset), rubbish.begin(),
                    rubbish.end());
        const Reading got = read(bent);
        const bool same = got.frames == frames;
        CHECK(same);
        REQUIRE(got.problems.size() == 1);
        CHECK(got.problems[0].code == ProblemCode::bad_record);
        CHECK(got.problems[0].place == all.places[10]);
    }
}

TEST_CASE("pcap: room that was never written is one problem") {
    const auto frames = mixed_frames(20, 6);
    for (const std::uint8_t fill : {std::uint8_t{0}, std::uint8_t{0xFF}}) {
        Buffer file = write_pcap(frames);
        file.resize(file.size() + 1'000'000, fill);
        const Reading got = read(file);
        const bool same = got.frames == frames;
        CHECK(same);
        CHECK(got.problems.size() == 1);
        CHECK(got.count(ProblemCode::bad_record) == 1);
    }
}

TEST_CASE("pcap: a packet longer than any window is read past") {
    const Buffer long_packet = cooked(0x0800, Buffer(262'100, 0x45));
    const Reading got = read(Maker()
                                 .pcap_header(113)
                                 .pcap_record(start, 0, long_packet)
                                 .pcap_record(start, 1, cooked(0x0C, socketcan(0x7E8, rpm, false)))
                                 .done());
    CHECK(got.problems.empty());
    CHECK(got.frames == std::vector<Frame>{frame(0x7E8, rpm, start_time + 1000)});
}

TEST_CASE("pcap: the pieces in which the bytes come make no difference") {
    const auto frames = mixed_frames(300, 5);
    const Buffer file = write_pcap(frames);
    for (const std::size_t most : {1U, 3U, 17U, 1000U}) {
        const Reading got = read(std::make_unique<PieceSource>(file, most));
        const bool same = got.frames == frames;
        CHECK(same);
        CHECK(got.problems.empty());
    }
}

TEST_CASE("pcap: a file header that is none") {
    const Reading cut = read(bytes("D4C3B2A1 0200"));
    CHECK(cut.count(ProblemCode::cut_record) == 1);
    const Reading forced = read(Buffer(100, 0x41), {nullptr, Format::pcap});
    CHECK(forced.frames.empty());
    CHECK(forced.count(ProblemCode::bad_record) == 1);
}
