// SPDX-License-Identifier: Apache-2.0
// `catalogue`: every row that the program knows, for a reader with the standard open.
#include <array>
#include <memory>
#include <span>

#include <CLI/App.hpp>
#include <CLI/Validators.hpp>

#include "command.hpp"
#include "output.hpp"
#include "telltale/base/function_ref.hpp"
#include "telltale/base/hex.hpp"
#include "telltale/base/number.hpp"
#include "telltale/base/shown.hpp"
#include "telltale/base/text.hpp"
#include "telltale/catalogue/catalogue.hpp"
#include "wrap.hpp"

namespace telltale::program {

namespace {

using catalogue::Evidence;
using catalogue::Field;

struct Table {
    std::string_view word;    ///< as CSV and JSON show it
    std::string_view service; ///< that it belongs to
    std::string_view title;
};

constexpr std::array tables = {
    Table{"pid", "01", "Parameters (PIDs) of services 01 and 02"},
    Table{"scaling", "06", "Unit and scaling identifiers of service 06"},
    Table{"monitor", "06", "Monitors (OBDMIDs) of service 06"},
    Table{"test", "06", "Standard tests (TIDs) of service 06"},
    Table{"control", "08", "Controls (TIDs) of service 08"},
    Table{"info-type", "09", "InfoTypes of service 09"},
    Table{"service", "", "Services"},
    Table{"negative", "7F", "Negative response codes"},
};

constexpr std::array evidences = {Evidence::published_example, Evidence::published_formula,
                                  Evidence::outside_program, Evidence::common_practice,
                                  Evidence::memory};

std::string_view evidence_word(Evidence evidence) {
    switch (evidence) {
    case Evidence::published_example:
        return "published-example";
    case Evidence::published_formula:
        return "published-formula";
    case Evidence::outside_program:
        return "outside-program";
    case Evidence::common_practice:
        return "common-practice";
    case Evidence::memory:
        break;
    }
    return "memory";
}

/// One row of any table. A scaling is a row of one field.
struct Entry {
    std::uint16_t id = 0;
    std::uint16_t length = 0;
    bool has_length = false;
    std::uint16_t short_length = 0;
    std::string_view name;
    std::string_view clause;
    Evidence evidence = Evidence::memory;
    const char* unsure = nullptr;
    std::span<const Field> fields;
};

void each_entry(std::string_view table, FunctionRef<void(const Entry&)> use) {
    const auto rows = [&](std::span<const catalogue::Row> all) {
        for (const auto& row : all)
            use({row.id, row.length, true, row.short_length, row.name, row.clause, row.evidence,
                 row.unsure, row.fields});
    };
    const auto names = [&](std::span<const catalogue::Name> all) {
        for (const auto& name : all) {
            Entry entry;
            entry.id = name.id;
            entry.name = name.name;
            entry.clause = name.clause;
            entry.evidence = name.evidence;
            entry.unsure = name.unsure;
            use(entry);
        }
    };
    if (table == "pid")
        rows(catalogue::pids());
    else if (table == "info-type")
        rows(catalogue::info_types());
    else if (table == "monitor")
        names(catalogue::monitors());
    else if (table == "test")
        names(catalogue::tests());
    else if (table == "control")
        names(catalogue::controls());
    else if (table == "service")
        names(catalogue::services());
    else if (table == "negative")
        names(catalogue::negative_codes());
    else
        for (const auto& scaling : catalogue::scalings()) {
            Field field{scaling.id, scaling.name, "", 0, 2};
            field.is_signed = scaling.is_signed;
            field.scale = scaling.scale;
            field.unit = scaling.unit;
            Entry entry;
            entry.id = scaling.id;
            entry.length = 2;
            entry.has_length = true;
            entry.name = scaling.name;
            entry.clause = "SAE J1979-DA, annex E";
            entry.evidence = scaling.evidence;
            entry.unsure = scaling.unsure;
            entry.fields = {&field, 1};
            use(entry);
        }
}

/// A to Z, then AA and on, as the standard letters the data bytes.
void append_letter(std::string& out, std::size_t at) {
    if (at >= 26)
        out += static_cast<char>('A' + (at / 26 - 1) % 26);
    out += static_cast<char>('A' + at % 26);
}

/// "A", "A-B", "C.7-5", "D-" (to the end).
void append_bytes(std::string& out, const Field& field) {
    append_letter(out, field.at);
    if (field.bytes == 0) {
        out += '-';
        return;
    }
    if (field.bytes > 1) {
        out += '-';
        append_letter(out, static_cast<std::size_t>(field.at) + field.bytes - 1U);
    }
    if (field.bits == 0)
        return;
    out += '.';
    if (field.bits > 1) {
        append_integer(out, std::uint64_t{field.bit} + field.bits - 1);
        out += '-';
    }
    append_integer(out, std::uint64_t{field.bit});
}

/// "raw * 100 / 255 - 40".
void append_scale(std::string& out, const catalogue::Scale& scale) {
    out += "raw";
    if (scale.num != 1) {
        out += " * ";
        append_integer(out, std::int64_t{scale.num});
    }
    if (scale.den != 1) {
        out += " / ";
        append_integer(out, std::int64_t{scale.den});
    }
    if (scale.offset != 0) {
        out += scale.offset < 0 ? " - " : " + ";
        append_integer(out, scale.offset < 0 ? -std::int64_t{scale.offset} : scale.offset);
    }
}

struct Range {
    double low;
    double high;
};
Range range_of(const Field& field) {
    const unsigned width = field.width() == 0 ? 1 : field.width();
    // The ends of 64 bits do not fit the exact scaling; no row has a number that wide.
    const unsigned bits = width > 62 ? 62 : width;
    const std::int64_t span = std::int64_t{1} << bits;
    const std::int64_t low = field.is_signed ? -span / 2 : 0;
    const std::int64_t high = field.is_signed ? span / 2 - 1 : span - 1;
    return {field.scale.apply(low), field.scale.apply(high)};
}

std::string_view kind_word(catalogue::Kind kind) {
    switch (kind) {
    case catalogue::Kind::number:
        return "number";
    case catalogue::Kind::choice:
        return "choice";
    case catalogue::Kind::code:
        return "code";
    case catalogue::Kind::text:
        return "text";
    case catalogue::Kind::hex:
        return "hex";
    case catalogue::Kind::bitmap:
        break;
    }
    return "bitmap";
}

std::string_view ucum_of(const Field& field) {
    return shown(field.unit, 0, 0, UnitSystem::si).ucum;
}

// --- CSV -------------------------------------------------------------------------------------

void print_csv(Output& output) {
    auto& out = output.buffer();
    out += "table,service,id,length,row,field,short,bytes,kind,signed,scaling,low,high,unit,"
           "present,clause,evidence,unsure\n";
    for (const auto& table : tables)
        each_entry(table.word, [&](const Entry& entry) {
            const auto row = [&](const Field* field) {
                out += table.word;
                out += ',';
                out += table.service;
                out += ',';
                append_id(out, entry.id);
                out += ',';
                if (entry.has_length)
                    append_integer(out, std::uint64_t{entry.length});
                out += ',';
                append_csv(out, entry.name);
                out += ',';
                if (field != nullptr) {
                    append_csv(out, field->name);
                    out += ',';
                    append_csv(out, field->key);
                    out += ',';
                    append_bytes(out, *field);
                    out += ',';
                    out += kind_word(field->kind);
                    out += ',';
                    if (field->kind == catalogue::Kind::number) {
                        out += field->is_signed ? "yes," : "no,";
                        std::string scale;
                        append_scale(scale, field->scale);
                        append_csv(out, scale);
                        out += ',';
                        const auto range = range_of(*field);
                        append_exact(out, range.low);
                        out += ',';
                        append_exact(out, range.high);
                        out += ',';
                        append_csv(out, ucum_of(*field));
                        out += ',';
                    } else {
                        out += ",,,,,";
                    }
                    if (field->present.byte >= 0) {
                        append_letter(out, static_cast<std::size_t>(field->present.byte));
                        out += '.';
                        append_integer(out, std::uint64_t{field->present.bit});
                    }
                } else {
                    out += ",,,,,,,,,";
                }
                out += ',';
                append_csv(out, entry.clause);
                out += ',';
                out += evidence_word(entry.evidence);
                out += ',';
                const char* unsure =
                    field != nullptr && field->unsure != nullptr ? field->unsure : entry.unsure;
                if (unsure != nullptr)
                    append_csv(out, unsure);
                out += '\n';
                output.commit();
            };
            if (entry.fields.empty())
                row(nullptr);
            for (const auto& field : entry.fields)
                row(&field);
        });
}

// --- JSON ------------------------------------------------------------------------------------

void append_key(std::string& out, std::string_view key) {
    out += ",\"";
    out += key;
    out += "\":";
}

void append_field(std::string& out, const Field& field) {
    out += "{\"name\":";
    append_json(out, field.name);
    append_key(out, "short");
    append_json(out, field.key);
    append_key(out, "bytes");
    out += '"';
    append_bytes(out, field);
    out += "\",\"kind\":\"";
    out += kind_word(field.kind);
    out += '"';
    if (field.kind == catalogue::Kind::number) {
        out += field.is_signed ? ",\"signed\":true" : ",\"signed\":false";
        append_key(out, "numerator");
        append_integer(out, std::int64_t{field.scale.num});
        append_key(out, "denominator");
        append_integer(out, std::int64_t{field.scale.den});
        append_key(out, "offset");
        append_integer(out, std::int64_t{field.scale.offset});
        const auto range = range_of(field);
        append_key(out, "low");
        append_exact(out, range.low);
        append_key(out, "high");
        append_exact(out, range.high);
        append_key(out, "unit");
        append_json(out, ucum_of(field));
    }
    if (!field.choices.empty()) {
        append_key(out, "choices");
        char before = '{';
        for (const auto& choice : field.choices) {
            out += before;
            before = ',';
            out += '"';
            append_integer(out, std::uint64_t{choice.value});
            out += "\":";
            append_json(out, choice.text);
        }
        out += '}';
    }
    if (field.present.byte >= 0) {
        append_key(out, "present");
        out += '"';
        append_letter(out, static_cast<std::size_t>(field.present.byte));
        out += '.';
        append_integer(out, std::uint64_t{field.present.bit});
        out += '"';
    }
    for (const auto& [key, text] : {std::pair{"unsure", field.unsure}, {"note", field.note}})
        if (text != nullptr) {
            append_key(out, key);
            append_json(out, text);
        }
    out += '}';
}

void print_json(Output& output) {
    auto& out = output.buffer();
    out += "{\"rows\":[";
    const char* before = "\n";
    for (const auto& table : tables)
        each_entry(table.word, [&](const Entry& entry) {
            out += before;
            before = ",\n";
            out += "{\"table\":\"";
            out += table.word;
            out += "\",\"service\":";
            if (table.service.empty())
                out += "null";
            else
                append_json(out, table.service);
            out += ",\"id\":\"";
            append_id(out, entry.id);
            out += "\",\"name\":";
            append_json(out, entry.name);
            if (entry.has_length) {
                append_key(out, "length");
                append_integer(out, std::uint64_t{entry.length});
            }
            if (entry.short_length != 0) {
                append_key(out, "short_length");
                append_integer(out, std::uint64_t{entry.short_length});
            }
            append_key(out, "clause");
            append_json(out, entry.clause);
            append_key(out, "evidence");
            append_json(out, evidence_word(entry.evidence));
            if (entry.unsure != nullptr) {
                append_key(out, "unsure");
                append_json(out, entry.unsure);
            }
            if (entry.has_length) {
                append_key(out, "fields");
                out += '[';
                for (std::size_t i = 0; i < entry.fields.size(); ++i) {
                    out += i == 0 ? "" : ",";
                    append_field(out, entry.fields[i]);
                }
                out += ']';
            }
            out += '}';
            output.commit();
        });
    out += "\n],\"left_out\":[";
    before = "\n";
    for (const auto& entry : catalogue::left_out()) {
        out += before;
        before = ",\n";
        out += "{\"service\":\"01\",\"first\":\"";
        append_id(out, entry.first);
        out += "\",\"last\":\"";
        append_id(out, entry.last);
        out += "\",\"name\":";
        append_json(out, entry.name);
        append_key(out, "why");
        append_json(out, entry.why);
        out += '}';
    }
    out += "\n],\"coverage\":[";
    before = "\n";
    for (const auto& coverage : catalogue::coverage()) {
        out += before;
        before = ",\n";
        out += "{\"table\":";
        append_json(out, coverage.table);
        append_key(out, "rows");
        append_integer(out, std::uint64_t{coverage.rows});
        append_key(out, "fields");
        append_integer(out, std::uint64_t{coverage.fields});
        for (std::size_t i = 0; i < evidences.size(); ++i) {
            append_key(out, evidence_word(evidences[i]));
            append_integer(out, std::uint64_t{coverage.by_evidence[i]});
        }
        append_key(out, "unsure");
        append_integer(out, std::uint64_t{coverage.unsure});
        append_key(out, "left_out");
        append_integer(out, std::uint64_t{coverage.left_out});
        out += '}';
    }
    out += "\n]}\n";
}

// --- text ------------------------------------------------------------------------------------

void append_field_text(std::string& out, const Entry& entry, const Field& field) {
    std::string text;
    append_bytes(text, field);
    text.resize(text.size() < 8 ? 8 : text.size() + 1, ' ');
    if (std::string_view(field.name) != entry.name || entry.fields.size() != 1) {
        text += field.name;
        text += ": ";
    }
    if (field.kind == catalogue::Kind::number) {
        append_scale(text, field.scale);
        if (field.is_signed)
            text += " (signed)";
        text += ", ";
        const auto range = range_of(field);
        append_number(text, range.low, field.scale.decimals());
        text += " to ";
        append_number(text, range.high, field.scale.decimals());
        if (const auto unit = info(field.unit).text; !unit.empty()) {
            text += unit == "°" ? "" : " ";
            text += unit;
        }
    } else {
        text += kind_word(field.kind);
    }
    if (!std::string_view(field.key).empty()) {
        text += "  [";
        text += field.key;
        text += ']';
    }
    if (field.present.byte >= 0) {
        text += "  (when ";
        append_letter(text, static_cast<std::size_t>(field.present.byte));
        text += '.';
        append_integer(text, std::uint64_t{field.present.bit});
        text += ')';
    }
    append_wrapped(out, 9, text);
    if (!field.choices.empty()) {
        text.clear();
        for (const auto& choice : field.choices) {
            text += text.empty() ? "" : "; ";
            append_integer(text, std::uint64_t{choice.value});
            text += " = ";
            text += choice.text;
            text += choice.unsure ? " (unsure)" : "";
        }
        append_wrapped(out, 17, text);
    }
    for (const auto& [front, more] : {std::pair{"unsure: ", field.unsure}, {"note: ", field.note}})
        if (more != nullptr)
            append_wrapped(out, 17, front + std::string(more));
}

void append_column(std::string& out, std::size_t number, std::size_t width) {
    std::string text;
    append_integer(text, std::uint64_t{number});
    if (text.size() < width)
        out.append(width - text.size(), ' ');
    out += text;
}

void print_text(Output& output) {
    auto& out = output.buffer();
    for (const auto& table : tables) {
        out += table.title;
        out += "\n\n";
        each_entry(table.word, [&](const Entry& entry) {
            out += "  ";
            append_id(out, entry.id);
            std::string text(entry.name);
            if (entry.has_length) {
                text += ", ";
                if (entry.short_length != 0) {
                    append_integer(text, std::uint64_t{entry.short_length});
                    text += " or ";
                }
                if (entry.length == 0)
                    text += "to the end of the message";
                else
                    append_integer(text, std::uint64_t{entry.length});
                text += entry.length == 0 ? "" : entry.length == 1 ? " byte" : " bytes";
            }
            std::string wrapped;
            append_wrapped(wrapped, 6, text);
            out.append(wrapped, 4); // the identifier stands in the first four columns
            std::string from(entry.clause);
            from += from.empty() ? "" : "; ";
            from += evidence_word(entry.evidence);
            append_wrapped(out, 9, from);
            if (entry.unsure != nullptr)
                append_wrapped(out, 9, std::string("unsure: ") + entry.unsure);
            for (const auto& field : entry.fields)
                append_field_text(out, entry, field);
            output.commit();
        });
        out += '\n';
    }
    out += "PIDs left out\n\n";
    for (const auto& entry : catalogue::left_out()) {
        out += "  ";
        append_id(out, entry.first);
        if (entry.last != entry.first) {
            out += '-';
            append_id(out, entry.last);
        }
        std::string text(entry.name);
        text += ": ";
        text += entry.why;
        std::string wrapped;
        append_wrapped(wrapped, 9, text);
        out.append(wrapped, entry.last != entry.first ? 7 : 4);
    }
    out += "\nOn what the rows rest (example, formula: published; program: another program's\n"
           "decoding agrees; practice: common practice)\n\n"
           "  table                      rows example formula program practice memory "
           "unsure\n";
    for (const auto& coverage : catalogue::coverage()) {
        out += "  ";
        out += coverage.table;
        out.append(coverage.table.size() < 27 ? 27 - coverage.table.size() : 1, ' ');
        append_column(out, coverage.rows, 4);
        for (std::size_t i = 0; i < evidences.size(); ++i)
            append_column(out, coverage.by_evidence[i], i == 3 ? 9 : i == 4 ? 7 : 8);
        append_column(out, coverage.unsure, 7);
        out += '\n';
    }
}

int run_catalogue(const std::string& as) {
    Output output;
    if (as == "csv")
        print_csv(output);
    else if (as == "json")
        print_json(output);
    else
        print_text(output);
    return output.finish(status_done);
}

} // namespace

void add_catalogue(CLI::App& app, Run& run) {
    const auto as = std::make_shared<std::string>("text");
    auto* command = app.add_subcommand(
        "catalogue", "List every parameter, test and code that is known, with its source");
    command->add_option("--as", *as, "text, json or csv (a row a field)")
        ->check(CLI::IsMember({"text", "json", "csv"}))
        ->type_name("FORM")
        ->capture_default_str();
    command->footer("Examples:\n"
                    "  telltale catalogue | less\n"
                    "  telltale catalogue --as csv > catalogue.csv");
    command->callback([as, &run] { run = [as] { return run_catalogue(*as); }; });
}

} // namespace telltale::program
