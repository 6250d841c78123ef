// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "pid_builder.hpp"

/// PIDs 64 to FF (SAE J1979-DA annex B). Byte A of most holds the support bits of the others.
namespace telltale::catalogue::table {

inline constexpr Choice no_yes[] = {{0, "no"}, {1, "yes"}};
inline constexpr Choice inactive_active[] = {{0, "inactive"}, {1, "active"}};
inline constexpr Choice lamp[] = {{0, "off"}, {1, "on"}};
inline constexpr Choice loop[] = {{0, "open loop"}, {1, "closed loop"}};
inline constexpr Choice automatic_gear[] = {{0, "park or neutral"}, {1, "in drive or reverse"}};
inline constexpr Choice manual_gear[] = {{0, "neutral or clutch open"}, {1, "in gear"}};
inline constexpr Choice availability[] = {{0, "available"}, {1, "not available"}};
inline constexpr Choice boost_loop[] = {
    {1, "open loop, no fault"}, {2, "closed loop, no fault"}, {3, "fault: values unreliable"}};
inline constexpr Choice regeneration[] = {{0, "not in progress"}, {1, "in progress"}};
inline constexpr Choice regeneration_kind[] = {{0, "passive"}, {1, "active"}};
inline constexpr Choice charge_mode[] = {{0, "charge sustaining"}, {1, "charge depleting"}};
inline constexpr Choice inducement_level[] = {
    {0, "inactive"}, {1, "enabled"}, {2, "active"}, {3, "not supported"}};
inline constexpr Choice mi_display[] = {{0, "discriminatory"}, {1, "non-discriminatory"}};
inline constexpr Choice mi_mode[] = {{0, "off"}, {1, "on demand"}, {2, "short"}, {3, "continuous"}};
inline constexpr Choice readiness[] = {{0, "complete"}, {1, "not complete"}};

inline constexpr Scale by_32{1, 32, 0};   ///< 0000 to FFFF: 0 to 2047.97
inline constexpr Scale by_100{1, 100, 0}; ///< 0000 to FFFF: 0 to 655.35
inline constexpr Scale by_200{1, 200, 0}; ///< 0000 to FFFF: 0 to 327.675
inline constexpr Scale percent_65535{100, 65535, 0};
inline constexpr Scale lambda_8{8, 65536, 0}; ///< 0000 to FFFF: 0 to 7.9999
inline constexpr Scale tens{10, 1, 0};

// clang-format off
inline constexpr Field fields_64[] = {
//     PID   byte  what it holds, short name, name
number(0x64, A, one, torque, Unit::percent, "TQ_MAX1", "Largest engine torque at point 1 (idle)"),
number(0x64, B, one, torque, Unit::percent, "TQ_MAX2", "Largest engine torque at point 2"),
number(0x64, C, one, torque, Unit::percent, "TQ_MAX3", "Largest engine torque at point 3"),
number(0x64, D, one, torque, Unit::percent, "TQ_MAX4", "Largest engine torque at point 4"),
number(0x64, E, one, torque, Unit::percent, "TQ_MAX5", "Largest engine torque at point 5"),

flag  (0x65, B, 0, inactive_active, "PTO_STAT", "Power take-off").on(A, 0),
flag  (0x65, B, 1, automatic_gear, "N/D_STAT", "Automatic transmission").on(A, 1),
flag  (0x65, B, 2, manual_gear, "N/G_STAT", "Manual transmission").on(A, 2),
flag  (0x65, B, 3, lamp, "GPL_STAT", "Glow plug lamp").on(A, 3),
small (0x65, B, 4, 4, Unit::none, "GEAR_RCMD", "Recommended gear").on(A, 4).noted("0: none recommended").doubtful("whether it is there in every edition"),

number(0x66, B, two, by_32, Unit::gram_second, "MAFA", "Mass air flow A").on(A, 0),
number(0x66, D, two, by_32, Unit::gram_second, "MAFB", "Mass air flow B").on(A, 1),

number(0x67, B, one, temperature, Unit::celsius, "ECT 1", "Engine coolant temperature 1").on(A, 0),
number(0x67, C, one, temperature, Unit::celsius, "ECT 2", "Engine coolant temperature 2").on(A, 1),

number(0x68, B, one, temperature, Unit::celsius, "IAT 11", "Intake air temperature bank 1 sensor 1").on(A, 0),
number(0x68, C, one, temperature, Unit::celsius, "IAT 12", "Intake air temperature bank 1 sensor 2").on(A, 1),
number(0x68, D, one, temperature, Unit::celsius, "IAT 13", "Intake air temperature bank 1 sensor 3").on(A, 2),
number(0x68, E, one, temperature, Unit::celsius, "IAT 21", "Intake air temperature bank 2 sensor 1").on(A, 3),
number(0x68, F, one, temperature, Unit::celsius, "IAT 22", "Intake air temperature bank 2 sensor 2").on(A, 4),
number(0x68, G, one, temperature, Unit::celsius, "IAT 23", "Intake air temperature bank 2 sensor 3").on(A, 5),

number(0x69, B, one, percent_255, Unit::percent, "EGR_A_CMD", "Commanded EGR A").on(A, 0),
number(0x69, C, one, percent_255, Unit::percent, "EGR_A_ACT", "Actual EGR A").on(A, 1),
number(0x69, D, one, percent_signed, Unit::percent, "EGR_A_ERR", "EGR A error").on(A, 2),
number(0x69, E, one, percent_255, Unit::percent, "EGR_B_CMD", "Commanded EGR B").on(A, 3),
number(0x69, F, one, percent_255, Unit::percent, "EGR_B_ACT", "Actual EGR B").on(A, 4),
number(0x69, G, one, percent_signed, Unit::percent, "EGR_B_ERR", "EGR B error").on(A, 5),

number(0x6A, B, one, percent_255, Unit::percent, "IAF_A_CMD", "Commanded intake air flow A").on(A, 0),
number(0x6A, C, one, percent_255, Unit::percent, "IAF_A_REL", "Relative intake air flow position A").on(A, 1),
number(0x6A, D, one, percent_255, Unit::percent, "IAF_B_CMD", "Commanded intake air flow B").on(A, 2),
number(0x6A, E, one, percent_255, Unit::percent, "IAF_B_REL", "Relative intake air flow position B").on(A, 3),

number(0x6B, B, one, temperature, Unit::celsius, "EGRT11", "EGR temperature bank 1 sensor 1").on(A, 0),
number(0x6B, C, one, temperature, Unit::celsius, "EGRT12", "EGR temperature bank 1 sensor 2").on(A, 1),
number(0x6B, D, one, temperature, Unit::celsius, "EGRT21", "EGR temperature bank 2 sensor 1").on(A, 2),
number(0x6B, E, one, temperature, Unit::celsius, "EGRT22", "EGR temperature bank 2 sensor 2").on(A, 3),

number(0x6C, B, one, percent_255, Unit::percent, "TAC_A_CMD", "Commanded throttle actuator A").on(A, 0),
number(0x6C, C, one, percent_255, Unit::percent, "TP_A_REL", "Relative throttle position A").on(A, 1),
number(0x6C, D, one, percent_255, Unit::percent, "TAC_B_CMD", "Commanded throttle actuator B").on(A, 2),
number(0x6C, E, one, percent_255, Unit::percent, "TP_B_REL", "Relative throttle position B").on(A, 3),

number(0x6D, B, two, tens, Unit::kilopascal, "FRP_A_CMD", "Commanded fuel rail pressure A").on(A, 0),
number(0x6D, D, two, tens, Unit::kilopascal, "FRP_A", "Fuel rail pressure A").on(A, 1),
number(0x6D, F, one, temperature, Unit::celsius, "FRT_A", "Fuel rail temperature A").on(A, 2),
number(0x6D, G, two, tens, Unit::kilopascal, "FRP_B_CMD", "Commanded fuel rail pressure B").on(A, 3),
number(0x6D, I, two, tens, Unit::kilopascal, "FRP_B", "Fuel rail pressure B").on(A, 4),
number(0x6D, K, one, temperature, Unit::celsius, "FRT_B", "Fuel rail temperature B").on(A, 5),

number(0x6E, B, two, tens, Unit::kilopascal, "ICP_A_CMD", "Commanded injection control pressure A").on(A, 0),
number(0x6E, D, two, tens, Unit::kilopascal, "ICP_A", "Injection control pressure A").on(A, 1),
number(0x6E, F, two, tens, Unit::kilopascal, "ICP_B_CMD", "Commanded injection control pressure B").on(A, 2),
number(0x6E, H, two, tens, Unit::kilopascal, "ICP_B", "Injection control pressure B").on(A, 3),

number(0x6F, B, one, plain, Unit::kilopascal_air, "TCA_CINP", "Turbocharger A compressor inlet pressure").on(A, 0),
number(0x6F, C, one, plain, Unit::kilopascal_air, "TCB_CINP", "Turbocharger B compressor inlet pressure").on(A, 1),

number(0x70, B, two, by_32, Unit::kilopascal, "BP_A_CMD", "Commanded boost pressure A").on(A, 0),
number(0x70, D, two, by_32, Unit::kilopascal, "BP_A_ACT", "Boost pressure A").on(A, 1),
number(0x70, F, two, by_32, Unit::kilopascal, "BP_B_CMD", "Commanded boost pressure B").on(A, 3),
number(0x70, H, two, by_32, Unit::kilopascal, "BP_B_ACT", "Boost pressure B").on(A, 4),
state (0x70, J, 0, 2, boost_loop, "BP_A_STAT", "Boost pressure A control").on(A, 2),
state (0x70, J, 2, 2, boost_loop, "BP_B_STAT", "Boost pressure B control").on(A, 5),

number(0x71, B, one, percent_255, Unit::percent, "VGT_A_CMD", "Commanded turbocharger vane position A").on(A, 0),
number(0x71, C, one, percent_255, Unit::percent, "VGT_A_ACT", "Turbocharger vane position A").on(A, 1),
number(0x71, D, one, percent_255, Unit::percent, "VGT_B_CMD", "Commanded turbocharger vane position B").on(A, 3),
number(0x71, E, one, percent_255, Unit::percent, "VGT_B_ACT", "Turbocharger vane position B").on(A, 4),
state (0x71, F, 0, 2, boost_loop, "VGT_A_STAT", "Turbocharger vane A control").on(A, 2),
state (0x71, F, 2, 2, boost_loop, "VGT_B_STAT", "Turbocharger vane B control").on(A, 5),

number(0x72, B, one, percent_255, Unit::percent, "WG_A_CMD", "Commanded wastegate position A").on(A, 0),
number(0x72, C, one, percent_255, Unit::percent, "WG_A_ACT", "Wastegate position A").on(A, 1),
number(0x72, D, one, percent_255, Unit::percent, "WG_B_CMD", "Commanded wastegate position B").on(A, 2),
number(0x72, E, one, percent_255, Unit::percent, "WG_B_ACT", "Wastegate position B").on(A, 3),

number(0x73, B, two, by_100, Unit::kilopascal, "EP1", "Exhaust pressure bank 1").on(A, 0),
number(0x73, D, two, by_100, Unit::kilopascal, "EP2", "Exhaust pressure bank 2").on(A, 1),

number(0x74, B, two, tens, Unit::rpm, "TCA_RPM", "Turbocharger A speed").on(A, 0),
number(0x74, D, two, tens, Unit::rpm, "TCB_RPM", "Turbocharger B speed").on(A, 1),

number(0x75, B, one, temperature, Unit::celsius, "TCA_CIT", "Turbocharger A compressor inlet temperature").on(A, 0),
number(0x75, C, one, temperature, Unit::celsius, "TCA_COT", "Turbocharger A compressor outlet temperature").on(A, 1),
number(0x75, D, two, temperature_fine, Unit::celsius, "TCA_TIT", "Turbocharger A turbine inlet temperature").on(A, 2),
number(0x75, F, two, temperature_fine, Unit::celsius, "TCA_TOT", "Turbocharger A turbine outlet temperature").on(A, 3),

number(0x76, B, one, temperature, Unit::celsius, "TCB_CIT", "Turbocharger B compressor inlet temperature").on(A, 0),
number(0x76, C, one, temperature, Unit::celsius, "TCB_COT", "Turbocharger B compressor outlet temperature").on(A, 1),
number(0x76, D, two, temperature_fine, Unit::celsius, "TCB_TIT", "Turbocharger B turbine inlet temperature").on(A, 2),
number(0x76, F, two, temperature_fine, Unit::celsius, "TCB_TOT", "Turbocharger B turbine outlet temperature").on(A, 3),

number(0x77, B, one, temperature, Unit::celsius, "CACT 11", "Charge air cooler temperature bank 1 sensor 1").on(A, 0),
number(0x77, C, one, temperature, Unit::celsius, "CACT 12", "Charge air cooler temperature bank 1 sensor 2").on(A, 1),
number(0x77, D, one, temperature, Unit::celsius, "CACT 21", "Charge air cooler temperature bank 2 sensor 1").on(A, 2),
number(0x77, E, one, temperature, Unit::celsius, "CACT 22", "Charge air cooler temperature bank 2 sensor 2").on(A, 3),

number(0x78, B, two, temperature_fine, Unit::celsius, "EGT11", "Exhaust gas temperature bank 1 sensor 1").on(A, 0),
number(0x78, D, two, temperature_fine, Unit::celsius, "EGT12", "Exhaust gas temperature bank 1 sensor 2").on(A, 1),
number(0x78, F, two, temperature_fine, Unit::celsius, "EGT13", "Exhaust gas temperature bank 1 sensor 3").on(A, 2),
number(0x78, H, two, temperature_fine, Unit::celsius, "EGT14", "Exhaust gas temperature bank 1 sensor 4").on(A, 3),

number(0x79, B, two, temperature_fine, Unit::celsius, "EGT21", "Exhaust gas temperature bank 2 sensor 1").on(A, 0),
number(0x79, D, two, temperature_fine, Unit::celsius, "EGT22", "Exhaust gas temperature bank 2 sensor 2").on(A, 1),
number(0x79, F, two, temperature_fine, Unit::celsius, "EGT23", "Exhaust gas temperature bank 2 sensor 3").on(A, 2),
number(0x79, H, two, temperature_fine, Unit::celsius, "EGT24", "Exhaust gas temperature bank 2 sensor 4").on(A, 3),

number(0x7A, B, two, by_100, Unit::kilopascal, "DPF1_DP", "Particulate filter bank 1 pressure difference").signed_number().on(A, 0),
number(0x7A, D, two, by_100, Unit::kilopascal, "DPF1_INP", "Particulate filter bank 1 inlet pressure").on(A, 1),
number(0x7A, F, two, by_100, Unit::kilopascal, "DPF1_OUTP", "Particulate filter bank 1 outlet pressure").on(A, 2),

number(0x7B, B, two, by_100, Unit::kilopascal, "DPF2_DP", "Particulate filter bank 2 pressure difference").signed_number().on(A, 0),
number(0x7B, D, two, by_100, Unit::kilopascal, "DPF2_INP", "Particulate filter bank 2 inlet pressure").on(A, 1),
number(0x7B, F, two, by_100, Unit::kilopascal, "DPF2_OUTP", "Particulate filter bank 2 outlet pressure").on(A, 2),

number(0x7C, B, two, temperature_fine, Unit::celsius, "DPF1_INT", "Particulate filter bank 1 inlet temperature").on(A, 0),
number(0x7C, D, two, temperature_fine, Unit::celsius, "DPF1_OUTT", "Particulate filter bank 1 outlet temperature").on(A, 1),
number(0x7C, F, two, temperature_fine, Unit::celsius, "DPF2_INT", "Particulate filter bank 2 inlet temperature").on(A, 2),
number(0x7C, H, two, temperature_fine, Unit::celsius, "DPF2_OUTT", "Particulate filter bank 2 outlet temperature").on(A, 3),

flag  (0x7D, A, 0, no_yes, "NNTE_IN", "Inside the NOx control area"),
flag  (0x7D, A, 1, no_yes, "NNTE_OUT", "Outside the NOx control area"),
flag  (0x7D, A, 2, no_yes, "NNTE_CAA", "Inside the maker's NOx carve-out area"),
flag  (0x7D, A, 3, no_yes, "NNTE_DEF", "Inside the NOx deficiency area"),

flag  (0x7E, A, 0, no_yes, "PNTE_IN", "Inside the PM control area"),
flag  (0x7E, A, 1, no_yes, "PNTE_OUT", "Outside the PM control area"),
flag  (0x7E, A, 2, no_yes, "PNTE_CAA", "Inside the maker's PM carve-out area"),
flag  (0x7E, A, 3, no_yes, "PNTE_DEF", "Inside the PM deficiency area"),

number(0x7F, B, four, plain, Unit::second, "RUN_TIME", "Total engine running time").on(A, 0),
number(0x7F, F, four, plain, Unit::second, "IDLE_TIME", "Total idling time").on(A, 1),
number(0x7F, J, four, plain, Unit::second, "PTO_TIME", "Total running time with the power take-off active").on(A, 2),

bitmap(0x80, "PIDs supported 81 to A0"),

#define TELLTALE_AECD(id, number_1, number_2, number_3, number_4, number_5) \
number(id, B, four, plain, Unit::second, "AECD" number_1 "_TIME1", "Running time of emission increasing AECD " number_1 ", timer 1").on(A, 0), \
number(id, F, four, plain, Unit::second, "AECD" number_1 "_TIME2", "Running time of emission increasing AECD " number_1 ", timer 2").on(A, 0), \
number(id, J, four, plain, Unit::second, "AECD" number_2 "_TIME1", "Running time of emission increasing AECD " number_2 ", timer 1").on(A, 1), \
number(id, N, four, plain, Unit::second, "AECD" number_2 "_TIME2", "Running time of emission increasing AECD " number_2 ", timer 2").on(A, 1), \
number(id, R, four, plain, Unit::second, "AECD" number_3 "_TIME1", "Running time of emission increasing AECD " number_3 ", timer 1").on(A, 2), \
number(id, V, four, plain, Unit::second, "AECD" number_3 "_TIME2", "Running time of emission increasing AECD " number_3 ", timer 2").on(A, 2), \
number(id, Z, four, plain, Unit::second, "AECD" number_4 "_TIME1", "Running time of emission increasing AECD " number_4 ", timer 1").on(A, 3), \
number(id, AD, four, plain, Unit::second, "AECD" number_4 "_TIME2", "Running time of emission increasing AECD " number_4 ", timer 2").on(A, 3), \
number(id, AH, four, plain, Unit::second, "AECD" number_5 "_TIME1", "Running time of emission increasing AECD " number_5 ", timer 1").on(A, 4), \
number(id, AL, four, plain, Unit::second, "AECD" number_5 "_TIME2", "Running time of emission increasing AECD " number_5 ", timer 2").on(A, 4)
TELLTALE_AECD(0x81, "1", "2", "3", "4", "5"),
TELLTALE_AECD(0x82, "6", "7", "8", "9", "10"),

number(0x83, B, two, plain, Unit::ppm, "NOX11", "NOx concentration bank 1 sensor 1").on(A, 0).only(A, 4, false),
number(0x83, D, two, plain, Unit::ppm, "NOX12", "NOx concentration bank 1 sensor 2").on(A, 1).only(A, 5, false).doubtful("bank 2 sensor 1 in the form of five bytes"),
number(0x83, F, two, plain, Unit::ppm, "NOX21", "NOx concentration bank 2 sensor 1").on(A, 2).only(A, 6, false),
number(0x83, H, two, plain, Unit::ppm, "NOX22", "NOx concentration bank 2 sensor 2").on(A, 3).only(A, 7, false),
flag  (0x83, A, 4, availability, "", "NOx reading bank 1 sensor 1").on(A, 0),
flag  (0x83, A, 5, availability, "", "NOx reading bank 1 sensor 2").on(A, 1),
flag  (0x83, A, 6, availability, "", "NOx reading bank 2 sensor 1").on(A, 2),
flag  (0x83, A, 7, availability, "", "NOx reading bank 2 sensor 2").on(A, 3),

number(0x84, A, one, temperature, Unit::celsius, "MST", "Manifold surface temperature"),

number(0x85, B, two, by_200, Unit::litre_hour, "REAG_RATE", "Average reagent consumption").on(A, 0),
number(0x85, D, two, by_200, Unit::litre_hour, "REAG_DEMD", "Average demanded reagent consumption").on(A, 1),
number(0x85, F, one, percent_255, Unit::percent, "REAG_LVL", "Reagent tank level").on(A, 2),
number(0x85, G, four, plain, Unit::second, "NWI_TIME", "Running time with the NOx warning active").on(A, 3),

number(0x86, B, two, {1, 80, 0}, Unit::milligram_metre3, "PM11", "Particulate mass concentration bank 1 sensor 1").on(A, 0),
number(0x86, D, two, {1, 80, 0}, Unit::milligram_metre3, "PM21", "Particulate mass concentration bank 2 sensor 1").on(A, 1),

number(0x87, B, two, by_32, Unit::kilopascal_air, "MAP_A", "Intake manifold absolute pressure A").on(A, 0),
number(0x87, D, two, by_32, Unit::kilopascal_air, "MAP_B", "Intake manifold absolute pressure B").on(A, 1),

flag  (0x88, A, 0, no_yes, "", "Inducement now: reagent level too low"),
flag  (0x88, A, 1, no_yes, "", "Inducement now: wrong reagent"),
flag  (0x88, A, 2, no_yes, "", "Inducement now: reagent consumption deviates"),
flag  (0x88, A, 3, no_yes, "", "Inducement now: NOx emissions too high"),
flag  (0x88, A, 7, inactive_active, "SCR_INDUCE", "SCR inducement system"),
flag  (0x88, B, 0, no_yes, "", "Last 10000 km: reagent level too low"),
flag  (0x88, B, 1, no_yes, "", "Last 10000 km: wrong reagent"),
flag  (0x88, B, 2, no_yes, "", "Last 10000 km: reagent consumption deviates"),
flag  (0x88, B, 3, no_yes, "", "Last 10000 km: NOx emissions too high"),
flag  (0x88, B, 4, no_yes, "", "10000 to 20000 km ago: reagent level too low"),
flag  (0x88, B, 5, no_yes, "", "10000 to 20000 km ago: wrong reagent"),
flag  (0x88, B, 6, no_yes, "", "10000 to 20000 km ago: reagent consumption deviates"),
flag  (0x88, B, 7, no_yes, "", "10000 to 20000 km ago: NOx emissions too high"),
flag  (0x88, C, 0, no_yes, "", "20000 to 30000 km ago: reagent level too low"),
flag  (0x88, C, 1, no_yes, "", "20000 to 30000 km ago: wrong reagent"),
flag  (0x88, C, 2, no_yes, "", "20000 to 30000 km ago: reagent consumption deviates"),
flag  (0x88, C, 3, no_yes, "", "20000 to 30000 km ago: NOx emissions too high"),
flag  (0x88, C, 4, no_yes, "", "30000 to 40000 km ago: reagent level too low"),
flag  (0x88, C, 5, no_yes, "", "30000 to 40000 km ago: wrong reagent"),
flag  (0x88, C, 6, no_yes, "", "30000 to 40000 km ago: reagent consumption deviates"),
flag  (0x88, C, 7, no_yes, "", "30000 to 40000 km ago: NOx emissions too high"),
number(0x88, D, two, plain, Unit::kilometre, "", "Distance with inducement active, last 10000 km"),
number(0x88, F, two, plain, Unit::kilometre, "", "Distance into the present 10000 km"),
number(0x88, H, two, plain, Unit::kilometre, "", "Distance with inducement active, 10000 to 20000 km ago"),
number(0x88, J, two, plain, Unit::kilometre, "", "Distance with inducement active, 20000 to 30000 km ago"),
number(0x88, L, two, plain, Unit::kilometre, "", "Distance with inducement active, 30000 to 40000 km ago"),

TELLTALE_AECD(0x89, "11", "12", "13", "14", "15"),
TELLTALE_AECD(0x8A, "16", "17", "18", "19", "20"),
#undef TELLTALE_AECD

flag  (0x8B, B, 0, regeneration, "DPF_REGEN", "Particulate filter regeneration").on(A, 0),
flag  (0x8B, B, 1, regeneration_kind, "DPF_REGEN_TYPE", "Kind of particulate filter regeneration").on(A, 1),
flag  (0x8B, B, 2, regeneration, "NOX_ADS_REGEN", "NOx adsorber regeneration").on(A, 2),
flag  (0x8B, B, 3, regeneration, "NOX_ADS_DESULF", "NOx adsorber desulphurization").on(A, 3),
number(0x8B, C, one, percent_255, Unit::percent, "DPF_REGEN_PCT", "Particulate filter regeneration trigger, normalized").on(A, 4),
number(0x8B, D, two, plain, Unit::minute, "DPF_REGEN_AVGT", "Average time between particulate filter regenerations").on(A, 5),
number(0x8B, F, two, plain, Unit::kilometre, "DPF_REGEN_AVGD", "Average distance between particulate filter regenerations").on(A, 6),

#define TELLTALE_OXYGEN(id, s1, s2, s3, s4, word_1, word_2, word_3, word_4) \
number(id, B, two, percent_65535, Unit::percent, "O2S" s1 "_PCT", "Oxygen concentration " word_1).on(A, 0), \
number(id, D, two, percent_65535, Unit::percent, "O2S" s2 "_PCT", "Oxygen concentration " word_2).on(A, 1), \
number(id, F, two, percent_65535, Unit::percent, "O2S" s3 "_PCT", "Oxygen concentration " word_3).on(A, 2), \
number(id, H, two, percent_65535, Unit::percent, "O2S" s4 "_PCT", "Oxygen concentration " word_4).on(A, 3), \
number(id, J, two, lambda_8, Unit::ratio, "LAMBDA" s1, "Equivalence ratio (lambda) " word_1).on(A, 4), \
number(id, L, two, lambda_8, Unit::ratio, "LAMBDA" s2, "Equivalence ratio (lambda) " word_2).on(A, 5), \
number(id, N, two, lambda_8, Unit::ratio, "LAMBDA" s3, "Equivalence ratio (lambda) " word_3).on(A, 6), \
number(id, P, two, lambda_8, Unit::ratio, "LAMBDA" s4, "Equivalence ratio (lambda) " word_4).on(A, 7)
TELLTALE_OXYGEN(0x8C, "11", "12", "21", "22", "bank 1 sensor 1", "bank 1 sensor 2", "bank 2 sensor 1", "bank 2 sensor 2"),

number(0x8D, A, one, percent_255, Unit::percent, "TP_G", "Absolute throttle position G"),
number(0x8E, A, one, torque, Unit::percent, "TQ_FR", "Engine friction torque"),

flag  (0x8F, B, 0, inactive_active, "PM11_ACTIVE", "Particulate sensor bank 1 measuring").on(A, 0),
flag  (0x8F, B, 1, regeneration, "PM11_REGEN", "Particulate sensor bank 1 regeneration").on(A, 0),
number(0x8F, C, two, by_100, Unit::percent, "PM11", "Particulate sensor bank 1 output, normalized").signed_number().on(A, 1),
flag  (0x8F, E, 0, inactive_active, "PM21_ACTIVE", "Particulate sensor bank 2 measuring").on(A, 2),
flag  (0x8F, E, 1, regeneration, "PM21_REGEN", "Particulate sensor bank 2 regeneration").on(A, 2),
number(0x8F, F, two, by_100, Unit::percent, "PM21", "Particulate sensor bank 2 output, normalized").signed_number().on(A, 3),

state (0x90, A, 0, 2, mi_display, "MI_DISP_VOBD", "Display strategy of the malfunction indicator"),
state (0x90, A, 2, 4, mi_mode, "MI_MODE_VOBD", "Malfunction indicator mode, vehicle"),
flag  (0x90, A, 6, readiness, "VOBD_RDY", "Emission monitors of the vehicle"),
number(0x90, B, two, plain, Unit::hour, "VOBD_MI_TIME", "Running time with the malfunction indicator continuous, vehicle"),

state (0x91, A, 0, 4, mi_mode, "MI_MODE_ECU", "Malfunction indicator mode, this ECU"),
number(0x91, B, two, plain, Unit::hour, "OBD_MI_TIME", "Running time with the malfunction indicator continuous, this ECU"),
number(0x91, D, two, plain, Unit::hour, "OBD_B1_TIME", "Highest running time with a class B1 code, this ECU"),

flag  (0x92, B, 0, loop, "FP1_STAT", "Fuel pressure control 1").on(A, 0),
flag  (0x92, B, 1, loop, "FIQ1_STAT", "Injection quantity control 1").on(A, 1),
flag  (0x92, B, 2, loop, "FIT1_STAT", "Injection timing control 1").on(A, 2),
flag  (0x92, B, 3, loop, "IFB1_STAT", "Idle fuel balance control 1").on(A, 3),
flag  (0x92, B, 4, loop, "FP2_STAT", "Fuel pressure control 2").on(A, 4),
flag  (0x92, B, 5, loop, "FIQ2_STAT", "Injection quantity control 2").on(A, 5),
flag  (0x92, B, 6, loop, "FIT2_STAT", "Injection timing control 2").on(A, 6),
flag  (0x92, B, 7, loop, "IFB2_STAT", "Idle fuel balance control 2").on(A, 7),

number(0x93, B, two, plain, Unit::hour, "MI_TIME_CUM", "Cumulative running time with the malfunction indicator continuous").on(A, 0),

flag  (0x94, B, 0, inactive_active, "NOX_WARN_ACT", "NOx warning system").on(A, 0),
state (0x94, B, 1, 2, inducement_level, "INDUC_L1", "Inducement level 1").on(A, 0),
state (0x94, B, 3, 2, inducement_level, "INDUC_L2", "Inducement level 2").on(A, 0),
state (0x94, B, 5, 2, inducement_level, "INDUC_L3", "Inducement level 3").on(A, 0),
number(0x94, C, two, plain, Unit::hour, "REAG_QUAL_TIME", "Running time with wrong reagent quality").on(A, 1),
number(0x94, E, two, plain, Unit::hour, "REAG_CON_TIME", "Running time with deviating reagent consumption").on(A, 2),
number(0x94, G, two, plain, Unit::hour, "REAG_DOSE_TIME", "Running time without reagent dosing").on(A, 3),
number(0x94, I, two, plain, Unit::hour, "EGR_TIME", "Running time with a hindered EGR valve").on(A, 4),
number(0x94, K, two, plain, Unit::hour, "NOX_DTC_TIME", "Running time with a fault of the NOx control monitoring").on(A, 5),

number(0x98, B, two, temperature_fine, Unit::celsius, "EGT15", "Exhaust gas temperature bank 1 sensor 5").on(A, 0),
number(0x98, D, two, temperature_fine, Unit::celsius, "EGT16", "Exhaust gas temperature bank 1 sensor 6").on(A, 1),
number(0x98, F, two, temperature_fine, Unit::celsius, "EGT17", "Exhaust gas temperature bank 1 sensor 7").on(A, 2),
number(0x98, H, two, temperature_fine, Unit::celsius, "EGT18", "Exhaust gas temperature bank 1 sensor 8").on(A, 3),

number(0x99, B, two, temperature_fine, Unit::celsius, "EGT25", "Exhaust gas temperature bank 2 sensor 5").on(A, 0),
number(0x99, D, two, temperature_fine, Unit::celsius, "EGT26", "Exhaust gas temperature bank 2 sensor 6").on(A, 1),
number(0x99, F, two, temperature_fine, Unit::celsius, "EGT27", "Exhaust gas temperature bank 2 sensor 7").on(A, 2),
number(0x99, H, two, temperature_fine, Unit::celsius, "EGT28", "Exhaust gas temperature bank 2 sensor 8").on(A, 3),

flag  (0x9A, B, 0, charge_mode, "HEV_MODE", "Charging mode of the hybrid system").on(A, 0),
number(0x9A, C, two, {1, 64, 0}, Unit::volt, "HEV_BATT_V", "Hybrid or electric battery voltage").on(A, 1),
number(0x9A, E, two, {1, 10, 0}, Unit::ampere, "HEV_BATT_A", "Hybrid or electric battery current").signed_number().on(A, 2),

small (0x9B, A, 4, 4, Unit::none, "DEF_TYPE", "Kind of exhaust fluid, raw").on(A, 0).doubtful("the place of this field and the meaning of its values"),
number(0x9B, B, one, {1, 4, 0}, Unit::percent, "DEF_CON", "Exhaust fluid concentration").on(A, 1),
number(0x9B, C, one, temperature, Unit::celsius, "DEF_T", "Exhaust fluid tank temperature").on(A, 2),
number(0x9B, D, one, percent_255, Unit::percent, "DEF_LVL", "Exhaust fluid tank level").on(A, 3),

TELLTALE_OXYGEN(0x9C, "13", "14", "23", "24", "bank 1 sensor 3", "bank 1 sensor 4", "bank 2 sensor 3", "bank 2 sensor 4"),
#undef TELLTALE_OXYGEN

number(0x9D, A, two, {1, 50, 0}, Unit::gram_second, "ENG_FUEL_RATE", "Engine fuel rate by mass"),
number(0x9D, C, two, {1, 50, 0}, Unit::gram_second, "VEH_FUEL_RATE", "Vehicle fuel rate by mass"),
number(0x9E, A, two, {1, 5, 0}, Unit::kilogram_hour, "EXH_RATE", "Exhaust flow"),

number(0x9F, B, one, percent_255, Unit::percent, "FUELSYSA_B1", "Fuel system A use bank 1").on(A, 0),
number(0x9F, C, one, percent_255, Unit::percent, "FUELSYSA_B2", "Fuel system A use bank 2").on(A, 1),
number(0x9F, D, one, percent_255, Unit::percent, "FUELSYSA_B3", "Fuel system A use bank 3").on(A, 2),
number(0x9F, E, one, percent_255, Unit::percent, "FUELSYSA_B4", "Fuel system A use bank 4").on(A, 3),
number(0x9F, F, one, percent_255, Unit::percent, "FUELSYSB_B1", "Fuel system B use bank 1").on(A, 4),
number(0x9F, G, one, percent_255, Unit::percent, "FUELSYSB_B2", "Fuel system B use bank 2").on(A, 5),
number(0x9F, H, one, percent_255, Unit::percent, "FUELSYSB_B3", "Fuel system B use bank 3").on(A, 6),
number(0x9F, I, one, percent_255, Unit::percent, "FUELSYSB_B4", "Fuel system B use bank 4").on(A, 7),

bitmap(0xA0, "PIDs supported A1 to C0"),

number(0xA1, B, two, plain, Unit::ppm, "NOXC11", "Corrected NOx concentration bank 1 sensor 1").on(A, 0).only(A, 4, false),
number(0xA1, D, two, plain, Unit::ppm, "NOXC12", "Corrected NOx concentration bank 1 sensor 2").on(A, 1).only(A, 5, false),
number(0xA1, F, two, plain, Unit::ppm, "NOXC21", "Corrected NOx concentration bank 2 sensor 1").on(A, 2).only(A, 6, false),
number(0xA1, H, two, plain, Unit::ppm, "NOXC22", "Corrected NOx concentration bank 2 sensor 2").on(A, 3).only(A, 7, false),
flag  (0xA1, A, 4, availability, "", "Corrected NOx reading bank 1 sensor 1").on(A, 0),
flag  (0xA1, A, 5, availability, "", "Corrected NOx reading bank 1 sensor 2").on(A, 1),
flag  (0xA1, A, 6, availability, "", "Corrected NOx reading bank 2 sensor 1").on(A, 2),
flag  (0xA1, A, 7, availability, "", "Corrected NOx reading bank 2 sensor 2").on(A, 3),

number(0xA2, A, two, by_32, Unit::milligram_stroke, "CYL_RATE", "Cylinder fuel rate"),

number(0xA3, B, two, {1, 4, 0}, Unit::pascal, "EVAP_A_VP", "Evaporative system A vapour pressure").signed_number().on(A, 0),
number(0xA3, D, two, {2, 1, 0}, Unit::pascal, "EVAP_A_VPW", "Evaporative system A vapour pressure, wide range").signed_number().on(A, 1),
number(0xA3, F, two, {1, 4, 0}, Unit::pascal, "EVAP_B_VP", "Evaporative system B vapour pressure").signed_number().on(A, 2),
number(0xA3, H, two, {2, 1, 0}, Unit::pascal, "EVAP_B_VPW", "Evaporative system B vapour pressure, wide range").signed_number().on(A, 3),

small (0xA4, B, 4, 4, Unit::none, "TRANS_GEAR", "Transmission gear").on(A, 0).noted("0: neutral"),
number(0xA4, C, two, {1, 1000, 0}, Unit::ratio, "TRANS_RATIO", "Transmission gear ratio").on(A, 1),

number(0xA5, B, one, {1, 2, 0}, Unit::percent, "DEF_CMD", "Commanded exhaust fluid dosing").on(A, 0),
number(0xA5, C, two, {1, 2000, 0}, Unit::litre, "DEF_UCDC", "Exhaust fluid used this driving cycle").on(A, 1),

number(0xA6, A, four, {1, 10, 0}, Unit::kilometre, "ODO", "Odometer"),

number(0xA7, B, two, plain, Unit::ppm, "NOX13", "NOx concentration bank 1 sensor 3").on(A, 0),
number(0xA7, D, two, plain, Unit::ppm, "NOX14", "NOx concentration bank 1 sensor 4").on(A, 1),
number(0xA7, F, two, plain, Unit::ppm, "NOX23", "NOx concentration bank 2 sensor 3").on(A, 2),
number(0xA7, H, two, plain, Unit::ppm, "NOX24", "NOx concentration bank 2 sensor 4").on(A, 3),

number(0xA8, B, two, plain, Unit::ppm, "NOXC13", "Corrected NOx concentration bank 1 sensor 3").on(A, 0),
number(0xA8, D, two, plain, Unit::ppm, "NOXC14", "Corrected NOx concentration bank 1 sensor 4").on(A, 1),
number(0xA8, F, two, plain, Unit::ppm, "NOXC23", "Corrected NOx concentration bank 2 sensor 3").on(A, 2),
number(0xA8, H, two, plain, Unit::ppm, "NOXC24", "Corrected NOx concentration bank 2 sensor 4").on(A, 3),

flag  (0xA9, B, 0, no_yes, "ABS_DISABLED", "ABS switched off by the rider").on(A, 0),

bitmap(0xC0, "PIDs supported C1 to E0"),

number(0xC3, A, one, percent_255, Unit::percent, "FLI_A", "Fuel level A"),
number(0xC3, B, one, percent_255, Unit::percent, "FLI_B", "Fuel level B"),

number(0xC4, A, four, plain, Unit::second, "", "Particulate control fault time"),
number(0xC4, E, four, plain, Unit::count, "", "Particulate control fault count"),

number(0xC5, A, two, {79, 1000, 0}, Unit::kilopascal, "FP_A", "Fuel pressure A"),
number(0xC5, C, two, {79, 1000, 0}, Unit::kilopascal, "FP_B", "Fuel pressure B"),

small (0xC6, A, 0, 8, Unit::none, "", "Particulate control inducement status, raw"),
number(0xC6, B, two, plain, Unit::hour, "", "Running time with the particulate aftertreatment removed or blocked"),
number(0xC6, D, two, plain, Unit::hour, "", "Running time with a failed reagent injection for the particulate filter"),
number(0xC6, F, two, plain, Unit::hour, "", "Running time with a fault of the particulate control monitoring"),

number(0xC7, A, two, plain, Unit::kilometre, "", "Distance since reprogramming or module replacement"),

flag  (0xC8, A, 0, lamp, "", "NOx control warning lamp"),
flag  (0xC8, A, 1, lamp, "", "Particulate control warning lamp"),

bitmap(0xE0, "PIDs supported E1 to FF"),
};

inline constexpr const char* aecd_length = "an early edition has 21 bytes, with one timer for each AECD";
inline constexpr const char* nox_availability = "the bits that say whether a reading is available";
inline constexpr const char* nox_later = "the length; the layout is taken to be that of PID 83 without its availability bits";

inline constexpr Head heads_64[] = {
// PID  length
{0x64, 5, recalled, "Engine torque data"},
{0x65, 2, recalled, "Auxiliary inputs and outputs"},
{0x66, 5, recalled, "Mass air flow A and B"},
{0x67, 3, recalled, "Engine coolant temperatures"},
{0x68, 7, recalled, "Intake air temperatures", "the length: 3 bytes, for two sensors, are also reported", 3},
{0x69, 7, recalled, "EGR command, position and error"},
{0x6A, 5, recalled, "Intake air flow control (diesel)"},
{0x6B, 5, recalled, "EGR temperatures", "whether bits 4 to 7 of byte A choose a wider range in later editions"},
{0x6C, 5, recalled, "Throttle actuator control"},
{0x6D, 11, recalled, "Fuel pressure control", "the length: an early edition has 6 bytes, for system A alone", 6},
{0x6E, 9, recalled, "Injection pressure control", "the length: an early edition has 5 bytes, for system A alone", 5},
{0x6F, 3, recalled, "Turbocharger compressor inlet pressures", "whether bits 2 and 3 of byte A choose a wider range in later editions"},
{0x70, 10, recalled, "Boost pressure control", "the length: 9 bytes, without the control states, are also reported", 9},
{0x71, 6, recalled, "Variable geometry turbocharger control", "the length: 5 bytes, without the control states, are also reported", 5},
{0x72, 5, recalled, "Wastegate control"},
{0x73, 5, recalled, "Exhaust pressures"},
{0x74, 5, recalled, "Turbocharger speeds", "the scaling: 1 rpm a bit is also reported"},
{0x75, 7, recalled, "Turbocharger A temperatures"},
{0x76, 7, recalled, "Turbocharger B temperatures"},
{0x77, 5, recalled, "Charge air cooler temperatures"},
{0x78, 9, recalled, "Exhaust gas temperatures bank 1"},
{0x79, 9, recalled, "Exhaust gas temperatures bank 2"},
{0x7A, 7, recalled, "Particulate filter bank 1 pressures"},
{0x7B, 7, recalled, "Particulate filter bank 2 pressures"},
{0x7C, 9, recalled, "Particulate filter temperatures"},
{0x7D, 1, recalled, "NOx not-to-exceed control area"},
{0x7E, 1, recalled, "PM not-to-exceed control area"},
{0x7F, 13, recalled, "Engine running times"},
{0x80, 4, outside},
{0x81, 41, recalled, "Running times of emission increasing AECDs 1 to 5", aecd_length},
{0x82, 41, recalled, "Running times of emission increasing AECDs 6 to 10", aecd_length},
{0x83, 9, recalled, "NOx concentrations", nox_availability, 5},
{0x84, 1, recalled},
{0x85, 10, recalled, "NOx reagent system"},
{0x86, 5, recalled, "Particulate mass concentrations"},
{0x87, 5, recalled, "Intake manifold absolute pressures"},
{0x88, 13, recalled, "SCR inducement system", "the order of the distances"},
{0x89, 41, recalled, "Running times of emission increasing AECDs 11 to 15", aecd_length},
{0x8A, 41, recalled, "Running times of emission increasing AECDs 16 to 20", aecd_length},
{0x8B, 7, recalled, "Diesel aftertreatment"},
{0x8C, 17, recalled, "Oxygen sensors 1 and 2, wide range"},
{0x8D, 1, recalled},
{0x8E, 1, recalled},
{0x8F, 7, recalled, "Particulate sensors", "the length: 5 bytes are also reported"},
{0x90, 3, recalled, "WWH-OBD information of the vehicle", "the bits of byte A"},
{0x91, 5, recalled, "WWH-OBD information of this ECU", "the bits of byte A"},
{0x92, 2, recalled, "Fuel system control (diesel)"},
{0x93, 3, recalled, "WWH-OBD counters of the vehicle"},
{0x94, 12, recalled, "NOx warning and inducement system", "which support bit covers the states of byte B"},
{0x98, 9, recalled, "Exhaust gas temperatures bank 1, sensors 5 to 8"},
{0x99, 9, recalled, "Exhaust gas temperatures bank 2, sensors 5 to 8"},
{0x9A, 6, recalled, "Hybrid or electric vehicle system", "the bits of byte B in later editions"},
{0x9B, 4, recalled, "Exhaust fluid sensor"},
{0x9C, 17, recalled, "Oxygen sensors 3 and 4, wide range"},
{0x9D, 4, recalled, "Fuel rates by mass"},
{0x9E, 2, recalled},
{0x9F, 9, recalled, "Fuel system use", "the order of systems and banks"},
{0xA0, 4, outside},
{0xA1, 9, recalled, "Corrected NOx concentrations", nox_availability},
{0xA2, 2, recalled},
{0xA3, 9, recalled, "Evaporative system vapour pressures", "the scaling of the wide range"},
{0xA4, 4, recalled, "Transmission gear", "the place of the gear in byte B"},
{0xA5, 4, recalled, "Exhaust fluid dosing"},
{0xA6, 4, recalled},
{0xA7, 9, recalled, "NOx concentrations, sensors 3 and 4", nox_later},
{0xA8, 9, recalled, "Corrected NOx concentrations, sensors 3 and 4", nox_later},
{0xA9, 4, recalled, "Motorcycle ABS switch", "the length and the bits"},
{0xC0, 4, outside},
{0xC3, 2, recalled, "Fuel levels A and B", "the length and the layout"},
{0xC4, 8, recalled, "Particulate control diagnosis", "the layout"},
{0xC5, 4, recalled, "Fuel pressures A and B", "the layout and the scaling"},
{0xC6, 7, recalled, "Particulate control inducement", "the layout of byte A"},
{0xC7, 2, recalled, nullptr, "the scaling"},
{0xC8, 1, recalled, "NOx and particulate control warning lamps", "the bits"},
{0xE0, 4, recalled},
};

inline constexpr LeftOut left_out_pids[] = {
{0x95, 0x97, "not known", "not known to be assigned"},
{0xAA, 0xAA, "vehicle speed limiter", "assigned in later editions; the layout is not known for certain"},
{0xAB, 0xAB, "alternative fuel vehicle data", "assigned in later editions; the layout is not known for certain"},
{0xAC, 0xAC, "largest exhaust fluid dosing", "assigned in later editions; the layout is not known for certain"},
{0xAD, 0xAD, "crankcase pressure", "assigned in later editions; the layout is not known for certain"},
{0xAE, 0xAE, "evaporative purge pressure", "assigned in later editions; the layout is not known for certain"},
{0xAF, 0xAF, "EGR mass flow", "assigned in later editions; the layout is not known for certain"},
{0xB0, 0xBF, "not known", "some are assigned in later editions; neither names nor layouts are known for certain"},
{0xC1, 0xC2, "not known", "neither names nor layouts are known for certain"},
{0xC9, 0xDF, "not known", "not known to be assigned"},
{0xE1, 0xFF, "not known", "not known to be assigned"},
};
// clang-format on

} // namespace telltale::catalogue::table
