// SPDX-License-Identifier: Apache-2.0
#include "telltale/catalogue/catalogue.hpp"

#include <algorithm>
#include <array>
#include <vector>

#include "arena.hpp"
#include "extension.hpp"
#include "guard.hpp"
#include "telltale.h"
#include "telltale/base/shown.hpp"
#include "telltale/catalogue/codes.hpp"
#include "telltale/frame/can.hpp"

using namespace telltale;

namespace {

using c::literal;

struct FieldOf {
    telltale_field field{};
    std::vector<telltale_choice> choices;
};
struct RowOf {
    telltale_row row{};
    std::vector<FieldOf> fields;
};
constexpr std::size_t table_count = TELLTALE_TABLE_OWN + 1;

const char* word(catalogue::Evidence evidence) {
    switch (evidence) {
    case catalogue::Evidence::published_example:
        return "published-example";
    case catalogue::Evidence::published_formula:
        return "published-formula";
    case catalogue::Evidence::outside_program:
        return "outside-program";
    case catalogue::Evidence::common_practice:
        return "common-practice";
    case catalogue::Evidence::memory:
        break;
    }
    return "memory";
}

void take_unit(telltale_field& to, Unit unit) {
    const Shown how = shown(unit, 0, 0, UnitSystem::si);
    to.unit = literal(how.text);
    to.ucum = literal(how.ucum);
}
/// A unit that is none of ours has no zero byte behind it.
void take_unit(telltale_field& to, const char* own_unit, c::Arena& arena) {
    const Shown how = shown(Unit::none, 0, 0, UnitSystem::si, own_unit);
    to.unit = arena.text(how.text);
    to.ucum = arena.text(how.ucum);
}

FieldOf take(const catalogue::Field& from) {
    FieldOf out;
    telltale_field& to = out.field;
    to.kind = static_cast<std::int32_t>(from.kind);
    to.first_byte = from.at;
    to.bytes = from.bytes;
    to.first_bit = from.bit;
    to.bits = from.bits;
    to.is_signed = from.is_signed ? 1 : 0;
    to.decimals = static_cast<std::uint8_t>(from.scale.decimals());
    to.support_byte = from.present.byte;
    to.support_bit = from.present.bit;
    to.numerator = from.scale.num;
    to.denominator = from.scale.den;
    to.offset = from.scale.offset;
    to.shift = from.scale.shift;
    to.name = literal(from.name);
    to.key = literal(from.key);
    to.unit = to.ucum = {"", 0};
    if (from.kind == catalogue::Kind::number)
        take_unit(to, from.unit);
    to.unsure = literal(from.unsure);
    to.note = literal(from.note);
    for (const catalogue::Choice& choice : from.choices)
        out.choices.push_back(
            {choice.value, static_cast<std::uint8_t>(choice.unsure ? 1 : 0), literal(choice.text)});
    to.choices = out.choices.size();
    return out;
}

void take(const catalogue::Row& from, RowOf& to) {
    to.row.id = from.id;
    to.row.length = from.length;
    to.row.short_length = from.short_length;
    to.row.name = literal(from.name);
    to.row.clause = literal(from.clause);
    to.row.evidence = literal(word(from.evidence));
    to.row.unsure = literal(from.unsure);
    for (const catalogue::Field& field : from.fields)
        to.fields.push_back(take(field));
    to.row.fields = to.fields.size();
}

std::vector<RowOf> take(std::span<const catalogue::Row> rows) {
    std::vector<RowOf> out;
    out.reserve(rows.size());
    for (const catalogue::Row& row : rows)
        take(row, out.emplace_back());
    return out;
}

std::vector<RowOf> take(const catalogue::Extension& extension, c::Arena& arena) {
    std::vector<RowOf> out;
    out.reserve(extension.rows().size());
    for (const catalogue::OwnRow& from : extension.rows()) {
        RowOf& to = out.emplace_back();
        take(from.row, to);
        to.row.service = from.service;
        to.row.ecu = from.ecu & CanId::max_extended;
        to.row.extended = from.ecu != catalogue::ecu_name(from.ecu & CanId::max_extended, false);
        for (std::size_t i = 0; i < to.fields.size(); ++i)
            if (const char* const unit = from.row.fields[i].own_unit)
                take_unit(to.fields[i].field, unit, arena);
    }
    return out;
}

std::vector<RowOf> take(std::span<const catalogue::Name> names) {
    std::vector<RowOf> out;
    out.reserve(names.size());
    for (const catalogue::Name& from : names) {
        RowOf& to = out.emplace_back();
        to.row.id = from.id;
        to.row.name = literal(from.name);
        to.row.clause = literal(from.clause);
        to.row.evidence = literal(word(from.evidence));
        to.row.unsure = literal(from.unsure);
    }
    return out;
}

/// A scaling is a row of one field, two bytes long.
std::vector<RowOf> take(std::span<const catalogue::Scaling> scalings) {
    std::vector<RowOf> out;
    out.reserve(scalings.size());
    for (const catalogue::Scaling& from : scalings) {
        RowOf& to = out.emplace_back();
        to.row.id = from.id;
        to.row.length = 2;
        to.row.name = literal(from.name);
        to.row.clause = literal("SAE J1979-DA, annex E");
        to.row.evidence = literal(word(from.evidence));
        to.row.unsure = literal(from.unsure);
        to.row.fields = 1;
        telltale_field& field = to.fields.emplace_back().field;
        field.kind = TELLTALE_FIELD_NUMBER;
        field.bytes = 2;
        field.is_signed = from.is_signed ? 1 : 0;
        field.decimals = static_cast<std::uint8_t>(from.scale.decimals());
        field.support_byte = -1;
        field.numerator = from.scale.num;
        field.denominator = from.scale.den;
        field.offset = from.scale.offset;
        field.zero = from.zero;
        field.name = to.row.name;
        field.key = field.unsure = field.note = {"", 0};
        take_unit(field, from.unit);
    }
    return out;
}

} // namespace

