// SPDX-License-Identifier: Apache-2.0
#include <doctest/doctest.h>

#include <cstdio>
#include <cstdlib>
#include <string>

#include "bench.hpp"

using namespace telltale;
using namespace telltale::vet_test;

namespace {

void print(const Report& report) {
    for (const auto& check : report.checks)
        std::printf("%-9s %-22s %7llu %5llu | %s | %s | %s\n",
                    std::string(word(check.verdict)).c_str(), check.id.c_str(),
                    static_cast<unsigned long long>(check.sent_count),
                    static_cast<unsigned long long>(check.wrong_count), check.sent.c_str(),
                    check.came.c_str(), check.finding.c_str());
    for (const auto& note : report.notes)
        std::printf("note: %s\n", note.c_str());
}

} // namespace

TEST_CASE("vetting: a sound adapter passes") {
    BenchOptions options;
    if (const char* seed = std::getenv("SEED"))
        options.seed = std::strtoull(seed, nullptr, 10);
    options.duration = 20 * nanoseconds_a_second;
    Bench bench(options);
    const auto& report = bench.run();
    CAPTURE(bench.phase());
    CHECK(bench.done());
    CHECK(report.verdict() == Verdict::passed);
    if (std::getenv("PRINT"))
        print(report);
}
