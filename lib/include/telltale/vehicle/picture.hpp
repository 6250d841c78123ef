// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <array>
#include <bitset>
#include <cstddef>
#include <cstdint>
#include <map>
#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "telltale/base/export.hpp"
#include "telltale/base/function_ref.hpp"
#include "telltale/base/problem.hpp"
#include "telltale/base/time.hpp"
#include "telltale/base/units.hpp"
#include "telltale/message/stream.hpp"

/// The picture of a vehicle, built up from what its ECUs said. Bounded whatever the input says.
namespace telltale::vehicle {

/// How much is kept. What goes beyond is counted in `NotKept`, never dropped in silence.
struct Limits {
    std::size_t ecus = 64;
    std::size_t signals = 8192;       ///< of all ECUs together, as are the following
    std::size_t tests = 4096;         ///< monitor test results
    std::size_t information = 2048;   ///< values of service 09
    std::size_t freeze_values = 8192; ///< values in freeze frames
    std::size_t codes = 256;          ///< of one list
    std::size_t code_changes = 64;    ///< of one list
    std::size_t refusals = 64;        ///< kinds of one ECU
    std::size_t text = 256;           ///< characters of one text
};
struct NotKept {
    std::uint64_t ecus = 0; ///< messages of ECUs for which there was no room
    std::uint64_t signals = 0;
    std::uint64_t tests = 0;
    std::uint64_t information = 0;
    std::uint64_t freeze_values = 0;
    std::uint64_t codes = 0;
    std::uint64_t code_changes = 0;
    std::uint64_t refusals = 0;
    std::uint64_t all() const {
        return ecus + signals + tests + information + freeze_values + codes + code_changes +
               refusals;
    }
};

/// One value that was read again and again.
struct TELLTALE_API Signal {
    std::string name;
    std::string key;  ///< SAE's short name, or empty
    std::string note; ///< of the latest value
    Unit unit = Unit::none;
    std::string own_unit; ///< "{mm3/stroke}": a unit that is none of `Unit`, or empty
    double step = 0;
    std::uint8_t decimals = 0;
    bool is_number = true;
    std::uint64_t count = 0;
    double first = 0;
    double last = 0;
    double min = 0;
    double max = 0;
    double mean = 0;
    std::uint64_t at_low_end = 0;  ///< samples at the lowest raw value
    std::uint64_t at_high_end = 0; ///< samples at the highest
    std::string text;              ///< of what is not a number: the latest
    std::uint64_t changes = 0;     ///< how often the text changed
    Time first_time = no_time;
    Time last_time = no_time;
    /// Samples a second; 0 where the dump's times do not tell.
    double rate() const;
};

/// What names a signal of an ECU. Ascending order is the order of a report.
struct SignalKey {
    std::uint8_t service = 1;
    std::uint16_t id = 0;
    std::uint8_t index = 0;
    friend auto operator<=>(const SignalKey&, const SignalKey&) = default;
};

/// A trouble code of either protocol: two bytes, or three with a failure type (OBDonUDS).
struct Code {
    message::Dtc dtc;
    std::int16_t failure_type = -1; ///< -1: none, the code has two bytes
    /// "P0143", "P0143-1C".
    TELLTALE_API std::string text() const;
    friend auto operator<=>(const Code&, const Code&) = default;
};

/// A list of codes as it was read last.
struct CodeList {
    bool heard = false;           ///< at least one whole list was read
    std::vector<Code> codes;      ///< ascending
    Time time = no_time;          ///< of the latest list
    std::uint64_t answers = 0;    ///< whole lists read
    std::uint64_t incomplete = 0; ///< lists that were damaged, and so not taken
    struct Change {
        Code code;
        bool came = true; ///< false: went
        Time time = no_time;
    };
    std::vector<Change> changes; ///< against the list before
    std::uint64_t left_out = 0;  ///< codes of the latest list that were not kept
};

/// A value in a freeze frame, or of service 09.
struct Reading {
    SignalKey key;
    std::string name;
    bool is_number = false;
    double number = 0;
    std::uint8_t decimals = 0;
    double step = 0;
    Unit unit = Unit::none;
    std::string own_unit;
    std::string text;
    std::string note;
    Time time = no_time;
};

/// What names a freeze frame. Service 02 numbers them by ECU, OBDonUDS by code (`code` is 0 for
/// service 02).
struct FrameKey {
    std::uint8_t number = 0;
    std::uint32_t code = 0;
    friend auto operator<=>(const FrameKey&, const FrameKey&) = default;
};

/// A freeze frame (service 02) or snapshot record (service 19) as it was read last.
struct FreezeFrame {
    std::uint8_t number = 0;
    std::optional<Code> code; ///< that stored it; 0000: the frame is empty
    std::map<SignalKey, Reading> values;
};

/// What PID 01 or 41 says of one monitor.
struct Monitor {
    std::string name;
    bool complete = false;
    Time time = no_time;              ///< of the latest answer
    std::optional<Time> completed_at; ///< seen to change from incomplete to complete
};
struct Readiness {
    bool heard = false;
    std::string ignition; ///< "spark" or "compression", as PID 01 says
    /// Supported monitors by their place in the data (byte, bit, kind of ignition), or, for
    /// OBDonUDS, 8000 hex and the number of the readiness group.
    std::map<std::uint16_t, Monitor> monitors;
    TELLTALE_API std::size_t incomplete() const;
};

/// A monitor test result (service 06) as it was read last.
struct TestKey {
    std::uint16_t monitor = 0;
    std::uint8_t test = 0;
    friend auto operator<=>(const TestKey&, const TestKey&) = default;
};
struct TestResult {
    std::string name;
    double value = 0;
    double low = 0;
    double high = 0;
    Unit unit = Unit::none;
    double step = 0;
    std::uint8_t decimals = 0;
    bool passed = false;
    std::string note;
    Time time = no_time;
    std::uint64_t count = 0;
    std::uint64_t failures = 0;
};

/// How long answers took, in bounded memory: a histogram of eight steps an octave, so that the
/// median is right to about 5 %.
class TELLTALE_API Delays {
  public:
    void add(Time delay);
    std::uint64_t count() const { return count_; }
    Time min() const { return min_; }
    Time max() const { return max_; }
    Time mean() const;
    Time median() const;

