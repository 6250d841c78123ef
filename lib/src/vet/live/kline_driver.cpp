// SPDX-License-Identifier: Apache-2.0
#include <optional>
#include <string>
#include <variant>

#include "../pace.hpp"
#include "telltale/vet/live_kline.hpp"
#include "work.hpp"

namespace telltale::vet {

class LiveKlineVetting::Impl final : public LiveBase::Work::On<KlineVetting>,
                                     public KlineVetOutlet {
  public:
    Impl(LiveKlineVetting& owner, link::Link& tested, link::KlinePort& reference,
         const LiveKlineOptions& options)
        : On(owner, tested.get_executor(), options.vetting.seed), tested_(tested),
          reference_(reference), options_(options) {}

    // KlineVetOutlet

    void open(KlineWaking how) override {
        link::OpenSettings settings;
        settings.kline.start = how == KlineWaking::none        ? link::KlineStart::none
                               : how == KlineWaking::five_baud ? link::KlineStart::five_baud
                                                               : link::KlineStart::fast;
        ++generation_;
        tested_.async_open(settings, options_.open_timeout,
                           [self = self(), generation = generation_](link::error_code error,
                                                                     const link::LineUp& up) {
                               if (!self->over() && generation == self->generation_)
                                   self->was_opened(error, up);
                           });
    }
    void send(Bytes frame) override {
        tested_.async_send(
            link::KlineBytes{frame}, std::chrono::seconds(9),
            [self = self(), generation = generation_](link::error_code error,
                                                      const link::Sent& sent) {
                if (self->over() || generation != self->generation_)
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
    std::shared_ptr<Impl> self() { return std::static_pointer_cast<Impl>(shared_from_this()); }

    void open_links() override {
        const auto open = reference_.open();
        if (!open)
            return give_up(open.error().detail);
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

    void was_opened(link::error_code error, const link::LineUp& up) {
        if (error == link::LinkError::cannot_open && links_.empty())
            return cannot_open(tested_, error);
        if (links_.empty()) {
            const char* const port = reference_.carries_levels()
                                         ? "a serial port"
                                         : "a pseudo terminal, without levels and bit times";
            links_.push_back({tested_.name(), "under test", {}});
            links_.push_back({{}, "reference", port});
        }
        if (!error) {
            links_[0].settings = std::to_string(up.bit_rate) + " baud";
            receive();
        }
        vetting_->opened(!error, link::now());
        go_on();
    }
    void receive() {
        tested_.async_receive(link::no_timeout,
                              [self = self(), generation = generation_](
                                  link::error_code error, const link::Received& received) {
                                  if (!self->over() && generation == self->generation_)
                                      self->was_received(error, received);
                              });
    }
    void was_received(link::error_code error, const link::Received& received) {
        if (error == link::LinkError::cancelled)
            return;
        if (is_lost(error)) {
            vetting_->gone(End::tested, link::now());
            return go_on();
        }
        if (const auto* kline = std::get_if<link::KlineBytes>(&received.traffic);
            !error && kline != nullptr && !received.own)
            vetting_->received(kline->frame, link::now());
        receive();
        go_on();
    }

    void go_on() override {
        if (over() || !vetting_)
            return;
        for (int i = 0; i < 16 && !vetting_->done(); ++i) {
            if (vetting_->next_wakeup() > link::now())
                break;
            vetting_->poll(link::now(), *this);
        }
        if (pace_.due(link::now()))
            tell("K-line", vetting_->part(link::now()));
        if (vetting_->done())
            return finish(true);
        wake_at(vetting_->next_wakeup());
    }
    void shut() override {
        ++generation_;
        reference_.on_byte = nullptr;
        reference_.on_gone = nullptr;
        tested_.close();
        reference_.close();
    }

    link::Link& tested_;
    link::KlinePort& reference_;
    LiveKlineOptions options_;
    Pace pace_;
    unsigned generation_ = 0; ///< what was begun before it was opened anew counts no more
};

LiveKlineVetting::LiveKlineVetting(link::Link& tested, link::KlinePort& reference,
                                   const LiveKlineOptions& options)
    : LiveBase(std::make_shared<Impl>(*this, tested, reference, options)) {}

} // namespace telltale::vet
