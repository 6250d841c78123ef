// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <cstddef>
#include <cstdint>
#include <memory>
#include <span>
#include <string>

#include "telltale/base/bytes.hpp"
#include "telltale/base/export.hpp"
#include "telltale/base/result.hpp"

namespace telltale::dump {

/// Where the bytes of a dump come from.
class TELLTALE_API Source {
  public:
    virtual ~Source() = default;
    /// Fills the front of `into` and returns how many bytes came; 0 only at the end.
    /// Errors: `cannot_read`.
    virtual Result<std::size_t> read(std::span<std::uint8_t> into) = 0;
    /// The whole size in bytes where it is known (for progress), else 0.
    virtual std::uint64_t size() const { return 0; }
};

/// A file by its path, or standard input for "-". Errors: `cannot_open`, `is_directory`.
TELLTALE_API Result<std::unique_ptr<Source>> open_source(const std::string& path);

/// The bytes of a whole file, or of standard input for "-". Of a longer one `most` + 1, so that it
/// is seen to be too long. Errors: `cannot_open`, `is_directory`, `cannot_read`.
TELLTALE_API Result<std::string> read_whole(const std::string& path, std::size_t most);

/// Bytes in memory, which must outlive the source.
TELLTALE_API std::unique_ptr<Source> memory_source(Bytes bytes);

} // namespace telltale::dump
