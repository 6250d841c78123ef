// SPDX-License-Identifier: Apache-2.0
// Once it runs, the way from the bytes of a dump to values allocates nothing, whatever the format.
#include <doctest/doctest.h>

#include <algorithm>
#include <atomic>
#include <cstdint>
#include <cstdlib>
#include <memory>
#include <new>
#include <string>
#include <vector>

#include "bench/traffic.hpp"
#include "telltale/base/hex.hpp"
#include "telltale/dump/reader.hpp"
#include "telltale/dump/writer.hpp"
#include "telltale/isotp/endpoint.hpp"
#include "telltale/message/stream.hpp"

namespace {
std::atomic<std::uint64_t> allocations{0};

void* counted(std::size_t size) {
    ++allocations;
    if (void* memory = std::malloc(size == 0 ? 1 : size))
        return memory;
    throw std::bad_alloc();
}
} // namespace

void* operator new(std::size_t size) {
    return counted(size);
}
void* operator new[](std::size_t size) {
    return counted(size);
}
void* operator new(std::size_t size, const std::nothrow_t&) noexcept {
    ++allocations;
    return std::malloc(size == 0 ? 1 : size);
}
void* operator new[](std::size_t size, const std::nothrow_t&) noexcept {
    ++allocations;
    return std::malloc(size == 0 ? 1 : size);
}
void operator delete(void* memory) noexcept {
    std::free(memory);
}
void operator delete[](void* memory) noexcept {
    std::free(memory);
}
void operator delete(void* memory, std::size_t) noexcept {
    std::free(memory);
}
void operator delete[](void* memory, std::size_t) noexcept {
    std::free(memory);
}
void operator delete(void* memory, const std::nothrow_t&) noexcept {
    std::free(memory);
}
void operator delete[](void* memory, const std::nothrow_t&) noexcept {
    std::free(memory);
}

namespace {

using namespace telltale;
using Buffer = std::vector<std::uint8_t>;

constexpr std::size_t frames = 200'000;
/// By then every kind of message has been seen: a round of the traffic is 2000 frames.
constexpr std::size_t settled = 5'000;

class Count final : public message::Listener {
  public:
    bool begin(const message::Said&) override { return true; }
    void value(const message::Said&, const message::Value&) override { ++values; }
    void dtc(const message::Said&, message::Dtc) override { ++codes; }
    void message_problem(const message::Said&, const Problem&) override { ++problems; }
    void end(const message::Said&) override { ++messages; }
    void problem(const Problem&, const message::Said&) override { ++problems; }

    std::uint64_t values = 0;
    std::uint64_t codes = 0;
    std::uint64_t messages = 0;
    std::uint64_t problems = 0;
};

template <class Append> Buffer text_dump(Append append) {
    std::string text;
    bench::Traffic traffic;
    for (std::size_t i = 0; i < frames; ++i)
        append(text, traffic.next());
    return {text.begin(), text.end()};
}

Buffer pcap() {
    Buffer out;
    dump::PcapWriter writer(dump::memory_sink(out));
    bench::Traffic traffic;
    for (std::size_t i = 0; i < frames; ++i) {
        const auto& frame = traffic.next();
        REQUIRE(writer.write(frame.view(), frame.time).has_value());
    }
    REQUIRE(writer.flush().has_value());
    return out;
}

/// With a comment on every tenth packet, and directions.
Buffer pcapng() {
    Buffer out;
    dump::PcapngWriter writer(dump::memory_sink(out));
    REQUIRE(writer.add_line("can0").has_value());
    bench::Traffic traffic;
    for (std::size_t i = 0; i < frames; ++i) {
        const auto& frame = traffic.next();
        REQUIRE(writer
                    .write(0, frame.view(), frame.time, dump::Direction::received,
                           i % 10 == 0 ? "a remark" : "")
                    .has_value());
    }
    REQUIRE(writer.flush().has_value());
    return out;
}

Buffer log() {
    return text_dump(
        [](std::string& text, const bench::Frame& frame) { bench::append_log_line(text, frame); });
}

Buffer columns() {
    return text_dump([](std::string& text, const bench::Frame& frame) {
        text += " (";
        append_seconds(text, frame.time);
        text += ")  can0  ";
        append_hex(text, frame.id.value, 3);
        text += "   [" + std::to_string(frame.size) + "]  ";
        append_hex(text, Bytes(frame.data).first(frame.size), ' ');
        text += '\n';
    });
}

Buffer serial() {
    return text_dump([](std::string& text, const bench::Frame& frame) {
        text += 't';
        append_hex(text, frame.id.value, 3);
        text += std::to_string(frame.size);
        append_hex(text, Bytes(frame.data).first(frame.size));
        text += '\r';
    });
}

Buffer table() {
    std::string head = "time,id,data\n";
    Buffer rows = text_dump([](std::string& text, const bench::Frame& frame) {
        append_seconds(text, frame.time);
        text += ",0x";
        append_hex(text, frame.id.value, 3);
        text += ',';
        append_hex(text, Bytes(frame.data).first(frame.size), ' ');
        text += '\n';
    });
    rows.insert(rows.begin(), head.begin(), head.end());
    return rows;
}

Buffer hex_lines() {
    return text_dump([](std::string& text, const bench::Frame& frame) {
        append_hex(text, frame.id.value, 3);
        text += ' ';
        append_hex(text, Bytes(frame.data).first(frame.size), ' ');
        text += '\n';
    });
}

void no_allocation_a_frame(const Buffer& input, dump::Format format, bool filtered) {
    CAPTURE(dump::name(format));
    CAPTURE(filtered);
    const CanFilter filter = CanFilter::diagnostic();
    dump::ReaderOptions options;
    options.filter = filtered ? &filter : nullptr;
    auto reader = dump::Reader::from(dump::memory_source(input), options);
    REQUIRE(reader.has_value());
    REQUIRE(reader->format() == format);
    message::Stream stream;
    Count count;
    dump::Record record;
    Problem problem;
    std::uint64_t before = 0;
    bool counting = false;
    std::uint64_t problems = 0;
    for (;;) {
        const auto step = reader->next(record, problem);
        if (step == dump::Step::end)
            break;
        if (step == dump::Step::problem) {
            ++problems;
            continue;
        }
        if (record.kind == dump::RecordKind::can)
            stream.can(record.line, record.can, record.time, record.place, count);
        if (!counting && reader->counts().frames >= settled) {
            counting = true;
            before = allocations;
        }
    }
    const std::uint64_t during = allocations - before;
    CHECK(counting);
    CHECK(during == 0);
    CHECK(problems == 0);
    CHECK(count.problems == 0);
    CHECK(reader->counts().frames == frames);
    CHECK(count.messages > frames / 6);
    CHECK(count.values > frames / 12);
    CHECK(count.codes > 0);
}

} // namespace

