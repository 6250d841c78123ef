// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <algorithm>
#include <array>
#include <cstdint>
#include <deque>
#include <limits>
#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "telltale/isotp/endpoint.hpp"
#include "telltale/vet/built_in.hpp"
#include "telltale/vet/line_time.hpp"
#include "telltale/vet/vetting.hpp"

/// A CAN line with two ends and a clock of its own: arbitration, bit times with stuffing, and an
/// adapter at one end that is sound or has known faults.
namespace telltale::vet_test {

using namespace telltale::vet;

inline constexpr Time ms = nanoseconds_a_millisecond;
inline constexpr Time us = 1000;
inline constexpr Time never = std::numeric_limits<Time>::max();

class Random {
  public:
    explicit Random(std::uint64_t seed) : state_(seed * 0x9E37'79B9'7F4A'7C15 + 1) {}
    std::uint64_t next() {
        state_ ^= state_ << 13;
        state_ ^= state_ >> 7;
        state_ ^= state_ << 17;
        return state_;
    }
    bool hits(double rate) { return static_cast<double>(next() >> 11) * 0x1p-53 < rate; }
    Time between(Time low, Time high) {
        return low + static_cast<Time>(next() % static_cast<std::uint64_t>(high - low));
    }

  private:
    std::uint64_t state_;
};

/// What is wrong with an adapter. Nothing, as it stands.
struct Faults {
    double drop = 0;                 ///< frames lost, of all
    double swap = 0;                 ///< in a burst: frames that change places with the next one
    double twice = 0;                ///< in a burst: frames doubled
    double drop_fd = 0;              ///< CAN FD frames lost
    bool clear_extended = false;     ///< 29-bit identifiers become 11-bit ones
    bool cut_eighth = false;         ///< of eight bytes only seven go on
    std::optional<std::uint8_t> pad; ///< fills ISO-TP frames with this in place of what was sent
    bool ignore_st_min = false;      ///< its own ISO-TP sends as fast as it can
    Time late_flow_control = 0;      ///< by how much its flow control is late
    bool ignore_block_size = false;
    double step_back = 0;      ///< time stamps that lie before the one before
    Time resolution = 10 * us; ///< of its clock
    double ppm = 40;           ///< by which its clock is fast
    bool no_remote = false;    ///< remote frames do not get through
    bool loose_filter = false; ///< lets everything through, whatever the filter
    bool quiet_about_errors = false;
    bool dead_after_bus_off = false;
    bool dead_after_replug = false;
    Time gather = 0; ///< says that frames are sent and gathers them for so long
};

struct BenchOptions {
    Faults faults;
    std::uint64_t seed = 1;
    Time duration = 60 * nanoseconds_a_second;
    bool own_isotp = false;
    bool fd = false;
    std::uint32_t bit_rate = 500'000;
    bool injects = true;
    bool unplugs = true;
    bool filters = true;
    bool connected = true;
    bool noisy = false; ///< another node speaks
};

class Bench final : public VettingOutlet {
  public:
    explicit Bench(const BenchOptions& options)
        : options_(options), random_(options.seed), receives_((options.seed & 1) != 0) {
        VettingOptions wanted;
        for (auto& end : wanted.ends) {
            end.fd = options.fd;
            end.error_frames = true;
            end.confirms_on_wire = true;
            end.filters = options.filters;
        }
        wanted.ends[0].confirms_on_wire =
            options.own_isotp || (options.seed % 3 != 0 && options.faults.gather == 0);
        wanted.ends[0].times = link::TimeFrom::device;
        wanted.ends[1].times = link::TimeFrom::system;
        wanted.known = built_in_frames(options.seed);
        wanted.duration = options.duration;
        wanted.seed = options.seed;
        wanted.bit_rate = options.bit_rate;
        wanted.own_isotp = options.own_isotp;
        wanted.injects = options.injects;
        wanted.unplugs = options.unplugs;
        confirms_on_wire_ = wanted.ends[0].confirms_on_wire;
        if (options.own_isotp) {
            isotp::Options own;
            own.padding = options.faults.pad.value_or(0xCC);
            own.flow_control_delay = options.faults.late_flow_control;
            own.block_size = 8;
            own.st_min = 1;
            own.timing = isotp::Timing::general();
            endpoint_.emplace(wanted.address, own);
        }
        vetting_.emplace(wanted, now_);
    }

