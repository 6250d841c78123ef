// SPDX-License-Identifier: Apache-2.0
#include "compare.hpp"

#include <algorithm>
#include <utility>

namespace telltale::vet {

namespace {

/// Where the bytes of an ISO-TP single frame of normal addressing end; the size, where it is none.
std::size_t message_end(const KnownFrame& frame) noexcept {
    if (frame.fd || frame.kind != CanKind::data || frame.size == 0)
        return frame.size;
    const unsigned type = frame.data[0] >> 4;
    if (type == 3)
        return std::min<std::size_t>(3, frame.size);
    if (type != 0 || (frame.data[0] & 0xF) == 0)
        return frame.size;
    return std::min<std::size_t>(1U + (frame.data[0] & 0xFU), frame.size);
}

/// How far a frame that came is from one that was sent; above `far` it is another one.
constexpr unsigned far = 6;
unsigned distance(const KnownFrame& sent, const CanFrame& came) noexcept {
    unsigned sum = 0;
    if (sent.id.value != came.id.value)
        sum += 3;
    else if (sent.id.extended != came.id.extended)
        sum += 1;
    sum += (sent.kind != came.kind ? 2U : 0U) + (sent.fd != came.fd ? 1U : 0U);
    const std::size_t common = std::min<std::size_t>(sent.size, came.data.size());
    if (sent.size != came.data.size())
        sum += 1;
    for (std::size_t i = 0; i < common; ++i)
        sum += sent.data[i] != came.data[i] ? 1U : 0U;
    return sum;
}

} // namespace

Difference difference_of(const KnownFrame& sent, const CanFrame& came) noexcept {
    if (sent.id.extended != came.id.extended)
        return sent.id.extended ? Difference::extended_cleared : Difference::extended_set;
    if (sent.id.value != came.id.value)
        return Difference::identifier;
    if (sent.kind != came.kind)
        return sent.kind == CanKind::remote ? Difference::remote_lost : Difference::kind;
    if (sent.fd != came.fd)
        return Difference::fd_lost;
    if (sent.kind == CanKind::remote && sent.remote_length != came.remote_length)
        return Difference::remote_length;
    const std::size_t common = std::min<std::size_t>(sent.size, came.data.size());
    std::size_t same = 0;
    while (same < common && sent.data[same] == came.data[same])
        ++same;
    if (same == common) {
        if (came.data.size() < sent.size)
            return Difference::cut;
        if (came.data.size() > sent.size)
            return Difference::longer;
    } else {
        return same >= message_end(sent) ? Difference::padding : Difference::data;
    }
    if (sent.bit_rate_switch != came.bit_rate_switch)
        return Difference::bit_rate_switch;
    return Difference::none;
}

std::string_view describe(Difference difference) noexcept {
    switch (difference) {
    case Difference::extended_cleared:
        return "29-bit identifiers arrive as 11-bit ones";
    case Difference::extended_set:
        return "11-bit identifiers arrive as 29-bit ones";
    case Difference::identifier:
        return "identifiers arrive changed";
    case Difference::remote_lost:
        return "remote frames arrive as data frames";
    case Difference::kind:
        return "data frames arrive as frames of another kind";
    case Difference::fd_lost:
        return "CAN FD and classic frames arrive as the other kind";
    case Difference::bit_rate_switch:
        return "the bit rate switch (BRS) of CAN FD arrives changed";
    case Difference::cut:
        return "frames arrive with bytes cut off at the end";
    case Difference::longer:
        return "frames arrive with more bytes than were sent";
    case Difference::padding:
        return "padding behind ISO-TP messages arrives as other bytes";
    case Difference::data:
        return "data bytes arrive changed";
    case Difference::remote_length:
        return "remote frames arrive with another length";
    case Difference::none:
    case Difference::count_:
        break;
    }
    return "frames arrive unchanged";
}

Difference Tally::most_common() const {
    const auto most = std::max_element(by_difference.begin(), by_difference.end());
    return static_cast<Difference>(most - by_difference.begin());
}

Tally& Tally::operator+=(const Tally& more) {
    sent += more.sent;
    arrived += more.arrived;
    lost += more.lost;
    twice += more.twice;
    misplaced += more.misplaced;
    changed += more.changed;
    alien += more.alien;
    refused += more.refused;
    for (std::size_t i = 0; i < by_difference.size(); ++i)
        by_difference[i] += more.by_difference[i];
    return *this;
}

void Comparison::expect(const KnownFrame& frame, SendTicket ticket, Time now) {
    if (open_.size() == most_open) {
        lost_ = open_.front().frame;
        ++tally_.lost;
        open_.pop_front();
        next_ -= next_ > 0 ? 1 : 0;
    }
    open_.push_back({frame, ticket, now, {}});
    ++tally_.sent;
}

std::optional<KnownFrame> Comparison::take_lost() {
    return std::exchange(lost_, {});
}

std::optional<Comparison::Pair> Comparison::sent(SendTicket ticket, Time stamp) {
    // Tickets rise, and the one that is told of is near the end.
    for (std::size_t i = open_.size(); i > 0; --i) {
        auto& item = open_[i - 1];
        if (item.ticket == ticket) {
            item.stamp = stamp;
            return {};
        }
        if (item.ticket < ticket)
            break;
    }
    for (std::size_t i = 0; i < recent_size_; ++i) {
        auto& done = recent_[i];
        if (done.ticket == ticket && !done.paired) {
            done.paired = true;
            return Pair{stamp, done.came, done.own};
        }
    }
    return {};
}

void Comparison::refused(SendTicket ticket) {
    for (std::size_t i = open_.size(); i > 0; --i)
        if (open_[i - 1].ticket == ticket) {
            open_.erase(open_.begin() + static_cast<std::ptrdiff_t>(i - 1));
            if (i - 1 < next_)
                --next_;
            ++tally_.refused;
            return;
        }
}

void Comparison::remember(const Item& item, Time stamp) {
    auto& place = recent_[recent_at_];
    place.frame = item.frame;
    place.ticket = item.ticket;
    place.came = stamp;
    place.own = own_;
    place.paired = item.stamp.has_value();
    recent_at_ = (recent_at_ + 1) % most_recent;
    recent_size_ = std::min(recent_size_ + 1, most_recent);
    if (item.stamp)
        pair_ = Pair{*item.stamp, stamp, own_};
}

void Comparison::take(std::size_t at, Fate fate, Time stamp) {
    const auto& item = open_[at];
    last_.fate = fate;
    last_.sent = item.frame;
    last_.ticket = item.ticket;
    last_.given = item.given;
    remember(item, stamp);
    if (at == 0)
        open_.pop_front();
    else
        open_.erase(open_.begin() + static_cast<std::ptrdiff_t>(at));
    // Those before it were passed.
    next_ = at < next_ ? next_ - 1 : at;
}

const Comparison::Arrival& Comparison::arrived(const CanFrame& frame, Time stamp, Time own) {
    own_ = own;
    pair_.reset();
    last_.difference = Difference::none;
    // The next one, or one after it; then one that others have passed.
    for (std::size_t i = next_; i < open_.size(); ++i)
        if (same_frame(open_[i].frame, frame)) {
            take(i, Fate::arrived, stamp);
            ++tally_.arrived;
            return last_;
        }
    for (std::size_t i = 0; i < next_; ++i)
        if (same_frame(open_[i].frame, frame)) {
            take(i, Fate::misplaced, stamp);
            ++tally_.arrived;
            ++tally_.misplaced;
            return last_;
        }
    for (std::size_t i = 0; i < recent_size_; ++i) {
        const auto& done = recent_[(recent_at_ + most_recent - 1 - i) % most_recent];
        if (same_frame(done.frame, frame)) {
            last_.fate = Fate::twice;
            last_.sent = done.frame;
            last_.ticket = done.ticket;
            ++tally_.twice;
            return last_;
        }
    }
    // None is the same: it is the one that it is nearest to, if any is near.
    std::size_t nearest = 0;
    unsigned least = far + 1;
    for (std::size_t i = 0; i < std::min<std::size_t>(open_.size(), next_ + 32); ++i) {
        const unsigned away = distance(open_[i].frame, frame) + (i < next_ ? 1U : 0U);
        if (away < least) {
            least = away;
            nearest = i;
        }
    }
    if (least <= far) {
        last_.difference = difference_of(open_[nearest].frame, frame);
        ++tally_.changed;
        ++tally_.by_difference[static_cast<std::size_t>(last_.difference)];
        take(nearest, Fate::changed, stamp);
        return last_;
    }
    last_.fate = Fate::alien;
    ++tally_.alien;
    return last_;
}

} // namespace telltale::vet
