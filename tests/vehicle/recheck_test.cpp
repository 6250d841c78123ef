// SPDX-License-Identifier: Apache-2.0
// Each test changes one thing of a repair that held, and names what the verdict makes of it.
#include "telltale/vehicle/recheck.hpp"

#include <doctest/doctest.h>

#include "feed.hpp"

using namespace telltale;
using telltale::tests::Log;
using telltale::tests::picture_of;
using telltale::vehicle::Direction;
using telltale::vehicle::Verdict;

namespace {

/// A visit to the vehicle, as plain hex that the tests change. An empty text: not asked.
struct Visit {
    std::string vin = "3147344148353948343547313138333431"; // 1G4AH59H45G118341, model year 2005
    std::string lamp = "00 07 65 00"; // PID 01: lamp off; continuous monitors, catalyst (D0),
                                      // evaporative system (D2), oxygen sensor and heater (D5, D6)
    std::string stored = "00";
    std::string pending = "00";
    std::string permanent = "00";
    unsigned warm_ups = 20;
    unsigned kilometres = 500;
    std::string test = "46 21 80 2E 0020 0000 0040"; // catalyst; UASID 2E is a counted number
    int brief = 128;                                 // short-term trim, 128 is none
    bool clears = false;
    double at = 0;

    vehicle::Picture picture() const {
        Log log;
        log.at(at);
        const auto say = [&](std::string_view front, const std::string& text) {
            if (!text.empty())
                log.say(0x7E8, std::string(front) + text);
        };
        say("4902 01", vin);
        say("43", stored);
        if (clears)
            log.say(0x7E8, "44").say(0x7E8, "43 00");
        say("47", pending);
        say("4A", permanent);
        say("41 01", lamp);
        std::string counted = "41 30";
        append_hex(counted, warm_ups, 2);
        log.say(0x7E8, counted);
        counted = "41 31";
        append_hex(counted, kilometres, 4);
        log.say(0x7E8, counted);
        say("", test);
        log.say(0x7E8, "41 0C 0C80").say(0x7E8, "41 03 0200");
        for (int i = 0; i < 6; ++i) {
            std::string trim = "41 06";
            append_hex(trim, static_cast<unsigned>(brief), 2);
            log.say(0x7E8, trim).say(0x7E8, "41 07 80");
        }
        return picture_of(log);
    }
};

/// Before: P0420 stored, pending and permanent, the lamp on.
Visit faulty() {
    Visit visit;
    visit.lamp = "81 07 65 00";
    visit.stored = "01 0420";
    visit.pending = "01 0420";
    visit.permanent = "01 0420";
    visit.warm_ups = 90;
    visit.kilometres = 3000;
    return visit;
}

/// After a repair that held: cleared, 500 km ago.
Visit repaired() {
    Visit visit;
    visit.at = 100'000;
    return visit;
}

vehicle::Recheck rechecked(const Visit& before, const Visit& after,
                           const vehicle::RecheckOptions& options = {}) {
    return vehicle::recheck(before.picture(), after.picture(), options);
}

bool has(const std::string& text, std::string_view part) {
    return text.find(part) != std::string::npos;
}

} // namespace

TEST_CASE("a repair that held") {
    const auto result = rechecked(faulty(), repaired());
    CHECK(result.verdict == Verdict::verified);
    CHECK(result.notes.empty());
    CHECK(result.codes.size() == 3);
    for (const auto& move : result.codes) {
        CHECK(move.before);
        CHECK_FALSE(move.after);
    }
    REQUIRE(result.since_clear.size() == 1);
    CHECK(result.since_clear[0].cleared);
    CHECK_FALSE(result.merely_cleared);
    CHECK(result.incomplete_after == 0);
}

TEST_CASE("the code is stored again, or pending") {
    auto after = repaired();
    after.stored = "01 0420";
    auto result = rechecked(faulty(), after);
    CHECK(result.verdict == Verdict::failed);
    CHECK(result.reason == "P0420 is stored again.");
    after = repaired();
    after.pending = "01 0420";
    result = rechecked(faulty(), after);
    CHECK(result.verdict == Verdict::failed);
    CHECK(result.reason == "P0420 is pending again.");
}

TEST_CASE("the code is still there because nothing was cleared") {
    auto after = faulty();
    after.at = 1000;
    after.kilometres = 3010;
    const auto result = rechecked(faulty(), after);
    CHECK(result.verdict == Verdict::not_yet);
    CHECK(has(result.reason, "P0420 is still stored"));
    CHECK_FALSE(result.since_clear[0].cleared);
}

TEST_CASE("a new code") {
    auto after = repaired();
    after.stored = "01 0102";
    CHECK(rechecked(faulty(), after).verdict == Verdict::failed);
    CHECK(rechecked(faulty(), after).reason == "P0102 is stored that BEFORE did not have.");
    after = repaired();
    after.pending = "02 0102 0113";
    CHECK(rechecked(faulty(), after).reason ==
          "P0102, P0113 are pending that BEFORE did not have.");
}

