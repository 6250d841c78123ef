// SPDX-License-Identifier: Apache-2.0
// Vetting on links that is broken off. (Whole vettings on links: tests/whole/vet.)
#include <doctest/doctest.h>

#include <chrono>
#include <optional>

#include <boost/asio/io_context.hpp>

#include "support/run_until.hpp"
#include "telltale/link/pair.hpp"
#include "telltale/vet/live.hpp"

using namespace telltale;
using namespace telltale::vet;

namespace {

struct Pair {
    Pair() {
        auto [a, b] = link::in_process_pair(io.get_executor(), io.get_executor());
        tested = std::move(a);
        reference = std::move(b);
    }
    bool run_until(const std::optional<bool>& done) {
        return tests::run_until(
            io, [&] { return done.has_value(); }, std::chrono::seconds(20));
    }
    boost::asio::io_context io;
    std::unique_ptr<link::Link> tested;
    std::unique_ptr<link::Link> reference;
};

} // namespace

TEST_CASE("vetting that is broken off before the links are open has no report") {
    Pair pair;
    LiveVetting vetting(*pair.tested, *pair.reference, {});
    std::optional<bool> done;
    vetting.start([&](bool fine) { done = fine; });
    vetting.stop();
    REQUIRE(pair.run_until(done));
    CHECK(!*done);
    CHECK(vetting.trouble().find("broken off") != std::string::npos);
    CHECK(vetting.report().checks.empty());
    vetting.stop(); // once more is nothing
}

TEST_CASE("vetting that is broken off later tells what was not tried") {
    Pair pair;
    LiveOptions options;
    options.vetting.seed = 7;
    LiveVetting vetting(*pair.tested, *pair.reference, options);
    std::optional<bool> done;
    vetting.on_progress = [&](std::string_view, double part) {
        CHECK(part >= 0);
        CHECK(part <= 1);
        vetting.stop();
    };
    vetting.start([&](bool fine) { done = fine; });
    REQUIRE(pair.run_until(done));
    CHECK(*done);
    const Report& report = vetting.report();
    CHECK(report.verdict() == Verdict::untested);
    CHECK(report.broken_off == "It was broken off.");
    CHECK(report.seed == 7);
    REQUIRE(report.links.size() == 2);
    CHECK(report.links[1].part == "reference");
}
