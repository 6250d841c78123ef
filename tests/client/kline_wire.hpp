// SPDX-License-Identifier: Apache-2.0
// A K-line in memory with a virtual clock, at frame level: 10400 baud, a session on one side, a
// simulated vehicle on the other, and faults between them.
#pragma once

#include <algorithm>
#include <vector>

#include "telltale/frame/kline.hpp"
#include "wire.hpp"

namespace telltale::tests {

class KlineWire {
  public:
    KlineWire(client::Session& session, mimic::Vehicle& vehicle, std::uint64_t seed)
        : session_(session), vehicle_(vehicle), random_(seed) {}

    Time now = 1'700'000'000 * sec;
    Troubles troubles;
    std::vector<Spoken> spoken; ///< the data of each frame of an ECU
    Time shortest_pause = sec;  ///< from the end of an answer to the next request (P3)

    bool run(Time until, const std::function<bool()>& over) {
        for (unsigned still = 0;;) {
            link::Traffic piece;
            if (confirm_at_ == no_time && session_.to_send(piece, now))
                ask(std::get<link::KlineBytes>(piece).frame);
            if (over())
                return true;
            Time next = until;
            for (const Frame& frame : flying_)
                next = std::min(next, frame.at);
            if (const Time wake = session_.wake_at(); wake != no_time)
                next = std::min(next, wake);
            if (confirm_at_ != no_time)
                next = std::min(next, confirm_at_);
            next = std::max(next, now);
            if (next >= until && now >= until)
                return false;
            still = next == now ? still + 1 : 0;
            if (still > 20'000)
                throw std::runtime_error("time stands still");
            now = next;
            step();
        }
    }
    void run(Time span) {
        run(now + span, [] { return false; });
    }

  private:
    struct Frame {
        Time at = 0;
        std::vector<std::uint8_t> bytes;
    };
    bool chance(double p) { return p > 0 && random_.uniform() < p; }
    static Time takes(std::size_t bytes) {
        return static_cast<Time>(bytes) * KlineCutter::byte_time;
    }

    /// Puts a frame on its way, or what is left of it.
    void fly(std::vector<std::uint8_t> bytes, Time at) {
        if (chance(troubles.drop))
            return;
        // A bit is turned over: the sum of the bytes tells.
        if (chance(troubles.corrupt))
            bytes[random_.below(static_cast<std::uint32_t>(bytes.size()))] ^=
                static_cast<std::uint8_t>(1U << random_.below(8));
        if (chance(troubles.delay))
            at += static_cast<Time>(random_.uniform() * static_cast<double>(troubles.latest));
        flying_.push_back({at, bytes});
        if (chance(troubles.twice))
            flying_.push_back({at, bytes});
    }

    void ask(Bytes frame) {
        if (heard_ != no_time)
            shortest_pause = std::min(shortest_pause, now - heard_);
        const Time end = now + takes(frame.size()) + 5 * ms * static_cast<Time>(frame.size() - 1);
        confirm_at_ = end;
        std::vector<std::uint8_t> request(frame.begin(), frame.end());
        if (chance(troubles.drop))
            return;
        if (chance(troubles.corrupt))
            request[random_.below(static_cast<std::uint32_t>(request.size()))] ^=
                static_cast<std::uint8_t>(1U << random_.below(8));
        Time free = end;
        vehicle_.ask_kline(request, end, [&](const mimic::Answer& answer) {
            const Time begun = std::max(end + answer.after, free + 5 * ms);
            free = begun + takes(answer.message.size());
            KlineFrame parts;
            if (parse_kline(answer.message, parts).fine())
                spoken.push_back({{0x18DAF100U | parts.source, true},
                                  begun,
                                  free,
                                  {parts.data.begin(), parts.data.end()}});
            fly({answer.message.begin(), answer.message.end()}, free);
        });
    }

    void step() {
        if (confirm_at_ != no_time && confirm_at_ <= now) {
            confirm_at_ = no_time;
            session_.sent(now);
        }
        std::stable_sort(flying_.begin(), flying_.end(),
                         [](const Frame& a, const Frame& b) { return a.at < b.at; });
        while (!flying_.empty() && flying_.front().at <= now) {
            const Frame frame = std::move(flying_.front());
            flying_.erase(flying_.begin());
            heard_ = now;
            session_.receive(link::KlineBytes{frame.bytes}, now);
        }
        if (const Time wake = session_.wake_at(); wake != no_time && wake <= now)
            session_.wake(now);
    }

    client::Session& session_;
    mimic::Vehicle& vehicle_;
    mimic::Random random_;
    std::vector<Frame> flying_;
    Time confirm_at_ = no_time;
    Time heard_ = no_time;
};

} // namespace telltale::tests
