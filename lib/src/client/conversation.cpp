// SPDX-License-Identifier: Apache-2.0
#include "telltale/client/conversation.hpp"

#include <algorithm>
#include <utility>

#include "carrier.hpp"
#include "matching.hpp"

namespace telltale::client {

namespace {

constexpr std::uint8_t negative_response = 0x7F;
constexpr std::uint8_t busy_repeat = 0x21;
constexpr std::uint8_t response_pending = 0x78;
constexpr Time never = isotp::never;
constexpr Time longest_pause = nanoseconds_a_second; ///< that a babbling line keeps a request back

bool is_pending(Bytes bytes) {
    return bytes.size() >= 3 && bytes[0] == negative_response && bytes[2] == response_pending;
}

/// Services whose answer on K-line may be several messages of one ECU (ISO 15031-5).
bool may_come_in_parts(std::uint8_t service) {
    return service == 0x03 || service == 0x06 || service == 0x07 || service == 0x09 ||
           service == 0x0A;
}

/// Where a response stands.
enum class State : std::uint8_t {
    due,       // asked, nothing came yet
    receiving, // the first frame came
    pending,   // "response pending" came
    resting,   // to be asked again at `deadline`
    done,
};

struct Responder {
    CanId ecu;
    State state = State::due;
    Outcome outcome = Outcome::silence;
    std::uint8_t code = 0;
    Time deadline = never; // of `state`
    Time asked = no_time;  // first
    Time last_asked = no_time;
    Time begun = no_time;
    Time time = no_time;
    Time owed_until = no_time;
    unsigned pending = 0;
    unsigned repeats = 0;
    unsigned busy = 0;
    unsigned tries = 0; // again after silence or a broken answer
    unsigned sends = 0; // answers that it owes for
    unsigned got = 0;
    Time pending_heard = no_time; // latest "response pending"
    bool expected = false;
    bool was_pending = false;
};

struct Stored {
    Reply reply;
    std::size_t at = 0;
    std::size_t size = 0;
};

/// An answer that may still come to a request that is over.
struct Owed {
    bool any_but = false;   // owed by any ECU except those in `ecus`
    bool holds_back = true; // the same question has to wait for it
    std::array<CanId, 8> ecus{};
    std::size_t count = 0;
    std::array<std::uint8_t, 16> request{};
    std::size_t size = 0;
    unsigned answers = 1;
    Time until = no_time;

    Bytes bytes() const { return Bytes(request).first(size); }
    bool by(CanId ecu) const {
        const bool listed =
            std::find(ecus.begin(), ecus.begin() + static_cast<std::ptrdiff_t>(count), ecu) !=
            ecus.begin() + static_cast<std::ptrdiff_t>(count);
        return listed != any_but;
    }
};
constexpr std::size_t most_owed = 32;

/// The answer that an ECU gave last, to know it again when it comes twice.
struct Latest {
    std::array<std::uint8_t, 64> bytes{};
    std::size_t size = 0;
};

} // namespace

std::string_view word(Outcome outcome) noexcept {
    switch (outcome) {
    case Outcome::answer:
        return "answer";
    case Outcome::refused:
        return "refused";
    case Outcome::busy:
        return "busy";
    case Outcome::pending:
        return "pending";
    case Outcome::silence:
        return "silence";
    case Outcome::broken:
        return "broken";
    case Outcome::not_sent:
        return "not-sent";
    case Outcome::cut:
        return "cut";
    }
    return "silence";
}

class Conversation::Impl final : public detail::Heard {
  public:
    Impl(const Line& line, const Timing& timing) {
        request_.reserve(max_request);
        responders_.reserve(max_ecus);
        stored_.reserve(max_replies);
        replies_.reserve(max_replies);
        arena_.reserve(1024);
        notes_.reserve(max_ecus);
        latest_.reserve(max_ecus);
        owed_.reserve(most_owed);
        resting_.reserve(max_ecus);
        set_line(line, timing);
    }

    void set_line(const Line& line, const Timing& timing) {
        timing_ = timing;
        carrier_.set_line(line, timing.slack, timing.send_limit);
        phase_ = Phase::idle;
        ended_ = false;
        shots_ = {};
    }

    // begun, message, ... : what the carrier tells
    void begun(CanId ecu, Bytes front, Time now) override;
    void message(CanId ecu, Bytes bytes, Time begun, Time now) override;
    void failed(CanId ecu, Time now) override;
    void damaged(Time now) override;
    void request_sent(Time now) override;
    void request_failed(Time now) override;

