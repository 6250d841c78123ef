// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>
#include <memory>
#include <optional>
#include <vector>

#include "telltale/base/bytes.hpp"
#include "telltale/base/export.hpp"
#include "telltale/base/function_ref.hpp"
#include "telltale/base/time.hpp"
#include "telltale/frame/can.hpp"
#include "telltale/mimic/drive.hpp"
#include "telltale/mimic/ecu.hpp"

namespace telltale::mimic {

/// What an ECU does with a request for more PIDs than it takes at once.
enum class Refusal : std::uint8_t {
    silence,    ///< does not answer
    negative,   ///< 7F 01 12
    first_only, ///< answers the first that it takes, and no more
};

/// How an ECU behaves in a conversation.
struct Habits {
    /// From the end of a request to the first frame of the answer, and what comes on top at random;
    /// at most a minute each.
    Time delay = 3 * nanoseconds_a_millisecond;
    Time spread = 8 * nanoseconds_a_millisecond;
    /// Every so many requests it says response-pending (7F xx 78) and answers this much later; it
    /// says so again every two seconds. 0: never.
    unsigned pending_every = 0;
    Time pending_for = 600 * nanoseconds_a_millisecond;
    unsigned busy_every = 0; ///< every so many requests it says busy, repeat (7F xx 21); 0: never
    unsigned most_pids = 6;  ///< PIDs that it takes in one request, 1 to 6 (service 01, CAN)
    Refusal refusal = Refusal::silence;
    /// It says nothing and hears nothing for `silent_for` at the end of every `silent_every` from
    /// the vehicle's start; 0: never.
    Time silent_every = 0;
    Time silent_for = 0;
};

struct Options {
    /// The same seed and options make the same vehicle on the same drive, to the bit.
    std::uint64_t seed = 1;
    /// 0: the seed's own drive; else another one of the same vehicle on the same road: other
    /// traffic, weather and warmth, another mood of the driver.
    std::uint64_t drive = 0;
    std::optional<Fuel> fuel;  ///< none: by the seed
    unsigned ecus = 2;         ///< 1 to 8: engine, transmission, and others
    bool engine_off = false;   ///< ignition on, the engine does not run, nobody drives
    bool just_cleared = false; ///< codes were cleared a moment ago: no monitor has completed since
    /// Faults in its sensors; see `Fault`. At most `most_faults` are taken.
    std::vector<Fault> faults{};
    /// Codes that the engine controller has from the start. With stored ones the lamp is lit.
    std::vector<std::uint16_t> stored{};
    std::vector<std::uint16_t> pending{};
    std::vector<std::uint16_t> permanent{};
    Clearing clearing = Clearing::at_rest;
    bool obd_on_uds = false; ///< SAE J1979-2 in place of the services 01 to 0A

    // on the line
    bool extended_ids = false; ///< CAN identifiers of 29 bits (18DAF110, ...), else 11 (7E8, ...)
    Habits habits{};           ///< of every ECU
    std::vector<Habits> habits_by_ecu{}; ///< of the first ECUs, in place of `habits`
    /// An ECU that is asked for its calibration verification numbers says response-pending first
    /// and works them out for this long (common practice); 0: it has them at hand.
    Time verification_time = 400 * nanoseconds_a_millisecond;
    std::uint8_t block_size = 0; ///< BS that the ECUs ask for
    std::uint8_t st_min = 0;     ///< STmin that the ECUs ask for, as coded in the frame
    Time frame_gap = 0;          ///< at least between consecutive frames of an answer
    std::optional<std::uint8_t> padding = 0xAA; ///< none: frames as short as can be

    static constexpr std::size_t most_faults = 16;
};

/// A message of an ECU, with the time from the end of the request to its beginning.
struct Answer {
    std::uint8_t ecu = 0;     ///< index
    CanId id;                 ///< on which it answers on CAN
    std::uint8_t address = 0; ///< on the lines before CAN, and in 29-bit identifiers
    Bytes message;
    Time after = 0;
};

/// A simulated vehicle: several ECUs, and the drive that their values come from. It does no I/O and
/// has no clock: it is told frames and times and gives frames. Bounded: no frame, no request and no
/// time makes it grow.
///
///     vehicle.feed(frame, now);                    // each frame that came over the line
///     vehicle.poll(now, send);                     // at next_wakeup() and after feeding
///
/// Its life begins with the first time that it is told, three seconds after the engine's start.
/// Times that go back count as the latest.
/// Between two calls the drive goes on for `most_advance` at most: whoever keeps it running calls
/// `poll` more often than that.
class TELLTALE_API Vehicle {
  public:
    explicit Vehicle(const Options& options = {});
    Vehicle(Vehicle&&) noexcept;
    Vehicle& operator=(Vehicle&&) noexcept;
    ~Vehicle();

    static constexpr Time most_advance = 600 * nanoseconds_a_second;

    /// A CAN frame that came over the line: requests, flow control, anything.
    void feed(const CanFrame& frame, Time now);
    /// Does what is due, and hands over what is to be sent now. Call it again at `next_wakeup`.
    using SendFrame = FunctionRef<void(const CanFrame&)>;
    void poll(Time now, SendFrame send);
    /// When `poll` has something to do next; `isotp::never` while nobody asks.
    Time next_wakeup() const noexcept;

    /// A whole request without ISO-TP (DoIP, tests): to one ECU by its index, or to all. Tells
    /// every answer, response-pending among them, in the order of their times. `send` is called
    /// before this returns; what it is given dies with the call.
    using Tell = FunctionRef<void(const Answer&)>;
    void ask(Bytes request, std::optional<unsigned> ecu, Time now, Tell tell);

    /// A whole frame of a K-line: header, data, checksum, in the forms of ISO 9141-2 (68 6A F1) and
    /// ISO 14230-2 (with addresses). Tells the frames that answer, in the order of their times:
    /// `Answer::message` is the frame, header and checksum included. StartCommunication,
    /// StopCommunication and tester present are answered as ISO 14230-2 wants it.
    void ask_kline(Bytes frame, Time now, Tell tell);
    /// Key bytes of an initialisation: 08 08 (ISO 9141-2), or E9 8F (ISO 14230-4).
    static constexpr std::array<std::uint8_t, 2> key_bytes(bool iso_14230) {
        return iso_14230 ? std::array<std::uint8_t, 2>{0xE9, 0x8F}
                         : std::array<std::uint8_t, 2>{0x08, 0x08};
    }

    /// Ignition off and, after a night, on again: a new driving cycle from a cold start. What was
    /// pending and did not show goes; what showed again is confirmed; `Fault` times count anew.
    void next_trip();

    std::size_t ecus() const noexcept;
    /// `ecu` below `ecus()`.
    const EcuState& state(std::size_t ecu) const noexcept;
    CanId response_id(std::size_t ecu) const noexcept;
    CanId request_id(std::size_t ecu) const noexcept;
    std::uint8_t address(std::size_t ecu) const noexcept;
    /// What the controllers have from their sensors at the time told last.
    const Signals& signals() const noexcept;
    /// What is the case: `signals` without the faults of sensors.
    const Signals& truth() const noexcept;
    const DriveSettings& settings() const noexcept;

  private:
    class Impl;
    std::unique_ptr<Impl> impl_;
};

} // namespace telltale::mimic
