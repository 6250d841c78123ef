// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <cstdint>
#include <memory>
#include <string>

#include "telltale/base/result.hpp"

namespace telltale::link {

/// A serial port, raw, eight bits, no parity, one stop bit, any baud rate; nobody else may open it
/// meanwhile. Given back as it was found. With `breaks` a low
/// level that is longer than a byte is read as a zero byte.
class SerialPort {
  public:
    /// Errors: `cannot_open`, with what to do.
    static Result<std::unique_ptr<SerialPort>> open(const std::string& path, std::uint32_t baud,
                                                    bool breaks = false);
    SerialPort(const SerialPort&) = delete;
    SerialPort& operator=(const SerialPort&) = delete;
    ~SerialPort();

    int descriptor() const { return descriptor_; }
    /// A pseudo terminal: it has neither levels nor bit times.
    bool pseudo() const;
    bool set_baud(std::uint32_t baud);
    /// Holds the line low (break), or lets it go.
    bool set_break(bool on);
    /// Forgets what has come and was not read.
    void flush();

  private:
    SerialPort() = default;
    struct Before;
    int descriptor_ = -1;
    std::unique_ptr<Before> before_;
};

} // namespace telltale::link
