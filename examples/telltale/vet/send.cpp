// SPDX-License-Identifier: Apache-2.0
// `telltale vet LINK --send`: known frames onto a bench line, for whoever takes a dump of them.
#include <chrono>
#include <csignal>
#include <string>
#include <variant>

#include <boost/asio/io_context.hpp>
#include <boost/asio/signal_set.hpp>
#include <boost/asio/steady_timer.hpp>

#include "output.hpp"
#include "progress.hpp"
#include "telltale/link/open.hpp"
#include "vet.hpp"

namespace telltale::program {

namespace {

/// Between two frames: whoever takes the dump is not to be tried for its speed.
constexpr auto pace = std::chrono::milliseconds(2);
constexpr auto listening = std::chrono::milliseconds(300);

} // namespace

Result<std::string> send_known(const VetOptions& options) {
    if (!options.against.empty() || options.vehicle || !options.dump.empty())
        return fail(ErrorCode::bad_argument, "--send needs a link and nothing at its other end");
    if (options.known.empty())
        return fail(ErrorCode::bad_argument,
                    "say which frames are to be sent: --known vectors/known-frames.txt");
    const auto known = read_known_frames(options.known, options.classic);
    if (!known)
        return tl::unexpected<Error>(known.error());
    boost::asio::io_context io(1);
    const auto line = link::make_link(io.get_executor(), options.link);
    if (!line)
        return tl::unexpected<Error>(line.error());
    link::Link& link = **line;
    if (link.capabilities().line != link::LineKind::can)
        return fail(ErrorCode::bad_argument,
                    "known frames are for CAN: can:can0, slcan:/dev/ttyACM0@500k");

    bool interrupted = false;
    boost::asio::signal_set signals(io, SIGINT, SIGTERM);
    signals.async_wait([&](const boost::system::error_code& error, int) { interrupted = !error; });
    const auto until = [&](const bool& done) {
        while (!done) {
            if (io.stopped())
                io.restart();
            io.run_one();
        }
    };
    const auto pause = [&](std::chrono::nanoseconds time) {
        bool over = false;
        boost::asio::steady_timer timer(io, time);
        timer.async_wait([&](const boost::system::error_code&) { over = true; });
        until(over);
    };

    say("known frames go onto this line. It must be a bench line with nothing else on it: never a "
        "vehicle's, where they can set off anything.");
    link::error_code failed;
    bool done = false;
    link::OpenSettings settings;
    settings.can.bit_rate = options.bit_rate;
    link.async_open(settings, std::chrono::seconds(15),
                    [&](link::error_code error, const link::LineUp&) {
                        failed = error;
                        done = true;
                    });
    until(done);
    if (failed)
        return fail(ErrorCode::cannot_open, link.trouble());
    done = false;
    bool others = false;
    link.async_receive(listening, [&](link::error_code error, const link::Received& received) {
        const auto* frame = std::get_if<CanFrame>(&received.traffic);
        others = !error && frame != nullptr && frame->kind != CanKind::error;
        done = true;
    });
    until(done);
    if (others)
        return fail(ErrorCode::bad_argument,
                    "others speak on this line, so nothing was sent: use a bench line of its own");

    const bool fd = link.capabilities().fd;
    const std::uint64_t rounds = options.rounds == 0 ? 1 : options.rounds;
    std::uint64_t sent = 0;
    std::uint64_t left_out = 0;
    std::uint64_t not_taken = 0;
    std::uint64_t whole = 0; ///< rounds
    Progress progress(options.progress);
    for (; whole < rounds && !interrupted; ++whole)
        for (const vet::KnownFrame& frame : known->frames) {
            if (interrupted)
                break;
            if (frame.fd && !fd) {
                ++left_out;
                continue;
            }
            done = false;
            link.async_send(frame.view(), std::chrono::seconds(2),
                            [&](link::error_code error, const link::Sent&) {
                                failed = error;
                                done = true;
                            });
            until(done);
            if (failed == link::LinkError::gone || failed == link::LinkError::not_open)
                return fail(ErrorCode::cannot_write, link.trouble());
            ++(failed ? not_taken : sent);
            progress.show("known frames", static_cast<double>(sent + left_out + not_taken) /
                                              static_cast<double>(rounds * known->frames.size()));
            pause(pace);
        }
    pause(std::chrono::milliseconds(100)); // the last one is to be on the line
    progress.clear();
    link.close();
    std::string text;
    append_integer(text, sent);
    text += sent == 1 ? " frame sent, " : " frames sent, ";
    append_integer(text, interrupted ? whole - (whole > 0 ? 1 : 0) : whole);
    text += " whole rounds";
    if (left_out != 0) {
        text += "; ";
        append_integer(text, left_out);
        text += " of CAN FD left out, which this link does not carry: vet the dump with --classic";
    }
    if (not_taken != 0) {
        text += "; ";
        append_integer(text, not_taken);
        return fail(ErrorCode::cannot_write,
                    text + " not taken by the line: is anything at its other end?");
    }
    return text + '\n';
}

} // namespace telltale::program
