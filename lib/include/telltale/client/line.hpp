// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <cstdint>

#include "telltale/base/time.hpp"
#include "telltale/frame/can.hpp"

/// Asking a vehicle, without any I/O: state machines that are fed with what a line received and a
/// time, and answer with what to send and when to wake them. client/live.hpp runs them on a link.
///
/// ECUs are named by the identifier that they answer with: as it is on CAN; on K-line 18DAF1xx, xx
/// being the ECU's address (as message::Stream does); on DoIP the logical address, as a 29-bit
/// identifier.
///
/// Each is used from one thread at a time. Times are nanoseconds on any one scale and do not go
/// back. What a task is given by reference in a constructor is copied, unless it is a task, a
/// session or a link; functions set in it (`on_sample`, `on_reply`) are called from inside `told`
/// and may end the task, but not destroy it.
namespace telltale::client {

/// How the vehicle is spoken to.
enum class Dialect : std::uint8_t {
    can_11,      ///< ISO 15765-4, 11-bit identifiers
    can_29,      ///< ISO 15765-4, 29-bit identifiers
    kline_9141,  ///< ISO 9141-2
    kline_14230, ///< ISO 14230-4
    doip,        ///< ISO 13400-2
};
constexpr bool is_can(Dialect dialect) {
    return dialect == Dialect::can_11 || dialect == Dialect::can_29;
}
constexpr bool is_kline(Dialect dialect) {
    return dialect == Dialect::kline_9141 || dialect == Dialect::kline_14230;
}

/// The line as it is set up.
struct Line {
    Dialect dialect = Dialect::can_11;
    std::uint32_t bit_rate = 0; ///< CAN, bit/s; 0: not known
    std::uint8_t tester = 0xF1; ///< K-line: the tester's address
    std::uint16_t doip_tester = 0x0E00;
    std::uint16_t doip_functional = 0xE000; ///< ISO 13400-2: functional requests, OBD
    friend bool operator==(const Line&, const Line&) = default;
};

/// Times of the application layer, and how much patience there is.
struct Timing {
    /// From the end of the request until the answer begins (P2CAN max of ISO 15765-4; P2max of
    /// ISO 14230-4 and ISO 9141-2).
    Time p2 = 50 * nanoseconds_a_millisecond;
    /// The same after "response pending" (P2*CAN max of ISO 15765-4; P3max of ISO 14230-4).
    Time p2_star = 5 * nanoseconds_a_second;
    /// From the last answer until the next request (P3min: ISO 14230-4, ISO 9141-2); CAN: none.
    Time p3_min = 0;
    /// What adapter and program may add to P2.
    Time slack = 20 * nanoseconds_a_millisecond;
    /// How long after its P2 an answer that did not come is still reckoned with: until then
    /// nothing is asked whose answer could be taken for it.
    Time late = 200 * nanoseconds_a_millisecond;
    /// From "busy, repeat request" until it is repeated, and how often (SAE J1979; from memory).
    Time busy_wait = 200 * nanoseconds_a_millisecond;
    unsigned busy_tries = 5;
    /// So often a request that was not answered, or whose answer was broken, is asked again.
    unsigned retries = 1;
    /// "Response pending" is heeded so long, from the request on.
    Time pending_limit = 30 * nanoseconds_a_second;
    /// The line takes longer than this to send a piece: not sent (N_As of ISO 15765-4 is 25 ms; a
    /// link may have to wait for others).
    Time send_limit = nanoseconds_a_second;
};

/// The times that the standards prescribe.
constexpr Timing timing_of(Dialect dialect) {
    Timing timing;
    if (is_kline(dialect)) {
        timing.p3_min = 55 * nanoseconds_a_millisecond;
        // P2 ends where the answer begins, but a frame is known when it is over: eleven bytes with
        // some 5 ms between them (P1 may be 20 ms; common practice is less) and, on ISO 9141-2,
        // the pause of P1max that ends it.
        timing.slack = 130 * nanoseconds_a_millisecond;
    } else if (dialect == Dialect::doip) {
        timing.slack = 500 * nanoseconds_a_millisecond;
    }
    return timing;
}

} // namespace telltale::client
