// SPDX-License-Identifier: Apache-2.0
#include <algorithm>
#include <array>
#include <deque>
#include <optional>
#include <utility>
#include <variant>
#include <vector>

#include <boost/asio/steady_timer.hpp>

#include "telltale/base/number.hpp"
#include "telltale/vet/live.hpp"
#include "work.hpp"

namespace telltale::vet {

namespace {

constexpr link::Timeout send_timeout = std::chrono::seconds(2);
constexpr auto reopen_every = std::chrono::milliseconds(500);

std::string_view of(link::TimeFrom from) {
    switch (from) {
    case link::TimeFrom::system:
        return "times of the operating system";
    case link::TimeFrom::device:
        return "times of the adapter";
    case link::TimeFrom::recorded:
        return "recorded times";
    case link::TimeFrom::program:
        break;
    }
    return "times of the program";
}

} // namespace

class LiveVetting::Impl final : public LiveBase::Work::On<Vetting>, public VettingOutlet {
  public:
    Impl(LiveVetting& owner, link::Link& tested, link::Link& reference, const LiveOptions& options)
        : On(owner, tested.get_executor(), options.vetting.seed), vetting_owner_(owner),
          options_(options), reopen_timer_(tested.get_executor()) {
        sides_[0].link = &tested;
        sides_[1].link = &reference;
    }

    // VettingOutlet

    void send(End end, const CanFrame& frame, SendTicket ticket) override {
        side(end).waiting.push_back({keep(frame), ticket});
    }
    void open(const std::vector<Filter>& filters) override {
        filters_.clear();
        for (const auto& filter : filters)
            filters_.push_back({filter.id, filter.mask});
        want_open_ = true;
    }
    void unplug() override {
        unplugging_ = true;
        if (owner() != nullptr && vetting_owner_.on_unplug)
            vetting_owner_.on_unplug();
    }
    void progress(std::string_view what, double part) override { tell(what, part); }

  private:
    struct Waiting {
        KnownFrame frame;
        SendTicket ticket = 0;
    };
    struct Side {
        link::Link* link = nullptr;
        std::deque<Waiting> waiting;
        bool sending = false;
        bool open = false;
        unsigned generation = 0; ///< what was begun before it was opened anew counts no more
        link::LineUp up;
    };
    Side& side(End end) { return sides_[static_cast<std::size_t>(end)]; }
    std::shared_ptr<Impl> self() { return std::static_pointer_cast<Impl>(shared_from_this()); }

    void open_links() override { open_side(End::reference); }

    void open_side(End end) {
        auto& at = side(end);
        at.open = at.sending = false;
        at.waiting.clear();
        ++at.generation;
        link::OpenSettings settings = options_.open;
        if (settings.can.bit_rate == 0)
            settings.can.bit_rate = options_.vetting.bit_rate;
        if (end == End::tested)
            settings.can.filters = filters_;
        at.link->async_open(settings, options_.open_timeout,
                            [self = self(), end, generation = at.generation](
                                link::error_code error, const link::LineUp& up) {
                                if (!self->over() && generation == self->side(end).generation)
                                    self->was_opened(end, error, up);
                            });
    }

    void was_opened(End end, link::error_code error, const link::LineUp& up) {
        auto& at = side(end);
        if (!vetting_ && error)
            return cannot_open(*at.link, error);
        if (!error) {
            at.open = true;
            at.up = up;
            receive(end);
        }
        if (!vetting_) {
            if (end == End::reference)
                return open_side(End::tested);
            begin();
        } else if (!error || !unplugging_) {
            unplugging_ = false;
            vetting_->opened(!error, link::now());
        } else {
            open_later();
        }
        go_on();
    }
    void open_later() {
        reopen_timer_.expires_after(reopen_every);
        reopen_timer_.async_wait([self = self()](const boost::system::error_code& e) {
            if (!e && !self->over() && self->vetting_ && !self->vetting_->done())
                self->open_side(End::tested);
        });
    }

