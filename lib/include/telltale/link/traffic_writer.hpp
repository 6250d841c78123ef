// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <memory>
#include <string_view>

#include "telltale/base/export.hpp"
#include "telltale/base/result.hpp"
#include "telltale/dump/writer.hpp"
#include "telltale/link/link.hpp"

namespace telltale::link {

/// Writes what went over a line as a dump that telltale reads: CAN as pcapng; K-line as text,
/// `seconds kline bytes` a line; DoIP, which has no dump format of its own here, as the hex lines
/// of its messages, with time and addresses in a comment before each.
class TELLTALE_API TrafficWriter {
  public:
    /// `name`: of the interface, `comment`: about the whole dump.
    TrafficWriter(std::unique_ptr<dump::Sink> sink, LineKind line, std::string_view name,
                  std::string_view comment = {});
    ~TrafficWriter();
    TrafficWriter(TrafficWriter&&) noexcept;
    TrafficWriter& operator=(TrafficWriter&&) noexcept;

    /// One piece of the kind of line; `time` in nanoseconds since the Unix epoch. `comment` becomes
    /// a packet comment, or a comment line. Errors: `bad_argument` (another kind of line),
    /// those of dump::PcapngWriter::write.
    Result<void> write(const Traffic& traffic, Time time, bool sent, std::string_view comment = {});
    /// Hands everything gathered to the sink. Errors: `cannot_write`.
    Result<void> flush();

  private:
    class Impl;
    std::unique_ptr<Impl> impl_;
};

} // namespace telltale::link