    bool ask(const Request& request, Time now);
    void receive(const link::Traffic& traffic, Time now) {
        step(now);
        if (timing_.p3_min > 0 && std::holds_alternative<link::KlineBytes>(traffic)) {
            // Whatever it is, the line wants its pause before the next request; but nobody keeps
            // the tester silent for ever.
            gate_ = std::max(gate_, now_ + timing_.p3_min);
            if (phase_ == Phase::waiting)
                start_at_ = std::max(start_at_, std::min(gate_, wanted_at_ + longest_pause));
        }
        carrier_.receive(traffic, now_, *this);
        advance();
    }
    bool to_send(link::Traffic& piece, Time now) {
        step(now);
        advance();
        if (!carrier_.to_send(piece, now_))
            return false;
        given_at_ = now_;
        return true;
    }
    void sent(Time now) {
        step(now);
        carrier_.sent(now_, *this);
        advance();
    }
    void send_failed(Time now) {
        step(now);
        carrier_.send_failed(now_, *this);
        advance();
    }
    void wake(Time now) {
        step(now);
        if (carrier_.in_flight() && now_ - given_at_ >= timing_.send_limit)
            carrier_.send_failed(now_, *this);
        carrier_.wake(now_, *this);
        advance();
    }
    Time wake_at() const noexcept;
    void cut(Time now);

    const Line& line() const { return carrier_.line(); }
    const Timing& timing() const { return timing_; }
    bool idle() const { return phase_ == Phase::idle; }
    const Exchange* ended() const { return ended_ ? &exchange_ : nullptr; }
    std::span<const EcuNotes> notes() const { return notes_; }
    const ConversationCounts& counts() const { return counts_; }
    Time longest(std::size_t ecus) const;

  private:
    enum class Phase : std::uint8_t {
        idle,
        waiting, // for `start_at_`
        open,
    };

    using Carrier = detail::Carrier;

    void step(Time now) { now_ = now_ == no_time || now > now_ ? now : now_; }
    void advance();
    void shoot(std::optional<CanId> to);
    void on_shot(Time now);
    void expire();
    void repeat_or_end(Responder& responder, Outcome outcome);
    void settle(Responder& responder, Outcome outcome);
    void accept(Responder& responder, CanId ecu, Bytes bytes, Time begun, Time now);
    void negative(CanId ecu, Bytes bytes, Time now);
    void stray(CanId ecu, Bytes bytes);
    void finish();
    void owe(const Owed& owed);
    void at_work(EcuNotes& notes);
    /// The ECU is not asked before.
    void rest(CanId ecu, Time until) {
        for (Rest& each : resting_)
            if (each.ecu == ecu) {
                each.until = until;
                return;
            }
        if (resting_.size() < max_ecus)
            resting_.push_back({ecu, until});
    }
    bool finished() const;
    /// K-line: the pause before a request is over (P3min).
    Time rested_at() const {
        return gate_ == no_time || timing_.p3_min == 0 ? no_time
                                                       : std::min(gate_, now_ + timing_.p3_min);
    }
    Time again_at() const { return window_end_ == never ? never : window_end_ + timing_.late; }
    bool window_over() const { return window_end_ != never && now_ >= window_end_; }
    Responder* find(CanId ecu) {
        for (auto& responder : responders_)
            if (responder.ecu == ecu)
                return &responder;
        return nullptr;
    }
    Responder* find_or_add(CanId ecu, Time now);
    EcuNotes& note(CanId ecu, Latest** latest = nullptr);
    Bytes request() const { return request_; }
    Time patience() const { return timing_.p2 + timing_.slack; }
    /// An ECU is asked alone where the line can do that (ISO 14230-4 asks all of them).
    bool asks_alone() const { return !is_kline(line().dialect); }

    Timing timing_;
    Carrier carrier_;
    Time now_ = no_time;
    Phase phase_ = Phase::idle;
    bool ended_ = false;

