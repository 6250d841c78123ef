// SPDX-License-Identifier: Apache-2.0
#include "telltale/link/pair.hpp"

#include <array>
#include <atomic>
#include <mutex>
#include <vector>

#include <boost/asio/post.hpp>

#include "check.hpp"
#include "inbox.hpp"

namespace telltale::link {

namespace {

class End;

/// What the two ends share: what is on its way, each way. An end empties its own on its executor.
struct Wire {
    struct Way {
        std::vector<Kept> ring;
        std::size_t first = 0;
        std::size_t size = 0;
        std::uint64_t lost = 0; ///< since the last one that found room
        std::uint64_t all_lost = 0;
        bool open = false;
        bool called = false; ///< the receiving end was told that there is something
        End* end = nullptr;
    };
    std::mutex mutex;
    std::array<Way, 2> ways; ///< to end 0, to end 1
};

class End final : public Link {
  public:
    End(const Executor& executor, std::shared_ptr<Wire> wire, unsigned side,
        const PairOptions& options)
        : executor_(executor), wire_(std::move(wire)), side_(side), options_(options),
          inbox_(executor, 1), alive_(std::make_shared<End*>(this)) {
        own().ring.resize(options.room == 0 ? 1 : options.room);
        own().end = this;
        inbox_.end(LinkError::not_open);
    }
    ~End() override {
        {
            const std::lock_guard lock(wire_->mutex);
            own().end = nullptr;
            own().open = false;
        }
        inbox_.cancel();
    }

    std::string name() const override { return side_ == 0 ? "pair:first" : "pair:second"; }
    Capabilities capabilities() const override {
        Capabilities can;
        can.line = options_.line;
        can.fd = options_.line == LineKind::can && options_.fd;
        can.confirms_on_wire = true;
        return can;
    }
    LinkCounts counts() const override {
        const std::lock_guard lock(wire_->mutex);
        return {inbox_.received(), sent_, wire_->ways[side_].all_lost, 0};
    }
    Executor get_executor() const override { return executor_; }
    std::string trouble() const override { return trouble_; }

    void cancel() override { inbox_.cancel(); }
    void close() override {
        set_open(false);
        inbox_.cancel();
        inbox_.end(LinkError::not_open);
    }

    void start_open(OpenSettings, Timeout, OpenDone done) override {
        cancel();
        set_open(true);
        inbox_.restart();
        LineUp up;
        up.time = now();
        up.fd = capabilities().fd;
        done({}, up);
    }

    void start_send(const Traffic& traffic, Timeout, SendDone done) override {
        if (!carries(traffic, options_.line, options_.fd, trouble_))
            return done(LinkError::bad_traffic);
        Received piece;
        piece.traffic = traffic;
        {
            const std::lock_guard lock(wire_->mutex);
            if (!own().open) {
                trouble_ = "open the link before sending";
                return done(LinkError::not_open);
            }
            piece.time = now(); // while no other piece can come between
            auto& way = wire_->ways[1 - side_];
            if (!way.open) {
                // nobody listens
            } else if (way.size == way.ring.size()) {
                ++way.lost;
                ++way.all_lost;
            } else {
                piece.lost = std::exchange(way.lost, 0);
                way.ring[(way.first + way.size++) % way.ring.size()] = piece;
                if (!way.called)
                    way.end->call();
            }
        }
        ++sent_;
        done({}, {piece.time, TimeFrom::program});
    }

    void start_receive(Timeout timeout, ReceiveDone done) override {
        inbox_.receive(timeout, std::move(done));
        pull();
    }

  private:
    Wire::Way& own() { return wire_->ways[side_]; }

    void set_open(bool open) {
        const std::lock_guard lock(wire_->mutex);
        own().open = open;
        own().size = 0;
        own().lost = 0;
    }

    /// Under the mutex, from the other end's thread.
    void call() {
        own().called = true;
        boost::asio::post(executor_, [alive = std::weak_ptr<End*>(alive_)] {
            if (const auto end = alive.lock())
                (*end)->pull();
        });
    }

    /// What is on its way stays there until somebody receives: one queue, and one bound.
    void pull() {
        const std::lock_guard lock(wire_->mutex);
        auto& way = own();
        way.called = false;
        if (way.size == 0 || !inbox_.waiting())
            return;
        auto& piece = way.ring[way.first];
        way.first = (way.first + 1) % way.ring.size();
        --way.size;
        inbox_.push(piece.view());
    }

    Executor executor_;
    std::shared_ptr<Wire> wire_;
    unsigned side_;
    PairOptions options_;
    Inbox inbox_;
    std::uint64_t sent_ = 0;
    std::string trouble_;
    std::shared_ptr<End*> alive_;
};

} // namespace

std::pair<std::unique_ptr<Link>, std::unique_ptr<Link>>
in_process_pair(const Executor& first, const Executor& second, const PairOptions& options) {
    auto wire = std::make_shared<Wire>();
    auto a = std::make_unique<End>(first, wire, 0, options);
    return {std::move(a), std::make_unique<End>(second, wire, 1, options)};
}

} // namespace telltale::link
