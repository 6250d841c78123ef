// SPDX-License-Identifier: Apache-2.0
#include "telltale/vet/doip.hpp"

#include <algorithm>
#include <array>
#include <deque>
#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "../chance.hpp"
#include "../clock.hpp"
#include "../render.hpp"
#include "telltale/base/hex.hpp"
#include "telltale/link/doip.hpp"

namespace telltale::vet {

namespace {

namespace doip = link::doip;

using Message = std::vector<std::uint8_t>;

// Waiting times. ISO 13400-2: A_DoIP_Ctrl and A_DoIP_Diagnostic_Message 2 s, T_TCP_Alive_Check
// 0.5 s (from memory).
constexpr Time answer_time = 2000 * ms;
constexpr Time alive_time = 500 * ms + answer_time;
constexpr Time way_time = 5000 * ms;   ///< for a message on its way through the entity
constexpr Time quiet_time = 2000 * ms; ///< nothing came for so long: what is missing is lost
constexpr Time none_time = 500 * ms;   ///< for what ought not to come
constexpr Time one_burst = 2000 * ms;
constexpr std::size_t most_requests = 8; ///< given, not yet acknowledged and come
constexpr std::size_t most_answers = 16;
constexpr std::size_t most_recent_messages = 64;
constexpr unsigned most_lost_in_row = 6;

constexpr std::uint16_t no_target = 0x8FFF;    ///< reserved: nobody has it
constexpr std::uint16_t other_tester = 0x0EFE; ///< a tester's, but not the one activated
constexpr std::uint8_t request_service = 0xBA; ///< of no service of any ECU
constexpr std::uint8_t answer_service = 0xFA;

std::string hex_of(Bytes bytes) {
    constexpr std::size_t most = 12;
    std::string out = to_hex(bytes.first(std::min(most, bytes.size())), ' ');
    if (bytes.size() > most)
        out += " ... " + render::with_commas(bytes.size()) + " bytes";
    return out;
}
std::string hex_of(std::uint8_t code) {
    std::string out;
    append_hex(out, std::uint64_t{code}, 2);
    return out;
}

std::string how_many(std::uint64_t number, std::string_view one, std::string_view many) {
    return render::with_commas(number) + " " + std::string(number == 1 ? one : many);
}

bool same_message(Bytes a, Bytes b) {
    return std::equal(a.begin(), a.end(), b.begin(), b.end());
}
bool one_byte_off(Bytes a, Bytes b) {
    if (a.size() != b.size())
        return false;
    std::size_t off = 0;
    for (std::size_t i = 0; i < a.size(); ++i)
        off += a[i] != b[i] ? 1U : 0U;
    return off == 1;
}

/// What was judged of one kind, and what of it was wrong.
struct Judged {
    std::uint64_t all = 0;
    std::uint64_t wrong = 0;
    std::string first; ///< what was wrong first
    std::vector<Example> examples;
    void fault(Time since, Bytes sent, Bytes came, std::string what) {
        if (wrong++ == 0)
            first = what;
        if (examples.size() < Check::most_examples)
            examples.push_back({since, sent.empty() ? std::string() : hex_of(sent),
                                came.empty() ? std::string() : hex_of(came), std::move(what)});
    }
};

/// Messages on their way through the entity, held against those that come out.
class Way {
  public:
    enum class Fate : std::uint8_t { arrived, misplaced, twice, changed, alien };
    struct Open {
        Message bytes;
        Time given = 0;
    };
    void expect(Message bytes, Time now) { open_.push_back({std::move(bytes), now}); }
    /// `last()` is then the one that it was.
    Fate arrived(Bytes bytes) {
        for (std::size_t i = 0; i < open_.size(); ++i)
            if (same_message(open_[i].bytes, bytes)) {
                const bool passed = i < passed_;
                passed_ = passed ? passed_ - 1 : i;
                take(i);
                return passed ? Fate::misplaced : Fate::arrived;
            }
        for (const Message& one : recent_)
            if (same_message(one, bytes)) {
                last_ = {one, 0};
                return Fate::twice;
            }
        // The number behind the service tells which one it was; where one alone is open, it is it.
        for (std::size_t i = 0; i < open_.size(); ++i) {
            const Message& one = open_[i].bytes;
            const bool numbered = one.size() >= 5 && bytes.size() >= 5 &&
                                  std::equal(one.begin(), one.begin() + 5, bytes.begin());
            if (numbered || one_byte_off(one, bytes) || open_.size() == 1) {
                passed_ = std::min(passed_, i);
                take(i);
                return Fate::changed;
            }
        }
        return Fate::alien;
    }
    const Open& last() const { return last_; }
    /// It will not come: the entity has refused it.
    bool withdraw(Bytes bytes) {
        for (std::size_t i = 0; i < open_.size(); ++i)
            if (same_message(open_[i].bytes, bytes)) {
                passed_ -= i < passed_ ? 1 : 0;
                open_.erase(open_.begin() + static_cast<std::ptrdiff_t>(i));
                return true;
            }
        return false;
    }
    std::size_t open() const { return open_.size(); }
    template <class F> void close(F each) {
        for (const Open& one : open_)
            each(one.bytes);
        open_.clear();
        recent_.clear();
        passed_ = 0;
    }

