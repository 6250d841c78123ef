// SPDX-License-Identifier: Apache-2.0
// `telltale table`: the values of a drive for a spreadsheet.
#include <algorithm>
#include <array>
#include <charconv>
#include <cmath>
#include <memory>
#include <string>
#include <vector>

#include <CLI/App.hpp>
#include <CLI/Validators.hpp>

#include "command.hpp"
#include "drive.hpp"
#include "telltale/base/number.hpp"
#include "telltale/base/shown.hpp"
#include "telltale/base/text.hpp"

namespace telltale::program {

namespace {

struct TableSettings {
    InputOptions input;
    DriveOptions drive;
    std::string file = "-";
    double every = 0.1;
    bool raw = false;
    std::string units = "si";
};

/// One signal as a column: walks along its samples as the rows go by.
struct Column {
    const run::Series* series;
    Shown how;
    Time limit;
    std::size_t next = 0; ///< first sample that has not yet come
};

/// Samples are kept in as few bytes as their decimals need: a narrow one is written with the digits
/// that tell it from its neighbours, not with those that widening it made up.
void append_sample(std::string& out, const Shown& how, double value) {
    const auto narrow = static_cast<float>(value);
    if (static_cast<double>(narrow) != value)
        return append_exact(out, how(value), how.converted);
    std::array<char, 64> text;
    const auto end = how.converted ? std::to_chars(text.data(), text.data() + text.size(),
                                                   how(value), std::chars_format::general, 7)
                                         .ptr
                                   : std::to_chars(text.data(), text.data() + text.size(), narrow,
                                                   std::chars_format::fixed)
                                         .ptr;
    out.append(text.data(), end);
}

void append_value(std::string& out, const Column& column, double value) {
    if (column.series->kind == run::SeriesKind::choice) {
        if (const auto label = column.series->label(value); !label.empty())
            return append_csv(out, label);
    }
    append_sample(out, column.how, value);
}

/// "7E8 RPM (rpm)"; the ECU only where there are several, the whole name where there is no short
/// one.
std::string heading(const run::Run& drive, const Column& column) {
    bool several = false;
    bool same_key = false;
    for (const run::Series& other : drive.series) {
        several = several || other.ecu != column.series->ecu || other.line != column.series->line;
        same_key =
            same_key || (&other != column.series && other.ecu == column.series->ecu &&
                         other.line == column.series->line && other.key == column.series->key);
    }
    std::string out;
    if (several) {
        if (!column.series->line.empty())
            out += column.series->line + " ";
        if (!column.series->ecu.empty())
            out += column.series->ecu + " ";
    }
    out += column.series->key.empty() || same_key ? column.series->name : column.series->key;
    if (!column.how.text.empty())
        out += " (" + std::string(column.how.text) + ")";
    return out;
}

/// One row for each moment of an even grid: the latest sample of each signal, or nothing when the
/// latest is older than its pace allows. Nothing is interpolated.
void write_grid(Output& output, const run::Run& drive, std::vector<Column>& columns,
                const TableSettings& options) {
    std::string& out = output.buffer();
    std::vector<run::Mark> marks = drive.marks;
    if (options.drive.mark)
        marks.push_back(
            {drive.start + static_cast<Time>(std::llround(
                               *options.drive.mark * static_cast<double>(nanoseconds_a_second))),
             "mark"});
    std::stable_sort(marks.begin(), marks.end(),
                     [](const run::Mark& a, const run::Mark& b) { return a.time < b.time; });
    out += "time";
    for (const Column& column : columns) {
        out += ',';
        append_csv(out, heading(drive, column));
    }
    out += marks.empty() ? "\n" : ",mark\n";
    if (drive.start == no_time)
        return;

    const auto every = std::max<Time>(
        1,
        static_cast<Time>(std::llround(options.every * static_cast<double>(nanoseconds_a_second))));
    std::size_t next_mark = 0;
    for (Time now = drive.start; now - every < drive.end && output.open(); now += every) {
        append_seconds(out, now - drive.start);
        for (Column& column : columns) {
            const run::Series& series = *column.series;
            while (column.next < series.size() && series.times[column.next] <= now)
                ++column.next;
            out += ',';
            if (column.next > 0 && now - series.times[column.next - 1] <= column.limit)
                append_value(out, column, series.values[column.next - 1]);
        }
        if (!marks.empty()) {
            std::string words;
            for (; next_mark < marks.size() && marks[next_mark].time <= now; ++next_mark)
                words += (words.empty() ? "" : "; ") +
                         (marks[next_mark].text.empty() ? "mark" : marks[next_mark].text);
            out += ',';
            append_csv(out, words);
        }
        out += '\n';
        output.commit();
    }
}

/// Every sample as it came, in the order of the times.
void write_raw(Output& output, const run::Run& drive, std::vector<Column>& columns) {
    std::string& out = output.buffer();
    out += "time,line,ecu,id,field,name,value,unit,text\n";
    // A heap of columns by their next sample.
    const auto later = [&](std::size_t a, std::size_t b) {
        const Time at_a = columns[a].series->times[columns[a].next];
        const Time at_b = columns[b].series->times[columns[b].next];
        return at_a != at_b ? at_a > at_b : a > b;
    };
    std::vector<std::size_t> heap;
    for (std::size_t i = 0; i < columns.size(); ++i)
        if (columns[i].series->size() > 0)
            heap.push_back(i);
    std::make_heap(heap.begin(), heap.end(), later);
    while (!heap.empty() && output.open()) {
        std::pop_heap(heap.begin(), heap.end(), later);
        Column& column = columns[heap.back()];
        const run::Series& series = *column.series;
        append_seconds(out, series.times[column.next] - drive.start);
        out += ',';
        append_csv(out, series.line);
        out += ',' + series.ecu + ',' + series.id_text() + ',';
        append_integer(out, std::uint64_t{series.index});
        out += ',';
        append_csv(out, series.name);
        out += ',';
        const double value = series.values[column.next];
        append_sample(out, column.how, value);
        out += ',';
        append_csv(out,
                   series.kind == run::SeriesKind::choice ? std::string_view{} : column.how.ucum);
        out += ',';
        append_csv(out, series.label(value));
        out += '\n';
        output.commit();
        if (++column.next == series.size())
            heap.pop_back();
        else
            std::push_heap(heap.begin(), heap.end(), later);
    }
}

int table(const TableSettings& options) {
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
    Output output;
    const auto drive = read_drive(options.file, *settings, options.drive, output);
    if (!drive)
        return status_wrong;
    std::vector<Column> columns;
    const UnitSystem system = options.units == "us" ? UnitSystem::us : UnitSystem::si;
    for (const std::size_t i : run::select(*drive, *picks)) {
        const run::Series& series = drive->series[i];
        columns.push_back(
            {&series, shown(series.unit, series.step, series.decimals, system, series.own_unit),
             run::pace(series).limit});
    }
    if (columns.empty())
        say(options.file, picks->empty() ? "no values over time in it"
                                         : "none of the signals asked for is in it");
    if (options.raw)
        write_raw(output, *drive, columns);
    else
        write_grid(output, *drive, columns, options);
    return output.finish(status_done);
}

} // namespace

void add_table(CLI::App& app, Run& run) {
    const auto options = std::make_shared<TableSettings>();
    auto* command = app.add_subcommand(
        "table", "Write the values of a drive as comma-separated text for a spreadsheet");
    command->add_option("FILE", options->file, "A dump, or - for standard input");
    add_dump_options(*command, options->input);
    add_drive_options(*command, options->drive);
    auto* every =
        command
            ->add_option("--every", options->every,
                         "A row for each step of this many seconds: the latest sample, or "
                         "nothing across a gap")
            ->check(CLI::Range(0.001, 86400.0))
            ->type_name("SECONDS")
            ->capture_default_str();
    command->add_flag("--raw", options->raw, "Every sample as it came, a row each")
        ->excludes(every);
    command->add_option("--units", options->units, "si or us")
        ->check(CLI::IsMember({"si", "us"}))
        ->type_name("SYSTEM")
        ->capture_default_str();
    command->footer("Examples:\n"
                    "  telltale table drive.pcapng --every 0.1 --watch air > air.csv\n"
                    "  telltale table drive.pcapng --raw --only RPM,7E8:0B");
    command->callback([options, &run] { run = [options] { return table(*options); }; });
}

} // namespace telltale::program
