// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <array>
#include <bitset>
#include <cstddef>
#include <cstdint>
#include <functional>
#include <optional>
#include <span>
#include <string_view>
#include <vector>

#include "telltale/base/export.hpp"
#include "telltale/client/reader.hpp"
#include "telltale/client/session.hpp"

namespace telltale::client {

/// A parameter that is to be read again and again.
struct Wanted {
    std::uint8_t pid = 0; ///< of service 01 (OBDonUDS: of data identifiers F4xx)
    /// Of this ECU; empty: of each that supports it (of services 21 and 22: of each).
    std::optional<CanId> ecu;
    /// From one sample to the next; 0: as often as the line allows.
    Time period = 0;
    /// 21 or 22: `id` counts in place of `pid`. Nobody says beforehand whether an ECU supports it.
    std::uint8_t service = 0x01;
    std::uint16_t id = 0; ///< local identifier or data identifier
};

/// A value as it came. Views die when the call that gave it returns.
struct Sample {
    CanId ecu;
    std::uint8_t pid = 0;
    std::uint8_t service = 0x01; ///< 21 and 22: `id` in place of `pid`
    std::uint16_t id = 0;
    Bytes data;
    Time asked = no_time; ///< when the request was on the line
    Time time = no_time;  ///< when the answer was whole
};

/// Why a parameter does not come as often as it is wanted.
enum class Limit : std::uint8_t {
    none,          ///< it does
    not_supported, ///< the ECU does not say it supports it; it is not asked for it
    refused,       ///< the ECU answers with a negative response
    silent,        ///< the ECU does not answer at present
    line,          ///< the line itself takes most of the time
    ecu,           ///< the ECU takes most of the time to answer
    one_at_a_time, ///< the ECU does not take several PIDs in a request
    losses,        ///< answers are lost
    new_here,      ///< not measured yet
};
/// Its stable word: "none", "not-supported", ...
TELLTALE_API std::string_view word(Limit limit) noexcept;
/// In a sentence.
TELLTALE_API std::string_view describe(Limit limit) noexcept;

/// How often a parameter comes.
struct Rate {
    CanId ecu;
    std::uint8_t pid = 0;
    std::uint8_t service = 0x01; ///< 21 and 22: `id` in place of `pid`
    std::uint16_t id = 0;
    double wanted = 0;  ///< a second; 0: as often as the line allows
    double reached = 0; ///< a second, over the latest seconds
    Limit limit = Limit::new_here;
    std::uint64_t samples = 0;
};

struct PollerOptions {
    /// An ECU that was silent so often in a row is only asked once a `probe` until it answers.
    unsigned silences = 3;
    Time probe = nanoseconds_a_second;
    Time window = 2 * nanoseconds_a_second; ///< over which rates are measured
    std::size_t most = 512;                 ///< parameters at once
};

/// Reads wanted parameters, each at its own rate, with as few frames and as little waiting as the
/// line and the ECUs allow: up to six PIDs a request on CAN (SAE J1979; of an ECU that speaks
/// OBDonUDS three data identifiers, which a single frame holds), of one ECU by its own
/// address or of several with one request to all, whichever carries more values a time; the next
/// request as soon as the last answer that is due is there. Those of services 21 and 22 are asked
/// for one by one, each of one ECU by its own address.
///
/// A parameter that is due is asked for at once, the longest overdue first; what falls due sooner
/// than a quarter of its period comes along where a request has room.
class TELLTALE_API Poller final : public Task {
  public:
    Poller(const Line& line, std::span<const EcuFacts> ecus, std::span<const Wanted> wanted,
           const PollerOptions& options = {});

    void learn(std::span<const EcuNotes> notes) override;
    bool next(Time now, Request& request) override;
    void told(const Exchange& exchange, Time now) override;
    bool done() const override { return over_; }
    Time wake_at() const override { return wake_at_; }
    /// No more requests.
    void finish() noexcept { over_ = true; }

    std::function<void(const Sample&)> on_sample;
    /// An ECU fell silent (false) or came back (true).
    std::function<void(CanId ecu, bool answers)> on_ecu;

    std::vector<Rate> rates(Time now) const;
    /// Values a second of all parameters, over the latest seconds.
    double values_a_second(Time now) const;

  private:
    struct Entry {
        CanId ecu;
        std::uint8_t pid = 0;
        std::uint8_t service = 0x01;
        std::uint16_t id = 0;
        unsigned silences = 0;   ///< of services 21 and 22, in a row
        std::uint8_t length = 0; ///< data bytes as a response has them, at most
        bool alone = false;      ///< its length is not known
        bool supported = true;
        bool refused = false;
        Time period = 0;
        Time due = no_time;
        Time held_until = no_time; ///< an answer is still due: not asked before
        std::uint64_t samples = 0;
        std::uint64_t lost = 0;
        // Samples in the open span of time and in the one before it, for the rate.
        std::uint64_t counted = 0;
        std::uint64_t counted_before = 0;
        Time span_from = no_time;
        Time span_before = no_time;
    };
    struct Ecu {
        CanId id;
        std::bitset<256> supported;
        bool on_uds = false;
        unsigned most = 6;
        unsigned pack_silences = 0; ///< requests for several that it did not answer, in a row
        bool try_one = false;       ///< the next request to it is for one PID
        unsigned silent = 0;        ///< requests for one that it did not answer, in a row
        bool is_silent = false;
        Time probe_at = no_time;
        Time at_work_until = no_time; ///< on what was given up: not asked before
        Time answering = 0;           ///< mean from request to the begin of the answer
    };

    /// What to ask for, and what it is worth.
    struct Plan {
        std::optional<CanId> to;
        std::uint8_t service = 0x01;
        std::uint16_t id = 0; ///< of services 21 and 22
        std::array<std::uint8_t, 6> pids{};
        std::size_t count = 0;
        std::array<CanId, 8> expected{};
        std::size_t expecting = 0;
        double score = -1; ///< values a second
    };

    Ecu* ecu_of(CanId id);
    const Ecu* ecu_of(CanId id) const;
    void order(Time now);
    void consider(Plan& best, std::optional<CanId> to, std::size_t first, Time now);
    double worth(const Plan& plan, Time now) const;
    bool serves(const Plan& plan, const Entry& entry) const;
    void deliver(const Reply& reply, Time now);
    void deliver_own(const Reply& reply, Time now);
    void sampled(Entry& entry, const Reply& reply, Bytes data, Time now);
    void missed(Ecu& ecu, const Reply* reply, bool pack, Time now);
    void reschedule(Entry& entry, Time now) const;
    Limit limit_of(const Entry& entry, double reached, Time now) const;

    Line line_;
    PollerOptions options_;
    std::vector<Entry> entries_;
    std::vector<Ecu> ecus_;
    std::vector<std::size_t> order_; ///< entries that may be asked for now, the most urgent first
    Plan open_;
    std::array<std::uint8_t, 7> bytes_{};
    bool over_ = false;
    Time wake_at_ = no_time;
    // What the time of the latest exchanges went into, each halved now and then.
    double line_time_ = 0;
    double ecu_time_ = 0;
    double lost_time_ = 0;
};

} // namespace telltale::client
