// SPDX-License-Identifier: Apache-2.0
#include "wire.hpp"

#include <doctest/doctest.h>

#include "telltale/client/finder.hpp"
#include "telltale/client/reader.hpp"
#include "telltale/message/stream.hpp"
#include "telltale/vehicle/picture.hpp"
#include "telltale/vehicle/report.hpp"

using namespace telltale;
using namespace telltale::client;
using telltale::tests::ms;
using telltale::tests::sec;

namespace {

mimic::Options one_that_knows_codes() {
    mimic::Options options;
    options.seed = 7;
    options.stored = {0x0171, 0x0300};
    options.pending = {0x0420};
    options.permanent = {0x0171};
    options.faults.push_back(mimic::parse_fault("open:coolant").value());
    return options;
}

} // namespace

TEST_CASE("a vehicle with 11-bit identifiers is found and read") {
    mimic::Vehicle vehicle(one_that_knows_codes());
    Session session;
    tests::Wire wire(session, vehicle);
    vehicle::Picture picture;
    message::Stream stream;
    wire.on_frame = [&](const CanFrame& frame, Time time, bool) {
        stream.can(0, frame, time, {}, picture);
    };
    Finder finder;
    session.run(finder, wire.now);
    REQUIRE(wire.run(wire.now + 5 * sec, [&] { return session.done(); }));
    REQUIRE(finder.found());
    CHECK(finder.line().dialect == Dialect::can_11);
    CHECK(finder.ecus().size() == vehicle.ecus());

    ReaderOptions options;
    options.ecus = finder.ecus();
    Reader reader(finder.line(), options);
    const Time begun = wire.now;
    session.run(reader, wire.now);
    REQUIRE(wire.run(wire.now + 60 * sec, [&] { return session.done(); }));
    MESSAGE("read in ", (wire.now - begun) / ms, " ms, ", reader.progress().asked, " requests");
    CHECK(reader.missing().empty());
    stream.finish(picture);
    picture.finish();

    REQUIRE(reader.ecus().size() == vehicle.ecus());
    for (std::size_t i = 0; i < vehicle.ecus(); ++i) {
        const vehicle::Ecu* ecu = picture.find(true, vehicle.response_id(i));
        REQUIRE(ecu != nullptr);
        const mimic::EcuState& state = vehicle.state(i);
        CHECK(ecu->never_answered().none());
        for (unsigned pid = 1; pid < 256; ++pid)
            if (state.pids.test(pid))
                CHECK_MESSAGE(ecu->answered.test(pid), i, " ", pid);
        CHECK(ecu->stored.codes.size() == state.stored.size());
        CHECK(ecu->pending.codes.size() == state.pending.size());
        CHECK(ecu->permanent.codes.size() == state.permanent.size());
        CHECK(ecu->vin() == state.vin);
        if (!state.tests.empty())
            CHECK(ecu->tests.size() == state.tests.size());
        if (i == 0)
            CHECK(ecu->freeze_frames.begin()->second.values.size() > 5);
    }
    CHECK(picture.conversation().problem_count == 0);
    CHECK(session.conversation().counts().strays == 0);
}

TEST_CASE("29-bit identifiers and OBDonUDS are found, and read as well") {
    for (const bool uds : {false, true}) {
        mimic::Options vehicle_options = one_that_knows_codes();
        vehicle_options.extended_ids = true;
        vehicle_options.obd_on_uds = uds;
        mimic::Vehicle vehicle(vehicle_options);
        Session session;
        tests::Wire wire(session, vehicle);
        vehicle::Picture picture;
        message::Stream stream;
        wire.on_frame = [&](const CanFrame& frame, Time time, bool) {
            stream.can(0, frame, time, {}, picture);
        };
        FinderOptions finder_options;
        finder_options.bit_rates = {500'000, 250'000};
        Finder finder(finder_options);
        session.run(finder, wire.now);
        REQUIRE(session.wish() != nullptr);
        CHECK(session.wish()->line.bit_rate == 500'000);
        session.granted({true, session.wish()->line, {}}, wire.now);
        REQUIRE(wire.run(wire.now + 10 * sec, [&] { return session.done(); }));
        REQUIRE(finder.found());
        CHECK(finder.line().dialect == Dialect::can_29);
        CHECK(finder.on_uds() == uds);
        ReaderOptions options;
        options.ecus = finder.ecus();
        options.on_uds = finder.on_uds();
        Reader reader(finder.line(), options);
        session.run(reader, wire.now);
        REQUIRE(wire.run(wire.now + 60 * sec, [&] { return session.done(); }));
        stream.finish(picture);
        picture.finish();
        for (const auto& missing : reader.missing())
            MESSAGE(std::hex, missing.ecu.value, " ", int(missing.service), " ", missing.id, " ",
                    word(missing.outcome), " ", int(missing.code));
        CHECK(reader.missing().empty());
        CHECK(picture.vin() == vehicle.state(0).vin);
        const vehicle::Ecu* ecu = picture.find(true, vehicle.response_id(0));
        REQUIRE(ecu != nullptr);
        CHECK(ecu->stored.codes.size() == vehicle.state(0).stored.size());
        CHECK(ecu->permanent.codes.size() == vehicle.state(0).permanent.size());
        CHECK(ecu->information.size() > 2);
        CHECK(ecu->signals.size() > 10);
    }
}

TEST_CASE("ECUs that take one PID at a time, say busy and pending are read whole") {
    for (const mimic::Refusal refusal :
         {mimic::Refusal::silence, mimic::Refusal::negative, mimic::Refusal::first_only}) {
        mimic::Options vehicle_options = one_that_knows_codes();
        vehicle_options.ecus = 3;
        vehicle_options.habits.most_pids = 1;
        vehicle_options.habits.refusal = refusal;
        vehicle_options.habits.pending_every = 5;
        vehicle_options.habits.busy_every = 7;
        mimic::Vehicle vehicle(vehicle_options);
        Session session;
        tests::Wire wire(session, vehicle);
        Finder finder;
        session.run(finder, wire.now);
        REQUIRE(wire.run(wire.now + 60 * sec, [&] { return session.done(); }));
        ReaderOptions options;
        options.ecus = finder.ecus();
        Reader reader(finder.line(), options);
        std::array<std::bitset<256>, 3> answered;
        reader.on_reply = [&](const Reply& reply, Bytes request) {
            if (request[0] != 0x01)
                return;
            std::array<PidData, 6> data;
            const std::size_t count = split_pids(reply.bytes, request.subspan(1), data);
            for (std::size_t i = 0; i < count; ++i)
                for (std::size_t e = 0; e < vehicle.ecus(); ++e)
                    if (vehicle.response_id(e) == reply.ecu)
                        answered[e].set(data[i].pid);
        };
        session.run(reader, wire.now);
        REQUIRE(wire.run(wire.now + 400 * sec, [&] { return session.done(); }));
        for (std::size_t e = 0; e < vehicle.ecus(); ++e)
            CHECK((vehicle.state(e).pids & ~answered[e]).none());
        CHECK(reader.missing().empty());
    }
}
