// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <cstdint>
#include <functional>
#include <memory>

#include "telltale/base/export.hpp"
#include "telltale/link/link.hpp"
#include "telltale/link/traffic_writer.hpp"

/// Links around a link: they are used like the one inside and have its name and capabilities.
namespace telltale::link {

/// Copies everything that is received and sent into a dump, in the order in which the program gets
/// to know of it. `failed` (may be empty) is told once when the dump cannot be written any more;
/// the link goes on.
TELLTALE_API std::unique_ptr<Link> copying(std::unique_ptr<Link> inside,
                                           std::shared_ptr<TrafficWriter> writer,
                                           std::function<void(const Error&)> failed = {});

/// How often something goes wrong with a piece: 0 never, 1 always.
struct FaultRates {
    double drop = 0;    ///< it is lost
    double twice = 0;   ///< it comes twice
    double delay = 0;   ///< it, and what comes after it, waits for up to `longest_delay`
    double reorder = 0; ///< it waits alone for up to `longest_delay`: others pass it
    double corrupt = 0; ///< one bit of its data is turned over
};

struct Faults {
    FaultRates received;
    FaultRates sent; ///< the sender is told that it was sent, whatever becomes of it
    Time longest_delay = 20 * nanoseconds_a_millisecond;
    std::uint64_t seed = 1; ///< the same seed and the same pieces: the same faults
};

/// Has the traffic suffer.
TELLTALE_API std::unique_ptr<Link> faulty(std::unique_ptr<Link> inside, const Faults& faults);

} // namespace telltale::link
