// SPDX-License-Identifier: Apache-2.0
// Two endpoints on a line with a virtual clock, and what they said.
#pragma once

#include <array>
#include <deque>
#include <functional>
#include <string>
#include <utility>
#include <vector>

#include <doctest/doctest.h>

#include "support.hpp"
#include "telltale/isotp/endpoint.hpp"

namespace telltale::isotp::testing {

constexpr Time ms = nanoseconds_a_millisecond;
constexpr Time us = 1000;

inline CanFrame frame_of(CanId id, const std::vector<std::uint8_t>& data, bool fd = false) {
    CanFrame frame;
    frame.id = id;
    frame.fd = fd;
    frame.data = data;
    return frame;
}

/// Writes down what comes out, one word each, and the frames.
struct Notes : Outlet {
    struct Given {
        CanId id;
        bool fd = false;
        std::vector<std::uint8_t> data;
        Ticket ticket = 0;
    };
    std::vector<Given> frames;
    std::vector<std::vector<std::uint8_t>> messages;
    std::vector<Message> heads; ///< of the messages; their views are dead
    std::string words;
    std::size_t sent = 0; ///< messages whose sending ended well

    void say(std::string_view text) {
        if (!words.empty())
            words += ' ';
        words += text;
    }
    void frame(const CanFrame& f, Ticket ticket) override {
        frames.push_back({f.id, f.fd, {f.data.begin(), f.data.end()}, ticket});
    }
    void message(const Message& m) override {
        messages.emplace_back(m.bytes.begin(), m.bytes.end());
        heads.push_back(m);
        say("message");
    }
    void begun(const Message& m, std::size_t length) override {
        say("begun:" + std::to_string(m.bytes.size()) + "/" + std::to_string(length));
    }
    void receive_failed(Outcome o, const Message& m, Time) override {
        say("in:" + std::string(word(o)) + ":" + std::to_string(m.bytes.size()));
    }
    void transmitted(Outcome o, Time) override {
        say("out:" + std::string(word(o)));
        sent += o == Outcome::ok ? 1 : 0;
    }
    /// The frames given since the last call, as hex.
    std::string take() {
        std::string out;
        for (const Given& given : frames) {
            if (!out.empty())
                out += ' ';
            out += to_hex(given.data);
        }
        frames.clear();
        return out;
    }
    std::string take_words() { return std::exchange(words, {}); }
};

/// One machine under test (sender, receiver or endpoint), with its notes and its clock.
template <class Machine> struct Alone : Notes {
    Machine machine;
    Time now = 1000 * ms;
    bool fd = false;

    explicit Alone(const Address& address, const Options& options = {})
        : machine(address, options) {}
    void run() {
        for (int i = 0; machine.next_wakeup() <= now; ++i) {
            REQUIRE(i < 100'000);
            machine.poll(now, *this);
        }
    }
    /// Lets time pass, waking the machine whenever it asks for it.
    void pass(Time time) {
        const Time end = now + time;
        while (machine.next_wakeup() <= end) {
            now = std::max(now, machine.next_wakeup());
            run();
        }
        now = end;
    }
    void feed(CanId id, const std::string& hex) {
        const auto data = bytes_of(hex);
        machine.feed(frame_of(id, data, fd), now, *this);
        run();
    }
};

/// Two endpoints on a line that carries a frame at a time.
class Line {
  public:
    struct Station : Notes {
        Endpoint endpoint;
        bool confirmed;
        std::deque<Given> waiting;
        Station(const Address& address, const Options& options)
            : endpoint(address, options), confirmed(options.confirmed) {}
        void frame(const CanFrame& f, Ticket ticket) override {
            waiting.push_back({f.id, f.fd, {f.data.begin(), f.data.end()}, ticket});
        }
    };
    struct Seen {
        Time start = 0;
        Time end = 0;
        std::size_t from = 0;
        Notes::Given frame;
    };

    Line(const Address& address, const Options& a, const Options& b)
        : stations{Station{address, a}, Station{address.reversed(), b}} {}

    /// Until nothing is due. The line takes `frame_time` a frame.
    void run() {
        for (std::size_t steps = 0;; ++steps) {
            REQUIRE(steps < 5'000'000);
            for (Station& s : stations)
                while (s.endpoint.next_wakeup() <= now)
                    s.endpoint.poll(now, s);
            const std::size_t from = pick();
            if (from < 2) {
                carry(from);
                continue;
            }
            const Time next =
                std::min(stations[0].endpoint.next_wakeup(), stations[1].endpoint.next_wakeup());
            if (next == never)
                return;
            REQUIRE(next > now);
            now = next;
        }
    }

    std::array<Station, 2> stations;
    Time now = 1000 * ms;
    Time frame_time = 0;
    std::vector<Seen> seen;
    /// How often a frame arrives; without it, once.
    std::function<int(const Seen&)> arrivals;

  private:
    /// Who may send: in turns, so that neither starves (and N_As runs out).
    std::size_t pick() {
        const std::size_t other = 1 - turn_;
        if (!stations[other].waiting.empty())
            return turn_ = other;
        return stations[turn_].waiting.empty() ? 2 : turn_;
    }

    void carry(std::size_t from) {
        Station& sender = stations[from];
        Seen one{now, now + frame_time, from, std::move(sender.waiting.front())};
        sender.waiting.pop_front();
        const Ticket ticket = one.frame.ticket;
        // What falls due while the line is busy.
        for (;;) {
            const Time next =
                std::min(stations[0].endpoint.next_wakeup(), stations[1].endpoint.next_wakeup());
            if (next >= one.end)
                break;
            now = std::max(now, next);
            for (Station& s : stations)
                while (s.endpoint.next_wakeup() <= now)
                    s.endpoint.poll(now, s);
        }
        now = one.end;
        if (sender.confirmed)
            sender.endpoint.sent(ticket, now, sender);
        Station& other = stations[1 - from];
        for (int n = arrivals ? arrivals(one) : 1; n > 0; --n)
            other.endpoint.feed(frame_of(one.frame.id, one.frame.data, one.frame.fd), now, other);
        seen.push_back(std::move(one));
    }

    std::size_t turn_ = 1;
};

} // namespace telltale::isotp::testing
