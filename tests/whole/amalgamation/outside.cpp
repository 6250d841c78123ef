// SPDX-License-Identifier: Apache-2.0
// An outside program over the two files: decodes the bytes of one answer, and reads a dump.
#include "telltale.hpp"

#include <cstdio>

struct Last : telltale::message::Sink {
    double number = 0;
    void value(const telltale::message::Value& value) override { number = value.number; }
    void dtc(telltale::message::Dtc) override {}
    void problem(const telltale::Problem& problem) override {
        std::puts(describe(problem).c_str());
    }
};

int main(int argc, char** argv) {
    const std::uint8_t answer[] = {0x41, 0x0C, 0x1A, 0xF8};
    telltale::message::Header header;
    if (read_header(answer, telltale::Role::ecu, header) != telltale::ProblemCode::none)
        return 1;
    Last last;
    decode(answer, header, nullptr, last);
    const auto reader = telltale::dump::Reader::open(argc == 2 ? argv[1] : "");
    if (!reader) // as it must be without a file: an error, and no exception
        std::puts(reader.error().detail.empty() ? "no reason" : "no dump");
    std::printf("%.0f\n", last.number); // 1AF8 / 4 (ISO 15031-5, PID 0C)
}
