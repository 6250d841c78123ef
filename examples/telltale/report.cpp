// SPDX-License-Identifier: Apache-2.0
#include <algorithm>
#include <memory>

#include <CLI/App.hpp>
#include <CLI/Validators.hpp>

#include "command.hpp"
#include "drive.hpp"
#ifdef TELLTALE_LINK
#include "live.hpp"
#endif
#include "many.hpp"
#include "telltale/base/hex.hpp"
#include "telltale/vehicle/report.hpp"

namespace telltale::program {

namespace {

struct ReportSettings {
    InputOptions input;
    std::string save;
    std::string as = "text";
    std::string units = "si";
    std::vector<std::string> skip;
    DriveOptions narrow; ///< --only and --watch
    unsigned jobs = 0;
};

/// Takes what the report says of the dump itself from its reader.
class ReportWatcher final : public PictureWatcher {
  public:
    using PictureWatcher::PictureWatcher;
    void closed() override {
        PictureWatcher::closed();
        options.format = dump::name(reader().format());
        options.frames = reader().counts().frames;
    }
    vehicle::ReportOptions options;
};

/// Draws the picture of a dump, or of a vehicle where a link stands in its place. False: it could
/// not be read.
bool draw(const std::string& file, const InputSettings& settings,
          [[maybe_unused]] const ReportSettings& options, Output& output, vehicle::Picture& picture,
          ReportWatcher& watcher, [[maybe_unused]] std::string& format, bool* no_dump) {
#ifdef TELLTALE_LINK
    if (is_link_name(file)) {
        output.flush();
        LiveVehicle vehicle(file, options.save);
        vehicle.paint(picture, settings.stream.extension);
        if (!vehicle.find() || !vehicle.read())
            return false;
        format = client::describe(vehicle.line());
        watcher.options.format = format;
        watcher.options.frames = vehicle.pieces();
        return vehicle.finish_save();
    }
#endif
    return read_dump(file, settings, output, picture, watcher, no_dump);
}

/// One vehicle at a time on a line.
bool any_link(const std::vector<std::string>& files) {
#ifdef TELLTALE_LINK
    return std::any_of(files.begin(), files.end(), is_link_name);
#else
    return files.empty();
#endif
}

int report(const ReportSettings& options) {
    auto settings = read_input_options(options.input);
    if (!settings) {
        say(settings.error().detail);
        return status_wrong;
    }
    const auto picks = read_picks(options.narrow);
    if (!picks) {
        say(picks.error().detail);
        return status_wrong;
    }
    std::bitset<vehicle::rules> rules_off;
    for (const auto& word : options.skip) {
        if (word == "all")
            rules_off.set();
        else if (const auto rule = vehicle::rule(word); rule)
            rules_off.set(static_cast<std::size_t>(*rule));
    }
    if (!options.save.empty() && (settings->files.size() != 1
#ifdef TELLTALE_LINK
                                  || !is_link_name(settings->files.front())
#endif
                                      )) {
        say("--save goes with one link (can:can0): a dump is saved already");
        return status_wrong;
    }
    const bool json = options.as == "json";
    const auto one = [&](const DumpFile& dump, Output& output, bool* no_dump) {
        const std::string& file = dump.path;
        vehicle::Picture picture;
        ReportWatcher watcher(picture);
        std::string format;
        if (!draw(file, *settings, options, output, picture, watcher, format, no_dump))
            return false;
        watcher.options.units = options.units == "us" ? UnitSystem::us : UnitSystem::si;
        watcher.options.rules_off = rules_off;
        watcher.options.extension = settings->extension.get();
        if (!picks->empty())
            watcher.options.wanted = [&](const vehicle::Ecu& ecu, const vehicle::SignalKey& key,
                                         const vehicle::Signal& signal) {
                std::string id;
                if (ecu.has_id)
                    append_can_id(id, ecu.id);
                return std::any_of(picks->begin(), picks->end(), [&](const run::Pick& pick) {
                    return pick.fits(id, key.service, key.id, key.index, signal.key, signal.name);
                });
            };
        watcher.options.source = file == "-" ? std::string_view("standard input") : file;
        if (json)
            append_report_json(output.buffer(), picture, watcher.options);
        else
            append_report_text(output.buffer(), picture, watcher.options);
        return true;
    };
    Output console;
    const unsigned jobs = any_link(settings->files) ? 1 : options.jobs;
    const bool fine = work_on(find_dumps(settings->files), jobs, console, json ? "" : "\n\n", one);
    return console.finish(fine ? status_done : status_wrong);
}

} // namespace

void add_report(CLI::App& app, Run& run) {
    const auto options = std::make_shared<ReportSettings>();
    auto* command = app.add_subcommand(
        "report", "Draw the picture of the vehicle from a dump or a link, for the work order");
    add_input_options(*command, options->input);
    command->add_option("--as", options->as, "text or json (a line a dump)")
        ->check(CLI::IsMember({"text", "json"}))
        ->type_name("FORM")
        ->capture_default_str();
    command->add_option("--units", options->units, "si or us")
        ->check(CLI::IsMember({"si", "us"}))
        ->type_name("SYSTEM")
        ->capture_default_str();
    command
        ->add_option("--only", options->narrow.only,
                     "List only these values: a PID (0C), one of its fields (14.1), a short name "
                     "(RPM), an ECU before it (7E8:0C)")
        ->delimiter(',')
        ->type_name("ID,...")
        ->allow_extra_args(false);
    add_watch_option(*command, options->narrow);
    std::vector<std::string> words = {"all"};
    for (std::size_t i = 0; i < vehicle::rules; ++i)
        words.emplace_back(vehicle::word(static_cast<vehicle::Rule>(i)));
    command->add_option("--skip", options->skip, "Plausibility rules that are not to be applied")
        ->check(CLI::IsMember(words))
        ->delimiter(',')
        ->type_name("RULE,...")
        ->allow_extra_args(false);
#ifdef TELLTALE_LINK
    command
        ->add_option("--save", options->save,
                     "Of a link (can:can0, slcan:/dev/ttyACM0, kline:/dev/ttyUSB0, "
                     "doip:192.0.2.7): write what goes over the line as a dump")
        ->type_name("FILE");
#endif
    add_jobs_option(*command, options->jobs);
    command->footer("Examples:\n"
                    "  telltale report drive.pcapng\n"
                    "  telltale report can:can0 --save today.pcapng\n"
                    "  telltale report drive.log --skip voltage,cold-soak --units us\n"
                    "  telltale report before.log after.log --as json\n"
                    "  telltale report visits/ --as json > visits.jsonl");
    command->callback([options, &run] { run = [options] { return report(*options); }; });
}

} // namespace telltale::program
