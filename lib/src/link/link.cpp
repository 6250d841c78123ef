// SPDX-License-Identifier: Apache-2.0
#include "telltale/link/link.hpp"

#include <boost/asio/execution/outstanding_work.hpp>
#include <boost/asio/post.hpp>
#include <boost/asio/prefer.hpp>

namespace telltale::link {

namespace {

class Category final : public boost::system::error_category {
  public:
    const char* name() const noexcept override { return "telltale.link"; }

    std::string message(int value) const override {
        switch (static_cast<LinkError>(value)) {
        case LinkError::timed_out:
            return "the time allowed was over";
        case LinkError::cancelled:
            return "cancelled";
        case LinkError::not_open:
            return "the link is not open";
        case LinkError::busy:
            return "such an operation is already under way";
        case LinkError::gone:
            return "the device or the other end is not there any more";
        case LinkError::cannot_open:
            return "the link cannot be opened";
        case LinkError::not_supported:
            return "the link cannot do this";
        case LinkError::bad_traffic:
            return "not a piece that this link carries";
        case LinkError::refused:
            return "the other end refused";
        case LinkError::no_answer:
            return "nobody answered";
        case LinkError::wrong_answer:
            return "the other end broke the protocol";
        case LinkError::collision:
            return "what came back on the line is not what was sent";
        case LinkError::end_of_dump:
            return "the dump is over";
        }
        return "unknown error";
    }

    boost::system::error_condition default_error_condition(int value) const noexcept override {
        namespace errc = boost::system::errc;
        if (static_cast<LinkError>(value) == LinkError::timed_out)
            return errc::make_error_condition(errc::timed_out);
        if (static_cast<LinkError>(value) == LinkError::cancelled)
            return errc::make_error_condition(errc::operation_canceled);
        return {value, *this};
    }
};

} // namespace

const boost::system::error_category& link_category() noexcept {
    static const Category category;
    return category;
}

Call::Call(const Executor& wanted)
    : executor_(boost::asio::prefer(wanted, boost::asio::execution::outstanding_work.tracked)) {}

void Call::post(std::unique_ptr<Call> call) {
    const Executor executor = call->executor_;
    boost::asio::post(executor, [held = std::move(call)]() mutable {
        const auto running = std::move(held);
        running->run();
    });
}

} // namespace telltale::link