  private:
    void take(std::size_t at) {
        last_ = std::move(open_[at]);
        open_.erase(open_.begin() + static_cast<std::ptrdiff_t>(at));
        if (recent_.size() == most_recent_messages)
            recent_.pop_front();
        recent_.push_back(last_.bytes);
    }
    std::deque<Open> open_;
    std::size_t passed_ = 0; ///< of `open_`: others that were given later have come
    std::deque<Message> recent_;
    Open last_;
};

struct Header {
    const char* id;
    const char* title;
    std::vector<std::uint8_t> bytes;
    std::uint8_t code;
    std::uint8_t other_code; ///< that will do as well
    bool closes;
};

std::vector<Header> bad_headers() {
    return {{"doip-header-pattern",
             "A header whose version is not confirmed is refused (00), and the connection ends",
             {0x02, 0x02, 0x00, 0x05, 0, 0, 0, 7, 0x0E, 0, 0, 0, 0, 0, 0},
             0x00,
             0x00,
             true},
            {"doip-header-type",
             "A payload type that there is not is refused (01)",
             {0x02, 0xFD, 0x7F, 0xFE, 0, 0, 0, 0},
             0x01,
             0x01,
             false},
            {"doip-header-large",
             "A payload of 4 GiB is refused (02, 03)",
             {0x02, 0xFD, 0x80, 0x01, 0xFF, 0xFF, 0xFF, 0xFF},
             0x02,
             0x03,
             false},
            {"doip-header-length",
             "A length that is not its type's is refused (04), and the connection ends",
             {0x02, 0xFD, 0x00, 0x05, 0, 0, 0, 3, 0x0E, 0, 0},
             0x04,
             0x04,
             true}};
}

} // namespace

class DoipVetting::Impl {
  public:
    Impl(const DoipVetOptions& options, Time now)
        : options_(options), chance_(options.seed), begun_(now), wake_(now),
          headers_(bad_headers()), header_counts_(headers_.size()) {
        for (auto& byte : pattern_)
            byte = chance_.byte();
    }

    void connected(unsigned number, bool fine, Time now) {
        Line& line = lines_[number];
        if (!line.connecting)
            return;
        line.connecting = false;
        line.open = fine;
        line.failed = !fine;
        wake_ = now;
    }
    void closed(unsigned number, Time now) {
        Line& line = lines_[number];
        line.ended = line.open;
        line.open = false;
        if (step_ >= Step::known && step_ <= Step::alive_asked && number == 0)
            lost_line_ = true;
        wake_ = now;
    }
    void status(Bytes payload, Time now) {
        // Kind of node, sockets at most, sockets open, and, where it tells, the longest request.
        if (step_ != Step::status || status_came_)
            return;
        status_came_ = true;
        ++status_.all;
        if (payload.size() != 3 && payload.size() != 7)
            status_.fault(since(now), {}, payload, "its status is of no known length");
        else if (payload.size() == 7)
            longest_ = static_cast<std::size_t>(big_endian(payload, 3, 4));
        wake_ = now;
    }
    void gone(Time now) {
        report_.notes.emplace_back("The far end went away, so the rest could not be tried.");
        finish(now);
    }

    void read(unsigned number, Bytes bytes, Time now) {
        Line& line = lines_[number];
        doip::Packet packet;
        while (line.open && line.parser.next(bytes, packet))
            take(number, packet, now);
        if (line.open && line.parser.broken()) {
            stream_.fault(since(now), {}, {}, "what it sends is no stream of DoIP messages");
            close_line(number);
        }
    }

    void heard(Bytes message, Time now) {
        last_event_ = now;
        if (!forbidden_.empty() && same_message(forbidden_, message)) {
            forbidden_came_ = true;
            wake_ = now;
            return;
        }
        came(requests_, request_counts(), message, now, request_latency_);
    }
    void answered(bool fine, Time now) {
        answering_ = false;
        last_event_ = now;
        if (!fine && answers_.withdraw(answer_)) // the reference is known to be good
            answer_counts().whole.fault(since(now), answer_, {},
                                        "the entity did not take it from the ECU");
        wake_ = now;
    }

    void poll(Time now, DoipVetOutlet& outlet) {
        outlet_ = &outlet;
        for (unsigned i = 0; i < lines; ++i) {
            if (std::exchange(lines_[i].want_close, false))
                outlet.close(i);
            if (!lines_[i].out.empty() && lines_[i].open)
                outlet.write(i, std::exchange(lines_[i].out, {}));
            lines_[i].out.clear();
        }
        if (now >= next_progress_ && step_ != Step::over) {
            next_progress_ = now + 200 * ms;
            outlet.progress(name(), std::min(1.0, static_cast<double>(since(now)) /
                                                      static_cast<double>(options_.duration)));
        }
        for (int i = 0; i < 8 && wake_ <= now && step_ != Step::over; ++i)
            step(now);
        outlet_ = nullptr;
    }
    Time next_wakeup() const {
        if (step_ == Step::over)
            return never;
        for (const Line& line : lines_)
            if (line.want_close || !line.out.empty())
                return 0;
        return wake_;
    }
    bool done() const { return step_ == Step::over; }
    const Report& report() const { return report_; }

    void finish(Time) {
        if (step_ == Step::over)
            return;
        step_reached_ = step_;
        step_ = Step::over;
        write_report();
    }