  private:
    static constexpr std::size_t buckets = std::size_t{8} * 40;
    std::uint64_t count_ = 0;
    Time min_ = 0;
    Time max_ = 0;
    double sum_ = 0;
    std::array<std::uint32_t, buckets> histogram_{};
};

/// Refusals of one kind.
struct Refusal {
    std::uint8_t service = 0;
    std::uint8_t code = 0;
    friend auto operator<=>(const Refusal&, const Refusal&) = default;
};

/// How well tester and ECUs understood each other.
struct Conversation {
    std::uint64_t requests = 0;
    std::uint64_t responses = 0;
    std::uint64_t unanswered = 0;  ///< requests that no ECU answered
    std::uint64_t open_at_end = 0; ///< asked so shortly before the end that no answer was due
    /// Unanswered requests by service and first identifier (FF00 + service where it has none);
    /// at most 64 kinds.
    std::map<std::uint32_t, std::uint64_t> unanswered_by;
    std::uint64_t unexpected =
        0; ///< responses without a request that fits, in a dump with requests
    std::uint64_t refused = 0;
    std::uint64_t pending = 0;                 ///< "response pending" on the way
    std::array<std::uint64_t, 256> problems{}; ///< by ProblemCode
    std::uint64_t problem_count = 0;
};

/// What plausibility checks (sanity.hpp) need to know of moments: readings together with what the
/// engine did then.
struct Observed {
    struct Mean {
        std::uint64_t count = 0;
        double mean = 0;
        double max = 0;
        void add(double value) {
            max = count == 0 || value > max ? value : max;
            mean += (value - mean) / static_cast<double>(++count);
        }
    };
    struct Least {
        std::uint64_t count = 0;
        double value = 0;
        void add(double reading) { value = count++ == 0 || reading < value ? reading : value; }
    };
    Mean engine_off_pressure;         ///< manifold pressure, engine off
    double engine_off_worst = 0;      ///< largest difference from barometric pressure, signed
    double engine_off_barometric = 0; ///< barometric pressure then
    std::optional<double> first_coolant;
    std::optional<double> first_intake;
    std::optional<double> first_ambient;
    Least rest_throttle;              ///< PID 11, standstill, idle or engine off
    Least rest_relative_throttle;     ///< PID 45
    Least rest_pedal;                 ///< PID 5A
    Mean running_voltage;             ///< PID 42, engine running for ten seconds
    std::array<Mean, 2> short_trim{}; ///< banks 1 and 2, closed loop where PID 03 tells
    std::array<Mean, 2> long_trim{};
    double driven_km = 0; ///< PID 0D summed over time, without its gaps of more than 5 s
    Time speed_time = no_time;
    double speed_kmh = 0;
};

/// One ECU: an identifier that answered on an interface.
struct TELLTALE_API Ecu {
    bool has_id = false;
    CanId id;
    bool has_line = false;
    std::uint16_t line = 0;
    std::string line_name; ///< set by `Picture::name_lines` (untrusted)