    const Report& run() {
        while (!vetting_->done()) {
            const Time next = std::min(next_event(), std::max(vetting_->next_wakeup(), now_));
            if (next == never || next > begin + options_.duration * 2 + 120 * nanoseconds_a_second)
                break; // it hangs: the test sees that the report is not whole
            now_ = std::max(now_, next);
            step();
            for (int i = 0; i < 1000 && vetting_->next_wakeup() <= now_; ++i)
                vetting_->poll(now_, *this);
        }
        return vetting_->report();
    }
    bool done() const { return vetting_->done(); }
    Time taken() const { return now_ - begin; }
    std::uint64_t carried() const { return carried_; }

    // VettingOutlet

    void send(End end, const CanFrame& frame, SendTicket ticket) override {
        Item item{now_, keep(frame), ticket};
        if (end == End::reference) {
            item.time = now_ + random_.between(20 * us, 60 * us);
            push(to_bus_[1], item);
            return;
        }
        item.time = now_ + random_.between(100 * us, 400 * us);
        spoil_sent(item);
    }
    void send_message(Bytes bytes) override {
        sending_own_ = true;
        (void)endpoint_->transmit(bytes, now_);
    }
    void open(const std::vector<Filter>& filters) override {
        filters_ = filters;
        opened_at_ = now_ + 50 * ms;
    }
    void disturb(Disturbance what) override {
        if (what == Disturbance::error) {
            destroy_ = true;
        } else {
            off_until_ = options_.faults.dead_after_bus_off ? never - 1 : now_ + 400 * ms;
            if (!options_.faults.quiet_about_errors)
                push(to_tested_, error_item(0x40));
        }
    }
    void progress(std::string_view what, double) override { phase_ = what; }
    const std::string& phase() const { return phase_; }
    void unplug() override {
        gone_at_ = now_ + 500 * ms;
        opened_at_ = now_ + 2000 * ms;
    }

  private:
    struct Item {
        Time time = 0;
        KnownFrame frame;
        SendTicket ticket = 0; ///< 0: nobody is told
        bool fine = true;
        isotp::Ticket own = 0;
    };
    struct Bus {
        Item item;
        std::size_t end = 0;
        Time until = never;
    };

    static KnownFrame keep(const CanFrame& frame) {
        KnownFrame kept;
        kept.id = frame.id;
        kept.kind = frame.kind;
        kept.fd = frame.fd;
        kept.bit_rate_switch = frame.bit_rate_switch;
        kept.remote_length = frame.remote_length;
        kept.size = static_cast<std::uint8_t>(frame.data.size());
        std::copy(frame.data.begin(), frame.data.end(), kept.data.begin());
        return kept;
    }
    Item error_item(std::uint32_t kind) {
        Item item;
        item.time = now_ + 200 * us;
        item.frame.id = {kind, true};
        item.frame.kind = CanKind::error;
        item.frame.size = 8;
        return item;
    }
    /// First in, first out, whatever the delays.
    static void push(std::deque<Item>& queue, Item item) {
        if (!queue.empty())
            item.time = std::max(item.time, queue.back().time);
        queue.push_back(item);
    }

    void change(KnownFrame& frame) const {
        const auto& faults = options_.faults;
        if (faults.clear_extended && frame.id.extended)
            frame.id = {frame.id.value & CanId::max_standard, false};
        if (faults.cut_eighth && frame.kind == CanKind::data && frame.size == 8)
            frame.size = 7;
        if (faults.pad && !options_.own_isotp && frame.kind == CanKind::data && frame.size == 8) {
            const unsigned type = frame.data[0] >> 4;
            const unsigned length = frame.data[0] & 0xFU;
            if ((type == 0 && length >= 1 && length <= 7) || type == 3)
                for (std::size_t i = type == 3 ? 3 : 1 + length; i < 8; ++i)
                    frame.data[i] = *faults.pad;
        }
    }
    bool in_burst(Time& last) {
        const bool close = now_ - last < ms;
        last = now_;
        return close;
    }

