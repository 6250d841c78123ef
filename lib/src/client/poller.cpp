// SPDX-License-Identifier: Apache-2.0
#include "telltale/client/poller.hpp"

#include <algorithm>

#include "telltale/catalogue/catalogue.hpp"

namespace telltale::client {

namespace {

constexpr std::size_t most_pids = 6;
/// OBDonUDS: what a single frame holds, so that a request can go to all.
constexpr unsigned most_dids = 3;
constexpr std::uint8_t parameter_page = 0xF4; // of data identifiers (SAE J1979-2)
constexpr std::uint8_t pids_now = 0x01;
constexpr std::uint8_t by_local_id = 0x21;
constexpr std::uint8_t by_data_id = 0x22;
constexpr Time second = nanoseconds_a_second;
constexpr Time unless_told_frame = 250'000; ///< a frame at 500 kbit/s with what goes around it
constexpr Time busy_again = second / 5;
constexpr Time refused_again = 5 * second;
constexpr Time longest_wait = second; ///< what is wanted as often as can be is not starved longer

/// Bits of a classic frame with eight bytes, interframe space included and some bits stuffed
/// (ISO 11898-1: 47 + 64 bits, of which 34 + 64 are stuffed, one in ten here; 29 bits: 20 more).
constexpr double frame_bits(bool extended) {
    return extended ? 131 + 11 : 111 + 9;
}

/// Frames of an answer of so many bytes, flow control included.
constexpr double frames_of(std::size_t bytes) {
    if (bytes <= 7)
        return 1;
    const std::size_t consecutive = bytes / 7;
    return 2 + static_cast<double>(consecutive);
}

} // namespace

std::string_view word(Limit limit) noexcept {
    switch (limit) {
    case Limit::none:
        return "none";
    case Limit::not_supported:
        return "not-supported";
    case Limit::refused:
        return "refused";
    case Limit::silent:
        return "silent";
    case Limit::line:
        return "line";
    case Limit::ecu:
        return "ecu";
    case Limit::one_at_a_time:
        return "one-at-a-time";
    case Limit::losses:
        return "losses";
    case Limit::new_here:
        return "new";
    }
    return "none";
}

std::string_view describe(Limit limit) noexcept {
    switch (limit) {
    case Limit::none:
        return "comes as often as it is wanted";
    case Limit::not_supported:
        return "the ECU does not support it";
    case Limit::refused:
        return "the ECU refuses it";
    case Limit::silent:
        return "the ECU does not answer";
    case Limit::line:
        return "the line carries no more";
    case Limit::ecu:
        return "the ECU takes most of the time to answer";
    case Limit::one_at_a_time:
        return "the ECU takes only one parameter a request";
    case Limit::losses:
        return "answers are lost on the way";
    case Limit::new_here:
        return "not measured yet";
    }
    return "";
}

Poller::Poller(const Line& line, std::span<const EcuFacts> ecus, std::span<const Wanted> wanted,
               const PollerOptions& options)
    : line_(line), options_(options) {
    for (const EcuFacts& facts : ecus) {
        Ecu ecu;
        ecu.id = facts.id;
        ecu.supported = facts.supported[0x01];
        ecu.on_uds = facts.on_uds;
        ecu.most = is_kline(line.dialect)
                       ? 1
                       : std::clamp<unsigned>(facts.pids_a_request, 1,
                                              facts.on_uds ? most_dids : most_pids);
        ecus_.push_back(ecu);
    }
    const auto add = [&](const Wanted& want, CanId ecu, bool supported) {
        for (Entry& entry : entries_)
            if (entry.ecu == ecu && entry.service == want.service && entry.pid == want.pid &&
                entry.id == want.id) {
                // Wanted twice: the quicker counts.
                entry.period = std::min(entry.period, std::max<Time>(want.period, 0));
                return;
            }
        if (entries_.size() >= options_.most)
            return;
        Entry entry;
        entry.ecu = ecu;
        entry.pid = want.pid;
        entry.service = want.service;
        entry.id = want.id;
        const catalogue::Row* row = want.service == pids_now ? catalogue::pid(want.pid) : nullptr;
        entry.alone = row == nullptr || row->length == 0;
        entry.length = row == nullptr ? std::uint8_t{4} : static_cast<std::uint8_t>(row->length);
        entry.supported = supported;
        entry.period = std::max<Time>(want.period, 0);
        entries_.push_back(entry);
    };
    for (const Wanted& want : wanted) {
        if (want.service != pids_now) {
            Wanted own = want;
            own.pid = 0;
            for (const Ecu& ecu : ecus_)
                if (!want.ecu || *want.ecu == ecu.id)
                    add(own, ecu.id, true);
            continue;
        }
        if (want.ecu) {
            const Ecu* ecu = ecu_of(*want.ecu);
            add(want, *want.ecu, ecu != nullptr && ecu->supported.test(want.pid));
            continue;
        }
        bool any = false;
        for (const Ecu& ecu : ecus_)
            if (ecu.supported.test(want.pid)) {
                add(want, ecu.id, true);
                any = true;
            }
        if (!any && !ecus_.empty())
            add(want, ecus_.front().id, false);
    }
    order_.reserve(entries_.size());
}

Poller::Ecu* Poller::ecu_of(CanId id) {
    for (Ecu& ecu : ecus_)
        if (ecu.id == id)
            return &ecu;
    return nullptr;
}
const Poller::Ecu* Poller::ecu_of(CanId id) const {
    return const_cast<Poller*>(this)->ecu_of(id);
}

/// Which entries may be asked for now: those that are due, the most urgent first, and behind them
/// those that will soon be. Sets when to look again where nothing is due.
void Poller::order(Time now) {
    order_.clear();
    wake_at_ = no_time;
    const auto later = [&](Time at) {
        wake_at_ = wake_at_ == no_time ? at : std::min(wake_at_, at);
    };
    bool any_due = false;
    for (std::size_t i = 0; i < entries_.size(); ++i) {
        Entry& entry = entries_[i];
        if (!entry.supported)
            continue;
        if (entry.due == no_time)
            entry.due = now;
        Ecu* ecu = ecu_of(entry.ecu);
        if ((ecu->is_silent || ecu->silent != 0) && now < ecu->probe_at) {
            later(ecu->probe_at);
            continue;
        }
        if (now < ecu->at_work_until) {
            later(ecu->at_work_until);
            continue;
        }
        if (now < entry.held_until) {
            later(entry.held_until);
            continue;
        }
        if (entry.due <= now) {
            any_due = true;
            order_.push_back(i);
        } else {
            later(entry.due);
            if (entry.due - now < entry.period / 4)
                order_.push_back(i);
        }
    }
    if (!any_due) {
        order_.clear();
        return;
    }
    // What has a rate of its own comes first; the rest gets what is left, but is not starved.
    const auto rank = [&](const Entry& entry) {
        if (entry.due > now)
            return 2;
        return entry.period != 0 || now - entry.due > longest_wait ? 0 : 1;
    };
    std::sort(order_.begin(), order_.end(), [&](std::size_t a, std::size_t b) {
        const Entry& x = entries_[a];
        const Entry& y = entries_[b];
        const int rank_x = rank(x);
        const int rank_y = rank(y);
        if (rank_x != rank_y)
            return rank_x < rank_y;
        if (x.due != y.due)
            return x.due < y.due;
        return a < b;
    });
}

bool Poller::serves(const Plan& plan, const Entry& entry) const {
    if (plan.service != entry.service)
        return false;
    if (plan.service != pids_now)
        return plan.count != 0 && plan.id == entry.id && plan.to == entry.ecu;
    return entry.supported && (!plan.to || *plan.to == entry.ecu) &&
           std::find(plan.pids.begin(), plan.pids.begin() + static_cast<std::ptrdiff_t>(plan.count),
                     entry.pid) != plan.pids.begin() + static_cast<std::ptrdiff_t>(plan.count);
}

/// Values a second that the plan brings, as far as is known of the line and the ECUs.
double Poller::worth(const Plan& plan, Time now) const {
    const double frame = line_.bit_rate != 0
                             ? frame_bits(line_.dialect == Dialect::can_29) * 1e9 / line_.bit_rate
                             : static_cast<double>(unless_told_frame);
    double frames = 1;
    double waiting = 0;
    for (std::size_t i = 0; i < plan.expecting; ++i) {
        const Ecu* ecu = ecu_of(plan.expected[i]);
        std::size_t bytes = 1;
        for (std::size_t k = 0; k < plan.count; ++k)
            if (ecu->supported.test(plan.pids[k])) {
                const catalogue::Row* row = catalogue::pid(plan.pids[k]);
                bytes += (ecu->on_uds ? 2U : 1U) + (row == nullptr ? 4U : row->length);
            }
        frames += frames_of(bytes);
        waiting = std::max(waiting, static_cast<double>(ecu->answering));
    }
    double values = 0;
    for (const std::size_t i : order_)
        if (serves(plan, entries_[i]))
            values += entries_[i].due <= now ? 1.0 : 0.5;
    return values / (frames * frame + waiting);
}

/// Tries requests to `to` (or to all) that begin with the entry at `first`, one PID longer each,
/// and keeps the best.
void Poller::consider(Plan& best, std::optional<CanId> to, std::size_t first, Time now) {
    Plan plan;
    plan.to = to;
    unsigned most = most_pids;
    for (const Ecu& ecu : ecus_)
        if (to ? ecu.id == *to : true)
            most = std::min(most, ecu.try_one || ecu.is_silent ? 1U : ecu.most);
    for (std::size_t at = first; at < order_.size() && plan.count < most; ++at) {
        const Entry& entry = entries_[order_[at]];
        if (to && entry.ecu != *to)
            continue;
        if (entry.service != pids_now) {
            if (plan.count != 0)
                continue;
            if (!to)
                return; // these are asked for one by one
            plan.service = entry.service;
            plan.id = entry.id;
            plan.count = plan.expecting = 1;
            plan.expected[0] = *to;
            plan.score = worth(plan, now);
            if (plan.score > best.score)
                best = plan;
            return;
        }
        if (serves(plan, entry))
            continue;
        if (plan.count != 0 && entry.alone)
            continue;
        if (!to && std::any_of(entries_.begin(), entries_.end(), [&](const Entry& other) {
                return other.pid == entry.pid && now < other.held_until;
            })) {
            if (plan.count == 0)
                return; // the most urgent one is part of every plan, or it would starve
            continue;
        }
        plan.pids[plan.count++] = entry.pid;
        plan.expecting = 0;
        if (to) {
            plan.expected[plan.expecting++] = *to;
        } else {
            for (const Ecu& ecu : ecus_)
                for (std::size_t k = 0; k < plan.count; ++k)
                    if (ecu.supported.test(plan.pids[k])) {
                        if (plan.expecting == plan.expected.size())
                            return;
                        plan.expected[plan.expecting++] = ecu.id;
                        break;
                    }
        }
        plan.score = worth(plan, now);
        if (plan.score > best.score)
            best = plan;
        if (entry.alone)
            break;
    }
}

void Poller::learn(std::span<const EcuNotes> notes) {
    for (const EcuNotes& each : notes)
        if (Ecu* ecu = ecu_of(each.id); ecu != nullptr)
            ecu->at_work_until = each.at_work_until;
}

bool Poller::next(Time now, Request& request) {
    if (over_)
        return false;
    order(now);
    if (order_.empty())
        return false;
    const Entry& first = entries_[order_.front()];
    Ecu* ecu = ecu_of(first.ecu);
    Plan best;
    const bool old = is_kline(line_.dialect) && first.service == pids_now;
    if (!old)
        consider(best, first.ecu, 0, now);
    // To all only while each of them answers: one that is silent, and answers after all, could not
    // be told from one that is late.
    const bool all_there = std::none_of(ecus_.begin(), ecus_.end(), [now](const Ecu& e) {
        return e.is_silent || e.try_one || e.silent != 0 || now < e.at_work_until;
    });
    const bool alike = std::all_of(ecus_.begin(), ecus_.end(),
                                   [&](const Ecu& e) { return e.on_uds == ecu->on_uds; });
    if (old || (ecus_.size() > 1 && all_there && alike))
        consider(best, std::nullopt, 0, now);
    if (best.count == 0)
        return false;
    // What is lost costs the others no more than one P2: it will be asked again soon enough.
    request.may_repeat = false;
    if (ecu->is_silent || ecu->silent != 0)
        ecu->probe_at = now + (ecu->is_silent ? options_.probe : options_.probe / 5);
    open_ = best;
    const bool uds = open_.service == pids_now && ecu->on_uds;
    std::size_t size = 0;
    bytes_[size++] = uds ? by_data_id : open_.service;
    if (open_.service == pids_now) {
        for (std::size_t i = 0; i < best.count; ++i) {
            if (uds)
                bytes_[size++] = parameter_page;
            bytes_[size++] = best.pids[i];
        }
    } else {
        if (open_.service == by_data_id)
            bytes_[size++] = static_cast<std::uint8_t>(best.id >> 8);
        bytes_[size++] = static_cast<std::uint8_t>(best.id);
    }
    request.bytes = Bytes(bytes_).first(size);
    request.to = best.to;
    request.expected = std::span<const CanId>(open_.expected).first(open_.expecting);
    return true;
}

void Poller::reschedule(Entry& entry, Time now) const {
    if (entry.period == 0 || entry.due == no_time) {
        entry.due = now;
        return;
    }
    entry.due += entry.period;
    if (entry.due <= now - entry.period) // hopelessly late: no bunch of requests to catch up
        entry.due = now;
}

/// The answer of service 21 or 22 to a request for one identifier.
void Poller::deliver_own(const Reply& reply, Time now) {
    const std::size_t head = open_.service == by_local_id ? 2 : 3;
    if (reply.bytes.size() < head)
        return;
    for (Entry& entry : entries_)
        if (entry.ecu == reply.ecu && serves(open_, entry)) {
            entry.silences = 0;
            sampled(entry, reply, reply.bytes.subspan(head), now);
        }
}

void Poller::sampled(Entry& entry, const Reply& reply, Bytes data, Time now) {
    ++entry.samples;
    entry.refused = false;
    if (entry.span_from == no_time) {
        entry.span_from = now;
    } else if (now - entry.span_from >= options_.window) {
        entry.span_before = entry.span_from;
        entry.counted_before = entry.counted;
        entry.span_from = now;
        entry.counted = 0;
    }
    ++entry.counted;
    reschedule(entry, now);
    if (on_sample)
        on_sample({reply.ecu, entry.pid, entry.service, entry.id, data, reply.asked, reply.time});
}

void Poller::deliver(const Reply& reply, Time now) {
    if (open_.service != pids_now)
        return deliver_own(reply, now);
    std::array<PidData, 6> data;
    const std::size_t count =
        split_pids(reply.bytes, std::span(open_.pids).first(open_.count), data);
    Ecu* ecu = ecu_of(reply.ecu);
    if (ecu == nullptr)
        return;
    std::size_t due_here = 0;
    for (std::size_t k = 0; k < open_.count; ++k)
        due_here += ecu->supported.test(open_.pids[k]) ? 1U : 0U;
    if (count != 0 && count < due_here)
        missed(*ecu, &reply, true, now); // it left some out
    else if (count != 0) {
        if (open_.count > 1)
            ecu->pack_silences = 0;
        else if (ecu->try_one) {
            if (ecu->pack_silences >= 2 && ecu->most > 1) {
                ecu->most /= 2;
                ecu->pack_silences = 0;
            }
            ecu->try_one = false;
        }
    }
    for (std::size_t i = 0; i < count; ++i)
        for (Entry& entry : entries_)
            if (entry.ecu == reply.ecu && entry.service == pids_now && entry.pid == data[i].pid &&
                entry.supported)
                sampled(entry, reply, data[i].data, now);
}

/// An ECU that was asked and did not answer all.
void Poller::missed(Ecu& ecu, const Reply* reply, bool pack, Time now) {
    const Outcome outcome = reply == nullptr ? Outcome::silence : reply->outcome;
    if (outcome == Outcome::busy) { // that is no matter of what it was asked
        for (Entry& entry : entries_)
            if (entry.ecu == ecu.id)
                entry.held_until = std::max(entry.held_until, now + busy_again);
        return;
    }
    if (pack) {
        ++ecu.pack_silences;
        if (outcome == Outcome::answer || outcome == Outcome::refused) {
            if (ecu.most > 1 && ecu.pack_silences >= (outcome == Outcome::refused ? 1U : 2U)) {
                ecu.most /= 2;
                ecu.pack_silences = 0;
            }
        } else {
            ecu.try_one = true;
        }
    } else if (open_.service != pids_now) {
        // An ECU may pass over what it does not know: that is no reason to leave the others.
        for (Entry& entry : entries_)
            if (entry.ecu == ecu.id && serves(open_, entry) && outcome != Outcome::answer &&
                outcome != Outcome::refused && ++entry.silences >= options_.silences)
                entry.due = std::max(entry.due, now + refused_again);
    } else if (outcome == Outcome::silence || outcome == Outcome::pending) {
        ecu.probe_at = std::max(ecu.probe_at, now + options_.probe / 5);
        if (++ecu.silent >= options_.silences && !ecu.is_silent) {
            ecu.is_silent = true;
            ecu.probe_at = now + options_.probe;
            if (on_ecu)
                on_ecu(ecu.id, false);
        }
    }
    if (outcome == Outcome::answer)
        return;
    for (Entry& entry : entries_)
        if (entry.ecu == ecu.id && serves(open_, entry)) {
            ++entry.lost;
            if (outcome == Outcome::refused && !pack) {
                entry.refused = true;
                entry.due = now + refused_again;
            } else if (!pack && entry.silences < options_.silences) {
                reschedule(entry, now);
            }
        }
}

void Poller::told(const Exchange& exchange, Time now) {
    if (exchange.outcome == Outcome::cut || exchange.outcome == Outcome::not_sent)
        return; // nothing was learnt; what was due still is
    Time slowest = 0;
    bool all = true;
    for (std::size_t i = 0; i < open_.expecting; ++i) {
        Ecu* ecu = ecu_of(open_.expected[i]);
        const Reply* reply = nullptr;
        for (const Reply& each : exchange.replies)
            if (each.ecu == open_.expected[i])
                reply = &each;
        if (reply != nullptr && reply->owed_until != no_time)
            for (Entry& entry : entries_)
                if (entry.ecu == ecu->id)
                    entry.held_until = reply->owed_until;
        if (reply == nullptr || reply->outcome != Outcome::answer) {
            all = false;
            missed(*ecu, reply, open_.count > 1, now);
            continue;
        }
        if (reply->repeats == 0 && reply->pending == 0) {
            const Time took = std::max<Time>(reply->begun - reply->asked, 0);
            ecu->answering =
                ecu->answering == 0 ? took : ecu->answering + (took - ecu->answering) / 8;
            slowest = std::max(slowest, took);
        } else {
            all = all && reply->repeats == 0;
        }
        ecu->silent = 0;
        if (ecu->is_silent) {
            ecu->is_silent = false;
            if (on_ecu)
                on_ecu(ecu->id, true);
        }
    }
    for (const Reply& reply : exchange.replies)
        if (reply.outcome == Outcome::answer)
            deliver(reply, now);
    const auto took = static_cast<double>(exchange.ended - exchange.asked);
    if (!all)
        lost_time_ += took;
    else {
        ecu_time_ += static_cast<double>(slowest);
        line_time_ += took - static_cast<double>(slowest);
    }
    if (lost_time_ + ecu_time_ + line_time_ > 4e9) {
        lost_time_ /= 2;
        ecu_time_ /= 2;
        line_time_ /= 2;
    }
}

Limit Poller::limit_of(const Entry& entry, double reached, Time now) const {
    if (!entry.supported)
        return Limit::not_supported;
    const Ecu* ecu = ecu_of(entry.ecu);
    if (ecu->is_silent)
        return Limit::silent;
    if (entry.refused)
        return Limit::refused;
    if (entry.span_before == no_time &&
        (entry.span_from == no_time || now - entry.span_from < options_.window / 2))
        return Limit::new_here;
    const double wanted =
        entry.period == 0 ? 0 : static_cast<double>(second) / static_cast<double>(entry.period);
    if (wanted != 0 && reached >= 0.9 * wanted)
        return Limit::none;
    if (lost_time_ > 0.2 * (lost_time_ + ecu_time_ + line_time_))
        return Limit::losses;
    if (ecu->most == 1 && !is_kline(line_.dialect)) {
        std::size_t here = 0;
        for (const Entry& other : entries_)
            here += other.supported && other.ecu == entry.ecu ? 1U : 0U;
        if (here > 1)
            return Limit::one_at_a_time;
    }
    // The frames of request and answer are within `ecu_time_` as well.
    return ecu_time_ > 2 * line_time_ ? Limit::ecu : Limit::line;
}

std::vector<Rate> Poller::rates(Time now) const {
    std::vector<Rate> out;
    out.reserve(entries_.size());
    for (const Entry& entry : entries_) {
        Rate rate;
        rate.ecu = entry.ecu;
        rate.pid = entry.pid;
        rate.service = entry.service;
        rate.id = entry.id;
        rate.wanted =
            entry.period == 0 ? 0 : static_cast<double>(second) / static_cast<double>(entry.period);
        const Time from = entry.span_before != no_time ? entry.span_before : entry.span_from;
        const std::uint64_t counted =
            entry.counted + (entry.span_before != no_time ? entry.counted_before : 0);
        if (from != no_time && now > from)
            rate.reached = static_cast<double>(counted) * 1e9 / static_cast<double>(now - from);
        rate.samples = entry.samples;
        rate.limit = limit_of(entry, rate.reached, now);
        out.push_back(rate);
    }
    return out;
}

double Poller::values_a_second(Time now) const {
    double sum = 0;
    for (const Rate& rate : rates(now))
        sum += rate.reached;
    return sum;
}

} // namespace telltale::client
