// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "telltale/base/export.hpp"
#include "telltale/base/result.hpp"
#include "telltale/run/run.hpp"

namespace telltale::run {

/// One entry of a watch list. It fits a signal by its PID, by SAE's short name, or by its name.
struct TELLTALE_API Pick {
    std::string ecu; ///< only this ECU; empty: any
    /// Only this service (01, 21, 22); empty: 01 and 22, or any for a `word`.
    std::optional<std::uint8_t> service;
    std::optional<std::uint16_t> id; ///< PID, or data identifier from 0100 up
    std::optional<std::uint8_t> index;
    std::string word; ///< short or whole name, when there is no `id`

    /// `key` and `name` are compared without regard to case; data identifier F4xx of service 22 is
    /// the PID xx as well.
    bool fits(std::string_view ecu_text, std::uint8_t signal_service, std::uint16_t signal_id,
              std::uint8_t field, std::string_view key, std::string_view name) const noexcept;
    bool fits(std::string_view ecu_text, std::uint16_t signal_id, std::uint8_t field,
              std::string_view key, std::string_view name) const noexcept {
        return fits(ecu_text, signal_id > 0xFF ? 0x22 : 0x01, signal_id, field, key, name);
    }
    bool fits(const Series& series) const noexcept {
        return fits(series.ecu, series.service, series.id, series.index, series.key, series.name);
    }
};

/// Reads one entry: `0C`, `14.1` (the second field of PID 14), `21:01` (local identifier 01 of
/// service 21), `RPM`, `Engine speed`, each with an ECU before it if wanted: `7E8:0C`,
/// `7E8:21:01`. Errors: `bad_argument`.
TELLTALE_API Result<Pick> parse_pick(std::string_view text);

/// Reads entries separated by commas (`--only`). Errors: `bad_argument`.
TELLTALE_API Result<std::vector<Pick>> parse_picks(std::string_view text);

/// A list of parameters that somebody wants to see together.
struct Watch {
    std::string name;
    std::string about;
    std::vector<Pick> picks; ///< in the order in which they are shown
};

/// The ready-made lists: air, fuel, ignition, exhaust, charging, temperatures.
TELLTALE_API std::span<const Watch> ready_watches();

/// A list out of a small text file: an entry a line, as `parse_pick` reads them; what follows a #
/// is passed over. Errors: `bad_argument` with the line.
TELLTALE_API Result<Watch> parse_watch(std::string_view text);

/// The places in `run.series` that fit, in the order of the entries, each once. Without entries:
/// all of them in their own order.
TELLTALE_API std::vector<std::size_t> select(const Run& run, std::span<const Pick> picks);

} // namespace telltale::run
