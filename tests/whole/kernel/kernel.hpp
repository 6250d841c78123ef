// SPDX-License-Identifier: Apache-2.0
// The Linux kernel's own ISO-TP (CAN_ISOTP sockets) as the other side of our endpoints, over one
// virtual CAN interface.
#pragma once

#include <poll.h>
#include <sys/ioctl.h>
#include <sys/socket.h>
#include <time.h>
#include <unistd.h>

#include <linux/can.h>
#include <linux/can/isotp.h>
#include <linux/can/raw.h>
#include <net/if.h>

#include <cerrno>
#include <cstdint>
#include <cstring>
#include <deque>
#include <functional>
#include <map>
#include <memory>
#include <string>
#include <vector>

#include <doctest/doctest.h>

#include "telltale/isotp/endpoint.hpp"

namespace telltale::whole {

using Data = std::vector<std::uint8_t>;
constexpr const char* interface_name = "vcan0";

/// A file descriptor that closes itself.
class Descriptor {
  public:
    explicit Descriptor(int number) : number_(number) {}
    Descriptor(Descriptor&& other) noexcept : number_(std::exchange(other.number_, -1)) {}
    Descriptor& operator=(Descriptor&&) = delete;
    ~Descriptor() {
        if (number_ >= 0)
            close(number_);
    }
    int get() const { return number_; }

  private:
    int number_;
};

inline Time clock_now() { // the clock of the kernel's time stamps
    timespec now{};
    clock_gettime(CLOCK_REALTIME, &now);
    return now.tv_sec * nanoseconds_a_second + now.tv_nsec;
}

/// Fails the test with the name of what did not work, and why.
inline void must(bool good, const char* what) {
    if (!good)
        FAIL(std::string(what), ": ", std::string(std::strerror(errno)));
}
/// REQUIRE for what is checked a frame; doctest would take most of the time.
inline void demand(bool good, const char* what) {
    if (!good)
        FAIL(std::string(what));
}

inline canid_t linux_id(CanId id) {
    return id.value | (id.extended ? CAN_EFF_FLAG : 0);
}
inline CanId our_id(canid_t id) {
    const bool extended = (id & CAN_EFF_FLAG) != 0;
    return {id & (extended ? CAN_EFF_MASK : CAN_SFF_MASK), extended};
}

/// What the kernel's side of a conversation keeps to. The address is ours; the kernel takes it
/// from the other side.
struct KernelSide {
    std::uint8_t block_size = 0;
    std::uint8_t st_min = 0;
    bool padding = true; ///< pads with CC and accepts nothing else
    std::uint8_t tx_dl = 8;
    bool fd = false;
};

inline Descriptor isotp_socket(const isotp::Address& ours, const KernelSide& side) {
    Descriptor out(socket(PF_CAN, SOCK_DGRAM | SOCK_NONBLOCK, CAN_ISOTP));
    must(out.get() >= 0, "socket CAN_ISOTP");
    can_isotp_options options{};
    options.frame_txtime = 0xFFFFFFFF; // none: STmin alone decides
    if (ours.has_byte()) {
        options.flags |= CAN_ISOTP_EXTEND_ADDR | CAN_ISOTP_RX_EXT_ADDR;
        options.ext_address = ours.rx_byte;
        options.rx_ext_address = ours.tx_byte;
    }
    if (side.padding)
        options.flags |= CAN_ISOTP_TX_PADDING | CAN_ISOTP_RX_PADDING | CAN_ISOTP_CHK_PAD_LEN |
                         CAN_ISOTP_CHK_PAD_DATA;
    options.txpad_content = options.rxpad_content = 0xCC;
    must(setsockopt(out.get(), SOL_CAN_ISOTP, CAN_ISOTP_OPTS, &options, sizeof options) == 0,
         "CAN_ISOTP_OPTS");
    can_isotp_fc_options flow{side.block_size, side.st_min, 0};
    must(setsockopt(out.get(), SOL_CAN_ISOTP, CAN_ISOTP_RECV_FC, &flow, sizeof flow) == 0,
         "CAN_ISOTP_RECV_FC");
    can_isotp_ll_options layer{};
    layer.mtu = side.fd ? CANFD_MTU : CAN_MTU;
    layer.tx_dl = side.tx_dl;
    must(setsockopt(out.get(), SOL_CAN_ISOTP, CAN_ISOTP_LL_OPTS, &layer, sizeof layer) == 0,
         "CAN_ISOTP_LL_OPTS");
    sockaddr_can address{};
    address.can_family = AF_CAN;
    address.can_ifindex = static_cast<int>(if_nametoindex(interface_name));
    address.can_addr.tp.tx_id = linux_id(ours.rx);
    address.can_addr.tp.rx_id = linux_id(ours.tx);
    must(bind(out.get(), reinterpret_cast<sockaddr*>(&address), sizeof address) == 0, "bind");
    return out;
}

/// One conversation: messages from us to the kernel and from the kernel to us, in their order.
class Conversation final : public isotp::Outlet {
  public:
    /// `theirs`: what the kernel takes for our address.
    Conversation(const isotp::Address& address, const isotp::Options& options,
                 const KernelSide& side, const isotp::Address& theirs)
        : endpoint(address, options), socket(isotp_socket(theirs, side)) {}

