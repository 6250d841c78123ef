// SPDX-License-Identifier: Apache-2.0
// Text of the older lines, as a reader gives it and on to the messages.
#include <vector>

#include "dump_target.hpp"
#include "telltale/message/stream.hpp"

namespace {

using namespace telltale;

/// What comes out must have been heard: its bytes are bounded and a message is never empty.
struct Ear final : message::Listener {
    bool begin(const message::Said& said) override {
        FUZZ_REQUIRE(!said.bytes.empty());
        FUZZ_REQUIRE(said.bytes.size() <= 3 + 255 * 6);
        FUZZ_REQUIRE(said.frames >= 1);
        FUZZ_REQUIRE(!said.has_id || said.id.extended);
        return true;
    }
    void value(const message::Said&, const message::Value&) override {}
    void dtc(const message::Said&, message::Dtc) override {}
    void message_problem(const message::Said&, const Problem&) override {}
    void end(const message::Said&) override {}
    void problem(const Problem& problem, const message::Said&) override {
        FUZZ_REQUIRE(problem.code != ProblemCode::none);
    }
};

} // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size);
int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
    fuzz::dump_target(data, size, dump::Format::line_text);
    dump::ReaderOptions options;
    options.format = dump::Format::line_text;
    auto reader = dump::Reader::from(dump::memory_source({data, size}), options);
    if (!reader)
        return 0;
    message::Stream stream;
    Ear ear;
    dump::Record record;
    Problem problem;
    for (;;) {
        const auto step = reader->next(record, problem);
        if (step == dump::Step::end)
            break;
        if (step != dump::Step::record)
            continue;
        if (record.kind == dump::RecordKind::kline)
            stream.kline(record.line, record.bytes, record.time, record.place, ear);
        else
            stream.j1850(record.line, record.bytes, record.time, record.place, ear);
    }
    stream.finish(ear);
    return 0;
}
