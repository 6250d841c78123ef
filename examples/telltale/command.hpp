// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <functional>

namespace CLI {
class App;
}

namespace telltale::program {

/// Exit statuses of every command.
enum Status : int {
    status_done = 0,  ///< done
    status_found = 1, ///< found what the user asked to look for
    status_wrong = 2, ///< wrong usage, or input that cannot be read
};

/// What to run once the command line is read; returns the exit status.
using Run = std::function<int()>;

// Each adds its command to the program and sets `run` when the user asked for it.
void add_decode(CLI::App& app, Run& run);
void add_report(CLI::App& app, Run& run);
void add_recheck(CLI::App& app, Run& run);
void add_catalogue(CLI::App& app, Run& run);
void add_table(CLI::App& app, Run& run);
void add_mimic(CLI::App& app, Run& run);
void add_clear(CLI::App& app, Run& run);
void add_record(CLI::App& app, Run& run);
void add_contrast(CLI::App& app, Run& run);
void add_vet(CLI::App& app, Run& run);
void add_manual(CLI::App& app, Run& run);

} // namespace telltale::program
