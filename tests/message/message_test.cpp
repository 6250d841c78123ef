// SPDX-License-Identifier: Apache-2.0
#include <doctest/doctest.h>

#include "recorder.hpp"

using namespace telltale;
using telltale::tests::bytes_of;
using telltale::tests::said;

namespace {
message::Header header_of(std::string_view hex, Role role, ProblemCode expected) {
    message::Header header;
    CAPTURE(std::string(hex));
    CHECK(message::read_header(bytes_of(hex), role, header) == expected);
    return header;
}
} // namespace

TEST_CASE("the first bytes say what a message is") {
    message::Header header = header_of("010C", Role::tester, ProblemCode::none);
    CHECK(header.kind == message::Kind::request);
    CHECK(header.service == 0x01);

    header = header_of("4A00", Role::ecu, ProblemCode::none);
    CHECK(header.kind == message::Kind::response);
    CHECK(header.service == 0x0A);

    header = header_of("7F0112", Role::ecu, ProblemCode::none);
    CHECK(header.kind == message::Kind::negative);
    CHECK(header.service == 0x01);
    CHECK(header.negative_code == 0x12);
    CHECK_FALSE(header.pending());

    header = header_of("7F0978", Role::unknown, ProblemCode::none);
    CHECK(header.pending());
    CHECK_FALSE(header.pre_can);
}

TEST_CASE("headers that cannot be") {
    header_of("", Role::unknown, ProblemCode::message_empty);
    header_of("7F", Role::ecu, ProblemCode::message_cut);
    header_of("7F01", Role::ecu, ProblemCode::message_cut);
    header_of("00", Role::unknown, ProblemCode::unknown_service);
    header_of("0B", Role::unknown, ProblemCode::unknown_service);
    header_of("40", Role::ecu, ProblemCode::unknown_service);
    header_of("4B", Role::ecu, ProblemCode::unknown_service);
    header_of("7F2711", Role::ecu, ProblemCode::unknown_service);
    header_of("FF", Role::ecu, ProblemCode::unknown_service);
    header_of("410C1AF8", Role::tester, ProblemCode::unexpected_direction);
    header_of("7F0112", Role::tester, ProblemCode::unexpected_direction);
    header_of("010C", Role::ecu, ProblemCode::unexpected_direction);
}

TEST_CASE("all ten services have a request and a response") {
    for (unsigned service = 1; service <= 10; ++service) {
        CAPTURE(service);
        const std::uint8_t request[] = {static_cast<std::uint8_t>(service)};
        const std::uint8_t response[] = {static_cast<std::uint8_t>(service | 0x40)};
        message::Header header;
        CHECK(message::read_header(request, Role::tester, header) == ProblemCode::none);
        CHECK(header.service == service);
        CHECK(message::read_header(response, Role::ecu, header) == ProblemCode::none);
        CHECK(header.service == service);
        CHECK(header.kind == message::Kind::response);
        CHECK(catalogue::service(static_cast<std::uint8_t>(service)) != nullptr);
    }
}

TEST_CASE("a negative response is three bytes") {
    CHECK(said("7F0112").lines.empty());
    CHECK(said("7F011200").all() == "problem message-too-long 1 0\n");
}

TEST_CASE("several PIDs in one request and one response") {
    CHECK(said("01 0C 0D 05").all() == "0C asked\n0D asked\n05 asked\n");
    CHECK(said("01 04 05 0C 0D 0F 11 2F").lines.back() == "problem message-too-long 1 0");
    CHECK(said("01").all() == "problem message-cut 0 0\n");
    CHECK(said("41").all() == "problem message-cut 0 0\n");

    const auto six = said("41 0C 1A F8 0D 32 05 7B 04 80 0F 46 11 FF");
    REQUIRE(six.lines.size() == 6);
    CHECK(six.lines[0] == "0C.0 = 1726.0 /min");
    CHECK(six.lines[1] == "0D.0 = 50 km/h");
    CHECK(six.lines[2] == "05.0 = 83 Cel");
    CHECK(six.names[0] == "Engine speed");
    CHECK(said("41 0C 1A F8 0D 32 05 7B 04 80 0F 46 11 FF 2F 00").lines.back() ==
          "problem message-too-long 2 0");
}

