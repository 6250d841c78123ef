// SPDX-License-Identifier: Apache-2.0
#include "telltale/link/kline_port.hpp"

#include <array>
#include <deque>
#include <utility>

#include <boost/asio/posix/stream_descriptor.hpp>
#include <unistd.h>

#include "serial.hpp"
#include "telltale/frame/kline.hpp"

namespace telltale::link {

namespace asio = boost::asio;

class KlinePort::Impl final : public std::enable_shared_from_this<Impl> {
  public:
    Impl(KlinePort& owner, const Executor& executor, std::string device, std::uint32_t baud)
        : owner_(&owner), device_(std::move(device)), baud_(baud), stream_(executor) {}

    void leave() {
        owner_ = nullptr;
        close();
    }
    Result<void> open() {
        close();
        auto port = SerialPort::open(device_, baud_, true);
        if (!port) {
            trouble = port.error().detail;
            return tl::unexpected<Error>(std::move(port.error()));
        }
        port_ = std::move(*port);
        levels = !port_->pseudo();
        echo_ = Echo::unknown;
        put_.clear();
        gathers = false;
        stream_.assign(port_->descriptor());
        read();
        return {};
    }
    void put(std::uint8_t byte) {
        if (port_ == nullptr)
            return;
        if (::write(port_->descriptor(), &byte, 1) != 1)
            return gone("the serial port did not take a byte");
        if (echo_ != Echo::none)
            put_.push_back(byte);
        if (put_.size() > most_put) // none comes back
            put_.clear();
    }
    void close() {
        if (port_ == nullptr)
            return;
        (void)stream_.release();
        port_.reset();
    }

    bool levels = true;
    bool gathers = false;
    std::string trouble;

  private:
    enum class Echo : std::uint8_t { unknown, whole, none };
    static constexpr std::size_t most_put = 1024;

    void read() {
        stream_.async_read_some(asio::buffer(in_), [self = shared_from_this()](
                                                       const error_code& error, std::size_t size) {
            if (self->owner_ == nullptr || self->port_ == nullptr ||
                error == asio::error::operation_aborted)
                return;
            if (error)
                return self->gone("the serial port is not there any more: " + error.message());
            self->take(size);
            if (self->owner_ != nullptr && self->port_ != nullptr)
                self->read();
        });
    }
    void take(std::size_t size) {
        const Time arrived = now();
        for (std::size_t i = 0; i < size; ++i) {
            const std::uint8_t byte = in_[i];
            if (is_own(byte))
                continue;
            gathers = gathers || i + 1 < size;
            if (owner_ != nullptr && owner_->on_byte)
                owner_->on_byte(byte,
                                arrived - static_cast<Time>(size - 1 - i) * KlineCutter::byte_time);
        }
    }
    bool is_own(std::uint8_t byte) {
        if (put_.empty())
            return false;
        if (byte == put_.front())
            echo_ = Echo::whole;
        else if (echo_ == Echo::unknown)
            echo_ = Echo::none;
        else
            put_.clear(); // something went wrong on the line: whose byte it is, is not known
        if (echo_ == Echo::none || put_.empty()) {
            put_.clear();
            return false;
        }
        put_.pop_front();
        return true;
    }
    void gone(std::string why) {
        trouble = std::move(why);
        close();
        if (owner_ != nullptr && owner_->on_gone)
            owner_->on_gone();
    }

    KlinePort* owner_;
    std::string device_;
    std::uint32_t baud_;
    std::unique_ptr<SerialPort> port_;
    asio::posix::stream_descriptor stream_;
    std::array<std::uint8_t, 512> in_{};
    std::deque<std::uint8_t> put_;
    Echo echo_ = Echo::unknown;
};

KlinePort::KlinePort(const Executor& executor, std::string device, std::uint32_t baud)
    : impl_(std::make_shared<Impl>(*this, executor, std::move(device), baud)) {}
KlinePort::~KlinePort() {
    impl_->leave();
}
Result<void> KlinePort::open() {
    return impl_->open();
}
void KlinePort::put(std::uint8_t byte) {
    impl_->put(byte);
}
void KlinePort::close() {
    impl_->close();
}
bool KlinePort::carries_levels() const noexcept {
    return impl_->levels;
}
bool KlinePort::gathers() const noexcept {
    return impl_->gathers;
}
const std::string& KlinePort::trouble() const noexcept {
    return impl_->trouble;
}

} // namespace telltale::link
