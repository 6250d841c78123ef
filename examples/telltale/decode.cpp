// SPDX-License-Identifier: Apache-2.0
#include <memory>

#include <CLI/App.hpp>
#include <CLI/Validators.hpp>

#include "command.hpp"
#include "drive.hpp"
#include "input.hpp"
#include "many.hpp"
#include "printer.hpp"

namespace telltale::program {

namespace {

struct DecodeSettings {
    InputOptions input;
    std::string as = "text";
    std::string units = "si";
    DriveOptions narrow; ///< --only and --watch
    bool bytes = false;
    unsigned jobs = 0;
};

int decode(const DecodeSettings& options) {
    auto settings = read_input_options(options.input);
    if (!settings) {
        say(settings.error().detail);
        return status_wrong;
    }
    DriveOptions lists;
    lists.watch = options.narrow.watch;
    auto picks = read_picks(lists);
    if (!picks) {
        say(picks.error().detail);
        return status_wrong;
    }
    auto only = Only::read(options.narrow.only, std::move(*picks), settings->extension.get());
    if (!only) {
        say(only.error().detail);
        return status_wrong;
    }
    Printer::Options how;
    how.only = std::move(*only);
    how.units = options.units == "us" ? UnitSystem::us : UnitSystem::si;
    const Dumps dumps = find_dumps(settings->files);
    how.several = dumps.several;
    how.bytes = options.bytes;
    const auto printer = [&](Output& output) {
        return options.as == "jsonl" ? make_jsonl_printer(output, how)
               : options.as == "csv" ? make_csv_printer(output, how)
                                     : make_text_printer(output, how);
    };
    Output console;
    printer(console)->start();
    const bool fine = work_on(
        dumps, options.jobs, console, "", [&](const DumpFile& file, Output& output, bool* no_dump) {
            const auto one = printer(output);
            one->file(file.path);
            return read_dump(file.path, *settings, output, *one, *one, no_dump);
        });
    return console.finish(fine ? status_done : status_wrong);
}

} // namespace

void add_decode(CLI::App& app, Run& run) {
    const auto options = std::make_shared<DecodeSettings>();
    auto* command = app.add_subcommand("decode", "Show what a vehicle said, message by message");
    add_input_options(*command, options->input);
    command
        ->add_option("--as", options->as,
                     "text, jsonl (an object a message) or csv (a row a value)")
        ->check(CLI::IsMember({"text", "jsonl", "csv"}))
        ->type_name("FORM")
        ->capture_default_str();
    command
        ->add_option("--only", options->narrow.only,
                     "Only these values: a PID (0C), one of its fields (14.1), a short name (RPM), "
                     "an ECU before it (7E8:0C), an identifier of another service (09:02), a "
                     "service (03:)")
        ->delimiter(',')
        ->type_name("ID,...")
        ->allow_extra_args(false);
    add_watch_option(*command, options->narrow);
    command->add_option("--units", options->units, "si or us")
        ->check(CLI::IsMember({"si", "us"}))
        ->type_name("SYSTEM")
        ->capture_default_str();
    command->add_flag("--bytes", options->bytes, "With text: the bytes of each message as well");
    add_jobs_option(*command, options->jobs);
    command->footer("Problems in the input are shown in their place and do not change the exit "
                    "status.\n\nExamples:\n"
                    "  telltale decode drive.pcapng\n"
                    "  telltale decode drive.log --as csv --only RPM,05 --units us > rpm.csv\n"
                    "  telltale decode - --as jsonl < drive.log\n"
                    "  telltale decode drives/ --as jsonl --with maker.csv > drives.jsonl");
    command->callback([options, &run] { run = [options] { return decode(*options); }; });
}

} // namespace telltale::program