TEST_CASE("what came before the damage is kept, and nothing after it is made up") {
    CHECK(said("41 0D 32 0C 1A").all() == "0D.0 = 50 km/h\nproblem message-cut 12 1\n");
    // FF is not assigned: neither it nor what follows can be read
    CHECK(said("41 0D 32 FF 0D 32").all() == "0D.0 = 50 km/h\nproblem unknown-id 255 0\n");
    // padding is none of the message's: ISO-TP told its length
    CHECK(said("41 0D 32 00 00").all() == "0D.0 = 50 km/h\nproblem message-cut 0 1\n");
}

TEST_CASE("support bits are remembered by service and range") {
    message::EcuContext context;
    said("41 00 BE 1F A8 13 20 80 00 00 01", &context);
    CHECK(context.ranges_known[1].to_string() == "00000011");
    CHECK(context.supported[1].count() == 6 + 5 + 3 + 3 + 2);
    CHECK(context.supported[1][0x01]);
    CHECK_FALSE(context.supported[1][0x02]);
    CHECK(context.supported[1][0x0C]);
    CHECK(context.supported[1][0x20]);
    CHECK(context.supported[1][0x21]);
    CHECK(context.supported[1][0x40]);
    said("41 00 00 00 00 00", &context); // a range read again is as it was read last
    CHECK(context.supported[1].count() == 2);

    said("42 00 01 FF FF FF FF", &context); // another frame than 0 says nothing of the rest
    CHECK(context.supported[2].none());
    said("42 00 00 40 00 00 00", &context);
    CHECK(context.supported[2].count() == 1);
    CHECK(context.supported[2][0x02]);

    said("46 A0 80 00 00 01 C0 00 00 00 01 E0 00 00 00 03", &context);
    CHECK(context.supported[6][0xA1]);
    CHECK(context.supported[6][0xC0]);
    CHECK(context.supported[6][0xE0]);
    CHECK(context.supported[6][0xFF]);
    CHECK(context.supported[6].count() == 4);
    CHECK(context.ranges_known[6].to_string() == "11100000");
    said("48 00 80 00 00 00", &context);
    CHECK(context.supported[8][1]);
    said("49 00 55 40 00 00", &context);
    CHECK(context.supported[9][0x0A]);
    CHECK(context.supported[9].count() == 5);
}

TEST_CASE("a choice that is not listed is reserved") {
    // fuel type 51: values above 1F or so are not assigned
    CHECK(said("41 51 FE").all() == "51.0 = \"reserved (0xFE)\"\n");
}

TEST_CASE("names of tests and monitors") {
    const auto results = said("46 01 01 0A 0B B0 0B B0 0B B0 D0 85 24 00 96 00 4B FF FF");
    REQUIRE(results.names.size() == 2);
    CHECK(results.names[0] ==
          "Exhaust gas sensor, bank 1 sensor 1: rich to lean sensor threshold voltage");
    CHECK(results.names[1] == "Monitor D0: test 85");
}

TEST_CASE("both ends of each scaling pass or fail by their own sign") {
    // a signed scaling: 8000 is the least; unsigned it would be the middle
    CHECK(said("46 21 80 81 80 00 80 00 7F FF").all() ==
          "21 test 80 = -32768 [-32768 32767] passed\n");
    CHECK(said("46 21 80 01 80 00 80 00 7F FF").all() ==
          "21 test 80 = 32768 [32768 32767] failed\n");
}

TEST_CASE("oxygen sensors of service 05 are named by the layout that the vehicle has") {
    message::EcuContext context;
    auto test = said("45 05 04 12 00 19", &context);
    CHECK(test.names[0] == "Rich to lean sensor switch time, bank 1 sensor 3");
    CHECK_FALSE(test.notes[0].empty());
    said("41 00 00 00 20 00", &context); // PID 13
    test = said("45 05 04 12 00 19", &context);
    CHECK(test.names[0] == "Rich to lean sensor switch time, bank 1 sensor 3");
    CHECK(test.notes[0].empty());
    said("41 00 00 00 00 08", &context); // PID 1D
    test = said("45 05 04 12 00 19", &context);
    CHECK(test.names[0] == "Rich to lean sensor switch time, bank 2 sensor 1");
    CHECK(said("45 05 03 12 00 19").names[0] == "Rich to lean sensor switch time, sensor bits 03");

    said("45 00 01 80 00 00 00", &context); // what one sensor supports stays when another is asked
    said("45 00 02 40 00 00 00", &context);
    CHECK(context.supported[5].count() == 2);
}
