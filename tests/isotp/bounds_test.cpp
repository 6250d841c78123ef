// SPDX-License-Identifier: Apache-2.0
// The bounds hold whatever frames claim, and nothing is allocated once the buffers are there.
#include "support.hpp"

#include <array>
#include <atomic>
#include <cstdlib>
#include <new>

#include <doctest/doctest.h>

using namespace telltale;
using namespace telltale::isotp;
using namespace telltale::isotp::testing;

namespace {
std::atomic<std::size_t> allocations{0};
std::atomic<std::size_t> allocated{0};

void* count_and_get(std::size_t size) {
    ++allocations;
    allocated += size;
    return std::malloc(size != 0 ? size : 1);
}

/// Counts, and says nothing else.
struct Counter final : Sink {
    std::size_t messages = 0;
    std::array<std::size_t, 64> problems{};
    void message(const Message& m) override { messages += m.bytes.empty() ? 0 : 1; }
    void problem(const Problem& p, const Message&) override {
        ++problems[static_cast<std::size_t>(p.code)];
    }
    std::size_t of(ProblemCode code) const { return problems[static_cast<std::size_t>(code)]; }
};

CanFrame frame_of(CanId id, Bytes data) {
    CanFrame frame;
    frame.id = id;
    frame.data = data;
    return frame;
}
} // namespace

void* operator new(std::size_t size) {
    if (void* p = count_and_get(size))
        return p;
    throw std::bad_alloc{};
}
void* operator new[](std::size_t size) {
    return operator new(size);
}
void* operator new(std::size_t size, const std::nothrow_t&) noexcept {
    return count_and_get(size);
}
void* operator new[](std::size_t size, const std::nothrow_t&) noexcept {
    return count_and_get(size);
}
void operator delete(void* p) noexcept {
    std::free(p);
}
void operator delete[](void* p) noexcept {
    std::free(p);
}
void operator delete(void* p, std::size_t) noexcept {
    std::free(p);
}
void operator delete[](void* p, std::size_t) noexcept {
    std::free(p);
}
void operator delete(void* p, const std::nothrow_t&) noexcept {
    std::free(p);
}
void operator delete[](void* p, const std::nothrow_t&) noexcept {
    std::free(p);
}

