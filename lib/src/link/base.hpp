// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <memory>
#include <string>
#include <utility>

#include "check.hpp"
#include "inbox.hpp"
#include "log.hpp"
#include "telltale/link/link.hpp"

namespace telltale::link {

/// What links over the operating system have in common.
class Base : public Link {
  public:
    std::string name() const override { return name_; }
    LinkCounts counts() const override { return {inbox_.received(), sent_, inbox_.lost(), bad_}; }
    Executor get_executor() const override { return executor_; }
    std::string trouble() const override { return trouble_; }

    void cancel() override {
        inbox_.cancel();
        if (opening_.active()) {
            opening_.finish(LinkError::cancelled);
            shut();
        }
        if (sending_.active()) {
            give_up();
            sending_.finish(LinkError::cancelled);
        }
    }
    void close() override {
        cancel();
        shut();
        open_ = false;
        inbox_.end(LinkError::not_open);
    }

    void start_open(OpenSettings settings, Timeout timeout, OpenDone done) override {
        if (opening_.active())
            return done(LinkError::busy);
        cancel();
        shut();
        open_ = false;
        inbox_.end(LinkError::not_open);
        // Whoever is called late of what was open before finds his token gone.
        alive_ = std::make_shared<int>(0);
        settings_ = std::move(settings);
        opening_.begin(timeout, std::move(done), [this] {
            open_failed(LinkError::timed_out, "opening took longer than allowed");
        });
        open();
    }
    void start_send(const Traffic& traffic, Timeout timeout, SendDone done) override {
        if (!open_) {
            trouble_ = "open the link before sending";
            return done(LinkError::not_open);
        }
        const auto can = capabilities();
        if (!can.sends) {
            trouble_ = "nothing can be sent over this link";
            return done(LinkError::not_supported);
        }
        if (!carries(traffic, can.line, can.fd, trouble_))
            return done(LinkError::bad_traffic);
        if (sending_.active())
            return done(LinkError::busy);
        sending_.begin(timeout, std::move(done), [this] {
            trouble_ = "the line did not take it in time";
            give_up();
            sending_.finish(LinkError::timed_out);
        });
        send(traffic);
    }
    void start_receive(Timeout timeout, ReceiveDone done) override {
        inbox_.receive(timeout, std::move(done));
    }

  protected:
    Base(const Executor& executor, std::string name, std::size_t room = Inbox::usual_room)
        : executor_(executor), inbox_(executor, room), opening_(executor), sending_(executor),
          breath_(executor), name_(std::move(name)) {
        inbox_.end(LinkError::not_open);
    }

    /// Begins to open with `settings_`; ends with `opened` or `open_failed`.
    virtual void open() = 0;
    /// Begins to send a piece that this line carries; ends with `sent` or `send_failed`.
    virtual void send(const Traffic& traffic) = 0;
    /// Nobody waits any more for the piece that is being sent.
    virtual void give_up() {}
    /// Closes whatever is open, at once.
    virtual void shut() = 0;

    /// A callback that does nothing once the link was closed, opened anew or is no more.
    template <class F> auto guarded(F f) {
        return [alive = std::weak_ptr<int>(alive_), f = std::move(f)](auto&&... args) mutable {
            if (!alive.expired())
                f(std::forward<decltype(args)>(args)...);
        };
    }
    /// Callbacks begun so far do nothing any more.
    void forget() {
        breath_.cancel();
        alive_ = std::make_shared<int>(0);
    }

    /// Goes on reading: at once, or, while much waits in the queue, after a pause that lets those
    /// who take it get to it. A short one: where the system's own room ends, loss is not told.
    template <class F> void read_on(F f) {
        if (inbox_.size() < inbox_.room())
            return f();
        breath_.expires_after(std::chrono::milliseconds(2));
        breath_.async_wait(guarded([f = std::move(f)](const error_code& error) mutable {
            if (!error)
                f();
        }));
    }

    void opened(LineUp up) {
        open_ = true;
        inbox_.restart();
        if (up.time == no_time)
            up.time = now();
        log_debug(name_, "open");
        opening_.finish({}, up);
    }
    void open_failed(error_code error, std::string why) {
        shut();
        trouble_ = std::move(why);
        log_warning(name_, trouble_);
        opening_.fail_if_active(error);
    }
    void sent(Sent told) {
        ++sent_;
        if (sending_.active())
            sending_.finish({}, told);
    }
    void send_failed(error_code error, std::string why) {
        trouble_ = std::move(why);
        log_warning(name_, trouble_);
        sending_.fail_if_active(error);
    }
    /// The device or the other end is not there any more.
    void lost_line(error_code error, std::string why) {
        shut();
        open_ = false;
        trouble_ = std::move(why);
        log_warning(name_, trouble_);
        opening_.fail_if_active(error);
        sending_.fail_if_active(error);
        inbox_.end(error);
    }

    Executor executor_;
    Inbox inbox_;
    Pending<LineUp> opening_;
    Pending<Sent> sending_;
    boost::asio::steady_timer breath_;
    OpenSettings settings_;
    std::string name_;
    std::string trouble_;
    bool open_ = false;
    std::uint64_t sent_ = 0;
    std::uint64_t bad_ = 0;
    std::shared_ptr<int> alive_ = std::make_shared<int>(0);
};

} // namespace telltale::link
