// SPDX-License-Identifier: Apache-2.0
// `telltale contrast`: which signal left its course.
#include <algorithm>
#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include <CLI/App.hpp>
#include <CLI/Validators.hpp>

#include "command.hpp"
#include "drive.hpp"
#include "page_of.hpp"
#include "telltale/base/number.hpp"
#include "telltale/base/shown.hpp"
#include "telltale/base/text.hpp"
#include "telltale/run/contrast.hpp"
#include "telltale/run/contrast_json.hpp"
#include "telltale/vehicle/report.hpp"
#include "wrap.hpp"

namespace telltale::program {

namespace {

struct ContrastSettings {
    InputOptions input;
    DriveOptions drive;
    std::string good;
    std::vector<std::string> bad;
    std::string as = "text";
    std::string units = "si";
    std::string output;
};

/// A drive with the report of its vehicle, which only the page shows.
struct Drive {
    run::Run run;
    std::string report;
};

/// Draws the picture of the vehicle besides, for the page.
class ContrastWatcher final : public DumpWatcher {
  public:
    explicit ContrastWatcher(vehicle::Picture& picture) : picture_(picture) {}
    void opened(const dump::Reader& reader) override { reader_ = &reader; }
    void closed() override {
        picture_.finish();
        picture_.name_lines([&](std::uint16_t line) { return reader_->line_name(line); });
        frames = reader_->counts().frames;
        format = dump::name(reader_->format());
    }
    std::uint64_t frames = 0;
    std::string_view format;

