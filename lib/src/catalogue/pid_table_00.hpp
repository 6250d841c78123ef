// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "pid_builder.hpp"

/// PIDs 00 to 63 (SAE J1979-DA annex B; ISO 15031-5 annex B).
namespace telltale::catalogue::table {

inline constexpr Choice completion[] = {{0, "complete"}, {1, "not complete"}};
inline constexpr Choice off_on[] = {{0, "off"}, {1, "on"}};
inline constexpr Choice not_active_active[] = {{0, "not active"}, {1, "active"}};
inline constexpr Choice not_there_there[] = {{0, "not there"}, {1, "there"}};
inline constexpr Choice ignition[] = {{0, "spark"}, {1, "compression"}};

inline constexpr Choice fuel_system[] = {
    {0x00, "no loop: engine off or system not in use"},
    {0x01, "open loop: not yet warm enough for closed loop"},
    {0x02, "closed loop: oxygen sensors steer the fuel"},
    {0x04, "open loop: driving conditions (power enrichment, deceleration)"},
    {0x08, "open loop: fault found"},
    {0x10, "closed loop with a fault: at least one oxygen sensor is not relied on"},
};

inline constexpr Choice secondary_air[] = {
    {0x01, "upstream of the first catalyst"},
    {0x02, "downstream of the first catalyst inlet"},
    {0x04, "to atmosphere or off"},
    {0x08, "pump switched on for diagnosis"},
};

inline constexpr Choice requirement[] = {
    {0x01, "OBD II (California ARB)"},
    {0x02, "OBD (US EPA)"},
    {0x03, "OBD and OBD II"},
    {0x04, "OBD I"},
    {0x05, "not required to have OBD"},
    {0x06, "EOBD"},
    {0x07, "EOBD and OBD II"},
    {0x08, "EOBD and OBD"},
    {0x09, "EOBD, OBD and OBD II"},
    {0x0A, "JOBD"},
    {0x0B, "JOBD and OBD II"},
    {0x0C, "JOBD and EOBD"},
    {0x0D, "JOBD, EOBD and OBD II"},
    {0x0E, "heavy-duty Euro IV, stage B1", true},
    {0x0F, "heavy-duty Euro V, stage B2", true},
    {0x10, "heavy-duty Euro EEV, stage C", true},
    {0x11, "EMD: engine manufacturer diagnostics"},
    {0x12, "EMD+: engine manufacturer diagnostics, enhanced"},
    {0x13, "HD OBD-C: heavy-duty OBD, child or partial"},
    {0x14, "HD OBD: heavy-duty OBD"},
    {0x15, "WWH-OBD: world-wide harmonized OBD"},
    {0x17, "HD EOBD-I: heavy-duty Euro OBD stage I, no NOx control"},
    {0x18, "HD EOBD-I N: heavy-duty Euro OBD stage I with NOx control"},
    {0x19, "HD EOBD-II: heavy-duty Euro OBD stage II, no NOx control"},
    {0x1A, "HD EOBD-II N: heavy-duty Euro OBD stage II with NOx control"},
    {0x1C, "OBDBr-1: Brazil OBD phase 1"},
    {0x1D, "OBDBr-2: Brazil OBD phase 2"},
    {0x1E, "KOBD: Korean OBD"},
    {0x1F, "IOBD I: India OBD I"},
    {0x20, "IOBD II: India OBD II"},
    {0x21, "HD EOBD-VI: heavy-duty Euro OBD stage VI"},
    {0x22, "OBD, OBD II and HD OBD", true},
    {0x23, "OBDBr-3: Brazil OBD phase 3", true},
    {0x24, "MC EOBD-I: motorcycle Euro OBD stage I", true},
    {0x25, "MC EOBD-II: motorcycle Euro OBD stage II", true},
    {0x26, "MC COBD-I: motorcycle China OBD stage I", true},
    {0x27, "MC TOBD-I: motorcycle Taiwan OBD stage I", true},
    {0x28, "MC JOBD-I: motorcycle Japan OBD stage I", true},
    {0x29, "CN-OBD-6: China OBD stage 6", true},
};

inline constexpr Choice emission_requirement[] = {
    {0x0E, "heavy-duty Euro IV, stage B1"},
    {0x0F, "heavy-duty Euro V, stage B2"},
    {0x10, "heavy-duty Euro EEV, stage C"},
};

inline constexpr Choice fuel_type[] = {
    {0x00, "not available"},
    {0x01, "gasoline"},
    {0x02, "methanol"},
    {0x03, "ethanol"},
    {0x04, "diesel"},
    {0x05, "liquefied petroleum gas (LPG)"},
    {0x06, "compressed natural gas (CNG)"},
    {0x07, "propane"},
    {0x08, "battery (electric)"},
    {0x09, "bi-fuel, now on gasoline"},
    {0x0A, "bi-fuel, now on methanol"},
    {0x0B, "bi-fuel, now on ethanol"},
    {0x0C, "bi-fuel, now on LPG"},
    {0x0D, "bi-fuel, now on CNG"},
    {0x0E, "bi-fuel, now on propane"},
    {0x0F, "bi-fuel, now on battery"},
    {0x10, "bi-fuel, now on battery and combustion engine"},
    {0x11, "hybrid, gasoline engine"},
    {0x12, "hybrid, ethanol engine"},
    {0x13, "hybrid, diesel engine"},
    {0x14, "hybrid, now on battery"},
    {0x15, "hybrid, now on battery and combustion engine"},
    {0x16, "hybrid, now in regeneration"},
    {0x17, "bi-fuel, now on diesel"},
    {0x18, "natural gas (CNG or LNG)", true},
    {0x19, "bi-fuel, now on natural gas (CNG or LNG)", true},
};

inline constexpr const char* ac_note =
    "later editions of J1979-DA give this bit to the gasoline particulate filter monitor";

/// The scalings that PIDs 4F and 50 replace, as they are before that.
inline constexpr Scale ratio_fine{2, 65536, 0};
inline constexpr Scale volts_fine{8, 65536, 0};
inline constexpr Scale current_fine{128, 32768, -128};

// clang-format off
inline constexpr Field fields_00[] = {
//     PID   byte  what it holds, short name, name
bitmap(0x00, "PIDs supported 01 to 20"),

flag  (0x01, A, 7, off_on, "MIL", "Malfunction indicator lamp"),
small (0x01, A, 0, 7, Unit::count, "DTC_CNT", "Confirmed emission-related codes"),
flag  (0x01, B, 3, ignition, "", "Kind of ignition"),
flag  (0x01, B, 4, completion, "MIS_RDY", "Misfire monitor").on(B, 0),
flag  (0x01, B, 5, completion, "FUEL_RDY", "Fuel system monitor").on(B, 1),
flag  (0x01, B, 6, completion, "CCM_RDY", "Comprehensive component monitor").on(B, 2),
flag  (0x01, D, 0, completion, "CAT_RDY", "Catalyst monitor").on(C, 0).only(B, 3, false),
flag  (0x01, D, 1, completion, "HCAT_RDY", "Heated catalyst monitor").on(C, 1).only(B, 3, false),
flag  (0x01, D, 2, completion, "EVAP_RDY", "Evaporative system monitor").on(C, 2).only(B, 3, false),
flag  (0x01, D, 3, completion, "AIR_RDY", "Secondary air system monitor").on(C, 3).only(B, 3, false),
flag  (0x01, D, 4, completion, "ACRF_RDY", "Air conditioning refrigerant monitor").on(C, 4).only(B, 3, false).noted(ac_note),
flag  (0x01, D, 5, completion, "O2S_RDY", "Oxygen sensor monitor").on(C, 5).only(B, 3, false),
flag  (0x01, D, 6, completion, "HTR_RDY", "Oxygen sensor heater monitor").on(C, 6).only(B, 3, false),
flag  (0x01, D, 0, completion, "HCCATRDY", "NMHC catalyst monitor").on(C, 0).only(B, 3, true),
flag  (0x01, D, 1, completion, "NCAT_RDY", "NOx aftertreatment monitor").on(C, 1).only(B, 3, true),
flag  (0x01, D, 3, completion, "BP_RDY", "Boost pressure system monitor").on(C, 3).only(B, 3, true),
flag  (0x01, D, 5, completion, "EGS_RDY", "Exhaust gas sensor monitor").on(C, 5).only(B, 3, true),
flag  (0x01, D, 6, completion, "PM_RDY", "Particulate filter monitor").on(C, 6).only(B, 3, true),
flag  (0x01, D, 7, completion, "EGR_RDY", "EGR and variable valve timing monitor").on(C, 7),

code  (0x02, A, "DTCFRZF", "Code that stored the freeze frame"),

choice(0x03, A, fuel_system, "FUELSYS1", "Fuel system 1 status"),
choice(0x03, B, fuel_system, "FUELSYS2", "Fuel system 2 status"),

number(0x04, A, one, percent_255, Unit::percent, "LOAD_PCT", "Calculated engine load"),
number(0x05, A, one, temperature, Unit::celsius, "ECT", "Engine coolant temperature"),
number(0x06, A, one, percent_signed, Unit::percent, "SHRTFT1", "Short-term fuel trim bank 1"),
number(0x06, B, one, percent_signed, Unit::percent, "SHRTFT3", "Short-term fuel trim bank 3"),
number(0x07, A, one, percent_signed, Unit::percent, "LONGFT1", "Long-term fuel trim bank 1"),
number(0x07, B, one, percent_signed, Unit::percent, "LONGFT3", "Long-term fuel trim bank 3"),
number(0x08, A, one, percent_signed, Unit::percent, "SHRTFT2", "Short-term fuel trim bank 2"),
number(0x08, B, one, percent_signed, Unit::percent, "SHRTFT4", "Short-term fuel trim bank 4"),
number(0x09, A, one, percent_signed, Unit::percent, "LONGFT2", "Long-term fuel trim bank 2"),
number(0x09, B, one, percent_signed, Unit::percent, "LONGFT4", "Long-term fuel trim bank 4"),
number(0x0A, A, one, {3, 1, 0}, Unit::kilopascal, "FRP", "Fuel pressure, gauge"),
number(0x0B, A, one, plain, Unit::kilopascal_air, "MAP", "Intake manifold absolute pressure").rescaled(Rescale::manifold_pressure),
number(0x0C, A, two, {1, 4, 0}, Unit::rpm, "RPM", "Engine speed"),
number(0x0D, A, one, plain, Unit::kilometre_hour, "VSS", "Vehicle speed"),
number(0x0E, A, one, {1, 2, -64}, Unit::degree, "SPARKADV", "Ignition timing advance, cylinder 1"),
number(0x0F, A, one, temperature, Unit::celsius, "IAT", "Intake air temperature"),
number(0x10, A, two, {1, 100, 0}, Unit::gram_second, "MAF", "Mass air flow").rescaled(Rescale::air_flow),
number(0x11, A, one, percent_255, Unit::percent, "TP", "Absolute throttle position"),
choice(0x12, A, secondary_air, "AIR_STAT", "Commanded secondary air"),

flag  (0x13, A, 0, not_there_there, "O2S11", "Oxygen sensor bank 1 sensor 1"),
flag  (0x13, A, 1, not_there_there, "O2S12", "Oxygen sensor bank 1 sensor 2"),
flag  (0x13, A, 2, not_there_there, "O2S13", "Oxygen sensor bank 1 sensor 3"),
flag  (0x13, A, 3, not_there_there, "O2S14", "Oxygen sensor bank 1 sensor 4"),
flag  (0x13, A, 4, not_there_there, "O2S21", "Oxygen sensor bank 2 sensor 1"),
flag  (0x13, A, 5, not_there_there, "O2S22", "Oxygen sensor bank 2 sensor 2"),
flag  (0x13, A, 6, not_there_there, "O2S23", "Oxygen sensor bank 2 sensor 3"),
flag  (0x13, A, 7, not_there_there, "O2S24", "Oxygen sensor bank 2 sensor 4"),

//              PID   by PID 13              by PID 1D
#define TELLTALE_NARROW(id, sensor, words, sensor_1d, words_1d) \
number(id, A, one, {1, 200, 0}, Unit::volt, "O2S" sensor, "Oxygen sensor " words " voltage") \
    .by_1d("O2S" sensor_1d, "Oxygen sensor " words_1d " voltage"), \
number(id, B, one, percent_signed, Unit::percent, "SHRTFT" sensor, "Short-term fuel trim by " words) \
    .by_1d("SHRTFT" sensor_1d, "Short-term fuel trim by " words_1d) \
    .not_used(0xFF).noted("FF: this sensor is not used for the trim")
TELLTALE_NARROW(0x14, "11", "bank 1 sensor 1", "11", "bank 1 sensor 1"),
TELLTALE_NARROW(0x15, "12", "bank 1 sensor 2", "12", "bank 1 sensor 2"),
TELLTALE_NARROW(0x16, "13", "bank 1 sensor 3", "21", "bank 2 sensor 1"),
TELLTALE_NARROW(0x17, "14", "bank 1 sensor 4", "22", "bank 2 sensor 2"),
TELLTALE_NARROW(0x18, "21", "bank 2 sensor 1", "31", "bank 3 sensor 1"),
TELLTALE_NARROW(0x19, "22", "bank 2 sensor 2", "32", "bank 3 sensor 2"),
TELLTALE_NARROW(0x1A, "23", "bank 2 sensor 3", "41", "bank 4 sensor 1"),
TELLTALE_NARROW(0x1B, "24", "bank 2 sensor 4", "42", "bank 4 sensor 2"),
#undef TELLTALE_NARROW

choice(0x1C, A, requirement, "OBDSUP", "OBD requirements that the vehicle is designed to"),

flag  (0x1D, A, 0, not_there_there, "O2S11", "Oxygen sensor bank 1 sensor 1"),
flag  (0x1D, A, 1, not_there_there, "O2S12", "Oxygen sensor bank 1 sensor 2"),
flag  (0x1D, A, 2, not_there_there, "O2S21", "Oxygen sensor bank 2 sensor 1"),
flag  (0x1D, A, 3, not_there_there, "O2S22", "Oxygen sensor bank 2 sensor 2"),
flag  (0x1D, A, 4, not_there_there, "O2S31", "Oxygen sensor bank 3 sensor 1"),
flag  (0x1D, A, 5, not_there_there, "O2S32", "Oxygen sensor bank 3 sensor 2"),
flag  (0x1D, A, 6, not_there_there, "O2S41", "Oxygen sensor bank 4 sensor 1"),
flag  (0x1D, A, 7, not_there_there, "O2S42", "Oxygen sensor bank 4 sensor 2"),

flag  (0x1E, A, 0, not_active_active, "PTO_STAT", "Power take-off"),
number(0x1F, A, two, plain, Unit::second, "RUNTM", "Time since engine start"),

bitmap(0x20, "PIDs supported 21 to 40"),
number(0x21, A, two, plain, Unit::kilometre, "MIL_DIST", "Distance driven with the MIL on"),
number(0x22, A, two, {79, 1000, 0}, Unit::kilopascal, "FRP", "Fuel rail pressure relative to manifold vacuum"),
number(0x23, A, two, {10, 1, 0}, Unit::kilopascal, "FRP", "Fuel rail pressure, gauge, high-pressure injection"),

#define TELLTALE_WIDE(id, sensor, words, sensor_1d, words_1d) \
number(id, A, two, ratio_fine, Unit::ratio, "EQ_RAT" sensor, "Equivalence ratio (lambda) by " words) \
    .by_1d("EQ_RAT" sensor_1d, "Equivalence ratio (lambda) by " words_1d).rescaled(Rescale::equivalence_ratio), \
number(id, C, two, volts_fine, Unit::volt, "O2S" sensor, "Oxygen sensor " words " voltage, wide range") \
    .by_1d("O2S" sensor_1d, "Oxygen sensor " words_1d " voltage, wide range").rescaled(Rescale::oxygen_voltage)
TELLTALE_WIDE(0x24, "11", "bank 1 sensor 1", "11", "bank 1 sensor 1"),
TELLTALE_WIDE(0x25, "12", "bank 1 sensor 2", "12", "bank 1 sensor 2"),
TELLTALE_WIDE(0x26, "13", "bank 1 sensor 3", "21", "bank 2 sensor 1"),
TELLTALE_WIDE(0x27, "14", "bank 1 sensor 4", "22", "bank 2 sensor 2"),
TELLTALE_WIDE(0x28, "21", "bank 2 sensor 1", "31", "bank 3 sensor 1"),
TELLTALE_WIDE(0x29, "22", "bank 2 sensor 2", "32", "bank 3 sensor 2"),
TELLTALE_WIDE(0x2A, "23", "bank 2 sensor 3", "41", "bank 4 sensor 1"),
TELLTALE_WIDE(0x2B, "24", "bank 2 sensor 4", "42", "bank 4 sensor 2"),
#undef TELLTALE_WIDE

number(0x2C, A, one, percent_255, Unit::percent, "EGR_PCT", "Commanded EGR"),
number(0x2D, A, one, percent_signed, Unit::percent, "EGR_ERR", "EGR error"),
number(0x2E, A, one, percent_255, Unit::percent, "EVAP_PCT", "Commanded evaporative purge"),
number(0x2F, A, one, percent_255, Unit::percent, "FLI", "Fuel level"),
number(0x30, A, one, plain, Unit::count, "WARM_UPS", "Warm-ups since codes were cleared"),
number(0x31, A, two, plain, Unit::kilometre, "CLR_DIST", "Distance driven since codes were cleared"),
number(0x32, A, two, {1, 4, 0}, Unit::pascal, "EVAP_VP", "Evaporative system vapour pressure").signed_number(),
number(0x33, A, one, plain, Unit::kilopascal_air, "BARO", "Barometric pressure"),

#define TELLTALE_PUMP(id, sensor, words, sensor_1d, words_1d) \
number(id, A, two, ratio_fine, Unit::ratio, "EQ_RAT" sensor, "Equivalence ratio (lambda) by " words) \
    .by_1d("EQ_RAT" sensor_1d, "Equivalence ratio (lambda) by " words_1d).rescaled(Rescale::equivalence_ratio), \
number(id, C, two, current_fine, Unit::milliampere, "O2S" sensor, "Oxygen sensor " words " current, wide range") \
    .by_1d("O2S" sensor_1d, "Oxygen sensor " words_1d " current, wide range").rescaled(Rescale::oxygen_current)
TELLTALE_PUMP(0x34, "11", "bank 1 sensor 1", "11", "bank 1 sensor 1"),
TELLTALE_PUMP(0x35, "12", "bank 1 sensor 2", "12", "bank 1 sensor 2"),
TELLTALE_PUMP(0x36, "13", "bank 1 sensor 3", "21", "bank 2 sensor 1"),
TELLTALE_PUMP(0x37, "14", "bank 1 sensor 4", "22", "bank 2 sensor 2"),
TELLTALE_PUMP(0x38, "21", "bank 2 sensor 1", "31", "bank 3 sensor 1"),
TELLTALE_PUMP(0x39, "22", "bank 2 sensor 2", "32", "bank 3 sensor 2"),
TELLTALE_PUMP(0x3A, "23", "bank 2 sensor 3", "41", "bank 4 sensor 1"),
TELLTALE_PUMP(0x3B, "24", "bank 2 sensor 4", "42", "bank 4 sensor 2"),
#undef TELLTALE_PUMP

number(0x3C, A, two, temperature_fine, Unit::celsius, "CATEMP11", "Catalyst temperature bank 1 sensor 1"),
number(0x3D, A, two, temperature_fine, Unit::celsius, "CATEMP21", "Catalyst temperature bank 2 sensor 1"),
number(0x3E, A, two, temperature_fine, Unit::celsius, "CATEMP12", "Catalyst temperature bank 1 sensor 2"),
number(0x3F, A, two, temperature_fine, Unit::celsius, "CATEMP22", "Catalyst temperature bank 2 sensor 2"),

bitmap(0x40, "PIDs supported 41 to 60"),

flag  (0x41, B, 3, ignition, "", "Kind of ignition"),
flag  (0x41, B, 4, completion, "MIS_CMPL", "Misfire monitor, this driving cycle").on(B, 0),
flag  (0x41, B, 5, completion, "FUELCMPL", "Fuel system monitor, this driving cycle").on(B, 1),
flag  (0x41, B, 6, completion, "CCM_CMPL", "Comprehensive component monitor, this driving cycle").on(B, 2),
flag  (0x41, D, 0, completion, "CAT_CMPL", "Catalyst monitor, this driving cycle").on(C, 0).only(B, 3, false),
flag  (0x41, D, 1, completion, "HCATCMPL", "Heated catalyst monitor, this driving cycle").on(C, 1).only(B, 3, false),
flag  (0x41, D, 2, completion, "EVAPCMPL", "Evaporative system monitor, this driving cycle").on(C, 2).only(B, 3, false),
flag  (0x41, D, 3, completion, "AIR_CMPL", "Secondary air system monitor, this driving cycle").on(C, 3).only(B, 3, false),
flag  (0x41, D, 4, completion, "ACRFCMPL", "Air conditioning refrigerant monitor, this driving cycle").on(C, 4).only(B, 3, false).noted(ac_note),
flag  (0x41, D, 5, completion, "O2S_CMPL", "Oxygen sensor monitor, this driving cycle").on(C, 5).only(B, 3, false),
flag  (0x41, D, 6, completion, "HTR_CMPL", "Oxygen sensor heater monitor, this driving cycle").on(C, 6).only(B, 3, false),
flag  (0x41, D, 0, completion, "HCCATCMP", "NMHC catalyst monitor, this driving cycle").on(C, 0).only(B, 3, true),
flag  (0x41, D, 1, completion, "NCATCMPL", "NOx aftertreatment monitor, this driving cycle").on(C, 1).only(B, 3, true),
flag  (0x41, D, 3, completion, "BP_CMPL", "Boost pressure system monitor, this driving cycle").on(C, 3).only(B, 3, true),
flag  (0x41, D, 5, completion, "EGS_CMPL", "Exhaust gas sensor monitor, this driving cycle").on(C, 5).only(B, 3, true),
flag  (0x41, D, 6, completion, "PM_CMPL", "Particulate filter monitor, this driving cycle").on(C, 6).only(B, 3, true),
flag  (0x41, D, 7, completion, "EGR_CMPL", "EGR and variable valve timing monitor, this driving cycle").on(C, 7),

number(0x42, A, two, {1, 1000, 0}, Unit::volt, "VPWR", "Control module voltage"),
number(0x43, A, two, percent_255, Unit::percent, "LOAD_ABS", "Absolute load"),
number(0x44, A, two, ratio_fine, Unit::ratio, "EQ_RAT", "Commanded equivalence ratio (lambda)").rescaled(Rescale::equivalence_ratio),
number(0x45, A, one, percent_255, Unit::percent, "TP_R", "Relative throttle position"),
number(0x46, A, one, temperature, Unit::celsius, "AAT", "Ambient air temperature"),
number(0x47, A, one, percent_255, Unit::percent, "TP_B", "Absolute throttle position B"),
number(0x48, A, one, percent_255, Unit::percent, "TP_C", "Absolute throttle position C"),
number(0x49, A, one, percent_255, Unit::percent, "APP_D", "Accelerator pedal position D"),
number(0x4A, A, one, percent_255, Unit::percent, "APP_E", "Accelerator pedal position E"),
number(0x4B, A, one, percent_255, Unit::percent, "APP_F", "Accelerator pedal position F"),
number(0x4C, A, one, percent_255, Unit::percent, "TAC_PCT", "Commanded throttle actuator"),
number(0x4D, A, two, plain, Unit::minute, "MIL_TIME", "Engine running time with the MIL on"),
number(0x4E, A, two, plain, Unit::minute, "CLR_TIME", "Engine running time since codes were cleared"),

number(0x4F, A, one, plain, Unit::ratio, "", "Largest equivalence ratio").noted("0: PIDs 24 to 2B, 34 to 3B and 44 keep their own scaling"),
number(0x4F, B, one, plain, Unit::volt, "", "Largest oxygen sensor voltage").noted("0: PIDs 24 to 2B keep their own scaling"),
number(0x4F, C, one, plain, Unit::milliampere, "", "Largest oxygen sensor current").noted("0: PIDs 34 to 3B keep their own scaling"),
number(0x4F, D, one, {10, 1, 0}, Unit::kilopascal_air, "", "Largest intake manifold absolute pressure").noted("0: PID 0B keeps its own scaling"),
number(0x50, A, one, {10, 1, 0}, Unit::gram_second, "", "Largest mass air flow").noted("0: PID 10 keeps its own scaling"),

choice(0x51, A, fuel_type, "FUEL_TYP", "Fuel in use"),
number(0x52, A, one, percent_255, Unit::percent, "ALCH_PCT", "Alcohol in the fuel"),
number(0x53, A, two, {1, 200, 0}, Unit::kilopascal, "EVAP_VPA", "Evaporative system vapour pressure, absolute"),
number(0x54, A, two, plain, Unit::pascal, "EVAP_VP", "Evaporative system vapour pressure, wide range").signed_number(),
number(0x55, A, one, percent_signed, Unit::percent, "STSO2FT1", "Short-term fuel trim by the secondary oxygen sensor bank 1"),
number(0x55, B, one, percent_signed, Unit::percent, "STSO2FT3", "Short-term fuel trim by the secondary oxygen sensor bank 3"),
number(0x56, A, one, percent_signed, Unit::percent, "LGSO2FT1", "Long-term fuel trim by the secondary oxygen sensor bank 1"),
number(0x56, B, one, percent_signed, Unit::percent, "LGSO2FT3", "Long-term fuel trim by the secondary oxygen sensor bank 3"),
number(0x57, A, one, percent_signed, Unit::percent, "STSO2FT2", "Short-term fuel trim by the secondary oxygen sensor bank 2"),
number(0x57, B, one, percent_signed, Unit::percent, "STSO2FT4", "Short-term fuel trim by the secondary oxygen sensor bank 4"),
number(0x58, A, one, percent_signed, Unit::percent, "LGSO2FT2", "Long-term fuel trim by the secondary oxygen sensor bank 2"),
number(0x58, B, one, percent_signed, Unit::percent, "LGSO2FT4", "Long-term fuel trim by the secondary oxygen sensor bank 4"),
number(0x59, A, two, {10, 1, 0}, Unit::kilopascal, "FRP", "Fuel rail pressure, absolute"),
number(0x5A, A, one, percent_255, Unit::percent, "APP_R", "Relative accelerator pedal position"),
number(0x5B, A, one, percent_255, Unit::percent, "BAT_PWR", "Hybrid battery pack remaining charge"),
number(0x5C, A, one, temperature, Unit::celsius, "EOT", "Engine oil temperature"),
number(0x5D, A, two, {1, 128, -210}, Unit::degree, "FUEL_TIMING", "Fuel injection timing"),
number(0x5E, A, two, {1, 20, 0}, Unit::litre_hour, "FUEL_RATE", "Engine fuel rate"),
choice(0x5F, A, emission_requirement, "EMIS_SUP", "Emission requirements that the vehicle is designed to"),

bitmap(0x60, "PIDs supported 61 to 80"),
number(0x61, A, one, torque, Unit::percent, "TQ_DD", "Torque that the driver demands"),
number(0x62, A, one, torque, Unit::percent, "TQ_ACT", "Actual engine torque"),
number(0x63, A, two, plain, Unit::newton_metre, "TQ_REF", "Engine reference torque"),
};

inline constexpr const char* one_or_two =
    "whether a vehicle without banks 3 and 4 leaves out the second byte";

inline constexpr Head heads_00[] = {
// PID  length
{0x00, 4, outside},
{0x01, 4, recalled, "Monitor status since codes were cleared"},
{0x02, 2, recalled},
{0x03, 2, outside, "Fuel system status"},
{0x04, 1, outside},
{0x05, 1, outside},
{0x06, 2, outside, "Short-term fuel trim banks 1 and 3", nullptr, 1, true},
{0x07, 2, outside, "Long-term fuel trim banks 1 and 3", nullptr, 1, true},
{0x08, 2, outside, "Short-term fuel trim banks 2 and 4", nullptr, 1, true},
{0x09, 2, outside, "Long-term fuel trim banks 2 and 4", nullptr, 1, true},
{0x0A, 1, outside},
{0x0B, 1, outside},
{0x0C, 2, outside},
{0x0D, 1, outside},
{0x0E, 1, outside},
{0x0F, 1, outside},
{0x10, 2, outside},
{0x11, 1, outside},
{0x12, 1, outside},
{0x13, 1, recalled, "Oxygen sensors there, two banks"},
{0x14, 2, recalled, "Oxygen sensor (PID 13: bank 1 sensor 1; PID 1D: bank 1 sensor 1)"},
{0x15, 2, recalled, "Oxygen sensor (PID 13: bank 1 sensor 2; PID 1D: bank 1 sensor 2)"},
{0x16, 2, recalled, "Oxygen sensor (PID 13: bank 1 sensor 3; PID 1D: bank 2 sensor 1)"},
{0x17, 2, recalled, "Oxygen sensor (PID 13: bank 1 sensor 4; PID 1D: bank 2 sensor 2)"},
{0x18, 2, recalled, "Oxygen sensor (PID 13: bank 2 sensor 1; PID 1D: bank 3 sensor 1)"},
{0x19, 2, recalled, "Oxygen sensor (PID 13: bank 2 sensor 2; PID 1D: bank 3 sensor 2)"},
{0x1A, 2, recalled, "Oxygen sensor (PID 13: bank 2 sensor 3; PID 1D: bank 4 sensor 1)"},
{0x1B, 2, recalled, "Oxygen sensor (PID 13: bank 2 sensor 4; PID 1D: bank 4 sensor 2)"},
{0x1C, 1, outside},
{0x1D, 1, recalled, "Oxygen sensors there, four banks"},
{0x1E, 1, recalled, "Auxiliary input status"},
{0x1F, 2, outside},
{0x20, 4, outside},
{0x21, 2, outside},
{0x22, 2, outside},
{0x23, 2, outside},
{0x24, 4, outside, "Wide-range oxygen sensor, voltage (PID 13: bank 1 sensor 1; PID 1D: bank 1 sensor 1)"},
{0x25, 4, outside, "Wide-range oxygen sensor, voltage (PID 13: bank 1 sensor 2; PID 1D: bank 1 sensor 2)"},
{0x26, 4, outside, "Wide-range oxygen sensor, voltage (PID 13: bank 1 sensor 3; PID 1D: bank 2 sensor 1)"},
{0x27, 4, outside, "Wide-range oxygen sensor, voltage (PID 13: bank 1 sensor 4; PID 1D: bank 2 sensor 2)"},
{0x28, 4, outside, "Wide-range oxygen sensor, voltage (PID 13: bank 2 sensor 1; PID 1D: bank 3 sensor 1)"},
{0x29, 4, outside, "Wide-range oxygen sensor, voltage (PID 13: bank 2 sensor 2; PID 1D: bank 3 sensor 2)"},
{0x2A, 4, outside, "Wide-range oxygen sensor, voltage (PID 13: bank 2 sensor 3; PID 1D: bank 4 sensor 1)"},
{0x2B, 4, outside, "Wide-range oxygen sensor, voltage (PID 13: bank 2 sensor 4; PID 1D: bank 4 sensor 2)"},
{0x2C, 1, outside},
{0x2D, 1, outside},
{0x2E, 1, outside},
{0x2F, 1, outside},
{0x30, 1, outside},
{0x31, 2, outside},
{0x32, 2, outside},
{0x33, 1, outside},
{0x34, 4, outside, "Wide-range oxygen sensor, current (PID 13: bank 1 sensor 1; PID 1D: bank 1 sensor 1)"},
{0x35, 4, outside, "Wide-range oxygen sensor, current (PID 13: bank 1 sensor 2; PID 1D: bank 1 sensor 2)"},
{0x36, 4, outside, "Wide-range oxygen sensor, current (PID 13: bank 1 sensor 3; PID 1D: bank 2 sensor 1)"},
{0x37, 4, outside, "Wide-range oxygen sensor, current (PID 13: bank 1 sensor 4; PID 1D: bank 2 sensor 2)"},
{0x38, 4, outside, "Wide-range oxygen sensor, current (PID 13: bank 2 sensor 1; PID 1D: bank 3 sensor 1)"},
{0x39, 4, outside, "Wide-range oxygen sensor, current (PID 13: bank 2 sensor 2; PID 1D: bank 3 sensor 2)"},
{0x3A, 4, outside, "Wide-range oxygen sensor, current (PID 13: bank 2 sensor 3; PID 1D: bank 4 sensor 1)"},
{0x3B, 4, outside, "Wide-range oxygen sensor, current (PID 13: bank 2 sensor 4; PID 1D: bank 4 sensor 2)"},
{0x3C, 2, outside},
{0x3D, 2, outside},
{0x3E, 2, outside},
{0x3F, 2, outside},
{0x40, 4, outside},
{0x41, 4, recalled, "Monitor status, this driving cycle"},
{0x42, 2, outside},
{0x43, 2, outside},
{0x44, 2, outside},
{0x45, 1, outside},
{0x46, 1, outside},
{0x47, 1, outside},
{0x48, 1, outside},
{0x49, 1, outside},
{0x4A, 1, outside},
{0x4B, 1, outside},
{0x4C, 1, outside},
{0x4D, 2, outside},
{0x4E, 2, outside},
{0x4F, 4, recalled, "Largest values of other PIDs"},
{0x50, 4, recalled},
{0x51, 1, outside},
{0x52, 1, outside},
{0x53, 2, outside},
{0x54, 2, recalled},
{0x55, 2, recalled, "Short-term secondary oxygen sensor trim banks 1 and 3", one_or_two, 1, true},
{0x56, 2, recalled, "Long-term secondary oxygen sensor trim banks 1 and 3", one_or_two, 1, true},
{0x57, 2, recalled, "Short-term secondary oxygen sensor trim banks 2 and 4", one_or_two, 1, true},
{0x58, 2, recalled, "Long-term secondary oxygen sensor trim banks 2 and 4", one_or_two, 1, true},
{0x59, 2, outside},
{0x5A, 1, outside},
{0x5B, 1, outside},
{0x5C, 1, outside},
{0x5D, 2, outside},
{0x5E, 2, outside},
{0x5F, 1, recalled},
{0x60, 4, outside},
{0x61, 1, outside},
{0x62, 1, outside},
{0x63, 2, outside},
};
// clang-format on

} // namespace telltale::catalogue::table
