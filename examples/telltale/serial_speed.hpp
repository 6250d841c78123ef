// SPDX-License-Identifier: Apache-2.0
#pragma once

namespace telltale::program {

/// Sets a serial port to any baud rate; false when it cannot.
bool set_serial_speed(int port, unsigned baud);

} // namespace telltale::program