struct telltale_catalogue {
    c::SharedExtension extension; ///< texts of its rows
    c::Arena arena;
    std::array<std::vector<RowOf>, table_count> tables;

    const RowOf* row(int table, std::size_t row) const noexcept {
        if (table < 0 || static_cast<std::size_t>(table) >= table_count)
            return nullptr;
        const auto& rows = tables[static_cast<std::size_t>(table)];
        return row < rows.size() ? &rows[row] : nullptr;
    }
    const FieldOf* field(int table, std::size_t row_index, std::size_t index) const noexcept {
        const RowOf* const found = row(table, row_index);
        return found != nullptr && index < found->fields.size() ? &found->fields[index] : nullptr;
    }
};

extern "C" {

int telltale_catalogue_new(const telltale_extension* extension, telltale_catalogue** catalogue) {
    return c::make(catalogue, nullptr, [&](std::unique_ptr<telltale_catalogue>& made) {
        made = std::make_unique<telltale_catalogue>();
        auto& tables = made->tables;
        tables[TELLTALE_TABLE_PIDS] = take(catalogue::pids());
        tables[TELLTALE_TABLE_INFO_TYPES] = take(catalogue::info_types());
        tables[TELLTALE_TABLE_SCALINGS] = take(catalogue::scalings());
        tables[TELLTALE_TABLE_MONITORS] = take(catalogue::monitors());
        tables[TELLTALE_TABLE_TESTS] = take(catalogue::tests());
        tables[TELLTALE_TABLE_CONTROLS] = take(catalogue::controls());
        tables[TELLTALE_TABLE_NEGATIVE_CODES] = take(catalogue::negative_codes());
        tables[TELLTALE_TABLE_SERVICES] = take(catalogue::services());
        if (extension != nullptr) {
            made->extension = extension->extension;
            tables[TELLTALE_TABLE_OWN] = take(*made->extension, made->arena);
        }
        return int{TELLTALE_OK};
    });
}

void telltale_catalogue_free(telltale_catalogue* catalogue) {
    delete catalogue;
}

size_t telltale_catalogue_rows(const telltale_catalogue* catalogue, int table) {
    if (catalogue == nullptr || table < 0 || static_cast<std::size_t>(table) >= table_count)
        return 0;
    return catalogue->tables[static_cast<std::size_t>(table)].size();
}

const telltale_row* telltale_catalogue_row(const telltale_catalogue* catalogue, int table,
                                           size_t row) {
    const RowOf* const found = catalogue == nullptr ? nullptr : catalogue->row(table, row);
    return found == nullptr ? nullptr : &found->row;
}

size_t telltale_catalogue_find(const telltale_catalogue* catalogue, int table, uint16_t id) {
    const std::size_t rows = telltale_catalogue_rows(catalogue, table);
    if (rows == 0)
        return SIZE_MAX;
    const auto& all = catalogue->tables[static_cast<std::size_t>(table)];
    const auto is_it = [id](const RowOf& row) { return row.row.id == id; };
    const auto found =
        table == TELLTALE_TABLE_OWN
            ? std::find_if(all.begin(), all.end(), is_it)
            : std::lower_bound(all.begin(), all.end(), id,
                               [](const RowOf& a, auto wanted) { return a.row.id < wanted; });
    return found == all.end() || !is_it(*found) ? SIZE_MAX
                                                : static_cast<std::size_t>(found - all.begin());
}

const telltale_field* telltale_catalogue_field(const telltale_catalogue* catalogue, int table,
                                               size_t row, size_t field) {
    const FieldOf* const found =
        catalogue == nullptr ? nullptr : catalogue->field(table, row, field);
    return found == nullptr ? nullptr : &found->field;
}

const telltale_choice* telltale_catalogue_choice(const telltale_catalogue* catalogue, int table,
                                                 size_t row, size_t field, size_t choice) {
    const FieldOf* const found =
        catalogue == nullptr ? nullptr : catalogue->field(table, row, field);
    return found == nullptr || choice >= found->choices.size() ? nullptr : &found->choices[choice];
}

size_t telltale_code_meaning(uint16_t code, char* buffer, size_t room) {
    if (buffer == nullptr && room != 0)
        return 0;
    std::array<char, catalogue::max_code_text> words;
    const std::string_view text = catalogue::describe_code(code, words);
    return c::copy_text(text, buffer, room);
}

} // extern "C"
