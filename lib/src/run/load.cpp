// SPDX-License-Identifier: Apache-2.0
#include "telltale/run/load.hpp"

#include <utility>

#include "telltale/message/stream.hpp"
#include "telltale/run/feed.hpp"

namespace telltale::run {

Result<Run> load(const std::string& path, const RunOptions& options,
                 const message::StreamOptions& stream) {
    dump::ReaderOptions reader_options;
    reader_options.filter = &stream.filter;
    auto opened = dump::Reader::open(path, reader_options);
    if (!opened)
        return tl::unexpected<Error>(std::move(opened.error()));
    return load(*opened, path, options, stream);
}

Run load(dump::Reader& reader, std::string name, const RunOptions& options,
         const message::StreamOptions& how) {
    message::Stream stream(how);
    RunBuilder builder(options);
    dump::Record record;
    Problem problem;
    std::uint64_t damaged = 0;
    for (;;) {
        const dump::Step step = reader.next(record, problem);
        if (step == dump::Step::end)
            break;
        if (step == dump::Step::problem) {
            ++damaged;
            continue;
        }
        if (!record.comment.empty())
            builder.mark(record.time, record.comment);
        feed(stream, record, builder);
    }
    stream.finish(builder);
    Run run = builder.finish([&](std::uint16_t line) { return reader.line_name(line); });
    run.name = std::move(name);
    run.problems += damaged;
    return run;
}

} // namespace telltale::run
