// SPDX-License-Identifier: Apache-2.0
// all_of_it DUMP...: prints everything that the dumps say, value by value to the last digit, and
// what two drives differ in, so that machines of different kinds can be held against each other.
#include <cstdio>
#include <string>
#include <vector>

#include "telltale.hpp"

using namespace telltale;

namespace {

/// Prints what is said, and lets the picture have it.
class Printer final : public message::Listener {
  public:
    vehicle::Picture picture;

    bool begin(const message::Said& said) override {
        append_seconds(text_, said.time);
        text_ += ' ';
        append_id(text_, static_cast<std::uint16_t>(said.id.value));
        text_ += ' ';
        append_hex(text_, said.bytes);
        put();
        picture.begin(said);
        return true;
    }
    void value(const message::Said& said, const message::Value& value) override {
        text_ += value.name;
        text_ += ' ';
        append_exact(text_, value.number);
        text_ += ' ';
        append_number(text_, value.number, value.decimals);
        text_ += info(value.unit).text;
        text_ += ' ';
        append_plain(text_, value.text);
        put();
        picture.value(said, value);
    }
    void dtc(const message::Said& said, message::Dtc code) override {
        text_.append(code.text().data(), 5);
        put();
        picture.dtc(said, code);
    }
    void dtc3(const message::Said& said, const message::DtcRecord& record) override {
        picture.dtc3(said, record);
    }
    void message_problem(const message::Said& said, const Problem& problem) override {
        tell(problem);
        picture.message_problem(said, problem);
    }
    void end(const message::Said& said) override { picture.end(said); }
    void problem(const Problem& problem, const message::Said& about) override {
        tell(problem);
        picture.problem(problem, about);
    }
    void tell(const Problem& problem) {
        text_ += describe(problem);
        put();
    }

  private:
    void put() {
        std::puts(text_.c_str());
        text_.clear();
    }
    std::string text_;
};

bool print(const char* path) {
    auto reader = dump::Reader::open(path);
    if (!reader) {
        std::fprintf(stderr, "%s: %s\n", path, reader.error().detail.c_str());
        return false;
    }
    message::Stream stream;
    Printer printer;
    dump::Record record;
    Problem problem;
    for (auto step = reader->next(record, problem); step != dump::Step::end;
         step = reader->next(record, problem)) {
        if (step == dump::Step::problem)
            printer.tell(problem);
        else
            run::feed(stream, record, printer);
    }
    stream.finish(printer);
    printer.picture.finish();
    printer.picture.name_lines([&](std::uint16_t line) { return reader->line_name(line); });
    std::string report;
    append_report_text(report, printer.picture);
    append_report_json(report, printer.picture);
    std::fputs(report.c_str(), stdout);
    return true;
}

/// Which signals left their course. Last digits may differ where a machine fuses multiply and add.
bool contrast(const char* good_path, const char* bad_path) {
    const auto good = run::load(good_path);
    const auto bad = run::load(bad_path);
    if (!good || !bad)
        return false;
    const run::Run* const drives[] = {&*bad};
    for (const auto& suspect : run::contrast(*good, drives).suspects)
        std::printf("suspect: %s, %s\n", good->series[suspect.signal].name.c_str(),
                    std::string(word(suspect.kind)).c_str());
    return true;
}

} // namespace

int main(int argc, char** argv) {
    bool fine = argc > 1;
    for (int i = 1; i < argc; ++i)
        fine = print(argv[i]) && fine;
    return fine && (argc != 3 || contrast(argv[1], argv[2])) ? 0 : 1;
}
