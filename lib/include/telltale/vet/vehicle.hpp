// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "telltale/base/export.hpp"
#include "telltale/base/time.hpp"
#include "telltale/client/session.hpp"
#include "telltale/vet/report.hpp"

namespace telltale::vet {

/// The vehicle that stands there, and how long it is asked. It is copied.
struct VehicleOptions {
    client::Dialect dialect = client::Dialect::can_11;
    std::vector<CanId> ecus;   ///< that answered when the vehicle was found; at most 8 are asked
    bool on_uds = false;       ///< the vehicle speaks OBDonUDS (SAE J1979-2)
    std::uint64_t most = 1000; ///< readings of the VIN; 0: until the time is over
    Time duration = 60 * nanoseconds_a_second; ///< at the latest over after this
};

/// Vets an adapter on a vehicle, where nothing is known but that the same question has the same
/// answer: reads the VIN (service 09 InfoType 02) and the support bitmaps (services 01 and 09) over
/// and over and compares the answers. It asks for nothing else: these only read, and what they read
/// does not change. A client::Session runs it, and calls what is overridden here. Memory is bounded
/// whatever comes. Not safe for two threads at once.
class TELLTALE_API VehicleVetting final : public client::Task {
  public:
    explicit VehicleVetting(const VehicleOptions& options);

    bool next(Time now, client::Request& request) override;
    void told(const client::Exchange& exchange, Time now) override;
    bool done() const override { return over_; }

    /// So much of it is done, 0 to 1.
    double part(Time now) const noexcept;
    /// Checks, latencies and notes as they are now, with what the conversation counted meanwhile;
    /// the rest is for the caller to fill in.
    Report report(const client::ConversationCounts& counts) const;

  private:
    static constexpr std::size_t most_bytes = 512; ///< of an answer that is compared
    static constexpr std::uint64_t least = 20;     ///< readings, to judge by

    /// A question, and the first answer to it.
    struct Question {
        std::optional<CanId> to; ///< empty: to all, whoever answers first is asked from then on
        std::array<std::uint8_t, 3> bytes{};
        std::uint8_t size = 0;
        bool is_vin = false;
        std::vector<std::uint8_t> answer;
        std::uint64_t asked = 0;
        std::uint64_t answered = 0;
        std::uint64_t different = 0;
        std::uint64_t refused = 0;
    };
    void add(std::initializer_list<std::uint8_t> bytes, std::optional<CanId> to, bool is_vin);
    void follow_bitmap(const Question& question);
    void choose();
    Check compared(bool is_vin) const;

    VehicleOptions options_;
    std::vector<Question> questions_;
    std::size_t open_ = 0; ///< the question that is asked
    std::size_t turn_ = 0;
    bool waits_ = false;
    bool over_ = false;
    Time begun_ = no_time;
    std::uint64_t requests_ = 0;
    std::uint64_t silent_ = 0;
    std::uint64_t late_ = 0;
    std::uint64_t timed_ = 0;
    std::uint64_t cut_ = 0;
    Latency latency_;
    Check vin_examples_;
    Check support_examples_;
    Check silent_examples_;
};

} // namespace telltale::vet
