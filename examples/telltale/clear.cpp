// SPDX-License-Identifier: Apache-2.0
// `telltale clear`: shows what clearing takes away, saves it, wants a person's own words, clears,
// and says what changed.
#include <poll.h>
#include <unistd.h>

#include <cstdio>
#include <memory>
#include <string>
#include <vector>

#include <CLI/App.hpp>

#include "command.hpp"
#include "live.hpp"
#include "output.hpp"
#include "telltale/base/hex.hpp"
#include "telltale/base/number.hpp"
#include "telltale/catalogue/catalogue.hpp"
#include "telltale/client/clear.hpp"
#include "telltale/link/traffic.hpp"
#include "telltale/message/dtc.hpp"
#include "wrap.hpp"

namespace telltale::program {

namespace {

constexpr std::size_t margin = 2;

struct ClearSettings {
    std::string link;
    std::string save;
    std::string consent;
    bool look = false;
};

constexpr std::string_view cautions[] = {
    "Stand still, parking brake on, engine off, ignition on. Do not clear while the vehicle is "
    "driven.",
    "Read and note everything first, and find the cause: clearing repairs nothing. The maker's "
    "service information says when codes may be cleared, and in which order.",
    "Readiness is lost with the codes: an emissions inspection may turn the vehicle away until its "
    "monitors have completed again, which takes driving. Clearing to pass an inspection is against "
    "the law in many places; local rules come first.",
    "What the ECU has learnt (fuel trim, idle) may be lost: the engine may run roughly at first.",
};

std::string listed(const std::vector<std::string>& words) {
    std::string out;
    for (const auto& word : words)
        out += (out.empty() ? "" : ", ") + word;
    return out;
}

std::string counted(std::size_t count, std::string_view one, std::string_view many) {
    std::string out;
    append_integer(out, std::uint64_t{count});
    out += ' ';
    return out.append(count == 1 ? one : many);
}

void append_losses(std::string& out, const client::Losses& losses) {
    out += "What clearing takes away\n";
    for (const auto& ecu : losses.ecus) {
        out += "\nECU " + id_text(ecu.id) + "\n";
        const auto line = [&](std::string_view what, const std::string& value) {
            append_wrapped(out, margin, std::string(what) + ": " + value);
        };
        if (!ecu.stored.empty())
            line("stored codes", listed(ecu.stored));
        if (!ecu.pending.empty())
            line("pending codes", listed(ecu.pending));
        if (ecu.freeze_frames != 0)
            line("freeze frames", counted(ecu.freeze_frames, "frame", "frames") + " with " +
                                      counted(ecu.freeze_values, "value", "values"));
        if (!ecu.complete.empty())
            line("monitors that are complete now", listed(ecu.complete));
        if (ecu.tests != 0)
            line("monitor test results", counted(ecu.tests, "result", "results"));
        if (ecu.lamp)
            line("the malfunction indicator lamp", "is commanded on");
        if (ecu.stored.empty() && ecu.pending.empty() && ecu.freeze_frames == 0 &&
            ecu.complete.empty() && ecu.tests == 0)
            append_wrapped(out, margin, "nothing");
        if (!ecu.permanent.empty())
            line("stays: permanent codes", listed(ecu.permanent) +
                                               " (only the ECU takes these back, after its "
                                               "monitors have passed)");
        if (!ecu.incomplete.empty())
            line("not complete as it is", listed(ecu.incomplete));
    }
    out += "\nBefore you clear\n";
    for (const auto caution : cautions)
        append_wrapped(out, margin, "- " + std::string(caution));
    out += '\n';
}

void append_changes(std::string& out, const std::vector<client::EcuChanges>& changes) {
    out += "What changed\n";
    for (const auto& ecu : changes) {
        out += "\nECU " + id_text(ecu.id) + "\n";
        if (!ecu.heard) {
            append_wrapped(out, margin, "does not answer any more");
            continue;
        }
        const auto line = [&](std::string_view what, const std::vector<std::string>& codes) {
            if (!codes.empty())
                append_wrapped(out, margin, std::string(what) + ": " + listed(codes));
        };
        line("gone", ecu.gone);
        line("still there", ecu.still);
        line("new", ecu.came);
        line("permanent codes", ecu.permanent);
        if (ecu.freeze_frames != 0)
            append_wrapped(out, margin,
                           counted(ecu.freeze_frames, "freeze frame is", "freeze frames are") +
                               " still there");
        append_wrapped(out, margin,
                       counted(ecu.incomplete, "monitor is", "monitors are") + " not complete, " +
                           std::to_string(ecu.reset) + " of them because of the clearing");
        if (ecu.lamp_before || ecu.lamp_after)
            append_wrapped(out, margin,
                           ecu.lamp_after ? "the malfunction indicator lamp is commanded on"
                                          : "the malfunction indicator lamp is no longer commanded "
                                            "on");
    }
}

/// The latest reading of a PID of any ECU; -1 where none told it.
double latest(const vehicle::Picture& picture, std::uint8_t pid) {
    double most = -1;
    for (const vehicle::Ecu* ecu : picture.ecus())
        if (const auto* signal = ecu->pid(pid); signal != nullptr && signal->is_number)
            most = std::max(most, signal->last);
    return most;
}

bool input_waits() {
    pollfd ready{STDIN_FILENO, POLLIN, 0};
    return ::poll(&ready, 1, 0) > 0;
}

/// What a person types. Empty: nothing.
std::string typed_words(LiveVehicle& vehicle, const client::Losses& losses) {
    std::string text = "To clear, type exactly: " + losses.phrase() +
                       "\nAnything else leaves everything as it is. > ";
    std::fputs(text.c_str(), stderr);
    std::fflush(stderr);
    if (!vehicle.wait_until(&input_waits))
        return {};
    std::string line;
    char c = 0;
    while (line.size() < 256 && ::read(STDIN_FILENO, &c, 1) == 1 && c != '\n')
        line += c;
    return line;
}

int clear(const ClearSettings& options) {
    if (!is_link_name(options.link)) {
        say("'" + options.link +
            "' names no link; write can:can0, slcan:/dev/ttyACM0@500k, kline:/dev/ttyUSB0 or "
            "doip:192.0.2.7");
        return status_wrong;
    }
    std::string save = options.save;
    if (save.empty() && !options.look) {
        say("name the file that what is lost is saved to: --save before-clearing.pcapng");
        return status_wrong;
    }
    Output output;
    LiveVehicle vehicle(options.link, save);
    vehicle::Picture before;
    vehicle.remark("Read before clearing.");
    vehicle.paint(before);
    if (!vehicle.find())
        return status_wrong;
    if (!vehicle.read() || !vehicle.finish_save()) {
        say("nothing was cleared");
        return status_wrong;
    }
    const client::Losses losses = client::losses_of(before);
    if (!losses.vin.empty()) {
        output.buffer() += "VIN ";
        append_wrapped(output.buffer(), 0, losses.vin);
    }
    append_losses(output.buffer(), losses);
    output.flush();
    if (options.look)
        return output.finish(status_done);
    say("what is lost is saved in " + save + " (telltale report " + save + ")");
    if (latest(before, 0x0D) > 0) {
        say("the vehicle moves: nothing is cleared before it stands still");
        return status_wrong;
    }
    if (latest(before, 0x0C) > 0)
        say("the engine runs: switch it off and the ignition on again, unless the maker's service "
            "information says otherwise; the ECU may refuse");
    std::string words = options.consent;
    if (words.empty()) {
        if (::isatty(STDIN_FILENO) != 1) {
            say("nothing was cleared: no person at a terminal to ask. Who has seen what is lost "
                "can say so with --consent '" +
                losses.phrase() + "'");
            return status_wrong;
        }
        words = typed_words(vehicle, losses);
    }
    auto consent = client::Consent::to_clear(losses, words, link::now());
    if (!consent) {
        say("nothing was cleared: that is not '" + losses.phrase() + "'");
        return status_wrong;
    }
    client::Clear task(
        losses, std::move(*consent),
        [&](std::string_view line, Time) {
            say(line);
            vehicle.remark(line);
        },
        vehicle.on_uds());
    if (!vehicle.run(task) || task.refused()) {
        say("it is not known whether anything was cleared");
        (void)vehicle.finish_save();
        return status_wrong;
    }
    for (const auto& deed : task.deeds()) {
        std::string text = "ECU " + id_text(deed.ecu) + ": ";
        if (deed.outcome == client::Outcome::answer)
            text += "cleared";
        else if (deed.outcome == client::Outcome::refused) {
            const auto* name = catalogue::negative_code(deed.code);
            text += "refuses";
            if (name != nullptr)
                text += std::string(": ") + name->name;
            if (deed.code == 0x22)
                text += " (engine off, ignition on?)";
        } else {
            text += "did not answer";
        }
        say(text);
    }
    vehicle::Picture after;
    vehicle.paint(after);
    const bool read_again = vehicle.read();
    const bool saved = vehicle.finish_save();
    if (read_again)
        append_changes(output.buffer(), client::changes_of(before, after));
    return output.finish(read_again && saved && task.cleared_all() ? status_done : status_wrong);
}

} // namespace

void add_clear(CLI::App& app, Run& run) {
    const auto options = std::make_shared<ClearSettings>();
    auto* command = app.add_subcommand(
        "clear", "Clear a vehicle's codes, after showing and saving what is lost with them");
    command->add_option("LINK", options->link, "The vehicle: can:, slcan:, kline: or doip:")
        ->required()
        ->type_name("");
    command
        ->add_option("--save", options->save, "Dump of the line: what was there before, and after")
        ->type_name("FILE");
    command->add_flag("--look", options->look, "Only show what clearing would take away");
    command
        ->add_option("--consent", options->consent,
                     "The words that are asked for at the terminal; they name the vehicle")
        ->type_name("WORDS");
    command->footer("Nothing is sent before somebody has typed words that name the vehicle.\n"
                    "Exit status: 0 every ECU has cleared; 2 not, or not all.\n"
                    "Examples:\n"
                    "  telltale clear slcan:/dev/ttyACM0 --look\n"
                    "  telltale clear can:can0 --save before-clearing.pcapng");
    command->callback([options, &run] { run = [options] { return clear(*options); }; });
}

} // namespace telltale::program
