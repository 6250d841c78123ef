// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>
#include <string_view>

#include "telltale/base/bytes.hpp"
#include "telltale/base/export.hpp"
#include "telltale/base/time.hpp"
#include "telltale/frame/kline.hpp"

namespace telltale::link {

/// Times of the K-line (ISO 9141-2; ISO 14230-2 and 14230-4), in nanoseconds.
namespace kline_time {
inline constexpr Time ms = nanoseconds_a_millisecond;
inline constexpr Time five_baud_bit = 200 * ms;
inline constexpr Time idle_before = 300 * ms; ///< W5, and Tidle after it was used: line high
inline constexpr Time w1_min = 60 * ms;       ///< end of the address to 55
inline constexpr Time w1_max = 300 * ms;
inline constexpr Time w2_min = 5 * ms; ///< 55 to key byte 1
inline constexpr Time w2_max = 20 * ms;
inline constexpr Time w3_max = 20 * ms;     ///< key byte 1 to key byte 2; at least 0
inline constexpr Time w4_min = 25 * ms;     ///< key byte 2 to its inversion, and that to the
inline constexpr Time w4_max = 50 * ms;     ///< inverted address
inline constexpr Time fast_low = 25 * ms;   ///< TiniL, 24 to 26 ms
inline constexpr Time fast_whole = 50 * ms; ///< TWuP, 49 to 51 ms: falling edge to first byte
inline constexpr Time p1_max = 20 * ms;     ///< between an ECU's bytes
inline constexpr Time p2_max = 50 * ms;     ///< request to answer
inline constexpr Time p3_min = 55 * ms;     ///< answer to next request
inline constexpr Time p3_max = 5000 * ms;
inline constexpr Time p4_min = 5 * ms; ///< between the tester's bytes
inline constexpr Time p4_max = 20 * ms;
} // namespace kline_time

enum class KlineTrouble : std::uint8_t {
    no_answer,    ///< no ECU answered within its time
    wrong_answer, ///< not what the standard has in this place
    collision,    ///< what came back is not what was sent
    lost,         ///< the ECU, once awake, answers no more
};

/// How the line is woken, as KlineStart and KlineSettings say it.
struct KlineWake {
    enum class Way : std::uint8_t { none, five_baud, fast };
    Way way = Way::five_baud;
    std::uint8_t address = 0x33;
    std::uint8_t tester = 0xF1;
    bool keep_alive = true;
    /// What the serial port and its adapter may add to the times of what is received.
    Time slack = 40 * nanoseconds_a_millisecond;
};

/// The awake line.
struct KlineAwake {
    KlineForm form = KlineForm::iso_9141; ///< of requests: iso_9141, or functional (ISO 14230)
    std::uint8_t key_byte_1 = 0;
    std::uint8_t key_byte_2 = 0;
    bool echo = true; ///< what is sent comes back
};

/// What a K-line machine has done to the line, and tells. Nothing here may call the machine.
class TELLTALE_API KlineOutlet {
  public:
    virtual ~KlineOutlet() = default;
    /// Pulls the line low, or lets it go high.
    virtual void low(bool on) = 0;
    /// Sends one byte at 10400 baud.
    virtual void put(std::uint8_t byte) = 0;
    /// Whatever the port heard while the line was pulled is no byte.
    virtual void discard_heard() = 0;
    virtual void awake(const KlineAwake& line) = 0;
    virtual void failed(KlineTrouble trouble, std::string_view why) = 0;
    /// A frame, or what ought to be one; `own`: a keep-alive that the machine sent. `time` is that
    /// of its last byte.
    virtual void frame(Bytes frame, Time time, bool own) = 0;
    /// The frame given to `transmit` is on the line.
    virtual void sent(Time time) = 0;
    virtual void send_failed(KlineTrouble trouble, std::string_view why) = 0;
};

/// The tester's end of a K-line: wakes it, keeps the times between bytes and frames, takes its own
/// echo off, keeps the ECU awake. No I/O: fed with bytes and times, it acts on the line through
/// its outlet and says when to wake it.
class TELLTALE_API KlineMachine {
  public:
    /// Begins to wake the line: what was before is forgotten.
    void start(const KlineWake& wake, Time now, KlineOutlet& outlet) noexcept;
    /// Stops at once; the line is let go.
    void stop(KlineOutlet& outlet) noexcept;
    bool awake() const noexcept { return state_ == State::awake; }
    /// Every byte of the frame that was sent last came back.
    bool echoed() const noexcept { return whole_echo_; }

    /// A byte was heard; `time` is that of its end.
    void heard(std::uint8_t byte, Time time, KlineOutlet& outlet) noexcept;
    /// Puts a whole frame on the line when P3 allows it, and after a keep-alive that is under way.
    /// Only when awake, and after the one before was sent or failed.
    void transmit(Bytes frame, Time now, KlineOutlet& outlet) noexcept;
    /// Gives up the frame, if no byte of it is on the line yet.
    void give_up() noexcept;

    /// When to call `wake`; no_time: when a byte comes.
    Time wake_at() const noexcept;
    void wake(Time now, KlineOutlet& outlet) noexcept;

  private:
    enum class State : std::uint8_t {
        off,
        quiet, ///< the line rests before it is woken
        bits,  ///< the address at 5 baud, bit `at_`
        sync,  ///< waits for 55
        key_1,
        key_2,
        turn,   ///< W4, then the second key byte inverted
        turned, ///< waits for the inverted address
        fast_low,
        fast_high,
        fast_answer, ///< start communication is sent, or its answer awaited
        awake,
    };
    void fail(KlineTrouble trouble, std::string_view why, KlineOutlet& outlet) noexcept;
    void rise(KlineForm form, Time now, KlineOutlet& outlet) noexcept;
    void give_frames(KlineOutlet& outlet) noexcept;
    void frame(Bytes frame, Time time, KlineOutlet& outlet) noexcept;
    void put_next(Time now, KlineOutlet& outlet) noexcept;
    void finish_sending(Time time, KlineOutlet& outlet) noexcept;
    void queue(Bytes frame, bool own) noexcept;
    void keep_alive(Time now) noexcept;
    void next_frame() noexcept;

    KlineWake wake_;
    State state_ = State::off;
    Time next_ = no_time; ///< when the state goes on by itself
    Time edge_ = 0;       ///< from which the bits are counted
    unsigned at_ = 0;
    std::array<std::uint8_t, 2> key_{};
    bool echo_ = true;
    bool echo_known_ = false;
    KlineForm form_ = KlineForm::iso_9141;

    std::array<std::uint8_t, max_kline_frame> out_{};
    std::size_t out_size_ = 0;
    std::size_t out_at_ = 0; ///< bytes put
    std::size_t echoed_ = 0; ///< of them, come back
    bool whole_echo_ = false;
    bool out_own_ = false;
    std::array<std::uint8_t, max_kline_frame> held_{}; ///< waits for a keep-alive
    std::size_t held_size_ = 0;
    Time out_next_ = no_time; ///< when the next byte may go, or the echo is missed
    Time activity_ = no_time; ///< last byte on the line
    unsigned unanswered_ = 0; ///< keep-alives
    KlineCutter cutter_;
};

} // namespace telltale::link
