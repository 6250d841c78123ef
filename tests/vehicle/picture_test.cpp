// SPDX-License-Identifier: Apache-2.0
#include "telltale/vehicle/picture.hpp"

#include <doctest/doctest.h>

#include "feed.hpp"

using namespace telltale;
using telltale::tests::Log;
using telltale::tests::picture_of;
using telltale::tests::start;

namespace {

constexpr CanId engine{0x7E8, false};

std::string codes(const vehicle::CodeList& list) {
    std::string all;
    for (const auto& code : list.codes)
        all += (all.empty() ? "" : " ") + code.text();
    return all;
}

} // namespace

TEST_CASE("identification") {
    Log log;
    log.say(0x7DF, "0902").say(0x7E8, "4902 01 3147344148353948343547313138333431");
    log.say(0x7DF, "0904")
        .say(0x7E8, "4904 02 43414C2D410000000000000000000000"
                    "43414C2D420000000000000000000000");
    log.say(0x7DF, "0906").say(0x7E8, "4906 02 12345678 9ABCDEF0");
    log.say(0x7DF, "090A").say(0x7E8, "490A 01 45434D00 456E67696E65436F6E74726F6C000000");
    const auto picture = picture_of(log);
    CHECK(picture.vin() == "1G4AH59H45G118341");
    const auto* ecu = picture.find(true, engine);
    REQUIRE(ecu != nullptr);
    CHECK(ecu->line_name == "can0");
    CHECK(ecu->texts(0x04) == std::vector<std::string>{"CAL-A", "CAL-B"});
    CHECK(ecu->texts(0x06) == std::vector<std::string>{"12345678", "9ABCDEF0"});
    REQUIRE(ecu->texts(0x0A).size() == 1);
    CHECK(ecu->texts(0x0A)[0].substr(0, 3) == "ECM");
    CHECK(picture.conversation().requests == 4);
    CHECK(picture.conversation().unanswered == 0);
}

TEST_CASE("a damaged answer replaces nothing") {
    Log log;
    log.say(0x7E8, "43 01 0143")
        .at(1)
        .say(0x7E8, "43 02 0143 01"); // two codes, one and a half there
    log.at(2).say(0x7E8, "4902 01 3147344148353948343547313138333431");
    log.at(3).frame(0x7E8, "1014490201414141").frame(0x7E8, "2241414141414141"); // 21 is lost
    const auto picture = picture_of(log);
    const auto* ecu = picture.find(true, engine);
    REQUIRE(ecu != nullptr);
    CHECK(codes(ecu->stored) == "P0143");
    CHECK(ecu->stored.time == start);
    CHECK(ecu->stored.incomplete == 1);
    CHECK(picture.vin() == "1G4AH59H45G118341");
    CHECK(
        picture.conversation().problems[static_cast<std::size_t>(ProblemCode::consecutive_lost)] ==
        1);
    CHECK(ecu->problems >= 2);
}

TEST_CASE("a VIN with strange characters is kept as it came") {
    Log log;
    log.say(0x7E8, "4902 01 1B5B326A48353948343547313138333431");
    CHECK(picture_of(log).vin() == "\x1b[2jH59H45G118341");
}

TEST_CASE("codes come and go") {
    Log log;
    log.say(0x7E8, "43 00").say(0x7E8, "47 01 0171").say(0x7E8, "4A 00");
    log.at(10).say(0x7E8, "43 02 0171 0300").say(0x7E8, "47 00").say(0x7E8, "4A 01 0171");
    log.at(20).say(0x7E8, "44").at(21).say(0x7E8, "43 00");
    const auto picture = picture_of(log);
    const auto* ecu = picture.find(true, engine);
    REQUIRE(ecu != nullptr);
    CHECK(codes(ecu->stored).empty());
    CHECK(ecu->stored.heard);
    CHECK(ecu->stored.answers == 3);
    REQUIRE(ecu->stored.changes.size() == 4);
    CHECK(ecu->stored.changes[0].code.text() == "P0171");
    CHECK(ecu->stored.changes[0].came);
    CHECK(ecu->stored.changes[0].time == start + 10 * nanoseconds_a_second);
    CHECK_FALSE(ecu->stored.changes[3].came);
    CHECK(codes(ecu->permanent) == "P0171");
    REQUIRE(ecu->pending.changes.size() == 1);
    CHECK_FALSE(ecu->pending.changes[0].came);
    CHECK(ecu->clears == 1);
    CHECK(ecu->cleared_time == start + 20 * nanoseconds_a_second);
}

