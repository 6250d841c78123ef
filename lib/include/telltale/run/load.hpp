// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <string>

#include "telltale/base/export.hpp"
#include "telltale/base/result.hpp"
#include "telltale/dump/reader.hpp"
#include "telltale/message/stream.hpp"
#include "telltale/run/run.hpp"

namespace telltale::run {

/// Reads a whole dump ("-": standard input) into a run; packet comments become marks. `stream`
/// says which frames count and how, and has parameters beside the standard's; it is needed during
/// the call only.
/// Errors: those of dump::Reader::open. Damage inside the dump is counted in `Run::problems`.
TELLTALE_API Result<Run> load(const std::string& path, const RunOptions& options = {},
                              const message::StreamOptions& stream = {});

/// The same from an open dump, whatever its source, to its end. `name` is what messages call it.
TELLTALE_API Run load(dump::Reader& reader, std::string name, const RunOptions& options = {},
                      const message::StreamOptions& stream = {});

} // namespace telltale::run
