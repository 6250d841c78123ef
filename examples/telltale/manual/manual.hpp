// SPDX-License-Identifier: Apache-2.0
// What the program's help holds, taken from the command-line parser, and what is made of it: manual
// pages and completions for shells.
#pragma once

#include <string>
#include <vector>

namespace CLI {
class App;
}

namespace telltale::program {

/// An option, or a positional argument.
struct Switch {
    std::vector<std::string> names;   ///< "-o", "--into"; of a positional: its name alone
    std::string value;                ///< what its value is called ("FILE"); empty: it takes none
    std::vector<std::string> choices; ///< the values that it takes, where these are a few words
    std::string limits;               ///< "1 - 8", or empty
    std::string preset;               ///< without it
    std::string text;
    bool many = false;
    bool required = false;

    bool takes_file() const;
    bool takes_link() const;
};

/// A command, or the program itself.
struct Command {
    std::string name;
    std::string text;
    std::vector<Switch> positionals;
    std::vector<Switch> options;
    std::string footer;
    std::vector<Command> commands;
};

Command describe(const CLI::App& app);

/// The manual page of the program, or of one of its commands (section 1).
std::string manual_page(const Command& program, const Command* command);
std::string bash_completion(const Command& program);
std::string zsh_completion(const Command& program);
std::string fish_completion(const Command& program);

} // namespace telltale::program
