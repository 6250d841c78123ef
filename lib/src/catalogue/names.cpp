// SPDX-License-Identifier: Apache-2.0
// Identifiers that need no more than a name: services, negative responses, monitors, tests.
#include "telltale/catalogue/catalogue.hpp"

#include "index.hpp"

namespace telltale::catalogue {

namespace {

constexpr const char* iso_14229 = "ISO 14229-1:2020, annex A";
constexpr const char* iso_14230 = "ISO 14230-3:1999, 4.4";
constexpr const char* j1979 = "SAE J1979 / ISO 15031-5, table of services";
constexpr const char* annex_c = "SAE J1979-DA, annex C";
constexpr const char* annex_d = "SAE J1979-DA, annex D";
constexpr const char* annex_f = "SAE J1979-DA, annex F";

// Where the two standards give one code different meanings, the meaning of ISO 14229-1 leads: the
// services of ISO 14230-3 that could answer with the other are no OBD services.
constexpr Name negative_table[] = {
    {0x10, "general reject", iso_14229, Evidence::outside_program},
    {0x11, "service not supported", iso_14229, Evidence::outside_program},
    {0x12, "subfunction not supported", iso_14229, Evidence::outside_program},
    {0x13, "incorrect message length or invalid format", iso_14229, Evidence::outside_program},
    {0x14, "response too long", iso_14229, Evidence::outside_program},
    {0x21, "busy, repeat the request", iso_14229, Evidence::outside_program},
    {0x22, "conditions not correct", iso_14229, Evidence::outside_program},
    {0x23, "routine not complete", iso_14230, Evidence::memory},
    {0x24, "request sequence error", iso_14229, Evidence::outside_program},
    {0x25, "no response from a component of the subnet", iso_14229, Evidence::outside_program},
    {0x26, "a failure prevents the requested action", iso_14229, Evidence::outside_program},
    {0x31, "request out of range", iso_14229, Evidence::outside_program},
    {0x33, "security access denied", iso_14229, Evidence::outside_program},
    {0x34, "authentication required", iso_14229, Evidence::outside_program},
    {0x35, "invalid key", iso_14229, Evidence::outside_program},
    {0x36, "number of attempts exceeded", iso_14229, Evidence::outside_program},
    {0x37, "required time delay not expired", iso_14229, Evidence::outside_program},
    {0x38, "secure data transmission required", iso_14229, Evidence::outside_program},
    {0x39, "secure data transmission not allowed", iso_14229, Evidence::outside_program},
    {0x3A, "secure data verification failed", iso_14229, Evidence::outside_program},
    {0x40, "download not accepted", iso_14230, Evidence::memory},
    {0x41, "improper download type", iso_14230, Evidence::memory},
    {0x42, "cannot download to the given address", iso_14230, Evidence::memory},
    {0x43, "cannot download the number of bytes requested", iso_14230, Evidence::memory},
    {0x50, "certificate invalid: time period (ISO 14230-3: upload not accepted)", iso_14229,
     Evidence::outside_program},
    {0x51, "certificate invalid: signature (ISO 14230-3: improper upload type)", iso_14229,
     Evidence::outside_program},
    {0x52,
     "certificate invalid: chain of trust (ISO 14230-3: cannot upload from the given address)",
     iso_14229, Evidence::outside_program},
    {0x53, "certificate invalid: type (ISO 14230-3: cannot upload the number of bytes requested)",
     iso_14229, Evidence::outside_program},
    {0x54, "certificate invalid: format", iso_14229, Evidence::outside_program},
    {0x55, "certificate invalid: content", iso_14229, Evidence::outside_program},
    {0x56, "certificate invalid: scope", iso_14229, Evidence::outside_program},
    {0x57, "certificate invalid: revoked", iso_14229, Evidence::outside_program},
    {0x58, "ownership verification failed", iso_14229, Evidence::outside_program},
    {0x59, "challenge calculation failed", iso_14229, Evidence::outside_program},
    {0x5A, "setting access rights failed", iso_14229, Evidence::outside_program},
    {0x5B, "session key creation or derivation failed", iso_14229, Evidence::outside_program},
    {0x5C, "configuration data usage failed", iso_14229, Evidence::outside_program},
    {0x5D, "deauthentication failed", iso_14229, Evidence::outside_program},
    {0x70, "upload or download not accepted", iso_14229, Evidence::outside_program},
    {0x71, "transfer suspended", iso_14229, Evidence::outside_program},
    {0x72, "general programming failure (ISO 14230-3: transfer aborted)", iso_14229,
     Evidence::outside_program},
    {0x73, "wrong block sequence counter", iso_14229, Evidence::outside_program},
    {0x74, "illegal address in block transfer", iso_14230, Evidence::memory},
    {0x75, "illegal byte count in block transfer", iso_14230, Evidence::memory},
    {0x76, "illegal block transfer type", iso_14230, Evidence::memory},
    {0x77, "block transfer data checksum error", iso_14230, Evidence::memory},
    {0x78, "request received, response pending", iso_14229, Evidence::outside_program},
    {0x79, "incorrect byte count during block transfer", iso_14230, Evidence::memory},
    {0x7E, "subfunction not supported in the active session", iso_14229, Evidence::outside_program},
    {0x7F, "service not supported in the active session", iso_14229, Evidence::outside_program},
    {0x80, "service not supported in the active diagnostic mode", iso_14230, Evidence::memory},
    {0x81, "engine speed too high", iso_14229, Evidence::outside_program},
    {0x82, "engine speed too low", iso_14229, Evidence::outside_program},
    {0x83, "engine is running", iso_14229, Evidence::outside_program},
    {0x84, "engine is not running", iso_14229, Evidence::outside_program},
    {0x85, "engine run time too short", iso_14229, Evidence::outside_program},
    {0x86, "temperature too high", iso_14229, Evidence::outside_program},
    {0x87, "temperature too low", iso_14229, Evidence::outside_program},
    {0x88, "vehicle speed too high", iso_14229, Evidence::outside_program},
    {0x89, "vehicle speed too low", iso_14229, Evidence::outside_program},
    {0x8A, "throttle or pedal position too high", iso_14229, Evidence::outside_program},
    {0x8B, "throttle or pedal position too low", iso_14229, Evidence::outside_program},
    {0x8C, "transmission not in neutral", iso_14229, Evidence::outside_program},
    {0x8D, "transmission not in gear", iso_14229, Evidence::outside_program},
    {0x8F, "brake switch not closed", iso_14229, Evidence::outside_program},
    {0x90, "shift lever not in park", iso_14229, Evidence::outside_program},
    {0x91, "torque converter clutch locked", iso_14229, Evidence::outside_program},
    {0x92, "voltage too high", iso_14229, Evidence::outside_program},
    {0x93, "voltage too low", iso_14229, Evidence::outside_program},
    {0x94, "resource temporarily not available", iso_14229, Evidence::outside_program},
};

constexpr Name service_table[] = {
    {0x01, "current data", j1979, Evidence::outside_program},
    {0x02, "freeze frame data", j1979, Evidence::outside_program},
    {0x03, "stored trouble codes", j1979, Evidence::outside_program},
    {0x04, "clear trouble codes and all that belongs to them", j1979, Evidence::outside_program},
    {0x05, "oxygen sensor test results", j1979, Evidence::outside_program},
    {0x06, "monitor test results", j1979, Evidence::outside_program},
    {0x07, "pending trouble codes", j1979, Evidence::outside_program},
    {0x08, "control of on-board systems, tests and components", j1979, Evidence::outside_program},
    {0x09, "vehicle information", j1979, Evidence::outside_program},
    {0x0A, "permanent trouble codes", j1979, Evidence::outside_program},
    {0x10, "diagnostic session control", "ISO 14229-1; SAE J1979-2", Evidence::outside_program},
    {0x14, "clear diagnostic information", "ISO 14229-1; SAE J1979-2", Evidence::outside_program},
    {0x19, "read trouble code information", "ISO 14229-1; SAE J1979-2", Evidence::outside_program},
    {0x22, "read data by identifier", "ISO 14229-1; SAE J1979-2", Evidence::outside_program},
    {0x31, "routine control", "ISO 14229-1; SAE J1979-2", Evidence::outside_program},
    {0x3E, "tester present", "ISO 14229-1; SAE J1979-2", Evidence::outside_program},
};

// The monitors that come by bank and sensor have them in the identifier: four sensors a bank.
constexpr Name monitor_table[] = {
    {0x01, "Exhaust gas sensor, bank 1 sensor 1", annex_d},
    {0x02, "Exhaust gas sensor, bank 1 sensor 2", annex_d},
    {0x03, "Exhaust gas sensor, bank 1 sensor 3", annex_d},
    {0x04, "Exhaust gas sensor, bank 1 sensor 4", annex_d},
    {0x05, "Exhaust gas sensor, bank 2 sensor 1", annex_d},
    {0x06, "Exhaust gas sensor, bank 2 sensor 2", annex_d},
    {0x07, "Exhaust gas sensor, bank 2 sensor 3", annex_d},
    {0x08, "Exhaust gas sensor, bank 2 sensor 4", annex_d},
    {0x09, "Exhaust gas sensor, bank 3 sensor 1", annex_d},
    {0x0A, "Exhaust gas sensor, bank 3 sensor 2", annex_d},
    {0x0B, "Exhaust gas sensor, bank 3 sensor 3", annex_d},
    {0x0C, "Exhaust gas sensor, bank 3 sensor 4", annex_d},
    {0x0D, "Exhaust gas sensor, bank 4 sensor 1", annex_d},
    {0x0E, "Exhaust gas sensor, bank 4 sensor 2", annex_d},
    {0x0F, "Exhaust gas sensor, bank 4 sensor 3", annex_d},
    {0x10, "Exhaust gas sensor, bank 4 sensor 4", annex_d},
    {0x21, "Catalyst, bank 1", annex_d},
    {0x22, "Catalyst, bank 2", annex_d},
    {0x23, "Catalyst, bank 3", annex_d},
    {0x24, "Catalyst, bank 4", annex_d},
    {0x31, "Exhaust gas recirculation, bank 1", annex_d},
    {0x32, "Exhaust gas recirculation, bank 2", annex_d},
    {0x33, "Exhaust gas recirculation, bank 3", annex_d},
    {0x34, "Exhaust gas recirculation, bank 4", annex_d},
    {0x35, "Variable valve timing, bank 1", annex_d},
    {0x36, "Variable valve timing, bank 2", annex_d},
    {0x37, "Variable valve timing, bank 3", annex_d},
    {0x38, "Variable valve timing, bank 4", annex_d},
    {0x39, "Evaporative system, cap off or leak of 0.150 in", annex_d},
    {0x3A, "Evaporative system, leak of 0.090 in", annex_d},
    {0x3B, "Evaporative system, leak of 0.040 in", annex_d},
    {0x3C, "Evaporative system, leak of 0.020 in", annex_d},
    {0x3D, "Purge flow", annex_d},
    {0x41, "Exhaust gas sensor heater, bank 1 sensor 1", annex_d},
    {0x42, "Exhaust gas sensor heater, bank 1 sensor 2", annex_d},
    {0x43, "Exhaust gas sensor heater, bank 1 sensor 3", annex_d},
    {0x44, "Exhaust gas sensor heater, bank 1 sensor 4", annex_d},
    {0x45, "Exhaust gas sensor heater, bank 2 sensor 1", annex_d},
    {0x46, "Exhaust gas sensor heater, bank 2 sensor 2", annex_d},
    {0x47, "Exhaust gas sensor heater, bank 2 sensor 3", annex_d},
    {0x48, "Exhaust gas sensor heater, bank 2 sensor 4", annex_d},
    {0x49, "Exhaust gas sensor heater, bank 3 sensor 1", annex_d},
    {0x4A, "Exhaust gas sensor heater, bank 3 sensor 2", annex_d},
    {0x4B, "Exhaust gas sensor heater, bank 3 sensor 3", annex_d},
    {0x4C, "Exhaust gas sensor heater, bank 3 sensor 4", annex_d},
    {0x4D, "Exhaust gas sensor heater, bank 4 sensor 1", annex_d},
    {0x4E, "Exhaust gas sensor heater, bank 4 sensor 2", annex_d},
    {0x4F, "Exhaust gas sensor heater, bank 4 sensor 3", annex_d},
    {0x50, "Exhaust gas sensor heater, bank 4 sensor 4", annex_d},
    {0x61, "Heated catalyst, bank 1", annex_d},
    {0x62, "Heated catalyst, bank 2", annex_d},
    {0x63, "Heated catalyst, bank 3", annex_d},
    {0x64, "Heated catalyst, bank 4", annex_d},
    {0x71, "Secondary air, bank 1", annex_d},
    {0x72, "Secondary air, bank 2", annex_d},
    {0x73, "Secondary air, bank 3", annex_d},
    {0x74, "Secondary air, bank 4", annex_d},
    {0x81, "Fuel system, bank 1", annex_d},
    {0x82, "Fuel system, bank 2", annex_d},
    {0x83, "Fuel system, bank 3", annex_d},
    {0x84, "Fuel system, bank 4", annex_d},
    {0x85, "Boost pressure control, bank 1", annex_d},
    {0x86, "Boost pressure control, bank 2", annex_d},
    {0x90, "NOx adsorber, bank 1", annex_d},
    {0x91, "NOx adsorber, bank 2", annex_d},
    {0x98, "NOx catalyst, bank 1", annex_d},
    {0x99, "NOx catalyst, bank 2", annex_d},
    {0xA1, "Misfire, general data", annex_d},
    {0xA2, "Misfire, cylinder 1", annex_d},
    {0xA3, "Misfire, cylinder 2", annex_d},
    {0xA4, "Misfire, cylinder 3", annex_d},
    {0xA5, "Misfire, cylinder 4", annex_d},
    {0xA6, "Misfire, cylinder 5", annex_d},
    {0xA7, "Misfire, cylinder 6", annex_d},
    {0xA8, "Misfire, cylinder 7", annex_d},
    {0xA9, "Misfire, cylinder 8", annex_d},
    {0xAA, "Misfire, cylinder 9", annex_d},
    {0xAB, "Misfire, cylinder 10", annex_d},
    {0xAC, "Misfire, cylinder 11", annex_d},
    {0xAD, "Misfire, cylinder 12", annex_d},
    {0xAE, "Misfire, cylinder 13", annex_d, Evidence::memory,
     "identifiers AE to B1 are of a later edition, from memory"},
    {0xAF, "Misfire, cylinder 14", annex_d, Evidence::memory,
     "identifiers AE to B1 are of a later edition, from memory"},
    {0xB0, "Misfire, cylinder 15", annex_d, Evidence::memory,
     "identifiers AE to B1 are of a later edition, from memory"},
    {0xB1, "Misfire, cylinder 16", annex_d, Evidence::memory,
     "identifiers AE to B1 are of a later edition, from memory"},
    {0xB2, "Particulate filter, bank 1", annex_d},
    {0xB3, "Particulate filter, bank 2", annex_d},
};

constexpr Name test_table[] = {
    {0x01, "rich to lean sensor threshold voltage", annex_c},
    {0x02, "lean to rich sensor threshold voltage", annex_c},
    {0x03, "low sensor voltage for switch time", annex_c},
    {0x04, "high sensor voltage for switch time", annex_c},
    {0x05, "rich to lean sensor switch time", annex_c},
    {0x06, "lean to rich sensor switch time", annex_c},
    {0x07, "lowest sensor voltage of the test cycle", annex_c},
    {0x08, "highest sensor voltage of the test cycle", annex_c},
    {0x09, "time between sensor transitions", annex_c},
    {0x0A, "sensor period", annex_c},
    {0x0B, "misfire counts, weighted average over the last ten driving cycles", annex_c},
    {0x0C, "misfire counts, last or current driving cycle", annex_c},
};

constexpr Name control_table[] = {
    {0x01, "Evaporative system leak test: close the system", annex_f},
};

constexpr auto negative_index = index_of(negative_table);
constexpr auto service_index = index_of(service_table);
constexpr auto monitor_index = index_of(monitor_table);
constexpr auto test_index = index_of(test_table);
constexpr auto control_index = index_of(control_table);

} // namespace

std::span<const Name> negative_codes() noexcept {
    return negative_table;
}
const Name* negative_code(std::uint8_t id) noexcept {
    return look_up(negative_table, negative_index, id);
}

std::span<const Name> services() noexcept {
    return service_table;
}
const Name* service(std::uint8_t id) noexcept {
    return look_up(service_table, service_index, id);
}

std::span<const Name> monitors() noexcept {
    return monitor_table;
}
const Name* monitor(std::uint8_t id) noexcept {
    return look_up(monitor_table, monitor_index, id);
}

std::span<const Name> tests() noexcept {
    return test_table;
}
const Name* test(std::uint8_t id) noexcept {
    return look_up(test_table, test_index, id);
}

std::span<const Name> controls() noexcept {
    return control_table;
}
const Name* control(std::uint8_t id) noexcept {
    return look_up(control_table, control_index, id);
}

} // namespace telltale::catalogue
