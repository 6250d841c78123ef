// SPDX-License-Identifier: Apache-2.0
// CAN interfaces of Linux (AF_CAN, raw sockets): Documentation/networking/can.rst of the kernel.
#include <algorithm>
#include <array>
#include <cerrno>
#include <cstring>
#include <optional>

#include <linux/can.h>
#include <linux/can/error.h>
#include <linux/can/raw.h>
#include <net/if.h>
#include <sys/ioctl.h>
#include <sys/socket.h>
#include <time.h>
#include <unistd.h>

#include <boost/asio/posix/stream_descriptor.hpp>

#include "base.hpp"
#include "kinds.hpp"

namespace telltale::link {

namespace {

namespace asio = boost::asio;

constexpr std::size_t most_filters = 64;
constexpr int socket_room = 1 << 20; ///< bytes that the kernel may keep for us
constexpr int most_at_once = 256;    ///< frames read before others get their turn

std::string system_text(int error) {
    return boost::system::system_category().message(error);
}

struct Frame {
    canfd_frame raw;
    std::size_t size = 0; ///< CAN_MTU or CANFD_MTU
};

void to_kernel(const CanFrame& frame, Frame& out) {
    std::memset(&out.raw, 0, sizeof out.raw);
    out.raw.can_id = frame.id.value | (frame.id.extended ? CAN_EFF_FLAG : 0U) |
                     (frame.kind == CanKind::remote ? CAN_RTR_FLAG : 0U);
    out.raw.len = frame.kind == CanKind::remote ? frame.remote_length
                                                : static_cast<std::uint8_t>(frame.data.size());
    out.raw.flags = static_cast<std::uint8_t>((frame.bit_rate_switch ? CANFD_BRS : 0) |
                                              (frame.error_state ? CANFD_ESI : 0));
    std::copy(frame.data.begin(), frame.data.end(), out.raw.data);
    out.size = frame.fd ? CANFD_MTU : CAN_MTU;
}

/// False: not a frame of CAN.
bool from_kernel(const Frame& in, CanFrame& out) {
    out = {};
    const auto id = in.raw.can_id;
    out.fd = in.size == CANFD_MTU;
    if (id & CAN_ERR_FLAG) {
        out.kind = CanKind::error;
        out.id = {id & CAN_ERR_MASK, true};
    } else {
        out.id.extended = (id & CAN_EFF_FLAG) != 0;
        out.id.value = id & (out.id.extended ? CAN_EFF_MASK : CAN_SFF_MASK);
    }
    if (out.fd ? !is_fd_length(in.raw.len) : in.raw.len > CAN_MAX_DLEN)
        return false;
    if ((id & CAN_RTR_FLAG) != 0 && !out.fd && out.kind != CanKind::error) {
        out.kind = CanKind::remote;
        out.remote_length = in.raw.len;
        return true;
    }
    if (out.fd) {
        out.bit_rate_switch = (in.raw.flags & CANFD_BRS) != 0;
        out.error_state = (in.raw.flags & CANFD_ESI) != 0;
    }
    out.data = Bytes(in.raw.data, in.raw.len);
    return true;
}

class SocketCanLink final : public Base {
  public:
    SocketCanLink(const Executor& executor, const LinkName& name)
        : Base(executor, to_string(name), 16'384), wanted_(name), stream_(executor),
          timer_(executor) {}
    ~SocketCanLink() override { close_quietly(*this); }

    Capabilities capabilities() const override {
        Capabilities can;
        can.line = LineKind::can;
        can.fd = fd_;
        can.sends = !wanted_.listen;
        can.filters = true;
        can.confirms_on_wire = true;
        can.error_frames = true;
        can.times = TimeFrom::system;
        return can;
    }

  protected:
    void open() override {
        const auto& place = wanted_.place;
        const int socket = ::socket(PF_CAN, SOCK_RAW | SOCK_NONBLOCK | SOCK_CLOEXEC, CAN_RAW);
        if (socket < 0)
            return open_failed(LinkError::cannot_open,
                               "this system has no CAN sockets: " + system_text(errno));
        stream_.assign(socket);
        const unsigned index = ::if_nametoindex(place.c_str());
        if (index == 0)
            return open_failed(LinkError::cannot_open,
                               "there is no interface '" + place + "'; `ip link` lists them");
        ifreq request{};
        place.copy(request.ifr_name, IFNAMSIZ - 1);
        if (::ioctl(socket, SIOCGIFFLAGS, &request) != 0 || (request.ifr_flags & IFF_UP) == 0)
            return open_failed(LinkError::cannot_open,
                               "'" + place + "' is down; set it up first: ip link set " + place +
                                   " up type can bitrate 500000");
        fd_ = ::ioctl(socket, SIOCGIFMTU, &request) == 0 &&
              request.ifr_mtu >= static_cast<int>(CANFD_MTU) && option(CAN_RAW_FD_FRAMES, 1);
        const can_err_mask_t errors = CAN_ERR_MASK;
        option(CAN_RAW_ERR_FILTER, errors);
        option(CAN_RAW_RECV_OWN_MSGS, 1);
        if (!filter())
            return;
        const int on = 1;
        (void)::setsockopt(socket, SOL_SOCKET, SO_TIMESTAMPNS, &on, sizeof on);
        (void)::setsockopt(socket, SOL_SOCKET, SO_RXQ_OVFL, &on, sizeof on);
        if (::setsockopt(socket, SOL_SOCKET, SO_RCVBUFFORCE, &socket_room, sizeof socket_room) != 0)
            (void)::setsockopt(socket, SOL_SOCKET, SO_RCVBUF, &socket_room, sizeof socket_room);
        sockaddr_can address{};
        address.can_family = AF_CAN;
        address.can_ifindex = static_cast<int>(index);
        if (::bind(socket, reinterpret_cast<const sockaddr*>(&address), sizeof address) != 0)
            return open_failed(LinkError::cannot_open,
                               "cannot listen on '" + place + "': " + system_text(errno));
        dropped_ = 0;
        LineUp up;
        up.fd = fd_;
        opened(up);
        wait();
    }

    void send(const Traffic& traffic) override {
        to_kernel(std::get<CanFrame>(traffic), sending_frame_);
        put();
    }

    void shut() override {
        forget();
        timer_.cancel();
        error_code ignored;
        stream_.close(ignored);
    }

  private:
    template <class Value> bool option(int name, const Value& value) {
        return ::setsockopt(stream_.native_handle(), SOL_CAN_RAW, name, &value, sizeof value) == 0;
    }

    bool filter() {
        const auto& masks = settings_.can.filters;
        if (masks.empty())
            return true;
        if (masks.size() > most_filters) {
            open_failed(LinkError::not_supported, "more than 64 filters");
            return false;
        }
        std::array<can_filter, most_filters> filters{};
        for (std::size_t i = 0; i < masks.size(); ++i) {
            const auto& mask = masks[i];
            filters[i].can_id = mask.id.value | (mask.id.extended ? CAN_EFF_FLAG : 0U);
            filters[i].can_mask =
                (mask.mask & (mask.id.extended ? CAN_EFF_MASK : CAN_SFF_MASK)) | CAN_EFF_FLAG;
        }
        if (::setsockopt(stream_.native_handle(), SOL_CAN_RAW, CAN_RAW_FILTER, filters.data(),
                         static_cast<socklen_t>(masks.size() * sizeof(can_filter))) == 0)
            return true;
        open_failed(LinkError::cannot_open, "cannot set filters: " + system_text(errno));
        return false;
    }

    void put() {
        const auto size = static_cast<ssize_t>(sending_frame_.size);
        if (::write(stream_.native_handle(), &sending_frame_.raw, sending_frame_.size) == size)
            return; // `heard` sees it come back
        const int error = errno;
        if (error == EAGAIN || error == ENOBUFS || error == EINTR) {
            // The interface's queue is full, and nobody says when it no longer is.
            timer_.expires_after(std::chrono::milliseconds(1));
            timer_.async_wait(guarded([this](const error_code& failed) {
                if (!failed && sending_.active())
                    put();
            }));
        } else if (error == ENODEV || error == ENXIO || error == ENETDOWN) {
            lost_line(LinkError::gone,
                      "'" + wanted_.place + "' is not there any more: " + system_text(error));
        } else {
            send_failed(LinkError::refused,
                        "the interface did not take the frame: " + system_text(error));
        }
    }

    void wait() {
        stream_.async_wait(asio::posix::stream_descriptor::wait_read,
                           guarded([this](const error_code& error) {
                               if (!error)
                                   read();
                           }));
    }

    void read() {
        for (int i = 0; i < most_at_once; ++i) {
            Frame frame;
            iovec part{&frame.raw, sizeof frame.raw};
            alignas(cmsghdr) std::array<char, 256> control;
            msghdr message{};
            message.msg_iov = &part;
            message.msg_iovlen = 1;
            message.msg_control = control.data();
            message.msg_controllen = control.size();
            const auto size = ::recvmsg(stream_.native_handle(), &message, 0);
            if (size < 0) {
                const int error = errno;
                if (error == EAGAIN)
                    break;
                if (error == EINTR)
                    continue;
                return lost_line(LinkError::gone,
                                 "'" + wanted_.place +
                                     "' is not there any more: " + system_text(error));
            }
            frame.size = static_cast<std::size_t>(size);
            if (frame.size != CAN_MTU && frame.size != CANFD_MTU) {
                ++bad_;
                continue;
            }
            heard(frame, message);
        }
        read_on([this] { wait(); });
    }

    void heard(const Frame& frame, msghdr& message) {
        Received received;
        received.time = now();
        for (auto* part = CMSG_FIRSTHDR(&message); part != nullptr;
             part = CMSG_NXTHDR(&message, part)) {
            if (part->cmsg_level != SOL_SOCKET)
                continue;
            if (part->cmsg_type == SO_TIMESTAMPNS) {
                timespec stamp{};
                std::memcpy(&stamp, CMSG_DATA(part), sizeof stamp);
                received.time = from_stamp(stamp);
                received.from = TimeFrom::system;
            } else if (part->cmsg_type == SO_RXQ_OVFL) {
                std::uint32_t dropped = 0;
                std::memcpy(&dropped, CMSG_DATA(part), sizeof dropped);
                if (dropped != dropped_)
                    inbox_.lose(dropped - dropped_);
                dropped_ = dropped;
            }
        }
        if ((message.msg_flags & MSG_CONFIRM) != 0) {
            // Ours, come back from the line.
            if (sending_.active() && frame.size == sending_frame_.size &&
                frame.raw.can_id == sending_frame_.raw.can_id &&
                frame.raw.len == sending_frame_.raw.len &&
                std::memcmp(frame.raw.data, sending_frame_.raw.data, frame.raw.len) == 0)
                sent({received.time, received.from});
            return;
        }
        CanFrame can;
        if (!from_kernel(frame, can)) {
            ++bad_;
            return;
        }
        received.traffic = can;
        inbox_.push(received);
    }

    /// The kernel stamps with the system's clock, which may be set meanwhile: what counts is how
    /// long ago it was.
    static Time from_stamp(const timespec& stamp) {
        timespec clock{};
        ::clock_gettime(CLOCK_REALTIME, &clock);
        const Time age =
            (clock.tv_sec - stamp.tv_sec) * nanoseconds_a_second + (clock.tv_nsec - stamp.tv_nsec);
        return now() - std::clamp<Time>(age, 0, nanoseconds_a_second);
    }

    LinkName wanted_;
    asio::posix::stream_descriptor stream_;
    asio::steady_timer timer_;
    Frame sending_frame_;
    bool fd_ = false;
    std::uint32_t dropped_ = 0;
};

} // namespace

std::unique_ptr<Link> make_socketcan(const Executor& executor, const LinkName& name) {
    return std::make_unique<SocketCanLink>(executor, name);
}

} // namespace telltale::link
