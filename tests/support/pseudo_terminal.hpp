// SPDX-License-Identifier: Apache-2.0
// A pseudo terminal in place of a serial port.
#pragma once

#include <cstdlib>

#include <fcntl.h>
#include <termios.h>
#include <unistd.h>

namespace telltale::tests {

/// Its end for whoever is the device, opened with these flags besides; `::ptsname` has the name of
/// the other one. Bytes go through as they are: a terminal echoes as it comes, a port does not.
/// -1: there is none to be had.
inline int open_pseudo_terminal(int flags = 0) {
    const int port = ::posix_openpt(O_RDWR | O_NOCTTY | flags);
    termios raw{};
    if (port < 0 || ::grantpt(port) != 0 || ::unlockpt(port) != 0 || ::tcgetattr(port, &raw) != 0)
        return -1;
    ::cfmakeraw(&raw);
    return ::tcsetattr(port, TCSANOW, &raw) == 0 ? port : -1;
}

} // namespace telltale::tests