    /// From the computer through the adapter to the line. Half of the adapters have their faults
    /// here, the other half where they receive.
    void spoil_sent(Item item) {
        if (!receives_)
            change(item.frame);
        const auto& faults = options_.faults;
        if (off_until_ > now_) {
            item.fine = false;
            push(refused_, item);
            return;
        }
        if ((!receives_ && random_.hits(faults.drop)) ||
            (!receives_ && item.frame.fd && random_.hits(faults.drop_fd)) ||
            (faults.no_remote && item.frame.kind == CanKind::remote)) {
            push(told_, item); // the sender is told that it was sent
            return;
        }
        if (!confirms_on_wire_)
            push(told_, item);
        const bool burst = in_burst(last_sent_);
        const bool late = faults.late_flow_control != 0 && item.frame.kind == CanKind::data &&
                          item.frame.data[0] >> 4 == 3 && item.frame.data[0] != 0x3F;
        if (late && (item.frame.id.value == 0x7E0 || item.frame.id.value == 0x18DA'10F1))
            item.time += faults.late_flow_control;
        if (faults.gather != 0)
            item.time = (item.time / faults.gather + 1) * faults.gather;
        if (!receives_ && burst && random_.hits(faults.swap) && !to_bus_[0].empty()) {
            std::swap(to_bus_[0].back().frame, item.frame);
            std::swap(to_bus_[0].back().ticket, item.ticket);
        }
        push(to_bus_[0], item);
        if (!receives_ && burst && random_.hits(faults.twice)) {
            item.ticket = 0;
            push(to_bus_[0], item);
        }
    }
    /// From the line through the adapter to the computer.
    void spoil_received(const KnownFrame& frame) {
        Item item;
        item.frame = frame;
        item.time = now_ + random_.between(100 * us, 900 * us);
        const auto& faults = options_.faults;
        if (off_until_ > now_ || gone_ || (receives_ && random_.hits(faults.drop)) ||
            (receives_ && frame.fd && random_.hits(faults.drop_fd)))
            return;
        if (faults.no_remote && frame.kind == CanKind::remote)
            return;
        if (!filters_.empty() && !faults.loose_filter) {
            bool passes = false;
            for (const auto& filter : filters_)
                passes |= filter.id.extended == frame.id.extended &&
                          ((filter.id.value ^ frame.id.value) & filter.mask) == 0;
            if (!passes)
                return;
        }
        if (receives_)
            change(item.frame);
        stamps_.push_back(stamp());
        const bool burst = in_burst(last_received_);
        if (receives_ && burst && random_.hits(faults.swap) && !to_tested_.empty())
            std::swap(to_tested_.back().frame, item.frame);
        push(to_tested_, item);
        if (receives_ && burst && random_.hits(faults.twice)) {
            push(to_tested_, item);
            stamps_.push_back(stamps_.back());
        }
    }
    Time stamp() {
        const auto& faults = options_.faults;
        Time time = now_ + static_cast<Time>(static_cast<double>(now_) * faults.ppm / 1e6) +
                    7 * ms + random_.between(0, 20 * us);
        time -= time % faults.resolution;
        if (random_.hits(faults.step_back))
            return time - random_.between(2 * ms, 50 * ms);
        last_stamp_ = std::max(last_stamp_, time);
        return last_stamp_;
    }

    Time next_event() const {
        Time next = std::min({bus_.until, opened_at_, gone_at_});
        for (const auto* queue : {&to_tested_, &to_reference_, &told_, &refused_})
            if (!queue->empty())
                next = std::min(next, queue->front().time);
        if (bus_.until == never)
            for (const auto& queue : to_bus_)
                if (!queue.empty())
                    next = std::min(next, queue.front().time);
        if (endpoint_)
            next = std::min(next, endpoint_->next_wakeup());
        if (options_.noisy)
            next = std::min(next, noise_at_);
        return std::max(next, now_);
    }

    void step() {
        if (opened_at_ <= now_) {
            opened_at_ = never;
            gone_ = false;
            vetting_->opened(true, now_);
        }
        if (gone_at_ <= now_) {
            gone_at_ = never;
            gone_ = true;
            vetting_->gone(End::tested, now_);
            if (options_.faults.dead_after_replug)
                opened_at_ = never;
        }
        if (options_.noisy && noise_at_ <= now_) {
            noise_at_ += 20 * ms;
            KnownFrame noise;
            noise.id = {0x123, false};
            noise.size = 8;
            vetting_->received(End::reference, noise.view(), now_, now_);
        }
        if (bus_.until <= now_)
            bus_done();
        if (bus_.until == never)
            bus_begin();
        deliver();
        if (endpoint_) {
            OwnOutlet outlet(*this);
            while (endpoint_->next_wakeup() <= now_)
                endpoint_->poll(now_, outlet);
        }
    }

    /// The lowest identifier of those that are ready goes first.
    void bus_begin() {
        std::size_t winner = 2;
        for (std::size_t end = 0; end < 2; ++end) {
            const auto& queue = to_bus_[end];
            if (queue.empty() || queue.front().time > now_)
                continue;
            if (winner == 2 || rank(queue.front().frame) < rank(to_bus_[winner].front().frame))
                winner = end;
        }
        if (winner == 2)
            return;
        bus_.item = to_bus_[winner].front();
        to_bus_[winner].pop_front();
        bus_.end = winner;
        const Time taken =
            options_.bit_rate != 0 ? line_time(bus_.item.frame.view(), options_.bit_rate) : 20 * us;
        bus_.until = now_ + taken;
    }
    static std::uint64_t rank(const KnownFrame& frame) {
        return frame.id.extended ? std::uint64_t{frame.id.value >> 18} << 20 | 1U << 19 |
                                       (frame.id.value & 0x3FFFFU)
                                 : std::uint64_t{frame.id.value} << 20;
    }
    void bus_done() {
        bus_.until = never;
        if (std::exchange(destroy_, false)) {
            if (!options_.faults.quiet_about_errors)
                push(to_tested_, error_item(0x08));
            bus_.until = now_ + line_time(bus_.item.frame.view(), 500'000); // once more
            return;
        }
        ++carried_;
        Item item = bus_.item;
        if (bus_.end == 0) {
            // The computer is told as late as it pleases the adapter.
            if (item.ticket != 0 && confirms_on_wire_) {
                confirmed_at_ = std::max(confirmed_at_, now_ + random_.between(50 * us, 400 * us));
                item.time = confirmed_at_;
                push(told_, item);
            }
            item.time = now_ + random_.between(10 * us, 60 * us);
            if (options_.connected)
                push(to_reference_, item);
        } else {
            vetting_->sent(item.ticket, true, now_, now_);
            if (endpoint_) {
                feed_own(item.frame);
            } else if (options_.connected) {
                spoil_received(item.frame);
            }
        }
    }
    void deliver() {
        while (!to_tested_.empty() && to_tested_.front().time <= now_) {
            const Item item = to_tested_.front();
            to_tested_.pop_front();
            Time own = no_time;
            if (item.frame.kind != CanKind::error && !stamps_.empty()) {
                own = stamps_.front();
                stamps_.pop_front();
            }
            vetting_->received(End::tested, item.frame.view(), now_, now_, own);
        }
        while (!to_reference_.empty() && to_reference_.front().time <= now_) {
            const Item item = to_reference_.front();
            to_reference_.pop_front();
            vetting_->received(End::reference, item.frame.view(), item.time, now_);
        }
        while (!told_.empty() && told_.front().time <= now_) {
            const Item item = told_.front();
            told_.pop_front();
            vetting_->sent(item.ticket, true, now_, now_);
        }
        while (!refused_.empty() && refused_.front().time <= now_) {
            const Item item = refused_.front();
            refused_.pop_front();
            vetting_->sent(item.ticket, false, now_, now_);
        }
    }

    // An adapter that does ISO-TP itself.

    struct OwnOutlet final : isotp::Outlet {
        explicit OwnOutlet(Bench& wanted) : bench(wanted) {}
        void frame(const CanFrame& frame, isotp::Ticket) override {
            Item item{bench.now_ + bench.random_.between(30 * us, 60 * us), keep(frame), 0};
            push(bench.to_bus_[0], item);
        }
        void message(const isotp::Message& message) override {
            bench.vetting_->message(message.bytes, bench.now_);
        }
        void transmitted(isotp::Outcome outcome, Time) override {
            bench.vetting_->message_sent(outcome == isotp::Outcome::ok, bench.now_);
        }
        Bench& bench;
    };
    void feed_own(KnownFrame frame) {
        const auto& faults = options_.faults;
        if (frame.size >= 3 && frame.data[0] == 0x30) {
            if (faults.ignore_st_min)
                frame.data[2] = 0;
            if (faults.ignore_block_size)
                frame.data[1] = 0;
        }
        OwnOutlet outlet(*this);
        endpoint_->feed(frame.view(), now_, outlet);
    }

    std::string phase_;
    BenchOptions options_;
    Random random_;
    bool receives_; ///< the adapter's faults are where it receives
    bool confirms_on_wire_ = true;
    std::optional<Vetting> vetting_;
    std::optional<isotp::Endpoint> endpoint_;
    bool sending_own_ = false;
    static constexpr Time begin = 1000 * nanoseconds_a_second;
    Time now_ = begin;
    std::array<std::deque<Item>, 2> to_bus_;
    std::deque<Item> to_tested_;
    std::deque<Item> to_reference_;
    std::deque<Item> told_;
    std::deque<Item> refused_;
    std::deque<Time> stamps_;
    Bus bus_;
    Time confirmed_at_ = 0;
    Time last_sent_ = 0;
    Time last_received_ = 0;
    Time last_stamp_ = 0;
    Time opened_at_ = never;
    Time gone_at_ = never;
    Time off_until_ = 0;
    Time noise_at_ = begin + 50 * ms;
    bool gone_ = false;
    bool destroy_ = false;
    std::vector<Filter> filters_;
    std::uint64_t carried_ = 0;
};

} // namespace telltale::vet_test
