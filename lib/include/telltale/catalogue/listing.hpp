// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <cstdint>
#include <span>
#include <string>
#include <string_view>

#include "telltale/base/export.hpp"
#include "telltale/base/function_ref.hpp"
#include "telltale/catalogue/catalogue.hpp"
#include "telltale/catalogue/extension.hpp"

/// The catalogue as a list: every row of every table, for whoever prints or exports it.
namespace telltale::catalogue {

/// One table of the list.
struct Table {
    std::string_view word;    ///< pid, scaling, monitor, test, control, info-type, service,
                              ///< negative, local-id, data-id, code
    std::string_view service; ///< that it belongs to, two hex digits, or empty
    std::string_view title;
};
TELLTALE_API std::span<const Table> tables() noexcept;

/// One row of any table. A scaling is a row of one field.
struct Entry {
    std::uint16_t id = 0;
    std::int16_t failure_type = -1; ///< of a code
    bool is_code = false;
    EcuName ecu = 0;
    std::uint16_t length = 0;
    bool has_length = false;
    std::uint16_t short_length = 0;
    std::string_view name;
    std::string_view clause;
    Evidence evidence = Evidence::memory;
    const char* unsure = nullptr;
    std::span<const Field> fields;
};
/// The rows of the table with this word: the standard's, then those of the extension (may be null).
/// Views die when `use` returns.
TELLTALE_API void each_entry(std::string_view table, const Extension* extension,
                             FunctionRef<void(const Entry&)> use);

/// The whole catalogue as comma-separated text: a header line, then a line for each field (for each
/// row without fields). `read_extension` reads it. Columns may be added at the end.
TELLTALE_API void append_catalogue_csv(std::string& out, const Extension* extension = nullptr);

/// "0C", "F40C", "P1234", "P1234-1C".
TELLTALE_API void append_entry_id(std::string& out, const Entry& entry);
/// "7E8", "18DAF110"; nothing for any ECU.
TELLTALE_API void append_ecu_name(std::string& out, EcuName ecu);
/// The bytes of a field as the standard letters them: "A", "A-B", "C.7-5", "D-" (to the end).
TELLTALE_API void append_bytes(std::string& out, const Field& field);
/// "A.3".
TELLTALE_API void append_bit(std::string& out, Bit bit);
/// "raw * 100 / 255 - 40".
TELLTALE_API void append_scale(std::string& out, const Scale& scale);
/// The UCUM code of a field's unit; "1" for pure numbers.
TELLTALE_API std::string_view ucum_of(const Field& field) noexcept;
TELLTALE_API std::string_view word(Kind kind) noexcept;
TELLTALE_API std::string_view word(Evidence evidence) noexcept;

/// The values at the ends of a number's raw range, `low` being that of the lowest raw value.
struct Ends {
    double low = 0;
    double high = 0;
};
TELLTALE_API Ends ends_of(const Field& field) noexcept;

} // namespace telltale::catalogue
