// SPDX-License-Identifier: Apache-2.0
#include "manual.hpp"

#include <memory>

#include <CLI/App.hpp>
#include <CLI/Validators.hpp>

#include "command.hpp"
#include "output.hpp"

namespace telltale::program {

namespace {

struct Options {
    std::string command;
    std::string as = "man";
};

/// "FORM:{text,csv}", "N:INT in [1 - 8]": the parser's name of a value and what its checks say.
void read_type(std::string_view type, Switch& out) {
    const auto colon = type.find(':');
    out.value = type.substr(0, colon);
    if (colon == std::string_view::npos)
        return;
    const auto checks = type.substr(colon + 1);
    const auto from = checks.find_first_of("{[");
    const auto until = checks.find_first_of("}]");
    if (from == std::string_view::npos || until == std::string_view::npos || until < from)
        return;
    auto inside = checks.substr(from + 1, until - from - 1);
    if (checks[from] == '[') {
        out.limits = inside;
        return;
    }
    while (!inside.empty()) {
        const auto comma = inside.find(',');
        out.choices.emplace_back(inside.substr(0, comma));
        inside.remove_prefix(comma == std::string_view::npos ? inside.size() : comma + 1);
    }
}

Switch switch_of(const CLI::Option& option) {
    Switch out;
    if (option.get_positional()) {
        out.names.push_back(option.get_name(true));
    } else {
        for (const auto& name : option.get_snames())
            out.names.push_back("-" + name);
        for (const auto& name : option.get_lnames())
            out.names.push_back("--" + name);
    }
    if (option.get_type_size() != 0)
        read_type(option.get_type_name(), out);
    out.preset = option.get_default_str();
    out.text = option.get_description();
    out.many = option.get_items_expected_max() > 1;
    out.required = option.get_required();
    return out;
}

int manual(const CLI::App& app, const Options& options) {
    const Command program = describe(app);
    const Command* command = nullptr;
    for (const Command& one : program.commands)
        if (one.name == options.command)
            command = &one;
    if (!options.command.empty() && command == nullptr) {
        say("there is no command '" + options.command + "'; `telltale --help` lists them");
        return status_wrong;
    }
    if (command != nullptr && options.as != "man") {
        say("--as " + options.as + " is for the whole program: name no command");
        return status_wrong;
    }
    Output console;
    console.write(options.as == "bash"   ? bash_completion(program)
                  : options.as == "zsh"  ? zsh_completion(program)
                  : options.as == "fish" ? fish_completion(program)
                                         : manual_page(program, command));
    return console.finish(status_done);
}

} // namespace

bool Switch::takes_file() const {
    return value == "FILE" || value == "LIST" || names.front() == "FILE" ||
           names.front() == "GOOD" || names.front() == "BAD" || names.front() == "BEFORE" ||
           names.front() == "AFTER" || takes_link();
}

bool Switch::takes_link() const {
    return value == "LINK2" || names.front() == "LINK";
}

Command describe(const CLI::App& app) {
    Command out;
    out.name = app.get_name();
    out.text = app.get_description();
    out.footer = app.get_footer();
    for (const CLI::Option* const option : app.get_options())
        if (!option->get_group().empty())
            (option->get_positional() ? out.positionals : out.options)
                .push_back(switch_of(*option));
    for (const CLI::App* const command : app.get_subcommands({}))
        if (!command->get_group().empty())
            out.commands.push_back(describe(*command));
    return out;
}

void add_manual(CLI::App& app, Run& run) {
    const auto options = std::make_shared<Options>();
    auto* command = app.add_subcommand(
        "manual", "Print this help as a manual page, or for a shell that completes words");
    command->add_option("COMMAND", options->command, "The command; none: the program as a whole")
        ->type_name("");
    command->add_option("--as", options->as, "man, or the script for bash, zsh or fish")
        ->check(CLI::IsMember({"man", "bash", "zsh", "fish"}))
        ->type_name("FORM")
        ->capture_default_str();
    command->footer("The packages have both. Examples:\n"
                    "  telltale manual decode | man -l -\n"
                    "  telltale manual --as bash > "
                    "~/.local/share/bash-completion/completions/telltale");
    command->callback(
        [options, &app, &run] { run = [options, &app] { return manual(app, *options); }; });
}

} // namespace telltale::program