  private:
    vehicle::Picture& picture_;
    const dump::Reader* reader_ = nullptr;
};

std::optional<Drive> read(const std::string& file, const InputSettings& settings,
                          const ContrastSettings& options, const DriveOptions& marks,
                          Output& output) {
    Drive drive;
    const bool page = options.as == "page";
    vehicle::Picture picture;
    ContrastWatcher watcher(picture);
    auto run = read_drive(file, settings, marks, output, page ? &picture : nullptr,
                          page ? &watcher : nullptr);
    if (!run)
        return std::nullopt;
    drive.run = std::move(*run);
    if (page) {
        vehicle::ReportOptions how;
        how.units = options.units == "us" ? UnitSystem::us : UnitSystem::si;
        how.source = drive.run.name;
        how.format = watcher.format;
        how.frames = watcher.frames;
        append_report_text(drive.report, picture, how);
    }
    return drive;
}

/// "+12.34 s": a moment from the mark or the start.
std::string moment(double seconds) {
    std::string out = seconds < 0 ? "" : "+";
    append_number(out, seconds, 2);
    return out + " s";
}

Shown how_shown(const run::ContrastSignal& signal, UnitSystem system) {
    return shown(signal.unit, 0, signal.decimals, system, signal.own_unit);
}

/// A difference converts without the offset of its unit.
std::string difference(const run::ContrastSignal& signal, double value, UnitSystem system) {
    const Shown how = how_shown(signal, system);
    std::string out = value > 0 ? "+" : "";
    append_number(out, how.converted ? value * how.factor : value, how.decimals);
    if (!how.text.empty())
        out += " " + std::string(how.text);
    return out;
}

std::string where(const run::ContrastSignal& signal) {
    std::string out;
    if (!signal.line.empty())
        out += signal.line + " ";
    out += signal.ecu.empty() ? "no identifier" : signal.ecu;
    return out + ", " + signal.id_text;
}

void append_paragraph(std::string& out, std::string_view text, std::size_t indent) {
    std::string plain;
    append_printable(plain, text);
    append_wrapped(out, indent, plain);
}

std::string full_name(const run::ContrastSignal& signal) {
    std::string out;
    append_printable(out, (signal.ecu.empty() ? "" : signal.ecu + " ") + signal.name);
    return out;
}

bool is_compared(const run::ContrastSignal& signal) {
    return signal.standing == run::Standing::compared ||
           signal.standing == run::Standing::itself_only ||
           signal.standing == run::Standing::constant;
}

/// A row for each signal that was compared, the highest score first.
void append_compared(std::string& out, const run::ContrastResult& result) {
    std::vector<const run::ContrastSignal*> rows;
    for (const run::ContrastSignal& signal : result.signals)
        if (is_compared(signal))
            rows.push_back(&signal);
    if (rows.empty())
        return;
    std::stable_sort(rows.begin(), rows.end(),
                     [](const auto* a, const auto* b) { return a->score > b->score; });
    out += "\nCompared\n"
           "  score  signal                                   samples good, bad   standing\n";
    constexpr std::size_t name_width = 40;
    for (const run::ContrastSignal* signal : rows) {
        std::string score;
        append_number(score, signal->score, 2);
        std::string name = full_name(*signal);
        if (columns_of(name) > name_width) {
            while (columns_of(name) > name_width - 2 || (name.back() & 0xC0) == 0x80)
                name.pop_back(); // not within a character
            name += "..";
        }
        const std::string counts =
            std::to_string(signal->good_samples) + ", " + std::to_string(signal->bad_samples);
        out.append(score.size() < 7 ? 7 - score.size() : 0, ' ');
        out += score;
        out += "  ";
        out += name;
        out.append(name_width + 2 - columns_of(name), ' ');
        out.append(counts.size() < 14 ? 14 - counts.size() : 0, ' ');
        out += counts;
        out += "   ";
        out += word(signal->standing);
        out += '\n';
    }
}

/// What could not be compared, and why.
void append_not_compared(std::string& out, const run::ContrastResult& result) {
    struct Reason {
        run::Standing standing;
        const char* text;
    };
    std::string reasons;
    for (const auto& [standing, text] :
         {Reason{run::Standing::too_few, "too few samples"},
          Reason{run::Standing::only_good, "not in the bad drives"},
          Reason{run::Standing::only_bad, "not in the good drive"}}) {
        std::string names;
        for (const run::ContrastSignal& signal : result.signals)
            if (signal.standing == standing)
                names += (names.empty() ? "" : ", ") + full_name(signal);
        if (!names.empty())
            append_wrapped(reasons, 2, "- " + std::string(text) + ": " + names);
    }
    const auto states =
        std::count_if(result.signals.begin(), result.signals.end(),
                      [](const auto& signal) { return signal.standing == run::Standing::choice; });
    if (states > 0)
        append_wrapped(reasons, 2, "- states, not numbers: " + std::to_string(states));
    if (!reasons.empty())
        out += "\nNot compared\n" + reasons;
}

void append_text(std::string& out, const run::ContrastResult& result, UnitSystem system) {
    if (result.suspects.empty())
        out += "NO DEPARTURE FOUND\n";
    else
        out += result.suspects.size() == 1
                   ? "1 DEPARTURE\n"
                   : std::to_string(result.suspects.size()) + " DEPARTURES, the best lead first\n";
    out += '\n';
    append_paragraph(out, run::contrast_caution(), 2);
    for (std::size_t i = 0; i < result.suspects.size(); ++i) {
        const run::Departure& departure = result.suspects[i];
        const run::ContrastSignal& signal = result.signals[departure.signal];
        out += '\n';
        std::string head = std::to_string(i + 1) + ". " + signal.name + " (" + where(signal) + ")";
        append_paragraph(out, head, 0);
        const bool from_mark = departure.run < result.coverage.size() &&
                               result.coverage[departure.run].reference_is_mark;
        std::string facts = moment(departure.start_second) + " to " + moment(departure.end_second) +
                            (from_mark ? " from the mark" : " from the start") + "; peak " +
                            difference(signal, departure.peak_difference, system) + "; score ";
        append_number(facts, departure.score, 1);
        if (departure.run < result.coverage.size() && result.coverage.size() > 1)
            facts += "; in " + result.coverage[departure.run].name;
        append_paragraph(out, facts, 3);
        append_paragraph(out, departure.sentence, 3);
        append_paragraph(out, departure.others, 3);
        append_paragraph(out, "To prove it: " + departure.proof, 3);
    }
    if (!result.notes.empty()) {
        out += "\nNotes\n";
        for (const std::string& note : result.notes)
            append_paragraph(out, "- " + note, 2);
    }
    append_compared(out, result);
    append_not_compared(out, result);
}

int contrast(const ContrastSettings& options) {
    const auto settings = read_input_options(options.input);
    if (!settings) {
        say(settings.error().detail);
        return status_wrong;
    }
    const auto picks = read_picks(options.drive);
    if (!picks) {
        say(picks.error().detail);
        return status_wrong;
    }
    const bool page = options.as == "page";
    if (page && options.output.empty()) {
        say("a page goes into a file: name it with -o FILE (-o - for standard output)");
        return status_wrong;
    }
    // --mark and --marks speak of the bad drives.
    DriveOptions no_marks = options.drive;
    no_marks.marks.clear();
    Output console;
    const auto good = read(options.good, *settings, options,
                           options.bad.empty() ? options.drive : no_marks, console);
    if (!good)
        return status_wrong;
    std::vector<Drive> bad;
    for (const std::string& file : options.bad) {
        auto drive = read(file, *settings, options, options.drive, console);
        if (!drive)
            return status_wrong;
        bad.push_back(std::move(*drive));
    }
    run::ContrastOptions how;
    how.mark = options.drive.mark;
    how.only = *picks;
    how.keep_expectations = page;
    const bool alone = bad.empty();
    std::vector<const run::Run*> runs;
    for (const Drive& drive : bad)
        runs.push_back(&drive.run);
    if (alone)
        runs.push_back(&good->run);
    const run::ContrastResult result =
        alone ? run::contrast_alone(good->run, how) : run::contrast(good->run, runs, how);

    if (!picks->empty() &&
        std::all_of(result.signals.begin(), result.signals.end(), [](const auto& signal) {
            return signal.standing == run::Standing::left_out;
        })) {
        say("none of the signals asked for is in these drives");
        return status_wrong;
    }
    const UnitSystem system = options.units == "us" ? UnitSystem::us : UnitSystem::si;
    std::string text;
    if (page) {
        std::string report = good->report;
        for (const Drive& drive : bad)
            report += "\n\n" + drive.report;
        auto made = page::render(
            page::page_of(alone ? nullptr : &good->run, runs, result, system, std::move(report)));
        if (!made) {
            say(made.error().detail);
            return status_wrong;
        }
        text = std::move(*made);
    } else if (options.as == "json") {
        append_contrast_json(text, result, system);
    } else {
        append_text(text, result, system);
    }
    const int status = result.suspects.empty() ? status_done : status_found;
    if (options.output.empty() || options.output == "-") {
        console.buffer() += text;
        return console.finish(status);
    }
    return write_file(options.output, text) ? static_cast<int>(status) : status_wrong;
}

} // namespace

void add_contrast(CLI::App& app, Run& run) {
    const auto options = std::make_shared<ContrastSettings>();
    auto* command = app.add_subcommand(
        "contrast", "Set drives with a fault beside a good one and find the signal that left its "
                    "course");
    command
        ->add_option("GOOD", options->good,
                     "The drive in which nothing showed; the only one, when it is looked at alone")
        ->required();
    command->add_option("BAD", options->bad, "Drives in which the fault showed");
    add_dump_options(*command, options->input);
    add_drive_options(*command, options->drive);
    command->add_option("--as", options->as, "text, json or page (one HTML file)")
        ->check(CLI::IsMember({"text", "json", "page"}))
        ->type_name("FORM")
        ->capture_default_str();
    command->add_option("--units", options->units, "si or us")
        ->check(CLI::IsMember({"si", "us"}))
        ->type_name("SYSTEM")
        ->capture_default_str();
    command->add_option("-o", options->output, "Write into this file")->type_name("FILE");
    command->footer("Examples:\n"
                    "  telltale contrast good.pcapng bad.pcapng\n"
                    "  telltale contrast good.pcapng bad.pcapng --mark 83 --as page -o page.html\n"
                    "Exit status 1 when a signal left its course, 0 when none did.");
    command->callback([options, &run] { run = [options] { return contrast(*options); }; });
}

} // namespace telltale::program
