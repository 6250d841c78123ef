// SPDX-License-Identifier: Apache-2.0
#include <string>

#include <doctest/doctest.h>

#include "telltale/link/name.hpp"

using namespace telltale;
using namespace telltale::link;

namespace {

LinkName read(const std::string& text) {
    const auto name = parse_link_name(text);
    REQUIRE_MESSAGE(name, text);
    const auto again = parse_link_name(to_string(*name));
    REQUIRE_MESSAGE(again, to_string(*name));
    CHECK_MESSAGE(*again == *name, text << " -> " << to_string(*name));
    return *name;
}

std::string refused(const std::string& text) {
    const auto name = parse_link_name(text);
    REQUIRE_MESSAGE(!name, text);
    CHECK(name.error().code == ErrorCode::bad_argument);
    return name.error().detail;
}

bool has(const std::string& text, const std::string& part) {
    return text.find(part) != std::string::npos;
}

} // namespace

TEST_CASE("names of every kind") {
    CHECK(read("can:can0").place == "can0");
    CHECK(read("can:vcan1,listen").listen);
    auto name = read("slcan:/dev/ttyACM0@500k");
    CHECK(name.kind == LinkKind::slcan);
    CHECK(name.place == "/dev/ttyACM0");
    CHECK(name.bit_rate == 500'000);
    CHECK(read("slcan:/dev/ttyACM0").bit_rate == 0);
    CHECK(read("slcan:/dev/x@1M").bit_rate == 1'000'000);
    CHECK(read("slcan:/dev/x@250000").bit_rate == 250'000);
    name = read("slcan:/dev/x@1M,listen,fd,times,baud=2000000");
    CHECK((name.listen && name.fd && name.times && name.baud == 2'000'000));
    CHECK(read("kline:/dev/ttyUSB0").start == LinkName::Start::any);
    CHECK(read("kline:/dev/ttyUSB0@fast").start == LinkName::Start::fast);
    CHECK(read("kline:/dev/ttyUSB0@5baud,baud=9600").baud == 9600);
    CHECK(read("doip:192.0.2.7").place == "192.0.2.7");
    CHECK(read("doip:gateway.example:1234").port == 1234);
    name = read("doip:[fd00::7]:99,tls,ca=/etc/ca.pem,target=E001");
    CHECK(name.place == "fd00::7");
    CHECK((name.port == 99 && name.tls && name.ca == "/etc/ca.pem" && name.target == 0xE001));
    CHECK(read("doip:h,tls,unverified").unverified);
    CHECK(read("dump:a.pcapng").speed == 1);
    CHECK(read("dump:a.pcapng@2x").speed == 2);
    CHECK(read("dump:a@b,c.log@0.25x").place == "a@b,c.log");
    CHECK(read("dump:a@b.log").place == "a@b.log");
    CHECK(read("dump:a@2x@max").place == "a@2x");
    CHECK(read("dump:a@2x@1x").place == "a@2x");
}

TEST_CASE("a wrong name is explained with what to write instead") {
    CHECK(has(refused(""), "can:can0"));
    CHECK(has(refused("can0"), "write can:can0"));
    CHECK(has(refused("/dev/ttyUSB0"), "kline:/dev/ttyUSB0"));
    CHECK(has(refused("usb:1"), "dump:"));
    CHECK(has(refused("can:"), "can:can0"));
    CHECK(has(refused("can:a-name-longer-than-any"), "15"));
    CHECK(has(refused("can:can0,loud"), "listen"));
    CHECK(has(refused("slcan:/dev/x@83k"), "500k"));
    CHECK(has(refused("slcan:/dev/x@"), "500k"));
    CHECK(has(refused("slcan:@500k"), "/dev/ttyACM0"));
    CHECK(has(refused("kline:/dev/x@slow"), "5baud"));
    CHECK(has(refused("kline:/dev/x,baud=fast"), "baud=115200"));
    CHECK(has(refused("doip:fd00::7"), "[fd00::7]"));
    CHECK(has(refused("doip:[fd00::7"), "]"));
    CHECK(has(refused("doip:h:0"), "65535"));
    CHECK(has(refused("doip:h:"), "port"));
    CHECK(has(refused("doip:h;rm"), "no host"));
    CHECK(has(refused("doip:h,ca=x"), "tls"));
    CHECK(has(refused("doip:h,target=XYZ"), "E000"));
    CHECK(has(refused("can:can\n0"), "missing"));
    CHECK(!has(refused("\x1b[31m"), "\x1b"));
    CHECK(has(refused(std::string(5000, 'x')), "4096"));
}
