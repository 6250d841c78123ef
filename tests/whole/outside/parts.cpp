// SPDX-License-Identifier: Apache-2.0
// The parts without I/O: the client finds the simulated vehicle, frames going from one to the other
// on a clock of this program's own; vetting finds the frame that a dump lacks.
#include <cstdio>

#include <telltale/client/finder.hpp>
#include <telltale/client/session.hpp>
#include <telltale/mimic/vehicle.hpp>
#include <telltale/vet/built_in.hpp>
#include <telltale/vet/offline.hpp>
#include <telltale/vet/render.hpp>

namespace {

using namespace telltale;

bool finds() {
    mimic::Options how;
    how.ecus = 2;
    mimic::Vehicle vehicle(how);
    client::Session session;
    client::Finder finder;
    Time now = nanoseconds_a_second;
    session.run(finder, now);
    for (int step = 0; step < 60'000 && !session.done(); ++step) {
        link::Traffic piece;
        while (session.to_send(piece, now)) {
            vehicle.feed(std::get<CanFrame>(piece), now);
            session.sent(now);
        }
        vehicle.poll(now, [&](const CanFrame& frame) { session.receive(frame, now); });
        now += nanoseconds_a_millisecond;
        session.wake(now);
    }
    return finder.found() && finder.ecus().size() == 2;
}

bool vets() {
    const vet::KnownFrames known = vet::built_in_frames(1);
    vet::DumpVetting vetting(known);
    Time now = 0;
    for (int round = 0; round < 2; ++round)
        for (std::size_t i = 0; i < known.frames.size(); ++i)
            if (round == 0 || i != known.frames.size() / 2)
                vetting.frame(0, dump::Direction::received, known.frames[i].view(),
                              now += nanoseconds_a_millisecond);
    vet::Report report;
    report.checks = vetting.finish();
    return vetting.summary().lost == 1 && !vet::report_text(report).empty();
}

} // namespace

int main() {
    if (!finds()) {
        std::fprintf(stderr, "the vehicle is not found\n");
        return 1;
    }
    if (!vets()) {
        std::fprintf(stderr, "the lost frame is not found\n");
        return 1;
    }
    return 0;
}
