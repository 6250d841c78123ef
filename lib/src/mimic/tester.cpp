// SPDX-License-Identifier: Apache-2.0
#include "telltale/mimic/tester.hpp"

#include <algorithm>

namespace telltale::mimic {

namespace {

/// What a frame of 8 bytes takes at 500 kbit/s, stuff bits included: two never come closer.
constexpr Time frame_time = 250'000;
constexpr Time p2 = 50 * nanoseconds_a_millisecond;           // ISO 15765-4
constexpr Time p2_star = 5 * nanoseconds_a_second;            // after response-pending
constexpr unsigned most_repeats = 5;                          // of a request to a busy ECU
constexpr Time repeat_after = 60 * nanoseconds_a_millisecond; // such a request

isotp::Options options_of(bool functional) {
    isotp::Options o;
    o.functional = functional;
    o.padding = 0x00;
    o.least_gap = frame_time;
    // A tester takes a while for its flow control.
    o.flow_control_delay = 900'000;
    return o;
}

} // namespace

/// Takes what the tester's ends give: frames to the bus, messages to the list.
class Tester::Out final : public isotp::Outlet {
  public:
    explicit Out(Tester& tester, std::uint8_t ecu, Hear hear)
        : tester_(tester), ecu_(ecu), hear_(hear) {}
    void frame(const CanFrame& frame, isotp::Ticket) override {
        tester_.deliver(frame, true, hear_);
    }
    void message(const isotp::Message& message) override {
        tester_.heard_.push_back({ecu_, {message.bytes.begin(), message.bytes.end()}});
    }

  private:
    Tester& tester_;
    std::uint8_t ecu_;
    Hear hear_;
};

Tester::Tester(Vehicle& vehicle, Time start)
    : vehicle_(vehicle),
      to_all_(isotp::normal_address(vehicle.response_id(0).extended ? CanId{0x18DB33F1, true}
                                                                    : CanId{0x7DF, false},
                                    vehicle.response_id(0)),
              options_of(true)),
      now_(start), last_frame_(start - frame_time) {
    for (std::size_t i = 0; i < vehicle.ecus(); ++i)
        ends_.emplace_back(isotp::tester_address(vehicle.response_id(i)), options_of(false));
    wait_until(start);
}

void Tester::wait_until(Time time) {
    now_ = std::max(now_, time);
    vehicle_.poll(now_, [](const CanFrame&) {});
}

/// A frame on the bus: the logger sees it, and the other side. What the bus is still busy for, it
/// waits for.
void Tester::deliver(const CanFrame& frame, bool from_tester, Hear hear) {
    now_ = std::max(now_, last_frame_ + frame_time);
    now_ += (1000 - now_ % 1000) % 1000; // whole microseconds, as loggers have them
    last_frame_ = now_;
    hear(frame, now_);
    if (from_tester) {
        vehicle_.feed(frame, now_);
        return;
    }
    for (std::size_t i = 0; i < ends_.size(); ++i) {
        Out out(*this, static_cast<std::uint8_t>(i), hear);
        ends_[i].feed(frame, now_, out);
    }
}

/// Lets both sides go on until `until`, or until nothing more is to come.
void Tester::run(Time until, Hear hear) {
    while (true) {
        Time next = std::min(vehicle_.next_wakeup(), to_all_.next_wakeup());
        for (const auto& end : ends_)
            next = std::min(next, end.next_wakeup());
        if (next > until)
            return;
        now_ = std::max(now_, next);
        const std::size_t answers = heard_.size();
        // One frame after the other, each heard by the other side before the next is given.
        struct Kept {
            CanFrame frame;
            std::array<std::uint8_t, 64> data;
        };
        std::vector<Kept> given;
        vehicle_.poll(now_, [&](const CanFrame& frame) {
            Kept kept{frame, {}};
            std::copy(frame.data.begin(), frame.data.end(), kept.data.begin());
            given.push_back(kept);
        });
        for (auto& kept : given) {
            kept.frame.data = Bytes(kept.data).first(kept.frame.data.size());
            deliver(kept.frame, false, hear);
        }
        Out all(*this, 0, hear);
        if (to_all_.next_wakeup() <= now_)
            to_all_.poll(now_, all);
        for (std::size_t i = 0; i < ends_.size(); ++i) {
            Out out(*this, static_cast<std::uint8_t>(i), hear);
            if (ends_[i].next_wakeup() <= now_)
                ends_[i].poll(now_, out);
        }
        if (heard_.size() != answers)
            return;
    }
}

/// One request and what comes of it, put into `result`; tells which ECUs were busy.
std::vector<unsigned> Tester::exchange(Bytes request, std::optional<unsigned> ecu, Hear hear) {
    heard_.clear();
    std::vector<unsigned> busy;
    const Result<void> begun =
        ecu ? ends_[*ecu].transmit(request, now_) : to_all_.start(request, now_);
    if (!begun)
        return busy;
    const auto at_work = [&] {
        return to_all_.busy() ||
               std::any_of(ends_.begin(), ends_.end(), [](const isotp::Endpoint& end) {
                   return end.receiving() || end.sending();
               });
    };
    std::size_t missing = ecu ? 1 : ends_.size();
    Time patience = now_ + p2;
    for (std::size_t read = 0; missing > 0;) {
        run(patience, hear);
        if (read == heard_.size()) {
            if (!at_work()) {
                now_ = std::max(now_, patience);
                break;
            }
            patience += p2; // a long request or answer is on its way
        }
        for (; read < heard_.size(); ++read) {
            Heard& h = heard_[read];
            const bool refused = h.message.size() == 3 && h.message[0] == 0x7F;
            if (refused && h.message[2] == 0x78) {
                patience = now_ + p2_star;
                continue;
            }
            --missing;
            if (refused && h.message[2] == 0x21)
                busy.push_back(h.ecu);
            else
                result_.push_back(std::move(h));
            if (missing == 0)
                break;
        }
    }
    return busy;
}

const std::vector<Tester::Heard>& Tester::ask(Bytes request, std::optional<unsigned> ecu,
                                              Hear hear) {
    result_.clear();
    if (request.empty() || (ecu && *ecu >= ends_.size()))
        return result_;
    std::vector<unsigned> busy = exchange(request, ecu, hear);
    for (unsigned repeats = 0; !busy.empty() && repeats < most_repeats; ++repeats) {
        std::vector<unsigned> still;
        for (const auto which : busy) {
            wait_until(now_ + repeat_after);
            const auto again = exchange(request, which, hear);
            still.insert(still.end(), again.begin(), again.end());
        }
        busy = std::move(still);
    }
    return result_;
}

} // namespace telltale::mimic
