// SPDX-License-Identifier: Apache-2.0
#include <array>

#include "describe.hpp"
#include "json.hpp"
#include "page.hpp"
#include "telltale/vehicle/recheck.hpp"

namespace telltale::vehicle {

namespace {

constexpr std::array standing_cautions = {
    std::string_view("Driving that lets monitors run is common practice here; the maker's "
                     "procedure comes first. Keep to the law and to the conditions of the road, "
                     "and let a second person watch the readings."),
    std::string_view("Do not clear codes to pass an inspection: clearing sets every monitor back "
                     "and erases what would help to find the fault."),
    std::string_view("The verdict rests on what the computers said. Check the customer's "
                     "complaint itself as well."),
};

std::string_view direction_word(Direction direction) {
    switch (direction) {
    case Direction::unchanged:
        return "unchanged";
    case Direction::towards_limit:
        return "towards-limit";
    case Direction::from_limit:
        break;
    }
    return "from-limit";
}

class TextWriter {
  public:
    TextWriter(std::string& out, const Recheck& result, const RecheckOptions& options)
        : page_(out), result_(result), options_(options) {}

    void write() {
        page_.line("RECHECK AFTER A REPAIR");
        page_.item("Verdict", std::string(result_.verdict == Verdict::verified ? "REPAIR VERIFIED"
                                          : result_.verdict == Verdict::failed ? "FAILED"
                                                                               : "NOT YET") +
                                  ". " + plain(result_.reason));
        const auto& vin = result_.vin_after.empty() ? result_.vin_before : result_.vin_after;
        page_.item("Vehicle", vin.empty() ? std::string("VIN not read") : "VIN " + plain(vin));
        for (const auto& note : result_.notes)
            page_.item("Note", plain(note));
        codes();
        monitors();
        clearing();
        tests();
        trims();
        page_.heading("CAUTIONS");
        for (const auto text : standing_cautions)
            page_.paragraph("- " + std::string(text), 2, 2);
    }

  private:
    static std::string_view there(bool is) { return is ? "there" : "-"; }

    void codes() {
        page_.heading("CODES");
        if (result_.codes.empty())
            page_.paragraph("None in either recording.", 2, 0);
        else
            page_.line("  ECU      list      code     before after");
        for (const auto& move : result_.codes) {
            std::string line = "  " + Page::cell(move.ecu, 9);
            line += Page::cell(word(move.list), 10);
            line += Page::cell(move.code.text(), 9);
            line += Page::cell(there(move.before), 7);
            line += Page::cell(there(move.after), 5);
            page_.line(line);
            if (const auto meaning = code_meaning(move.code, options_.extension); !meaning.empty())
                page_.paragraph(meaning, 21, 2);
        }
        for (const auto& gap : result_.gaps)
            page_.paragraph(gap.ecu + ": the " + std::string(word(gap.list)) +
                                " codes are in BEFORE and not in AFTER.",
                            2, 2);
    }

    static std::string_view state(const std::optional<bool>& complete) {
        return !complete ? "not told" : *complete ? "complete" : "open";
    }

    void monitors() {
        page_.heading("MONITORS SINCE CLEAR");
        if (result_.monitors.empty())
            page_.paragraph("Not told in either recording.", 2, 0);
        else
            page_.line("  ECU      before    after     monitor");
        for (const auto& move : result_.monitors) {
            std::string line = "  " + Page::cell(move.ecu, 9);
            line += Page::cell(state(move.before), 10);
            line += Page::cell(state(move.after), 10);
            line += plain(move.name);
            page_.line(line);
            if (move.after != false)
                continue;
            if (move.watches_former_code)
                page_.paragraph("This is the one that would find the fault again.", 31, 0);
            if (!move.driving.empty())
                page_.paragraph("Commonly runs with: " + std::string(move.driving) + ".", 31, 0);
        }
        if (result_.monitors.empty())
            return;
        page_.paragraph(whole_text(result_.incomplete_after) + " open in AFTER, " +
                            whole_text(result_.allowed_incomplete) +
                            " allowed: " + plain(result_.allowance_basis) + ".",
                        2, 2);
    }

    std::string both(const std::optional<double>& before, const std::optional<double>& after,
                     Unit unit, std::string_view word) const {
        const auto text = [&](const std::optional<double>& value) {
            return value ? quantity_text(*value, shown(unit, 1, 0, options_.units))
                         : std::string("not told");
        };
        std::string line(word);
        line += ": " + text(before) + " before, " + text(after) + " after";
        return line;
    }

