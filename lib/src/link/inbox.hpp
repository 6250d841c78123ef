// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <cstddef>
#include <cstdint>
#include <memory>
#include <utility>
#include <vector>

#include <boost/asio/steady_timer.hpp>

#include "telltale/link/link.hpp"

namespace telltale::link {

/// For destructors: closes the link. Where there is no memory to tell those who wait, they are not
/// told.
inline void close_quietly(Link& link) noexcept {
    try {
        link.close();
    } catch (...) {
    }
}

/// An operation under way: its handler and its deadline. What it belongs to must outlive it.
template <class Value> class Pending {
  public:
    explicit Pending(const Executor& executor) : timer_(executor) {}

    bool active() const { return static_cast<bool>(done_); }

    /// `expired` is called when the deadline passes before `finish`.
    template <class Expired> void begin(Timeout timeout, Completion<Value> done, Expired expired) {
        done_ = std::move(done);
        const auto number = ++number_;
        if (timeout == no_timeout)
            return;
        timer_.expires_after(timeout);
        timer_.async_wait([this, alive = std::weak_ptr<int>(alive_), number,
                           expired = std::move(expired)](const error_code& error) mutable {
            if (!error && !alive.expired() && active() && number == number_)
                expired();
        });
        timed_ = true;
    }

    void finish(error_code error, Value value = {}) {
        if (timed_) {
            timer_.cancel();
            timed_ = false;
        }
        std::exchange(done_, {})(error, std::move(value));
    }
    void fail_if_active(error_code error) {
        if (active())
            finish(error);
    }

  private:
    boost::asio::steady_timer timer_;
    Completion<Value> done_;
    std::uint64_t number_ = 0;
    bool timed_ = false;
    std::shared_ptr<int> alive_ = std::make_shared<int>(0);
};

/// What a link has received and nobody has taken yet: a ring of fixed size, and the receive that
/// waits for it.
class Inbox {
  public:
    static constexpr std::size_t usual_room = 4096;
    explicit Inbox(const Executor& executor, std::size_t room = usual_room)
        : pending_(executor), ring_(room) {}

    void receive(Timeout timeout, Completion<Received> done) {
        if (pending_.active())
            return done(LinkError::busy);
        if (size_ != 0)
            return done({}, take());
        if (error_)
            return done(error_);
        pending_.begin(timeout, std::move(done), [this] { pending_.finish(LinkError::timed_out); });
    }

    /// False: there was no room, it is lost (and counted).
    bool push(Received received) {
        if (received.time < last_)
            received.time = last_;
        last_ = received.time;
        if (size_ == ring_.size()) {
            lose(1);
            return false;
        }
        received.lost += std::exchange(lost_, 0);
        ring_[(first_ + size_++) % ring_.size()] = received;
        ++received_;
        if (pending_.active())
            pending_.finish({}, take());
        return true;
    }

    /// So many pieces are lost here (as the system may say that it dropped some).
    void lose(std::uint64_t count) {
        lost_ += count;
        all_lost_ += count;
    }

    /// Nothing more will come: receives fail with `error` once the queue is empty.
    void end(error_code error) {
        error_ = error;
        if (pending_.active())
            pending_.finish(error);
    }
    /// The link is open again: what was left from before goes.
    void restart() {
        error_ = {};
        size_ = 0;
        lost_ = 0;
    }
    void cancel() { pending_.fail_if_active(LinkError::cancelled); }

    bool waiting() const { return pending_.active(); }
    std::size_t size() const { return size_; }
    std::size_t room() const { return ring_.size() - size_; }
    std::uint64_t received() const { return received_; }
    std::uint64_t lost() const { return all_lost_; }

  private:
    Received take() {
        std::swap(current_, ring_[first_]); // its place may be written to while it is looked at
        first_ = (first_ + 1) % ring_.size();
        --size_;
        return current_.view();
    }

    Pending<Received> pending_;
    std::vector<Kept> ring_;
    std::size_t first_ = 0;
    std::size_t size_ = 0;
    Kept current_; ///< what the last receive gave
    Time last_ = no_time;
    error_code error_;
    std::uint64_t lost_ = 0; ///< since the last one given
    std::uint64_t all_lost_ = 0;
    std::uint64_t received_ = 0;
};

} // namespace telltale::link
