// SPDX-License-Identifier: Apache-2.0
// Polls one value from a vehicle: poll_value LINK prints the engine speed ten times.
#include <cstdio>
#include <optional>
#include <vector>

#include <boost/asio/io_context.hpp>

#include <telltale/client/live.hpp>
#include <telltale/client/poller.hpp>
#include <telltale/link/open.hpp>

int main(int argc, char** argv) {
    using namespace telltale;
    boost::asio::io_context context;
    const auto link = link::make_link(context.get_executor(), argc == 2 ? argv[1] : "");
    if (!link) {
        std::fprintf(stderr, "%s\n", link.error().detail.c_str());
        return 2;
    }
    client::Session session;
    std::optional<client::Driver> driver;
    driver.emplace(**link, session);
    client::Finder finder(client::finder_options(**link, false));
    std::optional<client::Poller> poller;
    int left = 10;
    const auto leave = [&] { // then nothing is left for the loop to wait for
        driver.reset();
        (*link)->close();
    };
    driver->run(finder, [&](bool) {
        if (!finder.found()) {
            std::fprintf(stderr, "no vehicle: %s\n", driver->trouble().c_str());
            return leave();
        }
        client::EcuFacts ecu;
        ecu.id = finder.ecus().front();
        ecu.supported[1].set(0x0C);
        const client::Wanted speed{0x0C, ecu.id, 100 * nanoseconds_a_millisecond};
        poller.emplace(finder.line(), std::vector{ecu}, std::vector{speed});
        poller->on_sample = [&](const client::Sample& sample) {
            // Two bytes, a quarter of a revolution per minute each (SAE J1979-DA, PID 0C).
            if (sample.data.size() == 2)
                std::printf("%.2f rpm\n", static_cast<double>(big_endian(sample.data, 0, 2)) / 4);
            if (--left == 0)
                poller->finish();
        };
        driver->run(*poller, [&](bool) { leave(); });
    });
    context.run();
    return left == 0 ? 0 : 1;
}