  private:
    // In the order in which they are taken.
    enum class Step : std::uint8_t {
        status,
        before,
        activate,
        known,
        target,
        bursts,
        alive_asked,
        alive_silent,
        headers,
        source,
        all, ///< everything was tried
        over,
    };
    struct Line {
        bool connecting = false;
        bool open = false;
        bool failed = false;
        bool ended = false; ///< the entity has closed it
        bool answers_alive = true;
        bool want_close = false;
        unsigned alive = 0; ///< times that it was asked whether it is
        std::optional<doip::Activation> activation;
        bool strange_activation = false;
        std::optional<std::uint8_t> refusal; ///< of a header
        doip::Parser parser;
        Message out;
    };
    struct Due {
        unsigned line = 0;
        Message bytes;
        Time given = 0;
        std::uint8_t code = 0; ///< that is right
        std::uint16_t target = 0;
    };
    struct Counts {
        Judged whole, twice, order;
        std::uint64_t arrived = 0;
    };

    Time since(Time now) const { return now - begun_; }
    std::string_view name() const {
        return step_ <= Step::activate ? "routing activation"
               : step_ == Step::known  ? "known messages"
               : step_ == Step::bursts ? "bursts"
                                       : "refusals and alive check";
    }
    Counts& request_counts() { return counts_[step_ == Step::bursts ? 2 : 0]; }
    Counts& answer_counts() { return counts_[step_ == Step::bursts ? 3 : 1]; }

    // The entity's side.

    void connect(unsigned number) {
        lines_[number] = {};
        lines_[number].connecting = true;
        outlet_->connect(number);
    }
    void close_line(unsigned number) {
        Line& line = lines_[number];
        if (line.open || line.connecting)
            line.want_close = true;
        line.open = line.connecting = false;
        if (outlet_ != nullptr && std::exchange(line.want_close, false))
            outlet_->close(number);
    }
    void write(unsigned number, Bytes bytes) {
        if (lines_[number].open)
            outlet_->write(number, bytes);
    }
    void activate(unsigned number) {
        Message bytes;
        doip::append_activation(bytes, options_.tester, 0);
        write(number, bytes);
    }
    void request(unsigned number, std::uint16_t source, std::uint16_t target, Bytes message,
                 std::uint8_t code, Time now) {
        Message bytes;
        doip::append_message(bytes, {source, target, message});
        due_.push_back({number, Message(message.begin(), message.end()), now, code, target});
        write(number, bytes);
    }

    void take(unsigned number, const doip::Packet& packet, Time now) {
        using doip::Type;
        Line& line = lines_[number];
        last_event_ = now;
        switch (packet.type) {
        case Type::activation_response:
            if (const auto answer = doip::parse_activation(packet.payload))
                line.activation = *answer;
            else
                line.strange_activation = true;
            wake_ = now;
            return;
        case Type::alive_request:
            ++line.alive;
            if (line.answers_alive && line.out.size() < 1024)
                doip::append_alive(line.out, options_.tester);
            wake_ = now;
            return;
        case Type::negative_acknowledge:
            line.refusal = packet.payload.empty() ? std::uint8_t{0xFF} : packet.payload[0];
            wake_ = now;
            return;
        case Type::message:
            if (const auto message = doip::parse_message(packet.payload)) {
                if (message->source != options_.target || message->target != options_.tester)
                    addresses_.fault(since(now), {}, packet.payload.first(4),
                                     "an answer has other addresses");
                else
                    ++addresses_.all;
                came(answers_, answer_counts(), message->bytes, now, answer_latency_);
            } else {
                stream_.fault(since(now), {}, packet.payload, "a message without anything in it");
            }
            return;
        case Type::message_taken:
        case Type::message_refused:
            return acknowledged(number, packet, now);
        default:
            stream_.fault(since(now), {}, packet.payload, "a message that a tester is not sent");
        }
    }

    void acknowledged(unsigned number, const doip::Packet& packet, Time now) {
        wake_ = now;
        const auto answer = doip::parse_acknowledge(packet.payload);
        if (!answer)
            return acks_.fault(since(now), {}, packet.payload, "an acknowledgement is cut");
        // What is acknowledged may follow, as much of it as pleases the entity.
        const Bytes echo = packet.payload.subspan(5);
        auto found = due_.end();
        for (auto one = due_.begin(); one != due_.end(); ++one)
            if (one->line == number &&
                (echo.empty() || (echo.size() <= one->bytes.size() &&
                                  std::equal(echo.begin(), echo.end(), one->bytes.begin())))) {
                found = one;
                break;
            }
        bool strange = false;
        if (found == due_.end()) {
            const bool again =
                std::any_of(acknowledged_.begin(), acknowledged_.end(), [&](const Message& one) {
                    return echo.size() >= 5 && echo.size() <= one.size() &&
                           std::equal(echo.begin(), echo.end(), one.begin());
                });
            if (again)
                return acks_.fault(since(now), {}, packet.payload,
                                   "an acknowledgement comes twice");
            strange = true; // the oldest one, with other bytes
            found = std::find_if(due_.begin(), due_.end(),
                                 [&](const Due& one) { return one.line == number; });
            if (found == due_.end())
                return acks_.fault(since(now), {}, packet.payload,
                                   "an acknowledgement comes twice, or of nothing");
        }
        const Due due = *found;
        due_.erase(found);
        if (acknowledged_.size() == most_recent_messages)
            acknowledged_.pop_front();
        acknowledged_.push_back(due.bytes);
        const bool taken = packet.type == doip::Type::message_taken;
        constexpr std::uint8_t out_of_memory = 0x05;
        if (due.code == 0) {
            ++acks_.all;
            if (strange)
                acks_.fault(since(now), due.bytes, packet.payload,
                            "an acknowledgement has other bytes than the message");
            else if (answer->source != due.target || answer->target != options_.tester)
                acks_.fault(since(now), due.bytes, packet.payload,
                            "an acknowledgement has other addresses");
            else if (taken ? answer->code != 0 : answer->code == 0)
                acks_.fault(since(now), due.bytes, packet.payload,
                            "an acknowledgement has code " + hex_of(answer->code));
            else if (!taken && answer->code == out_of_memory && step_ == Step::bursts)
                refuse(due.bytes, now);
            else if (!taken && answer->code == 0x03 && counts_[0].arrived == 0)
                unknown_target_ = true;
            else if (!taken)
                acks_.fault(since(now), due.bytes, packet.payload,
                            "a message is refused: " +
                                std::string(doip::refusal_text(answer->code)));
            ack_latency_.add(now - due.given);
        } else if (taken || answer->code != due.code) {
            wrong_code_ =
                taken ? "it was acknowledged" : "it was refused with code " + hex_of(answer->code);
        } else {
            right_code_ = true;
        }
    }
    void refuse(const Message& bytes, Time now) {
        ++refused_;
        if (!requests_.withdraw(bytes))
            acks_.fault(since(now), bytes, {}, "a message is refused, and routed all the same");
    }

