// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <bitset>
#include <cstdint>
#include <functional>
#include <string>
#include <string_view>

#include "telltale/base/export.hpp"
#include "telltale/base/units.hpp"
#include "telltale/vehicle/picture.hpp"
#include "telltale/vehicle/sanity.hpp"

namespace telltale::vehicle {

/// What a report says besides the picture.
struct ReportOptions {
    UnitSystem units = UnitSystem::si;
    std::string_view source;  ///< where the dump came from (untrusted); empty: not said
    std::string_view format;  ///< its format; empty: not said
    std::uint64_t frames = 0; ///< frames in the dump; 0: not said
    /// Which values are listed; empty: all. The rest of the report does not change.
    std::function<bool(const Ecu&, const SignalKey&, const Signal&)> wanted;
    std::bitset<rules> rules_off; ///< plausibility rules that are not to be applied
    const catalogue::Extension* extension = nullptr; ///< what codes mean beside the standard's
};

/// Appends the report for a work order: plain text of at most 80 columns, cautions first. The same
/// picture gives the same text.
TELLTALE_API void append_report_text(std::string& out, const Picture& picture,
                                     const ReportOptions& options = {});

/// Appends the report as one line of JSON and a newline: an object as examples/telltale/CONTRACT.md
/// describes it.
TELLTALE_API void append_report_json(std::string& out, const Picture& picture,
                                     const ReportOptions& options = {});

/// Appends a moment for people: UTC date and time where it can be one (after 1990), else seconds.
TELLTALE_API void append_moment(std::string& out, Time time);

} // namespace telltale::vehicle
