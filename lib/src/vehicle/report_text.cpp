// SPDX-License-Identifier: Apache-2.0
#include <algorithm>

#include "describe.hpp"
#include "page.hpp"
#include "telltale/catalogue/catalogue.hpp"
#include "telltale/vehicle/report.hpp"
#include "telltale/vehicle/vin.hpp"

namespace telltale::vehicle {

namespace {

void append_two(std::string& out, int number) {
    out += static_cast<char>('0' + number / 10 % 10);
    out += static_cast<char>('0' + number % 10);
}

/// Days since 1970-01-01 to year, month and day of the Gregorian calendar, by counting from
/// 0000-03-01, so that the leap day ends a year.
void append_date(std::string& out, std::int64_t days) {
    const std::int64_t from_march = days + 719'468;
    const std::int64_t era = from_march / 146'097;
    const auto day_of_era = static_cast<int>(from_march % 146'097);
    const int year_of_era =
        (day_of_era - day_of_era / 1460 + day_of_era / 36'524 - day_of_era / 146'096) / 365;
    const int day_of_year = day_of_era - (365 * year_of_era + year_of_era / 4 - year_of_era / 100);
    const int march_month = (5 * day_of_year + 2) / 153;
    const int day = day_of_year - (153 * march_month + 2) / 5 + 1;
    const int month = march_month < 10 ? march_month + 3 : march_month - 9;
    const std::int64_t year = era * 400 + year_of_era + (month <= 2 ? 1 : 0);
    append_integer(out, year);
    out += '-';
    append_two(out, month);
    out += '-';
    append_two(out, day);
}

constexpr std::int64_t seconds_a_day = 86'400;
constexpr Time year_1990 = 631'152'000 * nanoseconds_a_second;

/// Writes one report.
class TextReport {
  public:
    TextReport(std::string& out, const Picture& picture, const ReportOptions& options)
        : page_(out), picture_(picture), options_(options) {}

    void write() {
        head();
        page_.heading("CAUTIONS");
        for (const auto& text : cautions(picture_))
            page_.paragraph("- " + text, 2, 2);
        for (const auto* ecu : picture_.ecus())
            write_ecu(*ecu);
        sanity();
        conversation();
    }

  private:
    static constexpr std::size_t name_width = 30;
    static constexpr std::size_t test_width = 31;

    Shown how(Unit unit, double step, unsigned decimals, std::string_view own_unit = {}) const {
        return shown(unit, step, decimals, options_.units, own_unit);
    }

    /// Seconds from the first message, "+12.345 s"; empty where the dump has no times.
    std::string since_start(Time time) const {
        if (time == no_time || picture_.first_time() == no_time)
            return {};
        const double seconds = static_cast<double>(time - picture_.first_time()) /
                               static_cast<double>(nanoseconds_a_second);
        return "+" + number_text(seconds, 3) + " s";
    }
    std::string at(std::string_view front, Time time) const {
        const auto text = since_start(time);
        return text.empty() ? text : std::string(front) + text;
    }

    void head() {
        page_.line("WHAT THE VEHICLE SAID");
        if (!options_.source.empty()) {
            std::string text = plain(options_.source);
            if (!options_.format.empty()) {
                text += " (" + plain(options_.format);
                if (options_.frames != 0)
                    text += ", " + whole_text(options_.frames) + " frames";
                text += ')';
            }
            page_.item("Dump", text);
        }
        std::string text;
        if (picture_.first_time() == no_time) {
            text = "without times";
        } else {
            append_moment(text, picture_.first_time());
            text += ", ";
            text += number_text(static_cast<double>(picture_.last_time() - picture_.first_time()) /
                                    static_cast<double>(nanoseconds_a_second),
                                1);
            text += " s; moments below count from its first message";
        }
        page_.item("Recorded", text);
        page_.item("Vehicle", vehicle());
        if (picture_.ecus().empty())
            page_.item("ECUs", "none answered");
    }

    std::string vehicle() const {
        const auto vin = picture_.vin();
        return vin.empty() ? std::string("VIN not read") : "VIN " + vin_text(vin);
    }

    static std::string vin_text(std::string_view vin) {
        std::string text = plain(vin);
        switch (check_vin(vin)) {
        case VinCheck::right:
            text += ", check digit right";
            break;
        case VinCheck::wrong:
            text += ", check digit does not fit (49 CFR 565.15). Compare with the plate; outside "
                    "North America position 9 need not be a check digit";
            break;
        case VinCheck::not_a_vin:
            text += ", not a VIN: not 17 of the characters that one may have";
            break;
        }
        return text;
    }

    void write_ecu(const Ecu& ecu) {
        std::string title = "ECU";
        if (ecu.has_id)
            title += " " + id_text(ecu);
        if (!ecu.line_name.empty())
            title += " on " + plain(ecu.line_name);
        page_.heading(title);
        identification(ecu);
        codes(ecu);
        readiness("Since clear", ecu.since_clear);
        readiness("This cycle", ecu.this_cycle);
        freeze_frames(ecu);
        tests(ecu);
        signals(ecu);
        never_answered(ecu);
    }

    void identification(const Ecu& ecu) {
        for (const auto& [type, readings] : ecu.information) {
            std::string label = "Information " + hex_text(type, 2);
            for (const auto& reading : readings) {
                if (type == 0x02 && !reading.is_number) {
                    page_.item("VIN", vin_text(reading.text));
                    continue;
                }
                std::string text = plain(reading.name) + ": ";
                text += reading.is_number
                            ? quantity_text(reading.number, how(reading.unit, reading.step,
                                                                reading.decimals, reading.own_unit))
                            : plain(reading.text);
                if (!reading.note.empty())
                    text += " [" + plain(reading.note) + "]";
                page_.item(label, text);
                label.clear();
            }
        }
    }

    void codes(const Ecu& ecu) {
        if (ecu.mil) {
            std::string text = *ecu.mil ? "ON" : "off";
            if (ecu.mil_changes != 0)
                text += at(", changed at ", ecu.mil_time);
            if (ecu.code_count)
                text += "; " + whole_text(*ecu.code_count) +
                        (*ecu.code_count == 1 ? " confirmed code" : " confirmed codes");
            page_.item("Lamp (MIL)", text);
        }
        list("Stored codes", ecu.stored);
        list("Pending codes", ecu.pending);
        list("Permanent codes", ecu.permanent);
        if (ecu.code_count && ecu.stored.heard &&
            *ecu.code_count != ecu.stored.codes.size() + ecu.stored.left_out)
            page_.item("", "PID 01 counts " + whole_text(*ecu.code_count) +
                               " codes where service 03 lists " +
                               whole_text(ecu.stored.codes.size() + ecu.stored.left_out));
        if (ecu.clears != 0)
            page_.item("Cleared", "during this recording, " + whole_text(ecu.clears) +
                                      (ecu.clears == 1 ? " time" : " times") +
                                      at(", last at ", ecu.cleared_time));
    }

    void list(std::string_view label, const CodeList& list) {
        if (!list.heard) {
            if (list.incomplete != 0)
                page_.item(label, "the answer was damaged: read again");
            return;
        }
        if (list.codes.empty())
            page_.item(label, "none");
        std::string_view front = label;
        for (const auto& code : list.codes) {
            std::string text = code.text();
            text += "  ";
            if (const auto meaning = code_meaning(code, options_.extension); !meaning.empty()) {
                text += meaning;
            } else {
                text += message::group(code.dtc);
                text += " (";
                text += authority_word(code.dtc);
                text += "'s code: see the service information)";
            }
            page_.item(front, text);
            front = "";
        }
        if (list.left_out != 0)
            page_.item("", "and " + whole_text(list.left_out) + " more");
        for (const auto& change : list.changes) {
            std::string text = change.code.text() + (change.came ? " came" : " went");
            page_.item("", text + at(" at ", change.time));
        }
    }

    void readiness(std::string_view label, const Readiness& readiness) {
        if (!readiness.heard)
            return;
        const auto open = readiness.incomplete();
        std::string text = whole_text(readiness.monitors.size() - open) + " of " +
                           whole_text(readiness.monitors.size()) + " monitors complete";
        if (open != 0)
            text += "; not complete: ";
        const char* between = "";
        for (const auto& [key, monitor] : readiness.monitors) {
            if (monitor.complete)
                continue;
            text += between;
            text += plain(monitor.name);
            between = ", ";
        }
        for (const auto& [key, monitor] : readiness.monitors)
            if (monitor.completed_at) {
                text += "; " + plain(monitor.name) + " completed";
                text += at(" at ", *monitor.completed_at);
            }
        page_.item(label, text);
    }

    void freeze_frames(const Ecu& ecu) {
        for (const auto& [frame_key, frame] : ecu.freeze_frames) {
            std::string text = "frame " + whole_text(frame.number);
            if (frame.code && frame.code->dtc.raw == 0)
                text += ": empty";
            else if (frame.code)
                text += ", stored by " + frame.code->text();
            page_.item("Freeze frame", text);
            for (const auto& [key, reading] : frame.values) {
                if (message::same_signal(key.service == 0x19 ? 0x22 : 0x01, key.id).id == 0x02)
                    continue; // the code, which stands above
                std::string value = plain(reading.name) + ": ";
                value += reading.is_number ? quantity_text(reading.number,
                                                           how(reading.unit, reading.step,
                                                               reading.decimals, reading.own_unit))
                                           : plain(reading.text);
                page_.item("", value);
            }
        }
    }

    void tests(const Ecu& ecu) {
        if (ecu.tests.empty())
            return;
        const auto failed = std::count_if(ecu.tests.begin(), ecu.tests.end(),
                                          [](const auto& test) { return !test.second.passed; });
        page_.item("Monitor tests",
                   whole_text(ecu.tests.size() - static_cast<std::size_t>(failed)) + " passed, " +
                       whole_text(static_cast<std::size_t>(failed)) + " FAILED");
        page_.line("  id/test name                             value     low    high");
        for (const auto& [key, test] : ecu.tests) {
            const auto as = how(test.unit, test.step, test.decimals);
            std::string line = "  " + hex_text(key.monitor, key.monitor < 256 ? 2 : 4) + '/' +
                               hex_text(key.test, 2) + ' ';
            line = Page::cell(line, 10);
            const auto name = plain(test.name);
            std::string numbers;
            for (const double number : {test.value, test.low, test.high})
                numbers += Page::right(number_text(as(number), as.decimals), 8);
            numbers += ' ' + Page::cell(as.text, 5) + (test.passed ? " ok" : " FAILED");
            if (Page::columns(name) > test_width || Page::columns(numbers) > 37) {
                std::string wrapped;
                Page(wrapped).paragraph(line + name, 0, 10);
                wrapped.pop_back();
                page_.line(wrapped);
                page_.line(std::string(10 + test_width, ' ') + numbers);
            } else {
                line += Page::cell(name, test_width);
                line += numbers;
                page_.line(line);
            }
            std::string more = plain(test.note);
            if (test.failures != 0 && test.count > 1)
                more += (more.empty() ? "failed " : "; failed ") + whole_text(test.failures) +
                        " of " + whole_text(test.count) + " times";
            if (!more.empty())
                page_.paragraph(more, 10, 0);
        }
    }

    void signals(const Ecu& ecu) {
        const auto wanted = [&](const SignalKey& key, const Signal& signal) {
            return !options_.wanted || options_.wanted(ecu, key, signal);
        };
        const auto numbers =
            std::count_if(ecu.signals.begin(), ecu.signals.end(), [&](const auto& signal) {
                return signal.second.is_number && wanted(signal.first, signal.second);
            });
        if (numbers != 0)
            page_.line("  value                          unit        min     mean      max   "
                       "count a sec");
        for (const auto& [key, signal] : ecu.signals) {
            if (!signal.is_number || !wanted(key, signal))
                continue;
            const auto as = how(signal.unit, signal.step, signal.decimals, signal.own_unit);
            auto name = plain(signal.name);
            // A unit in plain words may be too long for its column.
            const bool wide = !signal.own_unit.empty() && Page::columns(as.text) > 6;
            if (wide)
                name += " (" + plain(as.text) + ")";
            std::string numbers_line = Page::cell(wide ? std::string_view{} : as.text, 6);
            for (const double number : {signal.min, signal.mean, signal.max})
                numbers_line += Page::right(number_text(as(number), as.decimals), 9);
            numbers_line += Page::right(whole_text(signal.count), 8);
            numbers_line +=
                Page::right(signal.rate() == 0 ? "-" : number_text(signal.rate(), 1), 6);
            if (Page::columns(name) > name_width || Page::columns(numbers_line) > 47) {
                page_.line("  " + name);
                page_.line(std::string(33, ' ') + numbers_line);
            } else {
                page_.line("  " + Page::cell(name, name_width) + ' ' + numbers_line);
            }
            if (!signal.note.empty())
                page_.paragraph(plain(signal.note), 4, 0);
        }
        for (const auto& [key, signal] : ecu.signals) {
            if (signal.is_number || !wanted(key, signal))
                continue;
            std::string text = plain(signal.name) + ": " + plain(signal.text);
            if (signal.changes != 0)
                text += " at last, after " + whole_text(signal.changes) +
                        (signal.changes == 1 ? " change" : " changes");
            if (!signal.note.empty())
                text += " [" + plain(signal.note) + "]";
            page_.paragraph(text, 2, 2);
        }
    }

    void never_answered(const Ecu& ecu) {
        const auto missing = ecu.never_answered();
        if (missing.none())
            return;
        std::string text = "supported and asked for:";
        for (unsigned id = 0; id < 256; ++id)
            if (missing[id])
                text += " " + hex_text(id, 2);
        page_.item("Never answered", text);
    }

    void sanity() {
        SanityOptions options;
        options.off = options_.rules_off;
        options.units = options_.units;
        if (options.off.all())
            return;
        const auto findings = check(picture_, options);
        page_.heading("WORTH A SECOND LOOK");
        if (findings.empty())
            page_.paragraph("Nothing, by the rules of thumb that apply to this recording.", 2, 0);
        std::bitset<rules> told;
        for (const auto& finding : findings) {
            std::string text = id_text(*finding.ecu);
            text += text.empty() ? "" : ": ";
            page_.paragraph("- " + text + plain(finding.sentence), 2, 2);
            told.set(static_cast<std::size_t>(finding.rule));
        }
        for (std::size_t i = 0; i < rules; ++i)
            if (told[i])
                page_.paragraph("[" + std::string(word(static_cast<Rule>(i))) + "] " +
                                    std::string(basis(static_cast<Rule>(i))) + ".",
                                4, 2);
    }

    static std::string milliseconds(Time time) {
        return number_text(
            static_cast<double>(time) / static_cast<double>(nanoseconds_a_millisecond), 1);
    }

    void conversation() {
        const auto& talk = picture_.conversation();
        page_.heading("CONVERSATION");
        std::string text =
            whole_text(talk.requests) + ", " + whole_text(talk.unanswered) + " of them unanswered";
        if (talk.open_at_end != 0)
            text += " and " + whole_text(talk.open_at_end) + " still open at the end";
        const char* between = ": ";
        for (const auto& [key, count] : talk.unanswered_by) {
            text += between + hex_text(key >> 16, 2);
            if ((key & 0xFFFFU) != 0xFFFF)
                text += ' ' + hex_text(key & 0xFFFFU, key >> 16 == 0x22 ? 4 : 2);
            text += " (" + whole_text(count) + ")";
            between = ", ";
        }
        page_.item("Requests", talk.requests == 0 ? "none in this dump" : text);
        text = whole_text(talk.responses) + ", " + whole_text(talk.refused) + " of them refusals";
        if (talk.pending != 0)
            text += ", " + whole_text(talk.pending) + " \"response pending\"";
        if (talk.unexpected != 0)
            text += "; " + whole_text(talk.unexpected) + " fit no request here";
        page_.item("Responses", text);
        for (const auto* ecu : picture_.ecus())
            for (const auto& [refusal, count] : ecu->refusals) {
                const auto* name = catalogue::negative_code(refusal.code);
                std::string line = id_text(*ecu) + (ecu->has_id ? " " : "");
                line += "service " + hex_text(refusal.service, 2) + ": ";
                line += name != nullptr ? name->name : "reserved";
                line += " (" + hex_text(refusal.code, 2) + "), " + whole_text(count) +
                        (count == 1 ? " time" : " times");
                page_.item("  refused", line);
            }
        for (const auto* ecu : picture_.ecus())
            if (ecu->delays.count() != 0)
                page_.item("Response time", id_text(*ecu) + (ecu->has_id ? " " : "") +
                                                milliseconds(ecu->delays.min()) + " ms at least, " +
                                                milliseconds(ecu->delays.median()) + " median, " +
                                                milliseconds(ecu->delays.mean()) + " mean, " +
                                                milliseconds(ecu->delays.max()) + " at most");
        problems(talk);
        if (picture_.not_kept().all() != 0)
            page_.item("Not kept", whole_text(picture_.not_kept().all()) +
                                       " values, codes or messages were more than this report "
                                       "keeps");
    }

    void problems(const Conversation& talk) {
        if (talk.problem_count == 0) {
            page_.item("Damage", "none found");
            return;
        }
        std::string text =
            whole_text(talk.problem_count) + (talk.problem_count == 1 ? " problem" : " problems");
        const char* between = ": ";
        for (std::size_t i = 0; i < talk.problems.size(); ++i)
            if (talk.problems[i] != 0) {
                text += between + whole_text(talk.problems[i]) + ' ';
                text += telltale::word(static_cast<ProblemCode>(i));
                between = ", ";
            }
        text += ". What was damaged is left out above; `telltale decode` shows each place";
        page_.item("Damage", text);
    }

    Page page_;
    const Picture& picture_;
    const ReportOptions& options_;
};

} // namespace

void append_moment(std::string& out, Time time) {
    if (time == no_time) {
        out += "at an unknown time";
        return;
    }
    if (time < year_1990) {
        append_seconds(out, time);
        out += " s";
        return;
    }
    const std::int64_t seconds = time / nanoseconds_a_second;
    append_date(out, seconds / seconds_a_day);
    const auto of_day = static_cast<int>(seconds % seconds_a_day);
    out += ' ';
    append_two(out, of_day / 3600);
    out += ':';
    append_two(out, of_day / 60 % 60);
    out += ':';
    append_two(out, of_day % 60);
    out += " UTC";
}

void append_report_text(std::string& out, const Picture& picture, const ReportOptions& options) {
    TextReport(out, picture, options).write();
}

} // namespace telltale::vehicle
