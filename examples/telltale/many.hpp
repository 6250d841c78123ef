// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <cstddef>
#include <functional>
#include <string>
#include <string_view>
#include <vector>

#include "output.hpp"

namespace CLI {
class App;
}

namespace telltale::program {

/// Adds -j, --jobs.
void add_jobs_option(CLI::App& command, unsigned& jobs);

/// A dump to be read.
struct DumpFile {
    static constexpr std::size_t named = static_cast<std::size_t>(-1);
    std::string path;
    std::size_t folder = named; ///< the folder that it was found in, or `named` by the user
};

/// The dumps that names on the command line stand for.
struct Dumps {
    std::vector<DumpFile> files;
    std::vector<std::string> folders;
    bool several = false; ///< more than one may be shown: each object names its file
    bool complete = true; ///< false: a folder could not be read whole; standard error says so
};
/// Files as they are named, folders with all files below them in the order of their paths (byte by
/// byte), whatever order the file system has. Links to folders are not followed.
Dumps find_dumps(const std::vector<std::string>& names);

/// What is to be done with one dump; its results go to `output`. Returns false when it could not be
/// read, and sets `no_dump` (where that is not null) when its content is no dump.
using DumpWork = std::function<bool(const DumpFile& file, Output& output, bool* no_dump)>;

/// Does the work for each dump, on up to `jobs` threads (0: one a processor), and writes the
/// results and messages in the order of the dumps, `between` the results of two. Memory is bounded:
/// who is ahead waits. Files of folders that are no dumps are passed over and counted on standard
/// error. Returns true when all could be read.
bool work_on(const Dumps& dumps, unsigned jobs, Output& console, std::string_view between,
             const DumpWork& work);

} // namespace telltale::program
