// SPDX-License-Identifier: Apache-2.0
// What a simple program would do, to hold the poller against.
#pragma once

#include <array>
#include <cstdint>
#include <vector>

#include "telltale/client/poller.hpp"

namespace telltale::bench {

/// One PID after the other of one ECU; the next as soon as the answer is there.
class PlainLoop final : public client::Task {
  public:
    explicit PlainLoop(const std::vector<client::Wanted>& wanted) : wanted_(wanted) {}
    bool next(Time, client::Request& request) override {
        const client::Wanted& want = wanted_[at_++ % wanted_.size()];
        bytes_ = {0x01, want.pid};
        request.bytes = bytes_;
        request.to = want.ecu;
        return true;
    }
    void told(const client::Exchange& exchange, Time) override {
        values += exchange.outcome == client::Outcome::answer ? 1U : 0U;
    }
    bool done() const override { return false; }
    std::uint64_t values = 0;

  private:
    const std::vector<client::Wanted>& wanted_;
    std::size_t at_ = 0;
    std::array<std::uint8_t, 2> bytes_{};
};

} // namespace telltale::bench
