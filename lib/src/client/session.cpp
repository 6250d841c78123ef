// SPDX-License-Identifier: Apache-2.0
#include "telltale/client/session.hpp"

#include <algorithm>

namespace telltale::client {

Session::Session(const Line& line) : talk_(line) {}

Session::Session(const Line& line, const Timing& timing) : talk_(line, timing), timing_(timing) {}

Timing Session::timing_for(const Line& line) const {
    if (!timing_)
        return timing_of(line.dialect);
    Timing timing = *timing_;
    timing.p3_min = std::max(timing.p3_min, timing_of(line.dialect).p3_min);
    return timing;
}

void Session::run(Task& task, Time now) {
    task_ = &task;
    task_wake_ = no_time;
    waits_for_line_ = false;
    go_on(now);
}

void Session::go_on(Time now) {
    // Bounded: each turn asks, or ends.
    for (int turn = 0; turn < 64; ++turn) {
        if (const Exchange* ended = asker_ != nullptr ? talk_.ended() : nullptr; ended != nullptr) {
            Task* asker = asker_;
            asker_ = nullptr;
            if (asker == task_)
                asker->told(*ended, now);
        }
        if (task_ == nullptr || task_->done() || !talk_.idle() || waits_for_line_)
            return;
        task_wake_ = no_time;
        if (const LineWish* wish = task_->wish(); wish != nullptr) {
            const Line& is = talk_.line();
            const bool same_wire = is_can(wish->line.dialect) && is_can(is.dialect) &&
                                   wish->line.bit_rate == is.bit_rate;
            if (!same_wire) { // whoever drives the link sets it up
                wish_ = *wish;
                waits_for_line_ = true;
                return;
            }
            if (!plugged_)
                return;
            if (wish->line != is)
                talk_.set_line(wish->line, timing_for(wish->line));
            task_->granted({true, talk_.line(), {}}, now);
            continue;
        }
        if (!plugged_)
            return;
        task_->learn(talk_.notes());
        Request request;
        if (!task_->next(now, request)) {
            task_wake_ = task_->wake_at();
            return;
        }
        asker_ = task_;
        if (!talk_.ask(request, now)) {
            // A request that cannot be: told as not sent.
            Exchange none;
            none.request = request.bytes;
            none.to = request.to;
            none.ended = now;
            none.outcome = Outcome::not_sent;
            asker_ = nullptr;
            task_->told(none, now);
        }
    }
}

void Session::granted(const LineAnswer& answer, Time now) {
    if (!waits_for_line_)
        return;
    waits_for_line_ = false;
    if (answer.up)
        talk_.set_line(answer.line, timing_for(answer.line));
    if (task_ != nullptr)
        task_->granted(answer, now);
    go_on(now);
}

void Session::receive(const link::Traffic& traffic, Time now) {
    talk_.receive(traffic, now);
    go_on(now);
}

bool Session::to_send(link::Traffic& piece, Time now) {
    return plugged_ && talk_.to_send(piece, now);
}

void Session::sent(Time now) {
    talk_.sent(now);
    go_on(now);
}

void Session::send_failed(Time now) {
    talk_.send_failed(now);
    go_on(now);
}

Time Session::wake_at() const noexcept {
    if (!plugged_)
        return no_time;
    // It ended while a piece was asked for: the task is still to be told.
    if (asker_ != nullptr && talk_.ended() != nullptr)
        return talk_.ended()->ended;
    const Time talk = talk_.wake_at();
    if (task_wake_ == no_time || task_ == nullptr || !talk_.idle())
        return talk;
    return talk == no_time ? task_wake_ : std::min(talk, task_wake_);
}

void Session::wake(Time now) {
    talk_.wake(now);
    go_on(now);
}

void Session::unplugged(Time now) {
    plugged_ = false;
    talk_.cut(now);
    go_on(now);
}

void Session::plugged(Time now) {
    plugged_ = true;
    go_on(now);
}

} // namespace telltale::client
