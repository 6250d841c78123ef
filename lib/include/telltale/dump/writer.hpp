// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <cstddef>
#include <cstdint>
#include <memory>
#include <string>
#include <string_view>
#include <vector>

#include "telltale/base/bytes.hpp"
#include "telltale/base/export.hpp"
#include "telltale/base/result.hpp"
#include "telltale/base/time.hpp"
#include "telltale/dump/reader.hpp"
#include "telltale/frame/can.hpp"

namespace telltale::dump {

/// Where the bytes of a dump go.
class TELLTALE_API Sink {
  public:
    virtual ~Sink() = default;
    /// Takes all of the bytes. Errors: `cannot_write`.
    virtual Result<void> write(Bytes bytes) = 0;
};

/// A file by its path, made anew, or standard output for "-".
/// Errors: `cannot_open`, `is_directory`.
TELLTALE_API Result<std::unique_ptr<Sink>> open_sink(const std::string& path);

/// Appends to a vector, which must outlive the sink.
TELLTALE_API std::unique_ptr<Sink> memory_sink(std::vector<std::uint8_t>& into);

/// Writes CAN frames as pcapng (draft-ietf-opsawg-pcapng): one section, link type CAN_SOCKETCAN
/// (227), times in nanoseconds, packets as enhanced packet blocks in the size that Linux gives them
/// (16 bytes classic, 72 bytes FD). The same calls give the same bytes. Bytes are gathered and go
/// to the sink in large pieces.
class TELLTALE_API PcapngWriter {
  public:
    /// `comment`: a remark about the whole section, UTF-8, at most 65535 bytes (cut there).
    explicit PcapngWriter(std::unique_ptr<Sink> sink, std::string_view comment = {});
    PcapngWriter(PcapngWriter&&) noexcept;
    PcapngWriter& operator=(PcapngWriter&&) noexcept;
    /// Flushes; an error is lost: call `flush` before.
    ~PcapngWriter();

    /// Describes an interface (if_name, if_tsresol 9) and returns its number for `write`.
    /// Errors: `too_long` (name or comment above 65535 bytes), `cannot_write`.
    Result<std::uint16_t> add_line(std::string_view name, std::string_view comment = {});

    /// One frame. `time` in nanoseconds since the Unix epoch, not negative. `direction` becomes
    /// epb_flags, `comment` opt_comment.
    /// Errors: `bad_argument` (a line that was not added, no time, an identifier above its range, a
    /// length that the frame type does not have), `too_long` (comment above 65535 bytes),
    /// `cannot_write`.
    Result<void> write(std::uint16_t line, const CanFrame& frame, Time time,
                       Direction direction = Direction::unknown, std::string_view comment = {});

    /// Hands everything gathered to the sink. Errors: `cannot_write`.
    Result<void> flush();

  private:
    class Impl;
    std::unique_ptr<Impl> impl_;
};

struct PcapOptions {
    bool nanoseconds = false; ///< else microseconds: times lose their last three digits
    bool big_endian = false;
};

/// Writes CAN frames as plain pcap (draft-ietf-opsawg-pcap), link type CAN_SOCKETCAN (227).
class TELLTALE_API PcapWriter {
  public:
    explicit PcapWriter(std::unique_ptr<Sink> sink, const PcapOptions& options = {});
    PcapWriter(PcapWriter&&) noexcept;
    PcapWriter& operator=(PcapWriter&&) noexcept;
    /// Flushes; an error is lost: call `flush` before.
    ~PcapWriter();

    /// One frame. `time` in nanoseconds since the Unix epoch, up to the year 2106.
    /// Errors: `bad_argument` as `PcapngWriter::write`, `cannot_write`.
    Result<void> write(const CanFrame& frame, Time time);

    /// Hands everything gathered to the sink. Errors: `cannot_write`.
    Result<void> flush();

  private:
    class Impl;
    std::unique_ptr<Impl> impl_;
};

} // namespace telltale::dump