TEST_CASE("4 GiB claimed from each of 100,000 identifiers costs nothing") {
    Reassembler reassembler;
    Counter counter;
    const auto claim = bytes_of("10 00 FF FF FF FF 00 00");
    const std::size_t before = allocations;
    for (std::uint32_t i = 0; i < 100'000; ++i)
        reassembler.feed(0, frame_of({0x100 + i, true}, claim), no_time, {}, counter);
    CHECK(allocations == before);
    CHECK(reassembler.open() == 0);
    CHECK(reassembler.bytes() == 0);
    CHECK(counter.of(ProblemCode::message_over_bound) == 100'000);
    CHECK(counter.messages == 0);
}

TEST_CASE("the largest allowed claim from each of 100,000 identifiers stays within the bound") {
    for (const char* hex : {"10 00 00 01 00 00 00 00", "1F FF 00 00 00 00 00 00"}) {
        ReassemblerOptions options;
        Reassembler reassembler{options};
        Counter counter;
        const auto claim = bytes_of(hex);
        std::size_t most_open = 0;
        std::size_t most_bytes = 0;
        for (std::uint32_t i = 0; i < 100'000; ++i) {
            reassembler.feed(0, frame_of({0x100 + i, true}, claim), no_time, {}, counter);
            most_open = std::max(most_open, reassembler.open());
            most_bytes = std::max(most_bytes, reassembler.bytes());
        }
        CHECK(most_open <= options.max_open);
        CHECK(most_bytes <= options.max_bytes);
        CHECK(counter.of(ProblemCode::too_many_open) == 100'000 - reassembler.open());
        reassembler.finish(counter);
        CHECK(reassembler.open() == 0);
        // and an honest message is still heard
        for (const auto& frame : cut(ramp(100)))
            reassembler.feed(0, frame_of(ecu, frame), no_time, {}, counter);
        CHECK(counter.messages == 1);
    }
}

TEST_CASE("the message that waited longest is the one given up") {
    ReassemblerOptions options;
    options.max_open = 3;
    Bench bench{options};
    for (unsigned i = 0; i < 3; ++i)
        bench.feed(CanId{0x7E8 + i, false}, "10 14 01 02 03 04 05 06");
    bench.feed(CanId{0x7E8, false}, "21 07 08 09 0A 0B 0C 0D"); // 7E9 has waited longest now
    bench.feed(CanId{0x7EB, false}, "10 08 01 02 03 04 05 06");
    REQUIRE(bench.words() == "too-many-open");
    CHECK(bench.heard.problems[0].about.id == CanId{0x7E9, false});
    CHECK(bench.heard.problems[0].problem.a == 6);
    CHECK(bench.heard.problems[0].problem.b == 20);
    CHECK(bench.reassembler.open() == 3);
    bench.feed(CanId{0x7E8, false}, "22 0E 0F 10 11 12 13 14");
    bench.feed(CanId{0x7EB, false}, "21 07 08");
    CHECK(bench.said() == "0102030405060708090A0B0C0D0E0F1011121314 0102030405060708");
    // single frames need no room
    bench.feed(CanId{0x7EC, false}, "01 3E");
    CHECK(bench.heard.messages.size() == 3);
}

TEST_CASE("the bound on bytes gives up messages, and is a bound on one as well") {
    ReassemblerOptions options;
    options.max_bytes = 10'000;
    Bench bench{options};
    bench.feed(CanId{0x7E8, false}, "1F FF 01 02 03 04 05 06");
    bench.feed(CanId{0x7E9, false}, "1F FF 01 02 03 04 05 06");
    CHECK(bench.words().empty());
    CHECK(bench.reassembler.bytes() <= 10'000);
    bench.feed(CanId{0x7EA, false}, "1F FF 01 02 03 04 05 06");
    CHECK(bench.words() == "too-many-open");
    CHECK(bench.heard.problems[0].about.id == CanId{0x7E8, false});
    CHECK(bench.reassembler.bytes() <= 10'000);
    bench.feed(CanId{0x7E8, false}, "21 01 02 03 04 05 06 07"); // in silence
    CHECK(bench.words() == "too-many-open");
    bench.feed(CanId{0x7EB, false}, "10 00 00 00 27 11 05 06"); // 10,001
    CHECK(bench.words() == "too-many-open message-over-bound");
    bench.feed(CanId{0x7EB, false}, "10 00 00 00 27 10 05 06"); // 10,000: all there is
    CHECK(bench.reassembler.open() == 1);
    CHECK(bench.reassembler.bytes() == 10'000);
}

TEST_CASE("options at their ends") {
    ReassemblerOptions options;
    options.max_open = 0; // counts as 1
    options.max_bytes = 0;
    options.max_message = 0;
    Bench bench{options};
    bench.feed("10 08 01 02 03 04 05 06");
    bench.feed("01 3E");
    CHECK(bench.words() == "message-over-bound");
    CHECK(bench.said() == "3E");
    options.max_bytes = 8;
    options.max_message = 8;
    Bench tight{options};
    tight.feed("10 08 01 02 03 04 05 06");
    tight.feed("21 07 08");
    CHECK(tight.said() == "0102030405060708");
    CHECK(tight.reassembler.bytes() == 8);
}

TEST_CASE("no allocation a frame once every sender was heard") {
    Reassembler reassembler;
    Counter counter;
    std::vector<std::vector<std::vector<std::uint8_t>>> messages;
    for (const std::size_t n : {5U, 20U, 64U, 300U, 4095U, 9000U})
        messages.push_back(cut(ramp(n)));
    const auto round = [&](std::size_t shift) {
        for (std::uint32_t e = 0; e < 8; ++e)
            for (const auto& frame : messages[(e + shift) % messages.size()])
                reassembler.feed(0, frame_of({0x7E8 + e, false}, frame), no_time, {}, counter);
    };
    for (std::size_t i = 0; i < messages.size(); ++i)
        round(i);
    const std::size_t before = allocations;
    for (std::size_t i = 0; i < 100; ++i)
        round(i);
    CHECK(allocations == before);
    CHECK(counter.messages == 8 * (100 + messages.size()));
}
