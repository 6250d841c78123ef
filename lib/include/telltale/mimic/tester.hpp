// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <cstdint>
#include <optional>
#include <vector>

#include "telltale/base/bytes.hpp"
#include "telltale/base/export.hpp"
#include "telltale/base/function_ref.hpp"
#include "telltale/base/time.hpp"
#include "telltale/isotp/endpoint.hpp"
#include "telltale/mimic/vehicle.hpp"

namespace telltale::mimic {

/// The other end of a simulated line: a tester and a bus, on a clock of their own. It asks the
/// vehicle one request at a time, as ISO 15765-4 wants it, and hands on every frame of both sides
/// in the order of time, none closer to the one before than a bus of 500 kbit/s allows.
class TELLTALE_API Tester {
  public:
    using Hear = FunctionRef<void(const CanFrame&, Time)>;

    Tester(Vehicle& vehicle, Time start);

    struct Heard {
        std::uint8_t ecu = 0;
        Message message;
    };
    /// Asks one ECU by its index, or all; returns when all have answered or P2 (50 ms, 5 s after
    /// response-pending) is over, with the final answers and the negative ones. A busy ECU is asked
    /// again.
    const std::vector<Heard>& ask(Bytes request, std::optional<unsigned> ecu, Hear hear);
    /// Nothing happens until `time`.
    void wait_until(Time time);
    Time now() const noexcept { return now_; }

  private:
    class Out;
    std::vector<unsigned> exchange(Bytes request, std::optional<unsigned> ecu, Hear hear);
    void run(Time until, Hear hear);
    void deliver(const CanFrame& frame, bool from_tester, Hear hear);

    Vehicle& vehicle_;
    std::vector<isotp::Endpoint> ends_; // one for each ECU
    isotp::Sender to_all_;
    std::vector<Heard> heard_;  // in the present exchange
    std::vector<Heard> result_; // of `ask`
    Time now_;
    Time last_frame_;
};

/// Asks a vehicle everything that it tells of itself, then polls its current data until `until`,
/// and reads the codes once more.
TELLTALE_API void survey(Tester& tester, Vehicle& vehicle, Time until, Tester::Hear hear);

} // namespace telltale::mimic
