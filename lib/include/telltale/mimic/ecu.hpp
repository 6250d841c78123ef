// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <array>
#include <bitset>
#include <cstddef>
#include <cstdint>
#include <initializer_list>
#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "telltale/base/bytes.hpp"
#include "telltale/base/export.hpp"
#include "telltale/mimic/drive.hpp"

namespace telltale::mimic {

using Message = std::vector<std::uint8_t>;

/// One monitor test result (service 06 on CAN), as raw numbers of its unit and scaling identifier.
struct MonitorTest {
    std::uint8_t monitor;
    std::uint8_t test;
    std::uint8_t scaling;
    std::uint16_t value;
    std::uint16_t low;
    std::uint16_t high;
};

/// A result of the oxygen sensor tests (service 05, lines before CAN), raw.
struct SensorTest {
    std::uint8_t test;
    std::uint8_t sensor; ///< bit, as PID 13 lays them out
    std::uint8_t value;
    std::uint8_t low = 0;  ///< with `has_limits`
    std::uint8_t high = 0; ///< with `has_limits`
    bool has_limits = false;
};

/// A result of service 06 on the lines before CAN, raw.
struct OldTest {
    std::uint8_t test;
    std::uint8_t limit; ///< bit 7: the limit is a minimum; bits 6 to 0: component
    std::uint16_t value;
    std::uint16_t bound;
};

struct Calibration {
    std::string id;                 ///< up to 16 characters
    std::uint32_t verification = 0; ///< CVN
};

/// How a request travels, and with it the form of the answer.
enum class Form : std::uint8_t {
    can,       ///< ISO 15765-4: one answer
    old_lines, ///< ISO 9141-2, ISO 14230-4: no answer longer than 7 bytes, so that there are
               ///< several
};

/// When service 04 is done.
enum class Clearing : std::uint8_t {
    always,
    at_rest,    ///< the vehicle stands; else 7F 04 22
    engine_off, ///< ignition on, engine off; else 7F 04 22
};

/// What an ECU knows and stores.
struct EcuState {
    // What it is.
    std::string vin; ///< empty: does not know it
    std::vector<Calibration> calibrations;
    std::string acronym;                ///< up to four characters
    std::string name;                   ///< up to 15 characters
    std::string engine_serial;          ///< up to 17 characters; empty: does not tell it
    std::string type_approval;          ///< the same
    std::bitset<256> pids;              ///< of service 01, without 00, 20, ...
    std::bitset<256> frozen_pids;       ///< of these, those of a freeze frame, 02 aside
    std::uint8_t requirement = 0x03;    ///< PID 1C
    std::uint8_t oxygen_sensors = 0x03; ///< PID 13
    double reference_torque = 300;      ///< Nm
    double wire_drop = 0;               ///< V lost on the way to its supply (PID 42)
    bool diesel = false;
    bool evaporative_test = false; ///< service 08, TID 01
    Clearing clearing = Clearing::always;
    bool obd_on_uds = false; ///< speaks SAE J1979-2 and not the services 01 to 0A

    // What it stores.
    std::vector<std::uint16_t> stored;
    std::vector<std::uint16_t> pending;
    std::vector<std::uint16_t> permanent;
    bool lamp = false;
    /// Bytes B, C and D of PID 01 and PID 41 (readiness).
    std::array<std::uint8_t, 3> since_clear{};
    std::array<std::uint8_t, 3> this_cycle{};
    std::vector<MonitorTest> tests;       ///< ascending by monitor
    std::vector<SensorTest> sensor_tests; ///< ascending by test
    std::vector<OldTest> old_tests;       ///< ascending by test
    std::vector<std::uint16_t> counters;  ///< InfoType 08 or 0B
    std::uint16_t fuelled_cycles = 0;     ///< InfoType 12; 0: does not tell it
    std::uint16_t run_time_before = 0;    ///< s that the engine ran before the drive was simulated
    std::uint16_t distance_with_lamp = 0;
    std::uint16_t distance_since_clear = 0;
    std::uint8_t warm_ups_since_clear = 0;
    std::uint16_t minutes_with_lamp = 0;
    std::uint16_t minutes_since_clear = 0;
    double odometer = 0; ///< km, at the start
};

/// An emissions-related ECU: answers the requests of SAE J1979 / ISO 15031-5 that it supports, or
/// those of OBDonUDS. No request, however malformed, makes it keep anything.
class TELLTALE_API Ecu {
  public:
    explicit Ecu(EcuState initial) : state(std::move(initial)) {}

    /// The answer to a whole request on CAN, or nothing where an ECU keeps silent (a functional
    /// request for what it does not support). Clears codes where it is asked to.
    Message answer(Bytes request, bool functional, const Signals& signals);
    /// The answers to a request on the lines before CAN, in their order; none: silence.
    std::vector<Message> answer_old(Bytes request, const Signals& signals);
    /// Stores the freeze frame of `code` with the values of now.
    void freeze(std::uint16_t code, const Signals& signals);
    /// Service 04: all but the permanent codes and what never is cleared (counters, odometer).
    void clear();
    bool has_freeze_frame() const noexcept { return frozen_code_ != 0; }
    /// How often it was cleared.
    unsigned clears() const noexcept { return clears_; }

    /// Most codes that a list holds.
    static constexpr std::size_t most_codes = 32;
    static constexpr unsigned most_ids = 6; ///< of one request: ISO 15031-5

    EcuState state;

  private:
    Message current_data(Bytes request, const Signals& signals) const;
    Message frozen_data(Bytes request) const;
    Message monitor_tests(Bytes request) const;
    Message information(Bytes request) const;
    Message control(Bytes request, const Signals& signals);
    Message answer_clear(std::uint8_t service, const Signals& signals);
    bool may_clear(const Signals& signals) const;
    bool has_info(std::uint8_t type) const;
    Message info_items(std::uint8_t type) const;

    Message answer_uds(Bytes request, bool functional, const Signals& signals);
    Message identifiers(Bytes request, const Signals& signals) const;
    bool put_identifier(Message& out, std::uint16_t did, const Signals& signals) const;
    Message code_report(Bytes request) const;
    void put_snapshot(Message& out) const;

    std::uint16_t frozen_code_ = 0;
    std::vector<std::pair<std::uint8_t, Message>> frozen_;
    unsigned clears_ = 0;
};

} // namespace telltale::mimic
