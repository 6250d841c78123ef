// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <optional>
#include <string>

#include "telltale/base/result.hpp"
#include "telltale/mimic/vehicle.hpp"

namespace telltale::program {

/// Runs the vehicle on a line until it is told to stop (SIGINT, SIGTERM), or for so many seconds:
///
///     can:IFACE, slcan:DEVICE   an ECU on that CAN bus, by the interface or adapter
///     slcan:pty                 what lies behind an adapter: a pseudo-terminal that answers as
///                               the adapter would
///     kline:DEVICE              the ECUs' end of a K-line on that serial port
///     kline:pty                 the same on a pseudo-terminal, which carries no wake-up: awake
///                               from the start
///     doip:ADDRESS[:PORT]       a DoIP entity that listens there (TCP and UDP)
///
/// Prints on standard output, once it is ready, the name of the link by which it is reached.
/// Errors: `bad_argument`, `cannot_open`, `cannot_read`.
Result<void> serve_mimic(const std::string& link, mimic::Vehicle& vehicle, bool iso_14230,
                         std::optional<double> seconds);

} // namespace telltale::program
