// SPDX-License-Identifier: Apache-2.0
// Reads a dump of any known format and prints every engine speed in it: read_dump FILE
#include <cstdio>
#include <telltale/dump/reader.hpp>
#include <telltale/message/stream.hpp>
#include <telltale/run/feed.hpp>

namespace message = telltale::message;

namespace {

/// Told of every message; asks for the values of service 01 responses only.
class EngineSpeed : public message::Listener {
  public:
    bool begin(const message::Said& said) override {
        return said.header.kind == message::Kind::response && said.header.service == 0x01;
    }
    void value(const message::Said& said, const message::Value& value) override {
        if (value.id != 0x0C)
            return;
        line_.clear();
        telltale::append_seconds(line_, said.time);
        std::printf("%s %03X %.0f 1/min\n", line_.c_str(), said.id.value, value.number);
    }
    void dtc(const message::Said&, message::Dtc) override {}
    void end(const message::Said&) override {}
    // What is damaged is never guessed at: it is told here, with its place in the file.
    void message_problem(const message::Said&, const telltale::Problem& p) override { tell(p); }
    void problem(const telltale::Problem& p, const message::Said&) override { tell(p); }

    void tell(const telltale::Problem& p) {
        std::fprintf(stderr, "at byte %llu: %s\n", static_cast<unsigned long long>(p.place.offset),
                     describe(p).c_str());
    }

  private:
    std::string line_;
};

} // namespace

int main(int argc, char** argv) {
    if (argc != 2) {
        std::fputs("usage: read_dump FILE (- for standard input)\n", stderr);
        return 2;
    }
    const auto wanted = telltale::CanFilter::diagnostic();
    telltale::dump::ReaderOptions options;
    options.filter = &wanted;
    auto reader = telltale::dump::Reader::open(argv[1], options);
    if (!reader) {
        std::fprintf(stderr, "%s: %s\n", argv[1], reader.error().detail.c_str());
        return 2;
    }

    message::Stream stream;
    EngineSpeed listener;
    telltale::dump::Record record;
    telltale::Problem problem;
    for (;;) {
        switch (reader->next(record, problem)) {
        case telltale::dump::Step::end:
            stream.finish(listener);
            return 0;
        case telltale::dump::Step::problem:
            listener.tell(problem);
            break;
        case telltale::dump::Step::record:
            telltale::run::feed(stream, record, listener);
            break;
        }
    }
}