TEST_CASE("the count of allocations counts") {
    const std::uint64_t before = allocations;
    const auto one = std::make_unique<int>(1);
    CHECK(*one == 1);
    CHECK(allocations == before + 1);
}

TEST_CASE("no allocation a frame: from the bytes of a dump to values") {
    for (const bool filtered : {true, false}) {
        no_allocation_a_frame(pcap(), dump::Format::pcap, filtered);
        no_allocation_a_frame(pcapng(), dump::Format::pcapng, filtered);
        no_allocation_a_frame(log(), dump::Format::can_log, filtered);
        no_allocation_a_frame(columns(), dump::Format::can_columns, filtered);
        no_allocation_a_frame(serial(), dump::Format::can_serial, filtered);
        no_allocation_a_frame(table(), dump::Format::csv, filtered);
        no_allocation_a_frame(hex_lines(), dump::Format::hex, filtered);
    }
}

namespace {

/// One side of a conversation; what it gives goes to the other side at once.
class Side final : public isotp::Outlet {
  public:
    Side(const isotp::Address& address, const isotp::Options& options)
        : endpoint(address, options) {}
    void frame(const CanFrame& frame, isotp::Ticket) override {
        ++frames_given;
        other->endpoint.feed(frame, *now, *other);
    }
    void message(const isotp::Message& message) override { bytes += message.bytes.size(); }

    isotp::Endpoint endpoint;
    Side* other = nullptr;
    const Time* now = nullptr;
    std::uint64_t frames_given = 0;
    std::uint64_t bytes = 0;
};

} // namespace

TEST_CASE("sending and receiving ISO-TP allocates nothing once the longest message has been") {
    isotp::Options options;
    options.block_size = 7;
    const isotp::Address address = isotp::tester_address({0x7E8, false});
    Side sides[] = {{address, options}, {address.reversed(), options}};
    Time now = 0;
    for (std::size_t i = 0; i < 2; ++i) {
        sides[i].other = &sides[1 - i];
        sides[i].now = &now;
    }
    const Buffer longest(4095, 0x55);
    std::uint64_t before = 0;
    std::uint64_t expected = 0;
    for (std::size_t n = 4095; n > 0; n -= n > 100 ? 47 : 1) {
        for (Side& side : sides)
            REQUIRE(side.endpoint.transmit(Bytes(longest).first(n), now).has_value());
        expected += n;
        for (;;) {
            for (Side& side : sides)
                while (side.endpoint.next_wakeup() <= now)
                    side.endpoint.poll(now, side);
            const Time next =
                std::min(sides[0].endpoint.next_wakeup(), sides[1].endpoint.next_wakeup());
            if (next == isotp::never)
                break;
            if (next > now)
                now = next;
        }
        if (n == 4095)
            before = allocations;
    }
    CHECK(allocations == before);
    CHECK(sides[0].bytes == expected);
    CHECK(sides[1].bytes == expected);
    MESSAGE((sides[0].frames_given + sides[1].frames_given), " frames");
}
