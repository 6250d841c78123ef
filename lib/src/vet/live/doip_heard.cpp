// SPDX-License-Identifier: Apache-2.0
#include "doip_impl.hpp"

#include <algorithm>

namespace telltale::vet {

using namespace through; // NOLINT: its own

namespace {

/// Of a message that is too long the entity or the line behind it may say so.
bool will_do(std::uint8_t code, std::uint8_t wanted) {
    constexpr std::uint8_t line_error = 0x08;
    return code == wanted || (wanted == too_long && code == line_error);
}

} // namespace

void DoipVetting::Impl::take(unsigned number, const doip::Packet& packet, Time now) {
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
        if (const auto message = doip::parse_message(packet.payload);
            message && step_ == Step::functional) {
            came_to_group(*message, now);
        } else if (message) {
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

void DoipVetting::Impl::acknowledged(unsigned number, const doip::Packet& packet, Time now) {
    wake_ = now;
    const auto answer = doip::parse_acknowledge(packet.payload);
    if (!answer)
        return acks().fault(since(now), {}, packet.payload, "an acknowledgement is cut");
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
            return acks().fault(since(now), {}, packet.payload, "an acknowledgement comes twice");
        strange = true; // the oldest one, with other bytes
        found = std::find_if(due_.begin(), due_.end(),
                             [&](const Due& one) { return one.line == number; });
        if (found == due_.end())
            return acks().fault(since(now), {}, packet.payload,
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
        ++acks().all;
        if (strange)
            acks().fault(since(now), due.bytes, packet.payload,
                         "an acknowledgement has other bytes than the message");
        else if (!acknowledges(*answer, due) || answer->target != options_.tester)
            acks().fault(since(now), due.bytes, packet.payload,
                         "an acknowledgement has other addresses");
        else if (taken ? answer->code != 0 : answer->code == 0)
            acks().fault(since(now), due.bytes, packet.payload,
                         "an acknowledgement has code " + hex_of(answer->code));
        else if (!taken && answer->code == out_of_memory && step_ == Step::bursts)
            refuse(due.bytes, now);
        else if (!taken && answer->code == unknown_target && step_ == Step::functional &&
                 request_counts().arrived == 0)
            refuse_group(due, packet.payload, now);
        else if (!taken && answer->code == unknown_target && counts_[0].arrived == 0)
            unknown_target_ = true;
        else if (!taken)
            acks().fault(since(now), due.bytes, packet.payload,
                         "a message is refused: " + std::string(doip::refusal_text(answer->code)));
        ack_latency_.add(now - due.given);
    } else if (taken || !will_do(answer->code, due.code)) {
        wrong_code_ =
            taken ? "it was acknowledged" : "it was refused with code " + hex_of(answer->code);
    } else {
        right_code_ = true;
    }
}

void DoipVetting::Impl::refuse_group(const Due& due, Bytes payload, Time now) {
    no_group_ = true;
    requests_.withdraw(due.bytes);
    --request_counts().whole.all;
    if (options_.functional == 0 && ecus_.size() == 1)
        --acks().all; // nobody said that it knows one
    else
        acks().fault(since(now), due.bytes, payload,
                     "it knows no functional address " + hex_of(group_));
}

void DoipVetting::Impl::refuse(const Message& bytes, Time now) {
    ++refused_;
    if (!requests_.withdraw(bytes))
        acks().fault(since(now), bytes, {}, "a message is refused, and routed all the same");
}

void DoipVetting::Impl::came(Way& way, Counts& counts, Bytes bytes, Time now, Latency& latency) {
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

} // namespace telltale::vet
