// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <array>
#include <cstdint>
#include <span>
#include <string>
#include <utility>
#include <vector>

#include "drive.hpp"

namespace demo {

using Message = std::vector<std::uint8_t>;

/// One parameter of service 01: appends its data bytes.
struct Parameter {
    std::uint8_t pid;
    void (*put)(const struct EcuState& ecu, const Signals& signals, Message& out);
};

/// One monitor test result (service 06 on CAN), as raw numbers of its unit and scaling identifier.
struct MonitorTest {
    std::uint8_t monitor;
    std::uint8_t test;
    std::uint8_t scaling;
    std::uint16_t value;
    std::uint16_t low;
    std::uint16_t high;
};

/// What an ECU stores about codes and itself.
struct EcuState {
    std::string vin; ///< empty: does not know it
    std::string calibration;
    std::uint32_t verification = 0;
    std::string acronym;                 ///< up to four characters
    std::string name;                    ///< up to 15 characters
    std::vector<std::uint16_t> counters; ///< InfoType 08

    std::vector<std::uint16_t> stored;
    std::vector<std::uint16_t> pending;
    std::vector<std::uint16_t> permanent;
    bool lamp = false;
    /// Bytes B, C and D of PID 01 and PID 41 (readiness).
    std::array<std::uint8_t, 3> since_clear{};
    std::array<std::uint8_t, 3> this_cycle{};
    std::vector<MonitorTest> tests;
    std::uint16_t run_time_before = 0; ///< s that the engine ran before the record began
    std::uint16_t distance_with_lamp = 0;
    std::uint16_t distance_since_clear = 0;
    std::uint8_t warm_ups_since_clear = 0;
};

/// An emissions-related ECU: answers the requests of ISO 15031-5 that it supports.
class Ecu {
  public:
    Ecu(EcuState initial, std::span<const Parameter> parameters)
        : state(std::move(initial)), parameters_(parameters) {}

    /// The answer to a whole request, or nothing where an ECU keeps silent (a functional request
    /// for what it does not support).
    Message answer(const Message& request, bool functional, const Signals& signals) const;
    /// Stores the freeze frame of `code` with the values of now.
    void freeze(std::uint16_t code, const Signals& signals);

    EcuState state;

  private:
    Message current_data(const Message& request, const Signals& signals) const;
    Message frozen_data(const Message& request) const;
    Message monitor_tests(const Message& request) const;
    Message information(const Message& request) const;

    std::span<const Parameter> parameters_;
    std::uint16_t frozen_code_ = 0;
    std::vector<std::pair<std::uint8_t, Message>> frozen_;
};

/// The parameters of the engine controller and of the transmission controller.
std::span<const Parameter> engine_parameters();
std::span<const Parameter> transmission_parameters();

} // namespace demo
