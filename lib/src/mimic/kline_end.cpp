// SPDX-License-Identifier: Apache-2.0
#include "telltale/mimic/kline_end.hpp"

#include <algorithm>

#include "telltale/isotp/options.hpp"

namespace telltale::mimic {

namespace {

constexpr Time millisecond = nanoseconds_a_millisecond;
/// Bytes of one request are closer together (P4 at most 20 ms; testers use far less). What is
/// shorter than its own length says is waited for as long.
constexpr Time frame_over = 21 * millisecond;
constexpr Time p3_max = 5 * nanoseconds_a_second; // ISO 9141-2, ISO 14230-2
// Five baud, address 33: when the line goes low, after the start bit did.
constexpr std::array<Time, 3> lows = {0, 600 * millisecond, 1400 * millisecond};
constexpr Time low_slack = 60 * millisecond;
constexpr Time address_over = 2000 * millisecond; // ten bits of 200 ms
// ISO 9141-2, ISO 14230-4: W1 60 to 300 ms, W2 5 to 20, W3 0 to 20, W4 25 to 50.
constexpr Time w1 = 120 * millisecond;
constexpr Time w2 = 10 * millisecond;
constexpr Time w3 = 8 * millisecond;
constexpr Time w4 = 32 * millisecond;
constexpr std::uint8_t address = 0x33;

} // namespace

void KlineEnd::feed(Bytes bytes, Time now) {
    for (const auto byte : bytes) {
        const bool fresh = size_ == 0 || last_byte_ == no_time || now - last_byte_ > frame_over;
        if (fresh)
            size_ = 0;
        last_byte_ = now;
        if (wake_ == Wake::synchronized && fresh) {
            // The second key byte comes back inverted; then the inverted address says: ready.
            const auto key = Vehicle::key_bytes(iso_14230_)[1];
            wake_ = Wake::none;
            if (byte == static_cast<std::uint8_t>(~key)) {
                due_.push_back({now + w4, {static_cast<std::uint8_t>(~address)}});
                awake_ = true;
                asked_ = now + w4;
            }
            continue;
        }
        if (fresh && byte == 0) { // no frame begins so
            low(now);
            continue;
        }
        if (size_ < bytes_.size())
            bytes_[size_++] = byte;
        const std::size_t wanted = kline_length(Bytes(bytes_).first(size_));
        if (wanted != 0 && size_ == wanted) {
            frame(Bytes(bytes_).first(size_), now);
            size_ = 0;
        }
    }
}

/// The line went low for longer than a byte.
void KlineEnd::low(Time now) {
    if (lows_ > 0 && lows_ < lows.size()) {
        const Time off = now - first_low_ - lows[lows_];
        if (off >= -low_slack && off <= low_slack) {
            if (++lows_ == lows.size())
                wake_ = Wake::address;
            return;
        }
    }
    wake_ = Wake::none;
    first_low_ = now;
    lows_ = 1;
}

void KlineEnd::frame(Bytes bytes, Time end) {
    KlineFrame parsed;
    if (!parse_kline(bytes, parsed).fine())
        return;
    const bool starts = !parsed.data.empty() && parsed.data[0] == 0x81 &&
                        parsed.form != KlineForm::iso_9141; // after the fast wake-up
    if (starts && sleeps_)
        awake_ = lows_ > 0 || awake_;
    lows_ = 0;
    if (!awake_)
        return;
    asked_ = end;
    due_.clear(); // a new request: what was still to be said is not
    vehicle_.ask_kline(bytes, end, [&](const Answer& answer) {
        if (due_.size() < most_due)
            due_.push_back({end + answer.after, {answer.message.begin(), answer.message.end()}});
    });
    if (!due_.empty())
        asked_ = due_.back().at;
    if (!parsed.data.empty() && parsed.data[0] == 0x82 && sleeps_) // StopCommunication
        awake_ = false;
}

void KlineEnd::poll(Time now, FunctionRef<void(Bytes)> put) {
    if (size_ > 0 && last_byte_ != no_time && now - last_byte_ >= frame_over) {
        const std::size_t size = size_;
        size_ = 0;
        frame(Bytes(bytes_).first(size), last_byte_);
    }
    if (wake_ == Wake::address && now - first_low_ >= address_over + w1) {
        const auto keys = Vehicle::key_bytes(iso_14230_);
        lows_ = 0;
        wake_ = Wake::synchronized;
        due_.clear();
        due_.push_back({now, {0x55}});
        due_.push_back({now + w2, {keys[0]}});
        due_.push_back({now + w2 + w3, {keys[1]}});
    }
    while (!due_.empty() && due_.front().at <= now) {
        put(due_.front().bytes);
        due_.pop_front();
    }
    if (awake_ && sleeps_ && due_.empty() && asked_ != no_time && now - asked_ > p3_max)
        awake_ = false;
}

Time KlineEnd::next_wakeup() const noexcept {
    Time next = isotp::never;
    if (size_ > 0)
        next = std::min(next, last_byte_ + frame_over);
    if (wake_ == Wake::address)
        next = std::min(next, first_low_ + address_over + w1);
    if (!due_.empty())
        next = std::min(next, due_.front().at);
    return next;
}

} // namespace telltale::mimic