    std::vector<Data> to_kernel;
    std::vector<Data> to_us;
    Time gap_to_kernel = 0; ///< what STmin asks for: checked on the frames' time stamps
    Time gap_to_us = 0;
    bool lossy = false; ///< do not fail when a message is not transferred: see `outcomes`

    std::size_t given = 0;     ///< to the endpoint
    std::size_t confirmed = 0; ///< of these, sent whole or given up
    std::size_t arrived_there = 0;
    std::size_t written = 0; ///< to the kernel
    std::size_t arrived_here = 0;
    std::vector<isotp::Outcome> outcomes; ///< of `lossy` conversations
    int kernel_error = 0;                 ///< of `lossy` conversations
    Time latest_gap[2] = {no_time, no_time};

    bool over() const {
        return confirmed == to_kernel.size() &&
               arrived_there + outcomes.size() >= to_kernel.size() &&
               (arrived_here == to_us.size() || kernel_error != 0);
    }

    void frame(const CanFrame& f, isotp::Ticket ticket) override {
        canfd_frame out{};
        out.can_id = linux_id(f.id);
        out.len = static_cast<std::uint8_t>(f.data.size());
        out.flags = f.bit_rate_switch ? CANFD_BRS : 0;
        std::memcpy(out.data, f.data.data(), f.data.size());
        const std::size_t size = f.fd ? CANFD_MTU : CAN_MTU;
        must(write(raw, &out, size) == static_cast<ssize_t>(size), "write to the raw socket");
        tickets->push_back({this, ticket});
    }
    void message(const isotp::Message& m) override {
        demand(arrived_here < written, "a message to us that was not sent");
        const Data got(m.bytes.begin(), m.bytes.end());
        demand(got == to_us[arrived_here], "a message to us has changed");
        ++arrived_here;
    }
    void receive_failed(isotp::Outcome outcome, const isotp::Message&, Time) override {
        if (!lossy)
            FAIL("our receiver: ", std::string(word(outcome)));
        outcomes_in.push_back(outcome);
    }
    void transmitted(isotp::Outcome outcome, Time) override {
        ++confirmed;
        if (outcome == isotp::Outcome::ok)
            return;
        if (!lossy)
            FAIL("our sender: ", std::string(word(outcome)));
        outcomes.push_back(outcome);
    }

    struct Sent {
        Conversation* from;
        isotp::Ticket ticket;
    };

    std::vector<isotp::Outcome> outcomes_in;
    isotp::Endpoint endpoint;
    Descriptor socket;
    int raw = -1;
    std::deque<Sent>* tickets = nullptr;
};

/// Runs conversations, all at once, over one raw socket.
class Bus {
  public:
    std::size_t frames = 0;
    std::size_t messages = 0;
    std::size_t bytes = 0;
    std::size_t gaps = 0; ///< between consecutive frames, held against STmin