    // the open exchange
    std::vector<std::uint8_t> request_;
    std::optional<CanId> to_;
    bool may_repeat_ = true;
    bool knows_all_ = false; // `expected` was given
    Time start_at_ = never;
    Time wanted_at_ = no_time; // when it could have started
    Time asked_ = no_time;
    Time window_end_ = never; // until then ECUs of which nothing is known may answer
    Time hard_end_ = never;
    unsigned repeats_ = 0; // of a request to all that nobody answered
    struct Shots {
        bool under_way = false;
        bool to_one = false;
        CanId ecu;
    } shots_;
    Time given_at_ = no_time;
    Time first_given_ = no_time; // of the open exchange
    std::vector<Responder> responders_;
    std::vector<Stored> stored_;
    std::vector<std::uint8_t> arena_;
    std::vector<Reply> replies_;
    Exchange exchange_;
    unsigned strays_ = 0;
    unsigned damaged_ = 0;

    // between exchanges
    Time gate_ = no_time; // nothing is asked before
    std::vector<Owed> owed_;
    struct Rest {
        CanId ecu;
        Time until = no_time;
    };
    std::vector<Rest> resting_;
    std::vector<EcuNotes> notes_;
    std::vector<Latest> latest_;
    ConversationCounts counts_;
};

EcuNotes& Conversation::Impl::note(CanId ecu, Latest** latest) {
    std::size_t at = 0;
    while (at < notes_.size() && notes_[at].id != ecu)
        ++at;
    if (at == notes_.size()) {
        if (at == max_ecus)
            at = max_ecus - 1; // the last place is for all that find none
        else {
            notes_.push_back({});
            latest_.push_back({});
        }
        notes_[at] = {};
        notes_[at].id = ecu;
    }
    if (latest != nullptr)
        *latest = &latest_[at];
    return notes_[at];
}

bool Conversation::Impl::ask(const Request& request, Time now) {
    if (phase_ != Phase::idle || request.bytes.empty() || request.bytes.size() > max_request)
        return false;
    step(now);
    ended_ = false;
    request_.assign(request.bytes.begin(), request.bytes.end());
    to_ = request.to;
    may_repeat_ = request.may_repeat;
    responders_.clear();
    stored_.clear();
    arena_.clear();
    strays_ = damaged_ = repeats_ = 0;
    asked_ = first_given_ = no_time;
    window_end_ = hard_end_ = never;
    shots_ = {};
    knows_all_ = to_.has_value() || !request.expected.empty();
    const auto expect = [&](CanId ecu) {
        if (responders_.size() < max_ecus && find(ecu) == nullptr) {
            responders_.push_back({});
            responders_.back().ecu = ecu;
            responders_.back().expected = true;
        }
    };
    if (to_)
        expect(*to_);
    else
        for (const CanId ecu : request.expected)
            expect(ecu);
    // What is still due must not be taken for an answer to this.
    start_at_ = gate_ == no_time ? now_ : std::max(now_, gate_);
    std::erase_if(owed_, [&](const Owed& owed) { return owed.until <= now_; });
    for (const Owed& owed : owed_)
        if (owed.holds_back && (!to_ || owed.by(*to_)) &&
            (!owed.any_but || detail::overlap(owed.bytes(), request_)))
            start_at_ = std::max(start_at_, owed.until);
    for (const Rest& each : resting_)
        if (!to_ || each.ecu == *to_)
            start_at_ = std::max(start_at_, each.until);
    for (const EcuNotes& notes : notes_)
        if (!to_ || notes.id == *to_)
            start_at_ = std::max(start_at_, notes.at_work_until);
    wanted_at_ = start_at_;
    phase_ = Phase::waiting;
    advance();
    return true;
}

void Conversation::Impl::shoot(std::optional<CanId> to) {
    shots_ = {true, to.has_value(), to.value_or(CanId{})};
    given_at_ = now_;
    if (first_given_ == no_time)
        first_given_ = now_;
    ++counts_.requests;
    if (!carrier_.request(request_, to, now_)) {
        request_failed(now_);
        return;
    }
}

void Conversation::Impl::request_sent(Time now) {
    if (phase_ == Phase::open && shots_.under_way)
        on_shot(now);
}

void Conversation::Impl::on_shot(Time now) {
    shots_.under_way = false;
    if (asked_ == no_time) {
        asked_ = now;
        hard_end_ = now + longest(1);
    }
    const Time deadline = now + patience();
    const auto asked = [&](Responder& responder) {
        responder.asked = responder.asked == no_time ? now : responder.asked;
        responder.last_asked = now;
        ++responder.sends;
        if (responder.state == State::due || responder.state == State::resting) {
            responder.state = State::due;
            responder.deadline = deadline;
        }
    };
    if (shots_.to_one) {
        if (Responder* responder = find(shots_.ecu); responder != nullptr)
            asked(*responder);
        if (to_)
            window_end_ = deadline;
    } else {
        window_end_ = deadline;
        for (Responder& responder : responders_)
            asked(responder);
    }
}

void Conversation::Impl::request_failed(Time /*now*/) {
    if (phase_ != Phase::open || !shots_.under_way)
        return;
    shots_.under_way = false;
    carrier_.drop_request(now_);
    if (asked_ == no_time) {
        for (Responder& responder : responders_)
            settle(responder, Outcome::not_sent);
        finish();
        exchange_.outcome = Outcome::not_sent;
        return;
    }
    // A repeat that could not be sent.
    for (Responder& responder : responders_)
        if (responder.state == State::resting || responder.state == State::due)
            settle(responder, responder.busy != 0 ? Outcome::busy : Outcome::not_sent);
}

Responder* Conversation::Impl::find_or_add(CanId ecu, Time now) {
    if (Responder* known = find(ecu); known != nullptr)
        return known;
    if (to_ || responders_.size() == max_ecus)
        return nullptr;
    Responder responder;
    responder.ecu = ecu;
    responder.asked = responder.last_asked = asked_;
    responder.sends = 1;
    responder.deadline = now + patience();
    responders_.push_back(responder);
    return &responders_.back();
}

void Conversation::Impl::begun(CanId ecu, Bytes front, Time now) {
    if (phase_ != Phase::open || front.empty() || front[0] != (request_[0] | 0x40))
        return;
    if (shots_.under_way && carrier_.request_given())
        on_shot(given_at_); // the line was quicker than its own report
    if (asked_ == no_time)
        return;
    for (const Owed& owed : owed_)
        if (owed.until > now_ && owed.by(ecu) && detail::overlap(owed.bytes(), request_))
            return;
    Responder* responder = find_or_add(ecu, now);
    if (responder == nullptr || responder->sends == 0 || responder->state == State::done)
        return;
    responder->was_pending = responder->state == State::pending;
    responder->state = State::receiving;
    responder->deadline = never; // N_Cr watches over it
    responder->begun = now;
}

void Conversation::Impl::failed(CanId ecu, Time /*now*/) {
    ++counts_.broken;
    ++note(ecu).broken;
    rest(ecu, now_ + timing_.late);
    if (phase_ != Phase::open)
        return;
    Responder* responder = find(ecu);
    if (responder != nullptr && responder->state == State::receiving) {
        ++responder->got;
        repeat_or_end(*responder, Outcome::broken);
    }
}

void Conversation::Impl::damaged(Time /*now*/) {
    ++counts_.broken;
    ++damaged_;
    if (phase_ == Phase::open && window_end_ != never)
        window_end_ = std::max(window_end_, now_ + patience());
}

/// The ECU says that it is at work on something that was given up. It may have more to do behind
/// that, and whatever is asked now comes behind all of it: asked again and again it would never get
/// to the end. It is asked nothing until it has been quiet for P2*, or has answered all.
void Conversation::Impl::at_work(EcuNotes& notes) {
    if (notes.at_work_until < now_)
        notes.at_work_since = now_;
    notes.at_work_until = std::min(now_ + timing_.p2_star + timing_.slack,
                                   notes.at_work_since + 2 * timing_.pending_limit);
    if (phase_ == Phase::waiting && (!to_ || *to_ == notes.id))
        start_at_ =
            std::max(start_at_, std::min(notes.at_work_until, wanted_at_ + timing_.pending_limit));
}

void Conversation::Impl::stray(CanId ecu, Bytes bytes) {
    ++counts_.strays;
    ++strays_;
    if (EcuNotes& notes = note(ecu); notes.unanswered != 0) {
        if (is_pending(bytes)) {
            at_work(notes);
        } else {
            --notes.unanswered;
            // What it does next it begins within P2.
            notes.at_work_until =
                std::min(notes.at_work_until, notes.unanswered == 0 ? now_ : now_ + patience());
        }
    }
    for (Owed& owed : owed_)
        if (!owed.any_but && owed.answers != 0 && owed.by(ecu) &&
            answers(bytes, owed.bytes(), line().dialect)) {
            ++counts_.late;
            if (is_pending(bytes)) {
                // Still at work on it: it may take as long as the standard allows.
                owed.until = std::max(owed.until, now_ + timing_.p2_star + timing_.slack);
                return;
            }
            --owed.answers;
            // There it is: nothing more is due.
            if (owed.answers == 0 && !is_kline(line().dialect))
                owed.until = now_;
            return;
        }
}

void Conversation::Impl::message(CanId ecu, Bytes bytes, Time begun, Time now) {
    if (bytes.empty())
        return;
    note(ecu).heard = now_;
    if (phase_ == Phase::open && shots_.under_way && carrier_.request_given())
        on_shot(given_at_);
    if (phase_ != Phase::open || asked_ == no_time || !answers(bytes, request_, line().dialect)) {
        // What began as the answer was none: the answer may still come.
        if (Responder* responder = phase_ == Phase::open ? find(ecu) : nullptr;
            responder != nullptr && responder->state == State::receiving) {
            responder->state = State::due;
            responder->deadline = now_ + patience();
        }
        return stray(ecu, bytes);
    }
    // Could it be the answer to something asked before?
    if (begun < first_given_)
        return stray(ecu, bytes);
    for (const Owed& owed : owed_)
        if (owed.until > now_ && owed.by(ecu) &&
            (bytes[0] == negative_response ? !owed.any_but && owed.request[0] == request_[0]
                                           : detail::overlap(owed.bytes(), request_)))
            return stray(ecu, bytes);
    if (bytes[0] == negative_response)
        return negative(ecu, bytes, now);
    Responder* responder = find_or_add(ecu, now);
    if (responder == nullptr || responder->sends == 0) {
        if (to_)
            return stray(ecu, bytes);
        ++counts_.overflow;
        return;
    }
    const bool more = is_kline(line().dialect) && may_come_in_parts(request_[0]);
    if (responder->state == State::done && !(more && responder->outcome == Outcome::answer)) {
        if (responder->outcome == Outcome::answer) {
            ++responder->got;
            ++counts_.doubled;
            ++counts_.strays;
            ++strays_;
            return;
        }
        return stray(ecu, bytes);
    }
    Latest* latest = nullptr;
    EcuNotes& notes = note(ecu, &latest);
    const Time took = begun - responder->last_asked;
    if (notes.answers >= 8 && notes.least > 0 && took < notes.least / 2 &&
        bytes.size() == latest->size &&
        std::equal(bytes.begin(), bytes.end(), latest->bytes.begin())) {
        // The same bytes again, sooner than this ECU ever answered: the line doubled them.
        ++counts_.doubled;
        ++counts_.strays;
        ++strays_;
        if (responder->state == State::receiving) {
            responder->state = State::due;
            responder->deadline = now_ + patience();
        }
        return;
    }
    latest->size = bytes.size() <= latest->bytes.size() ? bytes.size() : 0;
    std::copy_n(bytes.begin(), latest->size, latest->bytes.begin());
    accept(*responder, ecu, bytes, begun, now);
}

void Conversation::Impl::accept(Responder& responder, CanId ecu, Bytes bytes, Time begun,
                                Time now) {
    if (stored_.size() == max_replies || arena_.size() + bytes.size() > max_bytes) {
        ++counts_.overflow;
        settle(responder, Outcome::broken);
        return;
    }
    EcuNotes& notes = note(ecu);
    const Time took = begun - responder.last_asked;
    if (responder.pending == 0 && responder.got == 0 && took >= 0) {
        notes.least = notes.answers == 0 ? took : std::min(notes.least, took);
        notes.most = std::max(notes.most, took);
        notes.mean = notes.answers == 0 ? took : notes.mean + (took - notes.mean) / 8;
    }
    ++notes.answers;
    ++counts_.answers;
    notes.silent_in_a_row = 0;
    notes.unanswered = 0;
    notes.at_work_until = no_time;
    ++responder.got;
    responder.begun = begun;
    responder.time = now;
    responder.outcome = Outcome::answer;
    responder.state = State::done;
    responder.deadline = never;
    Stored stored;
    stored.reply.ecu = ecu;
    stored.reply.outcome = Outcome::answer;
    stored.reply.asked = responder.asked;
    stored.reply.begun = begun;
    stored.reply.time = now;
    stored.reply.pending = responder.pending;
    stored.reply.repeats = responder.repeats;
    stored.at = arena_.size();
    stored.size = bytes.size();
    arena_.insert(arena_.end(), bytes.begin(), bytes.end());
    stored_.push_back(stored);
    if (is_kline(line().dialect))
        window_end_ = std::max(window_end_, now_ + patience());
}

void Conversation::Impl::negative(CanId ecu, Bytes bytes, Time now) {
    Responder* responder = find_or_add(ecu, now);
    if (responder == nullptr || responder->sends == 0 || responder->state == State::done)
        return stray(ecu, bytes);
    const std::uint8_t code = bytes[2];
    EcuNotes& notes = note(ecu);
    notes.silent_in_a_row = 0;
    responder->code = code;
    responder->time = now;
    if (is_kline(line().dialect))
        window_end_ = std::max(window_end_, now_ + patience());
    if (code == response_pending) {
        ++notes.pending;
        ++responder->pending;
        responder->pending_heard = now_;
        responder->state = State::pending;
        responder->deadline =
            std::min(now_ + timing_.p2_star + timing_.slack,
                     std::max(responder->asked + timing_.pending_limit, now_ + patience()));
        if (now_ - responder->asked >= timing_.pending_limit)
            settle(*responder, Outcome::pending);
        return;
    }
    ++responder->got;
    if (code == busy_repeat) {
        ++notes.busy;
        ++responder->busy;
        if (!may_repeat_ || responder->busy > timing_.busy_tries)
            return settle(*responder, Outcome::busy);
        responder->state = State::resting;
        responder->deadline = now_ + timing_.busy_wait;
        return;
    }
    settle(*responder, Outcome::refused);
}

void Conversation::Impl::settle(Responder& responder, Outcome outcome) {
    if (responder.state == State::done)
        return;
    responder.state = State::done;
    responder.outcome = outcome;
    responder.deadline = never;
    if (responder.time == no_time || outcome == Outcome::silence || outcome == Outcome::pending)
        responder.time = now_;
    if (outcome == Outcome::silence) {
        EcuNotes& notes = note(responder.ecu);
        ++notes.silences;
        ++notes.silent_in_a_row;
    }
}

void Conversation::Impl::repeat_or_end(Responder& responder, Outcome outcome) {
    const bool again = may_repeat_ && responder.tries < timing_.retries;
    if (!again)
        return settle(responder, outcome);
    // What is late, or the rest of a broken message, may still be on its way; it must not meet with
    // the answer to the repeated request (ISO 15765-2 tells the frames of two messages apart by
    // four bits only). What comes until then is the answer.
    responder.state = State::resting;
    responder.deadline = now_ + timing_.late;
    ++responder.tries;
    responder.outcome = outcome;
}

void Conversation::Impl::expire() {
    for (Responder& responder : responders_) {
        if (now_ < responder.deadline)
            continue;
        switch (responder.state) {
        case State::due:

            repeat_or_end(responder, damaged_ != 0 ? Outcome::broken : Outcome::silence);
            break;
        case State::pending:
            settle(responder, Outcome::pending);
            break;
        case State::receiving:
        case State::resting:
        case State::done:
            break;
        }
    }
    if (now_ >= hard_end_)
        for (Responder& responder : responders_)
            settle(responder, responder.state == State::receiving ? Outcome::broken
                              : responder.state == State::pending ? Outcome::pending
                              : responder.state == State::resting && responder.busy != 0
                                  ? Outcome::busy
                                  : Outcome::silence);
}

bool Conversation::Impl::finished() const {
    if (asked_ == no_time || shots_.under_way)
        return false;
    for (const Responder& responder : responders_)
        if (responder.state != State::done)
            return false;
    if (now_ >= hard_end_)
        return true;
    if (is_kline(line().dialect) && may_come_in_parts(request_[0]))
        return window_over();
    if (responders_.empty() && may_repeat_ && repeats_ < timing_.retries)
        return false; // nobody: all are asked once more
    return knows_all_ || window_over();
}

void Conversation::Impl::advance() {
    if (phase_ == Phase::waiting && now_ >= start_at_) {
        phase_ = Phase::open;
        shoot(to_ && asks_alone() ? to_ : std::nullopt);
    }
    if (phase_ != Phase::open)
        return;
    if (asked_ == no_time) {
        if (shots_.under_way && now_ - given_at_ >= timing_.send_limit && !carrier_.in_flight())
            request_failed(now_);
        return;
    }
    expire();
    if (!shots_.under_way && now_ < hard_end_) {
        for (Responder& responder : responders_)
            if (responder.state == State::resting && now_ >= responder.deadline &&
                now_ >= rested_at()) {
                ++counts_.repeats;
                ++responder.repeats;
                shoot(asks_alone() ? std::optional<CanId>(responder.ecu) : std::nullopt);
                break;
            }
        if (phase_ == Phase::open && !shots_.under_way && responders_.empty() &&
            now_ >= std::max(again_at(), rested_at()) && may_repeat_ &&
            repeats_ < timing_.retries) {
            ++repeats_;
            ++counts_.repeats;
            shoot(std::nullopt);
        }
    }
    if (phase_ == Phase::open && shots_.under_way && now_ - given_at_ >= timing_.send_limit &&
        !carrier_.in_flight())
        request_failed(now_);
    if (phase_ == Phase::open && finished())
        finish();
}

void Conversation::Impl::owe(const Owed& owed) {
    if (owed_.size() == most_owed) {
        // The oldest loses its place: then everything waits for it.
        gate_ = std::max(gate_, owed_.front().until);
        owed_.erase(owed_.begin());
    }
    owed_.push_back(owed);
}

void Conversation::Impl::finish() {
    phase_ = Phase::idle;
    carrier_.drop_request(now_);
    shots_ = {};
    const Time ended = now_;
    std::erase_if(owed_, [&](const Owed& owed) { return owed.until <= now_; });
    Owed owed;
    owed.size = std::min(request_.size(), owed.request.size());
    std::copy_n(request_.begin(), owed.size, owed.request.begin());
    Owed others = owed;
    others.any_but = true;
    bool room = true;
    for (Responder& responder : responders_) {
        if (responder.sends > responder.got && responder.last_asked != no_time) {
            EcuNotes& notes = note(responder.ecu);
            notes.unanswered += responder.sends - responder.got;
            // "Pending" to the end of all patience: it still is.
            if (responder.pending_heard != no_time &&
                now_ - responder.pending_heard < timing_.p2_star) {
                at_work(notes);
                responder.owed_until = notes.at_work_until;
            }
            Owed mine = owed;
            mine.ecus[0] = responder.ecu;
            mine.count = 1;
            mine.answers = responder.sends - responder.got;
            mine.until = std::max(responder.last_asked + patience(),
                                  responder.outcome == Outcome::pending ? ended : no_time) +
                         timing_.late;
            if (mine.until > ended) {
                owe(mine);
                for (Stored& stored : stored_)
                    if (stored.reply.ecu == responder.ecu)
                        stored.reply.owed_until = mine.until;
                responder.owed_until = std::max(responder.owed_until, mine.until);
            }
        }
        if (others.count < others.ecus.size())
            others.ecus[others.count++] = responder.ecu;
        else
            room = false;
    }
    // It was over before all had to answer; or it is not known who would, and may be late.
    if (!to_ && room && asked_ != no_time && window_end_ != never &&
        window_end_ + timing_.late > ended) {
        others.until = window_end_ + timing_.late;
        others.holds_back = !knows_all_;
        // An earlier one of the same request says the same for less long.
        std::erase_if(owed_, [&](const Owed& old) {
            return old.any_but && std::equal(old.bytes().begin(), old.bytes().end(),
                                             others.bytes().begin(), others.bytes().end());
        });
        owe(others);
    }
    if (timing_.p3_min > 0)
        gate_ = std::max(gate_, ended + timing_.p3_min);
    replies_.clear();
    Outcome best = Outcome::silence;
    const auto rank = [](Outcome outcome) {
        switch (outcome) {
        case Outcome::answer:
            return 7;
        case Outcome::refused:
            return 6;
        case Outcome::busy:
            return 5;
        case Outcome::pending:
            return 4;
        case Outcome::broken:
            return 3;
        case Outcome::cut:
            return 2;
        case Outcome::not_sent:
            return 1;
        case Outcome::silence:
            return 0;
        }
        return 0;
    };
    for (const Stored& stored : stored_) {
        Reply reply = stored.reply;
        reply.bytes = Bytes(arena_).subspan(stored.at, stored.size);
        replies_.push_back(reply);
        best = Outcome::answer;
    }
    for (const Responder& responder : responders_) {
        if (responder.outcome == Outcome::answer)
            continue;
        if (rank(responder.outcome) > rank(best))
            best = responder.outcome;
        if (replies_.size() == max_replies)
            continue;
        Reply reply;
        reply.ecu = responder.ecu;
        reply.outcome = responder.outcome;
        reply.code = responder.code;
        reply.asked = responder.asked;
        reply.begun = responder.begun;
        reply.time = responder.time;
        reply.pending = responder.pending;
        reply.repeats = responder.repeats;
        reply.owed_until = responder.owed_until;
        replies_.push_back(reply);
    }
    if (replies_.empty() && damaged_ != 0)
        best = Outcome::broken;
    exchange_.request = request_;
    exchange_.to = to_;
    exchange_.asked = asked_;
    exchange_.ended = ended;
    exchange_.replies = replies_;
    exchange_.outcome = best;
    exchange_.strays = strays_;
    ended_ = true;
}

void Conversation::Impl::cut(Time now) {
    step(now);
    carrier_.reset(now_);
    if (phase_ == Phase::idle)
        return;
    for (Responder& responder : responders_)
        settle(responder, Outcome::cut);
    finish();
    if (replies_.empty())
        exchange_.outcome = Outcome::cut;
}

Time Conversation::Impl::wake_at() const noexcept {
    Time at = carrier_.wake_at();
    if (carrier_.in_flight() || (phase_ == Phase::open && shots_.under_way))
        at = std::min(at, given_at_ + timing_.send_limit);
    if (phase_ == Phase::waiting)
        at = std::min(at, start_at_);
    if (phase_ == Phase::open && asked_ != no_time) {
        at = std::min(at, hard_end_);
        bool open = false;
        for (const Responder& responder : responders_)
            if (responder.state != State::done) {
                open = true;
                if (responder.state != State::resting)
                    at = std::min(at, responder.deadline);
                else if (!shots_.under_way)
                    at = std::min(at, std::max(responder.deadline, rested_at()));
            }
        if (!open && !shots_.under_way)
            at = std::min(at, now_ < window_end_ ? window_end_ : std::max(again_at(), rested_at()));
    }
    return at == never ? no_time : at;
}

Time Conversation::Impl::longest(std::size_t /*ecus*/) const {
    // Each way that an exchange can take, one after the other; past it `expire` ends them all.
    return timing_.pending_limit +
           (timing_.retries + 1) * (patience() + timing_.late + timing_.send_limit) +
           timing_.busy_tries * (timing_.busy_wait + patience() + timing_.send_limit);
}

Conversation::Conversation(const Line& line) : Conversation(line, timing_of(line.dialect)) {}
Conversation::Conversation(const Line& line, const Timing& timing)
    : impl_(std::make_unique<Impl>(line, timing)) {}
Conversation::~Conversation() = default;
Conversation::Conversation(Conversation&&) noexcept = default;
Conversation& Conversation::operator=(Conversation&&) noexcept = default;

const Line& Conversation::line() const noexcept {
    return impl_->line();
}
const Timing& Conversation::timing() const noexcept {
    return impl_->timing();
}
void Conversation::set_line(const Line& line, const Timing& timing) {
    impl_->set_line(line, timing);
}
bool Conversation::ask(const Request& request, Time now) {
    return impl_->ask(request, now);
}
bool Conversation::idle() const noexcept {
    return impl_->idle();
}
const Exchange* Conversation::ended() const noexcept {
    return impl_->ended();
}
void Conversation::receive(const link::Traffic& traffic, Time now) {
    impl_->receive(traffic, now);
}
bool Conversation::to_send(link::Traffic& piece, Time now) {
    return impl_->to_send(piece, now);
}
void Conversation::sent(Time now) {
    impl_->sent(now);
}
void Conversation::send_failed(Time now) {
    impl_->send_failed(now);
}
Time Conversation::wake_at() const noexcept {
    return impl_->wake_at();
}
void Conversation::wake(Time now) {
    impl_->wake(now);
}
void Conversation::cut(Time now) {
    impl_->cut(now);
}
Time Conversation::longest(std::size_t ecus) const noexcept {
    return impl_->longest(ecus);
}
std::span<const EcuNotes> Conversation::notes() const noexcept {
    return impl_->notes();
}
const EcuNotes* Conversation::notes(CanId ecu) const noexcept {
    for (const EcuNotes& notes : impl_->notes())
        if (notes.id == ecu)
            return &notes;
    return nullptr;
}
const ConversationCounts& Conversation::counts() const noexcept {
    return impl_->counts();
}

} // namespace telltale::client
