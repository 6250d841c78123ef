// SPDX-License-Identifier: Apache-2.0
// The whole path, from the bytes of a dump to everything that is made of them.
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <cstdlib>
#include <string>

#include "telltale/base/hex.hpp"
#include "telltale/base/number.hpp"
#include "telltale/base/text.hpp"
#include "telltale/dump/reader.hpp"
#include "telltale/message/stream.hpp"
#include "telltale/run/feed.hpp"
#include "telltale/vehicle/picture.hpp"
#include "telltale/vehicle/report.hpp"

namespace {

using namespace telltale;

void check(bool good) {
    if (!good)
        std::abort();
}

/// Takes in everything, holds it to what the headers promise, and hands it on to the picture.
class Ear final : public message::Listener {
  public:
    Ear(const message::Stream& stream, vehicle::Picture& picture)
        : stream_(stream), picture_(picture) {}

    bool begin(const message::Said& said) override {
        check(!inside_);
        inside_ = true;
        said_of(said);
        if (said.header.kind != message::Kind::request)
            check(said.ecu < stream_.ecus());
        wanted_ = picture_.begin(said) && ++count_ % 16 != 0; // some messages are declined
        return wanted_;
    }
    void value(const message::Said& said, const message::Value& value) override {
        check(inside_ && wanted_);
        check(!value.name.empty());
        check(std::isfinite(value.number) && std::isfinite(value.low) && std::isfinite(value.high));
        check(value.decimals <= 9);
        check(said.header.kind != message::Kind::negative);
        text_.clear();
        append_number(text_, value.number, value.decimals);
        append_json(text_, value.text);
        append_csv(text_, value.text);
        append_plain(text_, value.text);
        append_html(text_, value.text);
        append_plain(text_, value.name);
        append_plain(text_, value.key);
        append_plain(text_, value.note);
        append_plain(text_, info(value.unit).ucum);
        for (const char c : text_) // nothing that a terminal or a page would obey
            check(static_cast<unsigned char>(c) >= 0x20);
        picture_.value(said, value);
    }
    void dtc(const message::Said& said, message::Dtc code) override {
        check(inside_);
        check(message::parse_dtc({code.text().data(), 5}) == code);
        check(!message::group(code).empty());
        picture_.dtc(said, code);
    }
    void message_problem(const message::Said& said, const Problem& problem) override {
        check(inside_);
        check(problem.place == said.place && problem.time == said.time);
        told(problem);
        picture_.message_problem(said, problem);
    }
    void end(const message::Said& said) override {
        check(inside_);
        inside_ = false;
        picture_.end(said);
    }
    void problem(const Problem& problem, const message::Said& about) override {
        check(!inside_);
        told(problem);
        said_of(about);
        picture_.problem(problem, about);
    }

    void told(const Problem& problem) {
        check(problem.code != ProblemCode::none);
        check(!word(problem.code).empty());
        check(!describe(problem).empty());
    }

  private:
    void said_of(const message::Said& said) {
        text_.clear();
        append_hex(text_, said.bytes);
        append_seconds(text_, said.time);
        check(text_.size() >= 2 * said.bytes.size());
        check(said.frames >= 1);
    }

    const message::Stream& stream_;
    vehicle::Picture& picture_;
    std::string text_;
    bool inside_ = false;
    bool wanted_ = false;
    std::size_t count_ = 0;
};

/// A report says nothing that a terminal would obey, and no more than it must.
void check_report(const std::string& report, bool text) {
    check(!report.empty() && report.back() == '\n');
    std::size_t column = 0;
    for (std::size_t i = 0; i < report.size(); ++i) {
        const auto c = static_cast<unsigned char>(report[i]);
        column = c == '\n' ? 0 : column + 1;
        check(c == '\n' ? text || i + 1 == report.size() : c >= 0x20 && c != 0x7F);
        check(!text || column <= 320); // 80 characters of up to four bytes
    }
}

} // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
    auto reader = dump::Reader::from(dump::memory_source({data, size}));
    if (!reader)
        return 0;
    message::StreamOptions small; // bounds that an input of this size can reach
    small.isotp.max_open = 32;
    small.isotp.max_bytes = 100'000;
    small.max_ecus = 16;
    message::Stream stream{small};
    vehicle::Picture picture;
    Ear ear{stream, picture};
    dump::Record record;
    Problem problem;
    std::string text;
    for (;;) {
        const dump::Step step = reader->next(record, problem);
        if (step == dump::Step::end)
            break;
        if (step == dump::Step::problem) {
            ear.told(problem);
            continue;
        }
        check(record.place.offset <= size);
        text.clear();
        append_plain(text, record.comment);
        append_plain(text, reader->line_name(record.line));
        run::feed(stream, record, ear);
    }
    stream.finish(ear);
    check(reader->counts().bytes <= size);

    picture.finish();
    picture.name_lines([&](std::uint16_t line) { return reader->line_name(line); });
    vehicle::ReportOptions options;
    options.source = "dump\x1b[2J";
    options.format = dump::name(reader->format());
    options.frames = reader->counts().frames;
    for (const UnitSystem units : {UnitSystem::si, UnitSystem::us}) {
        options.units = units;
        text.clear();
        vehicle::append_report_text(text, picture, options);
        check_report(text, true);
        text.clear();
        vehicle::append_report_json(text, picture, options);
        check_report(text, false);
    }
    return 0;
}
