// SPDX-License-Identifier: Apache-2.0
// Uses every group of the library once; exit status 0 when the values are right.
#include <cstdio>
#include <vector>

#include <telltale/base/hex.hpp>
#include <telltale/catalogue/catalogue.hpp>
#include <telltale/dump/reader.hpp>
#include <telltale/dump/writer.hpp>
#include <telltale/message/stream.hpp>
#include <telltale/run/contrast.hpp>
#include <telltale/version.hpp>

#if TELLTALE_VERSION_MAJOR > 0 || TELLTALE_VERSION_MINOR < 1
#error "not the version that this project was written for"
#endif

namespace message = telltale::message;

namespace {

struct Speed : message::Listener {
    bool begin(const message::Said&) override { return true; }
    void value(const message::Said&, const message::Value& v) override { speed = v.number; }
    void dtc(const message::Said&, message::Dtc) override {}
    void message_problem(const message::Said&, const telltale::Problem&) override { ++problems; }
    void end(const message::Said&) override {}
    void problem(const telltale::Problem&, const message::Said&) override { ++problems; }
    double speed = 0;
    int problems = 0;
};

} // namespace

int main() {
    // 41 0C 1A F8 is 1726 1/min: a quarter of 1AF8 (ISO 15031-5, PID 0C).
    std::uint8_t data[8] = {};
    const auto count = telltale::from_hex("04410C1AF8AAAAAA", data);
    telltale::CanFrame frame;
    frame.id.value = 0x7E8;
    frame.data = data;
    std::vector<std::uint8_t> bytes;
    telltale::dump::PcapngWriter writer(telltale::dump::memory_sink(bytes));
    const auto line = writer.add_line("can0");
    if (!count || !line || !writer.write(*line, frame, 1'500'000'000) || !writer.flush())
        return 1;

    auto reader = telltale::dump::Reader::from(telltale::dump::memory_source(bytes));
    if (!reader) {
        std::fprintf(stderr, "%s\n", reader.error().detail.c_str());
        return 1;
    }
    message::Stream stream;
    Speed heard;
    telltale::dump::Record record;
    telltale::Problem problem;
    for (auto step = reader->next(record, problem); step != telltale::dump::Step::end;
         step = reader->next(record, problem))
        if (step == telltale::dump::Step::record)
            stream.can(record.line, record.can, record.time, record.place, heard);
    stream.finish(heard);
    const auto* row = telltale::catalogue::pid(0x0C);
    if (heard.speed != 1726 || heard.problems != 0 || row == nullptr || row->length != 2) {
        std::fprintf(stderr, "speed %f, %d problems\n", heard.speed, heard.problems);
        return 1;
    }
    const telltale::run::ContrastResult nothing = telltale::run::contrast_alone({});
    if (!nothing.suspects.empty()) {
        std::fprintf(stderr, "a drive without values departs\n");
        return 1;
    }
    return 0;
}
