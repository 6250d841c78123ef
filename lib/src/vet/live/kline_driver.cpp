// SPDX-License-Identifier: Apache-2.0
#include <algorithm>
#include <optional>
#include <utility>
#include <variant>

#include <boost/asio/steady_timer.hpp>

#include "telltale/vet/live_kline.hpp"

namespace telltale::vet {

class LiveKlineVetting::Impl final : public std::enable_shared_from_this<Impl>,
                                     public KlineVetOutlet {
  public:
    Impl(LiveKlineVetting& owner, link::Link& tested, link::KlinePort& reference,
         const LiveKlineOptions& options)
        : owner_(&owner), tested_(tested), reference_(reference), options_(options),
          timer_(tested.get_executor()) {}

    void start(std::function<void(bool)> done) {
        done_ = std::move(done);
        const auto open = reference_.open();
        if (!open) {
            trouble_ = open.error().detail;
            return finish(false);
        }
        if (!reference_.carries_levels()) {
            options_.vetting.wakes = false;
            options_.vetting.exact = false;
        }
        reference_.on_byte = [this](std::uint8_t byte, Time time) {
            if (!vetting_)
                return;
            if (reference_.gathers())
                vetting_->inexact();
            vetting_->heard(byte, time);
            go_on();
        };
        reference_.on_gone = [this] {
            if (vetting_)
                vetting_->gone(End::reference, link::now());
            go_on();
        };
        vetting_.emplace(options_.vetting, link::now());
        go_on();
    }
    void stop() {
        if (vetting_)
            vetting_->stop();
        go_on();
    }
    void leave() {
        owner_ = nullptr;
        done_ = nullptr;
        shut();
    }
    const std::string& trouble() const { return trouble_; }
    const Report& report() const { return report_; }

    // KlineVetOutlet

    void open(KlineWaking how) override {
        link::OpenSettings settings;
        settings.kline.start = how == KlineWaking::none        ? link::KlineStart::none
                               : how == KlineWaking::five_baud ? link::KlineStart::five_baud
                                                               : link::KlineStart::fast;
        ++generation_;
        tested_.async_open(settings, options_.open_timeout,
                           [self = shared_from_this(), generation = generation_](
                               link::error_code error, const link::LineUp& up) {
                               if (self->owner_ != nullptr && generation == self->generation_)
                                   self->was_opened(error, up);
                           });
    }
    void send(Bytes frame) override {
        tested_.async_send(
            link::KlineBytes{frame}, std::chrono::seconds(9),
            [self = shared_from_this(), generation = generation_](link::error_code error,
                                                                  const link::Sent& sent) {
                if (self->owner_ == nullptr || generation != self->generation_)
                    return;
                if (error == link::LinkError::gone || error == link::LinkError::not_open)
                    self->vetting_->gone(End::tested, link::now());
                else
                    self->vetting_->sent(!error, link::now(),
                                         error == link::LinkError::collision ? KlineEcho::wrong
                                         : error                             ? KlineEcho::unknown
                                         : sent.heard                        ? KlineEcho::whole
                                                                             : KlineEcho::none);
                self->go_on();
            });
    }
    void put(std::uint8_t byte) override { reference_.put(byte); }

  private:
    void was_opened(link::error_code error, const link::LineUp& up) {
        if (error == link::LinkError::cannot_open && report_.links.empty()) {
            trouble_ = tested_.name() + ": " +
                       (tested_.trouble().empty() ? error.message() : tested_.trouble());
            return finish(false);
        }
        if (report_.links.empty()) {
            report_.links.resize(2);
            report_.links[0] = {tested_.name(), "under test", {}};
            report_.links[1] = {{}, "reference", {}};
        }
        if (!error) {
            report_.links[0].settings = std::to_string(up.bit_rate) + " baud";
            receive();
        }
        vetting_->opened(!error, link::now());
        go_on();
    }
    void receive() {
        tested_.async_receive(link::no_timeout,
                              [self = shared_from_this(), generation = generation_](
                                  link::error_code error, const link::Received& received) {
                                  if (self->owner_ != nullptr && generation == self->generation_)
                                      self->was_received(error, received);
                              });
    }
    void was_received(link::error_code error, const link::Received& received) {
        if (error == link::LinkError::cancelled)
            return;
        if (error && error != link::LinkError::bad_traffic &&
            error != link::LinkError::wrong_answer) {
            vetting_->gone(End::tested, link::now());
            return go_on();
        }
        if (const auto* kline = std::get_if<link::KlineBytes>(&received.traffic);
            !error && kline != nullptr && !received.own)
            vetting_->received(kline->frame, link::now());
        receive();
        go_on();
    }

    void go_on() {
        if (owner_ == nullptr || !vetting_ || !done_)
            return;
        for (int i = 0; i < 16 && !vetting_->done(); ++i) {
            const Time at = vetting_->next_wakeup();
            if (at == no_time || at > link::now())
                break;
            vetting_->poll(link::now(), *this);
        }
        if (owner_->on_progress && link::now() >= next_progress_) {
            next_progress_ = link::now() + 200 * nanoseconds_a_millisecond;
            owner_->on_progress(vetting_->part(link::now()));
        }
        if (vetting_->done())
            return finish(true);
        const Time at = vetting_->next_wakeup();
        if (at == no_time) {
            timer_.cancel();
            return;
        }
        timer_.expires_after(std::chrono::nanoseconds(std::max<Time>(at - link::now(), 0)));
        timer_.async_wait([self = shared_from_this()](const boost::system::error_code& error) {
            if (!error && self->owner_ != nullptr)
                self->go_on();
        });
    }
    void shut() {
        ++generation_;
        timer_.cancel();
        reference_.on_byte = nullptr;
        reference_.on_gone = nullptr;
        tested_.close();
        reference_.close();
    }
    void finish(bool fine) {
        if (!done_)
            return;
        if (vetting_) {
            Report made = vetting_->report();
            made.links = std::move(report_.links);
            report_ = std::move(made);
            if (report_.links.size() == 2)
                report_.links[1].settings = reference_.carries_levels()
                                                ? "a serial port"
                                                : "a pseudo terminal, without levels and bit times";
            report_.seed = options_.vetting.seed;
        }
        shut();
        auto done = std::exchange(done_, nullptr);
        done(fine);
    }

    LiveKlineVetting* owner_;
    link::Link& tested_;
    link::KlinePort& reference_;
    LiveKlineOptions options_;
    boost::asio::steady_timer timer_;
    std::function<void(bool)> done_;
    std::optional<KlineVetting> vetting_;
    Report report_;
    std::string trouble_;
    Time next_progress_ = 0;
    unsigned generation_ = 0; ///< what was begun before it was opened anew counts no more
};

LiveKlineVetting::LiveKlineVetting(link::Link& tested, link::KlinePort& reference,
                                   const LiveKlineOptions& options)
    : impl_(std::make_shared<Impl>(*this, tested, reference, options)) {}
LiveKlineVetting::~LiveKlineVetting() {
    impl_->leave();
}
void LiveKlineVetting::start(std::function<void(bool)> done) {
    impl_->start(std::move(done));
}
void LiveKlineVetting::stop() {
    impl_->stop();
}
const std::string& LiveKlineVetting::trouble() const noexcept {
    return impl_->trouble();
}
const Report& LiveKlineVetting::report() const noexcept {
    return impl_->report();
}

} // namespace telltale::vet
