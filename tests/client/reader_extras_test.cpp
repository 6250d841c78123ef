// SPDX-License-Identifier: Apache-2.0
// What a reader asks beyond what every vehicle has: freeze frames above 00, service 05 of the older
// lines, snapshots and readiness groups of OBDonUDS. The ECU here is a table of requests and
// answers, written down from the layouts of SAE J1979 and ISO 14229-1.
#include <algorithm>
#include <map>
#include <string>
#include <vector>

#include <doctest/doctest.h>

#include "kline_wire.hpp"
#include "telltale/base/hex.hpp"
#include "telltale/client/finder.hpp"
#include "telltale/client/reader.hpp"
#include "telltale/message/stream.hpp"
#include "telltale/vehicle/picture.hpp"

using namespace telltale;
using namespace telltale::client;
using telltale::tests::ms;
using telltale::tests::sec;

namespace {

using Text = std::string;

std::vector<std::uint8_t> bytes_of(const Text& hex) {
    std::vector<std::uint8_t> out;
    for (std::size_t i = 0; i + 1 < hex.size(); i += 2)
        out.push_back(static_cast<std::uint8_t>(std::stoul(hex.substr(i, 2), nullptr, 16)));
    return out;
}

/// Runs a reader to its end against the table; what is not in it is refused (asked alone) or not
/// answered. Returns the requests in hex.
std::vector<Text> run(Reader& reader, CanId ecu, const std::map<Text, Text>& table) {
    std::vector<Text> asked;
    Time now = sec;
    Request request;
    for (int turn = 0; turn < 2000 && !reader.done() && reader.next(now, request); ++turn) {
        const Text text = to_hex(request.bytes);
        asked.push_back(text);
        Exchange exchange;
        exchange.request = request.bytes;
        exchange.to = request.to;
        exchange.asked = now;
        exchange.ended = now += ms;
        Reply reply;
        reply.ecu = ecu;
        std::vector<std::uint8_t> answer;
        const auto found = table.find(text);
        if (found != table.end()) {
            answer = bytes_of(found->second);
            reply.bytes = answer;
            reply.outcome = Outcome::answer;
            CHECK_MESSAGE(answers(answer, request.bytes, Dialect::can_11), text);
        } else {
            reply.outcome = request.to ? Outcome::refused : Outcome::silence;
            reply.code = 0x12;
        }
        exchange.outcome = reply.outcome;
        if (reply.outcome != Outcome::silence)
            exchange.replies = std::span<const Reply>(&reply, 1);
        reader.told(exchange, now);
    }
    CHECK(reader.done());
    return asked;
}

bool has(const std::vector<Text>& asked, const Text& request) {
    return std::find(asked.begin(), asked.end(), request) != asked.end();
}

} // namespace

TEST_CASE("freeze frames above 00 are read until there is none") {
    const CanId ecu{0x7E8, false};
    ReaderOptions options;
    options.ecus = {ecu};
    Reader reader({}, options);
    const auto asked = run(reader, ecu,
                           {
                               {"0100", "4100"
                                        "00000000"},
                               // PIDs 02, 0C and 0D of frames 00, 01 and 02
                               {"020000", "420000"
                                          "40180000"},
                               {"020200", "420200"
                                          "0171"},
                               {"020C000D00", "420C001AF8"
                                              "0D0032"},
                               {"020201", "420201"
                                          "0300"},
                               {"020C01", "420C010BB8"},
                               {"020D01", "420D0100"},
                               {"020202", "420202"
                                          "0420"},
                               {"020C02", "420C020FA0"},
                               {"020203", "420203"
                                          "0000"},
                           });
    for (const char* request :
         {"020201", "020C01", "020D01", "020202", "020C02", "020D02", "020203"})
        CHECK_MESSAGE(has(asked, request), request);
    CHECK(std::count(asked.begin(), asked.end(), Text("020201")) == 1);
    CHECK(!has(asked, "020C03"));
    CHECK(!has(asked, "020204"));
    // PID 0D of frame 02 was refused: an ECU need not have it there.
    CHECK(std::none_of(reader.missing().begin(), reader.missing().end(),
                       [](const Reader::Missing& each) { return each.service == 0x02; }));
}

