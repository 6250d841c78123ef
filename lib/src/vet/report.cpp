// SPDX-License-Identifier: Apache-2.0
#include "telltale/vet/report.hpp"

#include <algorithm>

namespace telltale::vet {

std::string_view word(Verdict verdict) noexcept {
    switch (verdict) {
    case Verdict::passed:
        return "passed";
    case Verdict::failed:
        return "failed";
    case Verdict::untested:
        break;
    }
    return "untested";
}

Time Latency::begin(std::size_t bucket) noexcept {
    constexpr std::array<Time, 6> tenths{10, 15, 20, 30, 50, 70};
    if (bucket == 0)
        return 0;
    Time decade = 100; // ns: a tenth of a microsecond
    for (std::size_t i = (bucket - 1) / 6; i > 0; --i)
        decade *= 10;
    return decade * tenths[(bucket - 1) % 6];
}

void Latency::add(Time duration) noexcept {
    const Time time = std::max<Time>(duration, 0);
    std::size_t bucket = 0;
    while (bucket + 1 < buckets && begin(bucket + 1) <= time)
        ++bucket;
    ++counts_[bucket];
    least_ = total_ == 0 ? time : std::min(least_, time);
    greatest_ = std::max(greatest_, time);
    ++total_;
}

Time Latency::within(double part) const noexcept {
    const double wanted = part * static_cast<double>(total_);
    std::uint64_t seen = 0;
    for (std::size_t bucket = 0; bucket + 1 < buckets; ++bucket) {
        seen += counts_[bucket];
        if (seen != 0 && static_cast<double>(seen) >= wanted)
            return std::min(begin(bucket + 1), greatest_);
    }
    return greatest_;
}

Verdict Report::verdict() const noexcept {
    if (count(Verdict::failed) != 0)
        return Verdict::failed;
    return count(Verdict::passed) != 0 && broken_off.empty() ? Verdict::passed : Verdict::untested;
}

std::size_t Report::count(Verdict wanted) const noexcept {
    return static_cast<std::size_t>(std::count_if(
        checks.begin(), checks.end(), [&](const Check& check) { return check.verdict == wanted; }));
}

} // namespace telltale::vet
