// SPDX-License-Identifier: Apache-2.0
#include <string>
#include <vector>

#include <doctest/doctest.h>

#include "telltale/link/serial_can.hpp"

using namespace telltale;
using namespace telltale::link;

namespace {

using Kind = SerialCanEvent::Kind;

struct Told {
    Kind kind;
    CanFrame frame;
    std::vector<std::uint8_t> data;
    bool timed;
    std::uint32_t milliseconds;
};

std::vector<Told> parse(const std::string& text, std::size_t piece = 1000) {
    SerialCanParser parser;
    std::vector<Told> told;
    for (std::size_t at = 0; at < text.size(); at += piece) {
        const auto part = std::string_view(text).substr(at, piece);
        Bytes bytes(reinterpret_cast<const std::uint8_t*>(part.data()), part.size());
        SerialCanEvent event;
        while (parser.next(bytes, event))
            told.push_back({event.kind,
                            event.frame,
                            {event.frame.data.begin(), event.frame.data.end()},
                            event.timed,
                            event.milliseconds});
    }
    return told;
}

} // namespace

TEST_CASE("frames, acknowledgements, refusals and rubbish, in pieces of any size") {
    const std::string text =
        "t7E8803410C1AF8000000\rz\r\r\aT18DAF11021234ABCD\rZ\rr1230\rV1013\rF04\r"
        "hello\rt9998\rd1239" +
        std::string(24, 'A') + "\r" + std::string(500, 't') + "\rt1230\r";
    for (const std::size_t piece : {1U, 2U, 3U, 7U, 1000U}) {
        const auto told = parse(text, piece);
        std::vector<Kind> kinds;
        for (const auto& each : told)
            kinds.push_back(each.kind);
        REQUIRE(kinds == std::vector<Kind>{Kind::frame, Kind::queued, Kind::done, Kind::refused,
                                           Kind::frame, Kind::queued, Kind::frame, Kind::answer,
                                           Kind::answer, Kind::bad, Kind::bad, Kind::frame,
                                           Kind::bad, Kind::frame});
        CHECK(told[0].frame.id.value == 0x7E8);
        CHECK(told[0].data == std::vector<std::uint8_t>{3, 0x41, 0x0C, 0x1A, 0xF8, 0, 0, 0});
        CHECK(!told[0].timed);
        CHECK(told[4].frame.id.extended);
        CHECK(told[4].timed);
        CHECK(told[4].milliseconds == 0xABCD);
        CHECK(told[6].frame.kind == CanKind::remote);
        CHECK(told[11].frame.fd);
        CHECK(told[11].data.size() == 12);
    }
}

TEST_CASE("errors and states of the kernel's protocol become error frames") {
    const auto told = parse("e1a\re3bcO\rsb256256\rsa057033\rsp000130\rex\re9a\rsz000000\r");
    REQUIRE(told.size() == 8);
    // linux/can/error.h
    CHECK(told[0].frame.kind == CanKind::error);
    CHECK(told[0].frame.id.value == 0x20); // no acknowledgement
    CHECK(told[1].frame.id.value == (0x08 | 0x04));
    CHECK(told[1].data[2] == 0x08);        // bit 0
    CHECK(told[1].data[3] == 0x08);        // CRC sequence
    CHECK(told[1].data[1] == 0x02);        // transmit overflow
    CHECK(told[2].frame.id.value == 0x40); // bus off
    CHECK(told[3].data[1] == 0x40);        // active again
    CHECK(told[3].data[7] == 57);
    CHECK(told[3].data[6] == 33);
    CHECK(told[4].data[1] == 0x20);
    for (int i = 5; i < 8; ++i)
        CHECK(told[static_cast<std::size_t>(i)].kind == Kind::bad);
}

TEST_CASE("frames are written as they are read") {
    std::vector<std::uint8_t> bytes(64);
    for (std::size_t i = 0; i < bytes.size(); ++i)
        bytes[i] = static_cast<std::uint8_t>(i * 7);
    for (const bool extended : {false, true})
        for (int form = 0; form < 4; ++form)
            for (std::size_t size = 0; size <= (form < 2 ? 8U : 64U); ++size) {
                if (!is_fd_length(size))
                    continue;
                CanFrame frame;
                frame.id = {extended ? 0x18DB33F1U : 0x7DFU, extended};
                frame.fd = form >= 2;
                frame.bit_rate_switch = form == 3;
                if (form == 1) {
                    frame.kind = CanKind::remote;
                    frame.remote_length = static_cast<std::uint8_t>(size);
                } else {
                    frame.data = Bytes(bytes).first(size);
                }
                std::string text;
                append_serial_can(text, frame);
                const auto told = parse(text);
                REQUIRE(told.size() == 1);
                REQUIRE(told[0].kind == Kind::frame);
                CHECK(told[0].frame.id == frame.id);
                CHECK(told[0].frame.kind == frame.kind);
                CHECK(told[0].frame.fd == frame.fd);
                CHECK(told[0].frame.bit_rate_switch == frame.bit_rate_switch);
                CHECK(told[0].frame.remote_length == frame.remote_length);
                CHECK(told[0].data ==
                      std::vector<std::uint8_t>(frame.data.begin(), frame.data.end()));
            }
    std::string text;
    CanFrame frame;
    frame.id.value = 0x7DF;
    frame.data = Bytes(bytes).first(2);
    append_serial_can(text, frame);
    CHECK(text == "t7DF20007\r");
}
