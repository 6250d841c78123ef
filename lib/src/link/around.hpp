// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <memory>
#include <utility>

#include "telltale/link/link.hpp"

namespace telltale::link {

/// Passes everything on to the link inside.
class Around : public Link {
  public:
    std::string name() const override { return inside_->name(); }
    Capabilities capabilities() const override { return inside_->capabilities(); }
    LinkCounts counts() const override { return inside_->counts(); }
    Executor get_executor() const override { return inside_->get_executor(); }
    std::string trouble() const override { return inside_->trouble(); }
    void cancel() override { inside_->cancel(); }
    void close() override { inside_->close(); }
    void start_open(OpenSettings settings, Timeout timeout, OpenDone done) override {
        inside_->start_open(std::move(settings), timeout, std::move(done));
    }
    void start_send(const Traffic& traffic, Timeout timeout, SendDone done) override {
        inside_->start_send(traffic, timeout, std::move(done));
    }
    void start_receive(Timeout timeout, ReceiveDone done) override {
        inside_->start_receive(timeout, std::move(done));
    }

  protected:
    explicit Around(std::unique_ptr<Link> inside) : inside_(std::move(inside)) {}
    std::unique_ptr<Link> inside_;
};

} // namespace telltale::link
