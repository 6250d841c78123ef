// SPDX-License-Identifier: Apache-2.0
#include <array>
#include <cstddef>

#include "pid_table_00.hpp"
#include "pid_table_64.hpp"
#include "telltale/catalogue/catalogue.hpp"

namespace telltale::catalogue {
namespace {

using table::Head;

constexpr std::span<const Field> fields_of(std::uint16_t id, std::span<const Field> all) {
    std::size_t first = 0;
    while (first < all.size() && all[first].id != id)
        ++first;
    std::size_t last = first;
    while (last < all.size() && all[last].id == id)
        ++last;
    return all.subspan(first, last - first);
}

constexpr std::size_t row_count = std::size(table::heads_00) + std::size(table::heads_64);

constexpr std::array<Row, row_count> make_rows() {
    std::array<Row, row_count> rows{};
    std::size_t at = 0;
    const auto add = [&](std::span<const Head> heads, std::span<const Field> fields,
                         const char* clause) {
        for (const Head& head : heads) {
            Row& row = rows[at++];
            row.id = head.id;
            row.length = head.length;
            row.clause = clause;
            row.evidence = head.evidence;
            row.unsure = head.unsure;
            row.fields = fields_of(head.id, fields);
            row.name = head.name != nullptr ? head.name : row.fields[0].name;
            row.short_length = head.short_length;
            row.usually_short = head.usually_short;
        }
    };
    add(table::heads_00, table::fields_00, "SAE J1979-DA annex B, ISO 15031-5 annex B");
    add(table::heads_64, table::fields_64, "SAE J1979-DA annex B");
    return rows;
}
constexpr std::array<Row, row_count> pid_rows = make_rows();

constexpr std::uint8_t no_row = 0xFF;
static_assert(row_count < no_row);

/// The place of each PID in `pid_rows`.
constexpr std::array<std::uint8_t, 256> make_places() {
    std::array<std::uint8_t, 256> places{};
    for (auto& place : places)
        place = no_row;
    for (std::size_t i = 0; i < pid_rows.size(); ++i)
        places[pid_rows[i].id] = static_cast<std::uint8_t>(i);
    return places;
}
constexpr std::array<std::uint8_t, 256> places = make_places();

/// Rows ascend, and every field was found by its row.
constexpr bool is_complete() {
    std::size_t fields = 0;
    for (std::size_t i = 0; i < pid_rows.size(); ++i) {
        if (i > 0 && pid_rows[i].id <= pid_rows[i - 1].id)
            return false;
        fields += pid_rows[i].fields.size();
    }
    return fields == std::size(table::fields_00) + std::size(table::fields_64);
}
static_assert(is_complete());

/// Every PID has a row or is left out, and not both.
constexpr bool is_accounted_for() {
    for (unsigned id = 0; id < places.size(); ++id) {
        unsigned listed = 0;
        for (const LeftOut& entry : table::left_out_pids)
            if (entry.first <= id && id <= entry.last)
                ++listed;
        if (listed != (places[id] == no_row ? 1U : 0U))
            return false;
    }
    return true;
}
static_assert(is_accounted_for());

} // namespace

std::span<const Row> pids() noexcept {
    return pid_rows;
}

std::span<const LeftOut> left_out() noexcept {
    return table::left_out_pids;
}

const Row* pid(std::uint8_t id) noexcept {
    const std::uint8_t place = places[id];
    return place == no_row ? nullptr : &pid_rows[place];
}

} // namespace telltale::catalogue
