// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <span>
#include <string>

#include "page.hpp"
#include "telltale/run/contrast.hpp"
#include "telltale/run/run.hpp"

namespace telltale::page {

/// The page of a comparison. It shows the bad run in which the first suspect was strongest (the
/// first run when there is no suspect) over the good one; what was found in other runs stands in
/// the notes. `good` is null for a run looked at alone. The good run is moved so that its driving
/// fits that of the bad one best about the first departure or the mark. `report` is plain text. The
/// result should have been made with `keep_expectations`.
Page page_of(const run::Run* good, std::span<const run::Run* const> bad,
             const run::ContrastResult& result, UnitSystem units, std::string report);

/// Seconds to add to the good run's own seconds (from its start) so that speed and engine speed fit
/// best those of the bad run about `at` seconds from the bad run's start; the result is on the bad
/// run's seconds. Falls back to 0, both starts together, when neither is there in both.
double best_shift(const run::Run& good, const run::Run& bad, double at);

} // namespace telltale::page
