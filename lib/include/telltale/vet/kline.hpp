// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>
#include <deque>
#include <limits>
#include <optional>
#include <string>
#include <vector>

#include "telltale/base/bytes.hpp"
#include "telltale/base/export.hpp"
#include "telltale/base/time.hpp"
#include "telltale/frame/kline.hpp"
#include "telltale/vet/report.hpp"
#include "telltale/vet/vetting.hpp"

namespace telltale::vet {

/// How the adapter is to wake the line.
enum class KlineWaking : std::uint8_t { none, five_baud, fast };

/// What is to be tried.
struct KlineOptions {
    bool wakes = true;               ///< the line carries the wake-up (not so a pseudo terminal)
    std::optional<KlineWaking> only; ///< it is woken in this way alone
    bool exact = true;               ///< `heard` has the times of the bytes: pauses are judged
    Time slack = nanoseconds_a_millisecond;    ///< that times at the reference may be off by
    Time duration = 60 * nanoseconds_a_second; ///< all lengths once, and more until it is over
    std::uint64_t seed = 1; ///< the same one tries the same things in the same order
};

/// What an adapter heard of the frame that it sent. On one wire a tester hears itself.
enum class KlineEcho : std::uint8_t {
    unknown, ///< it does not say
    whole,
    none,
    wrong, ///< something else, or not all of it
};

/// What vetting a K-line adapter wants done. Nothing here may call it. Views die when the call
/// returns.
class TELLTALE_API KlineVetOutlet {
  public:
    virtual ~KlineVetOutlet() = default;
    /// Has the adapter open the line, and wake it; `opened` follows.
    virtual void open(KlineWaking how) = 0;
    /// Has the adapter send a whole frame, checksum included; `sent` follows.
    virtual void send(Bytes frame) = 0;
    /// The reference puts a byte on the line, now.
    virtual void put(std::uint8_t byte) = 0;
};

/// Vets a K-line adapter against the other end of the line, which this is: an ECU that knows what
/// it will be asked. No I/O. It hears what the adapter puts on the line, bit for bit and with its
/// pauses, answers with what it knows, harms a checksum now and then, and looks at what the adapter
/// hands on (ISO 9141-2, ISO 14230-2). Memory is bounded whatever comes. Times, threads and what
/// comes too late: as `Vetting`.
class TELLTALE_API KlineVetting {
  public:
    KlineVetting(const KlineOptions& options, Time now);

    /// The adapter has opened the line (and woken it), or could not.
    void opened(bool fine, Time now);
    /// The frame is on the line, or was not taken.
    void sent(bool fine, Time now, KlineEcho echo = KlineEcho::unknown);
    /// An end is not there any more: that ends it.
    void gone(End end, Time now);
    /// The end of it all: what was not tried is untested.
    void stop(Time /*now*/) noexcept {
        stopped_ = stopped_ || step_ != Step::over;
        step_ = Step::over;
    }
    /// The reference does not have the times of single bytes after all: pauses are not judged.
    void inexact() noexcept { options_.exact = false; }
    /// The adapter hands on what it heard: a frame, checksum included, of any length.
    void received(Bytes frame, Time now);
    /// A byte came over the line to the reference; `now` is that of its end. What the reference put
    /// there itself is left out. A low level longer than a byte comes as a zero byte, at its begin.
    void heard(std::uint8_t byte, Time now);

    /// As those of `Vetting`.
    void poll(Time now, KlineVetOutlet& outlet);
    Time next_wakeup() const noexcept {
        return next_ == no_time ? std::numeric_limits<Time>::max() : next_;
    }
    bool done() const noexcept { return step_ == Step::over; }
    /// So much of it is done, 0 to 1.
    double part(Time now) const noexcept;
    /// Checks, latency and notes as they are now; what was not tried is untested.
    Report report() const;

  private:
    enum class Step : std::uint8_t { listen, open, opening, ask, sending, waiting, over };
    enum class Kind : std::uint8_t { usual, slow, late, harmed };
    struct Exchange {
        Kind kind = Kind::usual;
        std::size_t request = 1;
        std::size_t answer = 1;
    };
    struct Due {
        Time at = 0;
        std::uint8_t byte = 0;
    };
    struct Count {
        std::uint64_t all = 0;
        std::uint64_t wrong = 0;
        std::vector<Example> examples;
        void fault(Time since, std::string sent, std::string came, std::string what);
    };
    static constexpr std::size_t most_bytes = 4 * max_kline_frame;

    void plan();
    void plan_more();
    void begin(KlineVetOutlet& outlet, Time now);
    void answer_to(Bytes frame, Time end);
    void low(Time now);
    void end_exchange(Time now);
    void put_at(Time at, Bytes bytes, Time gap);
    Time patience() const;
    Time since(Time now) const { return now - begun_; }
    std::vector<std::uint8_t> make(std::size_t data, bool answer);

    KlineOptions options_;
    Time begun_;
    Step step_ = Step::listen;
    Time next_;
    std::vector<KlineWaking> wakings_;
    std::size_t waking_ = 0;
    std::vector<Exchange> plan_;
    std::size_t at_ = 0;
    std::uint64_t chance_; ///< what random numbers follow from
    bool whole_ = false;   ///< all lengths were tried once
    bool noise_ = false;
    std::optional<End> gone_;
    bool stopped_ = false;

    // the reference
    std::deque<Due> due_;
    std::array<std::uint8_t, max_kline_frame> heard_{};
    std::size_t heard_size_ = 0;
    Time last_heard_ = no_time;
    Time low_ = no_time;
    unsigned lows_ = 0;
    Time key_end_ = no_time; ///< of the second key byte; then its inversion is waited for
    bool key_back_ = false;
    Time w4_ = no_time;
    bool awake_ = false;
    Time free_ = no_time; ///< end of what the reference put last

    // the open exchange
    std::vector<std::uint8_t> request_;
    std::vector<std::uint8_t> answer_;
    std::vector<std::uint8_t> pieces_; ///< of the answer, where times say nothing
    bool request_came_ = false;
    bool answer_came_ = false;
    bool gave_up_ = false; ///< the adapter, because of what it heard of itself
    Time deadline_ = no_time;

    std::array<Count, 3> waking_counts_; ///< by KlineWaking
    std::array<std::string, 3> waking_trouble_;
    Count requests_, answers_, slow_, harmed_, echo_, own_, pauses_, rests_, twice_;
    std::uint64_t mute_ = 0; ///< frames of which the adapter heard nothing
    Time least_pause_ = 0, most_pause_ = 0, least_rest_ = 0;
    Latency latency_;
};

} // namespace telltale::vet
