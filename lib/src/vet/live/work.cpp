// SPDX-License-Identifier: Apache-2.0
#include "work.hpp"

#include <algorithm>
#include <chrono>

#include <boost/asio/post.hpp>

namespace telltale::vet {

void LiveBase::Work::start(std::function<void(bool)> done) {
    done_ = std::move(done);
    open_links();
}

void LiveBase::Work::stop() {
    // Not at once: vetting itself may be what calls, to tell how far it is.
    boost::asio::post(timer_.get_executor(), [self = shared_from_this()] {
        if (self->over())
            return;
        if (!self->stop_vetting())
            return self->give_up("it was broken off before the links were open");
        self->go_on();
    });
}

void LiveBase::Work::leave() {
    owner_ = nullptr;
    done_ = nullptr;
    timer_.cancel();
    shut();
}

void LiveBase::Work::wake_at(Time at) {
    if (at == timed_for_)
        return;
    timed_for_ = at;
    if (at == never) {
        timer_.cancel();
        return;
    }
    timer_.expires_after(std::chrono::nanoseconds(std::max<Time>(at - link::now(), 0)));
    timer_.async_wait([self = shared_from_this()](const boost::system::error_code& error) {
        if (error || self->over())
            return;
        self->timed_for_ = no_time;
        self->go_on();
    });
}

void LiveBase::Work::finish(bool fine) {
    if (!done_)
        return;
    if (auto found = this->found())
        report_ = *std::move(found);
    report_.links = links_;
    report_.seed = seed_;
    auto done = std::exchange(done_, nullptr);
    timer_.cancel();
    shut();
    done(fine);
}

LiveBase::LiveBase(std::shared_ptr<Work> work) : work_(std::move(work)) {}
LiveBase::~LiveBase() {
    work_->leave();
}
void LiveBase::start(std::function<void(bool)> done) {
    work_->start(std::move(done));
}
void LiveBase::stop() {
    work_->stop();
}
const std::string& LiveBase::trouble() const noexcept {
    return work_->trouble();
}
const Report& LiveBase::report() const noexcept {
    return work_->report();
}

} // namespace telltale::vet
