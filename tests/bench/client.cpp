// SPDX-License-Identifier: Apache-2.0
// usage: bench-client
// How many values a second the poller reads from the simulated vehicle, beside a plain loop that
// asks for one PID at a time, and beside the most that a CAN bus of 500 kbit/s can carry; and how
// much time the client's own code takes for a request.
//
// The bus is simulated with a virtual clock. Its frames have 111 bits (11-bit identifier, eight
// bytes, the space between frames included) and no stuff bits, which depend on the data: on
// average about one in ten bits more, at worst 24 (ISO 11898-1). They slow down everything alike.
#include <algorithm>
#include <cstdio>
#include <vector>

#include "client/limit.hpp"
#include "client/wire.hpp"
#include "plain_loop.hpp"
#include "telltale/catalogue/catalogue.hpp"
#include "telltale/client/poller.hpp"
#include "telltale/client/reader.hpp"

namespace {

using namespace telltale;
using namespace telltale::client;
using tests::ms;
using tests::sec;

constexpr Time span = 20 * sec;

struct Bench {
    explicit Bench(Time delay) : vehicle(options(delay)), session(line()), wire(session, vehicle) {
        wire.keep_spoken = false;
        ReaderOptions reader_options;
        reader_options.support_only = true;
        Reader reader(line(), reader_options);
        session.run(reader, wire.now);
        wire.run(wire.now + 30 * sec, [&] { return session.done(); });
        ecus = reader.ecus();
        session.stop();
        wire.run(sec);
        for (unsigned pid = 1; pid < 256; ++pid)
            if (ecus.front().supported[1].test(pid))
                wanted.push_back({static_cast<std::uint8_t>(pid), ecus.front().id, 0});
    }
    static mimic::Options options(Time delay) {
        mimic::Options out;
        out.habits.delay = delay;
        out.habits.spread = 0;
        return out;
    }
    static Line line() {
        Line out;
        out.bit_rate = 500'000;
        return out;
    }
    double polled() {
        Poller poller(line(), ecus, wanted);
        std::uint64_t values = 0;
        poller.on_sample = [&](const Sample&) { ++values; };
        session.run(poller, wire.now);
        wire.run(span);
        session.stop();
        wire.run(sec);
        return static_cast<double>(values) * 1e9 / static_cast<double>(span);
    }
    double looped() {
        bench::PlainLoop loop(wanted);
        session.run(loop, wire.now);
        wire.run(span);
        session.stop();
        wire.run(sec);
        return static_cast<double>(loop.values) * 1e9 / static_cast<double>(span);
    }

    mimic::Vehicle vehicle;
    Session session;
    tests::Wire wire;
    std::vector<EcuFacts> ecus;
    std::vector<Wanted> wanted;
};

void own_time() {
    Bench bench(0);
    std::vector<double> micros;
    std::chrono::nanoseconds before{0};
    bench.wire.watch = true;
    bench.wire.on_frame = [&](const CanFrame& frame, Time, bool to_client) {
        if (to_client || (frame.data[0] & 0xF0) != 0)
            return; // not a request
        micros.push_back(static_cast<double>((bench.wire.spent - before).count()) / 1e3);
        before = bench.wire.spent;
    };
    bench.polled();
    std::sort(micros.begin(), micros.end());
    std::printf("the client's own time a request: median %.1f us, 99 %% below %.1f us "
                "(%zu requests for %zu parameters)\n",
                micros[micros.size() / 2], micros[micros.size() * 99 / 100], micros.size(),
                bench.wanted.size());
}

} // namespace

int main() {
    for (const Time delay : {Time{0}, 2 * ms, 5 * ms, 10 * ms, 25 * ms}) {
        Bench bench(delay);
        const double polled = bench.polled();
        const double looped = bench.looped();
        std::printf("ECU answers after %2d ms: poller %7.1f, plain loop %7.1f values a second: "
                    "%.2f times\n",
                    static_cast<int>(delay / ms), polled, looped, polled / looped);
        if (delay == 0) {
            std::vector<std::size_t> lengths;
            for (const Wanted& want : bench.wanted)
                lengths.push_back(catalogue::pid(want.pid)->length);
            const double most = static_cast<double>(lengths.size()) * 500'000 /
                                (static_cast<double>(tests::least_frames(lengths)) *
                                 static_cast<double>(tests::Wire::bits({0x7DF, false}, 8)));
            std::printf("the most that 500 kbit/s can carry of these %zu parameters: %.1f values a "
                        "second; the poller reaches %.1f %%\n",
                        lengths.size(), most, 100 * polled / most);
        }
    }
    own_time();
    return 0;
}
