// SPDX-License-Identifier: Apache-2.0
// A report for programs: JSON, and JUnit XML.
#include "render.hpp"
#include "telltale/vet/render.hpp"
#include "vehicle/json.hpp"

namespace telltale::vet {

namespace {

using namespace render;

void append_json_latency(vehicle::Json& json, const NamedLatency& named) {
    const Latency& latency = named.latency;
    json.open('{');
    json.key("name").text(named.name);
    json.key("count").whole(latency.total());
    const auto time = [&json](std::string_view key, Time value, bool known) {
        json.key(key);
        if (known)
            json.time(value);
        else
            json.null();
    };
    const bool any = latency.total() != 0;
    time("least", latency.least(), any);
    time("half_within", latency.within(0.5), any);
    time("most_within", latency.within(0.99), any);
    time("greatest", latency.greatest(), any);
    json.key("buckets").open('[');
    const auto [first, end] = filled(latency);
    for (std::size_t i = first; i < end; ++i) {
        json.open('{');
        json.key("from").time(Latency::begin(i));
        json.key("count").whole(latency.count(i));
        json.close('}');
    }
    json.close(']');
    json.close('}');
}

void append_json_check(vehicle::Json& json, const Check& check) {
    json.open('{');
    json.key("id").text(check.id);
    json.key("group").text(check.group);
    json.key("title").text(check.title);
    json.key("verdict").text(word(check.verdict));
    json.key("sent").text_or_null(check.sent);
    json.key("came").text_or_null(check.came);
    json.key("judged").whole(check.sent_count);
    json.key("wrong").whole(check.wrong_count);
    json.key("finding").text_or_null(check.finding);
    json.key("basis").text_or_null(check.basis);
    json.key("examples").open('[');
    for (const Example& example : check.examples) {
        json.open('{');
        json.key("time").time(example.time);
        json.key("what").text_or_null(example.what);
        json.key("sent").text_or_null(example.sent);
        json.key("came").text_or_null(example.came);
        json.close('}');
    }
    json.close(']');
    json.close('}');
}

/// XML 1.0 has no place for U+FFFE and U+FFFF.
void append_xml(std::string& out, std::string_view untrusted) {
    std::string text;
    append_html(text, untrusted);
    for (const std::string_view none : {"\xEF\xBF\xBE", "\xEF\xBF\xBF"})
        for (std::size_t at = 0; (at = text.find(none, at)) != std::string::npos;)
            text.replace(at, none.size(), "?");
    out += text;
}
std::string attribute(std::string_view name, std::string_view value) {
    std::string out = " ";
    out += name;
    out += "=\"";
    append_xml(out, value);
    return out + '"';
}

std::string number(std::uint64_t value) {
    std::string out;
    append_integer(out, value);
    return out;
}

std::string details_of(const Check& check) {
    std::string out;
    const auto line = [&out](std::string_view what, std::string_view text) {
        if (!text.empty())
            out.append(what).append(text) += '\n';
    };
    line("sent: ", check.sent);
    line("came: ", check.came);
    line("judged: ", judged(check));
    line("basis: ", check.basis);
    for (const Example& example : check.examples)
        line("- ", in_words(example));
    return out;
}

/// The lines of it; a line end would be a control character to `append_xml`.
void append_lines(std::string& out, std::string_view text) {
    while (!text.empty()) {
        const std::size_t end = std::min(text.find('\n'), text.size() - 1);
        append_xml(out, text.substr(0, text[end] == '\n' ? end : end + 1));
        out += '\n';
        text.remove_prefix(end + 1);
    }
}

/// `2026-11-25 18:20:05 UTC` as ISO 8601 has it, or nothing.
std::string timestamp(std::string_view date) {
    if (date.size() < 19 || date[4] != '-' || date[7] != '-' || date[10] != ' ' ||
        date[13] != ':' || date[16] != ':')
        return {};
    for (const std::size_t at : {0U, 1U, 2U, 3U, 5U, 6U, 8U, 9U, 11U, 12U, 14U, 15U, 17U, 18U})
        if (date[at] < '0' || date[at] > '9')
            return {};
    std::string out(date.substr(0, 19));
    out[10] = 'T';
    return out;
}

struct Counts {
    std::size_t tests = 0;
    std::size_t failures = 0;
    std::size_t errors = 0;
    std::size_t skipped = 0;
};
std::string attributes(const Counts& counts) {
    return attribute("tests", number(counts.tests)) +
           attribute("failures", number(counts.failures)) +
           attribute("errors", number(counts.errors)) +
           attribute("skipped", number(counts.skipped));
}

void begin_suite(std::string& out, const Report& report, std::string_view name,
                 const Counts& counts, std::string_view seconds) {
    out += "<testsuite" + attribute("name", name) + attributes(counts) + attribute("time", seconds);
    if (const std::string when = timestamp(report.date); !when.empty())
        out += attribute("timestamp", when);
    out += ">\n<properties>\n";
    const auto property = [&out](const std::string& what, const std::string& value) {
        if (!value.empty())
            out += "<property" + attribute("name", what) + attribute("value", value) + "/>\n";
    };
    property("verdict", std::string(word(report.verdict())));
    property("adapter", report.adapter);
    property("date", report.date);
    for (const LinkUnderTest& link : report.links)
        property("link " + link.part,
                 link.name + (link.settings.empty() ? "" : ": " + link.settings));
    for (const auto& [what, version] : report.versions)
        property("version " + what, version);
    property("seed", number(report.seed));
    property("broken off", report.broken_off);
    out += "</properties>\n";
}

void begin_case(std::string& out, std::string_view suite, std::string_view title) {
    out += "<testcase" + attribute("classname", "vet." + std::string(suite)) +
           attribute("name", title) + attribute("time", "0") + ">\n";
}

/// Build servers take what was skipped for as good as passed: an error says that it is not.
void append_untold(std::string& out, const Report& report) {
    const bool broken_off = !report.broken_off.empty();
    begin_suite(out, report, "vetting", {1, 0, 1, 0}, "0");
    begin_case(out, "vetting", "Vetting goes to its end");
    out += "<error" +
           attribute("message", broken_off ? report.broken_off : "Nothing could be tested.") +
           attribute("type", broken_off ? "broken-off" : "nothing-tested") +
           ">What passed does not make it sound.</error>\n</testcase>\n</testsuite>\n";
}

} // namespace

std::string report_json(const Report& report) {
    std::string out;
    vehicle::Json json(out);
    json.open('{');
    json.key("verdict").text(word(report.verdict()));
    json.key("adapter").text_or_null(report.adapter);
    json.key("date").text_or_null(report.date);
    json.key("seconds").time(report.duration);
    json.key("seed").whole(report.seed);
    json.key("broken_off").text_or_null(report.broken_off);
    json.key("links").open('[');
    for (const LinkUnderTest& link : report.links) {
        json.open('{');
        json.key("name").text(link.name);
        json.key("part").text_or_null(link.part);
        json.key("settings").text_or_null(link.settings);
        json.close('}');
    }
    json.close(']');
    json.key("versions").open('[');
    for (const auto& [what, version] : report.versions) {
        json.open('{');
        json.key("of").text(what);
        json.key("version").text(version);
        json.close('}');
    }
    json.close(']');
    for (const Verdict verdict : {Verdict::passed, Verdict::failed, Verdict::untested})
        json.key(word(verdict)).whole(report.count(verdict));
    json.key("checks").open('[');
    for (const Check& check : report.checks)
        append_json_check(json, check);
    json.close(']');
    json.key("latencies").open('[');
    for (const NamedLatency& latency : report.latencies)
        append_json_latency(json, latency);
    json.close(']');
    json.key("notes").open('[');
    for (const std::string& note : report.notes)
        json.text(note);
    json.close(']');
    json.close('}');
    return out + '\n';
}

std::string report_junit(const Report& report) {
    std::string out = "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n<testsuites";
    std::string seconds;
    append_number(seconds, static_cast<double>(report.duration) / 1e9, 3);
    const bool whole = report.broken_off.empty() && report.verdict() != Verdict::untested;
    Counts all{report.checks.size(), report.count(Verdict::failed), 0,
               report.count(Verdict::untested)};
    if (!whole)
        all.tests += all.errors = 1;
    out += attribute("name", "telltale vet") + attributes(all) + attribute("time", seconds) + ">\n";
    bool first = true;
    for (const Group& group : groups_of(report)) {
        Counts counts;
        counts.tests = group.checks.size();
        for (const Check* check : group.checks) {
            counts.failures += check->verdict == Verdict::failed ? 1 : 0;
            counts.skipped += check->verdict == Verdict::untested ? 1 : 0;
        }
        begin_suite(out, report, group.name, counts, first ? seconds : "0");
        for (const Check* check : group.checks) {
            begin_case(out, group.name, check->title);
            if (check->verdict == Verdict::failed) {
                out += "<failure" + attribute("message", check->finding) +
                       attribute("type", check->id) + ">";
                append_lines(out, details_of(*check));
                out += "</failure>\n";
            } else {
                if (check->verdict == Verdict::untested)
                    out += "<skipped" + attribute("message", check->finding) + "/>\n";
                out += "<system-out>";
                append_lines(out, details_of(*check));
                out += "</system-out>\n";
            }
            out += "</testcase>\n";
        }
        out += "</testsuite>\n";
        first = false;
    }
    if (!whole)
        append_untold(out, report);
    return out + "</testsuites>\n";
}

} // namespace telltale::vet
