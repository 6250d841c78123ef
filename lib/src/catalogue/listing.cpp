// SPDX-License-Identifier: Apache-2.0
#include "telltale/catalogue/listing.hpp"

#include <array>

#include "telltale/base/hex.hpp"
#include "telltale/base/number.hpp"
#include "telltale/base/shown.hpp"
#include "telltale/base/text.hpp"

namespace telltale::catalogue {

namespace {

constexpr std::array all_tables = {
    Table{"pid", "01", "Parameters (PIDs) of services 01 and 02"},
    Table{"scaling", "06", "Unit and scaling identifiers of service 06"},
    Table{"monitor", "06", "Monitors (OBDMIDs) of service 06"},
    Table{"test", "06", "Standard tests (TIDs) of service 06"},
    Table{"control", "08", "Controls (TIDs) of service 08"},
    Table{"info-type", "09", "InfoTypes of service 09"},
    Table{"service", "", "Services"},
    Table{"negative", "7F", "Negative response codes"},
    Table{"local-id", "21", "Local identifiers of service 21"},
    Table{"data-id", "22", "Data identifiers of service 22"},
    Table{"code", "", "Trouble codes"},
};

/// What an entry of every table has: what it is called, and on what that rests.
Entry entry_of(std::uint16_t id, std::string_view name, std::string_view clause, Evidence evidence,
               const char* unsure) {
    Entry entry;
    entry.id = id;
    entry.name = name;
    entry.clause = clause;
    entry.evidence = evidence;
    entry.unsure = unsure;
    return entry;
}

Entry entry_of(const Row& row) {
    Entry entry = entry_of(row.id, row.name, row.clause, row.evidence, row.unsure);
    entry.length = row.length;
    entry.has_length = true;
    entry.short_length = row.short_length;
    entry.fields = row.fields;
    return entry;
}

void each_own(std::uint8_t service, const Extension* extension,
              FunctionRef<void(const Entry&)> use) {
    if (extension == nullptr)
        return;
    for (const OwnRow& own : extension->rows()) {
        if (own.service != service)
            continue;
        Entry entry = entry_of(own.row);
        entry.ecu = own.ecu;
        use(entry);
    }
}

void each_name(std::span<const Name> all, FunctionRef<void(const Entry&)> use) {
    for (const Name& name : all)
        use(entry_of(name.id, name.name, name.clause, name.evidence, name.unsure));
}

void each_scaling(FunctionRef<void(const Entry&)> use) {
    for (const Scaling& scaling : scalings()) {
        Field field{scaling.id, scaling.name, "", 0, 2};
        field.is_signed = scaling.is_signed;
        field.scale = scaling.scale;
        field.unit = scaling.unit;
        Entry entry = entry_of(scaling.id, scaling.name, "SAE J1979-DA, annex E", scaling.evidence,
                               scaling.unsure);
        entry.length = 2;
        entry.has_length = true;
        entry.fields = {&field, 1};
        use(entry);
    }
}

void each_code(const Extension* extension, FunctionRef<void(const Entry&)> use) {
    if (extension == nullptr)
        return;
    for (const OwnCode& code : extension->codes()) {
        Entry entry = entry_of(code.code, code.text, code.clause, code.evidence, code.unsure);
        entry.is_code = true;
        entry.failure_type = code.failure_type;
        use(entry);
    }
}

/// A to Z, then AA and on, as the standard letters the data bytes.
void append_letter(std::string& out, std::size_t at) {
    if (at >= 26)
        out += static_cast<char>('A' + (at / 26 - 1) % 26);
    out += static_cast<char>('A' + at % 26);
}

void append_magnitude(std::string& out, std::int64_t value) {
    append_integer(out, value < 0 ? std::uint64_t{0} - static_cast<std::uint64_t>(value)
                                  : static_cast<std::uint64_t>(value));
}

void append_choices(std::string& out, std::span<const Choice> choices) {
    std::string text;
    for (const Choice& choice : choices) {
        text += text.empty() ? "" : " | ";
        append_integer(text, std::uint64_t{choice.value});
        text += " = ";
        text += choice.text;
        text += choice.unsure ? " (unsure)" : "";
    }
    append_csv(out, text);
}

/// The columns of one field, or of a row without fields, after those of its row.
void append_line(std::string& out, const Table& table, const Entry& entry, const Field* field) {
    const auto cell = [&](std::string_view text) {
        append_csv(out, text);
        out += ',';
    };
    out += table.word;
    out += ',';
    out += table.service;
    out += ',';
    append_entry_id(out, entry);
    out += ',';
    if (entry.has_length)
        append_integer(out, std::uint64_t{entry.length});
    out += ',';
    cell(entry.name);
    if (field != nullptr) {
        cell(field->name);
        cell(field->key);
        append_bytes(out, *field);
        out += ',';
        out += word(field->kind);
        out += ',';
        if (field->kind == Kind::number) {
            out += field->is_signed ? "yes," : "no,";
            std::string scale;
            append_scale(scale, field->scale);
            cell(scale);
            const Ends ends = ends_of(*field);
            append_exact(out, ends.low);
            out += ',';
            append_exact(out, ends.high);
            out += ',';
            cell(ucum_of(*field));
        } else {
            out += ",,,,,";
        }
        append_bit(out, field->present);
    } else {
        out += ",,,,,,,,,";
    }
    out += ',';
    cell(entry.clause);
    out += word(entry.evidence);
    out += ',';
    const char* unsure =
        field != nullptr && field->unsure != nullptr ? field->unsure : entry.unsure;
    cell(unsure == nullptr ? "" : unsure);
    if (field != nullptr) {
        append_choices(out, field->choices);
        out += ',';
        append_bit(out, field->when.bit);
        if (field->when.bit.byte >= 0)
            out += field->when.set ? "=1" : "=0";
        out += ',';
        if (field->no_value >= 0)
            append_integer(out, field->no_value);
        out += ',';
        cell(field->note == nullptr ? "" : field->note);
    } else {
        out += ",,,,";
    }
    if (entry.short_length != 0)
        append_integer(out, std::uint64_t{entry.short_length});
    out += ',';
    append_ecu_name(out, entry.ecu);
    out += '\n';
}

} // namespace

std::span<const Table> tables() noexcept {
    return all_tables;
}

void each_entry(std::string_view table, const Extension* extension,
                FunctionRef<void(const Entry&)> use) {
    if (table == "pid") {
        for (const Row& row : pids())
            use(entry_of(row));
        each_own(0x01, extension, use);
    } else if (table == "info-type") {
        for (const Row& row : info_types())
            use(entry_of(row));
    } else if (table == "scaling") {
        each_scaling(use);
    } else if (table == "monitor") {
        each_name(monitors(), use);
    } else if (table == "test") {
        each_name(tests(), use);
    } else if (table == "control") {
        each_name(controls(), use);
    } else if (table == "service") {
        each_name(services(), use);
    } else if (table == "negative") {
        each_name(negative_codes(), use);
    } else if (table == "local-id") {
        each_own(0x21, extension, use);
    } else if (table == "data-id") {
        each_own(0x22, extension, use);
    } else if (table == "code") {
        each_code(extension, use);
    }
}

void append_catalogue_csv(std::string& out, const Extension* extension) {
    out += "table,service,id,length,row,field,short,bytes,kind,signed,scaling,low,high,unit,"
           "present,clause,evidence,unsure,choices,when,not_used,note,short_length,ecu\n";
    for (const Table& table : all_tables)
        each_entry(table.word, extension, [&](const Entry& entry) {
            if (entry.fields.empty())
                append_line(out, table, entry, nullptr);
            for (const Field& field : entry.fields)
                append_line(out, table, entry, &field);
        });
}

void append_entry_id(std::string& out, const Entry& entry) {
    if (!entry.is_code)
        return append_id(out, entry.id);
    constexpr std::array letters = {'P', 'C', 'B', 'U'};
    out += letters[entry.id >> 14];
    append_hex(out, entry.id & 0x3FFFU, 4);
    if (entry.failure_type >= 0) {
        out += '-';
        append_hex(out, static_cast<std::uint64_t>(entry.failure_type), 2);
    }
}

void append_ecu_name(std::string& out, EcuName ecu) {
    if (ecu == 0)
        return;
    const bool extended = (ecu & 0x8000'0000U) != 0;
    append_hex(out, ecu & 0x7FFF'FFFFU, extended ? 8 : 3);
}

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

void append_bit(std::string& out, Bit bit) {
    if (bit.byte < 0)
        return;
    append_letter(out, static_cast<std::size_t>(bit.byte));
    out += '.';
    append_integer(out, std::uint64_t{bit.bit});
}

void append_scale(std::string& out, const Scale& scale) {
    out += "raw";
    if (scale.num != 1) {
        out += " * ";
        append_integer(out, std::int64_t{scale.num});
    }
    if (scale.den != 1) {
        out += " / ";
        append_integer(out, std::int64_t{scale.den});
    }
    if (scale.offset == 0 && scale.shift == 0)
        return;
    const std::int64_t den = scale.den < 0 ? -std::int64_t{scale.den} : std::int64_t{scale.den};
    const std::int64_t shift = scale.den < 0 ? -std::int64_t{scale.shift} : scale.shift;
    const std::int64_t whole = scale.offset * den + shift; // in parts of `den`
    out += whole < 0 ? " - " : " + ";
    const std::int64_t size = whole < 0 ? -whole : whole;
    append_magnitude(out, size / den);
    std::int64_t rest = size % den;
    if (rest == 0)
        return;
    out += '.';
    for (int i = 0; i < 9 && rest != 0; ++i) { // what was read has no more decimals
        rest *= 10;
        out += static_cast<char>('0' + rest / den);
        rest %= den;
    }
}

std::string_view ucum_of(const Field& field) noexcept {
    return shown(field.unit, 0, 0, UnitSystem::si,
                 field.own_unit == nullptr ? std::string_view{} : field.own_unit)
        .ucum;
}

std::string_view word(Kind kind) noexcept {
    switch (kind) {
    case Kind::number:
        return "number";
    case Kind::choice:
        return "choice";
    case Kind::code:
        return "code";
    case Kind::text:
        return "text";
    case Kind::hex:
        return "hex";
    case Kind::bitmap:
        break;
    }
    return "bitmap";
}

std::string_view word(Evidence evidence) noexcept {
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

Ends ends_of(const Field& field) noexcept {
    const unsigned width = field.width() == 0 ? 1 : field.width();
    // Wider ones do not fit the exact scaling; no row has a number that wide.
    const unsigned bits = width > 32 ? 32 : width;
    const std::int64_t span = std::int64_t{1} << bits;
    const std::int64_t low = field.is_signed ? -span / 2 : 0;
    const std::int64_t high = field.is_signed ? span / 2 - 1 : span - 1;
    return {field.scale.apply(low), field.scale.apply(high)};
}

} // namespace telltale::catalogue
