// SPDX-License-Identifier: Apache-2.0
#include "around.hpp"
#include "telltale/link/around.hpp"

namespace telltale::link {

namespace {

class Copying final : public Around {
  public:
    Copying(std::unique_ptr<Link> inside, std::shared_ptr<TrafficWriter> writer,
            std::function<void(const Error&)> failed)
        : Around(std::move(inside)),
          notes_(std::make_shared<Notes>(Notes{std::move(writer), std::move(failed), {}})) {}

    void start_send(const Traffic& traffic, Timeout timeout, SendDone done) override {
        Received kept;
        kept.traffic = traffic;
        // The link may be gone when the handler is called; what it needs it holds.
        inside_->async_send(traffic, timeout,
                            [notes = notes_, piece = std::make_unique<Kept>(kept),
                             done = std::move(done)](error_code error, Sent sent) mutable {
                                if (!error)
                                    notes->write(piece->view().traffic, sent.time, true);
                                done(error, sent);
                            });
    }
    void start_receive(Timeout timeout, ReceiveDone done) override {
        inside_->async_receive(timeout, [notes = notes_, done = std::move(done)](
                                            error_code error, const Received& received) mutable {
            if (!error)
                notes->write(received.traffic, received.time, received.own);
            done(error, received);
        });
    }

  private:
    struct Notes {
        std::shared_ptr<TrafficWriter> writer;
        std::function<void(const Error&)> failed;
        bool over = false;

        void write(const Traffic& traffic, Time time, bool sent) {
            if (over)
                return;
            if (const auto written = writer->write(traffic, time, sent); !written) {
                over = true;
                if (failed)
                    failed(written.error());
            }
        }
    };
    std::shared_ptr<Notes> notes_;
};

} // namespace

std::unique_ptr<Link> copying(std::unique_ptr<Link> inside, std::shared_ptr<TrafficWriter> writer,
                              std::function<void(const Error&)> failed) {
    return std::make_unique<Copying>(std::move(inside), std::move(writer), std::move(failed));
}

} // namespace telltale::link
