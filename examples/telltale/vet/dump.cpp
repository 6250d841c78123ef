// SPDX-License-Identifier: Apache-2.0
// Vetting by a dump that the adapter's own software took.
#include "telltale/base/number.hpp"
#include "telltale/base/text.hpp"
#include "telltale/dump/reader.hpp"
#include "telltale/dump/source.hpp"
#include "telltale/vet/known_text.hpp"
#include "telltale/vet/offline.hpp"
#include "vet.hpp"

namespace telltale::program {

namespace {

tl::unexpected<Error> about(const std::string& file, Error error) {
    std::string text;
    append_printable(text, file == "-" ? "standard input" : file);
    if (error.place.line != 0) {
        text += ", line ";
        append_integer(text, error.place.line);
    }
    error.detail = text + ": " + error.detail;
    return tl::unexpected<Error>(std::move(error));
}

std::string_view word(dump::Direction direction) {
    return direction == dump::Direction::received ? "received"
           : direction == dump::Direction::sent   ? "sent"
                                                  : "received or sent, the dump does not say";
}

} // namespace

Result<vet::KnownFrames> read_known_frames(const std::string& file, bool classic) {
    auto text = dump::read_whole(file, vet::most_known_bytes);
    if (!text)
        return about(file, text.error());
    if (text->size() > vet::most_known_bytes)
        return about(file, {ErrorCode::too_long, "too long for a list of known frames", {}});
    auto known = vet::parse_known_frames(*text);
    if (!known)
        return about(file, known.error());
    if (classic)
        std::erase_if(known->frames, [](const vet::KnownFrame& frame) { return frame.fd; });
    return known;
}

Result<vet::Report> vet_dump(const VetOptions& options) {
    if (!options.link.empty() || !options.against.empty() || options.vehicle)
        return fail(ErrorCode::bad_argument, "--dump stands in place of links");
    if (options.known.empty())
        return fail(ErrorCode::bad_argument,
                    "say which frames were sent: --known vectors/known-frames.txt");
    auto known = read_known_frames(options.known, options.classic);
    if (!known)
        return tl::unexpected<Error>(known.error());
    auto reader = dump::Reader::open(options.dump);
    if (!reader)
        return about(options.dump, reader.error());

    vet::DumpVetting vetting(*known, {options.rounds});
    dump::Record record;
    Problem problem;
    std::uint64_t problems = 0;
    std::string first;
    for (;;) {
        const dump::Step step = reader->next(record, problem);
        if (step == dump::Step::end)
            break;
        if (step == dump::Step::record) {
            vetting.record(record);
        } else if (problem.code != ProblemCode::time_backwards && problems++ == 0) {
            first = describe(problem);
        }
    }
    vet::Report report;
    report.checks = vetting.finish();
    const vet::DumpVetting::Summary& summary = vetting.summary();
    std::string settings = std::string(dump::name(reader->format())) + "; ";
    if (summary.found != 0) {
        const std::string_view line = reader->line_name(summary.line);
        if (!line.empty())
            settings.append("interface ").append(line) += ", ";
        settings += word(summary.direction);
        settings += "; ";
    }
    const auto count = [](std::string& text, std::uint64_t number, std::string_view what) {
        append_integer(text, number);
        text += what;
    };
    count(settings, summary.frames, " frames, ");
    count(settings, summary.found, " of them known, ");
    count(settings, summary.foreign, " other traffic");
    report.links.push_back({options.dump, "dump", settings});
    report.links.push_back({options.known, "known frames", ""});
    if (summary.errors != 0) {
        std::string note;
        count(note, summary.errors,
              " error frames are in the dump: look at the line as well as at "
              "the adapter.");
        report.notes.push_back(note);
    }
    if (problems != 0) {
        std::string note;
        count(note, problems, " places of the dump cannot be read; the first: ");
        report.notes.push_back(note + first);
    }
    if (summary.others != 0)
        report.notes.emplace_back("Known frames are on other interfaces of the dump as well, or in "
                                  "the other direction; the one with most of them is judged.");
    if (options.rounds == 0)
        report.notes.emplace_back(
            "What lies before the first known frame of the dump and after the "
            "last is not judged; --rounds N has it judged.");
    return report;
}

} // namespace telltale::program
