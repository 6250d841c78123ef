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
#include "telltale/catalogue/listing.hpp"
#include "with.hpp"
#include "wrap.hpp"

namespace telltale::program {

namespace {

using catalogue::append_bit;
using catalogue::append_bytes;
using catalogue::append_entry_id;
using catalogue::append_scale;
using catalogue::each_entry;
using catalogue::ends_of;
using catalogue::Entry;
using catalogue::Evidence;
using catalogue::Extension;
using catalogue::Field;
using catalogue::tables;
using catalogue::ucum_of;
using catalogue::word;

constexpr std::array evidences = {Evidence::published_example, Evidence::published_formula,
                                  Evidence::outside_program, Evidence::common_practice,
                                  Evidence::memory};

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
    out += word(field.kind);
    out += '"';
    if (field.kind == catalogue::Kind::number) {
        out += field.is_signed ? ",\"signed\":true" : ",\"signed\":false";
        append_key(out, "numerator");
        append_integer(out, std::int64_t{field.scale.num});
        append_key(out, "denominator");
        append_integer(out, std::int64_t{field.scale.den});
        append_key(out, "offset");
        append_exact(out, field.scale.apply(0));
        const auto range = ends_of(field);
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
        append_bit(out, field.present);
        out += '"';
    }
    for (const auto& [key, text] : {std::pair{"unsure", field.unsure}, {"note", field.note}})
        if (text != nullptr) {
            append_key(out, key);
            append_json(out, text);
        }
    out += '}';
}

void print_json(Output& output, const Extension& extension) {
    auto& out = output.buffer();
    out += "{\"rows\":[";
    const char* before = "\n";
    for (const auto& table : tables())
        each_entry(table.word, &extension, [&](const Entry& entry) {
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
            append_entry_id(out, entry);
            out += '"';
            if (entry.ecu != 0) {
                append_key(out, "ecu");
                out += '"';
                catalogue::append_ecu_name(out, entry.ecu);
                out += '"';
            }
            append_key(out, "name");
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
            append_json(out, word(entry.evidence));
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
            append_key(out, word(evidences[i]));
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
        const auto range = ends_of(field);
        append_number(text, range.low, field.scale.decimals());
        text += " to ";
        append_number(text, range.high, field.scale.decimals());
        const auto unit =
            shown(field.unit, 0, 0, UnitSystem::si, field.own_unit == nullptr ? "" : field.own_unit)
                .text;
        if (!unit.empty()) {
            text += unit == "°" ? "" : " ";
            text += unit;
        }
    } else {
        text += word(field.kind);
    }
    if (!std::string_view(field.key).empty()) {
        text += "  [";
        text += field.key;
        text += ']';
    }
    if (field.present.byte >= 0) {
        text += "  (when ";
        append_bit(text, field.present);
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

void print_text(Output& output, const Extension& extension) {
    auto& out = output.buffer();
    for (const auto& table : tables()) {
        bool first = true;
        each_entry(table.word, &extension, [&](const Entry& entry) {
            if (first) {
                out += table.title;
                out += "\n\n";
            }
            first = false;
            std::string id = "  ";
            append_entry_id(id, entry);
            out += id;
            std::string text(entry.name);
            if (entry.ecu != 0) {
                text += ", ";
                catalogue::append_ecu_name(text, entry.ecu);
            }
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
            // The identifier stands in the first columns: mostly two digits.
            out += id.size() < 6 ? "" : "  ";
            out.append(wrapped, id.size() < 6 ? id.size() : 6);
            std::string from(entry.clause);
            from += from.empty() ? "" : "; ";
            from += word(entry.evidence);
            append_wrapped(out, 9, from);
            if (entry.unsure != nullptr)
                append_wrapped(out, 9, std::string("unsure: ") + entry.unsure);
            for (const auto& field : entry.fields)
                append_field_text(out, entry, field);
            output.commit();
        });
        if (!first)
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

struct CatalogueSettings {
    std::string as = "text";
    std::vector<std::string> with;
};

int run_catalogue(const CatalogueSettings& options) {
    const auto extension = read_with(options.with);
    if (!extension)
        return status_wrong;
    Output output;
    if (options.as == "csv")
        append_catalogue_csv(output.buffer(), extension.get());
    else if (options.as == "json")
        print_json(output, *extension);
    else
        print_text(output, *extension);
    return output.finish(status_done);
}

} // namespace

void add_catalogue(CLI::App& app, Run& run) {
    const auto options = std::make_shared<CatalogueSettings>();
    auto* command = app.add_subcommand(
        "catalogue", "List every parameter, test and code that is known, with its source");
    command->add_option("--as", options->as, "text, json or csv (a row a field)")
        ->check(CLI::IsMember({"text", "json", "csv"}))
        ->type_name("FORM")
        ->capture_default_str();
    add_with_option(*command, options->with);
    command->footer("Examples:\n"
                    "  telltale catalogue | less\n"
                    "  telltale catalogue --as csv > catalogue.csv\n"
                    "  telltale catalogue --with maker.csv --as json");
    command->callback([options, &run] { run = [options] { return run_catalogue(*options); }; });
}

} // namespace telltale::program
