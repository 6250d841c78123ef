// SPDX-License-Identifier: Apache-2.0
// Functional requests: they go to all ECUs, and each answers under its own address.
#include "doip_impl.hpp"

#include <algorithm>

namespace telltale::vet {

using namespace through; // NOLINT: its own

bool DoipVetting::Impl::acknowledges(const doip::Acknowledge& answer, const Due& due) const {
    if (answer.source == due.target)
        return true;
    // For a group the entity may speak itself: the standard names the receiver, and this is it too.
    const auto& activation = lines_[due.line].activation;
    return due.target == group_ && activation && answer.source == activation->entity;
}

void DoipVetting::Impl::came_to_group(const link::DoipMessage& message, Time now) {
    last_event_ = now;
    wake_ = now;
    Counts& counts = answer_counts();
    const Way::Fate fate = answers_.arrived(message.bytes);
    if (fate == Way::Fate::alien)
        return counts.whole.fault(since(now), {}, message.bytes, "nobody sent it");
    const Message& sent = answers_.last().bytes;
    if (fate == Way::Fate::twice)
        return counts.twice.fault(since(now), sent, message.bytes,
                                  "an answer of " + hex_of(message.source) + " comes twice");
    const auto whose = std::find_if(ecus_.begin(), ecus_.end(),
                                    [&](const Ecu& ecu) { return ecu.answer == sent; });
    if (whose == ecus_.end()) // its next one was given meanwhile
        return;
    const std::string name = "the answer of " + hex_of(whose->address);
    ++group_sources_.all;
    if (message.source != whose->address)
        group_sources_.fault(since(now), sent, message.bytes,
                             name + " bears the address " + hex_of(message.source));
    else if (message.target != options_.tester)
        group_sources_.fault(since(now), sent, message.bytes,
                             name + " goes to " + hex_of(message.target) + ", not the tester");
    if (fate == Way::Fate::changed)
        return counts.whole.fault(since(now), sent, message.bytes,
                                  name + (message.bytes.size() < sent.size()   ? " is cut"
                                          : message.bytes.size() > sent.size() ? " is longer"
                                                                               : " is changed"));
    ++counts.arrived;
    group_latency_.add(now - answers_.last().given);
}

void DoipVetting::Impl::lost_group_answers(Time now) {
    Judged& judged = answer_counts().whole;
    answers_.close([&](const Message& lost) {
        for (const Ecu& ecu : ecus_)
            if (ecu.answer == lost)
                judged.fault(since(now), lost, {},
                             "the answer of " + hex_of(ecu.address) + " does not come");
    });
    for (Ecu& ecu : ecus_)
        ecu.answering = false;
}

void DoipVetting::Impl::step_functional(Time now) {
    if (lost_line_)
        return finish(now);
    constexpr std::size_t frame_room = 7; // bytes of a request in a single frame, ISO 15765-2
    constexpr unsigned whole_rounds = 8;  // that all answer
    switch (at_) {
    case 0: { // a request to all
        if (no_group_ || gaps_ == most_gaps ||
            (round_ >= least_rounds && since(now) > options_.duration / 2)) {
            at_ = 3;
            wake_ = now;
            return;
        }
        at_ = 1;
        const Message message = make(request_service, 1 + round_ % frame_room);
        ++request_counts().whole.all;
        requests_.expect(message, now);
        request(0, options_.tester, group_, message, 0, now);
        return allow(now + way_time);
    }
    case 1: { // acknowledged, and there?
        const bool there = requests_.open() == 0;
        const bool all = there && due_.empty();
        if (!all && !wait_until(until_, now))
            return;
        gaps_ += all ? 0 : 1;
        close_requests(request_counts(), now);
        if (no_group_ || !there) { // nobody answers to what did not come
            ++round_;
            at_ = 0;
            return allow(now);
        }
        at_ = 2;
        // All of them answer at once, later on now and then only some: nobody is waited for.
        const std::uint32_t most = static_cast<std::uint32_t>(ecus_.size());
        const std::size_t surely = chance_.below(most);
        for (unsigned i = 0; i < ecus_.size(); ++i)
            if (round_ < whole_rounds || i == surely || chance_.below(3) != 0) {
                ++answer_counts().whole.all;
                answer(i, burst_size(), now);
            }
        return allow(now + way_time);
    }
    case 2: {
        const bool all = !answering() && answers_.open() == 0;
        if (!all && !wait_until(until_, now))
            return;
        gaps_ += all ? 0 : 1;
        lost_group_answers(now);
        ++round_;
        at_ = 0;
        wake_ = now;
        return;
    }
    default: // doubles may follow
        if (wait_until(last_event_ + 50 * ms, now))
            go_to(Step::target, now);
    }
}

void DoipVetting::Impl::write_functional(const std::string& not_tried) {
    const bool whole = step_reached_ > Step::functional && round_ >= least_rounds;
    const std::string group = hex_of(group_);
    const std::string why = no_group_ ? "it knows no functional address " + group : not_tried;
    const std::string ecus = how_many(ecus_.size(), "ECU", "ECUs");
    const std::uint64_t answers = counts_[5].whole.all;
    const std::string said = how_many(answers, "answer", "answers") + " of " + ecus;
    Judged requests = counts_[4].whole;
    requests.add(counts_[4].twice);
    row("doip-functional", "A functional request reaches all ECUs at once, as it was given",
        "ISO 13400-2, logical addresses; ISO 15765-4, functional identifiers; from memory",
        requests, how_many(requests.all, "message", "messages") + " of 1 to 7 bytes to " + group,
        "all the same to the bit, on the identifier of functional requests", why, whole);
    row("doip-functional-acknowledge", "A functional request is acknowledged once",
        "ISO 13400-2, diagnostic message acknowledgement, of the group or the entity; from memory",
        group_acks_, how_many(group_acks_.all, "message", "messages"), "all", why, whole);
    row("doip-functional-answers", "Of each ECU the answer to it comes, as the ECU gave it",
        "ISO 13400-2, diagnostic message", counts_[5].whole, said, "all the same to the bit", why,
        whole);
    Judged twice = counts_[5].twice;
    twice.all = answers;
    row("doip-functional-twice", "No ECU's answer to it comes twice", "common practice", twice,
        said, "none came twice", why, whole);
    row("doip-functional-sources", "Each of these answers bears its own ECU's address",
        "ISO 13400-2, diagnostic message: source address; from memory", group_sources_, said, "all",
        why, whole);
    row("doip-functional-unknown", "A request to a group that there is not is refused (03)",
        "ISO 13400-2, negative acknowledgement codes; from memory", group_unknown_, "one message",
        "refused", not_tried, true);
    row("doip-functional-long", "A functional request longer than a frame is refused (04, 08)",
        "ISO 15765-2, functional addressing: single frames only; ISO 13400-2, negative "
        "acknowledgement codes; from memory",
        group_long_, "one message of " + how_many(many_bytes, "byte", "bytes"), "refused", why,
        true);
}

} // namespace telltale::vet
