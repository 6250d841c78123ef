// SPDX-License-Identifier: Apache-2.0
// The active sender and receiver, from bytes: a script of frames, times and a user's doings.
//
//   byte 0     what is played (low bit), addressing (bits 1 and 2), CAN FD (bit 3), confirmations
//              (bit 4), padding (bit 5), requests to all are heard (bit 6)
//   bytes 1-6  TX_DL, BS, STmin, N_WFTmax, the sender's limit of waits, delay of flow control (ms)
//   then       steps: a byte that says what, and its arguments
//
// Played 0, a hostile other side: one endpoint is fed whatever frames. What must hold: lengths and
// identifiers of its frames; no message above the bound; each message begun or taken over ends
// once; no endless doings without time passing.
//
// Played 1, a bad line: two endpoints, whose frames the line loses and doubles. What must hold as
// well: each message that arrives is one that was sent, in the order of sending; both fall
// silent. (Frames that overtake each other are not for this: ISO 15765-2 cannot tell flow control
// or consecutive frames of one message from those of the next.)
#include <cstddef>
#include <cstdint>
#include <cstdlib>
#include <deque>
#include <optional>
#include <vector>

#include "telltale/isotp/endpoint.hpp"

namespace {

using namespace telltale;
using namespace telltale::isotp;

void check(bool good) {
    if (!good)
        std::abort();
}

constexpr Time ms = nanoseconds_a_millisecond;
constexpr std::size_t max_message = 600;

struct Script {
    const std::uint8_t* data;
    std::size_t size;
    std::size_t at = 0;

    bool more() const { return at < size; }
    std::uint8_t byte() { return more() ? data[at++] : std::uint8_t{0}; }
    Bytes bytes(std::size_t n) {
        n = n < size - at ? n : size - at;
        const Bytes out{data + at, n};
        at += n;
        return out;
    }
};

struct Frame {
    CanId id;
    bool fd = false;
    std::vector<std::uint8_t> data;
    Ticket ticket = 0;
};

/// An endpoint whose words are checked.
class Station final : public Outlet {
  public:
    Station(const Address& address, const Options& options)
        : endpoint(address, options), address_(address), options_(options) {}

    void frame(const CanFrame& f, Ticket ticket) override {
        check(f.id == address_.tx);
        check(f.kind == CanKind::data);
        check(f.fd == options_.fd);
        const std::size_t n = f.data.size();
        check(f.fd ? is_fd_length(n) && n <= 64 : n <= 8);
        check(n >= 2);
        if (options_.padding.has_value())
            check(n >= 8);
        if (address_.has_byte())
            check(f.data[0] == address_.tx_byte);
        given.push_back({f.id, f.fd, {f.data.begin(), f.data.end()}, ticket});
        ++frames;
    }
    void message(const Message& m) override {
        check(!m.bytes.empty() && m.bytes.size() <= max_message);
        if (m.frames > 1) {
            check(open);
            check(m.bytes.size() == length);
            open = false;
        }
        messages.emplace_back(m.bytes.begin(), m.bytes.end());
    }
    void begun(const Message& m, std::size_t whole) override {
        check(!open && whole <= max_message && m.bytes.size() < whole);
        open = true;
        length = whole;
    }
    void receive_failed(Outcome outcome, const Message& m, Time) override {
        check(outcome != Outcome::ok && !word(outcome).empty());
        check(outcome == Outcome::buffer_overflow ? !open : open && m.bytes.size() < length);
        open = false;
        unsigned sum = 0;
        for (const std::uint8_t byte : m.bytes) // every byte of the view is there
            sum += byte;
        sum_ = sum;
    }
    void transmitted(Outcome outcome, Time) override {
        check(!word(outcome).empty());
        check(taken);
        taken = false;
    }

