// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <array>
#include <bitset>
#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "telltale/base/export.hpp"
#include "telltale/base/units.hpp"
#include "telltale/vehicle/picture.hpp"

/// Plausibility checks that technicians make on a recording. Every rule of thumb here is common
/// practice: it finds what deserves a second look, and proves nothing.
namespace telltale::vehicle {

enum class Rule : std::uint8_t {
    barometric,     ///< key on, engine off: manifold pressure agrees with barometric pressure
    cold_soak,      ///< after a cold soak, coolant, intake and ambient temperature agree
    throttle_rest,  ///< throttle and pedal rest where they should
    voltage,        ///< module voltage within 8 to 20 V at all, within its band while charging
    fuel_trim,      ///< short and long-term fuel trim together within ten percent
    end_of_range,   ///< no sensor reads an end of its range: open and shorted circuits look so
    never_answered, ///< what is supported and asked for is answered
    last_
};
inline constexpr std::size_t rules = static_cast<std::size_t>(Rule::last_);

/// Its stable word: "barometric", "cold-soak", ...
TELLTALE_API std::string_view word(Rule rule) noexcept;
/// The rule by its word; empty when there is none.
TELLTALE_API std::optional<Rule> rule(std::string_view word) noexcept;
/// The rule of thumb in a sentence that says where it comes from.
TELLTALE_API std::string_view basis(Rule rule) noexcept;

struct Finding {
    Rule rule = Rule::last_;
    const Ecu* ecu = nullptr;        ///< of the picture; null: the vehicle as a whole
    std::optional<std::uint8_t> pid; ///< that it is about
    std::string sentence;
};

struct SanityOptions {
    std::bitset<rules> off; ///< rules that are not to be applied
    UnitSystem units = UnitSystem::si;
};

/// What deserves a second look, by rule and ECU.
TELLTALE_API std::vector<Finding> check(const Picture& picture, const SanityOptions& options = {});

} // namespace telltale::vehicle