    void came(Way& way, Counts& counts, Bytes bytes, Time now, Latency& latency) {
        last_event_ = now;
        wake_ = now;
        using Fate = Way::Fate;
        switch (way.arrived(bytes)) {
        case Fate::misplaced:
            counts.order.fault(since(now), {}, bytes, "out of order");
            [[fallthrough]];
        case Fate::arrived:
            ++counts.arrived;
            latency.add(now - way.last().given);
            break;
        case Fate::twice:
            counts.twice.fault(since(now), {}, bytes, "twice");
            break;
        case Fate::changed:
            counts.whole.fault(since(now), way.last().bytes, bytes,
                               bytes.size() < way.last().bytes.size()   ? "cut"
                               : bytes.size() > way.last().bytes.size() ? "longer"
                                                                        : "changed");
            break;
        case Fate::alien:
            counts.whole.fault(since(now), {}, bytes, "nobody sent it");
            break;
        }
    }

    Message make(std::uint8_t service, std::size_t size) {
        Message out{service};
        const std::uint32_t number = ++number_;
        for (int shift = 24; shift >= 0; shift -= 8)
            out.push_back(static_cast<std::uint8_t>(number >> shift));
        const std::size_t from = chance_.below(static_cast<std::uint32_t>(pattern_.size()));
        while (out.size() < size)
            out.push_back(pattern_[(from + out.size()) % pattern_.size()]);
        out.resize(size);
        return out;
    }
    void answer(std::size_t size, Time now) {
        answer_ = make(answer_service, size);
        answering_ = true;
        answers_.expect(answer_, now);
        outlet_->answer(answer_);
    }

    // The steps.

    void go_to(Step next, Time now) {
        step_ = next;
        at_ = 0;
        wake_ = now;
    }
    void step(Time now) {
        switch (step_) {
        case Step::status:
            return step_status(now);
        case Step::before:
            return step_before(now);
        case Step::activate:
            return step_activate(now);
        case Step::known:
            return step_known(now);
        case Step::target:
            return step_refused(now, 0, options_.tester, no_target, 0x03, target_, Step::bursts);
        case Step::bursts:
            return step_bursts(now);
        case Step::alive_asked:
        case Step::alive_silent:
            return step_alive(now);
        case Step::headers:
            return step_headers(now);
        case Step::source:
            return step_source(now);
        case Step::all:
        case Step::over:
            return finish(now);
        }
    }
    /// Waits until then; true when it is over.
    bool wait_until(Time time, Time now) {
        wake_ = time;
        return now >= time;
    }

    void step_status(Time now) {
        if (at_ == 0) {
            at_ = 1;
            outlet_->ask_status();
            until_ = now + answer_time;
        }
        if (status_came_ || wait_until(until_, now))
            go_to(Step::before, now);
    }

    void step_before(Time now) {
        switch (at_) {
        case 0:
            at_ = 1;
            until_ = now + way_time;
            connect(0);
            wake_ = until_;
            return;
        case 1:
            if (lines_[0].failed || (!lines_[0].open && wait_until(until_, now))) {
                trouble_ = "no connection to it could be had";
                return finish(now);
            }
            if (!lines_[0].open)
                return;
            at_ = 2;
            forbidden_ = make(request_service, 8);
            forbidden_came_ = false;
            ++before_.all;
            request(0, options_.tester, options_.target, forbidden_, 0xFF, now);
            until_ = now + none_time;
            wake_ = until_;
            return;
        default:
            if (!wait_until(until_, now) && !forbidden_came_)
                return;
            if (forbidden_came_)
                before_.fault(since(now), forbidden_, forbidden_, "it was routed");
            due_.clear();
            wrong_code_.clear();
            close_line(0);
            go_to(Step::activate, now);
        }
    }

