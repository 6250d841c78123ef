// SPDX-License-Identifier: Apache-2.0
// Hostile frames and times into finder, reader and poller. The input is a script: its first byte
// picks line and task, each following step advances the clock, confirms or refuses what was sent,
// pulls the adapter out or puts it back, or hands over a frame of the input's own making.
//
// Whatever comes: no crash, no endless loop, each exchange over within its stated time, and no
// sample that was not in a frame of the input.
#include <algorithm>
#include <array>
#include <cstdint>
#include <cstdlib>
#include <optional>
#include <span>
#include <vector>

#include "telltale/client/finder.hpp"
#include "telltale/client/poller.hpp"
#include "telltale/client/reader.hpp"
#include "telltale/client/session.hpp"

namespace {

using namespace telltale;
using namespace telltale::client;

class Script {
  public:
    Script(const std::uint8_t* data, std::size_t size) : data_(data), size_(size) {}
    bool over() const { return at_ >= size_; }
    std::uint8_t byte() { return at_ < size_ ? data_[at_++] : std::uint8_t{0}; }
    Bytes bytes(std::size_t most) {
        const std::size_t count = std::min(most, size_ - std::min(at_, size_));
        const Bytes out(data_ + std::min(at_, size_), count);
        at_ += count;
        return out;
    }

  private:
    const std::uint8_t* data_;
    std::size_t size_;
    std::size_t at_ = 0;
};

void require(bool holds) {
    if (!holds)
        std::abort();
}

/// The task in the middle: each exchange that ends is within its time.
class Watched final : public Task {
  public:
    Watched(Task& task, const Session& session) : task_(task), session_(session) {}
    void learn(std::span<const EcuNotes> notes) override { task_.learn(notes); }
    bool next(Time now, Request& request) override { return waits_ = task_.next(now, request); }
    void told(const Exchange& exchange, Time now) override {
        waits_ = false;
        if (exchange.asked != no_time)
            require(exchange.ended - exchange.asked <=
                    session_.conversation().longest(Conversation::max_ecus) + step);
        for (const Reply& reply : exchange.replies)
            if (reply.outcome == Outcome::answer)
                require(
                    answers(reply.bytes, exchange.request, session_.conversation().line().dialect));
        task_.told(exchange, now);
    }
    bool done() const override { return task_.done(); }
    Time wake_at() const override { return task_.wake_at(); }
    const LineWish* wish() const override { return task_.wish(); }
    void granted(const LineAnswer& answer, Time now) override { task_.granted(answer, now); }

    /// It has asked and was not told what came of it.
    bool waits() const { return waits_; }

    static constexpr Time step = 20 * nanoseconds_a_second; ///< the longest step of the clock

