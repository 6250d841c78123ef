// SPDX-License-Identifier: Apache-2.0
// A CAN bus in memory with a virtual clock: a session on one side, a simulated vehicle on the
// other, and faults between them.
#pragma once

#include <algorithm>
#include <array>
#include <chrono>
#include <cstdint>
#include <deque>
#include <functional>
#include <limits>
#include <stdexcept>
#include <vector>

#include "telltale/client/session.hpp"
#include "telltale/isotp/reassembler.hpp"
#include "telltale/mimic/random.hpp"
#include "telltale/mimic/vehicle.hpp"

namespace telltale::tests {

constexpr Time ms = nanoseconds_a_millisecond;
constexpr Time sec = nanoseconds_a_second;

/// What the line does to a frame, each with its likelihood.
struct Troubles {
    double drop = 0;
    double twice = 0;      ///< the frame comes once more, at once
    double twice_late = 0; ///< the frame comes once more, up to `latest` later
    double delay = 0;
    Time latest = 150 * ms; ///< of delayed frames
    double swap = 0;        ///< overtaken by the frame behind it
    double corrupt = 0;     ///< a bit is turned over, which no CRC noticed
    Time from = 0;          ///< only in this span of time
    Time until = std::numeric_limits<Time>::max();
};

/// A frame with its bytes.
struct Flying {
    Time at = 0;
    std::uint64_t order = 0;
    bool to_client = false;
    CanId id;
    std::array<std::uint8_t, 8> bytes{};
    std::uint8_t size = 0;

    CanFrame frame() const {
        CanFrame out;
        out.id = id;
        out.data = Bytes(bytes).first(size);
        return out;
    }
};

/// A whole message that an ECU put on the line, put together by the passive reassembler from the
/// frames as they were before anything happened to them.
struct Spoken {
    CanId ecu;
    Time begun = 0;
    Time time = 0;
    std::vector<std::uint8_t> bytes;
};

class Wire : isotp::Sink {
  public:
    Wire(client::Session& session, mimic::Vehicle& vehicle, std::uint64_t seed = 1)
        : session_(session), vehicle_(vehicle), random_(seed) {}

    Time now = 1'700'000'000 * sec;
    Troubles troubles;
    bool bit_times = true;    ///< frames take their time on the bus (500 kbit/s)
    bool mute = false;        ///< nobody is at the other end
    std::uint64_t frames = 0; ///< on the bus
    std::vector<Spoken> spoken;
    bool keep_spoken = true;
    std::function<void(const CanFrame&, Time, bool to_client)> on_frame;

    /// Bits of a classic frame: 47 (67 with 29-bit identifiers) and its data, the space between
    /// frames included, without stuffing (ISO 11898-1).
    static std::uint64_t bits(CanId id, std::size_t size) {
        return (id.extended ? 67U : 47U) + 8U * size;
    }
    std::uint64_t bit_count = 0;