    void step_activate(Time now) {
        Line& line = lines_[0];
        if (at_ == 0) {
            at_ = 1;
            connect(0);
            until_ = now + way_time;
            wake_ = until_;
            return;
        }
        if (at_ == 1 && line.open) {
            at_ = 2;
            ++activation_.all;
            activate(0);
            until_ = now + answer_time;
        }
        if (line.activation) {
            if (!line.activation->active())
                activation_.fault(since(now), {}, {},
                                  "code " + hex_of(line.activation->code) + ": " +
                                      std::string(doip::activation_text(line.activation->code)));
            else if (line.activation->tester != options_.tester)
                activation_.fault(since(now), {}, {}, "the answer names another tester");
            if (line.activation->active())
                return go_to(Step::known, now);
            return finish(now);
        }
        if (line.strange_activation || line.ended || line.failed || wait_until(until_, now)) {
            activation_.fault(since(now), {}, {},
                              line.strange_activation ? "the answer is not of a length that it has"
                              : line.ended            ? "the connection was closed"
                                                      : "no answer within 2 s");
            finish(now);
        }
    }

    std::size_t longest() const {
        constexpr std::size_t head = 4; // addresses; an entity may count them in
        return longest_ == 0
                   ? options_.longest
                   : std::min(options_.longest, std::max<std::size_t>(longest_, 8) - head);
    }
    /// All of them once, then at random; 0: there are no more.
    std::size_t next_length(Time now) {
        constexpr std::array<std::size_t, 22> odd{61,   62,   63,   64,   65,     127,   128,  255,
                                                  256,  511,  512,  1000, 1023,   1024,  2047, 2048,
                                                  4094, 4095, 4096, 8192, 32'768, 65'535};
        constexpr std::size_t all_to = 24;
        while (length_at_ < all_to + odd.size()) {
            const std::size_t size =
                length_at_ < all_to ? length_at_ + 1 : odd[length_at_ - all_to];
            ++length_at_;
            if (size <= longest())
                return size;
        }
        if (!last_length_) {
            last_length_ = true;
            return longest();
        }
        if (since(now) > options_.duration * 4 / 10)
            return 0;
        const std::size_t most =
            chance_.below(8) == 0 ? longest() : std::min<std::size_t>(longest(), 200);
        return 1 + chance_.below(static_cast<std::uint32_t>(most));
    }
    void step_known(Time now) {
        if (lost_line_)
            return finish(now);
        switch (at_) {
        case 0: { // a request
            const std::size_t size = next_length(now);
            if (size == 0)
                return go_to(Step::target, now);
            at_ = 1;
            size_ = size;
            const Message message = make(request_service, size);
            ++counts_[0].whole.all;
            requests_.expect(message, now);
            request(0, options_.tester, options_.target, message, 0, now);
            until_ = now + way_time;
            wake_ = until_;
            return;
        }
        case 1: // acknowledged, and there?
            if (unknown_target_)
                return finish(now);
            if (!(due_.empty() && requests_.open() == 0) && !wait_until(until_, now))
                return;
            close_requests(counts_[0], now);
            at_ = 2;
            ++counts_[1].whole.all;
            answer(size_, now);
            until_ = now + way_time;
            wake_ = until_;
            return;
        default:
            if ((answering_ || answers_.open() != 0) && !wait_until(until_, now))
                return;
            lost_answers(counts_[1], now);
            at_ = 0;
            wake_ = now;
            const bool nothing = counts_[0].arrived == 0 && counts_[1].arrived == 0;
            if (nothing && ++in_row_ == most_lost_in_row) {
                report_.notes.emplace_back("Nothing came through in either direction: is the far "
                                           "end on the entity's line, with the identifiers of this "
                                           "ECU?");
                return finish(now);
            }
        }
    }
    void close_requests(Counts& counts, Time now) {
        for (const Due& due : due_)
            if (due.code == 0) {
                ++acks_.all;
                acks_.fault(since(now), due.bytes, {}, "no acknowledgement comes");
            }
        due_.clear();
        requests_.close(
            [&](const Message& lost) { counts.whole.fault(since(now), lost, {}, "lost"); });
    }
    void lost_answers(Counts& counts, Time now) {
        answering_ = false;
        answers_.close(
            [&](const Message& lost) { counts.whole.fault(since(now), lost, {}, "lost"); });
    }

    /// A message that is to be refused with this code.
    void step_refused(Time now, unsigned line, std::uint16_t source, std::uint16_t target,
                      std::uint8_t code, Judged& judged, Step next) {
        if (at_ == 0) {
            at_ = 1;
            ++judged.all;
            forbidden_ = make(request_service, 8);
            forbidden_came_ = right_code_ = false;
            wrong_code_.clear();
            request(line, source, target, forbidden_, code, now);
            until_ = now + answer_time;
            wake_ = until_;
            return;
        }
        const bool answered = right_code_ || !wrong_code_.empty();
        if (at_ == 1) {
            if (!answered && !lines_[line].ended && !wait_until(until_, now))
                return;
            at_ = 2;
            until_ = now + none_time;
            wake_ = until_;
            return;
        }
        if (!wait_until(until_, now) && !forbidden_came_)
            return;
        if (forbidden_came_)
            judged.fault(since(now), forbidden_, forbidden_, "it was routed to the ECU");
        else if (!wrong_code_.empty())
            judged.fault(since(now), forbidden_, {}, wrong_code_);
        else if (!right_code_)
            judged.fault(since(now), forbidden_, {}, "it was not refused");
        due_.clear();
        forbidden_.clear();
        go_to(next, now);
    }

