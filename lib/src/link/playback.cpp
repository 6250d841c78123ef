// SPDX-License-Identifier: Apache-2.0
#include <limits>
#include <optional>

#include "base.hpp"
#include "kinds.hpp"
#include "telltale/dump/reader.hpp"

namespace telltale::link {

namespace {

/// Reads only as far as somebody takes: nothing is lost, and a dump of any size needs little room.
class Playback final : public Link {
  public:
    Playback(const Executor& executor, const LinkName& name)
        : executor_(executor), wanted_(name), name_(to_string(name)), receiving_(executor),
          timer_(executor), alive_(std::make_shared<int>(0)) {}
    ~Playback() override { close_quietly(*this); }

    std::string name() const override { return name_; }
    Capabilities capabilities() const override {
        Capabilities can;
        can.line = line_;
        can.fd = line_ == LineKind::can;
        can.sends = false;
        can.error_frames = true;
        can.times = TimeFrom::recorded;
        return can;
    }
    LinkCounts counts() const override { return {received_, 0, 0, bad_}; }
    Executor get_executor() const override { return executor_; }
    std::string trouble() const override { return trouble_; }
    void cancel() override {
        timer_.cancel();
        receiving_.fail_if_active(LinkError::cancelled);
    }
    void close() override {
        cancel();
        reader_.reset();
        held_ = over_ = false;
    }

    void start_open(OpenSettings, Timeout, OpenDone done) override {
        close();
        auto reader = dump::Reader::open(wanted_.place);
        if (!reader) {
            trouble_ = reader.error().detail;
            return done(LinkError::cannot_open);
        }
        reader_.emplace(std::move(*reader));
        first_ = no_time;
        last_ = no_time;
        advance(); // what kind of line it is shows with the first record
        LineUp up;
        up.time = began_ = now();
        up.fd = line_ == LineKind::can;
        done({}, up);
    }
    void start_send(const Traffic&, Timeout, SendDone done) override {
        trouble_ = "nothing can be sent into a dump that is played back";
        done(LinkError::not_supported);
    }
    void start_receive(Timeout timeout, ReceiveDone done) override {
        if (receiving_.active())
            return done(LinkError::busy);
        if (!reader_)
            return done(LinkError::not_open);
        if (!held_ && !over_)
            advance();
        if (!held_) {
            trouble_ = "the dump is over";
            return done(LinkError::end_of_dump);
        }
        const Time wait = wanted_.speed == 0 ? 0 : due() - now();
        receiving_.begin(timeout, std::move(done), [this] {
            timer_.cancel();
            receiving_.finish(LinkError::timed_out);
        });
        if (wait <= 0)
            return give();
        timer_.expires_after(std::chrono::nanoseconds(wait));
        timer_.async_wait([this, alive = std::weak_ptr<int>(alive_)](const error_code& error) {
            if (!error && !alive.expired() && receiving_.active())
                give();
        });
    }

  private:
    /// When it is this record's turn.
    Time due() const {
        const auto passed = static_cast<double>(last_ - first_) / wanted_.speed;
        return passed > 1e18 ? std::numeric_limits<Time>::max()
                             : began_ + static_cast<Time>(passed);
    }

    void give() {
        held_ = false;
        ++received_;
        receiving_.finish({}, next_);
    }

    /// Holds the next record, or is over.
    void advance() {
        for (;;) {
            switch (reader_->next(record_, problem_)) {
            case dump::Step::end:
                over_ = true;
                return;
            case dump::Step::problem:
                ++bad_;
                continue;
            case dump::Step::record:
                break;
            }
            next_ = {};
            if (record_.kind == dump::RecordKind::can)
                next_.traffic = record_.can;
            else if (record_.kind == dump::RecordKind::kline)
                next_.traffic = KlineBytes{record_.bytes};
            else
                continue;
            if (received_ == 0)
                line_ = record_.kind == dump::RecordKind::can ? LineKind::can : LineKind::kline;
            Time time = record_.time;
            if (time == no_time)
                time = last_ == no_time ? 0 : last_;
            if (first_ == no_time)
                first_ = time;
            last_ = time > last_ ? time : last_;
            next_.time = last_;
            next_.from = TimeFrom::recorded;
            held_ = true;
            return;
        }
    }

    Executor executor_;
    LinkName wanted_;
    std::string name_;
    Pending<Received> receiving_;
    boost::asio::steady_timer timer_;
    std::shared_ptr<int> alive_;
    std::optional<dump::Reader> reader_;
    dump::Record record_;
    Problem problem_;
    Received next_; ///< views of `record_`, good until the reader is asked again
    bool held_ = false;
    bool over_ = false;
    LineKind line_ = LineKind::can;
    Time first_ = no_time;
    Time last_ = no_time;
    Time began_ = 0;
    std::uint64_t received_ = 0;
    std::uint64_t bad_ = 0;
    std::string trouble_;
};

} // namespace

std::unique_ptr<Link> make_playback(const Executor& executor, const LinkName& name) {
    return std::make_unique<Playback>(executor, name);
}

} // namespace telltale::link
