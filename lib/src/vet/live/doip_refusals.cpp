// SPDX-License-Identifier: Apache-2.0
#include "doip_impl.hpp"

namespace telltale::vet {

using namespace through; // NOLINT: its own

std::vector<Header> through::bad_headers() {
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

void DoipVetting::Impl::step_refused(Time now, unsigned line, std::uint16_t source,
                                     std::uint16_t target, std::uint8_t code, Judged& judged,
                                     Step next, std::size_t size) {
    if (at_ == 0) {
        at_ = 1;
        ++judged.all;
        forbidden_ = make(request_service, size);
        forbidden_came_ = right_code_ = false;
        wrong_code_.clear();
        request(line, source, target, forbidden_, code, now);
        return allow(now + answer_time);
    }
    const bool answered = right_code_ || !wrong_code_.empty();
    if (at_ == 1) {
        if (!answered && !lines_[line].ended && !wait_until(until_, now))
            return;
        at_ = 2;
        return allow(now + none_time);
    }
    if (!wait_until(until_, now) && !forbidden_came_)
        return;
    if (forbidden_came_)
        judged.fault(since(now), forbidden_, forbidden_, "it was routed to the line behind it");
    else if (!wrong_code_.empty())
        judged.fault(since(now), forbidden_, {}, wrong_code_);
    else if (!right_code_)
        judged.fault(since(now), forbidden_, {}, "it was not refused");
    due_.clear();
    forbidden_.clear();
    go_to(next, now);
}

void DoipVetting::Impl::step_alive(Time now) {
    const bool asked = step_ == Step::alive_asked;
    Judged& judged = asked ? alive_asked_ : alive_silent_;
    Line& old = lines_[0];
    Line& fresh = lines_[1];
    switch (at_) {
    case 0:
        old.alive = 0;
        old.answers_alive = asked;
        [[fallthrough]];
    case 1: {
        const auto had = connection(1, at_, now);
        if (!had)
            return;
        if (*had) {
            activate(1);
            return allow(now + alive_time);
        }
        no_second_ = true;
        break;
    }
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

void DoipVetting::Impl::step_headers(Time now) {
    if (header_ == headers_.size())
        return go_to(Step::source, now);
    const Header& header = headers_[header_];
    Judged& judged = header_counts_[header_];
    Line& line = lines_[1];
    switch (at_) {
    case 0:
    case 1: {
        const auto had = connection(1, at_, now);
        if (!had)
            return;
        if (!*had)
            break;
        write(1, header.bytes);
        return allow(now + answer_time);
    }
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
                         line.ended ? "the connection ends without a word" : "nothing comes of it");
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

void DoipVetting::Impl::step_source(Time now) {
    Line& line = lines_[1];
    if (source_at_ < 2) {
        const auto had = connection(1, source_at_, now);
        if (!had)
            return;
        if (!*had)
            return go_to(Step::all, now);
        activate(1);
        return allow(now + alive_time);
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

} // namespace telltale::vet
