// SPDX-License-Identifier: Apache-2.0
#include <algorithm>
#include <bit>

#include "telltale/vehicle/picture.hpp"

namespace telltale::vehicle {

namespace {

/// Eight steps an octave: below 8 ns each nanosecond has its own.
std::size_t bucket_of(std::uint64_t delay) {
    if (delay < 8)
        return static_cast<std::size_t>(delay);
    const auto octave = static_cast<unsigned>(std::bit_width(delay)) - 4; // 0 for 8 to 15
    return std::size_t{8} * (octave + 1) + static_cast<std::size_t>(delay >> octave & 7);
}

/// The middle of a bucket.
std::uint64_t middle_of(std::size_t bucket) {
    if (bucket < 8)
        return bucket;
    const auto octave = bucket / 8 - 1;
    const std::uint64_t low = (8 + bucket % 8) << octave;
    return low + (std::uint64_t{1} << octave) / 2;
}

} // namespace

void Delays::add(Time delay) {
    const Time kept = std::max<Time>(delay, 0);
    min_ = count_ == 0 ? kept : std::min(min_, kept);
    max_ = count_ == 0 ? kept : std::max(max_, kept);
    sum_ += static_cast<double>(kept);
    ++count_;
    ++histogram_[std::min(bucket_of(static_cast<std::uint64_t>(kept)), buckets - 1)];
}

Time Delays::mean() const {
    return count_ == 0 ? 0 : static_cast<Time>(sum_ / static_cast<double>(count_));
}

Time Delays::median() const {
    std::uint64_t before = 0;
    for (std::size_t i = 0; i < buckets; ++i) {
        before += histogram_[i];
        if (2 * before >= count_ && before != 0)
            return std::clamp(static_cast<Time>(middle_of(i)), min_, max_);
    }
    return 0;
}

} // namespace telltale::vehicle