    void step_bursts(Time now) {
        if (lost_line_)
            return finish(now);
        const unsigned kind = burst_ % 3; // one way, the other, both at once
        if (at_ == 0) {
            at_ = 1;
            until_ = now + one_burst;
            last_event_ = now;
        }
        if (at_ == 1 && now < until_) {
            wake_ = std::min(until_, last_event_ + quiet_time);
            if (kind != 1)
                while (requests_.open() < most_requests && due_.size() < most_requests) {
                    const Message message = make(request_service, burst_size());
                    ++counts_[2].whole.all;
                    requests_.expect(message, now);
                    request(0, options_.tester, options_.target, message, 0, now);
                }
            if (kind != 0 && !answering_ && answers_.open() < most_answers) {
                ++counts_[3].whole.all;
                answer(burst_size(), now);
            }
            if (now - last_event_ >= quiet_time) { // lost ones are in the way of others
                close_requests(counts_[2], now);
                lost_answers(counts_[3], now);
                last_event_ = now;
                wake_ = now + 1;
            }
            return;
        }
        at_ = 2;
        const bool all =
            requests_.open() == 0 && answers_.open() == 0 && due_.empty() && !answering_;
        const Time patience = all ? 50 * ms : quiet_time; // doubles may follow
        if (!wait_until(last_event_ + patience, now))
            return;
        close_requests(counts_[2], now);
        lost_answers(counts_[3], now);
        at_ = 0;
        wake_ = now;
        if (++burst_ % 3 == 0 && since(now) + 3 * one_burst > options_.duration * 9 / 10)
            go_to(Step::alive_asked, now);
    }
    std::size_t burst_size() { return 6 + chance_.below(chance_.below(8) == 0 ? 180 : 20); }

    /// A second connection wants to be the same tester: is the first one asked whether it is alive?
    void step_alive(Time now) {
        const bool asked = step_ == Step::alive_asked;
        Judged& judged = asked ? alive_asked_ : alive_silent_;
        Line& old = lines_[0];
        Line& fresh = lines_[1];
        switch (at_) {
        case 0:
            at_ = 1;
            old.alive = 0;
            old.answers_alive = asked;
            connect(1);
            until_ = now + way_time;
            wake_ = until_;
            return;
        case 1:
            if (fresh.open) {
                at_ = 2;
                activate(1);
                until_ = now + alive_time;
                wake_ = until_;
                return;
            }
            if (!fresh.failed && !wait_until(until_, now))
                return;
            no_second_ = true;
            break;
        default: {
            const bool settled =
                fresh.activation && (asked || old.ended || !fresh.activation->active());
            if (!settled && !(fresh.ended && asked) && !wait_until(until_, now))
                return;
            if (fresh.ended && !fresh.activation && old.alive == 0) {
                no_second_ = true;
                break;
            }
            const int code = fresh.activation ? fresh.activation->code : -1;
            constexpr int all_in_use = 0x01;
            if (code == all_in_use) {
                no_second_ = true;
                break;
            }
            ++judged.all;
            if (old.alive == 0)
                judged.fault(since(now), {}, {}, "the first connection was not asked");
            else if (asked && code != 0x03)
                judged.fault(since(now), {}, {},
                             code < 0 ? "the second one has no answer"
                                      : "the second one is answered with code " +
                                            hex_of(static_cast<std::uint8_t>(code)) + ", not 03");
            else if (!asked && !old.ended)
                judged.fault(since(now), {}, {}, "the first connection stays open");
            else if (!asked && code != 0x10)
                judged.fault(since(now), {}, {}, "the second one is not activated");
        }
        }
        close_line(1);
        if (asked && !no_second_ && old.open)
            return go_to(Step::alive_silent, now);
        close_line(0);
        go_to(Step::headers, now);
    }

    void step_headers(Time now) {
        if (header_ == headers_.size())
            return go_to(Step::source, now);
        const Header& header = headers_[header_];
        Judged& judged = header_counts_[header_];
        Line& line = lines_[1];
        switch (at_) {
        case 0:
            at_ = 1;
            connect(1);
            until_ = now + way_time;
            wake_ = until_;
            return;
        case 1:
            if (!line.open) {
                if (!line.failed && !wait_until(until_, now))
                    return;
                break;
            }
            at_ = 2;
            write(1, header.bytes);
            until_ = now + answer_time;
            wake_ = until_;
            return;
        case 2:
            if (!line.refusal && !line.ended && !wait_until(until_, now))
                return;
            at_ = 3;
            until_ = now + answer_time;
            wake_ = now;
            return;
        default:
            if (header.closes && line.refusal && !line.ended && !wait_until(until_, now))
                return;
            ++judged.all;
            if (!line.refusal)
                judged.fault(since(now), header.bytes, {},
                             line.ended ? "the connection ends without a word"
                                        : "nothing comes of it");
            else if (*line.refusal != header.code && *line.refusal != header.other_code)
                judged.fault(since(now), header.bytes, {},
                             "it is refused with code " + hex_of(*line.refusal));
            else if (header.closes && !line.ended)
                judged.fault(since(now), header.bytes, {}, "the connection stays open");
        }
        close_line(1);
        ++header_;
        at_ = 0;
        wake_ = now;
    }

