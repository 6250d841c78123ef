// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <poll.h>
#include <sys/socket.h>
#include <unistd.h>

#include <linux/can.h>
#include <linux/can/raw.h>
#include <net/if.h>

#include <cerrno>

#include <doctest/doctest.h>

namespace telltale::whole {

/// A raw socket beside the link, used as plainly as can be.
class Beside {
  public:
    explicit Beside(const char* interface) : socket_(::socket(PF_CAN, SOCK_RAW, CAN_RAW)) {
        REQUIRE(socket_ >= 0);
        const int on = 1;
        REQUIRE(::setsockopt(socket_, SOL_CAN_RAW, CAN_RAW_FD_FRAMES, &on, sizeof on) == 0);
        const int room = 16 << 20;
        REQUIRE(::setsockopt(socket_, SOL_SOCKET, SO_RCVBUFFORCE, &room, sizeof room) == 0);
        sockaddr_can address{};
        address.can_family = AF_CAN;
        address.can_ifindex = static_cast<int>(::if_nametoindex(interface));
        REQUIRE(::bind(socket_, reinterpret_cast<sockaddr*>(&address), sizeof address) == 0);
    }
    Beside(const Beside&) = delete;
    Beside& operator=(const Beside&) = delete;
    ~Beside() { ::close(socket_); }

    void send(const canfd_frame& frame, bool fd) {
        const std::size_t size = fd ? CANFD_MTU : CAN_MTU;
        for (int i = 0; ::write(socket_, &frame, size) != static_cast<ssize_t>(size); ++i) {
            REQUIRE(errno == ENOBUFS); // the queue of a slow interface
            REQUIRE(i < 5000);
            ::usleep(1000);
        }
    }
    /// False: none within the time.
    bool receive(canfd_frame& frame, bool& fd, int milliseconds) {
        pollfd ready{socket_, POLLIN, 0};
        if (::poll(&ready, 1, milliseconds) <= 0)
            return false;
        frame = {};
        const auto size = ::read(socket_, &frame, sizeof frame);
        REQUIRE((size == CAN_MTU || size == CANFD_MTU));
        fd = size == CANFD_MTU;
        return true;
    }

  private:
    int socket_;
};

} // namespace telltale::whole
