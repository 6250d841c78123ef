// SPDX-License-Identifier: Apache-2.0
#include <doctest/doctest.h>

#include <cstdio>
#include <cstdlib>
#include <string>

#include "bench.hpp"
#include "telltale/vet/doip.hpp"
#include "telltale/vet/kline.hpp"

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

TEST_CASE("vetting: what passed before the reference went away does not make an adapter sound") {
    for (const bool stopped : {false, true}) {
        CAPTURE(stopped);
        Vetting vetting({}, 0);
        if (stopped)
            vetting.stop(nanoseconds_a_second);
        else
            vetting.gone(End::reference, nanoseconds_a_second);
        CHECK(vetting.done());
        CHECK_FALSE(vetting.report().broken_off.empty());
        CHECK(vetting.report().verdict() == Verdict::untested);
        DoipVetting doip({}, 0);
        if (stopped)
            doip.stop(nanoseconds_a_second);
        else
            doip.gone(nanoseconds_a_second);
        CHECK_FALSE(doip.report().broken_off.empty());
        KlineVetting kline({}, 0);
        if (stopped)
            kline.stop(nanoseconds_a_second);
        else
            kline.gone(End::reference, nanoseconds_a_second);
        CHECK_FALSE(kline.report().broken_off.empty());
    }
}
