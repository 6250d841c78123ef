// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <functional>
#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include <boost/asio/steady_timer.hpp>

#include "../clock.hpp"
#include "telltale/link/link.hpp"
#include "telltale/vet/live_base.hpp"

namespace telltale::vet {

/// What the vetting of each kind of line does on its links. It outlives what its user holds as long
/// as something that it began is under way.
class LiveBase::Work : public std::enable_shared_from_this<Work> {
  public:
    template <typename Vetting> class On;

    Work(LiveBase& owner, const link::Executor& executor, std::uint64_t seed)
        : owner_(&owner), seed_(seed), timer_(executor) {}
    virtual ~Work() = default;
    Work(const Work&) = delete;
    Work& operator=(const Work&) = delete;

    void start(std::function<void(bool)> done);
    void stop();
    /// Whoever holds it is gone.
    void leave();
    const std::string& trouble() const noexcept { return trouble_; }
    const Report& report() const noexcept { return report_; }

  protected:
    /// Opens what there is to be opened; vetting begins when that is done.
    virtual void open_links() = 0;
    /// Ends vetting. False: it has not begun.
    virtual bool stop_vetting() = 0;
    /// What vetting has found; none: it has not begun.
    virtual std::optional<Report> found() const = 0;
    /// Does what is due: everything that follows from what just happened.
    virtual void go_on() = 0;
    /// Closes everything, so that no handler comes any more that counts.
    virtual void shut() = 0;

    /// Nobody waits for anything any more.
    bool over() const { return owner_ == nullptr || !done_; }
    /// None: nobody holds it.
    LiveBase* owner() const { return owner_; }
    void tell(std::string_view what, double part) {
        if (owner_ != nullptr && owner_->on_progress)
            owner_->on_progress(what, part);
    }
    /// `go_on` is called then, and no more for what was asked before.
    void wake_at(Time at);
    void finish(bool fine);
    /// Nothing can be tried, for this reason.
    void give_up(std::string trouble) {
        trouble_ = std::move(trouble);
        finish(false);
    }
    void cannot_open(const link::Link& link, link::error_code error) {
        give_up(link.name() + ": " + (link.trouble().empty() ? error.message() : link.trouble()));
    }

    std::vector<LinkUnderTest> links_; ///< for the report
    std::string trouble_;

  private:
    LiveBase* owner_;
    std::uint64_t seed_;
    std::function<void(bool)> done_;
    Report report_;
    boost::asio::steady_timer timer_;
    Time timed_for_ = no_time;
};

/// Work with its vetting, which there is once the links are open.
template <typename Vetting> class LiveBase::Work::On : public LiveBase::Work {
  protected:
    using Work::Work;

    bool stop_vetting() final {
        if (vetting_)
            vetting_->stop(link::now());
        return vetting_.has_value();
    }
    std::optional<Report> found() const final {
        return vetting_ ? std::optional<Report>(vetting_->report()) : std::nullopt;
    }

    std::optional<Vetting> vetting_;
};

/// What ended a receive ended the link. What did not was one piece that could not be used.
inline bool is_lost(link::error_code error) {
    return error && error != link::LinkError::bad_traffic && error != link::LinkError::wrong_answer;
}

} // namespace telltale::vet