    void transmit(const std::vector<std::uint8_t>& bytes, Time now) {
        const bool was = taken;
        const bool accepted = endpoint.transmit(bytes, now).has_value();
        check(accepted == (!was && !bytes.empty() && bytes.size() <= max_message));
        if (accepted) {
            taken = true;
            sent.push_back(bytes);
        }
    }
    /// Does what is due now.
    void run(Time now) {
        // as many frames as the longest message has, and some
        for (std::size_t i = 0; endpoint.next_wakeup() <= now; ++i) {
            check(i < max_message + 70'000); // N_WFTmax waits without a time between them
            endpoint.poll(now, *this);
        }
        check(endpoint.sending() == taken);
        check(endpoint.receiving() == open);
    }

    Endpoint endpoint;
    std::deque<Frame> given;
    std::vector<std::vector<std::uint8_t>> messages;
    std::vector<std::vector<std::uint8_t>> sent;
    std::size_t frames = 0;
    std::size_t length = 0;
    bool open = false;
    bool taken = false;

  private:
    Address address_;
    Options options_;
    volatile unsigned sum_ = 0;
};

std::vector<std::uint8_t> ramp(std::size_t n, std::size_t start) {
    std::vector<std::uint8_t> out(n);
    for (std::size_t i = 0; i < n; ++i)
        out[i] = static_cast<std::uint8_t>(start * 37 + i * 11 + i / 256);
    return out;
}

void feed(Station& station, const Frame& frame, Time now) {
    CanFrame view;
    view.id = frame.id;
    view.fd = frame.fd;
    view.data = frame.data;
    station.endpoint.feed(view, now, station);
}

void hostile(Script& script, const Address& address, const Options& options) {
    Station station{address, options};
    Time now = 0;
    Ticket latest = 0;
    while (script.more()) {
        const std::uint8_t what = script.byte();
        switch (what >> 5) {
        case 0:
        case 1: { // a frame for it: the low bits are the length
            Frame frame{address.rx, options.fd, {}, 0};
            if (address.has_byte())
                frame.data.push_back(address.rx_byte);
            const Bytes rest = script.bytes(what & 0x3F);
            frame.data.insert(frame.data.end(), rest.begin(), rest.end());
            if (frame.fd && frame.data.size() <= 64 && (what & 0x20) != 0)
                frame.data.resize(fd_length_for(frame.data.size()));
            feed(station, frame, now);
            break;
        }
        case 2: { // a frame, perhaps for others
            Frame frame{{0x7D0U + (what & 0x1FU), false}, !options.fd, {}, 0};
            const Bytes rest = script.bytes(script.byte());
            frame.data.assign(rest.begin(), rest.end());
            feed(station, frame, (what & 1) != 0 ? no_time : now);
            break;
        }
        case 3:
            station.transmit(ramp((what & 0x1FU) * 20U, 1), now);
            break;
        case 4: // time goes by, waking it when it wants
            for (const Time end = now + Time{script.byte()} * ms * ((what & 1) != 0 ? 10 : 1);;) {
                const Time next = station.endpoint.next_wakeup();
                if (next > end) {
                    now = end;
                    break;
                }
                now = std::max(now, next);
                station.run(now);
            }
            break;
        case 5: // time goes by, or back, and it is not woken
            now += Time{script.byte()} * 2 * ms * ((what & 1) != 0 ? -1 : 1);
            break;
        case 6:
            station.endpoint.sent((what & 1) != 0 ? script.byte() : latest, now, station);
            break;
        default:
            if ((what & 1) != 0)
                station.endpoint.cancel(now, station);
            else
                station.endpoint.ready((what & 2) != 0);
            break;
        }
        station.run(now);
        if (!station.given.empty())
            latest = station.given.back().ticket;
        station.given.clear();
    }
    for (int i = 0; station.endpoint.next_wakeup() != never; ++i) {
        check(i < 1'000'000);
        now = std::max(now, station.endpoint.next_wakeup());
        station.run(now);
        station.given.clear();
    }
    check(!station.open && !station.taken);
}

void bad_line(Script& script, const Address& address, const Options& options) {
    Station stations[] = {{address, options}, {address.reversed(), options}};
    Time now = 0;
    for (int steps = 0;; ++steps) {
        check(steps < 1'000'000);
        for (Station& s : stations)
            s.run(now);
        bool any = false;
        for (std::size_t from = 0; from < 2; ++from) {
            Station& sender = stations[from];
            Station& receiver = stations[1 - from];
            if (sender.given.empty())
                continue;
            any = true;
            const Frame frame = std::move(sender.given.front());
            sender.given.pop_front();
            if (options.confirmed)
                sender.endpoint.sent(frame.ticket, now, sender);
            // 0 to 1F: lost; E0 to FF: doubled; the end of the script: none of it
            const std::uint8_t fate = script.more() ? script.byte() : std::uint8_t{0x80};
            for (int n = fate < 0x20 ? 0 : fate < 0xE0 ? 1 : 2; n > 0; --n)
                feed(receiver, frame, now);
        }
        if (any)
            continue;
        const Time next =
            std::min(stations[0].endpoint.next_wakeup(), stations[1].endpoint.next_wakeup());
        if (next != never) {
            check(next > now);
            now = next;
            continue;
        }
        if (!script.more())
            break;
        const std::uint8_t what = script.byte();
        for (std::size_t side = 0; side < 2; ++side)
            if ((what >> side & 1) != 0)
                stations[side].transmit(ramp(what / 4U * 9U, stations[side].sent.size() + side),
                                        now);
    }
    for (std::size_t side = 0; side < 2; ++side) {
        const Station& to = stations[1 - side];
        check(!to.open && !to.taken);
        const auto& sent = stations[side].sent;
        std::size_t at = 0;
        for (const auto& message : to.messages) { // a single frame that was doubled counts twice
            while (at < sent.size() && sent[at] != message)
                ++at;
            check(at < sent.size());
        }
    }
}

} // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
    Script script{data, size};
    const std::uint8_t how = script.byte();
    const Address addresses[] = {
        tester_address({0x7E8, false}),
        normal_fixed_address(0x10, 0xF1),
        extended_address({0x7E0, false}, {0x7E8, false}, 0x12, 0xF1),
        mixed_fixed_address(0x10, 0xF1, 0x42),
    };
    const Address& address = addresses[how >> 1 & 3];
    Options options;
    options.max_message = max_message;
    options.fd = (how & 0x08) != 0;
    options.confirmed = (how & 0x10) != 0;
    if ((how & 0x20) != 0)
        options.padding.reset();
    if ((how & 0x40) != 0)
        options.functional_rx = CanId{0x7DF, false};
    options.tx_dl = script.byte();
    options.block_size = script.byte();
    options.st_min = script.byte();
    options.wft_max = script.byte();
    options.max_waits = script.byte();
    options.flow_control_delay = script.byte() * ms;
    if ((how & 1) == 0) {
        hostile(script, address, options);
    } else {
        options.flow_control_delay = 0;
        bad_line(script, address, options);
    }
    return 0;
}
