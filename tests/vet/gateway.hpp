// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <algorithm>
#include <array>
#include <cstdint>
#include <deque>
#include <functional>
#include <limits>
#include <string>
#include <utility>
#include <vector>

#include "telltale/link/doip.hpp"

/// A DoIP entity that is a gateway to three ECUs (ISO 13400-2, from memory), without I/O, sound or
/// with a fault. The same one serves tests with a virtual clock and a program on a real line.
namespace telltale::vet_test {

enum class GatewayFault {
    none,
    drops_requests, ///< one in `rate`
    drops_answers,
    doubles_requests,
    doubles_answers,
    swaps_requests, ///< with the one after it, where one follows soon
    swaps_answers,
    cuts_requests, ///< the last byte of one in `rate`
    cuts_long_answers,
    changes_answers, ///< a bit of one in `rate`
    stops_at_1024,   ///< longer requests come cut
    no_acknowledge,  ///< one in `rate`
    wrong_acknowledge_code,
    wrong_acknowledge_address,
    wrong_acknowledge_bytes,
    acknowledges_twice,
    refuses,           ///< one in `rate` with "unknown network"
    answers_for_other, ///< answers bear another source address
    any_source,        ///< takes messages from any source address
    any_target,        ///< takes messages to any target
    before_activation, ///< routes before activation
    deaf_to_ecu,       ///< takes no answer from the ECU
    no_alive_check,
    silent_ones_stay,
    silent_about_headers,
    wrong_header_code,
    stays_open, ///< after a header that is refused
    wrong_status,
    // Functional requests; what happens now and then happens in one of four.
    group_unknown,        ///< to it, though it should be known
    group_request_lost,   ///< but acknowledged
    group_to_one,         ///< they go to the first ECU alone
    group_answer_lost,    ///< that of the third ECU
    group_first_only,     ///< one answer, whoever is first
    group_answer_twice,   ///< that of the second ECU
    group_wrong_source,   ///< that of the second ECU bears the address of the first
    group_answer_changed, ///< that of the second ECU
    group_acknowledged_by_each,
    any_group,         ///< takes any functional address
    group_long_lost,   ///< long ones are acknowledged, and go nowhere
    group_long_routed, ///< in several frames
    // TLS
    tls_not_spoken,
    tls_refused,
    tls_untrusted,
    tls_other_host,
    tls_also_plain,
    tls_old,
    tls_hangs, ///< nothing comes of a handshake
    absent,    ///< there is nobody at all
};

class Gateway {
  public:
    using Message = std::vector<std::uint8_t>;
    static constexpr std::uint16_t entity = 0x1000;
    static constexpr std::uint16_t ecu = 0x1001; ///< the first; the others follow
    static constexpr unsigned ecus = 3;
    static constexpr std::uint16_t group = 0xE000;
    static constexpr std::size_t most_lines = 4;
    /// What changes places with the next one waits for it so long: a computer may be slow.
    static constexpr Time swap_time = 500 * nanoseconds_a_millisecond;
    static constexpr Time never = std::numeric_limits<Time>::max();

