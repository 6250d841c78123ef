// SPDX-License-Identifier: Apache-2.0
#include "telltale/client/live.hpp"

#include <algorithm>
#include <utility>

#include <boost/asio/steady_timer.hpp>

namespace telltale::client {

namespace {

constexpr link::Timeout send_timeout = std::chrono::seconds(1);

} // namespace

class Driver::Impl final : public std::enable_shared_from_this<Impl> {
  public:
    Impl(Driver& owner, link::Link& link, Session& session, const DriverOptions& options)
        : owner_(&owner), link_(link), session_(session), options_(options),
          settings_(options.open), timer_(link.get_executor()), reopen_timer_(link.get_executor()) {
        session_.unplugged(link::now());
    }

    void run(Task& task, std::function<void(bool)> done) {
        done_ = std::move(done);
        trouble_.clear();
        session_.run(task, link::now());
        go_on();
    }

    void stop() {
        session_.stop();
        finish(false);
    }

    void leave() {
        owner_ = nullptr;
        done_ = nullptr;
        timer_.cancel();
        reopen_timer_.cancel();
        link_.cancel();
    }

    const std::string& trouble() const { return trouble_; }
    Session& session() { return session_; }

  private:
    void finish(bool over) {
        if (!done_)
            return;
        auto done = std::exchange(done_, nullptr);
        done(over);
    }

    /// Everything that follows from what just happened.
    void go_on() {
        if (owner_ == nullptr || opening_)
            return;
        if (const LineWish* wish = session_.wish(); wish != nullptr)
            return set_up(*wish);
        if (done_ && session_.done())
            return finish(true); // may run the next task, which goes on by itself
        if (!open_) {
            if (!lost_)
                open({});
            return;
        }
        send();
        wait();
    }

    /// What waited in a queue while something was sent is told with the later time, so that a
    /// recording's times do not go back.
    void tell(const link::Traffic& traffic, Time time, bool sent) {
        told_ = std::max(told_, time);
        if (owner_->on_traffic)
            owner_->on_traffic(traffic, told_, sent);
    }

    void send() {
        if (sending_ || !open_)
            return;
        link::Traffic piece;
        const Time now = link::now();
        if (!session_.to_send(piece, now))
            return;
        sending_ = true;
        tell(piece, now, true);
        link_.async_send(piece, send_timeout,
                         [self = shared_from_this(),
                          generation = generation_](link::error_code error, link::Sent sent) {
                             if (generation == self->generation_)
                                 self->was_sent(error, sent);
                         });
    }

    void was_sent(link::error_code error, const link::Sent& sent) {
        sending_ = false;
        if (owner_ == nullptr)
            return;
        if (!error) {
            session_.sent(sent.time == no_time ? link::now() : sent.time);
        } else if (error == link::LinkError::gone || error == link::LinkError::not_open) {
            return lose();
        } else {
            session_.send_failed(link::now());
        }
        go_on();
    }

    void receive() {
        link_.async_receive(link::no_timeout,
                            [self = shared_from_this(), generation = generation_](
                                link::error_code error, const link::Received& received) {
                                if (generation == self->generation_)
                                    self->was_received(error, received);
                            });
    }

    void was_received(link::error_code error, const link::Received& received) {
        if (owner_ == nullptr)
            return;
        if (error == link::LinkError::timed_out || error == link::LinkError::bad_traffic ||
            error == link::LinkError::wrong_answer || error == link::LinkError::collision) {
            receive();
            return;
        }
        if (error)
            return lose();
        tell(received.traffic, received.time, received.own);
        if (!received.own)
            session_.receive(received.traffic, received.time);
        if (owner_ == nullptr)
            return;
        receive(); // what was received is valid until here
        go_on();
    }

    void wait() {
        const Time at = session_.wake_at();
        if (at == no_time) {
            timer_.cancel();
            return;
        }
        const Time left = std::max<Time>(at - link::now(), 0);
        timer_.expires_after(std::chrono::nanoseconds(left));
        timer_.async_wait([self = shared_from_this()](const boost::system::error_code& error) {
            if (error || self->owner_ == nullptr)
                return;
            self->session_.wake(link::now());
            self->go_on();
        });
    }

    /// The line as a task wants it.
    void set_up(const LineWish& wish) {
        settings_ = options_.open;
        if (is_can(wish.line.dialect))
            settings_.can.bit_rate = wish.line.bit_rate;
        else if (is_kline(wish.line.dialect))
            settings_.kline.start =
                wish.kline_fast ? link::KlineStart::fast : link::KlineStart::five_baud;
        open(wish.line);
    }

