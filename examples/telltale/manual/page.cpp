// SPDX-License-Identifier: Apache-2.0
// Manual pages, in the man macros.
#include <string_view>

#include "manual.hpp"
#include "telltale/version.hpp"

namespace telltale::program {

namespace {

/// Text as roff shows it to the letter: what it reads as commands, and the signs that it would set
/// as typographic ones.
std::string plain(std::string_view text) {
    std::string out;
    for (const char c : text)
        switch (c) {
        case '\\':
            out += "\\e";
            break;
        case '-':
            out += "\\-";
            break;
        case '^':
            out += "\\(ha";
            break;
        case '~':
            out += "\\(ti";
            break;
        case '`':
            out += "\\(ga";
            break;
        case '\'':
            out += "\\(aq";
            break;
        default:
            out += c;
        }
    return out;
}

/// The same at the start of a line, where a point begins a request.
std::string line(std::string_view text) {
    const bool request = !text.empty() && text.front() == '.';
    return (request ? "\\&" : "") + plain(text) + "\n";
}

std::string capitals(std::string_view text) {
    std::string out(text);
    for (char& c : out)
        if (c >= 'a' && c <= 'z')
            c = static_cast<char>(c - 'a' + 'A');
    return out;
}

std::string synopsis(const Command& command) {
    std::string out = ".SY " + std::string(command.name == "telltale" ? "" : "telltale\\ ") +
                      plain(command.name) + "\n";
    if (!command.options.empty())
        out += ".RI [ OPTION \" .\\|.\\|.]\"\n";
    if (!command.commands.empty())
        out += ".I COMMAND\n.RI [ ARGUMENT \" .\\|.\\|.]\"\n";
    for (const Switch& one : command.positionals) {
        const std::string name = plain(one.names.front());
        const std::string dots = one.many ? " .\\|.\\|." : "";
        out += one.required ? ".IR " + name + " \"" + dots + "\"\n"
                            : ".RI [ " + name + " \"" + dots + "]\"\n";
    }
    return out + ".YS\n";
}

std::string explain(const Switch& one) {
    std::string out = line(one.text);
    bool said = true;
    for (const std::string& choice : one.choices)
        said = said && one.text.find(choice) != std::string::npos;
    if (!said) {
        std::string choices;
        for (const std::string& choice : one.choices)
            choices += (choices.empty() ? "" : ", ") + choice;
        out += line("One of: " + choices + ".");
    }
    if (!one.limits.empty())
        out += line("Limits: " + one.limits + ".");
    if (!one.preset.empty())
        out += line("Without it: " + one.preset + ".");
    if (one.required && one.names.front().front() == '-')
        out += line("Required.");
    return out;
}

std::string option(const Switch& one) {
    std::string out = ".TP\n.B ";
    for (std::size_t i = 0; i < one.names.size(); ++i)
        out += (i == 0 ? "" : "\\fR, \\fB") + plain(one.names[i]);
    if (!one.value.empty())
        out += " \\fI" + plain(one.value) + "\\fR";
    return out + "\n" + explain(one);
}

/// Help ends with remarks, and with examples in lines that are indented.
struct Footer {
    std::string remarks;  ///< in roff
    std::string examples; ///< in roff
};

Footer read_footer(std::string_view text) {
    Footer out;
    bool paragraph = false;
    while (!text.empty()) {
        const auto end = text.find('\n');
        std::string_view row = text.substr(0, end);
        text.remove_prefix(end == std::string_view::npos ? text.size() : end + 1);
        constexpr std::string_view one = "Example: ";
        if (row.starts_with("  ")) {
            out.examples += line(row.substr(row.find_first_not_of(' ')));
        } else if (const auto at = row.find(one); at != std::string_view::npos) {
            out.examples += line(row.substr(at + one.size()));
        } else if (row.empty()) {
            paragraph = !out.remarks.empty();
        } else {
            if (row.ends_with("Examples:"))
                row.remove_suffix(sizeof "Examples:" - 1);
            while (row.ends_with(' '))
                row.remove_suffix(1);
            if (row.empty())
                continue;
            if (paragraph || (row.starts_with("Exit status") && !out.remarks.empty()))
                out.remarks += ".PP\n";
            paragraph = false;
            out.remarks += line(row);
        }
    }
    return out;
}

} // namespace

std::string manual_page(const Command& program, const Command* command) {
    const Command& of = command == nullptr ? program : *command;
    const std::string name = command == nullptr ? program.name : program.name + "-" + command->name;
    std::string out = ".\\\" Made by `telltale manual` of the program's own help.\n";
    out += ".TH " + capitals(plain(name)) + " 1 \"" TELLTALE_DATE "\" \"telltale " +
           std::string(TELLTALE_VERSION_STRING) + "\" \"telltale\"\n";
    std::string summary = of.text;
    if (summary.ends_with('.'))
        summary.pop_back();
    out += ".SH NAME\n" + plain(name) + " \\- " + plain(summary) + "\n";
    out += ".SH SYNOPSIS\n" + synopsis(of);
    if (!of.commands.empty()) {
        out += ".SH COMMANDS\nEach has a page of its own.\n";
        for (const Command& one : of.commands)
            out += ".TP\n.BR " + plain(program.name + "-" + one.name) + " (1)\n" + line(one.text);
    }
    if (!of.positionals.empty()) {
        out += ".SH ARGUMENTS\n";
        for (const Switch& one : of.positionals)
            out += ".TP\n.I " + plain(one.names.front()) + "\n" + explain(one);
    }
    out += ".SH OPTIONS\n";
    for (const Switch& one : of.options)
        out += option(one);
    const Footer footer = read_footer(of.footer);
    if (!footer.remarks.empty())
        out += ".SH NOTES\n" + footer.remarks;
    if (!footer.examples.empty())
        out += ".SH EXAMPLES\n.EX\n" + footer.examples + ".EE\n";
    out += ".SH CAUTION\n";
    out += "What the program shows is what the computers of a vehicle said: a lead for a pinpoint "
           "test,\nnot a verdict on a part. The maker's service information, local rules and "
           "licensed practice come first.\n";
    out += ".SH SEE ALSO\n";
    if (command != nullptr)
        out += ".BR " + plain(program.name) + " (1)\n";
    else
        for (std::size_t i = 0; i < program.commands.size(); ++i)
            out += ".BR " + plain(program.name + "-" + program.commands[i].name) +
                   (i + 1 < program.commands.size() ? " (1),\n" : " (1)\n");
    return out;
}

} // namespace telltale::program
