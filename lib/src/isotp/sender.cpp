// SPDX-License-Identifier: Apache-2.0
#include "telltale/isotp/sender.hpp"

#include <algorithm>
#include <cstring>

#include "isotp/active.hpp"

namespace telltale::isotp {

using namespace active;

std::string_view word(Outcome outcome) noexcept {
    switch (outcome) {
    case Outcome::ok:
        return "N_OK";
    case Outcome::timeout_a:
        return "N_TIMEOUT_A";
    case Outcome::timeout_bs:
        return "N_TIMEOUT_Bs";
    case Outcome::timeout_cr:
        return "N_TIMEOUT_Cr";
    case Outcome::wrong_sn:
        return "N_WRONG_SN";
    case Outcome::invalid_fs:
        return "N_INVALID_FS";
    case Outcome::unexpected_pdu:
        return "N_UNEXP_PDU";
    case Outcome::wait_overrun:
        return "N_WFT_OVRN";
    case Outcome::buffer_overflow:
        return "N_BUFFER_OVFLW";
    case Outcome::error:
        break;
    }
    return "N_ERROR";
}

Sender::Sender(const Address& address, const Options& options)
    : address_(address), options_(options) {
    options_.tx_dl = static_cast<std::uint8_t>(tx_dl(options));
}

std::size_t Sender::single_frame_room() const noexcept {
    const std::size_t head = options_.tx_dl > classic_length ? 2 : 1;
    return options_.tx_dl - head - (address_.has_byte() ? 1U : 0U);
}

Result<void> Sender::start(Bytes message, Time now) {
    if (busy())
        return fail(ErrorCode::bad_argument, "the message before is still being sent");
    if (message.empty())
        return fail(ErrorCode::bad_argument, "a message has at least one byte");
    const std::size_t most = options_.functional ? single_frame_room() : options_.max_message;
    if (message.size() > std::min(most, longest_message) ||
        !make_room(buffer_, capacity_, message.size()))
        return fail(ErrorCode::too_long, options_.functional
                                             ? "a request to all has to fit into a single frame"
                                             : "the message is longer than the sender's bound");
    std::memcpy(buffer_.get(), message.data(), message.size());
    length_ = message.size();
    given_ = 0;
    sequence_ = 1;
    waits_ = 0;
    any_consecutive_ = false;
    kind_ = length_ <= single_frame_room() ? Kind::single : Kind::first;
    state_ = State::due;
    at_ = advance(now);
    return {};
}

void Sender::feed(const CanFrame& frame, Time now, Outlet& outlet) {
    const Bytes data = payload(frame, address_, address_.rx, address_.rx_byte);
    if (data.size() < 3 || data[0] >> 4 != flow)
        return;
    advance(now);
    if ((state_ == State::leaving || state_ == State::waiting) && now_ > at_)
        return finish(state_ == State::leaving ? Outcome::timeout_a : Outcome::timeout_bs, outlet);
    // Who answers a frame has got it, whatever the line still has to say about it.
    if (state_ == State::leaving && given_ < length_ &&
        (kind_ == Kind::first || (kind_ == Kind::consecutive && block_ends())))
        left(outlet);
    if (state_ == State::waiting)
        on_flow(data, outlet);
}

/// ISO 15765-2:2016, 9.6.5.
void Sender::on_flow(Bytes data, Outlet& outlet) {
    switch (data[0] & 0xF) {
    case static_cast<unsigned>(FlowControl::Status::go_on):
        waits_ = 0;
        block_size_ = block_left_ = data[1];
        gap_ = std::max(st_min_time(data[2]), options_.least_gap);
        kind_ = Kind::consecutive;
        state_ = State::due;
        // Also from the last frame of one block to the first of the next, where the standard would
        // allow less.
        at_ = any_consecutive_ ? std::max(now_, after(latest_consecutive_, gap_)) : now_;
        return;
    case static_cast<unsigned>(FlowControl::Status::wait):
        if (waits_++ >= options_.max_waits)
            return finish(Outcome::wait_overrun, outlet);
        at_ = after(now_, options_.timing.n_bs);
        return;
    case static_cast<unsigned>(FlowControl::Status::overflow):
        return finish(Outcome::buffer_overflow, outlet);
    default:
        return finish(Outcome::invalid_fs, outlet);
    }
}

void Sender::poll(Time now, Outlet& outlet) {
    advance(now);
    if (state_ == State::idle || now_ < at_)
        return;
    switch (state_) {
    case State::due:
        return give(outlet);
    case State::leaving:
        return finish(Outcome::timeout_a, outlet);
    default:
        return finish(Outcome::timeout_bs, outlet);
    }
}

void Sender::sent(Ticket ticket, Time now, Outlet& outlet) {
    if (state_ != State::leaving || ticket != ticket_)
        return;
    advance(now);
    left(outlet);
}

void Sender::cancel(Time now, Outlet& outlet) {
    advance(now);
    if (busy())
        finish(Outcome::error, outlet);
}

Time Sender::next_wakeup() const noexcept {
    return state_ == State::idle ? never : at_;
}

Time Sender::advance(Time now) noexcept {
    now_ = std::max(now_, now); // no_time is less than every other
    return now_;
}

bool Sender::block_ends() const noexcept {
    return block_size_ != 0 && block_left_ == 0;
}

void Sender::give(Outlet& outlet) {
    std::size_t at = 0;
    const auto put = [&](std::size_t byte) {
        frame_[at++] = static_cast<std::uint8_t>(byte & 0xFF);
    };
    if (address_.has_byte())
        put(address_.tx_byte);
    switch (kind_) {
    case Kind::single: // 9.6.2; above 8 bytes SF_DL has a byte of its own
        if (at + 1 + length_ > classic_length)
            put(0);
        put(length_);
        break;
    case Kind::first: // 9.6.3
        if (length_ <= longest_short_length) {
            put(0x10 | length_ >> 8);
            put(length_);
        } else {
            put(0x10);
            put(0);
            for (unsigned shift = 32; shift > 0; shift -= 8)
                put(length_ >> (shift - 8));
        }
        break;
    case Kind::consecutive: // 9.6.4
        put(0x20U | sequence_);
        sequence_ = (sequence_ + 1) & 0xF;
        if (block_size_ != 0)
            --block_left_;
        any_consecutive_ = true;
        break;
    }
    const std::size_t n = std::min<std::size_t>(length_ - given_, options_.tx_dl - at);
    std::memcpy(frame_.data() + at, buffer_.get() + given_, n);
    given_ += n;
    state_ = State::leaving;
    at_ = after(now_, options_.timing.n_as);
    ticket_ += 2; // even: a receiver's are odd
    const Ticket ticket = ticket_;
    outlet.frame(finished(frame_, at + n, address_.tx, options_), ticket);
    if (!options_.confirmed && state_ == State::leaving && ticket_ == ticket)
        left(outlet);
}

/// The frame that was given is on the line.
void Sender::left(Outlet& outlet) {
    if (kind_ == Kind::consecutive)
        latest_consecutive_ = now_;
    if (given_ == length_)
        return finish(Outcome::ok, outlet);
    if (kind_ == Kind::first || block_ends()) {
        state_ = State::waiting;
        at_ = after(now_, options_.timing.n_bs);
    } else {
        state_ = State::due;
        at_ = after(now_, gap_);
    }
}

void Sender::finish(Outcome outcome, Outlet& outlet) {
    state_ = State::idle;
    outlet.transmitted(outcome, now_);
}

} // namespace telltale::isotp
