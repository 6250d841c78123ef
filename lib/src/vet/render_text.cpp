// SPDX-License-Identifier: Apache-2.0
#include <array>

#include "render.hpp"
#include "telltale/base/text.hpp"
#include "telltale/vet/render.hpp"

namespace telltale::vet {

namespace {

using namespace render;

std::size_t columns(std::string_view text) {
    return static_cast<std::size_t>(std::count_if(text.begin(), text.end(), [](char c) {
        return (static_cast<unsigned char>(c) & 0xC0U) != 0x80; // no continuation byte of UTF-8
    }));
}

/// The front of `text` that is `width` columns wide, in bytes.
std::size_t bytes_of(std::string_view text, std::size_t width) {
    std::size_t at = 0;
    for (std::size_t seen = 0; at < text.size(); ++at)
        if ((static_cast<unsigned char>(text[at]) & 0xC0U) != 0x80 && seen++ == width)
            break;
    return at;
}

/// Lines of at most `width` columns, broken between words, and within a word that is longer.
std::vector<std::string> wrapped(std::string_view untrusted, std::size_t width) {
    std::string safe;
    append_printable(safe, untrusted);
    std::vector<std::string> lines(1);
    std::string_view rest = safe;
    while (!rest.empty()) {
        rest.remove_prefix(std::min(rest.find_first_not_of(' '), rest.size()));
        std::string_view word = rest.substr(0, std::min(rest.find(' '), rest.size()));
        rest.remove_prefix(word.size());
        while (!word.empty()) {
            const std::size_t there = columns(lines.back());
            if (there != 0 && there + 1 + columns(word) > width) {
                lines.emplace_back();
                continue;
            }
            const std::size_t taken = bytes_of(word, width);
            if (there != 0)
                lines.back() += ' ';
            lines.back() += word.substr(0, taken);
            word.remove_prefix(taken);
        }
    }
    return lines;
}

class Writer {
  public:
    explicit Writer(const TextOptions& options)
        : options_(options), width_(std::clamp<std::size_t>(options.width, 32, 200)) {}

    std::string run(const Report& report) {
        head(report);
        for (const Group& group : groups_of(report)) {
            out_ += '\n';
            std::string name;
            append_printable(name, group.name);
            paragraph(0, name);
            if (table())
                row({"result", "check", "sent", "came"}, nullptr);
            for (const Check* check : group.checks)
                write(*check);
        }
        for (const NamedLatency& latency : report.latencies) {
            out_ += '\n';
            out_ += histogram_text(latency, width_);
        }
        if (!report.notes.empty())
            out_ += '\n';
        for (const std::string& note : report.notes)
            paragraph(0, note);
        return std::move(out_);
    }

  private:
    bool table() const { return width_ >= 60; }

    void paragraph(std::size_t indent, std::string_view text, std::string_view first = {}) {
        bool begun = false;
        const std::size_t lead = std::max(indent, first.size());
        for (const std::string& line : wrapped(text, width_ > lead + 8 ? width_ - lead : 8)) {
            out_ += begun ? std::string(lead, ' ') : std::string(first);
            if (!begun)
                out_.append(lead - first.size(), ' ');
            begun = true;
            out_ += line;
            out_ += '\n';
        }
    }

    void head(const Report& report) {
        const auto line = [this](std::string_view what, std::string_view text) {
            if (!text.empty())
                paragraph(12, text, what);
        };
        line("Adapter", report.adapter);
        std::string when = report.date;
        if (report.duration > 0) {
            when += when.empty() ? "" : ", ";
            when += "took " + short_time(report.duration);
        }
        if (report.seed != 0) {
            when += when.empty() ? "seed " : ", seed ";
            append_integer(when, report.seed);
        }
        line("Date", when);
        for (const LinkUnderTest& link : report.links)
            line("Link", link.name + (link.part.empty() ? "" : " (" + link.part + ")") +
                             (link.settings.empty() ? "" : ": " + link.settings));
        std::string versions;
        for (const auto& [what, version] : report.versions)
            versions.append(versions.empty() ? "" : ", ").append(what).append(" ").append(version);
        line("Versions", versions);
        out_ += '\n';
        const Conclusion conclusion = conclusion_of(report);
        std::string counts = with_commas(report.count(Verdict::passed)) + " passed, " +
                             with_commas(report.count(Verdict::failed)) + " failed, " +
                             with_commas(report.count(Verdict::untested)) + " untested";
        paint(report.verdict(), conclusion.word);
        out_ += '\n';
        paragraph(0, counts + ": " + std::string(conclusion.sentence) + ".");
        if (!report.broken_off.empty())
            paragraph(0, report.broken_off);
        // What an inspector looks for first.
        for (const Check& check : report.checks)
            if (check.verdict == Verdict::failed)
                paragraph(2, check.title + ": " + check.finding, "- ");
    }

