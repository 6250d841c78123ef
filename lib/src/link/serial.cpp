// SPDX-License-Identifier: Apache-2.0
// The one place that knows Linux's own terminal calls: they set any baud rate (10400 of the
// K-line), and their header cannot be included beside <termios.h>.
#include "serial.hpp"

#include <cerrno>
#include <system_error>

#include <asm/ioctls.h>
#include <asm/termbits.h>
#include <fcntl.h>
#include <sys/ioctl.h>
#include <sys/stat.h>
#include <sys/sysmacros.h>
#include <unistd.h>

namespace telltale::link {

struct SerialPort::Before {
    termios2 settings{};
};

Result<std::unique_ptr<SerialPort>> SerialPort::open(const std::string& path, std::uint32_t baud,
                                                     bool breaks) {
    std::unique_ptr<SerialPort> port(new SerialPort);
    port->descriptor_ = ::open(path.c_str(), O_RDWR | O_NOCTTY | O_NONBLOCK | O_CLOEXEC);
    if (port->descriptor_ < 0) {
        const int error = errno;
        std::string hint;
        if (error == EACCES)
            hint = "; you need the right to use it (on Debian: be in the group dialout)";
        else if (error == ENOENT)
            hint = "; is the adapter plugged in?";
        else if (error == EBUSY)
            hint = "; another program has it open";
        return fail(ErrorCode::cannot_open,
                    "cannot open '" + path + "': " + std::generic_category().message(error) + hint);
    }
    auto before = std::make_unique<Before>();
    if (::ioctl(port->descriptor_, TCGETS2, &before->settings) != 0)
        return fail(ErrorCode::cannot_open, "'" + path + "' is no serial port");
    port->before_ = std::move(before);
    (void)::ioctl(port->descriptor_, TIOCEXCL);
    auto settings = port->before_->settings;
    settings.c_iflag = breaks ? IGNPAR : IGNPAR | IGNBRK;
    settings.c_oflag = 0;
    settings.c_lflag = 0;
    settings.c_cflag &= ~static_cast<tcflag_t>(CSIZE | PARENB | CSTOPB | CRTSCTS);
    settings.c_cflag |= CS8 | CREAD | CLOCAL;
    settings.c_cc[VMIN] = 1;
    settings.c_cc[VTIME] = 0;
    if (::ioctl(port->descriptor_, TCSETS2, &settings) != 0 || !port->set_baud(baud))
        return fail(ErrorCode::cannot_open,
                    "'" + path + "' does not take " + std::to_string(baud) + " baud");
    port->flush();
    return port;
}

SerialPort::~SerialPort() {
    if (descriptor_ < 0)
        return;
    if (before_ != nullptr) {
        // After what was written last has gone out; without flow control nothing holds it up.
        (void)::ioctl(descriptor_, TCSETSW2, &before_->settings);
        (void)::ioctl(descriptor_, TIOCNXCL);
    }
    ::close(descriptor_);
}

bool SerialPort::pseudo() const {
    constexpr unsigned first = 136; // major numbers of the ends of pseudo terminals that one opens
    constexpr unsigned last = 143;
    struct stat what {};
    return ::fstat(descriptor_, &what) == 0 && major(what.st_rdev) >= first &&
           major(what.st_rdev) <= last;
}

bool SerialPort::set_baud(std::uint32_t baud) {
    termios2 settings{};
    if (::ioctl(descriptor_, TCGETS2, &settings) != 0)
        return false;
    settings.c_cflag &= ~static_cast<tcflag_t>(CBAUD | (CBAUD << IBSHIFT));
    settings.c_cflag |= BOTHER | (BOTHER << IBSHIFT);
    settings.c_ispeed = settings.c_ospeed = baud;
    return ::ioctl(descriptor_, TCSETS2, &settings) == 0;
}

bool SerialPort::set_break(bool on) {
    return ::ioctl(descriptor_, on ? TIOCSBRK : TIOCCBRK) == 0;
}

void SerialPort::flush() {
    (void)::ioctl(descriptor_, TCFLSH, TCIOFLUSH);
}

} // namespace telltale::link
