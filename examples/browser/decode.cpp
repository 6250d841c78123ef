// SPDX-License-Identifier: Apache-2.0
// What the page calls: the bytes of a dump in, its report and its values as text out.
#include <emscripten/emscripten.h>

#include <string>
#include <vector>

#include "telltale.hpp"

using namespace telltale;

namespace {

constexpr std::size_t most_lines = 5000;

/// Lets the picture have everything, and keeps the first values as lines.
class Both final : public message::Listener {
  public:
    vehicle::Picture picture;
    std::string lines;
    std::size_t left_out = 0;

    bool begin(const message::Said& said) override {
        picture.begin(said);
        return true;
    }
    void value(const message::Said& said, const message::Value& value) override {
        picture.value(said, value);
        if (said.header.kind != message::Kind::response)
            return;
        if (count_ == most_lines) {
            ++left_out;
            return;
        }
        ++count_;
        append_seconds(lines, said.time);
        lines += ' ';
        if (said.has_id)
            append_can_id(lines, said.id);
        lines += ' ';
        append_printable(lines, value.name);
        lines += ": ";
        if (value.kind == message::ValueKind::text) {
            append_printable(lines, value.text);
        } else {
            append_number(lines, value.number, value.decimals);
            lines += ' ';
            lines += info(value.unit).text;
        }
        lines += '\n';
    }
    void dtc(const message::Said& said, message::Dtc code) override { picture.dtc(said, code); }
    void dtc3(const message::Said& said, const message::DtcRecord& record) override {
        picture.dtc3(said, record);
    }
    void message_problem(const message::Said& said, const Problem& problem) override {
        picture.message_problem(said, problem);
    }
    void end(const message::Said& said) override { picture.end(said); }
    void problem(const Problem& problem, const message::Said& about) override {
        picture.problem(problem, about);
    }

  private:
    std::size_t count_ = 0;
};

// The page is one user, one thread.
std::vector<std::uint8_t> dump_bytes;
std::string name, report, values;

} // namespace

extern "C" {

/// Room for a dump of `size` bytes and its name of `name_size`, which follows it.
EMSCRIPTEN_KEEPALIVE std::uint8_t* room(std::size_t size, std::size_t name_size) {
    dump_bytes.resize(size + name_size);
    return dump_bytes.data();
}

/// Decodes what was put there. 0: it is no dump, and the report says why.
EMSCRIPTEN_KEEPALIVE int decode(std::size_t size) {
    report.clear();
    values.clear();
    name.assign(dump_bytes.begin() + static_cast<std::ptrdiff_t>(size), dump_bytes.end());
    const auto wanted = CanFilter::diagnostic();
    dump::ReaderOptions options;
    options.filter = &wanted;
    auto reader = dump::Reader::from(dump::memory_source(Bytes(dump_bytes.data(), size)), options);
    if (!reader) {
        report = reader.error().detail;
        return 0;
    }
    message::Stream stream;
    Both both;
    dump::Record record;
    Problem problem;
    for (auto step = reader->next(record, problem); step != dump::Step::end;
         step = reader->next(record, problem)) {
        if (step == dump::Step::problem)
            both.picture.problem(problem, {});
        else
            run::feed(stream, record, both);
    }
    stream.finish(both);
    both.picture.finish();
    both.picture.name_lines([&](std::uint16_t line) { return reader->line_name(line); });
    vehicle::ReportOptions told;
    told.source = name;
    told.format = dump::name(reader->format());
    told.frames = reader->counts().frames;
    append_report_text(report, both.picture, told);
    values = both.lines;
    if (both.left_out != 0) {
        values += "... and ";
        append_integer(values, std::uint64_t{both.left_out});
        values += " more values\n";
    }
    return 1;
}

EMSCRIPTEN_KEEPALIVE const char* report_text() {
    return report.c_str();
}
EMSCRIPTEN_KEEPALIVE const char* value_lines() {
    return values.c_str();
}
}
