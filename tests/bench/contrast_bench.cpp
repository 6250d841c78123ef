// SPDX-License-Identifier: Apache-2.0
// contrast-bench FIRST LAST vehicle|latent [LEAST MOST]: seeded pairs of drives, three in twelve of
// them without a fault, the others with one of nine kinds in one of five sizes (in units of the
// signal's own noise and step). Prints by kind and size how often the right suspect stood first,
// among the first three, or nothing was found, and the false alarms. With LEAST and MOST it fails
// when fewer than LEAST percent of the faults above five units stand first, or more than MOST
// percent of the pairs without a fault alarm.
#include <array>
#include <chrono>
#include <cstddef>
#include <cstdio>
#include <cstdlib>
#include <cstring>

#include "drive_generator.hpp"
#include "telltale/run/contrast.hpp"

using namespace telltale::run;

namespace {

constexpr std::array kinds{
    DepartureKind::drop_out, DepartureKind::spike,  DepartureKind::end_of_range,
    DepartureKind::stuck,    DepartureKind::offset, DepartureKind::drift,
    DepartureKind::lag,      DepartureKind::noise,  DepartureKind::scale};
constexpr std::array sizes{1.5, 3.5, 7.0, 15.0, 40.0};
constexpr std::array bounds{2.0, 5.0, 10.0, 30.0};
constexpr std::array labels{"below 2", "2 to 5", "5 to 10", "10 to 30", "above 30"};

struct Cell {
    int pairs = 0;
    int first = 0;
    int three = 0;
    int none = 0;
};

double percent(int part, int whole) {
    return whole == 0 ? 0 : 100.0 * part / whole;
}

void print(const char* kind, const char* size, const Cell& cell) {
    std::printf("%-14s %-9s %4d pairs  first %5.1f %%  first three %5.1f %%  none %5.1f %%\n", kind,
                size, cell.pairs, percent(cell.first, cell.pairs), percent(cell.three, cell.pairs),
                percent(cell.none, cell.pairs));
}

} // namespace

int main(int argc, char** argv) {
    if (argc != 4 && argc != 6) {
        std::fprintf(stderr, "usage: contrast-bench FIRST LAST vehicle|latent [LEAST MOST]\n");
        return 2;
    }
    const auto from = std::strtoull(argv[1], nullptr, 10);
    const auto to = std::strtoull(argv[2], nullptr, 10);
    std::array<std::array<Cell, labels.size()>, kinds.size()> table{};
    Cell large;
    int clean = 0;
    int alarms = 0;
    double seconds = 0;
    for (auto seed = from; seed < to; ++seed) {
        bench::Scenario scenario;
        scenario.seed = seed;
        scenario.family =
            std::strcmp(argv[3], "vehicle") == 0 ? bench::Family::vehicle : bench::Family::latent;
        const std::size_t kind = seed % 12;
        scenario.faulty = kind < kinds.size();
        if (scenario.faulty) {
            scenario.kind = kinds[kind];
            scenario.size = sizes[seed / 12 % sizes.size()];
        }
        const bench::Pair pair = bench::make_pair(scenario);
        const Run* bad[] = {&pair.bad};
        const auto begun = std::chrono::steady_clock::now();
        const ContrastResult result = contrast(pair.good, bad);
        seconds += std::chrono::duration<double>(std::chrono::steady_clock::now() - begun).count();
        if (!scenario.faulty) {
            ++clean;
            alarms += result.suspects.empty() ? 0 : 1;
            continue;
        }
        std::size_t rank = result.suspects.size();
        for (std::size_t i = result.suspects.size(); i > 0; --i)
            if (result.signals[result.suspects[i - 1].signal].good_series == pair.truth.series)
                rank = i - 1;
        std::size_t size = 0;
        while (size < bounds.size() && pair.truth.size >= bounds[size])
            ++size;
        if (pair.truth.touched == 0)
            size = 0; // no sample fell into the fault
        const auto add = [&](Cell& cell) {
            const bool found = rank < result.suspects.size();
            ++cell.pairs;
            cell.first += found && rank == 0 ? 1 : 0;
            cell.three += found && rank < 3 ? 1 : 0;
            cell.none += result.suspects.empty() ? 1 : 0;
        };
        add(table[kind][size]);
        if (size >= 2)
            add(large);
    }
    for (std::size_t k = 0; k < kinds.size(); ++k)
        for (std::size_t s = 0; s < labels.size(); ++s)
            if (table[k][s].pairs > 0)
                print(word(kinds[k]).data(), labels[s], table[k][s]);
    print("all", "above 5", large);
    std::printf("without a fault: %d pairs, %d false alarms (%.1f %%)\n", clean, alarms,
                percent(alarms, clean));
    std::printf("%.3f s a pair\n", to > from ? seconds / static_cast<double>(to - from) : 0);
    if (argc == 6 && (percent(large.first, large.pairs) < std::atof(argv[4]) ||
                      percent(alarms, clean) > std::atof(argv[5]))) {
        std::fprintf(stderr, "contrast-bench: worse than %s %% first, %s %% false alarms\n",
                     argv[4], argv[5]);
        return 1;
    }
    return 0;
}
