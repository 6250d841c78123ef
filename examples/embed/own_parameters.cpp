// SPDX-License-Identifier: Apache-2.0
// A parameter of one's own, described in a text, and decoded like the standard's. It is invented.
#include <cstdio>
#include <telltale/catalogue/extension.hpp>
#include <telltale/message/message.hpp>

namespace message = telltale::message;

struct Print : message::Sink {
    void value(const message::Value& v) override {
        std::printf("%.*s: %.*f %.*s\n", static_cast<int>(v.name.size()), v.name.data(), v.decimals,
                    v.number, static_cast<int>(info(v.unit).text.size()), info(v.unit).text.data());
    }
    void dtc(message::Dtc) override {}
    void problem(const telltale::Problem& p) override { std::puts(describe(p).c_str()); }
};

int main() {
    const auto own = telltale::catalogue::read_extension(
        "table,id,length,row,field,short,bytes,kind,scaling,unit\n"
        "data-id,1101,2,,Oil pressure before the filter,OPBF,A-B,number,raw / 10,kPa\n");
    if (!own) {
        std::puts(own.error().detail.c_str()); // each fault with its line
        return 1;
    }
    const std::uint8_t answer[] = {0x62, 0x11, 0x01, 0x0D, 0x48}; // to a request 22 1101
    message::Header header;
    message::DecodeOptions options;
    options.extension = &*own; // must outlive its use
    if (read_header(answer, telltale::Role::ecu, header, &*own) != telltale::ProblemCode::none)
        return 1;
    Print print;
    decode(answer, header, nullptr, print, options);
}
