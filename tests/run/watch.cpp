// SPDX-License-Identifier: Apache-2.0
#include "telltale/run/watch.hpp"

#include <doctest/doctest.h>

using namespace telltale;
using namespace telltale::run;

namespace {
Series named(std::string ecu, std::uint16_t id, std::uint8_t index, std::string key,
             std::string name) {
    Series series;
    series.ecu = std::move(ecu);
    series.id = id;
    series.index = index;
    series.key = std::move(key);
    series.name = std::move(name);
    return series;
}

Run sample_run() {
    Run run;
    run.series.push_back(named("7E8", 0x0C, 0, "RPM", "Engine speed"));
    run.series.push_back(named("7E8", 0x14, 0, "O2S11", "O2 sensor voltage"));
    run.series.push_back(named("7E8", 0x14, 1, "", "Short term trim"));
    run.series.push_back(named("7E9", 0x0C, 0, "RPM", "Engine speed"));
    run.series.push_back(named("7E8", 0xF40D, 0, "VSS", "Vehicle speed"));
    return run;
}

std::vector<std::size_t> chosen(std::string_view text) {
    const auto picks = parse_picks(text);
    REQUIRE(picks);
    return select(sample_run(), *picks);
}
using Places = std::vector<std::size_t>;
} // namespace

TEST_CASE("signals are picked by PID, field, short name, name and ECU, in the order asked for") {
    CHECK(chosen("0c") == Places{0, 3});
    CHECK(chosen("7E9:0C") == Places{3});
    CHECK(chosen("7e8: RPM") == Places{0});
    CHECK(chosen("14.1") == Places{2});
    CHECK(chosen("14,0C") == Places{1, 2, 0, 3});
    CHECK(chosen("engine SPEED, 0C") == Places{0, 3});
    CHECK(chosen("0D") == Places{4});
    CHECK(chosen("F40D") == Places{4});
    CHECK(chosen("nothing of the kind").empty());
    CHECK(select(sample_run(), {}) == Places{0, 1, 2, 3, 4});
}

TEST_CASE("an entry that is empty is refused") {
    CHECK_FALSE(parse_pick(""));
    CHECK_FALSE(parse_pick("  "));
    CHECK_FALSE(parse_pick("7E8:"));
    CHECK_FALSE(parse_picks("0C,,0D"));
    CHECK_FALSE(parse_pick(std::string(1000, 'x')));
}

TEST_CASE("a watch list is read from text") {
    const auto watch =
        parse_watch("\xEF\xBB\xBF# my own\n0C   # engine speed\r\n\r\n7E8:14.1\nVSS\n");
    REQUIRE(watch);
    CHECK(select(sample_run(), watch->picks) == Places{0, 3, 2, 4});
    CHECK_FALSE(parse_watch("# nothing\n"));
    const auto bad = parse_watch("0C\n7E8:\n");
    REQUIRE_FALSE(bad);
    CHECK(bad.error().place.line == 2);
}

TEST_CASE("every ready-made list has a name, a purpose and engine speed or temperatures in it") {
    const auto watches = ready_watches();
    REQUIRE(watches.size() == 6);
    for (const Watch& watch : watches) {
        CHECK_FALSE(watch.name.empty());
        CHECK_FALSE(watch.about.empty());
        CHECK(watch.picks.size() > 5);
        bool known = false;
        for (const Pick& pick : watch.picks)
            known = known || pick.id == 0x0C || pick.id == 0x05;
        CHECK(known);
    }
}
