// SPDX-License-Identifier: Apache-2.0
// usage: bench-live LINK [SECONDS]
// How many values a second the poller reads over a link, beside a plain loop that asks for one PID
// after the other, each for SECONDS (5) and twice by turns. At the other end: `telltale mimic` with
// a vehicle that answers at once, as in
//
//     telltale mimic doip:127.0.0.1 --seed 3 --delay 0 &     (prints the name of the link)
//     bench-live doip:127.0.0.1:PORT
//
// Over a pseudo terminal and the loopback there are no bit times: what counts is how often the two
// programs have to wait for each other.
#include <chrono>
#include <cstdio>
#include <cstdlib>
#include <optional>

#include <boost/asio/io_context.hpp>

#include "plain_loop.hpp"
#include "telltale/client/finder.hpp"
#include "telltale/client/live.hpp"
#include "telltale/client/reader.hpp"
#include "telltale/link/open.hpp"

namespace {

using namespace telltale;
using namespace telltale::client;
using Clock = std::chrono::steady_clock;

struct Live {
    explicit Live(const link::LinkName& name) : link(link::make_link(io.get_executor(), name)) {
        driver.emplace(*link, session);
    }
    bool run(Task& task, std::chrono::duration<double> limit) {
        bool over = false;
        bool ran = false;
        driver->run(task, [&](bool done) {
            over = true;
            ran = done;
        });
        const auto end = Clock::now() + std::chrono::duration_cast<Clock::duration>(limit);
        while (!over && Clock::now() < end)
            io.run_one_until(end);
        if (!over)
            driver->stop();
        return ran;
    }
    boost::asio::io_context io{1};
    std::unique_ptr<link::Link> link;
    Session session;
    std::optional<Driver> driver;
};

} // namespace

int main(int argc, char** argv) {
    const auto name = argc >= 2 ? link::parse_link_name(argv[1])
                                : Result<link::LinkName>(fail(ErrorCode::bad_argument, "no link"));
    if (!name) {
        std::fprintf(stderr, "usage: bench-live LINK [SECONDS]: %s\n", name.error().detail.c_str());
        return 2;
    }
    const std::chrono::duration<double> span(argc >= 3 ? std::atof(argv[2]) : 5);
    Live live(*name);
    Finder finder(finder_options(*live.link, name->bit_rate != 0));
    live.run(finder, std::chrono::seconds(20));
    if (!finder.found()) {
        std::fprintf(stderr, "no vehicle: %s\n", live.driver->trouble().c_str());
        return 2;
    }
    ReaderOptions options;
    options.ecus = finder.ecus();
    options.on_uds = finder.on_uds();
    options.support_only = true;
    Reader reader(finder.line(), options);
    live.run(reader, std::chrono::seconds(60));
    std::vector<Wanted> wanted;
    for (unsigned pid = 1; pid < 256 && !reader.ecus().empty(); ++pid)
        if (reader.ecus().front().supported[1].test(pid))
            wanted.push_back({static_cast<std::uint8_t>(pid), reader.ecus().front().id, 0});
    if (wanted.empty())
        return 2;
    double polled = 0;
    double looped = 0;
    for (int turn = 0; turn < 2; ++turn) {
        bench::PlainLoop loop(wanted);
        live.run(loop, span);
        looped += static_cast<double>(loop.values) / span.count() / 2;
        Poller poller(finder.line(), reader.ecus(), wanted);
        std::uint64_t values = 0;
        poller.on_sample = [&](const Sample&) { ++values; };
        live.run(poller, span);
        polled += static_cast<double>(values) / span.count() / 2;
    }
    std::printf("%s: %zu parameters, poller %.0f, plain loop %.0f values a second: %.2f times\n",
                argv[1], wanted.size(), polled, looped, polled / looped);
    return 0;
}
