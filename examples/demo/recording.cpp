// SPDX-License-Identifier: Apache-2.0
#include "recording.hpp"

#include <algorithm>

namespace demo {

namespace {

constexpr std::int64_t microsecond = 1'000;
constexpr std::int64_t millisecond = 1'000'000;
/// What a frame of 8 bytes takes at 500 kbit/s, stuff bits included: two never come closer.
constexpr std::int64_t frame_time = 250 * microsecond;
constexpr std::uint8_t tester_padding = 0x00;
constexpr std::uint8_t ecu_padding = 0xAA;

Message padded(Message data, std::uint8_t padding) {
    data.resize(8, padding);
    return data;
}

Message single(const Message& message, std::uint8_t padding) {
    Message data{static_cast<std::uint8_t>(message.size())};
    data.insert(data.end(), message.begin(), message.end());
    return padded(std::move(data), padding);
}

} // namespace

Recording::Recording(Drive& van, std::vector<Ecu>& ecus, std::uint64_t seed,
                     std::function<void(const Frame&)> logger)
    : van_(van), ecus_(ecus), random_(seed), logger_(std::move(logger)) {}

void Recording::wait_until(double seconds) {
    now_ = std::max(now_, static_cast<std::int64_t>(seconds * 1e9));
}

/// Writes a frame, never closer to the one before than the bus allows; times in whole microseconds.
void Recording::emit(std::int64_t at, std::uint32_t id, Message data) {
    at = std::max(at, last_frame_ + frame_time);
    at -= at % microsecond;
    last_frame_ = at;
    logger_({at, id, std::move(data), std::move(comment_)});
    comment_.clear();
}

/// What else a gateway lets through to the connector: two periodic frames of the maker's own.
void Recording::other_traffic(std::int64_t until) {
    while (next_other_ < until) {
        const bool first = others_ % 2 == 0;
        const auto count = static_cast<std::uint8_t>(others_ / 2);
        std::string kept;
        kept.swap(comment_); // a comment belongs to the conversation
        emit(next_other_, first ? 0x3C5 : 0x4A1,
             first ? Message{0x10, 0x00, count, 0x7F, 0x00, 0x00, 0x00,
                             static_cast<std::uint8_t>(count ^ 0x5A)}
                   : Message{count, 0x00, 0x21, 0x04});
        kept.swap(comment_);
        next_other_ += first ? 40 * millisecond : 960 * millisecond;
        ++others_;
    }
}

/// Puts the frames of one ECU's answer on the list, the tester's flow control among them.
void Recording::send(const Message& message, std::size_t ecu, std::int64_t at,
                     std::vector<Frame>& frames) {
    const auto response = static_cast<std::uint32_t>(0x7E8 + ecu);
    const auto request = static_cast<std::uint32_t>(0x7E0 + ecu);
    if (message.size() <= 7) {
        frames.push_back({at, response, single(message, ecu_padding), {}});
        return;
    }
    Message first{static_cast<std::uint8_t>(0x10 | message.size() >> 8),
                  static_cast<std::uint8_t>(message.size())};
    first.insert(first.end(), message.begin(), message.begin() + 6);
    frames.push_back({at, response, std::move(first), {}});
    at += static_cast<std::int64_t>((0.6 + 0.9 * random_.uniform()) * 1e6);
    frames.push_back({at, request, padded({0x30, 0x00, 0x00}, tester_padding), {}});
    unsigned number = 1;
    for (std::size_t done = 6; done < message.size(); ++number) {
        const std::size_t count = std::min<std::size_t>(7, message.size() - done);
        Message next{static_cast<std::uint8_t>(0x20 | (number & 15))};
        next.insert(next.end(), message.begin() + static_cast<std::ptrdiff_t>(done),
                    message.begin() + static_cast<std::ptrdiff_t>(done + count));
        done += count;
        at += static_cast<std::int64_t>((0.5 + 0.5 * random_.uniform()) * 1e6);
        if (number == lose_)
            lose_ = 0; // the logger misses this one
        else
            frames.push_back({at, response, padded(std::move(next), ecu_padding), {}});
    }
}

void Recording::ask(const Message& request, int ecu) {
    now_ += static_cast<std::int64_t>((1.2 + 1.6 * random_.uniform()) * 1e6);
    other_traffic(now_);
    const bool functional = ecu < 0;
    const std::uint32_t id = functional ? 0x7DF : 0x7E0 + static_cast<std::uint32_t>(ecu);
    emit(now_, id, single(request, tester_padding));
    now_ = last_frame_;

    std::vector<Frame> frames;
    for (std::size_t i = 0; i < ecus_.size(); ++i) {
        if (!functional && static_cast<int>(i) != ecu)
            continue;
        auto at = now_ + static_cast<std::int64_t>((4 + 9 * random_.uniform()) * 1e6);
        if (late_ > 0) {
            frames.push_back({at,
                              static_cast<std::uint32_t>(0x7E8 + i),
                              single({0x7F, request[0], 0x78}, ecu_padding),
                              {}});
            at += static_cast<std::int64_t>(late_ * 1e9);
            late_ = 0;
        }
        van_.run_to(static_cast<double>(at) / 1e9);
        const Message message = ecus_[i].answer(request, functional, van_.signals());
        if (!message.empty())
            send(message, i, at, frames);
    }
    std::stable_sort(frames.begin(), frames.end(),
                     [](const Frame& a, const Frame& b) { return a.time < b.time; });
    for (auto& frame : frames) {
        other_traffic(frame.time);
        emit(frame.time, frame.id, std::move(frame.data));
    }
    now_ = frames.empty() ? now_ + 50 * millisecond : last_frame_; // P2 of ISO 15765-4
}

} // namespace demo
