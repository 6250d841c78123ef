// SPDX-License-Identifier: Apache-2.0
// `telltale mimic`: a simulated vehicle, on a line or into a dump.
#include <charconv>
#include <chrono>
#include <cstdio>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include <CLI/App.hpp>
#include <CLI/Validators.hpp>

#include "command.hpp"
#include "mimic.hpp"
#include "mimic_serve.hpp"
#include "telltale/dump/writer.hpp"
#include "telltale/message/dtc.hpp"
#include "telltale/mimic/tester.hpp"

namespace telltale::program {

namespace {

/// When a simulated dump begins, so that the same vehicle makes the same bytes: 2025-09-01 08:00
/// UTC, in seconds since the Unix epoch.
constexpr Time dump_start = Time{1'756'713'600} * nanoseconds_a_second;

struct MimicSettings {
    MimicOptions vehicle;
    std::string link;
    std::string into;
    std::optional<double> seconds;
    std::string day;
    std::string kline = "9141";
    std::string identity;
};

int refuse(const std::string& words) {
    std::fprintf(stderr, "telltale mimic: %s\n", words.c_str());
    return status_wrong;
}

/// 08:00 UTC of a day like 2025-09-01 (the proleptic Gregorian calendar), 1970 to 2199.
std::optional<Time> start_of(std::string_view day) {
    if (day.size() != 10 || day[4] != '-' || day[7] != '-')
        return {};
    int year = 0;
    int month = 0;
    int date = 0;
    const auto number = [&](std::size_t at, std::size_t size, int& into) {
        const auto part = day.substr(at, size);
        const auto [end, error] = std::from_chars(part.data(), part.data() + size, into);
        return error == std::errc{} && end == part.data() + size && part.front() != '-';
    };
    if (!number(0, 4, year) || !number(5, 2, month) || !number(8, 2, date) || year < 1970 ||
        year > 2199)
        return {};
    const std::chrono::year_month_day whole{std::chrono::year(year),
                                            std::chrono::month(static_cast<unsigned>(month)),
                                            std::chrono::day(static_cast<unsigned>(date))};
    if (!whole.ok())
        return {};
    const std::chrono::sys_days days = whole;
    return (Time{days.time_since_epoch().count()} * 24 + 8) * 3600 * nanoseconds_a_second;
}

int into_dump(const MimicSettings& options, const mimic::Options& vehicle_options) {
    auto start = std::optional<Time>(dump_start);
    if (!options.day.empty())
        start = start_of(options.day);
    if (!start)
        return refuse("--day " + options.day + ": write a day like 2025-09-01");
    auto sink = dump::open_sink(options.into);
    if (!sink)
        return refuse(sink.error().detail);
    mimic::Vehicle vehicle(vehicle_options);
    std::string about = "Simulated, invented vehicle; seed " + std::to_string(vehicle_options.seed);
    if (vehicle_options.drive != 0)
        about += ", drive " + std::to_string(vehicle_options.drive);
    dump::PcapngWriter writer(std::move(*sink), about + ".");
    const auto line = writer.add_line("mimic");
    if (!line)
        return refuse(line.error().detail);
    Result<void> written;
    mimic::Tester tester(vehicle, *start);
    mimic::survey(tester, vehicle, *start + static_cast<Time>(options.seconds.value_or(600) * 1e9),
                  [&](const CanFrame& frame, Time time) {
                      if (written)
                          written = writer.write(*line, frame, time);
                  });
    if (written)
        written = writer.flush();
    return written ? status_done : refuse(written.error().detail);
}

/// "12.5/3": seconds, and of these how many at the end.
bool read_silence(const std::string& text, mimic::Habits& habits) {
    const auto slash = text.find('/');
    if (slash == std::string::npos)
        return false;
    const auto number = [](std::string_view part, Time& time) {
        double value = 0;
        const auto [end, error] = std::from_chars(part.data(), part.data() + part.size(), value);
        if (error != std::errc{} || end != part.data() + part.size() || !(value > 0) || value > 1e6)
            return false;
        time = static_cast<Time>(value * 1e9);
        return true;
    };
    return number(std::string_view(text).substr(0, slash), habits.silent_every) &&
           number(std::string_view(text).substr(slash + 1), habits.silent_for) &&
           habits.silent_for < habits.silent_every;
}

} // namespace

void add_mimic_options(CLI::App& command, MimicOptions& o) {
    command.add_option("--seed", o.seed, "The same seed makes the same vehicle on the same drive")
        ->type_name("N")
        ->capture_default_str();
    command
        .add_option("--drive", o.drive,
                    "Another drive of the same vehicle on the same road: other traffic, weather "
                    "and warmth; 0: the seed's own")
        ->type_name("N")
        ->capture_default_str();
    command
        .add_option("--fault", o.faults,
                    "KIND[:SENSOR][=AMOUNT][@FROM[-UNTIL]] in a sensor, times in seconds; may be "
                    "given more than once. A fault from 0 was there on the drive before as well: "
                    "its code is pending, and stored when it shows again")
        ->type_name("FAULT");
    command.add_option("--fuel", o.fuel, "petrol or diesel; without it the seed says")
        ->check(CLI::IsMember({"petrol", "diesel"}))
        ->type_name("FUEL");
    command.add_option("--ecus", o.ecus, "How many ECUs answer")
        ->check(CLI::Range(1, 8))
        ->type_name("N")
        ->capture_default_str();
    command
        .add_option("--code", o.stored,
                    "A code that is stored from the start (P0420); more than "
                    "once for several")
        ->type_name("CODE");
    command.add_flag("--engine-off", o.engine_off, "Ignition on, engine off");
    command.add_flag("--just-cleared", o.just_cleared,
                     "Codes were cleared a moment ago: no monitor is complete");
    command.add_flag("--29-bit", o.extended, "CAN identifiers of 29 bits");
    command.add_flag("--uds", o.uds, "OBDonUDS (SAE J1979-2) in place of the services 01 to 0A");
    command
        .add_option("--delay", o.delay_ms, "Milliseconds before an answer, at least; 0: at once")
        ->check(CLI::Range(0.0, 10'000.0))
        ->type_name("MS")
        ->capture_default_str();
    command
        .add_option("--pending-every", o.pending_every,
                    "Every so many requests: response-pending first")
        ->type_name("N");
    command.add_option("--busy-every", o.busy_every, "Every so many requests: busy, repeat")
        ->type_name("N");
    command.add_option("--most-pids", o.most_pids, "PIDs that an ECU takes in one request")
        ->check(CLI::Range(1, 6))
        ->type_name("N")
        ->capture_default_str();
    command
        .add_option("--refusal", o.refusal,
                    "What it does with more of them: silence, negative (7F 01 12) or first-only")
        ->check(CLI::IsMember({"silence", "negative", "first-only"}))
        ->type_name("HOW")
        ->capture_default_str();
    command
        .add_option("--silent", o.silent,
                    "EVERY/FOR: of every so many seconds the ECUs say nothing for so many at the "
                    "end")
        ->type_name("EVERY/FOR");
}

Result<mimic::Options> mimic_options(const MimicOptions& o) {
    mimic::Options v;
    v.seed = o.seed;
    v.drive = o.drive;
    for (const auto& text : o.faults) {
        const auto fault = mimic::parse_fault(text);
        if (!fault)
            return tl::unexpected(fault.error());
        v.faults.push_back(*fault);
    }
    if (v.faults.size() > mimic::Options::most_faults)
        return fail(ErrorCode::bad_argument,
                    "at most " + std::to_string(mimic::Options::most_faults) + " faults at once");
    for (const auto& text : o.stored) {
        const auto code = message::parse_dtc(text);
        if (!code || v.stored.size() >= mimic::Ecu::most_codes)
            return fail(ErrorCode::bad_argument,
                        "'" + text + "' is no code, or one too many: write it as P0420");
        v.stored.push_back(code->raw);
        v.permanent.push_back(code->raw);
    }
    if (!o.fuel.empty())
        v.fuel = o.fuel == "diesel" ? mimic::Fuel::diesel : mimic::Fuel::petrol;
    v.ecus = static_cast<unsigned>(o.ecus);
    v.engine_off = o.engine_off;
    v.just_cleared = o.just_cleared;
    v.extended_ids = o.extended;
    v.obd_on_uds = o.uds;
    v.habits.delay = static_cast<Time>(o.delay_ms * 1e6);
    if (v.habits.delay == 0)
        v.habits.spread = 0;
    v.habits.pending_every = o.pending_every;
    v.habits.busy_every = o.busy_every;
    v.habits.most_pids = static_cast<unsigned>(o.most_pids);
    v.habits.refusal = o.refusal == "negative"     ? mimic::Refusal::negative
                       : o.refusal == "first-only" ? mimic::Refusal::first_only
                                                   : mimic::Refusal::silence;
    if (!o.silent.empty() && !read_silence(o.silent, v.habits))
        return fail(ErrorCode::bad_argument,
                    "'" + o.silent + "' is no EVERY/FOR in seconds, such as 30/4");
    return v;
}

void add_mimic(CLI::App& app, Run& run) {
    const auto options = std::make_shared<MimicSettings>();
    CLI::App* command = app.add_subcommand(
        "mimic", "Simulate a vehicle: several ECUs on a plausible drive, with faults where wanted");
    add_mimic_options(*command, options->vehicle);
    CLI::Option* link =
        command->add_option("LINK", options->link,
                            "can:IFACE, slcan:DEVICE or slcan:pty, kline:DEVICE or kline:pty, "
                            "doip:ADDRESS[:PORT][,tls]");
    link->type_name("");
    command
        ->add_option("--into", options->into,
                     "Dump to write (pcapng; - for standard output): a tester reads the vehicle "
                     "and polls it")
        ->excludes(link)
        ->type_name("FILE");
    command
        ->add_option("--seconds", options->seconds,
                     "How long: without it 600 into a dump, and on a line until it is stopped")
        ->check(CLI::Range(0.0, 86'400.0))
        ->type_name("S");
    command
        ->add_option("--day", options->day,
                     "The day on which the dump begins, at 08:00 UTC: 2025-09-01")
        ->type_name("DATE");
    command
        ->add_option("--kline", options->kline,
                     "What the K-line speaks when it is woken at 5 baud: 9141 or 14230")
        ->check(CLI::IsMember({"9141", "14230"}))
        ->type_name("ISO")
        ->capture_default_str();
    command
        ->add_option("--identity", options->identity,
                     "With doip:ADDRESS,tls: certificate and key of the vehicle, in one file (PEM)")
        ->type_name("FILE");
    command->footer(
        "On a line it prints the name by which it is reached, and runs until it is stopped. With "
        "pty\n"
        "it makes a pseudo-terminal and is what lies behind it.\n"
        "Vehicle, VIN and drive are invented. Kinds of faults: drop-out, spike, stick, offset,\n"
        "drift, lag, noise, scaling, open, short, vacuum-leak. A wrong --fault shows the sensors.\n"
        "Examples:\n"
        "  telltale mimic can:vcan0 --seed 3 --ecus 3\n"
        "  telltale mimic slcan:pty --seed 3 --pending-every 10\n"
        "  telltale mimic --into drive.pcapng --seconds 600 --seed 3 --fault drop-out:map@120\n"
        "  telltale mimic --into again.pcapng --seconds 600 --seed 3 --drive 2\n"
        "  telltale mimic --into - --seconds 60 --fault vacuum-leak | telltale report -");
    command->callback([options, &run] {
        run = [options] {
            const auto vehicle = mimic_options(options->vehicle);
            if (!vehicle)
                return refuse(vehicle.error().detail);
            if (!options->into.empty())
                return into_dump(*options, *vehicle);
            if (options->link.empty())
                return refuse("give a LINK to run on, or --into FILE");
            mimic::Vehicle made(*vehicle);
            const auto served =
                serve_mimic(options->link, made,
                            {options->kline == "14230", options->seconds, options->identity});
            return served ? static_cast<int>(status_done) : refuse(served.error().detail);
        };
    });
}

} // namespace telltale::program
