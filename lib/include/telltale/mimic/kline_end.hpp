// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>
#include <deque>
#include <vector>

#include "telltale/base/bytes.hpp"
#include "telltale/base/export.hpp"
#include "telltale/base/function_ref.hpp"
#include "telltale/base/time.hpp"
#include "telltale/frame/kline.hpp"
#include "telltale/mimic/vehicle.hpp"

namespace telltale::mimic {

/// The vehicle's end of a K-line, without I/O: hears bytes and times, gives bytes to put on the
/// line. It is woken as ISO 9141-2 and ISO 14230-4 want it and falls asleep when nobody asks for
/// longer than P3max (5 s).
///
/// Wake-up signals reach it as a serial port tells them, a zero byte for each low level that is
/// longer than a byte. Fast initialisation: one, then StartCommunication. Five baud, address 33: it
/// goes low at 0, 0.6 and 1.4 s (start bit, then the bits from the lowest on). Nothing but this
/// address is known.
class TELLTALE_API KlineEnd {
  public:
    /// `iso_14230`: key bytes of ISO 14230-4 after five baud, else those of ISO 9141-2.
    /// `asleep`: has to be woken first; else it answers at once (a line that carries no wake-up).
    KlineEnd(Vehicle& vehicle, bool iso_14230, bool asleep)
        : vehicle_(vehicle), iso_14230_(iso_14230), sleeps_(asleep), awake_(!asleep) {}

    /// Bytes from the line, without those that it put there itself.
    void feed(Bytes bytes, Time now);
    /// Does what is due; `put` takes bytes for the line.
    void poll(Time now, FunctionRef<void(Bytes)> put);
    /// When `poll` has something to do; `isotp::never` while nothing comes.
    Time next_wakeup() const noexcept;
    bool awake() const noexcept { return awake_; }

  private:
    enum class Wake : std::uint8_t { none, address, synchronized };
    struct Due {
        Time at;
        Message bytes;
    };

    void frame(Bytes bytes, Time end);
    void low(Time now);

    static constexpr std::size_t most_due = 512; ///< frames that wait to be put on the line

    Vehicle& vehicle_;
    bool iso_14230_;
    bool sleeps_;
    bool awake_;
    Wake wake_ = Wake::none;
    unsigned lows_ = 0; // of five baud, so far
    Time first_low_ = no_time;
    Time last_byte_ = no_time;
    Time asked_ = no_time; // the latest request
    std::array<std::uint8_t, max_kline_frame> bytes_{};
    std::size_t size_ = 0;
    std::deque<Due> due_;
};

} // namespace telltale::mimic
