// SPDX-License-Identifier: Apache-2.0
#include "telltale/link/kline_machine.hpp"

#include <algorithm>
#include <utility>

namespace telltale::link {

using namespace kline_time;

namespace {

constexpr std::uint8_t sync_byte = 0x55;
constexpr Time byte_time = KlineCutter::byte_time;
constexpr Time keep_alive_after = 4000 * ms; ///< well before P3max
constexpr unsigned most_unanswered = 3;
/// From the end of one byte to the start of the next: above P4min however early a timer rings, far
/// below P4max however late.
constexpr Time pause_between_bytes = p4_min + ms;

/// ISO 14230-4: the second key byte is 8F. ISO 9141-2: 08 08 or 94 94.
constexpr bool key_of_14230(std::uint8_t key_byte_2) {
    return key_byte_2 == 0x8F;
}

constexpr std::uint8_t start_communication = 0x81;
constexpr std::ptrdiff_t request_size = 5; ///< of start communication
/// How long the first echo is waited for, where it is not known whether there is one: within P4max.
constexpr Time first_echo = p4_max - 3 * ms;

} // namespace

void KlineMachine::start(const KlineWake& wake, Time now, KlineOutlet& outlet) noexcept {
    *this = {};
    wake_ = wake;
    outlet.low(false);
    if (wake.way == KlineWake::Way::none) {
        rise(KlineForm::iso_9141, now, outlet);
        return;
    }
    state_ = State::quiet;
    next_ = now + idle_before;
}

void KlineMachine::stop(KlineOutlet& outlet) noexcept {
    if (state_ == State::bits || state_ == State::fast_low)
        outlet.low(false);
    *this = {};
}

void KlineMachine::fail(KlineTrouble trouble, std::string_view why, KlineOutlet& outlet) noexcept {
    stop(outlet);
    outlet.failed(trouble, why);
}

void KlineMachine::rise(KlineForm form, Time now, KlineOutlet& outlet) noexcept {
    state_ = State::awake;
    next_ = no_time;
    form_ = form;
    activity_ = now;
    outlet.awake({form, key_[0], key_[1], echo_});
}

Time KlineMachine::wake_at() const noexcept {
    Time at = next_;
    const auto sooner = [&](Time other) {
        if (other != no_time && (at == no_time || other < at))
            at = other;
    };
    sooner(out_next_);
    if (!cutter_.empty() && activity_ != no_time)
        sooner(activity_ + KlineCutter::max_pause + byte_time + 1);
    if (state_ == State::awake && wake_.keep_alive && wake_.way != KlineWake::Way::none &&
        out_size_ == 0)
        sooner(activity_ + keep_alive_after);
    return at;
}

void KlineMachine::wake(Time now, KlineOutlet& outlet) noexcept {
    if (!cutter_.empty()) {
        cutter_.pause_until(now);
        give_frames(outlet);
    }
    if (out_next_ != no_time && now >= out_next_)
        put_next(now, outlet);
    if (state_ == State::awake && wake_.keep_alive && wake_.way != KlineWake::Way::none &&
        out_size_ == 0 && now >= activity_ + keep_alive_after) {
        if (unanswered_ == most_unanswered)
            return fail(KlineTrouble::lost, "the ECU does not answer any more", outlet);
        ++unanswered_;
        keep_alive(now);
    }
    if (next_ == no_time || now < next_)
        return;
    switch (state_) {
    case State::quiet:
        edge_ = now;
        outlet.low(true);
        if (wake_.way == KlineWake::Way::fast) {
            state_ = State::fast_low;
            next_ = edge_ + fast_low;
        } else {
            state_ = State::bits;
            at_ = 0;
            next_ = edge_ + five_baud_bit;
        }
        break;
    case State::bits:
        // Start bit, eight bits from the lowest, stop bit. Counted from the first edge, so that
        // late timers do not add up.
        ++at_;
        if (at_ <= 8) {
            const bool high = (wake_.address >> (at_ - 1) & 1) != 0;
            const bool before = at_ > 1 && (wake_.address >> (at_ - 2) & 1) != 0;
            if (high != before)
                outlet.low(!high);
            next_ = edge_ + (at_ + 1) * five_baud_bit;
        } else if (at_ == 9) {
            if ((wake_.address & 0x80) == 0)
                outlet.low(false);
            next_ = edge_ + 10 * five_baud_bit;
        } else {
            outlet.discard_heard();
            state_ = State::sync;
            next_ = now + w1_max + wake_.slack;
        }
        break;
    case State::sync:
        return fail(KlineTrouble::no_answer, "no ECU answered the address at 5 baud", outlet);
    case State::key_1:
    case State::key_2:
        return fail(KlineTrouble::no_answer, "the ECU's key bytes did not come", outlet);
    case State::turn:
        state_ = State::turned;
        outlet.put(static_cast<std::uint8_t>(~key_[1]));
        next_ = now + byte_time + w4_max + wake_.slack;
        break;
    case State::turned:
        return fail(KlineTrouble::no_answer, "the ECU did not end the initialisation", outlet);
    case State::fast_low:
        outlet.low(false);
        state_ = State::fast_high;
        next_ = edge_ + fast_whole;
        break;
    case State::fast_high: {
        outlet.discard_heard();
        state_ = State::fast_answer;
        next_ = no_time;
        std::uint8_t request[] = {0xC1, wake_.address, wake_.tester, start_communication, 0};
        request[4] = kline_checksum(Bytes(request).first(4));
        queue(request, true);
        put_next(now, outlet);
        break;
    }
    case State::fast_answer:
        return fail(KlineTrouble::no_answer, "no ECU answered the fast initialisation", outlet);
    case State::off:
    case State::awake:
        next_ = no_time;
        break;
    }
}

void KlineMachine::heard(std::uint8_t byte, Time time, KlineOutlet& outlet) noexcept {
    switch (state_) {
    case State::off:
    case State::quiet:
    case State::bits:
    case State::fast_low:
    case State::fast_high:
        return; // the line is ours: what the port hears of it is no byte
    case State::sync:
        if (byte != sync_byte)
            return fail(KlineTrouble::wrong_answer,
                        "the ECU's first byte is not 55: is the line "
                        "disturbed?",
                        outlet);
        state_ = State::key_1;
        next_ = time + byte_time + w2_max + wake_.slack;
        return;
    case State::key_1:
        key_[0] = byte;
        state_ = State::key_2;
        next_ = time + byte_time + w3_max + wake_.slack;
        return;
    case State::key_2:
        key_[1] = byte;
        state_ = State::turn;
        // Into the window's first half: the port has its own delays.
        next_ = time + w4_min + 5 * ms;
        return;
    case State::turn:
        return fail(KlineTrouble::wrong_answer, "a byte too many after the key bytes", outlet);
    case State::turned: {
        const auto inverted_key = static_cast<std::uint8_t>(~key_[1]);
        const auto inverted_address = static_cast<std::uint8_t>(~wake_.address);
        if (!echo_known_) {
            echo_known_ = true;
            // Should both be the same, the line gives an echo like most.
            echo_ = byte == inverted_key;
            if (echo_)
                return;
        }
        if (byte != inverted_address)
            return fail(KlineTrouble::wrong_answer,
                        "the initialisation did not end with the inverted address", outlet);
        return rise(key_of_14230(key_[1]) ? KlineForm::functional : KlineForm::iso_9141, time,
                    outlet);
    }
    case State::fast_answer:
    case State::awake:
        break;
    }
    activity_ = time;
    if (out_size_ != 0 && echoed_ < out_at_ && (echo_ || !echo_known_)) {
        if (byte == out_[echoed_]) {
            echo_ = echo_known_ = true; // late, perhaps: some ports gather bytes for 16 ms
            ++echoed_;
            if (echoed_ == out_size_)
                return finish_sending(time, outlet);
            out_next_ = time + (echoed_ == out_at_ ? pause_between_bytes : wake_.slack);
            return;
        }
        if (echo_known_ || echoed_ != 0) {
            const bool own = out_own_;
            out_size_ = 0;
            out_next_ = no_time;
            if (state_ == State::fast_answer)
                return fail(KlineTrouble::collision, "what came back is not what was sent", outlet);
            if (own)
                next_frame();
            else
                outlet.send_failed(KlineTrouble::collision,
                                   "what came back is not what was sent: somebody else spoke");
            return;
        }
        echo_ = false;
    }
    cutter_.pause_until(time - byte_time);
    give_frames(outlet);
    if (state_ != State::awake && state_ != State::fast_answer)
        return;
    cutter_.push(byte, time, {});
    give_frames(outlet);
}

void KlineMachine::give_frames(KlineOutlet& outlet) noexcept {
    KlineCutter::Piece piece;
    while (cutter_.next(piece)) {
        frame(piece.bytes, activity_, outlet);
        if (state_ != State::awake && state_ != State::fast_answer)
            return;
    }
}

void KlineMachine::frame(Bytes bytes, Time time, KlineOutlet& outlet) noexcept {
    unanswered_ = 0;
    if (state_ == State::awake)
        return outlet.frame(bytes, time, false);
    if (!echo_known_ &&
        std::equal(bytes.begin(), bytes.end(), out_.begin(), out_.begin() + request_size)) {
        echo_ = echo_known_ = true; // it came so late that there seemed to be none
        next_ = time + p2_max + wake_.slack;
        return;
    }
    KlineFrame parsed;
    if (!parse_kline(bytes, parsed).fine() || parsed.data.size() != 3 || parsed.data[0] != 0xC1)
        return fail(KlineTrouble::wrong_answer,
                    "the answer to the fast initialisation is none (C1 and two key bytes)", outlet);
    key_ = {parsed.data[1], parsed.data[2]};
    rise(KlineForm::functional, time, outlet);
}

void KlineMachine::queue(Bytes frame, bool own) noexcept {
    out_size_ = std::min(frame.size(), out_.size());
    std::copy_n(frame.begin(), out_size_, out_.begin());
    out_at_ = echoed_ = 0;
    out_own_ = own;
}

void KlineMachine::transmit(Bytes frame, Time now, KlineOutlet& outlet) noexcept {
    const bool free = out_size_ == 0 || (out_own_ && held_size_ == 0);
    if (state_ != State::awake || !free || frame.empty() || frame.size() > out_.size())
        return outlet.send_failed(KlineTrouble::collision, "the line is not free");
    if (out_size_ != 0) {
        std::copy(frame.begin(), frame.end(), held_.begin());
        held_size_ = frame.size();
        return;
    }
    queue(frame, false);
    out_next_ = std::max(now, activity_ + p3_min);
}

void KlineMachine::give_up() noexcept {
    held_size_ = 0;
    if (out_at_ == 0 && !out_own_) {
        out_size_ = 0;
        out_next_ = no_time;
    }
}

void KlineMachine::keep_alive(Time now) noexcept {
    std::array<std::uint8_t, 6> request{};
    request = form_ == KlineForm::iso_9141
                  ? std::array<std::uint8_t, 6>{0x68, 0x6A, wake_.tester, 0x01, 0x00, 0}
                  : std::array<std::uint8_t, 6>{0xC2, wake_.address, wake_.tester, 0x01, 0x00, 0};
    request.back() = kline_checksum(Bytes(request).first(5));
    queue(request, true);
    out_next_ = now;
}

void KlineMachine::put_next(Time now, KlineOutlet& outlet) noexcept {
    if (out_at_ == 0 && state_ == State::awake) {
        // Somebody may have spoken since: P3 counts from the last byte.
        if (now < activity_ + p3_min) {
            out_next_ = activity_ + p3_min;
            return;
        }
    } else if (out_at_ != 0 && echo_ && echoed_ < out_at_) {
        // The echo of the last byte is missed.
        if (echo_known_) {
            const bool own = out_own_;
            out_size_ = 0;
            out_next_ = no_time;
            if (state_ == State::fast_answer)
                return fail(KlineTrouble::collision, "what was sent did not come back", outlet);
            if (own)
                next_frame();
            else
                outlet.send_failed(KlineTrouble::collision,
                                   "what was sent did not come back: is the line cut?");
            return;
        }
        echo_ = false;
    }
    if (out_at_ == out_size_)
        return finish_sending(now, outlet);
    const auto byte = out_[out_at_++];
    outlet.put(byte);
    // Without echo only the clock says when the byte is out.
    out_next_ = now + byte_time +
                (!echo_        ? pause_between_bytes
                 : echo_known_ ? wake_.slack
                               : first_echo);
    activity_ = std::max(activity_, now + byte_time);
}

void KlineMachine::finish_sending(Time time, KlineOutlet& outlet) noexcept {
    const Bytes whole(out_.data(), out_size_);
    whole_echo_ = echoed_ == out_size_;
    out_size_ = 0;
    out_next_ = no_time;
    activity_ = time;
    if (state_ == State::fast_answer) {
        next_ = time + p2_max + wake_.slack;
        return;
    }
    if (!out_own_)
        return outlet.sent(time);
    outlet.frame(whole, time, true);
    next_frame();
}

/// What waited for a keep-alive follows it.
void KlineMachine::next_frame() noexcept {
    if (held_size_ == 0)
        return;
    queue(Bytes(held_).first(std::exchange(held_size_, 0)), false);
    out_next_ = activity_ + p3_min;
}

} // namespace telltale::link
