// SPDX-License-Identifier: Apache-2.0
#include "on_links.hpp"

#include <chrono>
#include <csignal>

#include <boost/asio/signal_set.hpp>

namespace telltale::program {

Result<vet::Report> vet_on_links(boost::asio::io_context& io, vet::LiveBase& vetting,
                                 const VetOptions& options, Progress& progress) {
    bool over = false;
    bool fine = false;
    bool interrupted = false;
    boost::asio::signal_set signals(io, SIGINT, SIGTERM);
    signals.async_wait([&](const boost::system::error_code& error, int) {
        if (error || over)
            return;
        interrupted = true;
        vetting.stop();
    });
    vetting.on_progress = [&](std::string_view what, double part) { progress.show(what, part); };
    vetting.start([&](bool done) {
        over = true;
        fine = done;
    });
    while (!over) {
        if (io.stopped())
            io.restart();
        io.run_one_for(std::chrono::milliseconds(200));
    }
    progress.clear();
    if (!fine)
        return fail(ErrorCode::cannot_open, vetting.trouble());
    vet::Report report = vetting.report();
    report.links.resize(2);
    report.links[0].name = options.link;
    report.links[1].name = options.against;
    if (interrupted)
        report.broken_off = "It was broken off by its user.";
    return report;
}

} // namespace telltale::program
