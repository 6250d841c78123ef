// SPDX-License-Identifier: Apache-2.0
#include "telltale/isotp/receiver.hpp"

#include <algorithm>
#include <cstring>

#include "isotp/active.hpp"

namespace telltale::isotp {

using namespace active;

namespace {

/// The data of a single frame, or nothing where the frame is to be ignored
/// (ISO 15765-2:2016, 9.6.2): length 0, longer than the frame has room for, or above 8 bytes
/// not the smallest frame that holds it.
Bytes single_frame_data(const CanFrame& frame, Bytes data) {
    const std::size_t whole = frame.data.size();
    const std::size_t nibble = data[0] & 0xFU;
    if (whole <= classic_length)
        return nibble < data.size() ? data.subspan(1, nibble) : Bytes{};
    const std::size_t length = data[1];
    const std::size_t used = whole - data.size() + 2 + length;
    if (nibble != 0 || length == 0 || used > whole || used - 1 <= classic_length ||
        fd_length_for(used) != whole)
        return {};
    return data.subspan(2, length);
}

} // namespace

Receiver::Receiver(const Address& address, const Options& options)
    : address_(address), options_(options), ticket_(1) {}

Time Receiver::advance(Time now) noexcept {
    now_ = std::max(now_, now); // no_time is less than every other
    return now_;
}

void Receiver::feed(const CanFrame& frame, Time now, Outlet& outlet) {
    if (options_.functional_rx.has_value() && frame.id == *options_.functional_rx) {
        const Bytes to_all = payload(frame, address_, frame.id, options_.functional_byte);
        if (!to_all.empty() && to_all[0] >> 4 == single) {
            advance(now);
            on_single(frame, to_all, outlet);
            return;
        }
    }
    const Bytes data = payload(frame, address_, address_.rx, address_.rx_byte);
    if (data.empty() || data[0] >> 4 > consecutive)
        return;
    advance(now);
    if (expired(outlet, false) && data[0] >> 4 == consecutive)
        return;
    switch (data[0] >> 4) {
    case single:
        return on_single(frame, data, outlet);
    case first:
        return on_first(frame, data, outlet);
    default:
        return on_consecutive(frame, data, outlet);
    }
}

void Receiver::poll(Time now, Outlet& outlet) {
    advance(now);
    if (expired(outlet, true) || state_ != State::due || now_ < next_wakeup())
        return;
    if (status_ == Status::overflow || ready_)
        return give(status_ == Status::overflow ? status_ : Status::go_on, outlet);
    if (waits_ >= options_.wft_max)
        return fail(Outcome::wait_overrun, outlet);
    ++waits_;
    give(Status::wait, outlet);
}

void Receiver::sent(Ticket ticket, Time now, Outlet&) {
    if (state_ != State::leaving || ticket != ticket_)
        return;
    advance(now);
    left();
}

void Receiver::cancel(Time now, Outlet& outlet) {
    advance(now);
    if (busy())
        fail(Outcome::error, outlet);
    state_ = State::idle;
}

Time Receiver::next_wakeup() const noexcept {
    switch (state_) {
    case State::idle:
        return never;
    case State::due:
        return ready_ || status_ == Status::overflow ? at_ : wait_at_;
    default:
        return at_;
    }
}

Message Receiver::about(Time end) const noexcept {
    Message out;
    out.id = address_.rx;
    out.has_address = address_.has_byte();
    out.address = address_.rx_byte;
    out.time = begun_;
    out.end_time = end;
    out.frames = frames_;
    out.bytes = Bytes{buffer_.get(), filled_};
    return out;
}

void Receiver::fail(Outcome outcome, Outlet& outlet) {
    state_ = State::idle;
    outlet.receive_failed(outcome, about(latest_), now_);
}

/// Gives up when a timeout has passed; at the very moment only if `inclusive`.
bool Receiver::expired(Outlet& outlet, bool inclusive) {
    if ((state_ != State::leaving && state_ != State::collecting) || now_ < at_ ||
        (now_ == at_ && !inclusive))
        return false;
    if (!busy()) // overflow: its message was given up before
        state_ = State::idle;
    else
        fail(state_ == State::leaving ? Outcome::timeout_a : Outcome::timeout_cr, outlet);
    return true;
}

/// Flow control is due.
void Receiver::ask() noexcept {
    state_ = State::due;
    status_ = Status::go_on;
    waits_ = 0;
    at_ = after(now_, options_.flow_control_delay);
    wait_at_ = after(now_, options_.timing.n_br);
}

/// ISO 15765-2:2016, 9.6.5.
void Receiver::give(Status status, Outlet& outlet) {
    std::size_t at = 0;
    if (address_.has_byte())
        frame_[at++] = address_.tx_byte;
    frame_[at++] = static_cast<std::uint8_t>(0x30U | static_cast<unsigned>(status));
    frame_[at++] = status == Status::go_on ? options_.block_size : std::uint8_t{0};
    frame_[at++] = status == Status::go_on ? options_.st_min : std::uint8_t{0};
    status_ = status;
    state_ = State::leaving;
    at_ = after(now_, options_.timing.n_ar);
    ticket_ += 2; // odd: a sender's are even
    const Ticket ticket = ticket_;
    outlet.frame(finished(frame_, at, address_.tx, options_), ticket);
    if (!options_.confirmed && state_ == State::leaving && ticket_ == ticket)
        left();
}

/// The flow control that was given is on the line.
void Receiver::left() noexcept {
    switch (status_) {
    case Status::go_on:
        state_ = State::collecting;
        block_left_ = options_.block_size;
        at_ = after(now_, options_.timing.n_cr);
        return;
    case Status::wait:
        state_ = State::due;
        at_ = now_;
        wait_at_ = after(now_, options_.timing.n_br);
        return;
    case Status::overflow:
        state_ = State::idle;
        return;
    }
}

void Receiver::on_single(const CanFrame& frame, Bytes data, Outlet& outlet) {
    const Bytes bytes = single_frame_data(frame, data);
    if (bytes.empty())
        return;
    // What is said to all is of another address and does not disturb (9.8.3).
    if (frame.id == address_.rx && busy())
        fail(Outcome::unexpected_pdu, outlet);
    Message message;
    message.id = frame.id;
    message.has_address = address_.has_byte();
    message.address = address_.has_byte() ? frame.data[0] : std::uint8_t{0};
    message.time = message.end_time = now_;
    message.bytes = bytes;
    outlet.message(message);
}

void Receiver::on_first(const CanFrame& frame, Bytes data, Outlet& outlet) {
    const std::size_t whole = frame.data.size();
    if (whole < classic_length)
        return;
    std::uint64_t length = big_endian(data, 0, 2) & 0xFFF;
    std::size_t head = 2;
    // What a single frame of this frame length would have carried is no first frame
    // (9.6.3.1, FF_DLmin).
    std::uint64_t least = data.size() - (whole > classic_length ? 2 : 1) + 1;
    if (length == 0) {
        length = big_endian(data, 2, 4);
        head = 6;
        least = longest_short_length + 1;
    }
    if (length < least)
        return;
    if (busy())
        fail(Outcome::unexpected_pdu, outlet);
    begun_ = latest_ = now_;
    frames_ = 1;
    filled_ = 0;
    if (length > options_.max_message ||
        !make_room(buffer_, capacity_, static_cast<std::size_t>(length))) {
        ask();
        status_ = Status::overflow;
        outlet.receive_failed(Outcome::buffer_overflow, about(now_), now_);
        return;
    }
    const Bytes bytes = data.subspan(head);
    std::memcpy(buffer_.get(), bytes.data(), bytes.size());
    filled_ = bytes.size();
    length_ = static_cast<std::size_t>(length);
    frame_length_ = static_cast<std::uint8_t>(whole);
    sequence_ = 1;
    ask();
    outlet.begun(about(now_), length_);
}

void Receiver::on_consecutive(const CanFrame& frame, Bytes data, Outlet& outlet) {
    // Who goes on has got the flow control, whatever the line still has to say about it.
    if (state_ == State::leaving && status_ == Status::go_on)
        left();
    if (state_ != State::collecting)
        return;
    // Every frame but the last is as long as the first (9.6.4; others are ignored).
    const std::size_t whole = frame.data.size();
    const std::size_t due = std::min<std::size_t>(
        length_ - filled_, frame_length_ - 1U - (address_.has_byte() ? 1U : 0U));
    if (whole > frame_length_ || data.size() - 1 < due)
        return;
    if ((data[0] & 0xF) != sequence_)
        return fail(Outcome::wrong_sn, outlet);
    std::memcpy(buffer_.get() + filled_, data.data() + 1, due);
    filled_ += due;
    sequence_ = (sequence_ + 1) & 0xF;
    ++frames_;
    latest_ = now_;
    if (filled_ == length_) {
        state_ = State::idle;
        outlet.message(about(now_));
    } else if (options_.block_size != 0 && --block_left_ == 0) {
        ask();
    } else {
        at_ = after(now_, options_.timing.n_cr);
    }
}

} // namespace telltale::isotp
