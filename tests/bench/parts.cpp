// SPDX-License-Identifier: Apache-2.0
// How long the parts take, a frame or a message: each benchmark runs over a dump in memory.
#include <benchmark/benchmark.h>

#include <array>
#include <string>
#include <vector>

#include "telltale/base/hex.hpp"
#include "telltale/dump/reader.hpp"
#include "telltale/dump/writer.hpp"
#include "telltale/message/stream.hpp"
#include "traffic.hpp"

namespace {

using namespace telltale;
using Buffer = std::vector<std::uint8_t>;

constexpr std::size_t frames = 100'000;

Buffer make_pcap() {
    Buffer out;
    dump::PcapWriter writer(dump::memory_sink(out));
    bench::Traffic traffic;
    for (std::size_t i = 0; i < frames; ++i) {
        const auto& frame = traffic.next();
        (void)writer.write(frame.view(), frame.time);
    }
    (void)writer.flush();
    return out;
}

Buffer make_pcapng() {
    Buffer out;
    dump::PcapngWriter writer(dump::memory_sink(out));
    (void)writer.add_line("can0");
    bench::Traffic traffic;
    for (std::size_t i = 0; i < frames; ++i) {
        const auto& frame = traffic.next();
        (void)writer.write(0, frame.view(), frame.time);
    }
    (void)writer.flush();
    return out;
}

Buffer make_log() {
    std::string text;
    bench::Traffic traffic;
    for (std::size_t i = 0; i < frames; ++i)
        bench::append_log_line(text, traffic.next());
    return {text.begin(), text.end()};
}

const Buffer& content(dump::Format format) {
    static const Buffer pcap = make_pcap();
    static const Buffer pcapng = make_pcapng();
    static const Buffer log = make_log();
    return format == dump::Format::pcap ? pcap : format == dump::Format::pcapng ? pcapng : log;
}

/// Takes everything in, as a program would that wants all values.
class Everything final : public message::Listener {
  public:
    bool begin(const message::Said&) override { return true; }
    void value(const message::Said&, const message::Value& value) override {
        sum += value.number;
        ++values;
    }
    void dtc(const message::Said&, message::Dtc) override { ++values; }
    void message_problem(const message::Said&, const Problem&) override { ++problems; }
    void end(const message::Said&) override {}
    void problem(const Problem&, const message::Said&) override { ++problems; }

    double sum = 0;
    std::uint64_t values = 0;
    std::uint64_t problems = 0;
};

void per_frame(benchmark::State& state, const Buffer& input) {
    state.SetItemsProcessed(state.iterations() * static_cast<std::int64_t>(frames));
    state.SetBytesProcessed(state.iterations() * static_cast<std::int64_t>(input.size()));
}

/// Every frame of a dump, or the diagnostic ones alone.
void read_dump(benchmark::State& state, dump::Format format, bool filtered) {
    const Buffer& input = content(format);
    const CanFilter filter = CanFilter::diagnostic();
    dump::ReaderOptions options;
    options.filter = filtered ? &filter : nullptr;
    for (auto _ : state) {
        auto reader = dump::Reader::from(dump::memory_source(input), options);
        dump::Record record;
        Problem problem;
        std::uint64_t sum = 0;
        while (reader->next(record, problem) == dump::Step::record)
            sum += record.can.id.value + record.can.data.size();
        benchmark::DoNotOptimize(sum);
    }
    per_frame(state, input);
}

/// From the bytes of a dump to every value.
void decode_dump(benchmark::State& state, dump::Format format) {
    const Buffer& input = content(format);
    const CanFilter filter = CanFilter::diagnostic();
    dump::ReaderOptions options;
    options.filter = &filter;
    for (auto _ : state) {
        auto reader = dump::Reader::from(dump::memory_source(input), options);
        message::Stream stream;
        Everything everything;
        dump::Record record;
        Problem problem;
        while (reader->next(record, problem) == dump::Step::record)
            stream.can(record.line, record.can, record.time, record.place, everything);
        stream.finish(everything);
        if (everything.problems != 0 || everything.values == 0)
            state.SkipWithError("the dump was not read as it should");
        benchmark::DoNotOptimize(everything.sum);
    }
    per_frame(state, input);
}

/// One whole message, decoded: items are messages.
void decode_message(benchmark::State& state, const char* hex) {
    class Count final : public message::Sink {
      public:
        void value(const message::Value& value) override { sum += value.number; }
        void dtc(message::Dtc) override { ++sum; }
        void problem(const Problem&) override { ++problems; }
        double sum = 0;
        int problems = 0;
    };
    std::array<std::uint8_t, 64> bytes{};
    const auto size = from_hex(hex, bytes);
    const Bytes message = Bytes(bytes).first(size.value_or(0));
    message::Header header;
    if (message::read_header(message, Role::ecu, header) != ProblemCode::none)
        state.SkipWithError("no message");
    message::EcuContext context;
    Count count;
    for (auto _ : state)
        message::decode(message, header, &context, count);
    benchmark::DoNotOptimize(count.sum);
    state.SetItemsProcessed(state.iterations());
}

BENCHMARK_CAPTURE(read_dump, pcap_all, dump::Format::pcap, false);
BENCHMARK_CAPTURE(read_dump, pcap_diagnostic, dump::Format::pcap, true);
BENCHMARK_CAPTURE(read_dump, pcapng_all, dump::Format::pcapng, false);
BENCHMARK_CAPTURE(read_dump, pcapng_diagnostic, dump::Format::pcapng, true);
BENCHMARK_CAPTURE(read_dump, can_log_all, dump::Format::can_log, false);
BENCHMARK_CAPTURE(read_dump, can_log_diagnostic, dump::Format::can_log, true);
BENCHMARK_CAPTURE(decode_dump, pcap, dump::Format::pcap);
BENCHMARK_CAPTURE(decode_dump, pcapng, dump::Format::pcapng);
BENCHMARK_CAPTURE(decode_dump, can_log, dump::Format::can_log);
BENCHMARK_CAPTURE(decode_message, engine_speed, "410C1AF8");
BENCHMARK_CAPTURE(decode_message, monitor_status, "410100076500");
BENCHMARK_CAPTURE(decode_message, vehicle_identification,
                  "49020130545456414E3254394E58303030343137");
BENCHMARK_CAPTURE(decode_message, stored_codes, "4304014301960234C100");

} // namespace
