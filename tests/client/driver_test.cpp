// SPDX-License-Identifier: Apache-2.0
// The driver on a pair of links in this process, with the simulated vehicle at the other end.
#include <chrono>
#include <memory>

#include <boost/asio/io_context.hpp>
#include <boost/asio/post.hpp>
#include <doctest/doctest.h>

#include "support/run_until.hpp"
#include "support/vehicle_on_link.hpp"
#include "telltale/client/finder.hpp"
#include "telltale/client/live.hpp"
#include "telltale/client/poller.hpp"
#include "telltale/client/reader.hpp"
#include "telltale/link/pair.hpp"

using namespace telltale;
using namespace telltale::client;

TEST_CASE("finder, reader and poller on a link") {
    boost::asio::io_context io;
    auto [near, far] = link::in_process_pair(io.get_executor(), io.get_executor());
    mimic::Options options;
    options.habits.delay = options.habits.spread = 0;
    options.verification_time = 0;
    tests::VehicleOnLink other(*far, options);
    Session session;
    Driver driver(*near, session);
    std::uint64_t sent = 0;
    std::uint64_t received = 0;
    driver.on_traffic = [&](const link::Traffic&, Time, bool is_sent) {
        ++(is_sent ? sent : received);
    };
    Finder finder(finder_options(*near, false));
    std::unique_ptr<Reader> reader;
    std::unique_ptr<Poller> poller;
    bool over = false;
    std::uint64_t samples = 0;
    driver.run(finder, [&](bool found) {
        REQUIRE(found);
        REQUIRE(finder.found());
        ReaderOptions reader_options;
        reader_options.ecus = finder.ecus();
        reader_options.support_only = true;
        reader = std::make_unique<Reader>(finder.line(), reader_options);
        driver.run(*reader, [&](bool read) {
            REQUIRE(read);
            CHECK(reader->ecus().size() == 2);
            const std::vector<Wanted> wanted = {{0x0C, {}, 0}, {0x0D, {}, 0}};
            poller = std::make_unique<Poller>(finder.line(), reader->ecus(), wanted);
            poller->on_sample = [&](const Sample&) {
                if (++samples == 100)
                    boost::asio::post(io, [&] { driver.stop(); });
            };
            driver.run(*poller, [&](bool) { over = true; });
        });
    });
    REQUIRE(tests::run_until(
        io, [&] { return over; }, std::chrono::seconds(20)));
    CHECK(samples >= 100);
    CHECK(sent > 30);
    CHECK(received > 30);
}

TEST_CASE("a link that cannot be opened ends the task") {
    boost::asio::io_context io;
    link::PairOptions options;
    options.line = link::LineKind::kline;
    auto [near, far] = link::in_process_pair(io.get_executor(), io.get_executor(), options);
    Session session;
    Driver driver(*near, session);
    // Nobody at the other end: each way of waking a K-line is tried, nobody answers.
    Finder finder(finder_options(*near, false));
    bool over = false;
    driver.run(finder, [&](bool ran) {
        over = true;
        CHECK(ran);
        CHECK(!finder.found());
        CHECK(finder.attempts().size() == 2);
    });
    CHECK(tests::run_until(
        io, [&] { return over; }, std::chrono::seconds(20)));
}
