// SPDX-License-Identifier: Apache-2.0
// The shortest use of the library: the bytes of one answer in, values out.
#include <cstdio>
#include <telltale/base/units.hpp>
#include <telltale/message/message.hpp>

struct Print : telltale::message::Sink {
    void value(const telltale::message::Value& v) override {
        std::printf("%.*s: %.*f %.*s\n", static_cast<int>(v.name.size()), v.name.data(), v.decimals,
                    v.number, static_cast<int>(info(v.unit).text.size()), info(v.unit).text.data());
    }
    void dtc(telltale::message::Dtc code) override { std::printf("%.5s\n", code.text().data()); }
    void problem(const telltale::Problem& p) override { std::puts(describe(p).c_str()); }
};

int main() {
    const std::uint8_t answer[] = {0x41, 0x0C, 0x1A, 0xF8, 0x05, 0x7B}; // to a request 01 0C 05
    telltale::message::Header header;
    if (read_header(answer, telltale::Role::ecu, header) != telltale::ProblemCode::none)
        return 1;
    Print print;
    decode(answer, header, nullptr, print);
}
