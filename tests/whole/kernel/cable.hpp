// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <array>
#include <atomic>
#include <cstdlib>
#include <string>
#include <thread>

#include <doctest/doctest.h>
#include <fcntl.h>
#include <linux/tty.h>
#include <net/if.h>
#include <poll.h>
#include <sys/ioctl.h>
#include <unistd.h>

#include "support/pseudo_terminal.hpp"

namespace telltale::whole {

inline void shell(const std::string& command) {
    INFO(command);
    REQUIRE(std::system(command.c_str()) == 0);
}

/// Two pseudo terminals whose far ends are wired together: a null modem.
class Cable {
  public:
    Cable() {
        for (End& end : ends_) {
            end.master = tests::open_pseudo_terminal(O_NONBLOCK);
            REQUIRE(end.master >= 0);
            end.path = ::ptsname(end.master);
            end.held = ::open(end.path.c_str(), O_RDWR | O_NOCTTY); // so that none hangs up
            REQUIRE(end.held >= 0);
        }
        thread_ = std::thread([this] { run(); });
    }
    ~Cable() {
        over_ = true;
        thread_.join();
        for (End& end : ends_) {
            ::close(end.held);
            ::close(end.master);
        }
    }
    const std::string& path(std::size_t end) const { return ends_[end].path; }
    int held(std::size_t end) const { return ends_[end].held; }
    std::size_t carried() const { return carried_; }

  private:
    struct End {
        int master = -1;
        int held = -1;
        std::string path;
        std::string out;
    };
    void run() {
        while (!over_) {
            pollfd ready[2]{};
            for (std::size_t i = 0; i < 2; ++i) {
                ready[i].fd = ends_[i].master;
                ready[i].events = static_cast<short>((ends_[1 - i].out.empty() ? POLLIN : 0) |
                                                     (ends_[i].out.empty() ? 0 : POLLOUT));
            }
            if (::poll(ready, 2, 5) <= 0)
                continue;
            for (std::size_t i = 0; i < 2; ++i) {
                End& to = ends_[1 - i];
                char buffer[512];
                if ((ready[i].revents & POLLIN) != 0 && to.out.empty()) {
                    const auto size = ::read(ends_[i].master, buffer, sizeof buffer);
                    if (size > 0) {
                        to.out.assign(buffer, static_cast<std::size_t>(size));
                        carried_ += static_cast<std::size_t>(size);
                    }
                }
                if (!to.out.empty()) {
                    const auto size = ::write(to.master, to.out.data(), to.out.size());
                    if (size > 0)
                        to.out.erase(0, static_cast<std::size_t>(size));
                }
            }
        }
    }
    std::array<End, 2> ends_;
    std::atomic<bool> over_ = false;
    std::atomic<std::size_t> carried_ = 0;
    std::thread thread_;
};

/// Has the kernel's driver for serial-line CAN adapters take this end of the cable; the interface
/// that it makes of it, up.
inline std::string slcan_interface(const Cable& cable, std::size_t end) {
    // Documentation/networking/can.rst; drivers/net/can/slcan
    const int discipline = N_SLCAN;
    REQUIRE(::ioctl(cable.held(end), TIOCSETD, &discipline) == 0);
    ifreq request{};
    REQUIRE(::ioctl(cable.held(end), SIOCGIFNAME, &request) == 0);
    const std::string interface = request.ifr_name;
    shell("ip link set " + interface + " up");
    return interface;
}

} // namespace telltale::whole