    void step_source(Time now) {
        Line& line = lines_[1];
        if (source_at_ == 0) {
            source_at_ = 1;
            connect(1);
            until_ = now + way_time;
            wake_ = until_;
            return;
        }
        if (source_at_ == 1) {
            if (line.open) {
                source_at_ = 2;
                activate(1);
                until_ = now + alive_time;
                wake_ = until_;
                return;
            }
            if (line.failed || wait_until(until_, now))
                return go_to(Step::all, now);
            return;
        }
        if (source_at_ == 2) {
            if (line.activation && line.activation->active()) {
                source_at_ = 3;
                at_ = 0;
            } else {
                if (line.activation || line.ended || wait_until(until_, now))
                    go_to(Step::all, now);
                return;
            }
        }
        step_refused(now, 1, other_tester, options_.target, 0x02, source_, Step::all);
        if (step_ == Step::all)
            close_line(1);
    }

    // The report.

    Check& row(const char* id, std::string title, const char* basis, const Judged& judged,
               const std::string& sent, const std::string& good, const std::string& why,
               bool whole) {
        Check check;
        check.id = id;
        check.group = "doip";
        check.title = std::move(title);
        check.basis = basis;
        check.sent_count = judged.all;
        check.wrong_count = judged.wrong;
        check.examples = judged.examples;
        if (judged.all == 0 && judged.wrong == 0) {
            check.finding = why;
        } else if (judged.wrong == 0 && !whole) {
            check.finding = "it was not tried to the end";
        } else {
            check.sent = sent;
            check.verdict = judged.wrong == 0 ? Verdict::passed : Verdict::failed;
            check.came = judged.wrong == 0 ? good : judged.first;
            if (judged.wrong != 0)
                check.finding = judged.all <= 1 ? judged.first
                                                : render::with_commas(judged.wrong) + " of " +
                                                      render::with_commas(judged.all) +
                                                      " wrong; the first: " + judged.first;
        }
        report_.checks.push_back(std::move(check));
        return report_.checks.back();
    }
    void write_report() {
        const auto after = [this](Step step) { return step_reached_ > step; };
        const std::string not_tried =
            !trouble_.empty() ? trouble_
            : unknown_target_
                ? "it knows no ECU with this logical address: name one with ,target=HEX"
            : activation_.wrong != 0 ? "routing was not activated"
                                     : "it was not tried";
        if (lost_line_) {
            Judged stays;
            ++stays.all;
            stays.fault(0, {}, {}, "the entity closed the connection in the midst of it");
            row("line-stays", "The connection stays", "common practice", stays, "", "", "", true);
        }
        row("doip-status", "It says what it is and how long requests may be",
            "ISO 13400-2, entity status; from memory", status_, "one question",
            longest_ == 0 ? "it says nothing of their length"
                          : "up to " + how_many(longest_, "byte", "bytes"),
            "no answer came: a datagram may not reach it", true);
        row("doip-activation", "Routing is activated",
            "ISO 13400-2, routing activation; from memory", activation_, "one request", "activated",
            not_tried, true);
        row("doip-before-activation", "Nothing is routed before that",
            "ISO 13400-2, routing activation; from memory", before_, "one message", "not routed",
            not_tried, true);
        const bool known = after(Step::known);
        const bool bursts = after(Step::bursts);
        const std::string lengths = "of 1 to " + how_many(longest(), "byte", "bytes");
        row("doip-requests", "Requests reach the ECU as they were given, " + lengths,
            "ISO 13400-2, diagnostic message", counts_[0].whole,
            how_many(counts_[0].whole.all, "message", "messages"), "all the same to the bit",
            not_tried, known);
        row("doip-answers", "Answers reach the tester as the ECU gave them, " + lengths,
            "ISO 13400-2, diagnostic message", counts_[1].whole,
            how_many(counts_[1].whole.all, "message", "messages"), "all the same to the bit",
            not_tried, known);
        row("doip-addresses", "Answers bear the addresses of the ECU and the tester",
            "ISO 13400-2, diagnostic message", addresses_,
            how_many(addresses_.all, "message", "messages"), "all", not_tried, known);
        row("doip-acknowledge", "Each request is acknowledged once, with its addresses and bytes",
            "ISO 13400-2, diagnostic message acknowledgement, within 2 s; from memory", acks_,
            how_many(acks_.all, "message", "messages"), "all", not_tried, known);
        Judged loss = counts_[2].whole;
        merge(loss, counts_[3].whole);
        const std::string burst_text = how_many(loss.all, "message", "messages") +
                                       " in bursts, one way, the other, both at once";
        row("doip-load", "Under load nothing is lost or changed", "common practice", loss,
            burst_text, "all the same to the bit", not_tried, bursts);
        Judged order = counts_[2].order;
        merge(order, counts_[3].order);
        order.all = loss.all;
        row("doip-order", "Order is kept", "common practice", order, burst_text, "all in order",
            not_tried, bursts);
        Judged twice;
        for (const Counts& one : counts_)
            merge(twice, one.twice);
        twice.all = counts_[0].whole.all + counts_[1].whole.all + loss.all;
        row("doip-twice", "Nothing arrives twice", "common practice", twice,
            how_many(twice.all, "message", "messages"), "none came twice", not_tried, bursts);
        row("doip-wrong-target", "A message to an ECU that there is not is refused (03)",
            "ISO 13400-2, negative acknowledgement codes; from memory", target_, "one message",
            "refused", not_tried, true);
        row("doip-wrong-source", "A message from another than the activated tester is refused (02)",
            "ISO 13400-2, negative acknowledgement codes; from memory", source_, "one message",
            "refused", not_tried, true);
        const std::string second = no_second_ ? "it takes no second connection" : not_tried;
        row("doip-alive", "A tester that is there twice: the first is asked, and keeps its place",
            "ISO 13400-2, alive check: code 03 for the second; from memory", alive_asked_,
            "a second connection", "asked; the second was refused", second, true);
        row("doip-alive-silent", "A tester that does not answer the alive check loses its place",
            "ISO 13400-2, alive check: 500 ms; from memory", alive_silent_, "a second connection",
            "the first was closed, the second activated",
            alive_asked_.all != 0 && !no_second_ ? "the first connection was gone before" : second,
            true);
        for (std::size_t i = 0; i < headers_.size(); ++i)
            row(headers_[i].id, headers_[i].title,
                "ISO 13400-2, generic header negative acknowledge; from memory", header_counts_[i],
                "one header", "refused", not_tried, true);
        Judged stream = stream_;
        stream.all = loss.all + counts_[0].whole.all + stream.wrong;
        row("doip-stream", "It sends nothing but what a tester is to be sent",
            "ISO 13400-2, payload types", stream, "a conversation", "nothing else", not_tried,
            known);
        if (refused_ != 0)
            report_.notes.push_back("Under load the entity refused " +
                                    how_many(refused_, "message", "messages") +
                                    " for want of memory, as it may; they are not judged.");
        const auto latency = [this](const char* name, const Latency& one) {
            if (one.total() != 0)
                report_.latencies.push_back({name, one});
        };
        latency("request to its acknowledgement", ack_latency_);
        latency("request to the far end", request_latency_);
        latency("answer of the far end to the tester", answer_latency_);
    }
    static void merge(Judged& into, const Judged& more) {
        into.all += more.all;
        if (into.wrong == 0)
            into.first = more.first;
        into.wrong += more.wrong;
        for (const Example& one : more.examples)
            if (into.examples.size() < Check::most_examples)
                into.examples.push_back(one);
    }