    Conversation& add(const isotp::Address& address, isotp::Options options,
                      const KernelSide& side) {
        return add(address, options, side, address);
    }
    Conversation& add(const isotp::Address& address, isotp::Options options, const KernelSide& side,
                      const isotp::Address& theirs) {
        options.confirmed = true;
        conversations_.push_back(std::make_unique<Conversation>(address, options, side, theirs));
        Conversation& one = *conversations_.back();
        one.raw = raw_.get();
        one.tickets = &tickets_;
        by_id_[linux_id(address.rx)].push_back(&one);
        by_id_[linux_id(address.tx)].push_back(&one);
        return one;
    }

    /// Calls `what` once `time` is there.
    void at(Time time, std::function<void()> what) {
        later_ = std::move(what);
        later_at_ = time;
    }

    /// Until everything has arrived; fails after `limit` without any frame.
    void run(Time limit = 5 * nanoseconds_a_second) {
        Time latest_frame = clock_now();
        for (;;) {
            if (read_raw())
                latest_frame = clock_now();
            if (clock_now() >= later_at_) {
                later_at_ = isotp::never;
                later_();
            }
            bool over = true;
            Time wakeup = std::min(later_at_, clock_now() + nanoseconds_a_second);
            std::vector<pollfd> waits{{raw_.get(), POLLIN, 0}};
            for (const auto& c : conversations_) {
                over = step(*c) && over;
                wakeup = std::min(wakeup, c->endpoint.next_wakeup());
                waits.push_back({c->socket.get(), POLLIN, 0});
            }
            if (over)
                break;
            const Time now = clock_now();
            if (now > latest_frame + limit) {
                for (const auto& c : conversations_)
                    if (!c->over())
                        MESSAGE("to the kernel: ", c->arrived_there, " of ", c->to_kernel.size(),
                                ", to us: ", c->arrived_here, " of ", c->to_us.size());
                FAIL("the line has fallen silent");
            }
            const Time wait = std::max<Time>(0, wakeup - now);
            const timespec timeout{wait / nanoseconds_a_second, wait % nanoseconds_a_second};
            ppoll(waits.data(), waits.size(), &timeout, nullptr);
        }
        for (const auto& c : conversations_)
            for (const auto* side : {&c->to_kernel, &c->to_us})
                for (const Data& message : *side) {
                    ++messages;
                    bytes += message.size();
                }
    }

  private:
    static Descriptor raw_socket() {
        Descriptor out(socket(PF_CAN, SOCK_RAW | SOCK_NONBLOCK, CAN_RAW));
        must(out.get() >= 0, "socket CAN_RAW");
        const int on = 1;
        must(setsockopt(out.get(), SOL_CAN_RAW, CAN_RAW_FD_FRAMES, &on, sizeof on) == 0, "FD");
        must(setsockopt(out.get(), SOL_CAN_RAW, CAN_RAW_RECV_OWN_MSGS, &on, sizeof on) == 0, "own");
        must(setsockopt(out.get(), SOL_SOCKET, SO_TIMESTAMPNS, &on, sizeof on) == 0, "time stamps");
        const int room = 16 << 20;
        must(setsockopt(out.get(), SOL_SOCKET, SO_RCVBUFFORCE, &room, sizeof room) == 0, "room");
        sockaddr_can address{};
        address.can_family = AF_CAN;
        address.can_ifindex = static_cast<int>(if_nametoindex(interface_name));
        must(bind(out.get(), reinterpret_cast<sockaddr*>(&address), sizeof address) == 0, "bind");
        return out;
    }

