// SPDX-License-Identifier: Apache-2.0
#include "doip_impl.hpp"

#include <algorithm>

namespace telltale::vet {

using namespace through; // NOLINT: its own

void DoipVetting::Impl::step_status(Time now) {
    if (at_ == 0) {
        at_ = 1;
        outlet_->ask_status();
        until_ = now + answer_time;
    }
    if (status_came_ || wait_until(until_, now))
        go_to(Step::tls, now);
}

std::optional<bool> DoipVetting::Impl::connection(unsigned number, unsigned& at, Time now,
                                                  DoipConnection how) {
    if (at == 0) {
        at = 1;
        connect(number, how);
        allow(now + way_time);
        return std::nullopt;
    }
    const Line& line = lines_[number];
    if (line.open) {
        at = 2;
        return true;
    }
    if (line.failed || line.ended || wait_until(until_, now))
        return false;
    return std::nullopt;
}

void DoipVetting::Impl::step_before(Time now) {
    if (at_ < 2) {
        const auto had = connection(0, at_, now);
        if (!had)
            return;
        if (!*had) {
            trouble_ = "no connection to it could be had";
            return finish(now);
        }
        forbidden_ = make(request_service, 8);
        forbidden_came_ = false;
        ++before_.all;
        request(0, options_.tester, options_.target, forbidden_, 0xFF, now);
        return allow(now + none_time);
    }
    if (!wait_until(until_, now) && !forbidden_came_)
        return;
    if (forbidden_came_)
        before_.fault(since(now), forbidden_, forbidden_, "it was routed");
    due_.clear();
    wrong_code_.clear();
    close_line(0);
    go_to(Step::activate, now);
}

void DoipVetting::Impl::step_activate(Time now) {
    Line& line = lines_[0];
    if (at_ < 2) {
        const auto had = connection(0, at_, now);
        if (!had)
            return;
        if (*had) {
            ++activation_.all;
            activate(0);
            return allow(now + answer_time);
        }
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

std::size_t DoipVetting::Impl::longest() const {
    constexpr std::size_t head = 4; // addresses; an entity may count them in
    return longest_ == 0 ? options_.longest
                         : std::min(options_.longest, std::max<std::size_t>(longest_, 8) - head);
}

std::size_t DoipVetting::Impl::next_length(Time now) {
    constexpr std::array<std::size_t, 22> odd{61,   62,   63,   64,   65,     127,   128,  255,
                                              256,  511,  512,  1000, 1023,   1024,  2047, 2048,
                                              4094, 4095, 4096, 8192, 32'768, 65'535};
    constexpr std::size_t all_to = 24;
    while (length_at_ < all_to + odd.size()) {
        const std::size_t size = length_at_ < all_to ? length_at_ + 1 : odd[length_at_ - all_to];
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

void DoipVetting::Impl::step_known(Time now) {
    if (lost_line_)
        return finish(now);
    switch (at_) {
    case 0: { // a request
        const std::size_t size = next_length(now);
        if (size == 0)
            return go_to(Step::functional, now);
        at_ = 1;
        size_ = size;
        const Message message = make(request_service, size);
        ++counts_[0].whole.all;
        requests_.expect(message, now);
        request(0, options_.tester, options_.target, message, 0, now);
        return allow(now + way_time);
    }
    case 1: // acknowledged, and there?
        if (unknown_target_)
            return finish(now);
        if (!(due_.empty() && requests_.open() == 0) && !wait_until(until_, now))
            return;
        close_requests(counts_[0], now);
        at_ = 2;
        ++counts_[1].whole.all;
        answer(0, size_, now);
        return allow(now + way_time);
    default:
        if ((answering() || answers_.open() != 0) && !wait_until(until_, now))
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

void DoipVetting::Impl::close_requests(Counts& counts, Time now) {
    for (const Due& due : due_)
        if (due.code == 0) {
            ++acks().all;
            acks().fault(since(now), due.bytes, {}, "no acknowledgement comes");
        }
    due_.clear();
    requests_.close([&](const Message& lost) { counts.whole.fault(since(now), lost, {}, "lost"); });
}

void DoipVetting::Impl::lost_answers(Counts& counts, Time now) {
    for (Ecu& ecu : ecus_)
        ecu.answering = false;
    answers_.close([&](const Message& lost) { counts.whole.fault(since(now), lost, {}, "lost"); });
}

void DoipVetting::Impl::step_bursts(Time now) {
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
        if (kind != 0 && !answering() && answers_.open() < most_answers) {
            ++counts_[3].whole.all;
            answer(0, burst_size(), now);
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
    const bool all = requests_.open() == 0 && answers_.open() == 0 && due_.empty() && !answering();
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

} // namespace telltale::vet