    DoipVetOptions options_;
    Chance chance_;
    Time begun_;
    Time wake_;
    Step step_ = Step::status;
    Step step_reached_ = Step::status;
    unsigned at_ = 0;
    Time until_ = 0;
    Time last_event_ = 0;
    Time next_progress_ = 0;
    DoipVetOutlet* outlet_ = nullptr; ///< during `poll`
    std::array<Line, lines> lines_;
    std::deque<Due> due_; ///< acknowledgements
    std::deque<Message> acknowledged_;
    Way requests_, answers_;
    std::array<Counts, 4> counts_; ///< requests and answers, those in bursts
    std::array<std::uint8_t, 251> pattern_{};
    std::uint32_t number_ = 0;
    std::size_t length_at_ = 0;
    std::size_t size_ = 0;
    bool last_length_ = false;
    std::size_t longest_ = 0; ///< as the entity says; 0: it does not
    bool status_came_ = false;
    bool unknown_target_ = false;
    bool lost_line_ = false;
    bool no_second_ = false;
    bool answering_ = false;
    Message answer_;
    Message forbidden_; ///< that is not to come
    bool forbidden_came_ = false;
    bool right_code_ = false;
    std::string wrong_code_;
    std::string trouble_;
    unsigned in_row_ = 0;
    unsigned burst_ = 0;
    unsigned source_at_ = 0;
    std::size_t header_ = 0;
    std::vector<Header> headers_;
    std::vector<Judged> header_counts_;
    std::uint64_t refused_ = 0;
    Judged status_, before_, activation_, acks_, addresses_, target_, source_, alive_asked_,
        alive_silent_, stream_;
    Latency ack_latency_, request_latency_, answer_latency_;
    Report report_;
};

DoipVetting::DoipVetting(const DoipVetOptions& options, Time now)
    : impl_(std::make_unique<Impl>(options, now)) {}
DoipVetting::~DoipVetting() = default;
DoipVetting::DoipVetting(DoipVetting&&) noexcept = default;
DoipVetting& DoipVetting::operator=(DoipVetting&&) noexcept = default;

void DoipVetting::connected(unsigned line, bool fine, Time now) {
    impl_->connected(line, fine, now);
}
void DoipVetting::read(unsigned line, Bytes bytes, Time now) {
    impl_->read(line, bytes, now);
}
void DoipVetting::closed(unsigned line, Time now) {
    impl_->closed(line, now);
}
void DoipVetting::status(Bytes payload, Time now) {
    impl_->status(payload, now);
}
void DoipVetting::heard(Bytes message, Time now) {
    impl_->heard(message, now);
}
void DoipVetting::answered(bool fine, Time now) {
    impl_->answered(fine, now);
}
void DoipVetting::gone(Time now) {
    impl_->gone(now);
}
void DoipVetting::poll(Time now, DoipVetOutlet& outlet) {
    impl_->poll(now, outlet);
}
Time DoipVetting::next_wakeup() const noexcept {
    return impl_->next_wakeup();
}
bool DoipVetting::done() const noexcept {
    return impl_->done();
}
void DoipVetting::stop(Time now) {
    impl_->finish(now);
}
const Report& DoipVetting::report() const noexcept {
    return impl_->report();
}

} // namespace telltale::vet
