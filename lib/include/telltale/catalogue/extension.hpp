// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <cstddef>
#include <cstdint>
#include <memory>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "telltale/base/export.hpp"
#include "telltale/base/result.hpp"
#include "telltale/catalogue/catalogue.hpp"

/// Parameters and codes beside the standard's: a maker's own, described in a text. The form of the
/// text is that of `append_catalogue_csv`; examples/telltale/CONTRACT.md describes it.
namespace telltale::catalogue {

/// An ECU as rows of an extension name it: the CAN identifier of its responses, with bit 31 set for
/// those of 29 bits. 0 is any ECU.
using EcuName = std::uint32_t;
constexpr EcuName ecu_name(std::uint32_t identifier, bool extended) {
    return identifier | (extended ? 0x8000'0000U : 0U);
}

/// A parameter that is not the standard's. It is found in answers to service 01 and 02 (PIDs that
/// the standard leaves free), 21 (local identifiers, ISO 14230-3) or 22 (data identifiers,
/// ISO 14229-1).
struct OwnRow {
    std::uint8_t service = 0; ///< 01, 21 or 22
    EcuName ecu = 0;          ///< only of this ECU; 0: of any
    Row row;
};

/// A trouble code with its meaning.
struct OwnCode {
    std::uint16_t code = 0;         ///< two-byte form: 0x1234 is P1234
    std::int16_t failure_type = -1; ///< the byte after it (P1234-1C); -1: whatever stands there
    const char* text = "";
    const char* clause = "";
    Evidence evidence = Evidence::memory;
    const char* unsure = nullptr;
};

/// One text to be read: `name` says in faults where it is from (a file's name).
struct ExtensionText {
    std::string_view name;
    std::string_view text;
};

/// What is wrong with a line of a text.
struct Fault {
    std::size_t text = 0;   ///< index of the text
    std::uint64_t line = 0; ///< counted from 1
    std::string detail;     ///< what is wrong, in a sentence; holds untrusted text
};

/// Parameters and codes beside the standard's. Immutable once read: threads may share one. Whoever
/// is given one by a pointer in its options needs it for as long as it lives itself.
class TELLTALE_API Extension {
  public:
    static constexpr std::size_t max_text = std::size_t{4} << 20; ///< bytes of all texts together
    static constexpr std::size_t max_rows = 20'000;               ///< and as many codes
    static constexpr std::size_t max_fields = 250;                ///< of one row
    static constexpr std::size_t max_faults = 200; ///< that are kept; more are only counted

    Extension();
    ~Extension();
    Extension(Extension&&) noexcept;
    Extension& operator=(Extension&&) noexcept;

    /// Ascending by service, identifier, ECU.
    std::span<const OwnRow> rows() const noexcept;
    /// Ascending by code and failure type.
    std::span<const OwnCode> codes() const noexcept;
    bool empty() const noexcept { return rows().empty() && codes().empty(); }

    /// The row of an identifier at an ECU: one that names this ECU, or else one for any; null when
    /// there is none. `ecu` 0: not known, only rows for any ECU. No allocation.
    const Row* find(std::uint8_t service, std::uint16_t id, EcuName ecu = 0) const noexcept;
    /// True when there is a row of this service.
    bool has(std::uint8_t service) const noexcept;
    /// What a code means; empty when it is not in here. A code with a failure type has the meaning
    /// given with it, or else that of the two bytes alone.
    std::string_view code_text(std::uint16_t code, std::int16_t failure_type = -1) const noexcept;

  private:
    friend class ExtensionReader;
    struct Data;
    std::unique_ptr<Data> data_;
};

/// Reads texts that describe parameters and codes, all or nothing. Rows that are the standard's to
/// the letter are passed over, so that what `append_catalogue_csv` wrote can be read again.
/// Errors: `bad_argument`, `too_long`; `detail` has a line for each fault ("NAME:LINE: what is
/// wrong"; at most max_faults, then how many more), `place.line` is that of the first. `faults`,
/// unless null, gets them one by one.
/// What is checked: the columns and their words; that identifiers are free in the standard and
/// described once; that fields lie within the length and do not overlap; widths, scalings and
/// units; that `low` and `high`, where given, are what the scaling gives; choices that fit; names
/// and short names that are not taken.
TELLTALE_API Result<Extension> read_extension(std::span<const ExtensionText> texts,
                                              std::vector<Fault>* faults = nullptr);
TELLTALE_API Result<Extension> read_extension(std::string_view text,
                                              std::vector<Fault>* faults = nullptr);

} // namespace telltale::catalogue
