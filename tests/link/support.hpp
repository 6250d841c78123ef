// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <atomic>
#include <chrono>
#include <cstdlib>
#include <functional>
#include <memory>
#include <optional>
#include <string>
#include <thread>
#include <vector>

#include <fcntl.h>
#include <poll.h>
#include <unistd.h>

#include <boost/asio/io_context.hpp>
#include <doctest/doctest.h>

#include "support/pseudo_terminal.hpp"
#include "support/run_until.hpp"
#include "telltale/link/open.hpp"

namespace test {

using namespace telltale;
using namespace telltale::link;
using namespace std::chrono_literals;
using Data = std::vector<std::uint8_t>;

inline CanFrame can(std::uint32_t id, Bytes data, bool extended = false) {
    CanFrame frame;
    frame.id = {id, extended};
    frame.data = data;
    return frame;
}

/// One loop, and links used as if they waited.
struct Loop {
    boost::asio::io_context context{1};

    void run_until(const std::function<bool()>& done, std::chrono::milliseconds most = 10s) {
        CHECK(tests::run_until(context, done, most));
    }
    struct Opened {
        error_code error;
        LineUp up;
    };
    Opened open(Link& link, const OpenSettings& settings = {}, Timeout timeout = 5s) {
        std::optional<Opened> result;
        link.async_open(settings, timeout, [&](error_code error, const LineUp& up) {
            result = {error, up};
        });
        run_until([&] { return result.has_value(); });
        return *result;
    }
    error_code send(Link& link, const Traffic& traffic, Timeout timeout = 2s) {
        std::optional<error_code> result;
        link.async_send(traffic, timeout, [&](error_code error, Sent) { result = error; });
        run_until([&] { return result.has_value(); });
        return *result;
    }
    struct Got {
        error_code error;
        Received received;
        Data bytes;
    };
    Got receive(Link& link, Timeout timeout = 2s) {
        std::optional<Got> result;
        link.async_receive(timeout, [&](error_code error, const Received& received) {
            const auto bytes = bytes_of(received.traffic);
            result = {error, received, {bytes.begin(), bytes.end()}};
        });
        run_until([&] { return result.has_value(); });
        return *result;
    }
};

/// A pseudo terminal; the test is the device at its other end, in a thread that answers.
class Device {
  public:
    /// `heard` is given what came, and says with what to answer.
    explicit Device(std::function<std::string(const std::string&)> heard)
        : heard_(std::move(heard)) {
        master_ = tests::open_pseudo_terminal(O_NONBLOCK | O_CLOEXEC);
        REQUIRE(master_ >= 0);
        path_ = ::ptsname(master_);
        thread_ = std::thread([this] { run(); });
    }
    ~Device() {
        over_ = true;
        thread_.join();
        if (master_ >= 0)
            ::close(master_);
    }
    const std::string& path() const { return path_; }
    void say(const std::string& text) {
        for (std::size_t at = 0; at < text.size();) {
            const auto put = ::write(master_, text.data() + at, text.size() - at);
            if (put > 0) {
                at += static_cast<std::size_t>(put);
                continue;
            }
            pollfd ready{master_, POLLOUT, 0}; // the other side reads slowly
            REQUIRE(::poll(&ready, 1, 5000) == 1);
        }
    }
    /// Pulls the plug.
    void unplug() {
        over_ = true;
        thread_.join();
        ::close(master_);
        master_ = -1;
        thread_ = std::thread([] {});
    }

  private:
    void run() {
        while (!over_) {
            pollfd ready{master_, POLLIN, 0};
            if (::poll(&ready, 1, 5) <= 0)
                continue;
            if ((ready.revents & POLLIN) == 0) { // nobody has the other side open
                std::this_thread::sleep_for(2ms);
                continue;
            }
            char buffer[512];
            const auto size = ::read(master_, buffer, sizeof buffer);
            if (size <= 0)
                continue;
            const auto answer = heard_(std::string(buffer, static_cast<std::size_t>(size)));
            if (!answer.empty())
                (void)!::write(master_, answer.data(), answer.size());
        }
    }
    std::function<std::string(const std::string&)> heard_;
    int master_ = -1;
    std::string path_;
    std::atomic<bool> over_ = false;
    std::thread thread_;
};

} // namespace test
