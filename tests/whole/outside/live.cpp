// SPDX-License-Identifier: Apache-2.0
// The client on a link finds the simulated vehicle at its other end; vetting on links is made.
#include <cstdio>

#include <boost/asio/io_context.hpp>

#include <telltale/client/live.hpp>
#include <telltale/link/pair.hpp>
#include <telltale/vet/live.hpp>

#include "../../support/vehicle_on_link.hpp"

int main() {
    using namespace telltale;
    boost::asio::io_context context;
    const auto pair = link::in_process_pair(context.get_executor(), context.get_executor());
    mimic::Options how;
    how.habits.delay = nanoseconds_a_millisecond;
    tests::VehicleOnLink vehicle(*pair.second, how);
    client::Session session;
    client::Driver driver(*pair.first, session);
    client::Finder finder(client::finder_options(*pair.first, true));
    driver.run(finder, [&](bool) { context.stop(); });
    context.run();
    vet::LiveVetting vetting(*pair.first, *pair.second, {});
    if (!finder.found() || !vetting.trouble().empty()) {
        std::fprintf(stderr, "no vehicle: %s\n", driver.trouble().c_str());
        return 1;
    }
    return 0;
}
