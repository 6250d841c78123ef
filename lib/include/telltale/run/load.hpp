// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <string>

#include "telltale/base/export.hpp"
#include "telltale/base/result.hpp"
#include "telltale/run/run.hpp"

namespace telltale::run {

/// Reads a whole dump ("-": standard input) into a run; packet comments become marks.
/// Errors: those of dump::Reader::open. Damage inside the dump is counted in `Run::problems`.
TELLTALE_API Result<Run> load(const std::string& path, const RunOptions& options = {});

} // namespace telltale::run
