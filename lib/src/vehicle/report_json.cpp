// SPDX-License-Identifier: Apache-2.0
// The report for programs. examples/telltale/CONTRACT.md describes it.
#include "describe.hpp"
#include "json.hpp"
#include "telltale/catalogue/catalogue.hpp"
#include "telltale/vehicle/report.hpp"
#include "telltale/vehicle/vin.hpp"

namespace telltale::vehicle {

namespace {

class JsonReport {
  public:
    JsonReport(std::string& out, const Picture& picture, const ReportOptions& options)
        : json_(out), picture_(picture), options_(options) {}

    void write() {
        json_.open('{');
        json_.key("file").text_or_null(options_.source);
        json_.key("format").text_or_null(options_.format);
        json_.key("start").time(picture_.first_time());
        json_.key("end").time(picture_.last_time());
        json_.key("vin");
        vin(picture_.vin());
        json_.key("ecus").open('[');
        for (const auto* each : picture_.ecus())
            ecu(*each);
        json_.close(']');
        json_.key("conversation");
        conversation();
        sanity();
        json_.key("not_kept").whole(picture_.not_kept().all());
        json_.key("cautions").open('[');
        for (const auto& text : cautions(picture_))
            json_.text(text);
        json_.close(']');
        json_.close('}');
    }

  private:
    void vin(std::string_view text) {
        if (text.empty())
            return json_.null();
        json_.open('{');
        json_.key("text").text(text);
        json_.key("check_digit").text(word(check_vin(text)));
        json_.close('}');
    }

    void id(std::uint16_t value) { json_.key("id").text(hex_text(value, value < 256 ? 2 : 4)); }

    /// The keys value, unit, text.
    void reading(const Reading& reading) {
        json_.open('{');
        id(reading.key.id);
        json_.key("name").text(reading.name);
        if (reading.is_number) {
            const auto how = shown(reading.unit, reading.step, reading.decimals, options_.units,
                                   reading.own_unit);
            json_.key("value").number(how(reading.number), how.converted);
            json_.key("unit").text(how.ucum);
            json_.key("text").null();
        } else {
            json_.key("value").null();
            json_.key("unit").null();
            json_.key("text").text(reading.text);
        }
        json_.key("time").time(reading.time);
        note(reading.note);
        json_.close('}');
    }

    void note(std::string_view text) {
        if (!text.empty())
            json_.key("note").text(text);
    }

    void ecu(const Ecu& ecu) {
        json_.open('{');
        json_.key("line").text_or_null(ecu.line_name);
        json_.key("id").text_or_null(id_text(ecu));
        json_.key("messages").whole(ecu.messages);
        json_.key("vin");
        vin(ecu.vin());
        json_.key("information").open('[');
        for (const auto& [type, readings] : ecu.information)
            for (const auto& each : readings)
                reading(each);
        json_.close(']');
        lamp(ecu);
        json_.key("codes").open('{');
        list("stored", ecu.stored);
        list("pending", ecu.pending);
        list("permanent", ecu.permanent);
        json_.close('}');
        json_.key("clears").whole(ecu.clears);
        json_.key("freeze_frames").open('[');
        for (const auto& [number, frame] : ecu.freeze_frames)
            freeze_frame(frame);
        json_.close(']');
        json_.key("readiness").open('{');
        readiness("since_clear", ecu.since_clear);
        readiness("this_cycle", ecu.this_cycle);
        json_.close('}');
        json_.key("tests").open('[');
        for (const auto& [key, test] : ecu.tests)
            result(key, test);
        json_.close(']');
        json_.key("values").open('[');
        for (const auto& [key, signal] : ecu.signals)
            if (!options_.wanted || options_.wanted(ecu, key, signal))
                value(key, signal);
        json_.close(']');
        pids("supported", ecu.supported);
        pids("never_answered", ecu.never_answered());
        json_.key("refusals").open('[');
        for (const auto& [refusal, count] : ecu.refusals) {
            json_.open('{');
            json_.key("service").text(hex_text(refusal.service, 2));
            json_.key("code").text(hex_text(refusal.code, 2));
            const auto* name = catalogue::negative_code(refusal.code);
            json_.key("text").text(name != nullptr ? name->name : "reserved");
            json_.key("count").whole(count);
            json_.close('}');
        }
        json_.close(']');
        json_.key("pending_responses").whole(ecu.pending_responses);
        json_.key("problems").whole(ecu.problems);
        delays(ecu.delays);
        json_.close('}');
    }