TEST_CASE("the lamp and the monitors") {
    // SAE J1979, PID 01: A7 lamp, A6-0 count; B 07: three continuous monitors supported, B4 misfire
    // incomplete; C supported, D incomplete: catalyst (0), evaporative system (2), EGR (7).
    Log log;
    log.say(0x7E8, "41 01 81 17 85 81").at(5).say(0x7E8, "41 01 00 07 85 80");
    log.say(0x7E8, "41 41 00 07 85 85");
    const auto picture = picture_of(log);
    const auto* ecu = picture.find(true, engine);
    REQUIRE(ecu != nullptr);
    CHECK(ecu->mil == false);
    CHECK(ecu->mil_changes == 1);
    CHECK(ecu->code_count == 0U);
    CHECK(ecu->since_clear.heard);
    CHECK(ecu->since_clear.ignition == "spark");
    CHECK(ecu->since_clear.monitors.size() == 6);
    CHECK(ecu->since_clear.incomplete() == 1);
    CHECK(ecu->this_cycle.incomplete() == 3);
    unsigned completed = 0;
    for (const auto& [key, monitor] : ecu->since_clear.monitors)
        if (monitor.completed_at) {
            CHECK(*monitor.completed_at == start + 5 * nanoseconds_a_second);
            ++completed;
        }
    CHECK(completed == 2); // misfire and catalyst
    // Both PIDs name a monitor alike.
    for (const auto& [key, monitor] : ecu->this_cycle.monitors) {
        REQUIRE(ecu->since_clear.monitors.count(key) == 1);
        CHECK(ecu->since_clear.monitors.at(key).name == monitor.name);
    }
}

TEST_CASE("values: least, mean, most, count, rate, ends of the range") {
    Log log;
    // Engine speed (PID 0C, a quarter a step): 800, 1000, 3000; coolant at its lowest raw value.
    log.say(0x7E8, "41 0C 0C80").at(1).say(0x7E8, "41 0C 0FA0").at(2).say(0x7E8, "41 0C 2EE0");
    log.at(3).say(0x7E8, "41 05 00").at(4).say(0x7E8, "41 05 FF").at(5).say(0x7E8, "41 05 7B");
    log.at(6).say(0x7E8, "41 03 01 00").at(7).say(0x7E8, "41 03 02 00");
    const auto picture = picture_of(log);
    const auto* ecu = picture.find(true, engine);
    REQUIRE(ecu != nullptr);
    const auto* speed = ecu->pid(0x0C);
    REQUIRE(speed != nullptr);
    CHECK(speed->count == 3);
    CHECK(speed->min == 800);
    CHECK(speed->max == 3000);
    CHECK(speed->mean == doctest::Approx(1600));
    CHECK(speed->first == 800);
    CHECK(speed->last == 3000);
    CHECK(speed->rate() == doctest::Approx(1));
    const auto* coolant = ecu->pid(0x05);
    REQUIRE(coolant != nullptr);
    CHECK(coolant->at_low_end == 1);
    CHECK(coolant->at_high_end == 1);
    const auto* state = ecu->pid(0x03);
    REQUIRE(state != nullptr);
    CHECK_FALSE(state->is_number);
    CHECK(state->changes == 1);
    CHECK(state->text.substr(0, 11) == "closed loop");
}

TEST_CASE("freeze frames: another code takes the frame") {
    Log log;
    log.say(0x7E8, "42 02 00 0143").say(0x7E8, "42 0C 00 1AF8").say(0x7E8, "42 05 00 7B");
    auto picture = picture_of(log);
    const auto* ecu = picture.find(true, engine);
    REQUIRE(ecu != nullptr);
    REQUIRE(ecu->freeze_frames.size() == 1);
    {
        const auto& frame = ecu->freeze_frames.begin()->second;
        REQUIRE(frame.code.has_value());
        CHECK(frame.code->text() == "P0143");
        CHECK(frame.values.size() == 3);
        CHECK(frame.values.at({0x02, 0x0C, 0}).number == 1726);
    }
    log.say(0x7E8, "42 02 00 0300").say(0x7E8, "42 0C 00 0C80");
    picture = picture_of(log);
    const auto& frame = picture.find(true, engine)->freeze_frames.begin()->second;
    CHECK(frame.code->text() == "P0300");
    CHECK(frame.values.size() == 2); // the coolant temperature was P0143's
    CHECK(frame.values.at({0x02, 0x0C, 0}).number == 800);
}

