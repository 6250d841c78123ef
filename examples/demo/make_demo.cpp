// SPDX-License-Identifier: Apache-2.0
// Writes the two dumps of the demonstration, the same bytes each time: make-demo FOLDER
#include <cstdio>
#include <string>
#include <telltale/dump/writer.hpp>

#include "scenario.hpp"

namespace {

/// One dump. Every frame goes to it as the logger saw it.
telltale::Result<void> write_dump(const std::string& path, std::string_view remark,
                                  std::int64_t start,
                                  void (*record)(const std::function<void(const demo::Frame&)>&)) {
    auto sink = telltale::dump::open_sink(path);
    if (!sink)
        return tl::unexpected(sink.error());
    telltale::dump::PcapngWriter writer(std::move(*sink), remark);
    const auto line = writer.add_line("can0");
    if (!line)
        return tl::unexpected(line.error());
    telltale::Result<void> written;
    record([&](const demo::Frame& frame) {
        telltale::CanFrame can;
        can.id.value = frame.id;
        can.data = frame.data;
        const telltale::Time time = start * telltale::nanoseconds_a_second + frame.time;
        if (written)
            written =
                writer.write(*line, can, time, telltale::dump::Direction::unknown, frame.comment);
    });
    if (!written)
        return written;
    return writer.flush();
}

} // namespace

int main(int argc, char** argv) {
    if (argc != 2) {
        std::fputs("usage: make-demo FOLDER\n", stderr);
        return 2;
    }
    const std::string folder = argv[1];
    const auto done =
        write_dump(folder + "/good.pcapng", "Invented van and drive: nothing to complain of.",
                   demo::good_start, demo::record_good)
            .and_then([&] {
                return write_dump(folder + "/bad.pcapng",
                                  "Invented van and drive: the same road, the complaint shows.",
                                  demo::bad_start, demo::record_bad);
            });
    if (!done) {
        std::fprintf(stderr, "make-demo: %s\n", done.error().detail.c_str());
        return 2;
    }
    return 0;
}
