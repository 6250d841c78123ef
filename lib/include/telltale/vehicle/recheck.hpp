// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "telltale/base/export.hpp"
#include "telltale/base/units.hpp"
#include "telltale/vehicle/picture.hpp"

/// Before and after a repair: did it hold? The judgement rests on common practice where no source
/// is named; the maker's procedure and local rules come first.
namespace telltale::vehicle {

enum class Verdict : std::uint8_t {
    verified, ///< nothing that was found before shows after, and what would find it has run
    not_yet,  ///< nothing speaks against the repair, but not enough speaks for it
    failed,   ///< a fault shows after the repair
};
/// Its stable word: "verified", "not-yet", "failed".
TELLTALE_API std::string_view word(Verdict verdict) noexcept;

struct RecheckOptions {
    /// Allow as many incomplete monitors as the US inspection guidance does (40 CFR 85.2222 and its
    /// guidance): two for model years 1996 to 2000, one from 2001. False: none is allowed.
    bool us_allowance = true;
    /// How many may be incomplete, whatever the guidance says.
    std::optional<unsigned> allowance;
    /// Where the VIN does not tell it. Without either, the stricter number counts.
    std::optional<int> model_year;
    UnitSystem units = UnitSystem::si;
    const catalogue::Extension* extension = nullptr; ///< what codes mean beside the standard's
};

enum class ListKind : std::uint8_t { stored, pending, permanent };
TELLTALE_API std::string_view word(ListKind kind) noexcept;

/// One code of one list, in either picture.
struct CodeMove {
    std::string ecu; ///< identifier in hex
    ListKind list = ListKind::stored;
    Code code;
    bool before = false;
    bool after = false;
};

/// A list of codes that AFTER should tell and does not.
struct ListGap {
    std::string ecu;
    ListKind list = ListKind::stored;
};

/// A monitor of PID 01.
struct MonitorMove {
    std::string ecu;
    std::uint16_t key = 0; ///< as in Readiness
    std::string name;
    std::optional<bool> before; ///< complete; empty: not told
    std::optional<bool> after;
    bool watches_former_code = false; ///< it is the one that would find a code of BEFORE again
    std::string_view driving;         ///< what commonly lets it run; empty: not known
};

enum class Direction : std::uint8_t { unchanged, towards_limit, from_limit };

/// A monitor test result that both pictures have.
struct TestMove {
    std::string ecu;
    TestKey key;
    std::string name;
    double before = 0;
    double after = 0;
    double low = 0; ///< limits in AFTER
    double high = 0;
    Unit unit = Unit::none;
    double step = 0;
    std::uint8_t decimals = 0;
    bool passed_before = false;
    bool passed_after = false;
    /// Room to the nearer limit as a part of the limits' distance (of the one limit, where the
    /// other is the end of the raw range); negative outside them.
    double room_before = 0;
    double room_after = 0;
    Direction direction = Direction::unchanged;
};

/// Short and long-term trim together, in the mean, in percent.
struct TrimMove {
    std::string ecu;
    unsigned bank = 1;
    std::optional<double> before;
    std::optional<double> after;
};

/// What PIDs 30, 31, 4E and A6 say of clearing and driving.
struct SinceClear {
    std::string ecu;
    std::optional<double> distance_before; ///< km since clear
    std::optional<double> distance_after;
    std::optional<double> warm_ups_before;
    std::optional<double> warm_ups_after;
    std::optional<double> minutes_before;
    std::optional<double> minutes_after;
    std::optional<double> odometer_before; ///< km
    std::optional<double> odometer_after;
    double driven_in_after = 0; ///< km in the second recording itself, from its speed
    bool cleared = false;       ///< codes were cleared between the two
};

struct Recheck {
    Verdict verdict = Verdict::not_yet;
    std::string reason; ///< one line
    std::string vin_before;
    std::string vin_after;
    unsigned allowed_incomplete = 0;
    std::string allowance_basis; ///< where the number comes from, in a sentence
    std::size_t incomplete_after = 0;
    bool merely_cleared = false; ///< cleared, and hardly driven since
    std::vector<CodeMove> codes;
    std::vector<ListGap> gaps;
    std::vector<MonitorMove> monitors;
    std::vector<TestMove> tests;
    std::vector<TrimMove> trims;
    std::vector<SinceClear> since_clear;
    std::vector<std::string> notes;
};

/// Compares two pictures of one vehicle.
TELLTALE_API Recheck recheck(const Picture& before, const Picture& after,
                             const RecheckOptions& options = {});

/// Appends it for the work order: plain text of at most 80 columns, the verdict first.
TELLTALE_API void append_recheck_text(std::string& out, const Recheck& result,
                                      const RecheckOptions& options = {});
/// Appends it as one line of JSON and a newline (examples/telltale/CONTRACT.md).
TELLTALE_API void append_recheck_json(std::string& out, const Recheck& result,
                                      const RecheckOptions& options = {});

} // namespace telltale::vehicle