  private:
    Task& task_;
    const Session& session_;
    bool waits_ = false;
};

} // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
    Script script(data, size);
    const std::uint8_t first = script.byte();
    Line line;
    line.dialect = static_cast<Dialect>(first % 5);
    line.bit_rate = 500'000;
    Session session(line);
    Time now = 1'000'000'000;

    FinderOptions finder_options;
    finder_options.over = is_kline(line.dialect)          ? FinderOptions::Over::kline
                          : line.dialect == Dialect::doip ? FinderOptions::Over::doip
                                                          : FinderOptions::Over::can;
    if ((first & 0x40) != 0)
        finder_options.bit_rates = {500'000, 250'000};
    Finder finder(finder_options);
    ReaderOptions reader_options;
    reader_options.on_uds = (first & 0x80) != 0;
    Reader reader(line, reader_options);
    EcuFacts facts;
    facts.id = line.dialect == Dialect::can_11 ? CanId{0x7E8, false} : CanId{0x18DAF110, true};
    facts.supported[1].set();
    facts.on_uds = reader_options.on_uds;
    std::vector<EcuFacts> ecus = {facts, facts};
    ecus[1].id.value += 1;
    std::vector<Wanted> wanted;
    for (std::uint8_t i = 0; i < 10; ++i)
        wanted.push_back({static_cast<std::uint8_t>(4 + 3 * i), {}, i * Time{30'000'000}});
    Poller poller(line, ecus, wanted);
    std::uint64_t samples = 0;
    poller.on_sample = [&](const Sample& sample) { samples += sample.data.size() + 1; };
    Task* tasks[] = {&finder, &reader, &poller};
    Watched task(*tasks[first / 8 % 3], session);
    session.run(task, now);

    bool out = false;
    std::array<std::uint8_t, 320> buffer{};
    std::vector<std::uint8_t> sent;
    for (unsigned steps = 0; !script.over() && steps < 4'000; ++steps) {
        if (const LineWish* wish = session.wish(); wish != nullptr) {
            const std::uint8_t how = script.byte();
            session.granted({(how & 1) != 0, wish->line, {}}, now);
        }
        link::Traffic piece;
        if (!out && session.to_send(piece, now)) {
            out = true;
            const Bytes bytes = link::bytes_of(piece);
            require(!bytes.empty() && bytes.size() <= max_kline_frame);
            sent.assign(bytes.begin(), bytes.end());
        }
        const std::uint8_t what = script.byte();
        switch (what % 10) {
        case 0:
        case 1:
        case 2: // the line took it
            if (out) {
                out = false;
                session.sent(now);
            }
            break;
        case 3:
            if (out) {
                out = false;
                session.send_failed(now);
            }
            break;
        case 4: { // the clock goes on, now and then backwards
            const Time span = Time{script.byte()} * Time{script.byte()} * 300'000;
            now += what >= 0xF0 ? -span : span;
            session.wake(now);
            break;
        }
        case 5: { // to the next thing due
            if (const Time at = session.wake_at(); at != no_time)
                now = std::max(now, at);
            session.wake(now);
            break;
        }
        case 6:
            if (what < 30) {
                out = false;
                session.unplugged(now);
            } else {
                session.plugged(now);
            }
            break;
        case 7: { // the answer to what was asked, as far as the input tells
            if (sent.size() < 2)
                break;
            const Bytes tail = script.bytes(what / 32U);
            std::size_t n = 0;
            if (is_can(line.dialect))
                buffer[n++] = static_cast<std::uint8_t>(std::min<std::size_t>(7, 2 + tail.size()));
            const std::size_t service = is_can(line.dialect) ? 1 : 0;
            buffer[n++] = static_cast<std::uint8_t>(sent[service] | 0x40);
            buffer[n++] = sent.size() > service + 1 ? sent[service + 1] : std::uint8_t{0};
            std::copy(tail.begin(), tail.end(), buffer.begin() + static_cast<std::ptrdiff_t>(n));
            n += tail.size();
            const Bytes bytes = Bytes(buffer).first(n);
            if (is_can(line.dialect)) {
                CanFrame frame;
                frame.id = facts.id;
                frame.data = bytes.first(std::min<std::size_t>(8, bytes.size()));
                session.receive(frame, now);
            } else if (line.dialect == Dialect::doip) {
                session.receive(link::DoipMessage{0x1001, line.doip_tester, bytes}, now);
            }
            break;
        }
        default: { // anything
            const std::uint8_t size_byte = script.byte();
            const std::uint8_t from = script.byte();
            if (is_can(line.dialect)) {
                CanFrame frame;
                frame.id = line.dialect == Dialect::can_11 ? CanId{0x7E0U + from % 16U, false}
                                                           : CanId{0x18DAF100U | from, true};
                if ((size_byte & 0x80) != 0)
                    frame.id.extended = !frame.id.extended;
                frame.fd = (size_byte & 0x40) != 0;
                frame.data = script.bytes(frame.fd ? size_byte % 65U : size_byte % 9U);
                session.receive(frame, now);
            } else if (is_kline(line.dialect)) {
                const Bytes body = script.bytes(size_byte % 64U);
                std::copy(body.begin(), body.end(), buffer.begin());
                std::size_t n = body.size();
                if ((from & 1) != 0) // with the right checksum
                    buffer[n++] = kline_checksum(body);
                session.receive(link::KlineBytes{Bytes(buffer).first(n)}, now);
            } else {
                const std::uint16_t target = (from & 1) != 0 ? line.doip_tester : from;
                session.receive(link::DoipMessage{from, target, script.bytes(size_byte)}, now);
            }
        }
        }
    }
    // From here on the line is quiet: what is open comes to its end.
    if (!session.is_plugged())
        session.plugged(now);
    const Time limit = now + session.conversation().longest(Conversation::max_ecus);
    for (unsigned turns = 0; turns < 100'000 && now < limit; ++turns) {
        if (session.wish() != nullptr)
            session.granted({false, session.wish()->line, {}}, now);
        link::Traffic piece;
        now += 1'000; // what a timer was early, and a computer takes between two calls
        if (out || session.to_send(piece, now)) {
            out = false;
            session.sent(now);
        }
        const Time at = session.wake_at();
        if (at == no_time) {
            require(!task.waits());
            break;
        }
        require(turns < 99'999);
        now = std::max(now, at - 500);
        session.wake(now);
    }
    require(samples < 4'000'000);
    return 0;
}
