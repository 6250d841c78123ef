// SPDX-License-Identifier: Apache-2.0
// The command `vet`: what it is told, and what it makes of a report.
#include "vet.hpp"

#include <array>
#include <chrono>
#include <cstdlib>
#include <ctime>
#include <memory>
#include <utility>
#include <vector>

#include <CLI/App.hpp>
#include <CLI/Validators.hpp>
#include <sys/utsname.h>

#include "command.hpp"
#include "live.hpp"
#include "output.hpp"
#include "telltale/link/name.hpp"
#include "telltale/version.hpp"
#include "telltale/vet/doip.hpp"
#include "telltale/vet/render.hpp"

namespace telltale::program {

namespace {

struct Command {
    VetOptions vet;
    std::string as = "text";
    std::string into;
    std::string seconds;
    std::vector<std::string> ecus;
    std::string functional;
};

std::string utc() {
    const std::time_t now = std::time(nullptr);
    std::tm parts{};
    std::array<char, 32> text{};
    if (::gmtime_r(&now, &parts) == nullptr ||
        std::strftime(text.data(), text.size(), "%Y-%m-%d %H:%M:%S UTC", &parts) == 0)
        return {};
    return text.data();
}

Result<vet::Report> vetted(const VetOptions& options) {
    if (!options.dump.empty())
        return vet_dump(options);
    if (options.rounds != 0)
        return fail(ErrorCode::bad_argument, "--rounds goes with --dump or --send");
    if (options.link.empty())
        return fail(ErrorCode::bad_argument,
                    "name the link under test, or a dump with --dump FILE");
    if (!is_link_name(options.link))
        return fail(ErrorCode::bad_argument,
                    "the link under test is can:, slcan:, kline: or doip: and a place: can:can0");
    const auto name = link::parse_link_name(options.link);
    if (!name)
        return tl::unexpected<Error>(name.error());
    if (options.vehicle && !options.against.empty())
        return fail(ErrorCode::bad_argument,
                    "the other end is --against LINK2 or --vehicle, and not both");
    if (!options.vehicle && options.against.empty())
        return fail(ErrorCode::bad_argument,
                    "say what is at the other end: --against LINK2, or --vehicle");
    if (options.vehicle)
        return vet_vehicle(options);
    const auto other = link::parse_link_name(options.against);
    if (!other)
        return tl::unexpected<Error>(other.error());
    if (name->kind == other->kind && name->place == other->place)
        return fail(ErrorCode::bad_argument,
                    "both ends are '" + name->place +
                        "': nothing of it would be on the line. Name the adapter and another one");
    const auto on_can = [](link::LinkKind kind) {
        return kind == link::LinkKind::can || kind == link::LinkKind::slcan;
    };
    if (on_can(name->kind) && on_can(other->kind))
        return vet_can(options);
    if (name->kind == link::LinkKind::kline && other->kind == link::LinkKind::kline)
        return vet_kline(options);
    if (name->kind == link::LinkKind::doip && on_can(other->kind))
        return vet_doip(options);
    return fail(ErrorCode::bad_argument,
                "these two are no ends of one line: name two CAN links, two "
                "K-lines, or a DoIP gateway and the CAN behind it");
}

/// A number in hex to the text's end.
bool read_number(const std::string& text, std::uint32_t& value) {
    char* end = nullptr;
    value = static_cast<std::uint32_t>(std::strtoul(text.c_str(), &end, 16));
    return !text.empty() && *end == '\0';
}

/// An identifier of a diagnostic answer, as it is written.
bool read_answer_id(const std::string& text, CanId& id) {
    std::uint32_t value = 0;
    const bool number = read_number(text, value);
    id = {value, text.size() == 8};
    return number && (text.size() == 3 || text.size() == 8) && id.valid() && partner_of(id) != id;
}

/// A logical address (ISO 13400-2), 1 to 4 hex digits; 0: it is none.
std::uint16_t read_address(const std::string& text) {
    std::uint32_t value = 0;
    return text.size() <= 4 && read_number(text, value) ? static_cast<std::uint16_t>(value)
                                                        : std::uint16_t{0};
}

/// One of `--ecu`: `7E8`, or `7E9=1002`. False: it is neither.
bool read_ecu(const std::string& text, VetOptions& options, bool& had_plain) {
    const auto equal = text.find('=');
    VetOptions::Ecu ecu{};
    if (!read_answer_id(text.substr(0, equal), ecu.id))
        return false;
    if (equal == std::string::npos) {
        options.ecu = ecu.id;
        return !std::exchange(had_plain, true);
    }
    ecu.address = read_address(text.substr(equal + 1));
    options.others.push_back(ecu);
    return ecu.address != 0 && options.others.size() < vet::DoipVetOptions::most_ecus;
}

/// Whether all is right that is said of ECUs behind a DoIP gateway. Says what is not.
bool read_ecus(const Command& command, VetOptions& options) {
    bool had_plain = false;
    for (const std::string& text : command.ecus)
        if (!read_ecu(text, options, had_plain)) {
            say("--ecu is the identifier of the ECU's answers, 3 or 8 hex digits, once: 7E8, "
                "18DAF110; for further ECUs with their logical address: 7E9=1002");
            return false;
        }
    if (command.functional.empty())
        return true;
    // ISO 13400-2, from memory: functional addresses, those of ISO and SAE and those of makers.
    options.functional = read_address(command.functional);
    if (options.functional >= 0xE000 && options.functional <= 0xEFFF)
        return true;
    say("--functional is a logical address of functional requests, E000 to EFFF");
    return false;
}

int run_vet(const Command& command) {
    VetOptions options = command.vet;
    if (!read_ecus(command, options))
        return status_wrong;
    if (!command.seconds.empty())
        options.duration = static_cast<Time>(std::strtod(command.seconds.c_str(), nullptr) * 1e9);
    if (options.seed == 0)
        options.seed = static_cast<std::uint64_t>(std::time(nullptr)) % 1'000'000;
    Output output;
    options.progress = true; // where standard error is a terminal
    if (options.send) {
        const auto sent = send_known(options);
        if (!sent) {
            say(sent.error().detail);
            return output.finish(status_wrong);
        }
        output.buffer() += *sent;
        return output.finish(status_done);
    }
    const auto begun = std::chrono::steady_clock::now();
    auto report = vetted(options);
    if (!report) {
        std::string why = report.error().detail;
        say(why);
        return output.finish(status_wrong);
    }
    report->adapter = !options.adapter.empty() ? options.adapter
                      : !options.link.empty()  ? options.link
                                               : options.dump;
    report->date = utc();
    if (options.dump.empty()) {
        report->duration = std::chrono::duration_cast<std::chrono::nanoseconds>(
                               std::chrono::steady_clock::now() - begun)
                               .count();
        report->seed = options.seed;
    }
    report->versions.insert(report->versions.begin(), {"telltale", TELLTALE_VERSION_STRING});
    utsname system{};
    if (::uname(&system) == 0)
        report->versions.emplace_back(system.sysname, system.release);

    int status = report->verdict() == vet::Verdict::passed   ? status_done
                 : report->verdict() == vet::Verdict::failed ? status_found
                                                             : status_wrong;
    const bool to_file = !command.into.empty() && command.into != "-";
    if (to_file && !write_file(command.into, write_report(*report, command.as)))
        status = status_wrong;
    if (command.as == "text" || to_file) {
        vet::TextOptions form;
        form.width = output.width() == 0 ? 80 : output.width();
        form.colour = output.colour();
        output.buffer() += vet::report_text(*report, form);
    } else {
        output.buffer() += write_report(*report, command.as);
    }
    return output.finish(status);
}

/// Seconds, up to a day.
std::string check_seconds(const std::string& text) {
    char* end = nullptr;
    const double value = std::strtod(text.c_str(), &end);
    return end != text.c_str() && *end == '\0' && value >= 1 && value <= 86'400
               ? std::string()
               : "is not a number of seconds from 1 to 86400";
}

} // namespace

bool is_report_form(const std::string& form) {
    return form == "text" || form == "json" || form == "junit" || form == "page";
}

std::string write_report(const vet::Report& report, const std::string& form) {
    if (form == "json")
        return vet::report_json(report);
    if (form == "junit")
        return vet::report_junit(report);
    if (form == "page")
        return vet::report_page(report);
    return vet::report_text(report);
}

void add_vet(CLI::App& app, Run& run) {
    const auto options = std::make_shared<Command>();
    auto* command =
        app.add_subcommand("vet", "Prove an interface adapter good, or say exactly how it is bad");
    VetOptions& vet = options->vet;
    command->add_option("LINK", vet.link,
                        "The adapter under test: can:can0, slcan:/dev/ttyACM0@500k, "
                        "kline:/dev/ttyUSB0, doip:192.0.2.7,target=1001");
    command
        ->add_option("--against", vet.against,
                     "The other end of the line: a reference that is known to be good")
        ->type_name("LINK2");
    command->add_flag("--vehicle", vet.vehicle,
                      "The other end is a vehicle: only harmless reads; it stands, ignition on");
    command
        ->add_option("--dump", vet.dump,
                     "A dump that the adapter's own software took of known frames, "
                     "in place of links; - for standard input")
        ->type_name("FILE");
    auto* known = command
                      ->add_option("--known", vet.known,
                                   "Known frames, in the form of vectors/known-frames.txt")
                      ->type_name("FILE");
    command
        ->add_option("--rounds", vet.rounds,
                     "With --dump: the list was sent so often, and the dump has all of it; with "
                     "--send: so often it is sent")
        ->check(CLI::Range(1, 1'000'000));
    command
        ->add_flag("--send", vet.send,
                   "Send the known frames on LINK, for a dump that is vetted with --dump")
        ->excludes("--against")
        ->excludes("--vehicle")
        ->excludes("--dump");
    command
        ->add_flag("--classic", vet.classic,
                   "Without the CAN FD frames of the list: the line does not carry them")
        ->needs(known);
    command
        ->add_option("--seconds", options->seconds,
                     "About how long it takes (60 unless named); what has to be tried takes "
                     "up to half a minute all the same")
        ->check(CLI::Validator(check_seconds, ""))
        ->type_name("S");
    command
        ->add_option("--bit-rate", vet.bit_rate,
                     "Bit/s of the line where the links do not say it; its limit follows from it")
        ->check(CLI::Range(10'000U, 1'000'000U))
        ->type_name("N");
    command
        ->add_option("--ecu", options->ecus,
                     "With a DoIP gateway: the ECU played behind it answers with this CAN "
                     "identifier (7E8 unless named); others that answer to functional requests, "
                     "each with its logical address: 7E9=1002")
        ->type_name("CANID[=HEX]")
        ->allow_extra_args(false);
    command
        ->add_option("--functional", options->functional,
                     "With a DoIP gateway: logical address of functional requests (E000 unless "
                     "named)")
        ->type_name("HEX");
    command->add_flag("--unplug", vet.unplug,
                      "With --against: at the end you take the adapter off and put it back");
    command->add_option("--adapter", vet.adapter, "The adapter's name, for the report")
        ->type_name("NAME");
    command->add_option("--seed", vet.seed, "For what is random: the same seed, the same frames")
        ->check(CLI::Range(std::uint64_t{1}, std::uint64_t{1'000'000'000}))
        ->type_name("N");
    command->add_option("--as", options->as, "text, json, junit or page")
        ->check(CLI::IsMember({"text", "json", "junit", "page"}))
        ->type_name("FORM")
        ->capture_default_str();
    command
        ->add_option("-o,--into", options->into,
                     "Write the report there; the table still goes to standard output")
        ->type_name("FILE");
    command->footer(
        "Known frames are for a bench: never send them where a vehicle is on the line.\n"
        "With --vehicle nothing is sent but requests that read; the vehicle stands, ignition\n"
        "on; the maker's service information and local rules come first.\n\n"
        "Exit status: 0 sound, 1 found wanting, 2 could not be tested, or not to the end.\n\n"
        "Examples:\n"
        "  telltale vet slcan:/dev/ttyACM0@500k --against can:can0 --as page -o adapter.html\n"
        "  telltale vet can:can0 --send --known vectors/known-frames.txt --rounds 2\n"
        "  telltale vet --dump adapter.log --known vectors/known-frames.txt --rounds 2\n"
        "  telltale vet kline:/dev/ttyUSB0 --against kline:/dev/ttyUSB1\n"
        "  telltale vet doip:192.0.2.7,target=1001 --against can:can0 --ecu 7E8 --ecu 7E9=1002\n"
        "  telltale vet doip:192.0.2.7,tls,ca=shop.pem,target=1001 --against can:can0\n"
        "  telltale vet slcan:/dev/ttyACM0@500k --vehicle");
    command->callback([options, &run] { run = [options] { return run_vet(*options); }; });
}

} // namespace telltale::program
