// SPDX-License-Identifier: Apache-2.0
#include <algorithm>
#include <deque>
#include <vector>

#include "around.hpp"
#include "base/chance.hpp"
#include "inbox.hpp"
#include "telltale/link/around.hpp"

namespace telltale::link {

namespace {

void turn_bit(Traffic& traffic, std::vector<std::uint8_t>& bytes, std::uint64_t chance) {
    const Bytes before = bytes_of(traffic);
    bytes.assign(before.begin(), before.end());
    auto* can = std::get_if<CanFrame>(&traffic);
    if (bytes.empty()) {
        if (can != nullptr)
            can->id.value ^= 1U << chance % (can->id.extended ? 29 : 11);
        return;
    }
    const auto bit = chance % (bytes.size() * 8);
    bytes[bit / 8] = static_cast<std::uint8_t>(bytes[bit / 8] ^ 1U << bit % 8);
    if (can != nullptr)
        can->data = bytes;
    else if (auto* kline = std::get_if<KlineBytes>(&traffic))
        kline->frame = bytes;
    else
        std::get<DoipMessage>(traffic).bytes = bytes;
}

/// One direction: pieces go in, and come out late, twice, changed or not at all.
class Way {
  public:
    static constexpr std::size_t room = 1024; ///< pieces on their way; more are lost

    Way(const Executor& executor, const FaultRates& rates, Time longest, std::uint64_t seed)
        : rates_(rates), longest_(longest), chance_(seed), timer_(executor) {}

    void put(const Received& piece) {
        // All are drawn for each piece, so that one rate does not move the others' faults.
        const bool drop = chance_.hits(rates_.drop);
        const bool twice = chance_.hits(rates_.twice);
        const bool late = chance_.hits(rates_.delay);
        const bool passed = chance_.hits(rates_.reorder);
        const bool corrupt = chance_.hits(rates_.corrupt);
        const auto wait =
            longest_ <= 0
                ? 0
                : static_cast<Time>(chance_.next() % static_cast<std::uint64_t>(longest_));
        const auto bit = chance_.next();
        if (drop)
            return;
        Received received = piece;
        if (corrupt)
            turn_bit(received.traffic, scratch_, bit);
        Time due = std::max(now(), clear_);
        if (late || passed)
            due = std::max(due, now() + wait);
        if (!passed)
            clear_ = due;
        for (int i = 0; i < (twice ? 2 : 1) && waiting_.size() < room; ++i) {
            const auto at =
                std::upper_bound(waiting_.begin(), waiting_.end(), due,
                                 [](Time time, const Piece& other) { return time < other.due; });
            waiting_.insert(at, Piece{due, Kept(received)});
        }
    }

    bool ready() const { return !waiting_.empty() && waiting_.front().due <= now(); }
    Kept take() {
        Kept kept = std::move(waiting_.front().kept);
        waiting_.pop_front();
        return kept;
    }
    /// Calls `f` when the first one is due.
    template <class F> void wait(F f) {
        if (waiting_.empty())
            return;
        timer_.expires_after(std::chrono::nanoseconds(waiting_.front().due - now()));
        timer_.async_wait(std::move(f));
    }
    void clear() {
        waiting_.clear();
        timer_.cancel();
    }

  private:
    struct Piece {
        Time due;
        Kept kept;
    };
    FaultRates rates_;
    Time longest_;
    Chance chance_;
    boost::asio::steady_timer timer_;
    std::deque<Piece> waiting_; ///< by the time when they are due
    Time clear_ = 0;            ///< none that keeps its place goes before this
    std::vector<std::uint8_t> scratch_;
};

class Faulty final : public Around {
  public:
    Faulty(std::unique_ptr<Link> inside, const Faults& faults)
        : Around(std::move(inside)), inbox_(inside_->get_executor()),
          in_(inside_->get_executor(), faults.received, faults.longest_delay, faults.seed),
          out_(inside_->get_executor(), faults.sent, faults.longest_delay, ~faults.seed) {
        inbox_.end(LinkError::not_open);
    }
    ~Faulty() override { close_quietly(*this); }

    LinkCounts counts() const override {
        auto counts = inside_->counts();
        counts.received = inbox_.received();
        counts.sent = sent_;
        counts.lost = inbox_.lost();
        return counts;
    }
    void cancel() override {
        inbox_.cancel();
        if (!open_)
            inside_->cancel(); // the opening
    }
    void close() override {
        stop();
        inside_->close();
        inbox_.cancel();
        inbox_.end(LinkError::not_open);
    }

    void start_open(OpenSettings settings, Timeout timeout, OpenDone done) override {
        stop();
        inbox_.cancel();
        inside_->async_open(std::move(settings), timeout,
                            [this, alive = std::weak_ptr<int>(alive_),
                             done = std::move(done)](error_code error, const LineUp& up) mutable {
                                if (!error && !alive.expired()) {
                                    open_ = true;
                                    inbox_.restart();
                                    pump();
                                }
                                done(error, up);
                            });
    }
    void start_send(const Traffic& traffic, Timeout, SendDone done) override {
        if (!open_)
            return done(LinkError::not_open);
        Received piece;
        piece.traffic = traffic;
        out_.put(piece);
        ++sent_;
        done({}, {now(), TimeFrom::program});
        push_out();
    }
    void start_receive(Timeout timeout, ReceiveDone done) override {
        inbox_.receive(timeout, std::move(done));
    }

  private:
    template <class F> auto guarded(F f) {
        return [alive = std::weak_ptr<int>(alive_), f = std::move(f)](auto&&... args) mutable {
            if (!alive.expired())
                f(std::forward<decltype(args)>(args)...);
        };
    }
    void stop() {
        alive_ = std::make_shared<int>(0);
        in_.clear();
        out_.clear();
        sending_ = open_ = false;
    }

    void pump() {
        inside_->async_receive(no_timeout, guarded([this](error_code error, const Received& piece) {
                                   if (error) {
                                       open_ = false;
                                       return inbox_.end(error);
                                   }
                                   in_.put(piece);
                                   pull_in();
                                   pump();
                               }));
    }
    void pull_in() {
        while (in_.ready())
            inbox_.push(in_.take().view());
        in_.wait(guarded([this](const error_code& error) {
            if (!error)
                pull_in();
        }));
    }
    void push_out() {
        if (sending_ || !open_)
            return;
        if (!out_.ready())
            return out_.wait(guarded([this](const error_code& error) {
                if (!error)
                    push_out();
            }));
        sending_ = true;
        inside_->async_send(out_.take().view().traffic, std::chrono::seconds(1),
                            guarded([this](error_code, const Sent&) {
                                sending_ = false;
                                push_out();
                            }));
    }

    Inbox inbox_;
    Way in_;
    Way out_;
    bool open_ = false;
    bool sending_ = false;
    std::uint64_t sent_ = 0;
    std::shared_ptr<int> alive_ = std::make_shared<int>(0);
};

} // namespace

std::unique_ptr<Link> faulty(std::unique_ptr<Link> inside, const Faults& faults) {
    return std::make_unique<Faulty>(std::move(inside), faults);
}

} // namespace telltale::link