TEST_CASE("monitor tests") {
    // Unit and scaling 0A: 0.122 mV a step (SAE J1979-DA, annex E).
    Log log;
    log.say(0x7E8, "46 01 81 0A 0012 0001 0020").at(1).say(0x7E8, "46 01 81 0A 0021 0001 0020");
    const auto picture = picture_of(log);
    const auto* ecu = picture.find(true, engine);
    REQUIRE(ecu != nullptr);
    REQUIRE(ecu->tests.size() == 1);
    const auto& [key, test] = *ecu->tests.begin();
    CHECK(key.monitor == 0x01);
    CHECK(key.test == 0x81);
    CHECK_FALSE(test.passed);
    CHECK(test.count == 2);
    CHECK(test.failures == 1);
    CHECK(test.value == doctest::Approx(0x21 * 0.122));
}

TEST_CASE("the conversation: unanswered, refused, pending, how long it took") {
    Log log;
    log.say(0x7DF, "01 00").at(0.010).say(0x7E8, "41 00 18 00 00 00"); // supports 04 and 05
    log.at(1).say(0x7DF, "01 05").at(1.020).say(0x7E8, "41 05 7B").at(1.030).say(0x7E9, "41 05 7C");
    log.at(2).say(0x7E0, "01 04"); // nobody answers
    log.at(3).say(0x7DF, "09 02").at(3.02).say(0x7E8, "7F 09 78").at(3.5).say(0x7E8, "7F 09 12");
    log.at(4).say(0x7E8, "41 0C 0000"); // nobody asked
    log.at(5).say(0x7DF, "01 05");      // too late for an answer in the dump
    const auto picture = picture_of(log);
    const auto& talk = picture.conversation();
    CHECK(talk.requests == 5);
    CHECK(talk.unanswered == 1);
    CHECK(talk.unanswered_by.at(0x010004) == 1);
    CHECK(talk.open_at_end == 1);
    CHECK(talk.unexpected == 1);
    CHECK(talk.refused == 1);
    CHECK(talk.pending == 1);
    const auto* ecu = picture.find(true, engine);
    REQUIRE(ecu != nullptr);
    CHECK(ecu->refusals.at({0x09, 0x12}) == 1);
    CHECK(ecu->pending_responses == 1);
    CHECK(ecu->delays.count() == 3);
    CHECK(ecu->delays.min() == 10 * nanoseconds_a_millisecond);
    CHECK(ecu->delays.max() == 500 * nanoseconds_a_millisecond);
    CHECK(ecu->never_answered().count() == 1); // 04: supported, asked for, not answered
    CHECK(ecu->never_answered()[0x04]);
}

TEST_CASE("several identifiers in one request, answered in part") {
    Log log;
    log.say(0x7DF, "01 0C 0D 05").at(0.01).say(0x7E9, "41 0D 32").at(1).say(0x7DF, "01 0C");
    log.at(1.01)
        .say(0x7E8, "41 0C 0C80")
        .at(3)
        .say(0x7DF, "01 1F")
        .at(3.01)
        .say(0x7E8, "41 1F 0001");
    const auto picture = picture_of(log);
    CHECK(picture.conversation().unanswered == 0);
    CHECK(picture.conversation().unexpected == 0);
}

