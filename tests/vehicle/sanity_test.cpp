// SPDX-License-Identifier: Apache-2.0
// Each rule: a recording in which it finds something, and one next to it in which it does not. The
// rules are common practice; the scalings are SAE J1979's.
#include "telltale/vehicle/sanity.hpp"

#include <doctest/doctest.h>

#include "feed.hpp"

using namespace telltale;
using telltale::tests::Log;
using telltale::tests::picture_of;
using telltale::vehicle::Rule;

namespace {

/// The sentences of one rule.
std::vector<std::string> found(const Log& log, Rule rule,
                               const vehicle::SanityOptions& options = {}) {
    const auto picture = picture_of(log);
    std::vector<std::string> sentences;
    for (const auto& finding : vehicle::check(picture, options))
        if (finding.rule == rule)
            sentences.push_back(finding.sentence);
    return sentences;
}

std::string hex(unsigned value, unsigned digits) {
    std::string out;
    append_hex(out, value, digits);
    return out;
}

Log& value(Log& log, unsigned pid, unsigned raw, unsigned bytes = 1) {
    return log.say(0x7E8, "41" + hex(pid, 2) + hex(raw, 2 * bytes));
}
/// Engine speed in rpm.
Log& engine(Log& log, unsigned rpm) {
    return value(log, 0x0C, rpm * 4, 2);
}

} // namespace

TEST_CASE("engine off: manifold pressure against barometric pressure") {
    const auto log = [](unsigned rpm, unsigned manifold, unsigned barometric) {
        Log made;
        engine(made, rpm);
        value(made, 0x33, barometric);
        return value(made, 0x0B, manifold);
    };
    CHECK(found(log(0, 100, 101), Rule::barometric).empty());
    CHECK(found(log(0, 96, 101), Rule::barometric).empty()); // 5 kPa are within the rule
    const auto low = found(log(0, 90, 101), Rule::barometric);
    REQUIRE(low.size() == 1);
    CHECK(low[0].find("90 kPa") != std::string::npos);
    CHECK(low[0].find("101 kPa") != std::string::npos);
    CHECK(found(log(0, 110, 101), Rule::barometric).size() == 1);
    CHECK(found(log(800, 35, 101), Rule::barometric).empty()); // a running engine has vacuum
    Log late; // that the engine was off is no longer known
    engine(late, 0);
    value(late, 0x33, 101);
    late.at(60);
    value(late, 0x0B, 35);
    CHECK(found(late, Rule::barometric).empty());
}

TEST_CASE("cold soak: three temperatures agree") {
    const auto log = [](unsigned rpm, int coolant, int intake, int ambient) {
        Log made;
        engine(made, rpm);
        value(made, 0x05, static_cast<unsigned>(coolant + 40));
        value(made, 0x0F, static_cast<unsigned>(intake + 40));
        return value(made, 0x46, static_cast<unsigned>(ambient + 40));
    };
    CHECK(found(log(0, 12, 14, 10), Rule::cold_soak).empty());
    CHECK(found(log(0, 12, 27, 12), Rule::cold_soak).empty()); // 15 degrees are within the rule
    CHECK(found(log(0, 12, 38, 11), Rule::cold_soak).size() == 1);
    CHECK(found(log(0, -10, 12, 11), Rule::cold_soak).size() == 1);
    CHECK(found(log(0, 85, 30, 20), Rule::cold_soak).empty());   // a warm engine did not soak
    CHECK(found(log(900, 12, 38, 11), Rule::cold_soak).empty()); // it ran already
    vehicle::SanityOptions us;
    us.units = UnitSystem::us;
    CHECK(found(log(0, 10, 40, 10), Rule::cold_soak, us)[0].find("104 °F") != std::string::npos);
}

TEST_CASE("throttle and pedal at rest") {
    const auto log = [](unsigned pid, unsigned percent, unsigned speed, int samples) {
        Log made;
        for (int i = 0; i < samples; ++i) {
            engine(made, 750);
            value(made, 0x0D, speed);
            value(made, pid, (percent * 255 + 50) / 100);
        }
        return made;
    };
    CHECK(found(log(0x11, 15, 0, 10), Rule::throttle_rest).empty());
    CHECK(found(log(0x11, 30, 0, 10), Rule::throttle_rest).size() == 1);
    CHECK(found(log(0x11, 30, 50, 10), Rule::throttle_rest).empty()); // driving
    CHECK(found(log(0x11, 30, 0, 3), Rule::throttle_rest).empty());   // too few to tell
    CHECK(found(log(0x45, 3, 0, 10), Rule::throttle_rest).empty());
    CHECK(found(log(0x45, 12, 0, 10), Rule::throttle_rest).size() == 1);
    CHECK(found(log(0x5A, 12, 0, 10), Rule::throttle_rest).size() == 1);
    Log once = log(0x11, 30, 0, 10); // one reading at rest is enough to know where it rests
    value(once, 0x11, 30);
    CHECK(found(once, Rule::throttle_rest).empty());
}