    void clearing() {
        if (result_.since_clear.empty())
            return;
        page_.heading("CLEARING AND DRIVING");
        for (const auto& since : result_.since_clear) {
            page_.paragraph(since.ecu + (since.ecu.empty() ? "codes" : ": codes") +
                                (since.cleared ? " were cleared in between or while recording."
                                               : " were not seen to be cleared in between."),
                            2, 2);
            const auto add = [&](const std::optional<double>& before,
                                 const std::optional<double>& after, Unit unit,
                                 std::string_view text) {
                if (before || after)
                    page_.paragraph(both(before, after, unit, text), 4, 2);
            };
            add(since.distance_before, since.distance_after, Unit::kilometre,
                "Driven since clearing");
            add(since.warm_ups_before, since.warm_ups_after, Unit::count,
                "Warm-ups since clearing");
            add(since.minutes_before, since.minutes_after, Unit::minute,
                "Engine ran since clearing");
            add(since.odometer_before, since.odometer_after, Unit::kilometre, "Odometer");
            if (since.driven_in_after > 0)
                page_.paragraph("Driven in AFTER itself: " +
                                    quantity_text(since.driven_in_after,
                                                  shown(Unit::kilometre, 0.1, 1, options_.units)),
                                4, 2);
        }
    }

    void tests() {
        if (result_.tests.empty())
            return;
        page_.heading("MONITOR TESTS");
        page_.line("  id/test name                            before   after     low    high");
        for (const auto& move : result_.tests) {
            const auto as = shown(move.unit, move.step, move.decimals, options_.units);
            std::string line = "  " + hex_text(move.key.monitor, move.key.monitor < 256 ? 2 : 4) +
                               '/' + hex_text(move.key.test, 2) + ' ' + plain(move.name);
            std::string numbers;
            for (const double number : {move.before, move.after, move.low, move.high})
                numbers += Page::right(number_text(as(number), as.decimals), 8);
            if (Page::columns(line) > 38 || Page::columns(numbers) > 32) {
                page_.paragraph(line.substr(2), 2, 8);
                page_.line(std::string(40, ' ') + numbers);
            } else {
                page_.line(Page::cell(line, 40) + numbers);
            }
            std::string more;
            if (!as.text.empty())
                more = "in " + std::string(as.text);
            const auto add = [&](std::string_view text) {
                more += more.empty() ? "" : "; ";
                more += text;
            };
            if (!move.passed_after)
                add("FAILS");
            if (move.passed_after && !move.passed_before)
                add("failed before, passes now");
            if (move.direction == Direction::towards_limit)
                add("moved towards its limit");
            if (move.direction == Direction::from_limit)
                add("moved away from its limit");
            if (!more.empty())
                page_.paragraph(more, 10, 0);
        }
    }

    void trims() {
        if (result_.trims.empty())
            return;
        page_.heading("FUEL TRIMS, SHORT AND LONG TOGETHER, IN THE MEAN");
        for (const auto& move : result_.trims) {
            const auto text = [](const std::optional<double>& value) {
                return value ? number_text(*value, 1) + " %" : std::string("not told");
            };
            page_.paragraph(move.ecu + " bank " + whole_text(move.bank) + ": " + text(move.before) +
                                " before, " + text(move.after) + " after",
                            2, 2);
        }
    }

    Page page_;
    const Recheck& result_;
    const RecheckOptions& options_;
};

class JsonWriter {
  public:
    JsonWriter(std::string& out, const Recheck& result, const RecheckOptions& options)
        : json_(out), result_(result), options_(options) {}

    void write() {
        json_.open('{');
        json_.key("verdict").text(word(result_.verdict));
        json_.key("reason").text(result_.reason);
        json_.key("vin_before").text_or_null(result_.vin_before);
        json_.key("vin_after").text_or_null(result_.vin_after);
        json_.key("merely_cleared").boolean(result_.merely_cleared);
        json_.key("incomplete_after").whole(result_.incomplete_after);
        json_.key("allowed_incomplete").whole(result_.allowed_incomplete);
        json_.key("allowance_basis").text(result_.allowance_basis);
        lists();
        monitors();
        since_clear();
        tests();
        trims();
        json_.key("notes").open('[');
        for (const auto& note : result_.notes)
            json_.text(note);
        json_.close(']');
        json_.key("cautions").open('[');
        for (const auto text : standing_cautions)
            json_.text(text);
        json_.close(']');
        json_.close('}');
    }

