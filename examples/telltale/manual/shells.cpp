// SPDX-License-Identifier: Apache-2.0
// What completes commands, options and their values in bash, zsh and fish.
#include <algorithm>
#include <string_view>

#include "manual.hpp"
#include "telltale/run/watch.hpp"

namespace telltale::program {

namespace {

/// What the program's own tables say of values, besides the choices that the parser checks.
std::vector<std::string> words_of(const Switch& one) {
    std::vector<std::string> out = one.choices;
    if (one.names.back() == "--watch")
        for (const run::Watch& list : run::ready_watches())
            out.push_back(list.name);
    if (one.takes_link())
        out.insert(out.end(), {"can:", "slcan:", "kline:", "doip:"});
    return out;
}

std::string joined(const std::vector<std::string>& words, std::string_view between = " ") {
    std::string out;
    for (const std::string& word : words)
        out += (out.empty() ? "" : std::string(between)) + word;
    return out;
}

std::vector<std::string> names_of(const std::vector<Switch>& options) {
    std::vector<std::string> out;
    for (const Switch& one : options)
        out.insert(out.end(), one.names.begin(), one.names.end());
    return out;
}

std::vector<std::string> names_of(const std::vector<Command>& commands) {
    std::vector<std::string> out;
    for (const Command& one : commands)
        out.push_back(one.name);
    return out;
}

/// The positionals of a command together: words that may stand there, and whether files may.
Switch any_of(const Command& command, const Command& program) {
    Switch out;
    out.names = {""};
    for (const Switch& one : command.positionals) {
        for (std::string& word : words_of(one))
            out.choices.push_back(std::move(word));
        if (one.names.front() == "COMMAND")
            out.choices = names_of(program.commands);
        if (one.takes_file())
            out.value = "FILE";
    }
    return out;
}

/// Between single quotes, as bash, zsh and fish read them; of zsh the signs that _arguments reads
/// as well.
std::string in_quotes(std::string_view text, std::string_view special = "") {
    std::string out = "'";
    for (const char c : text)
        if (c == '\'')
            out += "'\\''";
        else
            out += (special.find(c) != std::string_view::npos ? "\\" : "") + std::string(1, c);
    return out + "'";
}

/// The first clause of a description: a list of choices shows no more.
std::string_view clause(std::string_view text) {
    return text.substr(0, std::min(text.find("; "), text.find(". ")));
}

std::string bash_case(const std::string& pattern, const Switch& one) {
    std::string out = "    " + pattern + ")";
    if (const auto words = words_of(one); !words.empty())
        out += " words=" + in_quotes(joined(words));
    if (one.takes_file())
        out += words_of(one).empty() ? " files=1" : "; files=1";
    return out + " ;;\n";
}

std::string zsh_action(const Switch& one) {
    const auto words = words_of(one);
    if (one.takes_file())
        return words.empty() ? "_files" : "{compadd -S \"\" -- " + joined(words) + "; _files}";
    return words.empty() ? " " : "(" + joined(words) + ")";
}

std::string zsh_option(const Switch& one) {
    std::string out = "        ";
    // Each name leaves the others out, unless it may come again.
    if (one.many)
        out += "'*'";
    else if (one.names.size() > 1)
        out += "'(" + joined(one.names) + ")'";
    out += one.names.size() > 1 ? "{" + joined(one.names, ",") + "}" : one.names.front();
    out += "'['" + in_quotes(clause(one.text), "[]:\\") + "']'";
    if (!one.value.empty()) {
        std::string value = one.value;
        std::replace(value.begin(), value.end(), ':', ' ');
        out += in_quotes(":" + value + ":" + zsh_action(one));
    }
    return out + " \\\n";
}

std::string fish_option(const std::string& condition, const Switch& one) {
    std::string out = "complete -c telltale -n " + in_quotes(condition, "\\");
    for (const std::string& name : one.names)
        out += name.starts_with("--") ? " -l " + name.substr(2) : " -s " + name.substr(1);
    if (!one.value.empty())
        out += one.takes_file() ? " -r -F" : " -x";
    if (const auto words = words_of(one); !words.empty())
        out += " -a " + in_quotes(joined(words), "\\");
    return out + " -d " + in_quotes(clause(one.text), "\\") + "\n";
}

constexpr std::string_view made = "# Made by `telltale manual --as ";

} // namespace

std::string bash_completion(const Command& program) {
    std::string out(made);
    out += "bash` of the program's own help.\n"
           "_telltale() {\n"
           "    local word=${COMP_WORDS[COMP_CWORD]} before=${COMP_WORDS[COMP_CWORD-1]}\n"
           "    local command= words= files= i\n"
           "    # --name=value comes as three words\n"
           "    if [[ $word == = ]]; then word=\n"
           "    elif [[ $before == = ]]; then before=${COMP_WORDS[COMP_CWORD-2]}; fi\n"
           "    for ((i = 1; i < COMP_CWORD; ++i)); do\n"
           "        case ${COMP_WORDS[i]} in\n"
           "        " +
           joined(names_of(program.commands), "|") +
           ") command=${COMP_WORDS[i]}; break ;;\n"
           "        esac\n"
           "    done\n"
           "    COMPREPLY=()\n"
           "    case $command:$before in\n";
    for (const Command& command : program.commands)
        for (const Switch& one : command.options)
            if (!one.value.empty()) {
                std::string pattern;
                for (const std::string& name : one.names)
                    pattern += (pattern.empty() ? "" : "|") + command.name + ":" + name;
                out += bash_case(pattern, one);
            }
    out += "    *)\n"
           "        case $command:$word in\n"
           "        :*) words=" +
           in_quotes(joined(names_of(program.commands)) + " " + joined(names_of(program.options))) +
           " ;;\n";
    for (const Command& command : program.commands) {
        out += "        " + command.name +
               ":-*) words=" + in_quotes(joined(names_of(command.options))) + " ;;\n";
        out += "    " + bash_case(command.name + ":*", any_of(command, program));
    }
    out += "        esac ;;\n"
           "    esac\n"
           "    [[ -z $words ]] || mapfile -t COMPREPLY < <(compgen -W \"$words\" -- \"$word\")\n"
           "    # what ends with a colon goes on behind it\n"
           "    [[ ${COMPREPLY[*]-} != *: ]] || compopt -o nospace\n"
           "    if [[ -n $files ]]; then\n"
           "        local -a found\n"
           "        mapfile -t found < <(compgen -f -- \"$word\")\n"
           "        [[ ${#COMPREPLY[@]} -gt 0 || ${#found[@]} -eq 0 ]] || compopt -o filenames\n"
           "        COMPREPLY+=(\"${found[@]}\")\n"
           "    fi\n"
           "}\n"
           "complete -F _telltale telltale\n";
    return out;
}

std::string zsh_completion(const Command& program) {
    std::string out = "#compdef telltale\n";
    out += made;
    out += "zsh` of the program's own help.\n"
           "_telltale() {\n"
           "    local curcontext=\"$curcontext\" state line\n"
           "    typeset -A opt_args\n"
           "    _arguments -C \\\n";
    for (const Switch& one : program.options)
        out += zsh_option(one);
    out += "        '1:command:->command' '*::argument:->argument'\n"
           "    case $state in\n"
           "    command)\n"
           "        local -a commands=(\n";
    for (const Command& command : program.commands)
        out += "            " + in_quotes(command.name + ":" + std::string(clause(command.text))) +
               "\n";
    out += "        )\n"
           "        _describe command commands ;;\n"
           "    argument)\n"
           "        case $words[1] in\n";
    for (const Command& command : program.commands) {
        out += "        " + command.name + ") _arguments -s \\\n";
        for (const Switch& one : command.options)
            out += zsh_option(one);
        const Switch any = any_of(command, program);
        out += "        " + in_quotes("*:argument:" + zsh_action(any)) + " ;;\n";
    }
    out += "        esac ;;\n"
           "    esac\n"
           "}\n"
           "_telltale \"$@\"\n";
    return out;
}

std::string fish_completion(const Command& program) {
    std::string out(made);
    out += "fish` of the program's own help.\n";
    for (const Switch& one : program.options)
        out += fish_option("__fish_use_subcommand", one);
    for (const Command& command : program.commands) {
        out += "complete -c telltale -n __fish_use_subcommand -f -a " + command.name + " -d " +
               in_quotes(clause(command.text), "\\") + "\n";
        const std::string here = "__fish_seen_subcommand_from " + command.name;
        for (const Switch& one : command.options)
            out += fish_option(here, one);
        const Switch any = any_of(command, program);
        out += "complete -c telltale -n " + in_quotes(here) + (any.takes_file() ? " -F" : " -f");
        if (!any.choices.empty())
            out += " -a " + in_quotes(joined(any.choices));
        out += "\n";
    }
    return out;
}

} // namespace telltale::program
