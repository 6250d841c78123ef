// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>
#include <span>
#include <string_view>

#include "telltale/base/export.hpp"
#include "telltale/catalogue/field.hpp"

namespace telltale::catalogue {

/// Every PID row of services 01 and 02, ascending (SAE J1979-DA, annex B; ISO 15031-5 annex B).
TELLTALE_API std::span<const Row> pids() noexcept;
/// The row of one PID, or null when it is not in the catalogue. Constant time.
TELLTALE_API const Row* pid(std::uint8_t id) noexcept;

/// Identifiers `first` to `last` of a service that have no row, and why.
struct LeftOut {
    std::uint8_t first;
    std::uint8_t last;
    const char* name;
    const char* why;
};
/// The PIDs without a row, ascending: each PID has a row or is listed here.
TELLTALE_API std::span<const LeftOut> left_out() noexcept;

/// Every InfoType row of service 09, ascending. `length` is that of one item on CAN.
TELLTALE_API std::span<const Row> info_types() noexcept;
TELLTALE_API const Row* info_type(std::uint8_t id) noexcept;

/// A unit and scaling identifier of service 06 on CAN (SAE J1979-DA, annex E):
/// value = (raw - zero) * scale, raw being two bytes.
struct Scaling {
    std::uint8_t id;
    bool is_signed;
    Scale scale;
    Unit unit;
    const char* name;
    Evidence evidence = Evidence::memory;
    const char* unsure = nullptr;
    std::uint16_t zero = 0; ///< the raw value that stands for `scale.offset`

    /// The value of two raw bytes in `unit`.
    constexpr double apply(std::uint16_t raw) const {
        return scale.apply((is_signed ? static_cast<std::int16_t>(raw) : std::int32_t{raw}) - zero);
    }
};
TELLTALE_API std::span<const Scaling> scalings() noexcept;
TELLTALE_API const Scaling* scaling(std::uint8_t id) noexcept;

/// A name for an identifier that needs no more than a name: OBDMIDs (annex D), standard TIDs of
/// service 06 (annex C), TIDs of service 08, negative response codes, services.
struct Name {
    std::uint8_t id;
    const char* name;
    const char* clause;
    Evidence evidence = Evidence::memory;
    const char* unsure = nullptr;
};
TELLTALE_API std::span<const Name> monitors() noexcept; ///< OBDMIDs of service 06 on CAN
TELLTALE_API const Name* monitor(std::uint8_t id) noexcept;
TELLTALE_API std::span<const Name> tests() noexcept; ///< standard TIDs of service 06
TELLTALE_API const Name* test(std::uint8_t id) noexcept;
TELLTALE_API std::span<const Name> controls() noexcept; ///< TIDs of service 08
TELLTALE_API const Name* control(std::uint8_t id) noexcept;
TELLTALE_API std::span<const Name> negative_codes() noexcept; ///< ISO 14229-1 annex A, ISO 14230-3
TELLTALE_API const Name* negative_code(std::uint8_t id) noexcept;
TELLTALE_API std::span<const Name> services() noexcept; ///< request service identifiers
TELLTALE_API const Name* service(std::uint8_t id) noexcept;

/// How much of one table there is and on what it rests.
struct Coverage {
    std::string_view table;
    std::size_t rows = 0;
    std::size_t fields = 0;                   ///< 0 for tables of names
    std::array<std::size_t, 5> by_evidence{}; ///< rows; index: Evidence
    std::size_t unsure = 0;                   ///< rows of which something is not certain
    std::size_t left_out = 0;                 ///< identifiers without a row
};
/// One entry a table: PIDs, InfoTypes, scalings, monitors, tests, controls, negative response
/// codes.
TELLTALE_API std::array<Coverage, 7> coverage() noexcept;

} // namespace telltale::catalogue