    void lamp(const Ecu& ecu) {
        json_.key("mil");
        if (!ecu.mil)
            return json_.null();
        json_.open('{');
        json_.key("on").boolean(*ecu.mil);
        json_.key("count");
        if (ecu.code_count)
            json_.whole(*ecu.code_count);
        else
            json_.null();
        json_.key("changes").whole(ecu.mil_changes);
        json_.key("since").time(ecu.mil_time);
        json_.close('}');
    }

    void list(std::string_view key, const CodeList& list) {
        json_.key(key);
        if (!list.heard)
            return json_.null();
        json_.open('{');
        json_.key("time").time(list.time);
        json_.key("dtcs").open('[');
        for (const auto& code : list.codes)
            json_.text(code.text());
        json_.close(']');
        json_.key("meanings").open('[');
        for (const auto& code : list.codes) {
            json_.open('{');
            json_.key("authority").text(authority_word(code.dtc));
            json_.key("group").text(message::group(code.dtc));
            json_.key("text").text_or_null(code_meaning(code, options_.extension));
            json_.close('}');
        }
        json_.close(']');
        json_.key("left_out").whole(list.left_out);
        json_.key("changes").open('[');
        for (const auto& change : list.changes) {
            json_.open('{');
            json_.key("dtc").text(change.code.text());
            json_.key("change").text(change.came ? "came" : "went");
            json_.key("time").time(change.time);
            json_.close('}');
        }
        json_.close(']');
        json_.close('}');
    }

    void freeze_frame(const FreezeFrame& frame) {
        json_.open('{');
        json_.key("frame").whole(frame.number);
        json_.key("dtc");
        if (frame.code && frame.code->dtc.raw != 0)
            json_.text(frame.code->text());
        else
            json_.null();
        json_.key("values").open('[');
        for (const auto& [key, each] : frame.values)
            reading(each);
        json_.close(']');
        json_.close('}');
    }

    void readiness(std::string_view key, const Readiness& readiness) {
        json_.key(key);
        if (!readiness.heard)
            return json_.null();
        json_.open('{');
        json_.key("ignition").text_or_null(readiness.ignition);
        json_.key("incomplete").whole(readiness.incomplete());
        json_.key("monitors").open('[');
        for (const auto& [place, monitor] : readiness.monitors) {
            json_.open('{');
            json_.key("name").text(monitor.name);
            json_.key("complete").boolean(monitor.complete);
            json_.key("time").time(monitor.time);
            if (monitor.completed_at)
                json_.key("completed_at").time(*monitor.completed_at);
            json_.close('}');
        }
        json_.close(']');
        json_.close('}');
    }

    void result(const TestKey& key, const TestResult& test) {
        const auto how = shown(test.unit, test.step, test.decimals, options_.units);
        json_.open('{');
        id(key.monitor);
        json_.key("test").text(hex_text(key.test, 2));
        json_.key("name").text(test.name);
        json_.key("value").number(how(test.value), how.converted);
        json_.key("low").number(how(test.low), how.converted);
        json_.key("high").number(how(test.high), how.converted);
        json_.key("unit").text(how.ucum);
        json_.key("passed").boolean(test.passed);
        json_.key("count").whole(test.count);
        json_.key("failures").whole(test.failures);
        json_.key("time").time(test.time);
        note(test.note);
        json_.close('}');
    }