  private:
    void ecu(std::string_view id) { json_.key("ecu").text_or_null(id); }
    void boolean(std::string_view key, const std::optional<bool>& value) {
        json_.key(key);
        if (value)
            json_.boolean(*value);
        else
            json_.null();
    }
    void number(std::string_view key, const std::optional<double>& value, Unit unit) {
        json_.key(key);
        if (!value)
            return json_.null();
        const auto how = shown(unit, 1, 0, options_.units);
        json_.number(how(*value), how.converted);
    }

    void lists() {
        json_.key("codes").open('[');
        for (const auto& move : result_.codes) {
            json_.open('{');
            ecu(move.ecu);
            json_.key("list").text(word(move.list));
            json_.key("dtc").text(move.code.text());
            json_.key("text").text_or_null(code_meaning(move.code, options_.extension));
            json_.key("before").boolean(move.before);
            json_.key("after").boolean(move.after);
            json_.close('}');
        }
        json_.close(']');
        json_.key("not_read_after").open('[');
        for (const auto& gap : result_.gaps) {
            json_.open('{');
            ecu(gap.ecu);
            json_.key("list").text(word(gap.list));
            json_.close('}');
        }
        json_.close(']');
    }

    void monitors() {
        json_.key("monitors").open('[');
        for (const auto& move : result_.monitors) {
            json_.open('{');
            ecu(move.ecu);
            json_.key("name").text(move.name);
            boolean("complete_before", move.before);
            boolean("complete_after", move.after);
            json_.key("watches_former_code").boolean(move.watches_former_code);
            json_.key("driving").text_or_null(move.driving);
            json_.close('}');
        }
        json_.close(']');
    }

    void since_clear() {
        json_.key("distance_unit").text(shown(Unit::kilometre, 1, 0, options_.units).ucum);
        json_.key("since_clear").open('[');
        for (const auto& since : result_.since_clear) {
            json_.open('{');
            ecu(since.ecu);
            json_.key("cleared").boolean(since.cleared);
            number("distance_before", since.distance_before, Unit::kilometre);
            number("distance_after", since.distance_after, Unit::kilometre);
            number("warm_ups_before", since.warm_ups_before, Unit::count);
            number("warm_ups_after", since.warm_ups_after, Unit::count);
            number("minutes_before", since.minutes_before, Unit::minute);
            number("minutes_after", since.minutes_after, Unit::minute);
            number("odometer_before", since.odometer_before, Unit::kilometre);
            number("odometer_after", since.odometer_after, Unit::kilometre);
            json_.key("driven_in_after")
                .number(shown(Unit::kilometre, 0.1, 1, options_.units)(since.driven_in_after),
                        true);
            json_.close('}');
        }
        json_.close(']');
    }

    void tests() {
        json_.key("tests").open('[');
        for (const auto& move : result_.tests) {
            const auto how = shown(move.unit, move.step, move.decimals, options_.units);
            json_.open('{');
            ecu(move.ecu);
            json_.key("id").text(hex_text(move.key.monitor, move.key.monitor < 256 ? 2 : 4));
            json_.key("test").text(hex_text(move.key.test, 2));
            json_.key("name").text(move.name);
            json_.key("before").number(how(move.before), how.converted);
            json_.key("after").number(how(move.after), how.converted);
            json_.key("low").number(how(move.low), how.converted);
            json_.key("high").number(how(move.high), how.converted);
            json_.key("unit").text(how.ucum);
            json_.key("passed_before").boolean(move.passed_before);
            json_.key("passed_after").boolean(move.passed_after);
            json_.key("direction").text(direction_word(move.direction));
            json_.close('}');
        }
        json_.close(']');
    }

    void trims() {
        json_.key("fuel_trims").open('[');
        for (const auto& move : result_.trims) {
            json_.open('{');
            ecu(move.ecu);
            json_.key("bank").whole(move.bank);
            const auto put = [&](std::string_view key, const std::optional<double>& value) {
                json_.key(key);
                if (value)
                    json_.number(*value, true);
                else
                    json_.null();
            };
            put("before", move.before);
            put("after", move.after);
            json_.key("unit").text("%");
            json_.close('}');
        }
        json_.close(']');
    }

    Json json_;
    const Recheck& result_;
    const RecheckOptions& options_;
};

} // namespace

void append_recheck_text(std::string& out, const Recheck& result, const RecheckOptions& options) {
    TextWriter(out, result, options).write();
}

void append_recheck_json(std::string& out, const Recheck& result, const RecheckOptions& options) {
    JsonWriter(out, result, options).write();
    out += '\n';
}

} // namespace telltale::vehicle