    Gateway(GatewayFault fault, std::uint64_t seed, unsigned rate = 50)
        : fault_(fault), state_(seed * 0x9E37'79B9'7F4A'7C15 + 1), rate_(rate) {}

    // What it does; to be set.
    std::function<void(unsigned line, const Message&)> write;
    std::function<void(unsigned line)> close;
    std::function<void(unsigned ecu, const Message&)> to_ecu;
    std::function<void(const Message&)> to_all;

    /// A tester has connected, perhaps without TLS where there should be. False: no room.
    bool connected(unsigned line, bool forbidden = false) {
        if (line >= most_lines)
            return false;
        lines_[line] = {};
        lines_[line].open = true;
        lines_[line].forbidden = forbidden && fault_ != GatewayFault::tls_also_plain;
        return true;
    }
    void closed(unsigned line) { lines_[line].open = false; }
    void read(unsigned line, Bytes bytes, Time now) {
        Line& at = lines_[line];
        if (at.open && at.forbidden) { // TLS has it that this is no handshake (RFC 8446, 6)
            write(line, {0x15, 0x03, 0x01, 0x00, 0x02, 0x02, 0x46});
            at.open = false;
            return close(line);
        }
        if (bytes.size() >= at.seen.size()) // the header, to tell why it was none
            std::copy_n(bytes.begin(), at.seen.size(), at.seen.begin());
        link::doip::Packet packet;
        while (at.open && at.parser.next(bytes, packet))
            take(line, packet, now);
        if (at.open && at.parser.broken())
            bad_header(line, at.seen);
    }
    /// Payload of the entity's status.
    Message status() const {
        Message out{0x00, 4, 1, 0, 0, 0x10, 0x03};
        if (fault_ == GatewayFault::wrong_status)
            out.pop_back();
        return out;
    }
    /// Whether it takes what the ECU says.
    bool takes_from_ecu() const { return fault_ != GatewayFault::deaf_to_ecu; }
    /// An ECU says something.
    void from_ecu(unsigned from, Message message, Time now) {
        if (to_group_)
            return answer_of_group(from, message);
        if (hits(GatewayFault::drops_answers))
            return;
        if (hits(GatewayFault::changes_answers))
            message[message.size() / 2] ^= 0x08;
        if (fault_ == GatewayFault::cuts_long_answers && message.size() > 1024)
            message.resize(1024);
        if (hits(GatewayFault::swaps_answers) && held_answer_.empty()) {
            held_answer_ = std::move(message);
            held_until_ = now + swap_time;
            return;
        }
        give_answer(ecu, message);
        if (hits(GatewayFault::doubles_answers))
            give_answer(ecu, message);
        if (!held_answer_.empty())
            give_answer(ecu, std::exchange(held_answer_, {}));
    }
    void poll(Time now) {
        if (held_until_ <= now) {
            held_until_ = never;
            if (!held_answer_.empty())
                give_answer(ecu, std::exchange(held_answer_, {}));
            if (!held_request_.empty())
                to_ecu(0, std::exchange(held_request_, {}));
        }
        for (unsigned i = 0; i < most_lines; ++i)
            if (lines_[i].open && lines_[i].alive_by <= now) {
                // The tester does not answer: its place goes to the one that waits for it.
                const unsigned next = lines_[i].rival;
                lines_[i].alive_by = never;
                if (fault_ != GatewayFault::silent_ones_stay) {
                    lines_[i].open = false;
                    close(i);
                }
                activate(next, lines_[i].tester, 0x10);
            }
    }
    Time next_wakeup() const {
        Time next = held_until_;
        for (const Line& line : lines_)
            if (line.open)
                next = std::min(next, line.alive_by);
        return next;
    }

  private:
    struct Line {
        bool open = false;
        bool forbidden = false;
        std::uint16_t tester = 0; ///< 0: routing is not activated
        Time alive_by = never;
        unsigned rival = 0; ///< that wants to be the same tester
        link::doip::Parser parser;
        std::array<std::uint8_t, 8> seen{};
    };

    bool hits(GatewayFault fault) { return fault_ == fault && random() % rate_ == 0; }
    bool hits_often(GatewayFault fault) { return fault_ == fault && random() % 4 == 0; }
    std::uint64_t random() {
        state_ ^= state_ << 13;
        state_ ^= state_ >> 7;
        state_ ^= state_ << 17;
        return state_;
    }
    void put(unsigned line, link::doip::Type type, const Message& payload) {
        Message out;
        link::doip::append(out, type, payload);
        write(line, out);
    }
    static void put16(Message& out, std::uint16_t value) {
        out.push_back(static_cast<std::uint8_t>(value >> 8));
        out.push_back(static_cast<std::uint8_t>(value));
    }
    void end(unsigned line) {
        if (fault_ == GatewayFault::stays_open)
            return;
        lines_[line].open = false;
        close(line);
    }
    void refuse_header(unsigned line, std::uint8_t code, bool ends) {
        if (fault_ == GatewayFault::silent_about_headers)
            return;
        if (fault_ == GatewayFault::wrong_header_code)
            code = 0x03;
        put(line, link::doip::Type::negative_acknowledge, {code});
        if (ends)
            end(line);
    }
    void bad_header(unsigned line, const std::array<std::uint8_t, 8>& seen) {
        const bool pattern = seen[1] != static_cast<std::uint8_t>(~seen[0]);
        refuse_header(line, pattern ? 0x00 : 0x02, pattern);
        lines_[line].parser = {};
    }
    void activate(unsigned line, std::uint16_t tester, std::uint8_t code) {
        if (!lines_[line].open)
            return;
        Message payload;
        put16(payload, tester);
        put16(payload, entity);
        payload.insert(payload.end(), {code, 0, 0, 0, 0});
        put(line, link::doip::Type::activation_response, payload);
        if (code == 0x10)
            lines_[line].tester = tester;
        else
            end(line);
    }

    void take(unsigned line, const link::doip::Packet& packet, Time now) {
        using link::doip::Type;
        Line& at = lines_[line];
        const Bytes payload = packet.payload;
        switch (packet.type) {
        case Type::activation_request: {
            if (payload.size() != 7 && payload.size() != 11)
                return refuse_header(line, 0x04, true);
            const auto tester = static_cast<std::uint16_t>(big_endian(payload, 0, 2));
            for (unsigned i = 0; i < most_lines; ++i)
                if (i != line && lines_[i].open && lines_[i].tester == tester &&
                    fault_ != GatewayFault::no_alive_check) {
                    lines_[i].alive_by = now + 500 * nanoseconds_a_millisecond;
                    lines_[i].rival = line;
                    return put(i, Type::alive_request, {});
                }
            return activate(line, tester, tester == 0 ? 0x00 : 0x10);
        }
        case Type::alive_response:
            if (at.alive_by != never) {
                at.alive_by = never;
                activate(at.rival, at.tester, 0x03);
            }
            return;
        case Type::message:
            if (const auto message = link::doip::parse_message(payload))
                return route(line, *message, now);
            return refuse_header(line, 0x04, true);
        default:
            return refuse_header(line, 0x01, false);
        }
    }
    void acknowledge(unsigned line, const link::DoipMessage& message, std::uint8_t code) {
        Message payload;
        put16(payload, message.target);
        put16(payload, message.source);
        if (code == 0 && hits(GatewayFault::wrong_acknowledge_address))
            payload[1] ^= 1;
        if (code == 0 && hits(GatewayFault::wrong_acknowledge_code))
            code = 0x01;
        payload.push_back(code);
        const auto echo = std::min<std::size_t>(message.bytes.size(), 16);
        payload.insert(payload.end(), message.bytes.begin(),
                       message.bytes.begin() + static_cast<std::ptrdiff_t>(echo));
        if (code == 0 && hits(GatewayFault::wrong_acknowledge_bytes))
            payload.back() ^= 0x40;
        put(line, code < 2 ? link::doip::Type::message_taken : link::doip::Type::message_refused,
            payload);
    }
    void route(unsigned line, const link::DoipMessage& message, Time now) {
        const Line& at = lines_[line];
        if (at.tester == 0 && fault_ != GatewayFault::before_activation)
            return; // not activated: passed over
        if (message.source != at.tester && at.tester != 0 && fault_ != GatewayFault::any_source) {
            acknowledge(line, message, 0x02);
            return end(line);
        }
        to_group_ = message.target == group && fault_ != GatewayFault::group_unknown;
        if (fault_ == GatewayFault::any_group && (message.target & 0xF000) == 0xE000)
            to_group_ = true;
        if (to_group_)
            return route_to_group(line, message);
        if (message.target != ecu && fault_ != GatewayFault::any_target)
            return acknowledge(line, message, 0x03);
        if (hits(GatewayFault::refuses))
            return acknowledge(line, message, 0x07);
        if (!hits(GatewayFault::no_acknowledge))
            acknowledge(line, message, 0);
        if (hits(GatewayFault::acknowledges_twice))
            acknowledge(line, message, 0);
        if (hits(GatewayFault::drops_requests))
            return;
        Message bytes(message.bytes.begin(), message.bytes.end());
        if (hits(GatewayFault::cuts_requests) && bytes.size() > 1)
            bytes.pop_back();
        if (fault_ == GatewayFault::stops_at_1024 && bytes.size() > 1024)
            bytes.resize(1024);
        if (hits(GatewayFault::swaps_requests) && held_request_.empty()) {
            held_request_ = std::move(bytes);
            held_until_ = now + swap_time;
            return;
        }
        to_ecu(0, bytes);
        if (hits(GatewayFault::doubles_requests))
            to_ecu(0, bytes);
        if (!held_request_.empty())
            to_ecu(0, std::exchange(held_request_, {}));
    }
    void route_to_group(unsigned line, const link::DoipMessage& message) {
        const Message bytes(message.bytes.begin(), message.bytes.end());
        answered_ = false;
        if (bytes.size() > 7 && fault_ != GatewayFault::group_long_routed &&
            fault_ != GatewayFault::group_long_lost)
            return acknowledge(line, message, 0x04);
        acknowledge(line, message, 0);
        if (fault_ == GatewayFault::group_acknowledged_by_each)
            for (unsigned i = 1; i < ecus; ++i)
                acknowledge(line, message, 0);
        if (hits_often(GatewayFault::group_request_lost) ||
            (bytes.size() > 7 && fault_ == GatewayFault::group_long_lost))
            return;
        if (fault_ == GatewayFault::group_to_one)
            to_ecu(0, bytes);
        else
            to_all(bytes);
    }
    void answer_of_group(unsigned from, Message message) {
        if (fault_ == GatewayFault::group_first_only && std::exchange(answered_, true))
            return;
        if (from == 2 && hits_often(GatewayFault::group_answer_lost))
            return;
        if (from == 1 && hits_often(GatewayFault::group_answer_changed))
            message.back() ^= 0x10;
        const bool wrong = from == 1 && hits_often(GatewayFault::group_wrong_source);
        const auto source = static_cast<std::uint16_t>(wrong ? ecu : ecu + from);
        give_answer(source, message);
        if (from == 1 && hits_often(GatewayFault::group_answer_twice))
            give_answer(source, message);
    }
    void give_answer(std::uint16_t source, const Message& message) {
        for (unsigned i = 0; i < most_lines; ++i)
            if (lines_[i].open && lines_[i].tester != 0) {
                Message payload;
                put16(payload, hits(GatewayFault::answers_for_other) ? ecu + 1 : source);
                put16(payload, lines_[i].tester);
                payload.insert(payload.end(), message.begin(), message.end());
                return put(i, link::doip::Type::message, payload);
            }
    }

    GatewayFault fault_;
    std::uint64_t state_;
    std::uint64_t rate_;
    std::array<Line, most_lines> lines_;
    Message held_answer_;
    Message held_request_;
    Time held_until_ = never;
    bool to_group_ = false; ///< the last request was functional
    bool answered_ = false; ///< and one answer to it was given
};

struct NamedFault {
    GatewayFault fault;
    const char* name;    ///< for the program's argument
    const char* check;   ///< that is to fail; empty: none
    const char* finding; ///< words that are to stand in its finding
    bool tls = false;
};
inline std::vector<NamedFault> gateway_faults() {
    using F = GatewayFault;
    return {
        {F::none, "sound", "", ""},
        {F::drops_requests, "drops-requests", "doip-load", "lost"},
        {F::drops_answers, "drops-answers", "doip-load", "lost"},
        {F::doubles_requests, "doubles-requests", "doip-twice", "twice"},
        {F::doubles_answers, "doubles-answers", "doip-twice", "twice"},
        {F::swaps_requests, "swaps-requests", "doip-order", "out of order"},
        {F::swaps_answers, "swaps-answers", "doip-order", "out of order"},
        {F::cuts_requests, "cuts-requests", "doip-load", "cut"},
        {F::cuts_long_answers, "cuts-long-answers", "doip-answers", "cut"},
        {F::changes_answers, "changes-answers", "doip-load", "changed"},
        {F::stops_at_1024, "stops-at-1024", "doip-requests", "cut"},
        {F::no_acknowledge, "no-acknowledge", "doip-acknowledge", "no acknowledgement comes"},
        {F::wrong_acknowledge_code, "wrong-acknowledge-code", "doip-acknowledge", "has code 01"},
        {F::wrong_acknowledge_address, "wrong-acknowledge-address", "doip-acknowledge",
         "other addresses"},
        {F::wrong_acknowledge_bytes, "wrong-acknowledge-bytes", "doip-acknowledge", "other bytes"},
        {F::acknowledges_twice, "acknowledges-twice", "doip-acknowledge", "twice"},
        {F::refuses, "refuses", "doip-acknowledge", "unknown network"},
        {F::answers_for_other, "answers-for-other", "doip-addresses", "other addresses"},
        {F::any_source, "any-source", "doip-wrong-source", "routed"},
        {F::any_target, "any-target", "doip-wrong-target", "routed"},
        {F::before_activation, "before-activation", "doip-before-activation", "routed"},
        {F::deaf_to_ecu, "deaf-to-ecu", "doip-answers", "did not take it"},
        {F::no_alive_check, "no-alive-check", "doip-alive", "was not asked"},
        {F::silent_ones_stay, "silent-ones-stay", "doip-alive-silent", "stays open"},
        {F::silent_about_headers, "silent-about-headers", "doip-header-type", "nothing comes"},
        {F::wrong_header_code, "wrong-header-code", "doip-header-length", "code 03"},
        {F::stays_open, "stays-open", "doip-header-pattern", "stays open"},
        {F::wrong_status, "wrong-status", "doip-status", "no known length"},
        {F::group_unknown, "group-unknown", "doip-functional-acknowledge", "no functional address"},
        {F::group_request_lost, "group-request-lost", "doip-functional", "lost"},
        {F::group_to_one, "group-to-one", "doip-functional", "to ECU 1001 alone"},
        {F::group_answer_lost, "group-answer-lost", "doip-functional-answers",
         "the answer of 1003 does not come"},
        {F::group_first_only, "group-first-only", "doip-functional-answers", "does not come"},
        {F::group_answer_twice, "group-answer-twice", "doip-functional-twice",
         "of 1002 comes twice"},
        {F::group_wrong_source, "group-wrong-source", "doip-functional-sources",
         "the answer of 1002 bears the address 1001"},
        {F::group_answer_changed, "group-answer-changed", "doip-functional-answers",
         "the answer of 1002 is changed"},
        {F::group_acknowledged_by_each, "group-acknowledged-by-each", "doip-functional-acknowledge",
         "twice"},
        {F::any_group, "any-group", "doip-functional-unknown", "routed"},
        {F::group_long_lost, "group-long-lost", "doip-functional-long", "acknowledged"},
        {F::group_long_routed, "group-long-routed", "doip-functional-long", "routed"},
        {F::none, "tls-sound", "", "", true},
        {F::tls_not_spoken, "tls-not-spoken", "doip-tls", "does not speak TLS", true},
        {F::tls_refused, "tls-refused", "doip-tls", "does not agree", true},
        {F::tls_untrusted, "tls-untrusted", "doip-tls-certificate", "not trusted", true},
        {F::tls_other_host, "tls-other-host", "doip-tls-host", "another host", true},
        {F::tls_also_plain, "tls-also-plain", "doip-tls-plain", "without TLS", true},
        {F::tls_old, "tls-old", "doip-tls-old", "agrees on TLSv1.1", true},
        {F::tls_hangs, "tls-hangs", "doip-tls", "comes to no end", true},
    };
}

} // namespace telltale::vet_test
