// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <cstdint>
#include <functional>
#include <memory>
#include <string>

#include "telltale/base/export.hpp"
#include "telltale/base/result.hpp"
#include "telltale/base/time.hpp"
#include "telltale/link/link.hpp"

namespace telltale::link {

/// A K-line on a serial port byte by byte, as an ECU hears it: what others put there, without
/// what was put here. A low level that is longer than a byte comes as a zero byte.
///
/// Where the port gives back what is put (one wire), that is found out with the first bytes.
class TELLTALE_API KlinePort {
  public:
    KlinePort(const Executor& executor, std::string device, std::uint32_t baud = 10'400);
    ~KlinePort();
    KlinePort(const KlinePort&) = delete;
    KlinePort& operator=(const KlinePort&) = delete;

    /// A byte came; `time` is that of its end, as near as the port tells it.
    std::function<void(std::uint8_t byte, Time time)> on_byte;
    /// The port is not there any more; `trouble` says why.
    std::function<void()> on_gone;

    /// Errors: `cannot_open`, with what to do.
    Result<void> open();
    void put(std::uint8_t byte);
    void close();

    /// False: a pseudo terminal. It carries neither levels nor bit times.
    bool carries_levels() const noexcept;
    /// The port has given several bytes at once: their times are reckoned.
    bool gathers() const noexcept;
    const std::string& trouble() const noexcept;

  private:
    class Impl;
    std::shared_ptr<Impl> impl_;
};

} // namespace telltale::link