    std::uint64_t messages = 0;
    Time first_time = no_time;
    Time last_time = no_time;

    /// Service 09, by InfoType: the values of the latest whole answer.
    std::map<std::uint8_t, std::vector<Reading>> information;
    std::optional<bool> mil;
    std::optional<unsigned> code_count; ///< that PID 01 claims
    std::uint64_t mil_changes = 0;
    Time mil_time = no_time; ///< when the lamp was heard to change, else when first heard
    CodeList stored;
    CodeList pending;
    CodeList permanent;
    std::uint64_t clears = 0; ///< positive responses to services 04 and 14
    Time cleared_time = no_time;
    std::map<FrameKey, FreezeFrame> freeze_frames;
    Readiness since_clear;
    Readiness this_cycle;
    std::map<TestKey, TestResult> tests;
    std::map<SignalKey, Signal> signals;

    /// PIDs of service 01 that it said it supports, that it was asked for, that it answered.
    std::bitset<256> supported;
    std::bitset<256> asked;
    std::bitset<256> answered;

    std::map<Refusal, std::uint64_t> refusals;
    std::uint64_t pending_responses = 0;
    std::uint64_t problems = 0;
    Delays delays;
    Observed observed;

    /// The texts of an InfoType; empty when it was not read.
    std::vector<std::string> texts(std::uint8_t info_type) const;
    /// The first text of InfoType 02; empty when it was not read.
    std::string vin() const;
    /// A signal by PID, whatever the protocol, or null.
    const Signal* pid(std::uint8_t number, std::uint8_t index = 0) const;
    /// PIDs supported and asked for, but never answered.
    std::bitset<256> never_answered() const { return supported & asked & ~answered; }
};

/// Listens to a stream and keeps the picture.
class TELLTALE_API Picture final : public message::Listener {
  public:
    explicit Picture(const Limits& limits = {});
    ~Picture() override;
    Picture(Picture&&) noexcept;
    Picture& operator=(Picture&&) noexcept;

    bool begin(const message::Said& said) override;
    void value(const message::Said& said, const message::Value& value) override;
    void dtc(const message::Said& said, message::Dtc code) override;
    void dtc3(const message::Said& said, const message::DtcRecord& record) override;
    void message_problem(const message::Said& said, const Problem& problem) override;
    void end(const message::Said& said) override;
    void problem(const Problem& problem, const message::Said& about) override;

    /// The input is over (after `Stream::finish`): requests still open are judged.
    void finish();
    /// Gives the interfaces their names, by index.
    void name_lines(FunctionRef<std::string_view(std::uint16_t)> name);

    /// ECUs in the order of line and identifier. They stay where they are until the picture is
    /// moved or ends, and change with what it hears.
    std::vector<const Ecu*> ecus() const;
    /// The ECU that speaks with this identifier on any line, or null. As long as those of `ecus`.
    const Ecu* find(bool has_id, CanId id) const;
    const Conversation& conversation() const;
    const NotKept& not_kept() const;
    Time first_time() const;
    Time last_time() const;
    std::uint64_t messages() const;
    /// The recording began before the engine ran, or in its first ten seconds (PIDs 0C and 1F).
    bool started_cold() const;
    /// The first VIN that any ECU told; empty when none did.
    std::string vin() const;

  private:
    class Impl;
    std::unique_ptr<Impl> impl_;
};

} // namespace telltale::vehicle
