// SPDX-License-Identifier: Apache-2.0
#include <algorithm>
#include <cstdio>

#include "support.hpp"
#include "telltale/dump/reader.hpp"
#include "telltale/link/around.hpp"
#include "telltale/link/pair.hpp"

using namespace test;

namespace {

/// A file of this text, as long as the object lives.
struct File {
    std::string path = "/tmp/telltale-link-XXXXXX";
    explicit File(std::string_view text = {}) {
        const int descriptor = ::mkstemp(path.data());
        REQUIRE(descriptor >= 0);
        CHECK(::write(descriptor, text.data(), text.size()) == static_cast<ssize_t>(text.size()));
        ::close(descriptor);
    }
    ~File() { std::remove(path.c_str()); }
};

constexpr std::string_view three = "(100.000000) can0 7DF#020105\n"
                                   "(100.100000) can0 7E8#0341055A\n"
                                   "garbage in between\n"
                                   "(100.300000) can0 7E8#0341055B\n";

} // namespace

TEST_CASE("a dump is played back at the speed that is asked for") {
    File file(three);
    Loop loop;
    // A busy computer is late now and then; playing back too slowly would be late every time.
    constexpr int most_tries = 20;
    struct Speed {
        const char* name;
        std::chrono::milliseconds least;
    };
    for (const Speed& one : {Speed{"@1x", 300ms}, {"@2x", 150ms}, {"@max", 0ms}}) {
        const char* const speed = one.name;
        const auto least = one.least;
        CAPTURE(speed);
        bool in_time = false;
        for (int i = 0; i < most_tries && !in_time; ++i) {
            auto link = make_link(loop.context.get_executor(), "dump:" + file.path + speed);
            REQUIRE(link);
            CHECK(loop.receive(**link).error == LinkError::not_open);
            const auto begun = std::chrono::steady_clock::now();
            REQUIRE(!loop.open(**link).error);
            CHECK(loop.receive(**link).bytes == Data{2, 1, 5});
            CHECK(loop.receive(**link).bytes == Data{3, 0x41, 5, 0x5A});
            const auto third = loop.receive(**link);
            CHECK(third.bytes == Data{3, 0x41, 5, 0x5B});
            CHECK(third.received.time == 100'300 * nanoseconds_a_millisecond);
            CHECK(third.received.from == TimeFrom::recorded);
            const auto took = std::chrono::steady_clock::now() - begun;
            CHECK(took >= least);
            in_time = took < least + 100ms;
            CHECK(loop.receive(**link).error == LinkError::end_of_dump);
            CHECK((*link)->counts().bad == 1);
            CHECK(loop.send(**link, can(1, third.bytes)) == LinkError::not_supported);
        }
        CHECK(in_time);
    }
}

TEST_CASE("a receive that is over before the next frame's time does not lose it") {
    File file(three);
    Loop loop;
    auto link = make_link(loop.context.get_executor(), "dump:" + file.path);
    REQUIRE(!loop.open(**link).error);
    CHECK(!loop.receive(**link).error);
    CHECK(loop.receive(**link, 10ms).error == LinkError::timed_out);
    CHECK(loop.receive(**link).bytes == Data{3, 0x41, 5, 0x5A});
    auto none = make_link(loop.context.get_executor(), "dump:/nonexistent");
    CHECK(loop.open(**none).error == LinkError::cannot_open);
    CHECK(!(*none)->trouble().empty());
}

TEST_CASE("a copy of what goes over a link is a dump of it") {
    Loop loop;
    std::vector<std::uint8_t> dump;
    auto [first, second] =
        in_process_pair(loop.context.get_executor(), loop.context.get_executor());
    auto writer = std::make_shared<TrafficWriter>(dump::memory_sink(dump), LineKind::can, "pair");
    auto link = copying(std::move(first), writer);
    loop.open(*link);
    loop.open(*second);
    const Data request{2, 1, 5};
    const Data answer{3, 0x41, 5, 0x5A};
    CHECK(!loop.send(*link, can(0x7DF, request)));
    CHECK(!loop.send(*second, can(0x7E8, answer)));
    CHECK(!loop.receive(*link).error);
    REQUIRE(writer->flush());
    auto reader = dump::Reader::from(dump::memory_source(dump));
    REQUIRE(reader);
    dump::Record record;
    Problem problem;
    REQUIRE(reader->next(record, problem) == dump::Step::record);
    CHECK(record.direction == dump::Direction::sent);
    CHECK(record.can.id.value == 0x7DF);
    REQUIRE(reader->next(record, problem) == dump::Step::record);
    CHECK(record.direction == dump::Direction::received);
    CHECK(Data(record.can.data.begin(), record.can.data.end()) == answer);
    CHECK(reader->next(record, problem) == dump::Step::end);
}

TEST_CASE("a copy of a K-line is text that is read as K-line") {
    std::vector<std::uint8_t> dump;
    const Data frame{0x68, 0x6A, 0xF1, 0x01, 0x0C, 0xD0};
    {
        TrafficWriter writer(dump::memory_sink(dump), LineKind::kline, "kline:/dev/x");
        REQUIRE(writer.write(KlineBytes{frame}, 1'500 * nanoseconds_a_millisecond, true, "mark"));
        CHECK(!writer.write(can(1, frame), 0, true));
    }
    auto reader = dump::Reader::from(dump::memory_source(dump));
    REQUIRE(reader);
    dump::Record record;
    Problem problem;
    REQUIRE(reader->next(record, problem) == dump::Step::record);
    CHECK(record.kind == dump::RecordKind::kline);
    CHECK(Data(record.bytes.begin(), record.bytes.end()) == frame);
    CHECK(record.time == 1'500 * nanoseconds_a_millisecond);
}

namespace {

/// What the far end gets of `count` frames sent through faults, by number, in the order it comes.
/// `expected`: so many are waited for patiently; 0: it is not known.
std::vector<std::uint32_t> through(const Faults& faults, std::uint32_t count, bool receiving,
                                   std::size_t expected = 0) {
    Loop loop;
    auto [first, second] =
        in_process_pair(loop.context.get_executor(), loop.context.get_executor());
    auto link = faulty(std::move(first), faults);
    loop.open(*link);
    loop.open(*second);
    Link& from = receiving ? *second : *link;
    Link& to = receiving ? *link : *second;
    for (std::uint32_t id = 0; id < count; ++id) {
        const Data number{static_cast<std::uint8_t>(id)};
        from.async_send(can(0x100, number), 1s, [](error_code error, Sent) { CHECK(!error); });
    }
    std::vector<std::uint32_t> got;
    for (;;) {
        const auto each = loop.receive(to, expected == 0           ? 300ms
                                           : got.size() < expected ? 5s
                                                                   : 40ms);
        if (each.error)
            return got;
        got.push_back(each.bytes[0]);
    }
}

} // namespace

TEST_CASE("faults: as often as asked, the same for the same seed") {
    for (const bool receiving : {false, true}) {
        CAPTURE(receiving);
        Faults faults;
        auto& rates = receiving ? faults.received : faults.sent;
        const auto clean = through(faults, 200, receiving, 200);
        REQUIRE(clean.size() == 200);
        for (std::uint32_t i = 0; i < 200; ++i)
            CHECK(clean[i] == i);

        rates.drop = 0.5;
        const auto dropped = through(faults, 200, receiving);
        CHECK(dropped.size() > 70);
        CHECK(dropped.size() < 130);
        CHECK(through(faults, 200, receiving) == dropped);
        faults.seed = 2;
        CHECK(through(faults, 200, receiving) != dropped);

        rates = {};
        rates.twice = 1;
        CHECK(through(faults, 50, receiving, 100).size() == 100);

        rates = {};
        rates.corrupt = 1;
        const auto corrupt = through(faults, 50, receiving, 50);
        REQUIRE(corrupt.size() == 50);
        for (std::uint32_t i = 0; i < 50; ++i)
            CHECK(__builtin_popcount(corrupt[i] ^ i) == 1);

        rates = {};
        rates.delay = 0.5;
        const auto late = through(faults, 50, receiving, 50);
        REQUIRE(late.size() == 50);
        for (std::uint32_t i = 0; i < 50; ++i)
            CHECK(late[i] == i);

        rates = {};
        rates.reorder = 0.3;
        auto mixed = through(faults, 100, receiving, 100);
        REQUIRE(mixed.size() == 100);
        CHECK(!std::is_sorted(mixed.begin(), mixed.end()));
        std::sort(mixed.begin(), mixed.end());
        CHECK(mixed == std::vector<std::uint32_t>(through({}, 100, receiving, 100)));
    }
}