    bool read_raw() {
        bool any = false;
        for (;;) {
            canfd_frame in{};
            iovec piece{&in, sizeof in};
            alignas(cmsghdr) char control[128];
            msghdr header{};
            header.msg_iov = &piece;
            header.msg_iovlen = 1;
            header.msg_control = control;
            header.msg_controllen = sizeof control;
            const ssize_t got = recvmsg(raw_.get(), &header, 0);
            if (got < 0) {
                must(errno == EAGAIN, "recvmsg of the raw socket");
                return any;
            }
            any = true;
            ++frames;
            Time time = no_time;
            for (cmsghdr* c = CMSG_FIRSTHDR(&header); c != nullptr; c = CMSG_NXTHDR(&header, c))
                if (c->cmsg_level == SOL_SOCKET && c->cmsg_type == SCM_TIMESTAMPNS) {
                    timespec stamp{};
                    std::memcpy(&stamp, CMSG_DATA(c), sizeof stamp);
                    time = stamp.tv_sec * nanoseconds_a_second + stamp.tv_nsec;
                }
            demand(time != no_time, "a frame without a time stamp");
            CanFrame frame;
            frame.id = our_id(in.can_id);
            frame.fd = got == CANFD_MTU;
            frame.data = Bytes{in.data, in.len};
            const bool own = (header.msg_flags & MSG_CONFIRM) != 0;
            for (Conversation* c : by_id_[in.can_id])
                check_gap(*c, frame, own, time);
            if (own) {
                demand(!tickets_.empty(), "a frame of ours that was not sent");
                const Conversation::Sent sent = tickets_.front();
                tickets_.pop_front();
                sent.from->endpoint.sent(sent.ticket, time, *sent.from);
            } else {
                for (Conversation* c : by_id_[in.can_id])
                    c->endpoint.feed(frame, time, *c);
            }
        }
    }

    static constexpr std::size_t most_kernel_short = 5;
    std::size_t kernel_short = 0;

    void check_gap(Conversation& c, const CanFrame& frame, bool own, Time time) {
        const isotp::Address& address = c.endpoint.address();
        if (address.has_byte() && frame.data[0] != (own ? address.tx_byte : address.rx_byte))
            return;
        const unsigned type = frame.data[address.has_byte() ? 1 : 0] >> 4;
        Time& latest = c.latest_gap[own ? 1 : 0];
        if (type == 2) {
            if (latest != no_time) {
                if (own)
                    demand(time - latest >= c.gap_to_kernel, "our STmin is too short");
                else if (time - latest < c.gap_to_us)
                    // Its timer and its stamp are not the same moment in a starved machine; what
                    // is tested here is our side.
                    demand(++kernel_short <= most_kernel_short, "the kernel's STmin is too short");
                ++gaps;
            }
            latest = time;
        } else if (type < 2) {
            latest = no_time;
        }
    }

    /// True when nothing is left to do.
    bool step(Conversation& c) {
        Time now = clock_now();
        if (!c.endpoint.sending() && c.given < c.to_kernel.size()) {
            demand(c.endpoint.transmit(c.to_kernel[c.given], now).has_value(), "transmit");
            ++c.given;
        }
        while (c.endpoint.next_wakeup() <= now)
            c.endpoint.poll(now, c);
        // One message at a time is with the kernel.
        if (c.written == c.arrived_here && c.written < c.to_us.size() && c.kernel_error == 0) {
            const Data& message = c.to_us[c.written];
            const ssize_t done = write(c.socket.get(), message.data(), message.size());
            if (done < 0) {
                if (errno != EAGAIN)
                    note_error(c, "write to the kernel's ISO-TP");
            } else {
                demand(done == static_cast<ssize_t>(message.size()), "a message written in part");
                ++c.written;
            }
        }
        for (;;) {
            const ssize_t got = read(c.socket.get(), buffer_.data(), buffer_.size());
            if (got < 0) {
                if (errno != EAGAIN)
                    note_error(c, "read from the kernel's ISO-TP");
                break;
            }
            demand(c.arrived_there < c.to_kernel.size(), "a message to the kernel too many");
            const Data message(buffer_.begin(), buffer_.begin() + got);
            demand(message == c.to_kernel[c.arrived_there], "a message to the kernel has changed");
            ++c.arrived_there;
        }
        return c.over();
    }

    static void note_error(Conversation& c, const char* what) {
        must(c.lossy, what);
        c.kernel_error = errno;
    }

    std::function<void()> later_;
    Time later_at_ = isotp::never;
    Descriptor raw_ = raw_socket();
    std::deque<Conversation::Sent> tickets_;
    std::vector<std::unique_ptr<Conversation>> conversations_;
    std::map<canid_t, std::vector<Conversation*>> by_id_;
    Data buffer_ = Data(1 << 16);
};

} // namespace telltale::whole