    void open(std::optional<Line> wished) {
        opening_ = true;
        open_ = false;
        sending_ = false;
        ++generation_;
        timer_.cancel();
        link_.async_open(
            settings_, options_.open_timeout,
            [self = shared_from_this(), wished](link::error_code error, const link::LineUp& up) {
                self->was_opened(error, up, wished);
            });
    }

    Line line_of(Line line, const link::LineUp& up) const {
        switch (link_.capabilities().line) {
        case link::LineKind::can:
            if (up.bit_rate != 0)
                line.bit_rate = up.bit_rate;
            break;
        case link::LineKind::kline:
            line.dialect =
                up.kline_form == KlineForm::iso_9141 ? Dialect::kline_9141 : Dialect::kline_14230;
            line.tester = settings_.kline.tester;
            break;
        case link::LineKind::doip:
            line.dialect = Dialect::doip;
            line.doip_tester = settings_.doip.tester;
            line.doip_functional = settings_.doip.target;
            break;
        }
        return line;
    }

    void was_opened(link::error_code error, const link::LineUp& up,
                    const std::optional<Line>& wished) {
        opening_ = false;
        if (owner_ == nullptr)
            return;
        const Time now = link::now();
        if (error) {
            trouble_ = link_.trouble();
            if (trouble_.empty())
                trouble_ = error.message();
            if (wished) {
                session_.granted({false, *wished, {}}, now);
                return go_on();
            }
            if (lost_)
                return retry();
            session_.stop();
            return finish(false);
        }
        open_ = true;
        const bool was_lost = std::exchange(lost_, false);
        trouble_.clear();
        ++generation_;
        if (wished) {
            const Line line = line_of(*wished, up);
            session_.plugged(now);
            LineAnswer answer{true, line, {}};
            if (line.dialect == Dialect::doip)
                answer.entity = up.entity;
            session_.granted(answer, now);
        } else {
            session_.plugged(now);
        }
        if (was_lost && owner_->on_line)
            owner_->on_line(true, {});
        if (owner_ == nullptr)
            return;
        receive();
        go_on();
    }

    /// The adapter is gone.
    void lose() {
        if (!open_)
            return;
        open_ = sending_ = false;
        lost_ = true;
        ++generation_;
        trouble_ = link_.trouble();
        session_.unplugged(link::now());
        if (owner_->on_line)
            owner_->on_line(false, trouble_);
        if (owner_ == nullptr)
            return;
        link_.close();
        retry();
    }

    void retry() {
        reopen_timer_.expires_after(options_.reopen_every);
        reopen_timer_.async_wait(
            [self = shared_from_this()](const boost::system::error_code& error) {
                if (!error && self->owner_ != nullptr && !self->opening_ && !self->open_)
                    self->open({});
            });
    }

    Driver* owner_;
    link::Link& link_;
    Session& session_;
    DriverOptions options_;
    link::OpenSettings settings_; ///< as the line is set up now
    boost::asio::steady_timer timer_;
    boost::asio::steady_timer reopen_timer_;
    std::function<void(bool)> done_;
    std::string trouble_;
    Time told_ = no_time;
    std::uint64_t generation_ = 0; ///< operations of an earlier opening are not heeded
    bool open_ = false;
    bool opening_ = false;
    bool sending_ = false;
    bool lost_ = false;
};

Driver::Driver(link::Link& link, Session& session, const DriverOptions& options)
    : impl_(std::make_shared<Impl>(*this, link, session, options)) {}

Driver::~Driver() {
    impl_->leave();
}

void Driver::run(Task& task, std::function<void(bool)> done) {
    impl_->run(task, std::move(done));
}

void Driver::stop() {
    impl_->stop();
}

const std::string& Driver::trouble() const noexcept {
    return impl_->trouble();
}

Session& Driver::session() noexcept {
    return impl_->session();
}

FinderOptions finder_options(const link::Link& link, bool bit_rate_is_given) {
    FinderOptions options;
    const link::Capabilities can = link.capabilities();
    switch (can.line) {
    case link::LineKind::can:
        options.over = FinderOptions::Over::can;
        if (can.sets_bit_rate && !bit_rate_is_given)
            options.bit_rates = {500'000, 250'000};
        break;
    case link::LineKind::kline:
        options.over = FinderOptions::Over::kline;
        break;
    case link::LineKind::doip:
        options.over = FinderOptions::Over::doip;
        break;
    }
    return options;
}

} // namespace telltale::client