    void value(const SignalKey& key, const Signal& signal) {
        json_.open('{');
        json_.key("service").text(hex_text(key.service, 2));
        id(key.id);
        json_.key("name").text(signal.name);
        if (!signal.key.empty())
            json_.key("short").text(signal.key);
        json_.key("count").whole(signal.count);
        json_.key("rate").number(signal.rate(), true);
        if (signal.is_number) {
            const auto how =
                shown(signal.unit, signal.step, signal.decimals, options_.units, signal.own_unit);
            json_.key("unit").text(how.ucum);
            json_.key("min").number(how(signal.min), how.converted);
            json_.key("mean").number(how(signal.mean), true);
            json_.key("max").number(how(signal.max), how.converted);
            json_.key("first").number(how(signal.first), how.converted);
            json_.key("last").number(how(signal.last), how.converted);
        } else {
            json_.key("text").text(signal.text);
            json_.key("changes").whole(signal.changes);
        }
        note(signal.note);
        json_.close('}');
    }

    void pids(std::string_view key, const std::bitset<256>& set) {
        json_.key(key).open('[');
        for (unsigned i = 0; i < 256; ++i)
            if (set[i])
                json_.text(hex_text(i, 2));
        json_.close(']');
    }

    void delays(const Delays& delays) {
        json_.key("response_ms");
        if (delays.count() == 0)
            return json_.null();
        const auto milliseconds = [](Time time) {
            return static_cast<double>(time) / static_cast<double>(nanoseconds_a_millisecond);
        };
        json_.open('{');
        json_.key("count").whole(delays.count());
        json_.key("min").number(milliseconds(delays.min()));
        json_.key("median").number(milliseconds(delays.median()));
        json_.key("mean").number(milliseconds(delays.mean()));
        json_.key("max").number(milliseconds(delays.max()));
        json_.close('}');
    }

    void sanity() {
        SanityOptions options;
        options.off = options_.rules_off;
        options.units = options_.units;
        json_.key("sanity").open('[');
        for (const auto& finding : check(picture_, options)) {
            json_.open('{');
            json_.key("rule").text(word(finding.rule));
            json_.key("ecu").text_or_null(id_text(*finding.ecu));
            json_.key("id");
            if (finding.pid)
                json_.text(hex_text(*finding.pid, 2));
            else
                json_.null();
            json_.key("sentence").text(finding.sentence);
            json_.key("basis").text(basis(finding.rule));
            json_.close('}');
        }
        json_.close(']');
    }

    void conversation() {
        const auto& talk = picture_.conversation();
        json_.open('{');
        json_.key("requests").whole(talk.requests);
        json_.key("unanswered").whole(talk.unanswered);
        json_.key("open_at_end").whole(talk.open_at_end);
        json_.key("unanswered_by").open('[');
        for (const auto& [key, count] : talk.unanswered_by) {
            json_.open('{');
            json_.key("service").text(hex_text(key >> 16, 2));
            json_.key("id");
            if ((key & 0xFFFFU) == 0xFFFF)
                json_.null();
            else
                json_.text(hex_text(key & 0xFFFFU, key >> 16 == 0x22 ? 4 : 2));
            json_.key("count").whole(count);
            json_.close('}');
        }
        json_.close(']');
        json_.key("responses").whole(talk.responses);
        json_.key("unexpected").whole(talk.unexpected);
        json_.key("refused").whole(talk.refused);
        json_.key("pending").whole(talk.pending);
        json_.key("problems").open('{');
        for (std::size_t i = 0; i < talk.problems.size(); ++i)
            if (talk.problems[i] != 0)
                json_.key(telltale::word(static_cast<ProblemCode>(i))).whole(talk.problems[i]);
        json_.close('}');
        json_.close('}');
    }

    Json json_;
    const Picture& picture_;
    const ReportOptions& options_;
};

} // namespace

void append_report_json(std::string& out, const Picture& picture, const ReportOptions& options) {
    JsonReport(out, picture, options).write();
    out += '\n';
}

} // namespace telltale::vehicle
