// SPDX-License-Identifier: Apache-2.0
// A link driver of one's own: here the "device" is a table of one answer. See
// lib/doc/link_driver.md.
#include <chrono>
#include <cstdio>
#include <utility>

#include <boost/asio/io_context.hpp>

#include <telltale/link/link.hpp>

namespace wire = telltale::link; // <unistd.h> has a link already

//! [driver]
/// Answers a request for the engine speed. What a real one waits for, this one has at once.
class OwnLink final : public wire::Link {
  public:
    explicit OwnLink(wire::Executor executor) : executor_(std::move(executor)) {}

    std::string name() const override { return "own"; }
    wire::Capabilities capabilities() const override { return {}; } // classic CAN, both ways
    wire::LinkCounts counts() const override { return counts_; }
    wire::Executor get_executor() const override { return executor_; }
    std::string trouble() const override { return trouble_; }

    void start_open(wire::OpenSettings, wire::Timeout, OpenDone done) override {
        close(); // what was open is closed first
        open_ = true;
        wire::LineUp up;
        up.time = wire::now();
        done({}, up);
    }
    void start_send(const wire::Traffic& traffic, wire::Timeout, SendDone done) override {
        const auto* frame = std::get_if<telltale::CanFrame>(&traffic);
        if (!open_ || frame == nullptr) {
            trouble_ = open_ ? "This link carries CAN frames only." : "Open the link first.";
            return done(open_ ? wire::LinkError::bad_traffic : wire::LinkError::not_open);
        }
        ++counts_.sent;
        done({}, {wire::now(), wire::TimeFrom::program});
        const auto wanted = frame->data;
        if (frame->id.value == 0x7DF && wanted.size() >= 3 && wanted[1] == 1 && wanted[2] == 0x0C)
            waiting_ = true; // the answer has arrived
        deliver();
    }
    void start_receive(wire::Timeout, ReceiveDone done) override {
        if (receive_) // each kind of operation may be under way once
            return done(wire::LinkError::busy);
        receive_ = std::move(done);
        deliver();
    }
    void cancel() override {
        if (receive_)
            std::exchange(receive_, {})(wire::LinkError::cancelled);
    }
    void close() override {
        cancel();
        open_ = waiting_ = false;
    }

  private:
    void deliver() {
        if (!receive_ || !waiting_)
            return;
        waiting_ = false;
        ++counts_.received;
        wire::Received received;
        telltale::CanFrame frame;
        frame.id.value = 0x7E8;
        frame.data = answer_; // a view that lives until the next receive
        received.traffic = frame;
        received.time = wire::now();
        std::exchange(receive_, {})({}, received);
    }

    wire::Executor executor_;
    wire::LinkCounts counts_;
    std::string trouble_;
    ReceiveDone receive_;
    bool open_ = false;
    bool waiting_ = false;
    const std::uint8_t answer_[8] = {0x04, 0x41, 0x0C, 0x1A, 0xF8};
};
//! [driver]

int main() {
    using std::chrono::seconds;
    boost::asio::io_context context;
    OwnLink own(context.get_executor());
    wire::Link& any = own; // from here on nothing knows which link it is
    const std::uint8_t request[8] = {0x02, 0x01, 0x0C};
    telltale::CanFrame frame;
    frame.id.value = 0x7DF;
    frame.data = request;
    any.async_open({}, seconds(1), [&](wire::error_code, wire::LineUp) {
        any.async_receive(seconds(1), [](wire::error_code error, const wire::Received& received) {
            const auto bytes = wire::bytes_of(received.traffic);
            if (!error && bytes.size() == 8)
                std::printf("%d rpm\n", static_cast<int>(telltale::big_endian(bytes, 3, 2) / 4));
        });
        any.async_send(frame, seconds(1), [](wire::error_code, wire::Sent) {});
    });
    context.run();
}