    void begin() {
        auto& wanted = options_.vetting;
        for (std::size_t i = 0; i < 2; ++i) {
            const auto can = sides_[i].link->capabilities();
            auto& facts = wanted.ends[i];
            facts.fd = can.fd;
            facts.filters = can.filters;
            facts.error_frames = can.error_frames;
            facts.confirms_on_wire = can.confirms_on_wire;
            facts.times = can.times;
            facts.most_frames_a_second = can.most_frames_a_second;
            if (wanted.bit_rate == 0)
                wanted.bit_rate = sides_[i].up.bit_rate;
            LinkUnderTest row;
            row.name = sides_[i].link->name();
            row.part = i == 0 ? "under test" : "reference";
            if (sides_[i].up.bit_rate != 0) {
                append_integer(row.settings, std::uint64_t{sides_[i].up.bit_rate});
                row.settings += " bit/s, ";
            }
            row.settings += can.fd ? "CAN FD, " : "classic CAN, ";
            row.settings += of(can.times);
            row.settings += can.confirms_on_wire ? ", tells when frames are on the wire"
                                                 : ", tells when frames are taken";
            links_.push_back(std::move(row));
        }
        vetting_.emplace(wanted, link::now());
    }

    void receive(End end) {
        auto& at = side(end);
        at.link->async_receive(link::no_timeout,
                               [self = self(), end, generation = at.generation](
                                   link::error_code error, const link::Received& received) {
                                   if (!self->over() && generation == self->side(end).generation)
                                       self->was_received(end, error, received);
                               });
    }
    void was_received(End end, link::error_code error, const link::Received& received) {
        if (error == link::LinkError::cancelled)
            return;
        if (is_lost(error))
            return lose(end);
        if (const auto* frame = std::get_if<CanFrame>(&received.traffic);
            !error && frame != nullptr && vetting_ && !received.own) {
            vetting_->received(end, *frame, received.time, link::now(), received.device_time,
                               received.lost);
        }
        receive(end);
        go_on();
    }
    void lose(End end) {
        auto& at = side(end);
        if (!at.open)
            return;
        at.open = at.sending = false;
        at.waiting.clear();
        ++at.generation;
        if (vetting_)
            vetting_->gone(end, link::now());
        if (unplugging_ && end == End::tested)
            open_later();
        go_on();
    }

    void kick(End end) {
        auto& at = side(end);
        if (at.sending || at.waiting.empty() || !at.open)
            return;
        at.sending = true;
        at.link->async_send(at.waiting.front().frame.view(), send_timeout,
                            [self = self(), end, generation = at.generation](link::error_code error,
                                                                             link::Sent sent) {
                                if (!self->over() && generation == self->side(end).generation)
                                    self->was_sent(end, error, sent);
                            });
    }
    void was_sent(End end, link::error_code error, const link::Sent& sent) {
        auto& at = side(end);
        at.sending = false;
        if (error == link::LinkError::gone || error == link::LinkError::not_open)
            return lose(end);
        const SendTicket ticket = at.waiting.front().ticket;
        at.waiting.pop_front();
        const Time now = link::now();
        if (vetting_)
            vetting_->sent(ticket, !error, error || sent.time == no_time ? now : sent.time, now);
        go_on();
    }

    void go_on() override {
        if (over() || !vetting_)
            return;
        for (int i = 0; i < 16 && !vetting_->done(); ++i) {
            const Time now = link::now();
            if (vetting_->next_wakeup() > now)
                break;
            vetting_->poll(now, *this);
            if (std::exchange(want_open_, false))
                open_side(End::tested);
        }
        if (vetting_->done())
            return finish(true);
        kick(End::tested);
        kick(End::reference);
        wake_at(vetting_->next_wakeup());
    }
    void shut() override {
        reopen_timer_.cancel();
        for (auto& at : sides_) {
            ++at.generation;
            at.link->close();
        }
    }

    LiveVetting& vetting_owner_; ///< while `owner()` is there
    LiveOptions options_;
    std::array<Side, 2> sides_;
    boost::asio::steady_timer reopen_timer_;
    std::vector<link::CanMask> filters_;
    bool want_open_ = false;
    bool unplugging_ = false;
};

LiveVetting::LiveVetting(link::Link& tested, link::Link& reference, const LiveOptions& options)
    : LiveBase(std::make_shared<Impl>(*this, tested, reference, options)) {}

} // namespace telltale::vet
