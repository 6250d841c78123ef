// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "telltale/base/export.hpp"
#include "telltale/base/time.hpp"

namespace telltale::vet {

/// What came of a check.
enum class Verdict : std::uint8_t {
    passed,
    failed,
    untested, ///< it could not be tried on this link, or not to the end: never counts as passed
};
/// `passed`, `failed`, `untested`.
TELLTALE_API std::string_view word(Verdict verdict) noexcept;

/// One offending frame or message, as text of our own making (hex digits and words; safe to print).
struct Example {
    Time time = no_time; ///< ns since vetting began
    std::string sent;    ///< empty: nothing was
    std::string came;    ///< empty: nothing did
    std::string what;    ///< `lost`, `changed`, `twice`, `out of order`, `late` ...
};

/// One row of the result: what was tried, and what came of it.
struct Check {
    static constexpr std::size_t most_examples = 5;

    std::string id;    ///< stable word: `can-order`
    std::string group; ///< stable word: `frames`, `load`, `times`, `isotp`, `kline`, `doip` ...
    std::string title; ///< for people: `Order is kept`
    std::string sent;  ///< what was sent: `20,000 frames back to back in both directions`
    std::string came;  ///< what came of it, measured
    std::uint64_t sent_count = 0;  ///< frames or messages that were judged
    std::uint64_t wrong_count = 0; ///< of them, or of what came
    Verdict verdict = Verdict::untested;
    std::string basis;   ///< clause of a standard behind the limit, or `common practice`
    std::string finding; ///< one plain sentence: the fault by its name; or why it was not tested
    std::vector<Example> examples; ///< at most `most_examples`

    void example(Example wrong) {
        if (examples.size() < most_examples)
            examples.push_back(std::move(wrong));
    }
};

/// How long something took, counted in fixed buckets: six a decade from one microsecond to ten
/// seconds, one for what is less and one for what is more. Times are ns; less than 0 counts as 0.
class TELLTALE_API Latency {
  public:
    static constexpr std::size_t buckets = 1 + 7 * 6 + 1;
    /// Where the bucket begins, ns; that of the first is 0. It ends where the next begins, the last
    /// one never.
    static Time begin(std::size_t bucket) noexcept;

    void add(Time duration) noexcept;
    std::uint64_t count(std::size_t bucket) const noexcept { return counts_[bucket]; }
    std::uint64_t total() const noexcept { return total_; }
    Time least() const noexcept { return least_; }       ///< 0 while `total` is
    Time greatest() const noexcept { return greatest_; } ///< 0 while `total` is
    /// The end of the bucket in which the given part of all lies (0.5: the median), but not above
    /// the greatest; 0 while `total` is.
    Time within(double part) const noexcept;

  private:
    std::array<std::uint64_t, buckets> counts_{};
    std::uint64_t total_ = 0;
    Time least_ = 0;
    Time greatest_ = 0;
};

/// A histogram with its name: `LINK to LINK2`.
struct NamedLatency {
    std::string name;
    Latency latency;
};

/// One end of what was tried.
struct LinkUnderTest {
    std::string name;     ///< as it was given: `slcan:/dev/ttyACM0@500k`
    std::string part;     ///< `under test`, `reference`, `vehicle`, `dump`
    std::string settings; ///< bit rate, FD, time stamps of ..., filters ...; as text
};

/// What is kept of vetting an adapter. All text is safe to print but the adapter's name and the
/// links', which the user gave.
struct TELLTALE_API Report {
    std::string adapter; ///< as the user names it; empty: the link's name
    std::string date;    ///< `2026-11-25 18:20:05 UTC`; empty: not said
    std::vector<LinkUnderTest> links;
    std::vector<std::pair<std::string, std::string>> versions; ///< `telltale`, `kernel` ...
    std::uint64_t seed = 0;
    Time duration = 0; ///< ns that it took; 0: not said
    std::vector<Check> checks;
    std::vector<NamedLatency> latencies;
    std::vector<std::string> notes; ///< sentences that hold for the whole
    std::string broken_off;         ///< why it ended before its end, a sentence; empty: it did not

    /// Failed if any check failed; untested if none passed, or it was broken off; else passed.
    Verdict verdict() const noexcept;
    std::size_t count(Verdict verdict) const noexcept;
};

} // namespace telltale::vet
