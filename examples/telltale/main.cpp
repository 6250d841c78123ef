// SPDX-License-Identifier: Apache-2.0
#include <csignal>
#include <cstdio>
#include <exception>

#include <CLI/App.hpp>
#include <CLI/Config.hpp>
#include <CLI/Formatter.hpp>

#include "command.hpp"
#include "telltale/version.hpp"

int main(int argc, char** argv) {
    using namespace telltale::program;
    // A reader that goes away (`telltale decode FILE | head`) is no error: writing says so.
    std::signal(SIGPIPE, SIG_IGN);
    try {
        CLI::App app("Decodes on-board diagnostics into engineering units.", "telltale");
        app.set_version_flag("--version", "telltale " TELLTALE_VERSION_STRING,
                             "Print the version and exit");
        app.set_help_flag("-h,--help", "Print this help and exit");
        app.require_subcommand(1);
        app.footer("Results go to standard output, messages to standard error.\n"
                   "Exit status: 0 done; 1 found what was looked for; 2 wrong usage or input that\n"
                   "cannot be read. `telltale COMMAND --help` shows an example of each command.");

        Run run;
        add_decode(app, run);
        add_report(app, run);
        add_recheck(app, run);
        add_catalogue(app, run);
        add_table(app, run);
        add_contrast(app, run);
#ifdef TELLTALE_LINK
        add_mimic(app, run);
        add_clear(app, run);
        add_record(app, run);
        add_vet(app, run);
#endif
        add_manual(app, run);

        try {
            app.parse(argc, argv);
        } catch (const CLI::ParseError& error) {
            return app.exit(error) == 0 ? status_done : status_wrong;
        }
        return run ? run() : status_wrong;
    } catch (const std::exception& error) {
        std::fprintf(stderr, "telltale: %s\n", error.what());
        return status_wrong;
    }
}