TEST_CASE("the lamp is on, though no code was told") {
    auto after = repaired();
    after.lamp = "80 07 65 00";
    const auto result = rechecked(faulty(), after);
    CHECK(result.verdict == Verdict::failed);
    CHECK(has(result.reason, "lamp"));
}

TEST_CASE("a monitor test fails") {
    auto after = repaired();
    after.test = "46 21 80 2E 0050 0000 0040";
    const auto result = rechecked(faulty(), after);
    CHECK(result.verdict == Verdict::failed);
    CHECK(has(result.reason, "21/80"));
    after.test = "46 21 80 2E 0000 0000 0000"; // all zero: not run since clearing
    const auto not_run = rechecked(faulty(), after);
    CHECK(not_run.verdict == Verdict::verified);
    REQUIRE(not_run.notes.size() == 1);
    CHECK(has(not_run.notes[0], "no result"));
}

TEST_CASE("codes were merely cleared") {
    auto after = repaired();
    after.kilometres = 4;
    after.warm_ups = 0;
    after.permanent = "01 0420";
    after.lamp = "00 07 65 65"; // four monitors open
    const auto result = rechecked(faulty(), after);
    CHECK(result.verdict == Verdict::not_yet);
    CHECK(result.merely_cleared);
    CHECK(has(result.reason, "merely cleared, 4 km and 0 warm-ups ago: 4 monitors have not run"));
    after.kilometres = 500; // driven enough, and still open
    after.warm_ups = 9;
    CHECK_FALSE(rechecked(faulty(), after).merely_cleared);
    CHECK(rechecked(faulty(), after).verdict == Verdict::not_yet);
}

TEST_CASE("the monitor that would find the fault again has not run") {
    auto after = repaired();
    after.lamp =
        "00 07 65 01"; // the catalyst's monitor: within the allowance, but P0420 is its code
    const auto result = rechecked(faulty(), after);
    CHECK(result.verdict == Verdict::not_yet);
    CHECK(has(result.reason, "Catalyst"));
    unsigned watching = 0;
    for (const auto& move : result.monitors) {
        watching += move.watches_former_code ? 1U : 0U;
        if (move.after == false)
            CHECK(has(std::string(move.driving), "cruise"));
    }
    CHECK(watching == 1);
    after.lamp = "00 07 65 04"; // the evaporative system's is another matter
    CHECK(rechecked(faulty(), after).verdict == Verdict::verified);
}

TEST_CASE("how many monitors may be open") {
    auto after = repaired();
    after.lamp = "00 07 65 44"; // evaporative system and heater
    vehicle::RecheckOptions options;
    auto result = rechecked(faulty(), after, options);
    CHECK(result.verdict == Verdict::not_yet); // 2005: one
    CHECK(result.allowed_incomplete == 1);
    CHECK(has(result.allowance_basis, "40 CFR 85.2222"));
    CHECK(has(result.allowance_basis, "model year 2005"));
    options.model_year = 1998; // two
    CHECK(rechecked(faulty(), after, options).verdict == Verdict::verified);
    options.model_year = 2001;
    CHECK(rechecked(faulty(), after, options).verdict == Verdict::not_yet);
    options.model_year.reset();
    options.allowance = 2;
    CHECK(rechecked(faulty(), after, options).verdict == Verdict::verified);
    options.allowance.reset();
    options.us_allowance = false;
    after.lamp = "00 07 65 04";
    CHECK(rechecked(faulty(), after, options).verdict == Verdict::not_yet);
    CHECK(rechecked(faulty(), after).verdict == Verdict::verified);
    auto nameless = after;
    nameless.vin.clear();
    CHECK(has(rechecked(faulty(), nameless).allowance_basis, "2005")); // BEFORE has it
    auto nameless_before = faulty();
    nameless_before.vin.clear();
    CHECK(has(rechecked(nameless_before, nameless).allowance_basis, "year being unknown"));
    // Position 10 repeats after thirty years, and there was no such diagnosis before 1996.
    nameless.vin = "3147344148353948344E47313138333431"; // 1G4AH59H4NG118341
    CHECK(has(rechecked(nameless_before, nameless).allowance_basis, "model year 2022"));
    nameless.vin = "3147344148353948354E47313138333431"; // a check digit that does not fit
    CHECK(has(rechecked(nameless_before, nameless).allowance_basis, "year being unknown"));
}

TEST_CASE("a permanent code is left") {
    auto after = repaired();
    after.permanent = "01 0420";
    const auto result = rechecked(faulty(), after);
    CHECK(result.verdict == Verdict::not_yet);
    CHECK(has(result.reason, "P0420 is still permanent"));
}

TEST_CASE("what was not read proves nothing") {
    auto after = repaired();
    after.stored.clear();
    CHECK(has(rechecked(faulty(), after).reason, "stored codes of ECU 7E8"));
    CHECK(rechecked(faulty(), after).verdict == Verdict::not_yet);
    after = repaired();
    after.pending.clear();
    CHECK(has(rechecked(faulty(), after).reason, "pending codes of ECU 7E8"));
    after = repaired();
    after.lamp.clear();
    CHECK(has(rechecked(faulty(), after).reason, "PID 01"));
    after = repaired();
    after.permanent.clear();
    const auto result = rechecked(faulty(), after);
    CHECK(result.verdict == Verdict::verified); // not every vehicle has permanent codes
    REQUIRE(result.notes.size() == 1);
    CHECK(has(result.notes[0], "permanent"));
}

