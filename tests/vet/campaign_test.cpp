// SPDX-License-Identifier: Apache-2.0
// Adapters with known faults: each is to be found and called by its name, and a sound one passes.
#include <doctest/doctest.h>

#include <cstdlib>
#include <string>
#include <string_view>
#include <vector>

#include "bench.hpp"
#include "verdicts.hpp"

using namespace telltale;
using namespace telltale::vet_test;

namespace {

struct Trial {
    std::string name;
    const char* check;   ///< which is to fail; empty: all are to pass
    const char* finding; ///< words that are to stand in its finding
    bool own_isotp;
    bool fd;
    Faults faults;
};

std::vector<Trial> trials() {
    std::vector<Trial> list;
    const auto add = [&](const char* name, const char* check, const char* finding, bool own,
                         auto spoil) {
        const bool fd = std::string_view(name).find("CAN FD") != std::string_view::npos;
        Trial trial{name, check, finding, own, fd, {}};
        spoil(trial.faults);
        list.push_back(trial);
    };
    add("sound", "", "", false, [](Faults&) {});
    add("sound, own ISO-TP", "", "", true, [](Faults&) {});
    add("sound, CAN FD", "", "", false, [](Faults&) {});
    add("drops 1 CAN FD frame in 500", "load-fd", "lost or changed", false,
        [](Faults& f) { f.drop_fd = 2e-3; });
    add("drops 1 in 10,000", "load-loss", "are lost", false, [](Faults& f) { f.drop = 1e-4; });
    add("swaps two in a burst, 1 in 2,000", "load-order", "change places", false,
        [](Faults& f) { f.swap = 5e-4; });
    add("clears the extended flag", "frames-ids-29", "29-bit identifiers arrive as 11-bit", false,
        [](Faults& f) { f.clear_extended = true; });
    add("cuts the eighth byte", "frames-lengths", "bytes cut off at the end", false,
        [](Faults& f) { f.cut_eighth = true; });
    add("pads with other bytes", "isotp-padding", "filled with other bytes", false,
        [](Faults& f) { f.pad = 0x5A; });
    add("pads with other bytes, own ISO-TP", "isotp-padding", "filled with other bytes", true,
        [](Faults& f) { f.pad = 0x00; });
    add("ignores STmin, own ISO-TP", "isotp-stmin", "STmin is not kept", true,
        [](Faults& f) { f.ignore_st_min = true; });
    add("sends in bunches each 20 ms", "isotp-stmin", "STmin is not kept", false,
        [](Faults& f) { f.gather = 20 * ms; });
    add("ignores the block size, own ISO-TP", "isotp-block-size", "without leave", true,
        [](Faults& f) { f.ignore_block_size = true; });
    add("answers flow control late, own ISO-TP", "isotp-flow-control", "Flow control comes late",
        true, [](Faults& f) { f.late_flow_control = 80 * ms; });
    add("holds flow control back", "isotp-flow-control", "Flow control comes late", false,
        [](Faults& f) { f.late_flow_control = 80 * ms; });
    add("stamps step back, 1 in 10,000", "times-monotonic", "step back", false,
        [](Faults& f) { f.step_back = 1e-4; });
    add("doubles under load, 1 in 2,000", "load-twice", "doubled", false,
        [](Faults& f) { f.twice = 5e-4; });
    add("clock 400 ppm fast", "times-drift", "too fast", false, [](Faults& f) { f.ppm = 400; });
    add("stamps in steps of 10 ms", "times-resolution", "coarse", false,
        [](Faults& f) { f.resolution = 10 * ms; });
    add("swallows remote frames", "frames-remote", "none arrives", false,
        [](Faults& f) { f.no_remote = true; });
    add("filters let all through", "filters", "let frames through", false,
        [](Faults& f) { f.loose_filter = true; });
    add("silent about errors", "errors-reported", "tells nothing", false,
        [](Faults& f) { f.quiet_about_errors = true; });
    add("stays off the bus", "bus-off-recovered", "no frame went", false,
        [](Faults& f) { f.dead_after_bus_off = true; });
    add("does not come back when replugged", "replug", "could not be opened again", false,
        [](Faults& f) { f.dead_after_replug = true; });
    return list;
}

} // namespace

// With TELLTALE_SEEDS, so many seeds of a minute each; DEVELOPERS.md has what 100 gave. Without,
// one of a few seconds, with the rare faults twenty times as often. TELLTALE_TRIAL: those alone
// that have these words in their name.
TEST_CASE("campaign: known faults are found and named, and a sound adapter passes") {
    const Seeds seeds = vet_test::seeds();
    Tally::head("adapter");
    const char* only = std::getenv("TELLTALE_TRIAL");
    for (const auto& trial : trials()) {
        if (only != nullptr && trial.name.find(only) == std::string::npos)
            continue;
        Tally tally(trial.name, trial.check, trial.finding);
        tally.leaves_out();
        for (std::uint64_t seed = 1; seed <= seeds.count; ++seed) {
            BenchOptions options;
            options.seed = seed;
            options.faults = trial.faults;
            options.own_isotp = trial.own_isotp;
            options.fd = trial.fd;
            if (!seeds.asked) { // little time, and faults that show in it
                // A clock takes its time, and so does ISO-TP with losses.
                const bool longer =
                    trial.faults.ppm > 100 || trial.faults.drop > 0 || trial.faults.drop_fd > 0;
                options.duration = (longer ? 60 : 4) * nanoseconds_a_second;
                for (double* rate :
                     {&options.faults.drop, &options.faults.swap, &options.faults.twice,
                      &options.faults.step_back, &options.faults.drop_fd})
                    *rate *= 20;
            }
            Bench bench(options);
            const Report& report = bench.run();
            CAPTURE(trial.name);
            CAPTURE(seed);
            CHECK(bench.done());
            // A minute, and what taking it off and putting it back takes.
            if (tally.sound() && seeds.asked)
                CHECK(bench.taken() <= 64 * nanoseconds_a_second);
            tally.add(report, seed);
        }
        tally.end();
    }
}
