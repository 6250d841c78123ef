// SPDX-License-Identifier: Apache-2.0
#include "telltale/link/traffic.hpp"

#include <algorithm>
#include <chrono>

namespace telltale::link {

namespace {

template <class Clock> Time read_clock() {
    return std::chrono::duration_cast<std::chrono::nanoseconds>(Clock::now().time_since_epoch())
        .count();
}

Bytes with_bytes(Traffic& traffic, Bytes bytes) {
    if (auto* can = std::get_if<CanFrame>(&traffic))
        can->data = bytes;
    else if (auto* kline = std::get_if<KlineBytes>(&traffic))
        kline->frame = bytes;
    else
        std::get<DoipMessage>(traffic).bytes = bytes;
    return bytes;
}

} // namespace

Time now() noexcept {
    static const Time offset =
        read_clock<std::chrono::system_clock>() - read_clock<std::chrono::steady_clock>();
    return read_clock<std::chrono::steady_clock>() + offset;
}

Kept& Kept::operator=(const Received& received) {
    received_ = received;
    const Bytes bytes = bytes_of(received.traffic);
    size_ = bytes.size();
    if (size_ <= small_.size())
        std::copy(bytes.begin(), bytes.end(), small_.begin());
    else
        large_.assign(bytes.begin(), bytes.end());
    with_bytes(received_.traffic, {});
    return *this;
}

Received Kept::view() const {
    Received received = received_;
    with_bytes(received.traffic,
               size_ <= small_.size() ? Bytes(small_).first(size_) : Bytes(large_).first(size_));
    return received;
}

} // namespace telltale::link