    void paint(Verdict verdict, std::string_view text) {
        if (options_.colour)
            out_ += verdict == Verdict::passed   ? "\x1B[32m"
                    : verdict == Verdict::failed ? "\x1B[1;31m"
                                                 : "\x1B[33m";
        out_ += text;
        if (options_.colour)
            out_ += "\x1B[0m";
    }

    /// A row of the table; `verdict` paints the first cell.
    void row(const std::array<std::string, 4>& cells, const Verdict* verdict) {
        const std::size_t rest = width_ - 9 - 2;
        const std::size_t last = rest * 3 / 10;
        const std::array<std::size_t, 4> widths{8, rest - 2 * last, last, last};
        std::array<std::vector<std::string>, 4> lines;
        std::size_t tall = 0;
        for (std::size_t i = 0; i < 4; ++i) {
            lines[i] = wrapped(cells[i], widths[i]);
            tall = std::max(tall, lines[i].size());
        }
        for (std::size_t at = 0; at < tall; ++at) {
            std::size_t spaces = 0;
            for (std::size_t i = 0; i < 4; ++i) {
                const std::string_view text =
                    at < lines[i].size() ? lines[i][at] : std::string_view{};
                if (!text.empty()) {
                    out_.append(spaces, ' ');
                    spaces = 0;
                    if (i == 0 && verdict != nullptr)
                        paint(*verdict, text);
                    else
                        out_ += text;
                }
                spaces += widths[i] - columns(text) + 1;
            }
            out_ += '\n';
        }
    }

    void write(const Check& check) {
        std::string came = check.came;
        const std::string count = judged(check);
        const bool passed = check.verdict == Verdict::passed;
        if (passed && !options_.whole) {
            came.clear();
        } else if (check.wrong_count != 0 && came != count) {
            came += came.empty() ? "" : "; ";
            came += count;
        }
        const std::size_t indent = table() ? 9 : 2;
        if (table()) {
            row({std::string(word(check.verdict)), check.title,
                 passed && !options_.whole ? std::string() : check.sent, came},
                &check.verdict);
        } else {
            paint(check.verdict, word(check.verdict));
            out_ += '\n';
            paragraph(indent, check.title);
            if (!check.sent.empty())
                paragraph(indent + 6, check.sent, "  sent  ");
            if (!came.empty())
                paragraph(indent + 6, came, "  came  ");
        }
        const std::string space(indent, ' ');
        if (!check.finding.empty())
            paragraph(indent, check.finding, space);
        for (const Example& example : check.examples)
            paragraph(indent + 2, in_words(example), space + "- ");
        if (!check.basis.empty() && (options_.whole || !passed))
            paragraph(indent, "(" + check.basis + ")", space);
    }

    TextOptions options_;
    std::size_t width_;
    std::string out_;
};

} // namespace

std::string histogram_text(const NamedLatency& named, std::size_t width) {
    width = std::clamp<std::size_t>(width, 32, 200);
    std::string out;
    for (const std::string& line : wrapped("Latency " + named.name, width))
        out += line + '\n';
    for (const std::string& line : wrapped(in_short(named.latency), width))
        out += line + '\n';
    const auto [first, end] = filled(named.latency);
    std::uint64_t most = 0;
    std::size_t names = 0;
    std::size_t counts = 0;
    for (std::size_t i = first; i < end; ++i) {
        most = std::max(most, named.latency.count(i));
        names = std::max(names, bucket_name(i).size());
        counts = std::max(counts, with_commas(named.latency.count(i)).size());
    }
    for (std::size_t i = first; i < end; ++i) {
        const std::uint64_t count = named.latency.count(i);
        const std::string name = bucket_name(i);
        const std::string number = with_commas(count);
        const std::size_t room =
            width > names + counts + 6 ? width - names - counts - 4 : std::size_t{2};
        auto bar = static_cast<std::size_t>(static_cast<double>(count) / static_cast<double>(most) *
                                            static_cast<double>(room));
        if (count != 0 && bar == 0)
            bar = 1;
        out.append(names - name.size(), ' ');
        out += name + "  ";
        out.append(counts - number.size(), ' ');
        out += number;
        if (bar != 0)
            out += ' ' + std::string(bar, '#');
        out += '\n';
    }
    return out;
}

std::string report_text(const Report& report, const TextOptions& options) {
    return Writer(options).run(report);
}

} // namespace telltale::vet
