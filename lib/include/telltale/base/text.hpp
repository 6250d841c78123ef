// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <string>
#include <string_view>

#include "telltale/base/export.hpp"

namespace telltale {

/// Text from a vehicle or a file is untrusted; these make it fit for where it goes.

/// For a terminal or a plain text file: printable ASCII as it is, anything else as `\xHH`.
TELLTALE_API void append_plain(std::string& out, std::string_view untrusted);

/// For a terminal that shows UTF-8: as append_plain, but valid characters beyond ASCII stay.
TELLTALE_API void append_printable(std::string& out, std::string_view untrusted);

/// For JSON, quotes included. Bytes that are not valid UTF-8 become `\u00HH` of that byte's value.
TELLTALE_API void append_json(std::string& out, std::string_view untrusted);

/// For one CSV cell: quoted where it must be; control characters as `\xHH`; a cell that a
/// spreadsheet would take for a formula (= + - @ at its start, and not a number) gets a leading
/// apostrophe.
TELLTALE_API void append_csv(std::string& out, std::string_view untrusted);

/// For HTML text and attribute values: & < > " ' escaped, control characters as `\xHH`.
TELLTALE_API void append_html(std::string& out, std::string_view untrusted);

} // namespace telltale
