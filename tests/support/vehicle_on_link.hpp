// SPDX-License-Identifier: Apache-2.0
// The simulated vehicle at the other end of a link, on the link's executor.
#pragma once

#include <chrono>
#include <cstdint>
#include <deque>

#include <boost/asio/steady_timer.hpp>

#include "telltale/isotp/options.hpp"
#include "telltale/link/link.hpp"
#include "telltale/mimic/vehicle.hpp"

namespace telltale::tests {

class VehicleOnLink {
  public:
    VehicleOnLink(link::Link& link, const mimic::Options& options)
        : link_(link), vehicle_(options), timer_(link.get_executor()) {
        link_.async_open({}, std::chrono::seconds(5),
                         [this](link::error_code error, const link::LineUp&) {
                             if (error)
                                 return;
                             is_open = true;
                             hear();
                         });
    }
    bool is_open = false;
    std::uint64_t heard = 0;

  private:
    void hear() {
        link_.async_receive(link::no_timeout,
                            [this](link::error_code error, const link::Received& received) {
                                if (error)
                                    return;
                                ++heard;
                                if (const auto* can = std::get_if<CanFrame>(&received.traffic))
                                    vehicle_.feed(*can, link::now());
                                hear();
                                speak();
                            });
    }
    void speak() {
        if (sending_)
            return;
        vehicle_.poll(link::now(), [&](const CanFrame& frame) {
            queue_.emplace_back(link::Received{frame, link::now(), {}, false, 0});
        });
        if (!queue_.empty()) {
            sending_ = true;
            link_.async_send(queue_.front().view().traffic, std::chrono::seconds(5),
                             [this](link::error_code error, const link::Sent&) {
                                 sending_ = false;
                                 queue_.pop_front();
                                 if (!error)
                                     speak();
                             });
            return;
        }
        if (vehicle_.next_wakeup() == isotp::never)
            return;
        timer_.expires_after(
            std::chrono::nanoseconds(std::max<Time>(vehicle_.next_wakeup() - link::now(), 0)));
        timer_.async_wait([this](const boost::system::error_code& error) {
            if (!error)
                speak();
        });
    }

    link::Link& link_;
    mimic::Vehicle vehicle_;
    boost::asio::steady_timer timer_;
    std::deque<link::Kept> queue_;
    bool sending_ = false;
};

} // namespace telltale::tests
