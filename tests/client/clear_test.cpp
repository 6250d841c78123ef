// SPDX-License-Identifier: Apache-2.0
#include "wire.hpp"

#include <type_traits>

#include <doctest/doctest.h>

#include "telltale/client/clear.hpp"
#include "telltale/client/reader.hpp"
#include "telltale/message/stream.hpp"

using namespace telltale;
using namespace telltale::client;
using telltale::tests::sec;

static_assert(!std::is_default_constructible_v<Consent>);
static_assert(!std::is_copy_constructible_v<Consent>);
static_assert(!std::is_constructible_v<Consent, std::string, Time>);

namespace {

vehicle::Picture read(Session& session, tests::Wire& wire) {
    vehicle::Picture picture;
    message::Stream stream;
    wire.on_frame = [&](const CanFrame& frame, Time time, bool) {
        stream.can(0, frame, time, {}, picture);
    };
    Reader reader{Line{}};
    session.run(reader, wire.now);
    REQUIRE(wire.run(wire.now + 120 * sec, [&] { return session.done(); }));
    session.stop();
    stream.finish(picture);
    picture.finish();
    wire.on_frame = nullptr;
    return picture;
}

mimic::Options faulty(mimic::Clearing clearing) {
    mimic::Options options;
    options.engine_off = true;
    options.stored = {0x0171, 0x0300};
    options.pending = {0x0420};
    options.permanent = {0x0171};
    options.clearing = clearing;
    return options;
}

std::uint64_t clears_on(tests::Wire& wire, Session& session, Task& task) {
    std::uint64_t sent = 0;
    wire.on_frame = [&](const CanFrame& frame, Time, bool to_client) {
        if (!to_client && frame.data.size() > 1 && (frame.data[1] == 0x04 || frame.data[1] == 0x08))
            ++sent;
    };
    session.run(task, wire.now);
    CHECK(wire.run(wire.now + 60 * sec, [&] { return session.done(); }));
    session.stop();
    wire.on_frame = nullptr;
    return sent;
}

} // namespace

TEST_CASE("clearing says what is lost, wants the right words, and says what changed") {
    mimic::Vehicle vehicle(faulty(mimic::Clearing::always));
    Session session;
    tests::Wire wire(session, vehicle);
    const vehicle::Picture before = read(session, wire);
    const Losses losses = losses_of(before);
    REQUIRE(losses.ecus.size() == 2);
    CHECK(!losses.none());
    CHECK(losses.vin == vehicle.state(0).vin);
    CHECK(losses.ecus[0].stored == std::vector<std::string>{"P0171", "P0300"});
    CHECK(losses.ecus[0].pending == std::vector<std::string>{"P0420"});
    CHECK(losses.ecus[0].permanent == std::vector<std::string>{"P0171"});
    CHECK(losses.ecus[0].lamp);
    CHECK(!losses.ecus[0].complete.empty());
    CHECK(losses.phrase() == "clear " + losses.vin);

    for (const char* words : {"", "yes", "y", "clear", "CLEAR"})
        CHECK(!Consent::to_clear(losses, words, wire.now).has_value());
    auto consent = Consent::to_clear(losses, "  " + losses.phrase() + "\n", wire.now);
    REQUIRE(consent.has_value());
    std::vector<std::string> log;
    Clear clear(losses, std::move(*consent),
                [&](std::string_view line, Time) { log.emplace_back(line); });
    CHECK(clears_on(wire, session, clear) == 1);
    CHECK(!clear.refused());
    CHECK(clear.cleared_all());
    CHECK(clear.deeds().size() == 2);
    REQUIRE(log.size() == 2);
    CHECK(log[0].find(losses.phrase()) != std::string::npos);

    const vehicle::Picture after = read(session, wire);
    const auto changes = changes_of(before, after);
    REQUIRE(changes.size() == 2);
    CHECK(changes[0].gone == std::vector<std::string>{"P0171", "P0300", "P0420"});
    CHECK(changes[0].still.empty());
    CHECK(changes[0].permanent == std::vector<std::string>{"P0171"});
    CHECK(changes[0].reset == losses.ecus[0].complete.size());
    CHECK(changes[0].lamp_before);
    CHECK(!changes[0].lamp_after);
}

TEST_CASE("without a log, too late, or for another vehicle nothing is sent") {
    mimic::Vehicle vehicle(faulty(mimic::Clearing::always));
    Session session;
    tests::Wire wire(session, vehicle);
    const Losses losses = losses_of(read(session, wire));
    const auto log = [](std::string_view, Time) {};
    const auto consent = [&] { return *Consent::to_clear(losses, losses.phrase(), wire.now); };
    {
        Clear clear(losses, consent(), nullptr);
        CHECK(clears_on(wire, session, clear) == 0);
        CHECK(clear.refused());
    }
    {
        Consent old = consent();
        wire.run(Consent::lifetime + sec);
        Clear clear(losses, std::move(old), log);
        CHECK(clears_on(wire, session, clear) == 0);
        CHECK(clear.refused());
    }
    {
        Losses other = losses;
        other.vin = "TT1BRAVO00X000002";
        Clear clear(other, consent(), log);
        CHECK(clears_on(wire, session, clear) == 0);
        CHECK(clear.refused());
    }
    {
        Consent used = consent();
        Consent moved = std::move(used);
        Clear clear(losses, std::move(used), log); // NOLINT: that it is empty is what is tested
        CHECK(clears_on(wire, session, clear) == 0);
        CHECK(clear.refused());
        CHECK(moved.phrase() == losses.phrase());
    }
    CHECK(losses_of(read(session, wire)).ecus[0].stored.size() == 2);
}

TEST_CASE("an ECU that refuses is said to refuse, and is asked once") {
    mimic::Options options = faulty(mimic::Clearing::engine_off);
    options.engine_off = false;
    mimic::Vehicle vehicle(options);
    Session session;
    tests::Wire wire(session, vehicle);
    const Losses losses = losses_of(read(session, wire));
    Clear clear(losses, *Consent::to_clear(losses, losses.phrase(), wire.now),
                [](std::string_view, Time) {});
    CHECK(clears_on(wire, session, clear) == 1);
    CHECK(!clear.cleared_all());
    REQUIRE(!clear.deeds().empty());
    CHECK(clear.deeds()[0].outcome == Outcome::refused);
    CHECK(clear.deeds()[0].code == 0x22);
    CHECK(losses_of(read(session, wire)).ecus[0].stored.size() == 2);
}

TEST_CASE("actuating wants words of its own") {
    mimic::Vehicle vehicle(faulty(mimic::Clearing::always));
    Session session;
    tests::Wire wire(session, vehicle);
    Actuation actuation;
    actuation.ecu = vehicle.response_id(0);
    actuation.test = 0x01;
    actuation.vin = vehicle.state(0).vin;
    CHECK(!Consent::to_actuate(actuation, "yes", wire.now).has_value());
    auto consent = Consent::to_actuate(actuation, actuation.phrase(), wire.now);
    REQUIRE(consent.has_value());
    Actuate actuate(actuation, std::move(*consent), [](std::string_view, Time) {});
    CHECK(clears_on(wire, session, actuate) == 1);
    CHECK(!actuate.refused());
    CHECK(
        (actuate.deed().outcome == Outcome::answer || actuate.deed().outcome == Outcome::refused));
    // The consent to one deed is none to another.
    Actuation other = actuation;
    other.test = 0x02;
    Actuate again(other, *Consent::to_actuate(actuation, actuation.phrase(), wire.now),
                  [](std::string_view, Time) {});
    CHECK(clears_on(wire, session, again) == 0);
    CHECK(again.refused());
}