TEST_CASE("an ECU that claims freeze frames without end is not asked without end") {
    const CanId ecu{0x7E8, false};
    ReaderOptions options;
    options.ecus = {ecu};
    Reader reader({}, options);
    std::map<Text, Text> table = {{"020000", "42000040000000"}};
    for (unsigned frame = 0; frame < 256; ++frame) {
        const std::uint8_t bytes[] = {0x02, 0x02, static_cast<std::uint8_t>(frame)};
        const std::uint8_t answer[] = {0x42, 0x02, static_cast<std::uint8_t>(frame), 0x01, 0x71};
        table[to_hex(bytes)] = to_hex(answer);
    }
    const auto asked = run(reader, ecu, table);
    CHECK(has(asked, "02020F"));
    CHECK(!has(asked, "020210"));
}

TEST_CASE("sensor tests of the older lines are read by sensor") {
    mimic::Options vehicle_options;
    vehicle_options.seed = 11;
    vehicle_options.stored = {0x0171};
    mimic::Vehicle vehicle(vehicle_options);
    REQUIRE(!vehicle.state(0).sensor_tests.empty());
    for (const Dialect dialect : {Dialect::kline_9141, Dialect::kline_14230}) {
        Line line;
        line.dialect = dialect;
        Session session(line);
        tests::KlineWire wire(session, vehicle, 1);
        Reader reader(line);
        std::map<std::pair<int, int>, Bytes> told;
        std::size_t results = 0;
        reader.on_reply = [&](const Reply& reply, Bytes request) {
            if (request[0] == 0x05 && request[1] % 0x20 != 0) {
                ++results;
                CHECK(reply.bytes[0] == 0x45);
                CHECK(told.emplace(std::pair{int{request[1]}, int{request[2]}}, Bytes{}).second);
            }
        };
        session.run(reader, wire.now);
        REQUIRE(wire.run(wire.now + 200 * sec, [&] { return session.done(); }));
        for (const auto& test : vehicle.state(0).sensor_tests)
            CHECK_MESSAGE(told.count({test.test, test.sensor}) == 1, int{test.test}, " ",
                          int{test.sensor});
        CHECK(results == vehicle.state(0).sensor_tests.size());
    }
}

TEST_CASE("snapshots and readiness groups of OBDonUDS are read") {
    mimic::Options vehicle_options;
    vehicle_options.seed = 7;
    vehicle_options.obd_on_uds = true;
    vehicle_options.extended_ids = true;
    vehicle_options.stored = {0x0171, 0x0420};
    vehicle_options.faults.push_back(mimic::parse_fault("open:coolant").value());
    mimic::Vehicle vehicle(vehicle_options);
    Line line;
    line.dialect = Dialect::can_29;
    Session session(line);
    tests::Wire wire(session, vehicle);
    vehicle::Picture picture;
    message::Stream stream;
    wire.on_frame = [&](const CanFrame& frame, Time time, bool) {
        stream.can(0, frame, time, {}, picture);
    };
    ReaderOptions options;
    options.on_uds = true;
    options.ecus = {vehicle.response_id(0)};
    Reader reader(line, options);
    std::size_t snapshots = 0;
    std::size_t groups = 0;
    reader.on_reply = [&](const Reply&, Bytes request) {
        snapshots += request[0] == 0x19 && request[1] == 0x04 ? 1U : 0U;
        groups += request[0] == 0x19 && request[1] == 0x56 ? 1U : 0U;
    };
    session.run(reader, wire.now);
    REQUIRE(wire.run(wire.now + 60 * sec, [&] { return session.done(); }));
    stream.finish(picture);
    picture.finish();
    CHECK(reader.missing().empty());
    CHECK(groups != 0);
    CHECK(snapshots == 1); // this vehicle keeps one freeze frame
    const vehicle::Ecu* ecu = picture.find(true, vehicle.response_id(0));
    REQUIRE(ecu != nullptr);
    REQUIRE(!ecu->freeze_frames.empty());
    CHECK(ecu->freeze_frames.begin()->second.values.size() > 5);
    const bool has_group =
        std::any_of(ecu->since_clear.monitors.begin(), ecu->since_clear.monitors.end(),
                    [](const auto& each) { return each.first == 0x8001; });
    CHECK(has_group); // 01 has code P0420
}
