// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "input.hpp"
#include "telltale/run/run.hpp"
#include "telltale/run/watch.hpp"

namespace telltale::program {

/// Which signals of a drive a user wants, and which moments he points at.
struct DriveOptions {
    std::vector<std::string> only;
    std::vector<std::string> watch;
    std::optional<double> mark;
    std::string marks;
};
/// Adds --only, --watch, --mark and --marks. `options` must outlive the parsing.
void add_drive_options(CLI::App& command, DriveOptions& options);
/// Adds --watch alone.
void add_watch_option(CLI::App& command, DriveOptions& options);

/// The signals that --only and --watch name, in their order; none named: an empty list.
/// Errors: `bad_argument`, `cannot_open` with a sentence for the user.
Result<std::vector<run::Pick>> read_picks(const DriveOptions& options);

/// Reads a dump as a drive. Empty when it could not be read at all, or --marks could not; standard
/// error says why. `picture` may be null; otherwise it is drawn from the same messages.
std::optional<run::Run> read_drive(const std::string& file, const InputSettings& settings,
                                   const DriveOptions& options, Output& output,
                                   message::Listener* picture = nullptr,
                                   DumpWatcher* watcher = nullptr);

/// A whole small text file (at most 1 MiB). Errors: `cannot_open`, `cannot_read`, `too_long`.
Result<std::string> read_small_file(const std::string& path);

} // namespace telltale::program
