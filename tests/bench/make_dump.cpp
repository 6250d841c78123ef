// SPDX-License-Identifier: Apache-2.0
// usage: bench-make-dump pcap|pcapng|log FRAMES [FILE]
// Writes a dump of so many frames of invented traffic (traffic.hpp), to standard output if no file
// is named: the same bytes each time. Says on standard error how many engine speeds are in it.
#include <cstdio>
#include <cstdlib>
#include <string>
#include <string_view>

#include "telltale/dump/writer.hpp"
#include "traffic.hpp"

namespace {

using namespace telltale;

int failed(const Error& error) {
    std::fprintf(stderr, "bench-make-dump: %s\n", error.detail.c_str());
    return 2;
}

/// Calls `write(frame)` for each frame; the first error, or nothing.
template <class Write>
Result<void> each(bench::Traffic& traffic, std::uint64_t frames, Write write) {
    for (std::uint64_t i = 0; i < frames; ++i)
        if (auto written = write(traffic.next()); !written)
            return written;
    return {};
}

} // namespace

int main(int argc, char** argv) {
    const std::string_view form = argc > 2 ? argv[1] : "";
    const std::uint64_t frames = argc > 2 ? std::strtoull(argv[2], nullptr, 10) : 0;
    if (argc > 4 || frames == 0 || (form != "pcap" && form != "pcapng" && form != "log")) {
        std::fputs("usage: bench-make-dump pcap|pcapng|log FRAMES [FILE]\n", stderr);
        return 2;
    }
    auto sink = dump::open_sink(argc == 4 ? argv[3] : "-");
    if (!sink)
        return failed(sink.error());

    bench::Traffic traffic;
    Result<void> done;
    if (form == "pcap") {
        dump::PcapWriter writer(std::move(*sink));
        done = each(traffic, frames, [&](const bench::Frame& frame) {
            return writer.write(frame.view(), frame.time);
        });
        if (done)
            done = writer.flush();
    } else if (form == "pcapng") {
        dump::PcapngWriter writer(std::move(*sink));
        auto line = writer.add_line("can0");
        if (!line)
            return failed(line.error());
        done = each(traffic, frames, [&](const bench::Frame& frame) {
            return writer.write(*line, frame.view(), frame.time);
        });
        if (done)
            done = writer.flush();
    } else {
        constexpr std::size_t large = 64U << 10;
        std::string text;
        const auto flush = [&]() -> Result<void> {
            auto written =
                (*sink)->write({reinterpret_cast<const std::uint8_t*>(text.data()), text.size()});
            text.clear();
            return written;
        };
        done = each(traffic, frames, [&](const bench::Frame& frame) -> Result<void> {
            bench::append_log_line(text, frame);
            return text.size() < large ? Result<void>{} : flush();
        });
        if (done)
            done = flush();
    }
    if (!done)
        return failed(done.error());
    std::fprintf(stderr, "%llu engine speeds\n",
                 static_cast<unsigned long long>(traffic.engine_speeds()));
    return 0;
}