TEST_CASE("module voltage") {
    const auto log = [](unsigned rpm, unsigned millivolts, double seconds) {
        Log made;
        for (double at = 0; at < seconds; at += 1) {
            made.at(at);
            engine(made, rpm);
            value(made, 0x42, millivolts, 2);
        }
        return made;
    };
    CHECK(found(log(0, 12'400, 20), Rule::voltage).empty());
    CHECK(found(log(0, 7'900, 3), Rule::voltage).size() == 1);
    CHECK(found(log(0, 20'100, 3), Rule::voltage).size() == 1);
    CHECK(found(log(800, 14'200, 30), Rule::voltage).empty());
    CHECK(found(log(800, 12'300, 30), Rule::voltage).size() == 1); // not charging
    CHECK(found(log(800, 15'800, 30), Rule::voltage).size() == 1); // overcharging
    CHECK(found(log(800, 12'300, 9), Rule::voltage).empty());      // it has only just started
}

TEST_CASE("fuel trims") {
    // PIDs 06 to 09: raw * 100 / 128 - 100 %; 128 is none.
    const auto log = [](unsigned status, unsigned brief, unsigned lasting, unsigned rpm) {
        Log made;
        engine(made, rpm);
        value(made, 0x03, status << 8, 2);
        for (int i = 0; i < 10; ++i) {
            value(made, 0x06, brief);
            value(made, 0x07, lasting);
        }
        return made;
    };
    CHECK(found(log(2, 128, 128, 800), Rule::fuel_trim).empty());
    CHECK(found(log(2, 130, 138, 800), Rule::fuel_trim).empty()); // 1.6 + 7.8 %
    const auto lean = found(log(2, 134, 138, 800), Rule::fuel_trim);
    REQUIRE(lean.size() == 1); // 4.7 + 7.8 %
    CHECK(lean[0].find("12.5 %") != std::string::npos);
    CHECK(lean[0].find("lean") != std::string::npos);
    const auto rich = found(log(2, 120, 115, 800), Rule::fuel_trim);
    REQUIRE(rich.size() == 1);
    CHECK(rich[0].find("rich") != std::string::npos);
    CHECK(found(log(4, 150, 150, 800), Rule::fuel_trim).empty()); // open loop: trims say nothing
    CHECK(found(log(2, 150, 150, 0), Rule::fuel_trim).empty());   // engine off
}

TEST_CASE("ends of the range") {
    Log log;
    value(log, 0x05, 0);    // -40 degrees
    value(log, 0x05, 0x7B); // 83 degrees
    value(log, 0x0F, 0xFF); // 215 degrees
    value(log, 0x11, 0xFF); // wide open: an ordinary reading
    value(log, 0x2F, 0);    // an empty tank
    value(log, 0x0D, 0);    // standing
    const auto sentences = found(log, Rule::end_of_range);
    REQUIRE(sentences.size() == 2);
    CHECK(sentences[0].find("low end") != std::string::npos);
    CHECK(sentences[0].find("-40 °C") != std::string::npos);
    CHECK(sentences[0].find("1 of 2 samples") != std::string::npos);
    CHECK(sentences[1].find("high end") != std::string::npos);
    CHECK(sentences[1].find("215 °C") != std::string::npos);
}

TEST_CASE("supported but never answered") {
    Log log;
    log.say(0x7E8, "41 00 18 00 00 00"); // 04 and 05
    log.say(0x7DF, "01 04");
    CHECK(found(log, Rule::never_answered).size() == 1);
    log.say(0x7E8, "41 04 20");
    CHECK(found(log, Rule::never_answered).empty()); // and 05 was not asked for
}

TEST_CASE("every rule can be turned off, and has a word and a basis") {
    Log log;
    value(log, 0x05, 0);
    const auto picture = picture_of(log);
    CHECK(vehicle::check(picture).size() == 1);
    vehicle::SanityOptions options;
    options.off.set(static_cast<std::size_t>(Rule::end_of_range));
    CHECK(vehicle::check(picture, options).empty());
    for (std::size_t i = 0; i < vehicle::rules; ++i) {
        const auto rule = static_cast<Rule>(i);
        CHECK(vehicle::rule(vehicle::word(rule)) == rule);
        CHECK(vehicle::basis(rule).substr(0, 15) == "common practice");
    }
    CHECK_FALSE(vehicle::rule("no such rule").has_value());
}