    /// Goes on until `over` or the time is there. False: `over` did not come.
    bool run(Time until, const std::function<bool()>& over) {
        for (;;) {
            settle();
            if (over())
                return true;
            Time next = until;
            const auto at = [&](Time when) { next = std::min(next, std::max(when, now)); };
            if (!flying_.empty())
                at(soonest()->at);
            if (const Time wake = session_.wake_at(); wake != no_time)
                at(wake);
            if (!mute)
                at(vehicle_.next_wakeup());
            if (confirm_at_ != no_time)
                at(confirm_at_);
            if (next >= until && now >= until)
                return false;
            if (next == now && ++still_ > 20'000)
                throw std::runtime_error("time stands still");
            if (next > now)
                still_ = 0;
            now = next;
            step();
        }
    }
    void run(Time span) {
        run(now + span, [] { return false; });
    }

    /// Time that the client's code took, real time, when `watch` is set.
    bool watch = false;
    std::chrono::nanoseconds spent{0};

    /// Frames under way are lost as well.
    void unplug() {
        flying_.clear();
        confirm_at_ = no_time;
        session_.unplugged(now);
    }
    void plug() { session_.plugged(now); }

  private:
    void message(const isotp::Message& message) override {
        if (role_of(message.id) == Role::ecu)
            spoken.push_back({message.id,
                              message.time,
                              message.end_time,
                              {message.bytes.begin(), message.bytes.end()}});
    }
    void problem(const Problem&, const isotp::Message&) override {}

    template <class Call> auto timed(Call&& call) {
        struct Watch {
            explicit Watch(Wire& of) : wire(of) {
                if (wire.watch)
                    from = std::chrono::steady_clock::now();
            }
            ~Watch() {
                if (wire.watch)
                    wire.spent += std::chrono::steady_clock::now() - from;
            }
            Wire& wire;
            std::chrono::steady_clock::time_point from{};
        } const watching(*this);
        return call();
    }

    bool chance(double p) { return p > 0 && random_.uniform() < p; }

    std::deque<Flying>::iterator soonest() {
        return std::min_element(flying_.begin(), flying_.end(),
                                [](const Flying& a, const Flying& b) {
                                    return a.at != b.at ? a.at < b.at : a.order < b.order;
                                });
    }

    Time put(const CanFrame& frame, bool to_client) {
        ++frames;
        bit_count += bits(frame.id, frame.data.size());
        const Time takes =
            bit_times ? static_cast<Time>(bits(frame.id, frame.data.size())) * 2000 : 0;
        bus_free_ = std::max(bus_free_, now) + takes;
        if (on_frame)
            on_frame(frame, bus_free_, to_client);
        if (keep_spoken)
            reassembler_.feed(0, frame, bus_free_, {}, *this);
        Flying flying;
        flying.at = bus_free_;
        flying.order = ++order_;
        flying.to_client = to_client;
        flying.id = frame.id;
        flying.size = static_cast<std::uint8_t>(frame.data.size());
        std::copy(frame.data.begin(), frame.data.end(), flying.bytes.begin());
        const bool trouble = now >= troubles.from && now < troubles.until;
        if (!trouble || !session_.is_plugged()) {
            if (session_.is_plugged())
                flying_.push_back(flying);
            return bus_free_;
        }
        if (chance(troubles.drop))
            return bus_free_;
        if (chance(troubles.corrupt) && flying.size != 0)
            flying.bytes[random_.below(flying.size)] ^=
                static_cast<std::uint8_t>(1U << random_.below(8));
        if (chance(troubles.delay))
            flying.at +=
                static_cast<Time>(random_.uniform() * static_cast<double>(troubles.latest));
        if (chance(troubles.swap))
            flying.at += static_cast<Time>(random_.between(0.2, 3) * static_cast<double>(ms));
        flying_.push_back(flying);
        if (chance(troubles.twice)) {
            flying.order = ++order_;
            flying_.push_back(flying);
        }
        if (chance(troubles.twice_late)) {
            flying.order = ++order_;
            flying.at +=
                static_cast<Time>(random_.uniform() * static_cast<double>(troubles.latest));
            flying_.push_back(flying);
        }
        return bus_free_;
    }

    void settle() {
        link::Traffic piece;
        for (int guard = 0; guard < 100; ++guard) {
            if (confirm_at_ == no_time && timed([&] { return session_.to_send(piece, now); }))
                confirm_at_ = put(std::get<CanFrame>(piece), false);
            else
                break;
            if (bit_times)
                break;
            confirm_at_ = no_time;
            timed([&] { session_.sent(now); });
        }
    }

    void step() {
        if (confirm_at_ != no_time && confirm_at_ <= now) {
            confirm_at_ = no_time;
            timed([&] { session_.sent(now); });
        }
        while (!flying_.empty()) {
            const auto next = soonest();
            if (next->at > now)
                break;
            const Flying flying = *next;
            flying_.erase(next);
            if (flying.to_client)
                timed([&] { session_.receive(flying.frame(), now); });
            else if (!mute)
                vehicle_.feed(flying.frame(), now);
        }
        if (!mute)
            while (vehicle_.next_wakeup() <= now)
                vehicle_.poll(now, [&](const CanFrame& frame) { put(frame, true); });
        if (const Time wake = session_.wake_at(); wake != no_time && wake <= now)
            timed([&] { session_.wake(now); });
    }

    client::Session& session_;
    mimic::Vehicle& vehicle_;
    mimic::Random random_;
    isotp::Reassembler reassembler_;
    std::deque<Flying> flying_;
    std::uint64_t order_ = 0;
    Time bus_free_ = 0;
    Time confirm_at_ = no_time;
    unsigned still_ = 0;
};

} // namespace telltale::tests
