// SPDX-License-Identifier: Apache-2.0
// Linux's own terminal calls set any baud rate; their header and <termios.h> exclude each other.
#include "serial_speed.hpp"

#include <asm/termbits.h>
#include <sys/ioctl.h>

namespace telltale::program {

bool set_serial_speed(int port, unsigned baud) {
    termios2 settings{};
    if (::ioctl(port, TCGETS2, &settings) != 0)
        return false;
    settings.c_cflag &= ~static_cast<tcflag_t>(CBAUD | (CBAUD << IBSHIFT));
    settings.c_cflag |= BOTHER | (BOTHER << IBSHIFT);
    settings.c_ispeed = baud;
    settings.c_ospeed = baud;
    return ::ioctl(port, TCSETS2, &settings) == 0;
}

} // namespace telltale::program
