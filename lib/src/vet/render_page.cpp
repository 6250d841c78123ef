// SPDX-License-Identifier: Apache-2.0
#include "render.hpp"
#include "telltale/base/text.hpp"
#include "telltale/version.hpp"
#include "telltale/vet/render.hpp"

namespace telltale::vet {

namespace {

using namespace render;

constexpr std::string_view style = R"(
:root { color-scheme: light dark; --paper: #fcfbf8; --ink: #1b2227; --soft: #566068; --rule: #d3d0c6;
  --panel: #f2f0ea; --good: #1f6b45; --bad: #a8321a; --open: #7a5a00; --bar: #2f5f8f; }
@media (prefers-color-scheme: dark) {
  :root { --paper: #13171a; --ink: #e8e6df; --soft: #a0a9b0; --rule: #3a4248; --panel: #1c2226;
    --good: #74c69d; --bad: #f2907a; --open: #e0b64f; --bar: #7fb2e5; }
}
* { box-sizing: border-box; }
html { font: 15px/1.45 system-ui, "Liberation Sans", "DejaVu Sans", sans-serif; }
body { margin: 0 auto; padding: 1.2rem; max-width: 76rem; background: var(--paper); color: var(--ink);
  overflow-wrap: anywhere; }
h1 { font-size: 1.4rem; margin: 0 0 .6rem; } h2 { font-size: 1.08rem; margin: 1.5rem 0 .4rem; }
dl { display: grid; grid-template-columns: max-content 1fr; gap: .15rem 1rem; margin: 0 0 1rem; }
dt { color: var(--soft); } dd { margin: 0; }
.verdict { border: 2px solid; border-radius: .3rem; padding: .6rem .9rem; background: var(--panel); }
.verdict b { font-size: 1.25rem; } .verdict p { margin: .2rem 0 0; color: var(--ink); }
.verdict ul { margin: .4rem 0 0; padding-left: 1.2rem; color: var(--ink); }
.passed { color: var(--good); } .failed { color: var(--bad); } .untested { color: var(--open); }
table { border-collapse: collapse; width: 100%; table-layout: fixed; }
th, td { text-align: left; vertical-align: top; padding: .3rem .7rem .3rem 0;
  border-bottom: 1px solid var(--rule); }
th { color: var(--soft); font-weight: 600; }
col.result { width: 6.3rem; } col.check { width: 33%; } col.count { width: 9rem; }
td.result { font-weight: 600; } td.n { font-variant-numeric: tabular-nums; }
td small, .soft { color: var(--soft); } td p { margin: .15rem 0; }
td ul { margin: .2rem 0 0; padding-left: 1.1rem; }
code { font: .86rem "Liberation Mono", "DejaVu Sans Mono", monospace; }
figure { margin: .8rem 0 1.4rem; } figcaption { margin-bottom: .3rem; }
svg { display: block; width: 100%; max-width: 46rem; height: auto; }
svg text { fill: var(--ink); font-size: 12px; } svg .soft { fill: var(--soft); }
svg rect { fill: var(--bar); } svg line { stroke: var(--rule); }
@page { size: A4; margin: 15mm; }
@media print {
  :root { --paper: #fff; --ink: #000; --soft: #333; --rule: #888; --panel: #fff; --good: #14512f;
    --bad: #8c1d08; --open: #5c4300; --bar: #234a72; }
  html { font-size: 9.5pt; } body { padding: 0; max-width: none; }
  h2 { break-after: avoid; } tr, figure, .verdict { break-inside: avoid; } thead { display: table-header-group; }
  svg { max-width: 150mm; }
}
)";

std::string safe(std::string_view untrusted) {
    std::string out;
    append_html(out, untrusted);
    return out;
}

std::string tenths(double value) {
    std::string out;
    append_number(out, value, 1);
    return out;
}

/// A bar a bucket, its name before it and its count behind it.
void append_histogram(std::string& out, const NamedLatency& named) {
    out += "<figure>\n<figcaption>" + safe(named.name) + "<br><span class=\"soft\">" +
           safe(in_short(named.latency)) + "</span></figcaption>\n";
    const auto [first, end] = filled(named.latency);
    std::uint64_t most = 0;
    for (std::size_t i = first; i < end; ++i)
        most = std::max(most, named.latency.count(i));
    if (most != 0) {
        constexpr double row = 20;
        constexpr double left = 150;
        constexpr double widest = 440;
        const double height = row * static_cast<double>(end - first) + 6;
        out += "<svg viewBox=\"0 0 690 " + tenths(height) +
               "\" role=\"img\" aria-label=\"How many took how long\">\n"
               "<line x1=\"150\" y1=\"0\" x2=\"150\" y2=\"" +
               tenths(height) + "\"/>\n";
        for (std::size_t i = first; i < end; ++i) {
            const double top = row * static_cast<double>(i - first) + 3;
            const std::uint64_t count = named.latency.count(i);
            const double part = static_cast<double>(count) / static_cast<double>(most);
            const double wide = count == 0 ? 0 : std::max(1.5, widest * part);
            out += "<text class=\"soft\" x=\"142\" y=\"" + tenths(top + 14) +
                   "\" text-anchor=\"end\">" + safe(bucket_name(i)) + "</text>";
            if (count != 0)
                out += "<rect x=\"150\" y=\"" + tenths(top + 2) + "\" width=\"" + tenths(wide) +
                       "\" height=\"16\"/><text x=\"" + tenths(left + wide + 6) + "\" y=\"" +
                       tenths(top + 14) + "\">" + with_commas(count) + "</text>";
            out += '\n';
        }
        out += "</svg>\n";
    }
    out += "</figure>\n";
}

void append_page_check(std::string& out, const Check& check) {
    const std::string verdict(word(check.verdict));
    out += "<tr><td class=\"result " + verdict + "\">" + verdict + "</td><td>" + safe(check.title);
    if (!check.basis.empty())
        out += "<br><small>" + safe(check.basis) + "</small>";
    out += "</td><td>" + safe(check.sent) + "</td><td>" + safe(check.came);
    if (!check.finding.empty())
        out += "<p class=\"" + verdict + "\">" + safe(check.finding) + "</p>";
    if (!check.examples.empty()) {
        out += "<ul>";
        for (const Example& example : check.examples)
            out += "<li><code>" + safe(in_words(example)) + "</code></li>";
        out += "</ul>";
    }
    out += "</td><td class=\"n\">" + safe(judged(check)) + "</td></tr>\n";
}

} // namespace

std::string report_page(const Report& report) {
    const Conclusion conclusion = conclusion_of(report);
    const std::string verdict(word(report.verdict()));
    const std::string name = report.adapter.empty() ? "An interface adapter" : report.adapter;
    std::string out = "<!doctype html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n"
                      "<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n"
                      "<meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; "
                      "style-src 'unsafe-inline'\">\n<meta name=\"generator\" "
                      "content=\"telltale " TELLTALE_VERSION_STRING "\">\n<title>";
    out += safe(name) + ", vetted</title>\n<style>";
    out += style;
    out += "</style>\n</head>\n<body>\n<h1>" + safe(name) + ", vetted</h1>\n<dl>\n";
    const auto item = [&out](std::string_view what, std::string_view text) {
        if (!text.empty())
            out += "<dt>" + safe(what) + "</dt><dd>" + safe(text) + "</dd>\n";
    };
    item("Date", report.date);
    item("Took", report.duration > 0 ? short_time(report.duration) : std::string());
    for (const LinkUnderTest& link : report.links)
        item(link.part.empty() ? "link" : link.part,
             link.name + (link.settings.empty() ? "" : ": " + link.settings));
    for (const auto& [what, version] : report.versions)
        item(what, version);
    if (report.seed != 0) {
        std::string seed;
        append_integer(seed, report.seed);
        item("seed", seed);
    }
    out += "</dl>\n<section class=\"verdict " + verdict + "\"><b>" + safe(conclusion.word) +
           "</b><p>" + with_commas(report.count(Verdict::passed)) + " passed, " +
           with_commas(report.count(Verdict::failed)) + " failed, " +
           with_commas(report.count(Verdict::untested)) +
           " untested: " + safe(conclusion.sentence) + ".</p>";
    if (!report.broken_off.empty())
        out += "<p>" + safe(report.broken_off) + "</p>";
    if (report.count(Verdict::failed) != 0) {
        out += "<ul>";
        for (const Check& check : report.checks)
            if (check.verdict == Verdict::failed)
                out += "<li>" + safe(check.title) + ": " + safe(check.finding) + "</li>";
        out += "</ul>";
    }
    out += "</section>\n";
    for (const Group& group : groups_of(report)) {
        out += "<h2>" + safe(group.name) +
               "</h2>\n<table><colgroup><col class=\"result\"><col class=\"check\"><col><col>"
               "<col class=\"count\"></colgroup>\n<thead><tr><th>Result</th><th>Check, and on what "
               "it rests</th><th>Sent</th><th>Came</th><th>Judged</th></tr></thead>\n<tbody>\n";
        for (const Check* check : group.checks)
            append_page_check(out, *check);
        out += "</tbody></table>\n";
    }
    if (!report.latencies.empty())
        out += "<h2>Latency</h2>\n";
    for (const NamedLatency& latency : report.latencies)
        append_histogram(out, latency);
    if (!report.notes.empty()) {
        out += "<h2>Notes</h2>\n<ul>\n";
        for (const std::string& note : report.notes)
            out += "<li>" + safe(note) + "</li>\n";
        out += "</ul>\n";
    }
    return out + "</body>\n</html>\n";
}

} // namespace telltale::vet
