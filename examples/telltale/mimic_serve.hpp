// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <optional>
#include <string>

#include "telltale/base/result.hpp"
#include "telltale/mimic/vehicle.hpp"

namespace telltale::program {

struct ServeOptions {
    bool iso_14230 = false;        ///< what a K-line speaks when it is woken at 5 baud
    std::optional<double> seconds; ///< without: until it is told to stop
    std::string identity;          ///< with TLS: PEM file of the certificate and its key
};

/// Runs the vehicle on a line until it is told to stop (SIGINT, SIGTERM), or for so many seconds:
///
///     can:IFACE, slcan:DEVICE   an ECU on that CAN bus, by the interface or adapter
///     slcan:pty                 what lies behind an adapter: a pseudo-terminal that answers as
///                               the adapter would
///     kline:DEVICE              the ECUs' end of a K-line on that serial port
///     kline:pty                 the same on a pseudo-terminal, which carries no wake-up: awake
///                               from the start
///     doip:ADDRESS[:PORT]       a DoIP entity that listens there (TCP and UDP)
///     doip:ADDRESS[:PORT],tls   the same, by TLS in place of plain TCP
///
/// Prints on standard output, once it is ready, the name of the link by which it is reached.
/// Errors: `bad_argument`, `cannot_open`, `cannot_read`.
Result<void> serve_mimic(const std::string& link, mimic::Vehicle& vehicle,
                         const ServeOptions& options);

} // namespace telltale::program
