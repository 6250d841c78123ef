// SPDX-License-Identifier: Apache-2.0
// The K-line over a pseudo terminal, in real time: it has no break, but everything else.
#include "support.hpp"

using namespace test;

namespace {

std::string with_sum(std::string frame) {
    unsigned sum = 0;
    for (const char c : frame)
        sum += static_cast<unsigned char>(c);
    return frame + static_cast<char>(sum);
}

/// An ECU on a line that gives back what it hears.
struct Ecu {
    std::string heard;
    std::string operator()(const std::string& bytes) {
        std::string out = bytes; // the echo
        heard += bytes;
        if (heard.ends_with("\xC1\x33\xF1\x81\x66"))
            out += with_sum("\x83\xF1\x10\xC1\xE9\x8F");
        else if (heard.ends_with("\xC2\x33\xF1\x01\x0C\xF3"))
            out += with_sum("\x84\xF1\x10\x41\x0C\x1A\xF8");
        return out;
    }
};

} // namespace

TEST_CASE("a K-line is woken fast, and asked") {
    Ecu ecu;
    Device device(std::ref(ecu));
    Loop loop;
    auto link = make_link(loop.context.get_executor(), "kline:" + device.path() + "@fast");
    REQUIRE(link);
    const auto opened = loop.open(**link);
    REQUIRE_MESSAGE(!opened.error, (*link)->trouble());
    CHECK(opened.up.key_byte_1 == 0xE9);
    CHECK(opened.up.key_byte_2 == 0x8F);
    CHECK(opened.up.kline_form == KlineForm::functional);
    const Data request{0xC2, 0x33, 0xF1, 0x01, 0x0C, 0xF3};
    REQUIRE(!loop.send(**link, KlineBytes{request}));
    const auto got = loop.receive(**link);
    REQUIRE(!got.error);
    CHECK(got.bytes.size() == 8);
    CHECK(got.bytes[4] == 0x0C);
    CHECK(!got.received.own);
    // Half a frame, or a wrong sum, is none to send.
    CHECK(loop.send(**link, KlineBytes{Bytes(request).first(5)}) == LinkError::bad_traffic);
}

TEST_CASE("a K-line on which nobody answers") {
    Device device([](const std::string& bytes) { return bytes; });
    Loop loop;
    auto link = make_link(loop.context.get_executor(), "kline:" + device.path() + "@fast");
    CHECK(loop.open(**link).error == LinkError::no_answer);
    CHECK((*link)->trouble().find("fast") != std::string::npos);
    CHECK(loop.open(**link, {}, 50ms).error == LinkError::timed_out);
}
