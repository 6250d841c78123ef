// SPDX-License-Identifier: Apache-2.0
#include "carrier.hpp"

#include <algorithm>
#include <utility>

#include "telltale/frame/kline.hpp"

namespace telltale::client::detail {

namespace {

constexpr std::size_t queue_size = 2 * Carrier::max_ecus + 4;
constexpr std::uint8_t padding = 0xCC;
constexpr std::size_t single_frame_room = 7;

CanId ecu_of_address(std::uint8_t address) {
    return {0x18DAF100U | address, true};
}

} // namespace

/// Takes what an endpoint gives.
class Carrier::Collector final : public isotp::Outlet {
  public:
    Collector(Carrier& carrier, std::size_t index, Heard* heard)
        : carrier_(carrier), index_(index), heard_(heard) {}
    void frame(const CanFrame& frame, isotp::Ticket ticket) override {
        Piece piece;
        piece.size = static_cast<std::uint16_t>(frame.data.size());
        std::copy(frame.data.begin(), frame.data.end(), piece.bytes.begin());
        piece.id = frame.id;
        piece.endpoint = static_cast<std::int16_t>(index_);
        piece.ticket = ticket;
        carrier_.push(piece);
    }
    void message(const isotp::Message& message) override {
        if (heard_ != nullptr)
            heard_->message(carrier_.ids_[index_], message.bytes, message.time, message.end_time);
    }
    void begun(const isotp::Message& so_far, std::size_t /*length*/) override {
        if (heard_ != nullptr)
            heard_->begun(carrier_.ids_[index_], so_far.bytes, so_far.time);
    }
    void receive_failed(isotp::Outcome, const isotp::Message&, Time now) override {
        if (heard_ != nullptr)
            heard_->failed(carrier_.ids_[index_], now);
    }
    void transmitted(isotp::Outcome outcome, Time now) override {
        if (heard_ == nullptr || carrier_.sender_ != index_)
            return;
        carrier_.sender_.reset();
        if (outcome == isotp::Outcome::ok)
            heard_->request_sent(now);
        else
            heard_->request_failed(now);
    }

