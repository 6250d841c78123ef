// SPDX-License-Identifier: Apache-2.0
// InfoTypes of service 09 (SAE J1979-DA, annex G). `length` is that of one data item on CAN. Where
// a row's fields lie beyond it, each item has a field of its own (the in-use counters); elsewhere
// the items repeat the row (calibrations). Left out, because nothing certain enough is known of
// their layout: 13, 19, 1C to 1F, 21 to 3F, 41 to 5F, 61 to 7F, 81 to 9F and above.
#include "telltale/catalogue/catalogue.hpp"

#include "index.hpp"

namespace telltale::catalogue {

namespace {

constexpr const char* annex_g = "SAE J1979-DA, annex G";
constexpr const char* layout = "identifier from memory, layout not known: shown as bytes";
constexpr const char* later = "place from memory of a later edition";

constexpr Field support(std::uint16_t id, const char* name) {
    return {.id = id, .name = name, .key = "", .at = 0, .bytes = 4, .kind = Kind::bitmap};
}
constexpr Field support_00[] = {support(0x00, "Supported InfoTypes 01 to 20")};
constexpr Field support_20[] = {support(0x20, "Supported InfoTypes 21 to 40")};
constexpr Field support_40[] = {support(0x40, "Supported InfoTypes 41 to 60")};
constexpr Field support_60[] = {support(0x60, "Supported InfoTypes 61 to 80")};
constexpr Field support_80[] = {support(0x80, "Supported InfoTypes 81 to A0")};
constexpr Field support_A0[] = {support(0xA0, "Supported InfoTypes A1 to C0")};
constexpr Field support_C0[] = {support(0xC0, "Supported InfoTypes C1 to E0")};
constexpr Field support_E0[] = {support(0xE0, "Supported InfoTypes E1 to FF")};

// How many messages the older lines need for the InfoType that follows.
constexpr Field message_count(std::uint16_t id, const char* name) {
    return {.id = id, .name = name, .key = "", .at = 0, .bytes = 1, .unit = Unit::count};
}
constexpr Field characters(std::uint16_t id, const char* name, const char* key,
                           std::uint8_t bytes) {
    return {.id = id, .name = name, .key = key, .at = 0, .bytes = bytes, .kind = Kind::text};
}
constexpr Field all_bytes(std::uint16_t id, const char* name, const char* key) {
    return {.id = id, .name = name, .key = key, .at = 0, .bytes = 0, .kind = Kind::hex};
}
constexpr Field counter(std::uint16_t id, const char* name, const char* key, std::uint16_t at,
                        const char* unsure = nullptr) {
    return {.id = id,
            .name = name,
            .key = key,
            .at = at,
            .bytes = 2,
            .unit = Unit::count,
            .unsure = unsure};
}

constexpr Field count_vin[] = {message_count(0x01, "Messages of the VIN")};
constexpr Field count_calid[] = {
    message_count(0x03, "Messages of the calibration identifications")};
constexpr Field count_cvn[] = {
    message_count(0x05, "Messages of the calibration verification numbers")};
constexpr Field count_ipt[] = {message_count(0x07, "Messages of the in-use counters")};
constexpr Field count_ecu_name[] = {message_count(0x09, "Messages of the ECU name")};
constexpr Field count_esn[] = {message_count(0x0C, "Messages of the engine serial number")};
constexpr Field count_erotan[] = {message_count(0x0E, "Messages of the type approval number")};

constexpr Field vin[] = {characters(0x02, "Vehicle identification number", "VIN", 17)};
constexpr Field calibration[] = {characters(0x04, "Calibration identification", "CALID", 16)};
constexpr Field verification[] = {{.id = 0x06,
                                   .name = "Calibration verification number",
                                   .key = "CVN",
                                   .at = 0,
                                   .bytes = 4,
                                   .kind = Kind::hex}};
constexpr Field spark[] = {
    counter(0x08, "OBD monitoring conditions encountered", "OBDCOND", 0),
    counter(0x08, "Ignition cycles", "IGNCNTR", 2),
    counter(0x08, "Catalyst bank 1 monitor completions", "CATCOMP1", 4),
    counter(0x08, "Catalyst bank 1 monitor conditions encountered", "CATCOND1", 6),
    counter(0x08, "Catalyst bank 2 monitor completions", "CATCOMP2", 8),
    counter(0x08, "Catalyst bank 2 monitor conditions encountered", "CATCOND2", 10),
    counter(0x08, "Oxygen sensor bank 1 monitor completions", "O2SCOMP1", 12),
    counter(0x08, "Oxygen sensor bank 1 monitor conditions encountered", "O2SCOND1", 14),
    counter(0x08, "Oxygen sensor bank 2 monitor completions", "O2SCOMP2", 16),
    counter(0x08, "Oxygen sensor bank 2 monitor conditions encountered", "O2SCOND2", 18),
    counter(0x08, "Exhaust gas recirculation and variable valve timing monitor completions",
            "EGRCOMP", 20),
    counter(0x08,
            "Exhaust gas recirculation and variable valve timing monitor conditions encountered",
            "EGRCOND", 22),
    counter(0x08, "Secondary air monitor completions", "AIRCOMP", 24),
    counter(0x08, "Secondary air monitor conditions encountered", "AIRCOND", 26),
    counter(0x08, "Evaporative system monitor completions", "EVAPCOMP", 28),
    counter(0x08, "Evaporative system monitor conditions encountered", "EVAPCOND", 30),
    counter(0x08, "Secondary oxygen sensor bank 1 monitor completions", "SO2SCOMP1", 32),
    counter(0x08, "Secondary oxygen sensor bank 1 monitor conditions encountered", "SO2SCOND1", 34),
    counter(0x08, "Secondary oxygen sensor bank 2 monitor completions", "SO2SCOMP2", 36),
    counter(0x08, "Secondary oxygen sensor bank 2 monitor conditions encountered", "SO2SCOND2", 38),
    counter(0x08, "Air/fuel ratio imbalance bank 1 monitor completions", "AFRICOMP1", 40, later),
    counter(0x08, "Air/fuel ratio imbalance bank 1 monitor conditions encountered", "AFRICOND1", 42,
            later),
    counter(0x08, "Air/fuel ratio imbalance bank 2 monitor completions", "AFRICOMP2", 44, later),
    counter(0x08, "Air/fuel ratio imbalance bank 2 monitor conditions encountered", "AFRICOND2", 46,
            later),
    counter(0x08, "Particulate filter bank 1 monitor completions", "PFCOMP1", 48, later),
    counter(0x08, "Particulate filter bank 1 monitor conditions encountered", "PFCOND1", 50, later),
    counter(0x08, "Particulate filter bank 2 monitor completions", "PFCOMP2", 52, later),
    counter(0x08, "Particulate filter bank 2 monitor conditions encountered", "PFCOND2", 54, later),
};
constexpr Field ecu_name[] = {characters(0x0A, "ECU name", "ECUNAME", 20)};
constexpr Field compression[] = {
    counter(0x0B, "OBD monitoring conditions encountered", "OBDCOND", 0),
    counter(0x0B, "Ignition cycles", "IGNCNTR", 2),
    counter(0x0B, "NMHC catalyst monitor completions", "HCCATCOMP", 4),
    counter(0x0B, "NMHC catalyst monitor conditions encountered", "HCCATCOND", 6),
    counter(0x0B, "NOx catalyst monitor completions", "NCATCOMP", 8),
    counter(0x0B, "NOx catalyst monitor conditions encountered", "NCATCOND", 10),
    counter(0x0B, "NOx adsorber monitor completions", "NADSCOMP", 12),
    counter(0x0B, "NOx adsorber monitor conditions encountered", "NADSCOND", 14),
    counter(0x0B, "Particulate filter monitor completions", "PMCOMP", 16),
    counter(0x0B, "Particulate filter monitor conditions encountered", "PMCOND", 18),
    counter(0x0B, "Exhaust gas sensor monitor completions", "EGSCOMP", 20),
    counter(0x0B, "Exhaust gas sensor monitor conditions encountered", "EGSCOND", 22),
    counter(0x0B, "Exhaust gas recirculation and variable valve timing monitor completions",
            "EGRCOMP", 24),
    counter(0x0B,
            "Exhaust gas recirculation and variable valve timing monitor conditions encountered",
            "EGRCOND", 26),
    counter(0x0B, "Boost pressure monitor completions", "BPCOMP", 28),
    counter(0x0B, "Boost pressure monitor conditions encountered", "BPCOND", 30),
    counter(0x0B, "Fuel monitor completions", "FUELCOMP", 32),
    counter(0x0B, "Fuel monitor conditions encountered", "FUELCOND", 34),
};
constexpr Field serial[] = {characters(0x0D, "Engine serial number", "ESN", 17)};
constexpr Field approval[] = {
    characters(0x0F, "Exhaust regulation or type approval number", "EROTAN", 17)};
constexpr Choice protocols[] = {{0x01, "ISO 27145-4"}, {0x02, "SAE J1979-2"}};
constexpr Field protocol[] = {{.id = 0x10,
                               .name = "Protocol identification",
                               .key = "PROTID",
                               .at = 0,
                               .bytes = 1,
                               .kind = Kind::choice,
                               .choices = protocols,
                               .unsure = "values from memory"}};
constexpr Field regulation[] = {
    characters(0x11, "Number of the global technical regulation", "GTR", 11)};
constexpr Field fuelled_cycles[] = {{.id = 0x12,
                                     .name = "Ignition cycles with fuelled engine operation",
                                     .key = "FEOCNTR",
                                     .at = 0,
                                     .bytes = 2,
                                     .unit = Unit::count}};
constexpr Field evap_distance[] = {
    all_bytes(0x14, "Distance since the evaporative decision", "EVAP_DIST")};
constexpr Field run_times[] = {all_bytes(0x16, "Engine run time tracking", "")};
constexpr Field fuel_tracking[] = {all_bytes(0x17, "Distance and fuel tracking", "")};
constexpr Field hybrid_tracking[] = {all_bytes(0x18, "Plug-in hybrid distance tracking", "")};
constexpr Field hybrid_fuel[] = {all_bytes(0x1A, "Plug-in hybrid fuel tracking", "")};
constexpr Field grid_energy[] = {all_bytes(0x1B, "Plug-in hybrid grid energy tracking", "")};

constexpr Row info_type_table[] = {
    {0x00, 4, "Supported InfoTypes", annex_g, Evidence::outside_program, nullptr, support_00},
    {0x01, 1, "Messages of the VIN", annex_g, Evidence::memory, nullptr, count_vin},
    {0x02, 17, "Vehicle identification number", annex_g, Evidence::outside_program, nullptr, vin},
    {0x03, 1, "Messages of the calibration identifications", annex_g, Evidence::memory, nullptr,
     count_calid},
    {0x04, 16, "Calibration identification", annex_g, Evidence::memory, nullptr, calibration},
    {0x05, 1, "Messages of the calibration verification numbers", annex_g, Evidence::memory,
     nullptr, count_cvn},
    {0x06, 4, "Calibration verification number", annex_g, Evidence::memory, nullptr, verification},
    {0x07, 1, "Messages of the in-use counters", annex_g, Evidence::memory, nullptr, count_ipt},
    {0x08, 2, "In-use counters, spark ignition", annex_g, Evidence::memory, nullptr, spark},
    {0x09, 1, "Messages of the ECU name", annex_g, Evidence::memory, nullptr, count_ecu_name},
    {0x0A, 20, "ECU name", annex_g, Evidence::outside_program, nullptr, ecu_name},
    {0x0B, 2, "In-use counters, compression ignition", annex_g, Evidence::memory, nullptr,
     compression},
    {0x0C, 1, "Messages of the engine serial number", annex_g, Evidence::memory, nullptr,
     count_esn},
    {0x0D, 17, "Engine serial number", annex_g, Evidence::memory, nullptr, serial},
    {0x0E, 1, "Messages of the type approval number", annex_g, Evidence::memory, nullptr,
     count_erotan},
    {0x0F, 17, "Exhaust regulation or type approval number", annex_g, Evidence::memory, nullptr,
     approval},
    {0x10, 1, "Protocol identification", annex_g, Evidence::memory, "values from memory", protocol},
    {0x11, 11, "Number of the global technical regulation", annex_g, Evidence::memory,
     "length from memory", regulation},
    {0x12, 2, "Ignition cycles with fuelled engine operation", annex_g, Evidence::memory,
     "identifier from memory", fuelled_cycles},
    {0x14, 0, "Distance since the evaporative decision", annex_g, Evidence::memory, layout,
     evap_distance},
    {0x16, 0, "Engine run time tracking", annex_g, Evidence::memory, layout, run_times},
    {0x17, 0, "Distance and fuel tracking", annex_g, Evidence::memory, layout, fuel_tracking},
    {0x18, 0, "Plug-in hybrid distance tracking", annex_g, Evidence::memory, layout,
     hybrid_tracking},
    {0x1A, 0, "Plug-in hybrid fuel tracking", annex_g, Evidence::memory, layout, hybrid_fuel},
    {0x1B, 0, "Plug-in hybrid grid energy tracking", annex_g, Evidence::memory, layout,
     grid_energy},
    {0x20, 4, "Supported InfoTypes", annex_g, Evidence::memory, nullptr, support_20},
    {0x40, 4, "Supported InfoTypes", annex_g, Evidence::memory, nullptr, support_40},
    {0x60, 4, "Supported InfoTypes", annex_g, Evidence::memory, nullptr, support_60},
    {0x80, 4, "Supported InfoTypes", annex_g, Evidence::memory, nullptr, support_80},
    {0xA0, 4, "Supported InfoTypes", annex_g, Evidence::memory, nullptr, support_A0},
    {0xC0, 4, "Supported InfoTypes", annex_g, Evidence::memory, nullptr, support_C0},
    {0xE0, 4, "Supported InfoTypes", annex_g, Evidence::memory, nullptr, support_E0},
};
constexpr auto info_type_index = index_of(info_type_table);

} // namespace

std::span<const Row> info_types() noexcept {
    return info_type_table;
}
const Row* info_type(std::uint8_t id) noexcept {
    return look_up(info_type_table, info_type_index, id);
}

} // namespace telltale::catalogue
