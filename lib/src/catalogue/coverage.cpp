// SPDX-License-Identifier: Apache-2.0
// Counts what the tables hold and on what they rest.
#include "telltale/catalogue/catalogue.hpp"

namespace telltale::catalogue {
namespace {

template <class T> Coverage count(std::string_view table, std::span<const T> rows) {
    Coverage coverage;
    coverage.table = table;
    coverage.rows = rows.size();
    for (const T& row : rows) {
        ++coverage.by_evidence[static_cast<std::size_t>(row.evidence)];
        bool unsure = row.unsure != nullptr;
        if constexpr (requires { row.fields; }) {
            coverage.fields += row.fields.size();
            for (const Field& field : row.fields)
                unsure = unsure || field.unsure != nullptr;
        }
        if (unsure)
            ++coverage.unsure;
    }
    return coverage;
}

} // namespace

std::array<Coverage, 7> coverage() noexcept {
    Coverage parameters = count("services 01 and 02: PIDs", pids());
    for (const LeftOut& entry : left_out())
        parameters.left_out += std::size_t{entry.last} - entry.first + 1;
    return {parameters,
            count("service 09: InfoTypes", info_types()),
            count("service 06: scalings", scalings()),
            count("service 06: monitors", monitors()),
            count("service 06: standard tests", tests()),
            count("service 08: tests", controls()),
            count("negative response codes", negative_codes())};
}

} // namespace telltale::catalogue