  private:
    Carrier& carrier_;
    std::size_t index_;
    Heard* heard_;
};

void Carrier::set_line(const Line& line, Time slack, Time send_limit) {
    line_ = line;
    options_ = {};
    options_.confirmed = true;
    options_.timing.n_as = options_.timing.n_ar = send_limit;
    options_.timing.n_bs += slack;
    options_.timing.n_cr += slack;
    options_.padding = padding;
    endpoints_.clear();
    ids_.clear();
    endpoints_.reserve(max_ecus);
    ids_.reserve(max_ecus);
    queue_.resize(queue_size);
    first_ = count_ = 0;
    in_flight_ = request_given_ = false;
    sender_.reset();
}

void Carrier::push(const Piece& piece) {
    if (count_ == queue_.size())
        return; // cannot be: each endpoint has at most two pieces under way
    queue_[(first_ + count_++) % queue_.size()] = piece;
}

isotp::Endpoint* Carrier::endpoint(CanId ecu, bool make) {
    for (std::size_t i = 0; i < ids_.size(); ++i)
        if (ids_[i] == ecu)
            return &endpoints_[i];
    if (!make || ids_.size() == max_ecus)
        return nullptr;
    ids_.push_back(ecu);
    endpoints_.emplace_back(isotp::tester_address(ecu), options_);
    return &endpoints_.back();
}

bool Carrier::request(Bytes bytes, std::optional<CanId> to, Time now) {
    request_given_ = false;
    Piece piece;
    piece.is_request = true;
    switch (line_.dialect) {
    case Dialect::can_11:
    case Dialect::can_29: {
        if (to && bytes.size() > single_frame_room) {
            auto* target = endpoint(*to, true);
            if (target == nullptr || !target->transmit(bytes, now))
                return false;
            sender_ = static_cast<std::size_t>(target - endpoints_.data());
            Collector collector(*this, *sender_, nullptr);
            while (target->next_wakeup() <= now)
                target->poll(now, collector);
            return true;
        }
        if (bytes.size() > single_frame_room)
            return false;
        if (to && endpoint(*to, true) == nullptr)
            return false;
        piece.id = to                                 ? partner_of(*to)
                   : line_.dialect == Dialect::can_11 ? CanId{0x7DF, false}
                                                      : CanId{0x18DB33F1, true};
        piece.bytes[0] = static_cast<std::uint8_t>(bytes.size());
        std::copy(bytes.begin(), bytes.end(), piece.bytes.begin() + 1);
        std::fill(piece.bytes.begin() + 1 + static_cast<std::ptrdiff_t>(bytes.size()),
                  piece.bytes.begin() + 8, padding);
        piece.size = 8;
        break;
    }
    case Dialect::kline_9141:
    case Dialect::kline_14230: {
        std::size_t at = 0;
        const auto put = [&](std::size_t byte) {
            piece.bytes[at++] = static_cast<std::uint8_t>(byte);
        };
        if (line_.dialect == Dialect::kline_9141) {
            if (bytes.size() > 7)
                return false;
            put(0x68);
            put(0x6A);
        } else {
            if (bytes.size() > 255)
                return false;
            const std::size_t length = bytes.size() < 0x40 ? bytes.size() : 0;
            put((to ? 0x80U : 0xC0U) | length);
            put(to ? to->value & 0xFF : 0x33);
            put(line_.tester);
            if (length == 0)
                put(bytes.size());
        }
        if (line_.dialect == Dialect::kline_9141)
            put(line_.tester);
        for (const std::uint8_t byte : bytes)
            put(byte);
        put(kline_checksum(Bytes(piece.bytes).first(at)));
        piece.size = static_cast<std::uint16_t>(at);
        break;
    }
    case Dialect::doip:
        piece.id = {to ? to->value : line_.doip_functional, true};
        std::copy(bytes.begin(), bytes.end(), piece.bytes.begin());
        piece.size = static_cast<std::uint16_t>(bytes.size());
        break;
    }
    push(piece);
    return true;
}

void Carrier::poll(std::size_t index, Time now, Heard& heard) {
    Collector collector(*this, index, &heard);
    for (int guard = 0; guard < 8 && endpoints_[index].next_wakeup() <= now; ++guard)
        endpoints_[index].poll(now, collector);
}

void Carrier::receive(const link::Traffic& traffic, Time now, Heard& heard) {
    if (const auto* can = std::get_if<CanFrame>(&traffic)) {
        if (!is_can(line_.dialect) || can->kind != CanKind::data || role_of(can->id) != Role::ecu ||
            can->id.extended != (line_.dialect == Dialect::can_29))
            return;
        auto* from = endpoint(can->id, true);
        if (from == nullptr)
            return;
        const auto index = static_cast<std::size_t>(from - endpoints_.data());
        Collector collector(*this, index, &heard);
        from->feed(*can, now, collector);
        poll(index, now, heard);
    } else if (const auto* kline = std::get_if<link::KlineBytes>(&traffic)) {
        if (!is_kline(line_.dialect))
            return;
        KlineFrame frame;
        if (!parse_kline(kline->frame, frame).fine())
            return heard.damaged(now);
        if (!frame.has_address || frame.source == line_.tester || frame.data.empty())
            return;
        const bool to_us =
            frame.form == KlineForm::iso_9141
                ? line_.dialect == Dialect::kline_9141 && kline->frame[0] == 0x48
                : line_.dialect == Dialect::kline_14230 && frame.target == line_.tester;
        if (to_us)
            heard.message(ecu_of_address(frame.source), frame.data, now, now);
    } else if (const auto* doip = std::get_if<link::DoipMessage>(&traffic)) {
        if (line_.dialect == Dialect::doip && doip->target == line_.doip_tester &&
            !doip->bytes.empty())
            heard.message({doip->source, true}, doip->bytes, now, now);
    }
}

bool Carrier::to_send(link::Traffic& traffic, Time /*now*/) {
    if (in_flight_ || count_ == 0)
        return false;
    const Piece& piece = queue_[first_];
    const Bytes bytes = Bytes(piece.bytes).first(piece.size);
    if (is_can(line_.dialect)) {
        CanFrame frame;
        frame.id = piece.id;
        frame.data = bytes;
        traffic = frame;
    } else if (is_kline(line_.dialect)) {
        traffic = link::KlineBytes{bytes};
    } else {
        traffic =
            link::DoipMessage{line_.doip_tester, static_cast<std::uint16_t>(piece.id.value), bytes};
    }
    in_flight_ = true;
    request_given_ = request_given_ || piece.is_request;
    return true;
}

void Carrier::sent(Time now, Heard& heard) {
    if (!in_flight_)
        return;
    const bool is_request = queue_[first_].is_request;
    const auto index = queue_[first_].endpoint;
    const auto ticket = queue_[first_].ticket;
    in_flight_ = false;
    first_ = (first_ + 1) % queue_.size();
    --count_;
    if (is_request)
        return heard.request_sent(now);
    if (index >= 0 && static_cast<std::size_t>(index) < endpoints_.size()) {
        const auto i = static_cast<std::size_t>(index);
        Collector collector(*this, i, &heard);
        endpoints_[i].sent(ticket, now, collector);
        poll(i, now, heard);
    }
}

void Carrier::send_failed(Time now, Heard& heard) {
    if (!in_flight_)
        return;
    const bool is_request = queue_[first_].is_request;
    in_flight_ = false;
    first_ = (first_ + 1) % queue_.size();
    --count_;
    if (is_request)
        heard.request_failed(now);
    // A frame of an endpoint: its N_As or N_Ar ends it.
}

void Carrier::wake(Time now, Heard& heard) {
    for (std::size_t i = 0; i < endpoints_.size(); ++i)
        poll(i, now, heard);
}

Time Carrier::wake_at() const noexcept {
    Time at = isotp::never;
    for (const auto& endpoint : endpoints_)
        at = std::min(at, endpoint.next_wakeup());
    return at;
}

void Carrier::drop_request(Time now) {
    // What is not given yet is not sent any more; a piece in flight is beyond recall.
    std::size_t kept = 0;
    for (std::size_t i = 0; i < count_; ++i) {
        const std::size_t at = (first_ + i) % queue_.size();
        if (i == 0 && in_flight_) {
            queue_[at].is_request = false;
            ++kept;
            continue;
        }
        if (queue_[at].is_request ||
            (sender_ && queue_[at].endpoint == static_cast<std::int16_t>(*sender_)))
            continue;
        if (const std::size_t to = (first_ + kept) % queue_.size(); to != at)
            queue_[to] = queue_[at];
        ++kept;
    }
    count_ = kept;
    request_given_ = false;
    if (sender_) {
        const std::size_t index = *sender_;
        sender_.reset();
        Collector nobody(*this, index, nullptr);
        // Gives up receiving there as well: what that ECU says would be no answer of interest.
        endpoints_[index].cancel(now, nobody);
    }
}

void Carrier::reset(Time now) {
    for (std::size_t i = 0; i < endpoints_.size(); ++i) {
        Collector nobody(*this, i, nullptr);
        endpoints_[i].cancel(now, nobody);
    }
    first_ = count_ = 0;
    in_flight_ = request_given_ = false;
    sender_.reset();
}

} // namespace telltale::client::detail
