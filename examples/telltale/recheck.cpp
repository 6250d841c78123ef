// SPDX-License-Identifier: Apache-2.0
#include <array>
#include <memory>

#include <CLI/App.hpp>
#include <CLI/Validators.hpp>

#include "command.hpp"
#include "input.hpp"
#include "telltale/vehicle/recheck.hpp"

namespace telltale::program {

namespace {

struct RecheckSettings {
    InputOptions input;
    std::string before;
    std::string after;
    std::string as = "text";
    std::string units = "si";
    std::string allow = "us";
    int model_year = 0;
};

int recheck(const RecheckSettings& options) {
    InputOptions input = options.input;
    input.files = {options.before, options.after};
    const auto settings = read_input_options(input);
    if (!settings) {
        say(settings.error().detail);
        return status_wrong;
    }
    if (options.before == "-" && options.after == "-") {
        say("only one of BEFORE and AFTER can be standard input");
        return status_wrong;
    }
    vehicle::RecheckOptions how;
    how.units = options.units == "us" ? UnitSystem::us : UnitSystem::si;
    how.extension = settings->extension.get();
    how.us_allowance = options.allow == "us";
    if (options.allow != "us" && options.allow != "none")
        how.allowance = static_cast<unsigned>(std::stoul(options.allow));
    if (options.model_year != 0)
        how.model_year = options.model_year;

    Output output;
    std::array<vehicle::Picture, 2> pictures;
    for (std::size_t i = 0; i < pictures.size(); ++i) {
        PictureWatcher watcher(pictures[i]);
        if (!read_dump(settings->files[i], *settings, output, pictures[i], watcher))
            return output.finish(status_wrong);
    }
    const auto result = vehicle::recheck(pictures[0], pictures[1], how);
    if (options.as == "json")
        append_recheck_json(output.buffer(), result, how);
    else
        append_recheck_text(output.buffer(), result, how);
    return output.finish(result.verdict == vehicle::Verdict::verified ? status_done : status_found);
}

/// "us", "none", or a small number.
std::string check_allowance(const std::string& text) {
    const bool number = !text.empty() && text.size() <= 2 &&
                        text.find_first_not_of("0123456789") == std::string::npos;
    return number || text == "us" || text == "none" ? std::string() : "is not us, none or a number";
}

} // namespace

void add_recheck(CLI::App& app, Run& run) {
    const auto options = std::make_shared<RecheckSettings>();
    auto* command =
        app.add_subcommand("recheck", "Compare a vehicle before and after a repair: did it hold?");
    command->add_option("BEFORE", options->before, "Dump from before the repair")->required();
    command->add_option("AFTER", options->after, "Dump from after it, - for standard input")
        ->required();
    command->add_option("--as", options->as, "text or json")
        ->check(CLI::IsMember({"text", "json"}))
        ->type_name("FORM")
        ->capture_default_str();
    command->add_option("--units", options->units, "si or us")
        ->check(CLI::IsMember({"si", "us"}))
        ->type_name("SYSTEM")
        ->capture_default_str();
    command
        ->add_option("--allow", options->allow,
                     "Monitors that may be incomplete: us (two for model years 1996 to 2000, one "
                     "from 2001: 40 CFR 85.2222 and its guidance), none, or a number; local rules "
                     "come first")
        ->check(CLI::Validator(check_allowance, ""))
        ->type_name("us|none|N")
        ->capture_default_str();
    command->add_option("--model-year", options->model_year, "Where the VIN does not tell it")
        ->check(CLI::Range(1980, 2100))
        ->type_name("YEAR");
    add_dump_options(*command, options->input);
    command->footer("Exit status: 0 the repair is verified, 1 not yet or failed, 2 a dump cannot "
                    "be read.\n\nExamples:\n"
                    "  telltale recheck before.pcapng after.pcapng\n"
                    "  telltale recheck before.log after.log --allow none --as json");
    command->callback([options, &run] { run = [options] { return recheck(*options); }; });
}

} // namespace telltale::program
