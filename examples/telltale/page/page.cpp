// SPDX-License-Identifier: Apache-2.0
#include "page.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdint>
#include <cstdio>
#include <limits>
#include <string_view>

#include "page_parts.hpp"
#include "telltale/base/number.hpp"
#include "telltale/base/shown.hpp"
#include "telltale/base/text.hpp"
#include "telltale/version.hpp"

namespace telltale::page {

namespace {

std::string escaped(std::string_view text) {
    std::string out;
    append_html(out, text);
    return out;
}

std::string number(double value, unsigned decimals) {
    std::string out;
    append_number(out, value, decimals);
    return out;
}

/// "+1.250 s": a moment on the page's axis.
std::string moment(double seconds) {
    return (seconds < 0 ? "" : "+") + number(seconds, 3) + " s";
}

std::string base64(const std::vector<std::uint8_t>& bytes) {
    constexpr std::string_view digits =
        "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    std::string out;
    out.reserve((bytes.size() + 2) / 3 * 4);
    for (std::size_t i = 0; i < bytes.size(); i += 3) {
        const std::size_t there = std::min<std::size_t>(3, bytes.size() - i);
        std::uint32_t group = 0;
        for (std::size_t j = 0; j < 3; ++j)
            group = group << 8 | (j < there ? bytes[i + j] : 0U);
        for (std::size_t j = 0; j < 4; ++j)
            out.push_back(j <= there ? digits[group >> (18 - 6 * j) & 63] : '=');
    }
    return out;
}

void append_varint(std::vector<std::uint8_t>& out, std::uint64_t value) {
    while (value >= 128) {
        out.push_back(static_cast<std::uint8_t>(value | 128));
        value >>= 7;
    }
    out.push_back(static_cast<std::uint8_t>(value));
}

/// Samples as the script unpacks them: for each, milliseconds since the one before, and how many
/// steps the value moved (zigzag), both as variable-length integers, all in base64.
void append_samples(std::string& out, const char* name, const Samples& samples, double step) {
    const std::size_t all = std::min(samples.time.size(), samples.value.size());
    if (all == 0)
        return;
    // A step too small for the values would overflow the integers; a range of 2^40 steps is plenty.
    double least = std::numeric_limits<double>::infinity();
    double most = -least;
    for (std::size_t i = 0; i < all; ++i)
        if (std::isfinite(samples.value[i])) {
            least = std::min(least, samples.value[i]);
            most = std::max(most, samples.value[i]);
        }
    if (!(least <= most))
        return;
    constexpr double steps_at_most = 1099511627776.0;
    if (!(step > 0) || !std::isfinite(step))
        step = (most - least) / 100000.0;
    step = std::max({step, (most - least) / steps_at_most, 1e-300});

    std::vector<std::uint8_t> bytes;
    bytes.reserve(all * 3);
    std::size_t count = 0;
    const double start = samples.time[0];
    std::int64_t last_time = 0;
    std::int64_t last_value = 0;
    for (std::size_t i = 0; i < all; ++i) {
        const double since = (samples.time[i] - start) * 1000.0;
        if (!std::isfinite(samples.value[i]) || !(since >= 0 && since < 1e12))
            continue;
        const std::int64_t time = std::max<std::int64_t>(std::llround(since), last_time);
        const std::int64_t value = std::llround((samples.value[i] - least) / step);
        append_varint(bytes, static_cast<std::uint64_t>(time - last_time));
        const std::int64_t moved = value - last_value;
        append_varint(bytes, static_cast<std::uint64_t>(moved < 0 ? -2 * moved - 1 : 2 * moved));
        last_time = time;
        last_value = value;
        ++count;
    }
    out += ",\"";
    out += name;
    out += "\":{\"start\":" + number(start, 3) + ",\"base\":" + number(least, 9) + ",\"step\":";
    std::array<char, 32> text;
    const int length = std::snprintf(text.data(), text.size(), "%.17g", step);
    std::string exact(text.data(), static_cast<std::size_t>(length));
    std::replace(exact.begin(), exact.end(), ',', '.'); // whatever the locale
    out += exact + ",\"count\":";
    append_integer(out, static_cast<std::uint64_t>(count));
    out += ",\"length\":" + number(static_cast<double>(last_time) / 1000.0, 3);
    out += ",\"data\":\"" + base64(bytes) + "\"}";
}

void append_member(std::string& out, const char* name, std::string_view value) {
    out += ",\"";
    out += name;
    out += "\":";
    append_json(out, value);
}

/// What the script works with. Inside a script element, '<' must not open a tag: it becomes \u003C.
std::string data_of(const Page& page) {
    std::string out = "{\"units\":";
    out += page.units == UnitSystem::us ? "\"us\"" : "\"si\"";
    append_member(out, "goodName", page.good_name);
    append_member(out, "badName", page.bad_name);
    out += ",\"shift\":" + number(page.shift, 3) + ",\"marks\":[";
    for (std::size_t i = 0; i < page.marks.size(); ++i) {
        out += i == 0 ? "{" : ",{";
        out += "\"time\":" + number(page.marks[i].time, 6);
        append_member(out, "text", page.marks[i].text);
        out += "}";
    }
    out += "],\"first\":[";
    for (std::size_t i = 0; i < page.first.size(); ++i) {
        out += i == 0 ? "" : ",";
        append_json(out, page.first[i]);
    }
    out += "],\"suspects\":[";
    for (std::size_t i = 0; i < page.leads.size(); ++i) {
        out += i == 0 ? "{" : ",{";
        out += "\"start\":" + number(page.leads[i].start, 6);
        out += ",\"end\":" + number(page.leads[i].end, 6) + ",\"spans\":[";
        for (std::size_t j = 0; j < page.leads[i].spans.size(); ++j)
            out += (j == 0 ? "[" : ",[") + number(page.leads[i].spans[j].start, 6) + "," +
                   number(page.leads[i].spans[j].end, 6) + "]";
        out += "]";
        append_member(out, "signal", page.leads[i].signal);
        out += "}";
    }
    out += "],\"signals\":[";
    for (std::size_t i = 0; i < page.signals.size(); ++i) {
        const Signal& signal = page.signals[i];
        const UnitInfo& unit = info(signal.unit);
        out += i == 0 ? "{" : ",\n{";
        out += "\"decimals\":";
        append_integer(out, static_cast<std::uint64_t>(std::min(signal.decimals, 9U)));
        out += ",\"gap\":" + number(signal.gap, 3);
        append_member(out, "key", signal.key);
        append_member(out, "ecu", signal.ecu);
        append_member(out, "name", signal.name);
        append_member(out, "unit", shown(signal.unit, 0, 0, UnitSystem::si, signal.own_unit).text);
        if (!unit.us_text.empty()) {
            out += ",\"us\":{\"factor\":" + number(unit.us_factor, 9) +
                   ",\"offset\":" + number(unit.us_offset, 9);
            append_member(out, "unit", unit.us_text);
            out += "}";
        }
        append_samples(out, "good", signal.good, signal.step);
        append_samples(out, "bad", signal.bad, signal.step);
        append_samples(out, "expected", signal.expected, signal.step);
        out += "}";
    }
    out += "]}";
    std::string safe;
    safe.reserve(out.size());
    for (const char c : out) {
        if (c == '<')
            safe += "\\u003C";
        else
            safe.push_back(c);
    }
    return safe;
}

/// Where a figure for paper lies: viewBox 720 by 170, the plot inside it.
struct Frame {
    double from, to, least, most;
    static constexpr double left = 52, right = 712, top = 8, bottom = 146;
    double x(double time) const { return left + (time - from) / (to - from) * (right - left); }
    double y(double value) const {
        return bottom - (value - least) / (most - least) * (bottom - top);
    }
};

/// A line for paper: broken at gaps, thinned to the least and the most of each column.
void append_line(std::string& out, const Frame& frame, const Signal& signal, const Samples& samples,
                 double shift, const char* name, const char* more) {
    std::string path;
    double last_time = -std::numeric_limits<double>::infinity();
    double column = -1;
    double column_least = 0;
    double column_most = 0;
    bool open = false;
    const auto point = [&](double x, double value) {
        path += open ? 'L' : 'M';
        path += number(x, 1) + " " + number(frame.y(value), 1);
        open = true;
    };
    const auto flush = [&] {
        if (column < 0)
            return;
        point(column, column_least);
        if (column_most > column_least)
            point(column, column_most);
        column = -1;
    };
    for (std::size_t i = 0; i < samples.time.size() && i < samples.value.size(); ++i) {
        const double time = samples.time[i] + shift;
        if (time < frame.from || time > frame.to || !std::isfinite(samples.value[i]))
            continue;
        if (time - last_time > signal.gap) {
            flush();
            open = false;
        }
        last_time = time;
        const double x = std::floor(frame.x(time));
        if (x == column) {
            column_least = std::min(column_least, samples.value[i]);
            column_most = std::max(column_most, samples.value[i]);
        } else {
            flush();
            column = x;
            column_least = column_most = samples.value[i];
        }
    }
    flush();
    if (!path.empty())
        out += "<path class=\"" + std::string(name) + "\" fill=\"none\" stroke-width=\"1.2\"" +
               more + " d=\"" + path + "\"/>";
}

void append_label(std::string& out, double x, double y, const char* anchor, std::string_view text) {
    out += "<text x=\"" + number(x, 1) + "\" y=\"" + number(y, 1) + "\" text-anchor=\"" + anchor +
           "\">" + escaped(text) + "</text>";
}

/// A departure as a picture that needs no script, for paper and for readers without scripts.
void append_still(std::string& out, const Page& page, const Lead& lead, const Signal& signal) {
    const double around = std::max(10.0, (lead.end - lead.start) * 1.5);
    Frame frame{lead.start - around, lead.end + around, 0, 0};
    const UnitInfo& unit = info(signal.unit);
    const bool us = page.units == UnitSystem::us && !unit.us_text.empty();
    const auto text = telltale::shown(signal.unit, 0, 0, page.units, signal.own_unit).text;
    const auto shown = [&](double value) {
        return number(us ? value * unit.us_factor + unit.us_offset : value, signal.decimals);
    };
    frame.least = std::numeric_limits<double>::infinity();
    frame.most = -frame.least;
    const auto cover = [&](const Samples& samples, double shift) {
        for (std::size_t i = 0; i < samples.time.size() && i < samples.value.size(); ++i) {
            const double time = samples.time[i] + shift;
            if (time >= frame.from && time <= frame.to && std::isfinite(samples.value[i])) {
                frame.least = std::min(frame.least, samples.value[i]);
                frame.most = std::max(frame.most, samples.value[i]);
            }
        }
    };
    cover(signal.bad, 0);
    cover(signal.good, page.shift);
    cover(signal.expected, 0);
    if (!(frame.least <= frame.most))
        return;
    const double room = std::max((frame.most - frame.least) * 0.06, signal.step * 0.5 + 1e-9);
    frame.least -= room;
    frame.most += room;

    out += "<figure><svg viewBox=\"0 0 720 170\" role=\"img\" aria-label=\"" + escaped(lead.name) +
           "\"><rect class=\"frame\" fill=\"none\" x=\"52\" y=\"8\" width=\"660\" height=\"138\"/>";
    for (const Span& span : lead.spans) {
        const double shade = std::max(frame.x(span.end) - frame.x(span.start), 2.0);
        out += "<rect class=\"shade\" y=\"8\" height=\"138\" x=\"" +
               number(frame.x(span.start), 1) + "\" width=\"" + number(shade, 1) + "\"/>";
    }
    append_line(out, frame, signal, signal.good, page.shift, "good", "");
    append_line(out, frame, signal, signal.expected, 0, "expected", " stroke-dasharray=\"4 3\"");
    append_line(out, frame, signal, signal.bad, 0, "bad", "");
    append_label(out, 46, 18, "end", shown(frame.most - room));
    append_label(out, 46, 146, "end", shown(frame.least + room));
    append_label(out, 52, 162, "start", moment(frame.from));
    append_label(out, 712, 162, "end", moment(frame.to));
    out += "</svg><figcaption><b>" + escaped(lead.name) + "</b> (" + escaped(lead.ecu) + ")" +
           (text.empty() ? "" : ", " + escaped(text)) + ": " + escaped(lead.sentence) +
           " Lines: " + escaped(page.bad_name) + " red, " + escaped(page.good_name) +
           " green, expected dashed.</figcaption></figure>\n";
}

const Signal* signal_of(const Page& page, const std::string& key) {
    for (const Signal& signal : page.signals)
        if (signal.key == key)
            return &signal;
    return nullptr;
}

std::string stills(const Page& page) {
    constexpr std::size_t at_most = 6;
    std::string out;
    for (std::size_t i = 0; i < page.leads.size() && i < at_most; ++i)
        if (const Signal* signal = signal_of(page, page.leads[i].signal))
            append_still(out, page, page.leads[i], *signal);
    return out.empty() ? "<p>No departure to show.</p>" : out;
}

std::string leads(const Page& page) {
    std::string out;
    for (const Lead& lead : page.leads) {
        out += lead.follows ? "<li class=\"follows\"><b>" : "<li><b>";
        out += escaped(lead.name) + "</b><small>" + escaped(lead.ecu) + ", " + moment(lead.start) +
               " to " + moment(lead.end) + (lead.follows ? ", after another" : "") + "</small><p>" +
               escaped(lead.sentence) +
               "</p><button type=\"button\" class=\"show\">Show it</button></li>";
    }
    return out.empty()
               ? "<li><b>None found</b><small>The notes say what could have been seen.</small>"
                 "</li>"
               : out;
}

std::string table(const Page& page) {
    if (page.leads.empty())
        return "<p>No signal left its course.</p>";
    std::string out = "<table><thead><tr><th>Signal</th><th>From, to</th><th class=\"n\">Peak "
                      "difference</th><th class=\"n\">Score</th><th>Evidence and the test that "
                      "would prove it</th></tr></thead><tbody>";
    for (const Lead& lead : page.leads) {
        out += "<tr><td>" + escaped(lead.name) + "<br><span class=\"soft\">" + escaped(lead.ecu) +
               "</span></td><td>" + moment(lead.start) + "<br>" + moment(lead.end) +
               "</td><td class=\"n\">" + escaped(lead.peak) + "</td><td class=\"n\">" +
               number(lead.score, 1) + "</td><td>" + escaped(lead.sentence) + " " +
               escaped(lead.meanwhile) + " <em>" + escaped(lead.test) + "</em></td></tr>";
    }
    return out + "</tbody></table>";
}

std::string notes(const Page& page) {
    std::string out = "<ul>";
    for (const std::string& note : page.notes)
        out += "<li>" + escaped(note) + "</li>";
    return out + "</ul>";
}

/// Plain text keeps its lines.
std::string preformatted(std::string_view text) {
    std::string out = "<pre>";
    while (!text.empty()) {
        const std::size_t end = text.find('\n');
        out += escaped(text.substr(0, end));
        out += '\n';
        text.remove_prefix(end == std::string_view::npos ? text.size() : end + 1);
    }
    return out + "</pre>";
}

} // namespace

Result<std::string> render(const Page& page) {
    if (plot_js().empty())
        return fail(ErrorCode::bad_argument,
                    "this program was built without its plotting library; install npm and build "
                    "again to have pages");
    struct Slot {
        std::string_view name;
        std::string text;
    };
    const std::array<Slot, 17> slots{{
        {"@VERSION@", TELLTALE_VERSION_STRING},
        {"@TITLE@", escaped(page.title)},
        {"@VERDICT@", escaped(page.verdict)},
        {"@FILES@", escaped(page.files)},
        {"@GOODNAME@", escaped(page.good_name)},
        {"@BADNAME@", escaped(page.bad_name)},
        {"@CAUTION@", escaped(page.caution)},
        {"@LEADS@", leads(page)},
        {"@STILLS@", stills(page)},
        {"@TABLE@", table(page)},
        {"@NOTES@", notes(page)},
        {"@REPORT@", preformatted(page.report)},
        {"@DATA@", data_of(page)},
        {"@CSS@", std::string(plot_css()) + std::string(css())},
        {"@LICENCE@", std::string(plot_licence())},
        {"@PLOT@", std::string(plot_js())},
        {"@JS@", std::string(js())},
    }};
    std::string out;
    std::string_view rest = html();
    // Slots are looked for in the template alone, so nothing that is put in can open another.
    while (!rest.empty()) {
        const std::size_t at = rest.find('@');
        out += rest.substr(0, at);
        if (at == std::string_view::npos)
            break;
        rest.remove_prefix(at);
        const auto slot = std::find_if(slots.begin(), slots.end(), [&](const Slot& candidate) {
            return rest.substr(0, candidate.name.size()) == candidate.name;
        });
        if (slot == slots.end()) {
            out += '@';
            rest.remove_prefix(1);
        } else {
            out += slot->text;
            rest.remove_prefix(slot->name.size());
        }
    }
    return out;
}

} // namespace telltale::page
