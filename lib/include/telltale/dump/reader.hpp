// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <cstddef>
#include <cstdint>
#include <memory>
#include <string>
#include <string_view>

#include "telltale/base/export.hpp"
#include "telltale/base/problem.hpp"
#include "telltale/base/result.hpp"
#include "telltale/base/time.hpp"
#include "telltale/dump/source.hpp"
#include "telltale/frame/can.hpp"
#include "telltale/frame/filter.hpp"

namespace telltale::dump {

/// The dump formats that are read. Which one a dump has is found from its content.
enum class Format : std::uint8_t {
    unknown,
    pcap,
    pcapng,
    can_log,     ///< SocketCAN text log: (time) interface id#data
    can_columns, ///< SocketCAN column form: (time) interface id [n] bytes
    can_serial,  ///< serial-line CAN ASCII: t7E88...
    csv,         ///< comma-separated text with a header line
    hex,         ///< bare hex lines
    line_text,   ///< older lines: time line hex...
};
TELLTALE_API std::string_view name(Format format) noexcept;

enum class RecordKind : std::uint8_t {
    can,     ///< a CAN frame in `can`
    message, ///< a whole message without identifier in `bytes`
    kline,   ///< a K-line frame, header and checksum included, in `bytes`
    j1850,   ///< a J1850 frame, header and CRC included, in `bytes`
    comment, ///< a comment that belongs to no frame, in `comment`
};

enum class Direction : std::uint8_t { unknown, received, sent };

/// One thing read from a dump. Views in it stay valid until the next call of `Reader::next`.
struct Record {
    RecordKind kind = RecordKind::can;
    Direction direction = Direction::unknown;
    std::uint16_t line = 0; ///< index of the interface, for `Reader::line_name`
    Time time = no_time;
    Place place;
    CanFrame can;
    Bytes bytes;
    std::string_view
        comment; ///< a comment kept with this record (pcapng opt_comment); may be empty
};

struct ReaderOptions {
    /// CAN frames that do not pass are counted and passed over. Null: every frame is given.
    /// Must outlive the reader.
    const CanFilter* filter = nullptr;
    /// `unknown`: found by content.
    Format format = Format::unknown;
};

struct Counts {
    std::uint64_t bytes = 0;         ///< bytes consumed of the input
    std::uint64_t frames = 0;        ///< CAN and other frames seen, filtered ones included
    std::uint64_t passed_over = 0;   ///< frames that the filter did not let through
    std::uint64_t remote_frames = 0; ///< given to the caller as well, if the filter lets them
    std::uint64_t error_frames = 0;  ///< given to the caller as well
    std::uint64_t problems = 0;
};

enum class Step : std::uint8_t { record, problem, end };

/// Reads a dump as a stream: bounded memory whatever the input, no allocation a record once it
/// runs.
class TELLTALE_API Reader {
  public:
    /// Opens a file or, for "-", standard input, and finds its format.
    /// Errors: `cannot_open`, `is_directory`, `cannot_read`, `empty_input`, `unknown_format`.
    static Result<Reader> open(const std::string& path, const ReaderOptions& options = {});
    /// The same over any source.
    static Result<Reader> from(std::unique_ptr<Source> source, const ReaderOptions& options = {});

    Reader(Reader&&) noexcept;
    Reader& operator=(Reader&&) noexcept;
    ~Reader();

    /// The next record or the next problem; `end` when there is no more.
    Step next(Record& record, Problem& problem);

    Format format() const noexcept;
    /// Name of an interface as the dump gives it (untrusted text; empty where it gives none). Valid
    /// until the next call of `next`.
    std::string_view line_name(std::uint16_t line) const noexcept;
    const Counts& counts() const noexcept;
    /// Size of the input in bytes where it is known, else 0.
    std::uint64_t size() const noexcept;

    class Impl;

  private:
    explicit Reader(std::unique_ptr<Impl> impl) noexcept;
    std::unique_ptr<Impl> impl_;
};

} // namespace telltale::dump
