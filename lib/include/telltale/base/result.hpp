// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <cstdint>
#include <string>
#include <string_view>

#include <tl/expected.hpp>

#include "telltale/base/export.hpp"

namespace telltale {

/// Where in the input something stands: the byte offset from the start of the input and, in text
/// formats, the line counted from 1 (0: the input has no lines).
struct Place {
    std::uint64_t offset = 0;
    std::uint64_t line = 0;
    friend bool operator==(const Place&, const Place&) = default;
};

/// Why a call could not do what was asked. `word` is the stable word for it.
enum class ErrorCode : std::uint8_t {
    bad_hex,        ///< a character that is no hex digit, or half a byte
    too_long,       ///< more than the receiver has room for
    cannot_open,    ///< the file cannot be opened
    cannot_read,    ///< reading failed
    cannot_write,   ///< writing failed
    is_directory,   ///< a directory stands where a file is wanted
    empty_input,    ///< nothing in the input
    unknown_format, ///< the content is no dump format that is known
    bad_argument,   ///< a value outside what the call takes
    bad_request,    ///< the bytes are no request or response of a known form
};
TELLTALE_API std::string_view word(ErrorCode code) noexcept;

/// An error with its place. `detail` says in one sentence what is wrong and what to do.
struct Error {
    ErrorCode code = ErrorCode::bad_argument;
    std::string detail;
    Place place;
};

/// A value or an Error.
template <class T> using Result = tl::expected<T, Error>;

/// Shorthand for returning an error.
inline tl::unexpected<Error> fail(ErrorCode code, std::string detail, Place place = {}) {
    return tl::unexpected<Error>(Error{code, std::move(detail), place});
}

} // namespace telltale