TEST_CASE("the median of response times is right to a twentieth") {
    vehicle::Delays delays;
    for (int i = 1; i <= 1001; ++i)
        delays.add(i * 37 * 1000);
    const double median = 501 * 37 * 1000;
    CHECK(static_cast<double>(delays.median()) == doctest::Approx(median).epsilon(0.0625));
    CHECK(delays.min() == 37'000);
    CHECK(delays.max() == 37'037'000);
    CHECK(delays.mean() == 501 * 37 * 1000);
    delays.add(-5);                                   // a time that ran backwards counts as none
    delays.add(std::numeric_limits<Time>::max() - 1); // and one that is absurd has its place
    CHECK(delays.min() == 0);
}

TEST_CASE("OBDonUDS draws the same picture") {
    Log old_log;
    old_log.say(0x7E8, "41 00 18 10 00 00").say(0x7E8, "41 0C 1AF8").say(0x7E8, "43 01 0143");
    old_log.say(0x7E8, "4902 01 3147344148353948343547313138333431");
    Log new_log;
    new_log.say(0x7E8, "62 F400 18 10 00 00").say(0x7E8, "62 F40C 1AF8");
    new_log.say(0x7E0, "19 42 33 08 1E").say(0x7E8, "59 42 33 FF 1E 04 20 01431C 8C");
    new_log.say(0x7E8, "62 F802 3147344148353948343547313138333431");
    new_log.say(0x7E0, "19 56 33 01").say(0x7E8, "59 56 33 FF 04 01 01431C 4C");
    new_log.say(0x7E0, "19 04 01431C 01").say(0x7E8, "59 04 01431C 8C 01 01 F405 7B");
    const auto before = picture_of(old_log);
    const auto after = picture_of(new_log);
    const auto* was = before.find(true, engine);
    const auto* is = after.find(true, engine);
    REQUIRE(was != nullptr);
    REQUIRE(is != nullptr);
    CHECK(was->vin() == is->vin());
    CHECK(was->supported == is->supported);
    CHECK(was->pid(0x0C)->last == is->pid(0x0C)->last);
    CHECK(codes(was->stored) == "P0143");
    CHECK(codes(is->stored) == "P0143-1C");
    CHECK_FALSE(is->pending.heard); // the mask 08 did not ask for pending codes
    CHECK(is->mil == true);         // status bit 7
    CHECK(is->since_clear.incomplete() == 0);
    CHECK(is->this_cycle.incomplete() == 1); // status bit 6
    REQUIRE(is->freeze_frames.size() == 1);
    const auto& frame = is->freeze_frames.begin()->second;
    CHECK(frame.number == 1);
    CHECK(frame.code->text() == "P0143-1C");
    CHECK(frame.values.begin()->second.number == 83);
}

TEST_CASE("two lines keep their ECUs apart") {
    const auto picture = picture_of("(1.0) can0 7E8#0341057B\n(1.1) can1 7E8#0341057C\n"
                                    "(1.2) can1 18DAF110#0341057D\n");
    const auto ecus = picture.ecus();
    REQUIRE(ecus.size() == 3);
    CHECK(ecus[0]->line_name == "can0");
    CHECK(ecus[0]->pid(0x05)->last == 83);
    CHECK(ecus[1]->line_name == "can1");
    CHECK(ecus[1]->pid(0x05)->last == 84);
    CHECK(ecus[2]->id == CanId{0x18DAF110, true});
}

TEST_CASE("what there is no room for is counted") {
    vehicle::Limits limits;
    limits.ecus = 2;
    limits.signals = 2;
    limits.codes = 2;
    limits.tests = 1;
    limits.information = 1;
    limits.freeze_values = 1;
    limits.code_changes = 1;
    limits.text = 4;
    Log log;
    log.say(0x7E8, "41 0C 1AF8").say(0x7E8, "41 05 7B").say(0x7E8, "41 0D 10");
    log.say(0x7E9, "41 0C 1AF8").say(0x7EA, "41 0C 1AF8");
    log.say(0x7E8, "43 03 0143 0144 0145").say(0x7E8, "43 00");
    log.say(0x7E8, "46 01 81 0A 0012 0001 0020 01 82 0A 0012 0001 0020");
    log.say(0x7E8, "4906 02 12345678 9ABCDEF0");
    log.say(0x7E8, "42 0C 00 1AF8").say(0x7E8, "42 05 00 7B");
    const auto picture = picture_of(log, limits);
    const auto& lost = picture.not_kept();
    CHECK(lost.ecus == 1);
    CHECK(lost.signals == 2);
    CHECK(lost.codes == 1);
    CHECK(lost.code_changes == 1);
    CHECK(lost.tests == 1);
    CHECK(lost.information == 1);
    CHECK(lost.freeze_values == 1);
    CHECK(lost.all() == 8);
    CHECK(picture.find(true, engine)->texts(0x06)[0].size() == 4);
}
