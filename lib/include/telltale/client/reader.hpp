// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <array>
#include <bitset>
#include <cstddef>
#include <cstdint>
#include <deque>
#include <functional>
#include <map>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "telltale/base/export.hpp"
#include "telltale/client/session.hpp"

namespace telltale::client {

/// What an ECU said it supports, and what was found out about how it is asked best.
struct EcuFacts {
    CanId id;
    /// Identifiers by service: 01, 02 (frame 00), 05, 06, 08, 09. Support bitmaps are not in it.
    std::array<std::bitset<256>, 10> supported{};
    /// PIDs of service 01 that it takes in one request: 6 until it showed otherwise, then 1.
    unsigned pids_a_request = 6;
    bool on_uds = false; ///< speaks OBDonUDS: the same identifiers in services 22 and 19
};

struct ReaderOptions {
    /// ECUs that are known already (Finder::ecus).
    std::vector<CanId> ecus;
    bool on_uds = false;
    bool support_only = false; ///< only what they support, nothing of it read
    bool values = true;        ///< service 01
    bool codes = true;         ///< services 02, 03, 07, 0A
    bool tests = true;         ///< services 05 and 06
    bool information = true;   ///< service 09
};

/// Asks a vehicle which PIDs, monitors and InfoTypes each of its ECUs supports, and then for
/// everything of them that a report shows: values, codes, freeze frames (all that an ECU keeps),
/// monitor and sensor tests, InfoTypes; of OBDonUDS snapshots and readiness groups. What it asks
/// and hears goes over the line, and so to whoever listens there: a vehicle::Picture behind a
/// message::Stream draws the same picture as from a dump of it.
///
/// An ECU that does not answer something that it supports is asked again for it alone; `missing`
/// counts what was not answered even so.
class TELLTALE_API Reader final : public Task {
  public:
    explicit Reader(const Line& line, const ReaderOptions& options = {});
    ~Reader() override;

    bool next(Time now, Request& request) override;
    void told(const Exchange& exchange, Time now) override;
    bool done() const override;

    const std::vector<EcuFacts>& ecus() const noexcept { return facts_; }
    /// A whole answer of an ECU, as it comes (views die when the call returns).
    std::function<void(const Reply&, Bytes request)> on_reply;

    struct Progress {
        std::size_t asked = 0;
        std::size_t left = 0; ///< known so far
        std::size_t missing = 0;
    };
    Progress progress() const noexcept;

    /// What an ECU supports and did not answer, or refused.
    struct Missing {
        CanId ecu;
        std::uint8_t service = 0;
        std::uint16_t id = 0;
        Outcome outcome = Outcome::silence;
        std::uint8_t code = 0;
    };
    const std::vector<Missing>& missing() const noexcept { return missing_; }

  private:
    struct Item {
        std::array<std::uint8_t, 16> bytes{};
        std::uint8_t size = 0;
        std::optional<CanId> to;
        std::array<CanId, 8> expected{};
        std::uint8_t expecting = 0;
        bool discovers = false; ///< who does not answer need not support it
        bool optional = false;  ///< who refuses it need not support it
        unsigned cuts = 0;
        bool last_try = false;
        bool from_pack = false; ///< asked alone because the ECU did not answer it in a pack
    };
    enum class Stage : std::uint8_t { support, data, frames, frame_values, again, done };

    EcuFacts* find(CanId ecu);
    EcuFacts& know(CanId ecu);
    void add(std::initializer_list<std::uint8_t> bytes, std::optional<CanId> to, bool discovers,
             std::span<const CanId> expected = {});
    void add_support(std::uint8_t service, std::optional<CanId> to);
    void plan_data();
    void plan_packs(std::uint8_t service, std::size_t most);
    void plan_frames();
    void plan_uds_codes();
    void plan_more_frames();
    void plan_sensor_tests();
    void add_optional(std::initializer_list<std::uint8_t> bytes, CanId to);
    void take_old(EcuFacts& facts, Bytes response);
    void take_uds_codes(CanId ecu, Bytes response);
    void advance();
    void take(const Reply& reply, Bytes request);
    void take_bitmap(EcuFacts& facts, std::uint8_t service, std::uint8_t range, Bytes bits);
    void take_support(EcuFacts& facts, Bytes response, std::uint8_t service);
    void follow(const Item& item, const Exchange& exchange);
    void miss(const Item& item, CanId ecu, const Reply* reply);
    bool split_pack(const Item& item);

    Line line_;
    ReaderOptions options_;
    Stage stage_ = Stage::support;
    std::vector<EcuFacts> facts_;
    std::deque<Item> queue_;
    Item open_;
    std::size_t asked_ = 0;
    std::vector<Missing> missing_;
    std::vector<Item> again_; ///< what was not answered and is asked once more at the end
    std::map<std::uint64_t, unsigned> failed_packs_; ///< by ECU
    /// Ranges that were read, by ECU and service.
    std::map<std::uint64_t, std::bitset<8>> ranges_;
    /// Ranges that the one before says are there.
    std::map<std::uint64_t, std::bitset<8>> claimed_;
    /// Ranges that were asked of all, by service.
    std::array<std::bitset<8>, 10> asked_ranges_{};
    std::vector<CanId> with_frames_;                        ///< ECUs that have a freeze frame
    std::map<std::uint64_t, std::bitset<16>> asked_frames_; ///< above 00, by ECU
    /// OBDonUDS: codes that may have a snapshot.
    struct UdsCode {
        CanId ecu;
        std::uint32_t code = 0;
    };
    std::vector<UdsCode> uds_codes_;
    /// Older lines: oxygen sensors by their bit in PID 13 or 1D, and their tests (service 05).
    struct SensorTest {
        CanId ecu;
        std::uint8_t sensor = 0;
        std::uint8_t test = 0;
    };
    std::vector<SensorTest> sensors_;
    std::vector<SensorTest> sensor_tests_;
};

} // namespace telltale::client