TEST_CASE("nothing was wrong before") {
    Visit before;
    before.warm_ups = 90;
    const auto result = rechecked(before, repaired());
    CHECK(result.verdict == Verdict::not_yet);
    CHECK(has(result.reason, "BEFORE shows no code"));
}

TEST_CASE("two vehicles, or the wrong order") {
    auto after = repaired();
    after.vin = "3131313131313131313131313131313131";
    CHECK(has(rechecked(faulty(), after).reason, "different VINs"));
    CHECK(rechecked(faulty(), after).verdict == Verdict::not_yet);
    auto before = faulty();
    before.at = 200'000;
    const auto result = rechecked(before, repaired());
    REQUIRE(result.notes.size() == 1);
    CHECK(has(result.notes[0], "earlier"));
}

TEST_CASE("codes that were cleared while BEFORE was recorded are former codes") {
    auto before = faulty();
    before.clears = true;
    const auto result = rechecked(before, repaired());
    CHECK(result.verdict == Verdict::verified);
    CHECK(result.codes[0].code.text() == "P0420");
    CHECK(result.codes[0].before);
}

TEST_CASE("test results move towards their limits, or away") {
    const auto direction = [](std::string_view before, std::string_view after) {
        auto was = faulty();
        was.test = before;
        auto is = repaired();
        is.test = after;
        const auto result = rechecked(was, is);
        REQUIRE(result.tests.size() == 1);
        return result.tests[0].direction;
    };
    // A highest value only: the lowest is 0.
    CHECK(direction("46 21 80 2E 0030 0000 0040", "46 21 80 2E 0010 0000 0040") ==
          Direction::from_limit);
    CHECK(direction("46 21 80 2E 0010 0000 0040", "46 21 80 2E 0030 0000 0040") ==
          Direction::towards_limit);
    CHECK(direction("46 21 80 2E 0020 0000 0040", "46 21 80 2E 0021 0000 0040") ==
          Direction::unchanged);
    // A lowest value only: the highest is the end of the range.
    CHECK(direction("46 21 80 2E 0030 0020 FFFF", "46 21 80 2E 0090 0020 FFFF") ==
          Direction::from_limit);
    // Both: the nearer counts.
    CHECK(direction("46 21 80 2E 0050 0010 0060", "46 21 80 2E 0012 0010 0060") ==
          Direction::towards_limit);
    // Limits themselves may change with the calibration.
    CHECK(direction("46 21 80 2E 0030 0000 0040", "46 21 80 2E 0030 0000 0080") ==
          Direction::from_limit);
    auto was = faulty();
    was.test = "46 21 80 2E 0050 0000 0040";
    const auto result = rechecked(was, repaired());
    CHECK_FALSE(result.tests[0].passed_before);
    CHECK(result.tests[0].passed_after);
    CHECK(result.tests[0].room_before < 0);
}

TEST_CASE("fuel trims before and after") {
    auto before = faulty();
    before.stored = "01 0171";
    before.pending = "00";
    before.permanent = "00";
    before.brief = 150; // 17 %
    auto result = rechecked(before, repaired());
    CHECK(result.verdict == Verdict::verified);
    REQUIRE(result.trims.size() == 1);
    CHECK(*result.trims[0].before == doctest::Approx(22 * 100.0 / 128));
    CHECK(*result.trims[0].after == doctest::Approx(0));
    auto after = repaired();
    after.brief = 145; // 13 %
    result = rechecked(before, after);
    CHECK(result.verdict == Verdict::not_yet);
    CHECK(has(result.reason, "13.3 %"));
}

TEST_CASE("OBDonUDS and the older services compare by their codes' first two bytes") {
    // A vehicle speaks one protocol, so a code keeps its form; the forms are not mixed up here.
    vehicle::Code two{message::Dtc{0x0420}};
    vehicle::Code three{message::Dtc{0x0420}, 0x1C};
    CHECK(two != three);
    CHECK(two.text() == "P0420");
    CHECK(three.text() == "P0420-1C");
}

TEST_CASE("as text no line is wider than the page, as JSON it is one line") {
    auto after = repaired();
    after.lamp = "00 07 65 65";
    const auto result = rechecked(faulty(), after);
    std::string text;
    vehicle::append_recheck_text(text, result);
    CHECK(has(text, "NOT YET"));
    CHECK(has(text, "procedure comes first"));
    std::size_t begin = 0;
    for (std::size_t end = text.find('\n'); end != std::string::npos;
         begin = end + 1, end = text.find('\n', begin))
        CHECK(end - begin <= 80);
    std::string json;
    vehicle::append_recheck_json(json, result);
    CHECK(json.find('\n') == json.size() - 1);
    CHECK(has(json, "{\"verdict\":\"not-yet\""));
}
