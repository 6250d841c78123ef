// SPDX-License-Identifier: Apache-2.0
#include "telltale/catalogue/extension.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <ctime>
#include <string>

#include "telltale/catalogue/listing.hpp"

using namespace telltale;
using namespace telltale::catalogue;

namespace {

// Identifiers, parameters and codes of these tests are invented.
constexpr std::string_view head = "table,service,id,length,row,field,short,bytes,kind,signed,"
                                  "scaling,low,high,unit,present,clause,"
                                  "evidence,unsure,choices,when,not_used,note,short_length,ecu\n";

std::string with_head(std::string_view lines) {
    return std::string(head) + std::string(lines);
}

Extension good(std::string_view lines) {
    auto extension = read_extension(with_head(lines));
    if (!extension)
        FAIL(extension.error().detail);
    return std::move(*extension);
}

/// The faults of lines below the head, without their places.
std::vector<Fault> faults_of(std::string_view text) {
    std::vector<Fault> faults;
    const auto extension = read_extension(text, &faults);
    CHECK_FALSE(extension.has_value());
    CHECK_FALSE(faults.empty());
    return faults;
}

/// The one fault of one line below the head.
std::string fault_of(std::string_view line) {
    const auto faults = faults_of(with_head(line));
    REQUIRE(faults.size() == 1);
    CHECK(faults[0].line == 2);
    return faults[0].detail;
}

bool says(std::string_view text, std::string_view part) {
    const bool found = text.find(part) != std::string_view::npos;
    if (!found)
        MESSAGE(text);
    return found;
}

std::string csv(const Extension& extension) {
    std::string out;
    append_catalogue_csv(out, &extension);
    return out;
}

std::string lines_of_2000_rows() {
    std::string text(head);
    for (unsigned i = 0; i < 2000; ++i) {
        const auto number = std::to_string(i);
        std::string id = "0000";
        for (unsigned k = 0, rest = 0x1000 + i; k < 4; ++k, rest /= 16)
            id[3 - k] = "0123456789ABCDEF"[rest % 16];
        text +=
            "data-id,22," + id + ",2,,Invented temperature " + number + ",IT" + number +
            ",A-B,number,yes,raw / 10 - 40.5,,,Cel,,\"Invented maker, sheet 4\",memory,,,,,,,\n";
    }
    return text;
}

} // namespace

TEST_CASE("a parameter has what its lines say") {
    const auto extension =
        good("data-id,22,1101,3,Oil,Oil temperature,OILT,A,number,no,raw - 40,-40,215,Cel,,Sheet 1,"
             "published-formula,,,,,,,7E8\n"
             "data-id,22,1101,3,Oil,Oil pump,OILP,B.7-6,choice,,,,,,C.0,,,guessed,0 = off | 1 = on "
             "| 2 = "
             "test (unsure),C.1=0,3,A note,,7E8\n"
             "local-id,21,01,0,Block of everything,,,,,,,,,,,,,,,,,,,\n"
             "pid,01,FE,2,,Dose,DOSE,A-B,number,yes,raw * 0.25 - 0.125,,,{mm3/stroke},,,,,,,,,,\n");
    REQUIRE(extension.rows().size() == 3);
    const Row* row = extension.find(0x22, 0x1101, ecu_name(0x7E8, false));
    REQUIRE(row != nullptr);
    CHECK(row->length == 3);
    CHECK(std::string_view(row->name) == "Oil");
    CHECK(std::string_view(row->clause) == "Sheet 1");
    CHECK(row->evidence == Evidence::published_formula);
    REQUIRE(row->fields.size() == 2);
    CHECK(row->fields[0].scale == Scale{1, 1, -40});
    CHECK(row->fields[0].unit == Unit::celsius);
    const Field& pump = row->fields[1];
    CHECK(pump.kind == Kind::choice);
    CHECK(pump.at == 1);
    CHECK(pump.bit == 6);
    CHECK(pump.bits == 2);
    CHECK(pump.present.byte == 2);
    CHECK(pump.when.bit.bit == 1);
    CHECK_FALSE(pump.when.set);
    CHECK(pump.no_value == 3);
    CHECK(std::string_view(pump.unsure) == "guessed");
    CHECK(std::string_view(pump.note) == "A note");
    REQUIRE(pump.choices.size() == 3);
    CHECK(std::string_view(pump.choices[1].text) == "on");
    CHECK(pump.choices[2].unsure);
    CHECK(std::string_view(pump.choices[2].text) == "test");
    // Only of the ECU that is named.
    CHECK(extension.find(0x22, 0x1101) == nullptr);
    CHECK(extension.find(0x22, 0x1101, ecu_name(0x7E9, false)) == nullptr);
    // Of any.
    CHECK(extension.find(0x21, 0x01) != nullptr);
    CHECK(extension.find(0x21, 0x01, ecu_name(0x18DAF110, true)) != nullptr);
    CHECK(extension.has(0x21));
    CHECK_FALSE(extension.has(0x1A));
    const Row* dose = extension.find(0x01, 0xFE);
    REQUIRE(dose != nullptr);
    CHECK(std::string_view(dose->name) == "Dose"); // that of its only field
    CHECK(std::string_view(dose->fields[0].own_unit) == "{mm3/stroke}");
    CHECK(dose->fields[0].scale.apply(0) == -0.125);
    CHECK(dose->fields[0].scale.apply(3) == 0.625);
    CHECK(dose->fields[0].scale.decimals() == 1); // enough to tell eighths apart
}

TEST_CASE("an ECU's own row goes before the one for any") {
    const auto extension = good("local-id,21,10,1,General,,,,,,,,,,,,,,,,,,,\n"
                                "local-id,21,10,2,Gearbox,,,,,,,,,,,,,,,,,,,7E9\n"
                                "local-id,21,10,3,Other,,,,,,,,,,,,,,,,,,,18DAF118\n");
    CHECK(extension.find(0x21, 0x10, ecu_name(0x7E9, false))->length == 2);
    CHECK(extension.find(0x21, 0x10, ecu_name(0x18DAF118, true))->length == 3);
    CHECK(extension.find(0x21, 0x10, ecu_name(0x7E8, false))->length == 1);
    CHECK(extension.find(0x21, 0x10)->length == 1);
    CHECK(extension.find(0x21, 0x11) == nullptr);
    CHECK(extension.find(0x22, 0x10) == nullptr);
}

TEST_CASE("codes have meanings, with and without failure type") {
    const auto extension =
        good("code,,P1234,,Invented pump does not turn,,,,,,,,,,,Sheet 9,common-practice,,,,,,,\n"
             "code,,P1234-1C,,Invented pump: voltage out of range,,,,,,,,,,,,,,,,,,,\n"
             "code,,U1A00,,Invented bus,,,,,,,,,,,,,maybe,,,,,,\n");
    REQUIRE(extension.codes().size() == 3);
    CHECK(extension.code_text(0x1234) == "Invented pump does not turn");
    CHECK(extension.code_text(0x1234, 0x1C) == "Invented pump: voltage out of range");
    CHECK(extension.code_text(0x1234, 0x1D) == "Invented pump does not turn");
    CHECK(extension.code_text(0xDA00) == "Invented bus");
    CHECK(extension.code_text(0x1235).empty());
}

TEST_CASE("what the catalogue prints can be read again, and gives the same print") {
    // The standard's rows alone: nothing is added, nothing is wrong.
    const Extension nothing;
    const auto standard = csv(nothing);
    const auto again = read_extension(standard);
    REQUIRE_MESSAGE(again.has_value(), again.error().detail);
    CHECK(again->empty());
    CHECK(csv(*again) == standard);

    const auto extension = good(
        "data-id,22,1101,4,Oil,\"Oil, hot\",OILT,A,number,no,raw * 3 / 7 - 40,,,Cel,,\"Sheet "
        "\"\"1\"\"\","
        "published-formula,,,,,,,7E8\n"
        "data-id,22,1101,4,Oil,Oil pump,OILP,B.7-6,choice,,,,,,C.0,,,guessed,0 = off | 1 = on | 2 "
        "= "
        "x (unsure),C.1=0,3,A note,,7E8\n"
        "data-id,22,1101,4,Oil,Balance,,D,number,yes,raw * -0.1 + 3276.8,,,{a/b},,,,,,,128,,,7E8\n"
        "data-id,22,2000,0,Label,Words,,C-,text,,,,,,,,,,,,,,,\n"
        "data-id,22,2000,,,Front,,A-B,code,,,,,,,,,,,,,,,\n"
        "data-id,22,0001,3,Bits,Nibble,,A-B.11-4,number,no,raw / 255 + 0.5,,,1,,,,,,,,,,\n"
        "pid,01,FE,1,'=odd name,,,,,,,,,,,,,,,,,,,\n"
        "local-id,21,01,0,Block,,,,,,,,,,,'-x,,unsure of it,,,,,,18DAF110\n"
        "code,,P1234,,Invented,,,,,,,,,,,,,,,,,,,\n"
        "code,,C1234-0A,,Other,,,,,,,,,,,,,,,,,,,\n");
    const auto once = csv(extension);
    CHECK(once.size() > standard.size());
    const auto twice = read_extension(once);
    REQUIRE_MESSAGE(twice.has_value(), twice.error().detail);
    CHECK(csv(*twice) == once);
    CHECK(twice->rows().size() == extension.rows().size());
}

TEST_CASE("columns may come in any order, and those that are not needed may be left out") {
    const auto extension = read_extension("# a remark\r\n"
                                          "\r\n"
                                          "id,row,table,length,bytes,field,kind\r\n"
                                          "1234,Pressure,data-id,1,A,Pressure,number\r\n");
    REQUIRE_MESSAGE(extension.has_value(), extension.error().detail);
    CHECK(extension->find(0x22, 0x1234)->fields[0].scale == Scale{1, 1, 0});
}

TEST_CASE("each kind of fault is named") {
    // Tables, services, identifiers.
    CHECK(says(fault_of("pids,01,FE,1,x,,,,,,,,,,,,,,,,,,,\n"), "no table is named 'pids'"));
    CHECK(says(fault_of("pid,02,FE,1,x,,,,,,,,,,,,,,,,,,,\n"), "belongs to service '01'"));
    CHECK(says(fault_of("pid,01,FEE,1,x,,,,,,,,,,,,,,,,,,,\n"), "no identifier"));
    CHECK(says(fault_of("data-id,22,12345,1,x,,,,,,,,,,,,,,,,,,,\n"), "no data identifier"));
    CHECK(says(fault_of("pid,01,0C,2,Mine,,,,,,,,,,,,,,,,,,,\n"), "PID 0C is the standard's"));
    CHECK(says(fault_of("data-id,22,F40C,2,Mine,,,,,,,,,,,,,,,,,,,\n"), "the standard's"));
    CHECK(says(fault_of("data-id,22,F190,17,Mine,,,,,,,,,,,,,,,,,,,\n"), "the standard's"));
    CHECK(says(fault_of("monitor,06,21,,Mine,,,,,,,,,,,,,,,,,,,\n"), "can be added"));
    CHECK(says(fault_of("local-id,21,01,1,x,,,,,,,,,,,,,,,,,,,7FFF\n"), "ECU"));
    // Rows.
    CHECK(says(fault_of("local-id,21,01,,x,,,,,,,,,,,,,,,,,,,\n"), "the length"));
    CHECK(says(fault_of("local-id,21,01,4094,x,,,,,,,,,,,,,,,,,,,\n"), "the length"));
    CHECK(says(fault_of("local-id,21,01,1,,,,,,,,,,,,,,,,,,,,\n"), "name is missing"));
    CHECK(says(fault_of("local-id,21,01,1,x,,,,,,,,,,,,hearsay,,,,,,,\n"), "evidence"));
    // Places.
    const auto field = [](std::string_view rest) {
        return fault_of("local-id,21,01,2,x,f,," + std::string(rest) + "\n");
    };
    CHECK(says(field("C,number,,,,,,,,,,,,,,,"), "behind the 2 bytes"));
    CHECK(says(field("A-C,number,,,,,,,,,,,,,,,"), "behind the 2 bytes"));
    CHECK(says(field("1,number,,,,,,,,,,,,,,,"), "lettered"));
    CHECK(says(field("B-A,number,,,,,,,,,,,,,,,"), "lettered"));
    CHECK(says(field("A.8,number,,,,,,,,,,,,,,,"), "lettered"));
    CHECK(says(field("A.3-4,number,,,,,,,,,,,,,,,"), "lettered"));
    CHECK(says(field("A-,number,,,,,,,,,,,,,,,"), "32 bits"));
    CHECK(says(field("A,code,,,,,,,,,,,,,,,"), "two whole bytes"));
    CHECK(says(field("A.1,hex,,,,,,,,,,,,,,,"), "whole bytes"));
    CHECK(says(field("A,bitmap,,,,,,,,,,,,,,,"), "the kind is"));
    CHECK(says(field("A,number,,,,,,C.1,,,,,,,,,"), "behind the end of the row"));
    CHECK(says(field("A,number,,,,,,B.8,,,,,,,,,"), "names a bit"));
    CHECK(says(field("A,number,,,,,,,,,,,B.1,,,,"), "state"));
    CHECK(says(fault_of("local-id,21,01,8,x,f,,A-H,number,,,,,,,,,,,,,,,\n"), "32 bits"));
    // Numbers.
    CHECK(says(field("A,number,maybe,,,,,,,,,,,,,,"), "yes or no"));
    for (const auto* scaling : {"raw *", "x + 1", "raw / 0", "raw * 0", "raw * 99999999999",
                                "raw + 1 + 2", "raw / 2 * 3", "raw ** 2", "raw * 0.1.2", "raw 4"})
        CHECK(says(field("A,number,," + std::string(scaling) + ",,,,,,,,,,,,,"), "the scaling is"));
    CHECK(says(field("A,number,,,1,,,,,,,,,,,,"), "'low' says '1', the scaling gives 0"));
    CHECK(says(field("A,number,,raw * 2,,511,,,,,,,,,,,"), "the scaling gives 510"));
    CHECK(says(field("A,number,,,,,kpa,,,,,,,,,,"), "UCUM code 'kpa'"));
    CHECK(says(field("A,number,,,,,{a,,,,,,,,,,"), "braces"));
    CHECK(says(field("A,hex,yes,,,,,,,,,,,,,,"), "only a number has that"));
    // Choices.
    CHECK(says(field("A,choice,,,,,,,,,,,,,,,"), "a choice says"));
    CHECK(says(field("A.0,choice,,,,,,,,,,0 = a | 2 = b,,,,,"), "fit the 1 bits"));
    CHECK(says(field("A,choice,,,,,,,,,,0 = a | 0 = b,,,,,"), "twice"));
    CHECK(says(field("A,choice,,,,,,,,,,a,,,,,"), "choices are"));
    CHECK(says(field("A,number,,,,,,,,,,0 = a,,,,,"), "only a choice"));
    CHECK(says(field("A,number,,,,,,,,,,,,256,,,"), "not_used"));
    CHECK(says(field("A,number,,,,,,,,,,,,,,1,"), "for the standard's rows"));
    // Names.
    CHECK(says(fault_of("local-id,21,01,1,x,,,A,number,,,,,,,,,,,,,,,\n"), "name of the field"));
    CHECK(says(fault_of("local-id,21,01,1,x,f,RPM,A,number,,,,,,,,,,,,,,,\n"), "the standard's"));
    CHECK(says(fault_of("local-id,21,01,1,x,f,a b,A,number,,,,,,,,,,,,,,,\n"), "short name"));
    CHECK(says(fault_of("local-id,21,01,1,x,f,BEEF,A,number,,,,,,,,,,,,,,,\n"), "identifier"));
    CHECK(says(fault_of("local-id,21,01,1,x\x1b[31m,,,,,,,,,,,,,,,,,,,\n"), "control"));
    CHECK(says(fault_of("local-id,21,01,1,x\xC3,,,,,,,,,,,,,,,,,,,\n"), "UTF-8"));
    CHECK(says(fault_of("local-id,21,01,1," + std::string(121, 'x') + ",,,,,,,,,,,,,,,,,,,\n"),
               "longer than 120"));
    // Codes.
    CHECK(says(fault_of("code,,P0171,,Mine,,,,,,,,,,,,,,,,,,,\n"), "has a meaning"));
    CHECK(says(fault_of("code,,X1234,,Mine,,,,,,,,,,,,,,,,,,,\n"), "no code"));
    CHECK(says(fault_of("code,,P4234,,Mine,,,,,,,,,,,,,,,,,,,\n"), "no code"));
    CHECK(says(fault_of("code,,P1234-1,,Mine,,,,,,,,,,,,,,,,,,,\n"), "no code"));
    CHECK(says(fault_of("code,,P0000,,Mine,,,,,,,,,,,,,,,,,,,\n"), "no code"));
    CHECK(says(fault_of("code,,P1234,,,,,,,,,,,,,,,,,,,,,\n"), "meaning of the code is missing"));
    CHECK(says(fault_of("code,,P1234,2,Mine,,,,,,,,,,,,,,,,,,,\n"), "'length' says '2'"));
    // Form.
    CHECK(says(fault_of("code,,P1234,,\"Mine,,,,,,,,,,,,,,,,,,,\n"), "quote"));
    CHECK(says(fault_of("code,,P1234,,\"Mine\"x,,,,,,,,,,,,,,,,,,,\n"), "quote"));
    CHECK(says(fault_of("code,,P1234,,Mine,,,,,,,,,,,,,,,,,,,,\n"), "25 columns"));
    CHECK(says(fault_of(std::string(20'000, 'x') + "\n"), "longer than"));
}

TEST_CASE("faults between lines") {
    const auto second = [](std::string_view lines) {
        const auto faults = faults_of(with_head(lines));
        REQUIRE(faults.size() == 1);
        CHECK(faults[0].line == 3);
        return faults[0].detail;
    };
    CHECK(says(second("local-id,21,01,3,x,f,,A-B,number,,,,,,,,,,,,,,,\n"
                      "local-id,21,01,3,x,g,,B-C,number,,,,,,,,,,,,,,,\n"),
               "overlaps 'f'"));
    CHECK(says(second("local-id,21,01,3,x,f,,A.7-4,number,,,,,,,,,,,,,,,\n"
                      "local-id,21,01,3,x,g,,A.4-0,number,,,,,,,,,,,,,,,\n"),
               "overlaps 'f'"));
    CHECK(says(second("local-id,21,01,3,x,f,,A,number,,,,,,,,,,,,,,,\n"
                      "local-id,21,01,3,x,F,,B,number,,,,,,,,,,,,,,,\n"),
               "'F' is used in line 2 already"));
    CHECK(says(second("local-id,21,01,3,x,f,AB1,A,number,,,,,,,,,,,,,,,\n"
                      "local-id,21,02,3,y,g,ab1,B,number,,,,,,,,,,,,,,,\n"),
               "'ab1' is used in line 2 already"));
    CHECK(says(second("local-id,21,01,3,x,,,,,,,,,,,,,,,,,,,\n"
                      "local-id,21,01,3,x,g,,B,number,,,,,,,,,,,,,,,\n"),
               "without a field"));
    CHECK(says(second("local-id,21,01,3,x,f,,A,number,,,,,,,,,,,,,,,\n"
                      "local-id,21,01,4,x,g,,B,number,,,,,,,,,,,,,,,\n"),
               "'length' says '4'; line 2 said '3'"));
    CHECK(says(second("code,,P1234,,Mine,,,,,,,,,,,,,,,,,,,\n"
                      "code,,P1234,,Other,,,,,,,,,,,,,,,,,,,\n"),
               "described in line 2 already"));
    const auto far = faults_of(with_head("local-id,21,01,3,x,f,,A,number,,,,,,,,,,,,,,,\n"
                                         "local-id,21,02,3,y,g,,A,number,,,,,,,,,,,,,,,\n"
                                         "local-id,21,01,3,x,h,,B,number,,,,,,,,,,,,,,,\n"));
    REQUIRE(far.size() == 1);
    CHECK(far[0].line == 4);
    CHECK(says(far[0].detail, "from line 2 on already"));
    // Alike, but never there together.
    good("local-id,21,01,3,x,f,,A-B,number,,,,,,,,,,,C.0=1,,,,\n"
         "local-id,21,01,3,x,g,,B,number,,,,,,,,,,,C.0=0,,,,\n");
    // The same name at different ECUs.
    good("local-id,21,01,3,x,f,K1,A,number,,,,,,,,,,,,,,,7E8\n"
         "local-id,21,01,3,x,f,K1,A,number,,,,,,,,,,,,,,,7E9\n");
}

TEST_CASE("all faults are told, with their texts and lines") {
    const std::string first = with_head("local-id,21,01,1,x,f,,B,number,,raw ^ 2,,,psi,,,,,,,,,,\n"
                                        "local-id,21,02,1,y,,,,,,,,,,,,,,,,,,,\n"
                                        "code,,P0171,,Mine,,,,,,,,,,,,,,,,,,,\n");
    const std::string second = with_head("local-id,21,02,1,y,,,,,,,,,,,,,,,,,,,\n");
    const ExtensionText texts[] = {{"one.csv", first}, {"two.csv", second}};
    std::vector<Fault> faults;
    const auto extension = read_extension(texts, &faults);
    REQUIRE_FALSE(extension.has_value());
    CHECK(extension.error().code == ErrorCode::bad_argument);
    CHECK(extension.error().place.line == 2);
    REQUIRE(faults.size() == 5);
    CHECK(says(extension.error().detail, "one.csv:2: the field ends behind"));
    CHECK(says(extension.error().detail, "\none.csv:2: the scaling is"));
    CHECK(says(extension.error().detail, "\none.csv:2: no unit has the UCUM code 'psi'"));
    CHECK(says(extension.error().detail, "\none.csv:4: code P0171"));
    CHECK(
        says(extension.error().detail, "\ntwo.csv:2: identifier 02 was described from one.csv:3"));
}

TEST_CASE("hostile texts are refused") {
    CHECK(says(faults_of("")[0].detail, "empty"));
    CHECK(says(faults_of("\n# only a remark\n")[0].detail, "names of the columns"));
    CHECK(says(faults_of("table,id\n")[0].detail, "'row' is missing"));
    CHECK(says(faults_of("table,id,row,colour\n")[0].detail, "'colour'"));
    CHECK(says(faults_of("table,id,row,row\n")[0].detail, "twice"));
    const auto large = read_extension(std::string(Extension::max_text + 1, '#'));
    REQUIRE_FALSE(large.has_value());
    CHECK(large.error().code == ErrorCode::too_long);
    // More faults than are kept: they are counted.
    std::string many(head);
    for (int i = 0; i < 1000; ++i)
        many += "nonsense\n";
    std::vector<Fault> faults;
    const auto bad = read_extension(many, &faults);
    REQUIRE_FALSE(bad.has_value());
    CHECK(faults.size() == Extension::max_faults);
    CHECK(says(bad.error().detail, "and 800 faults more"));
}

TEST_CASE("2,000 rows are read in less than 20 ms") {
    const auto text = lines_of_2000_rows();
    double best = 1e9; // milliseconds of processor time
    for (int i = 0; i < 5; ++i) {
        const std::clock_t from = std::clock();
        const auto extension = read_extension(text);
        const auto took = static_cast<double>(std::clock() - from) * 1e3 / CLOCKS_PER_SEC;
        REQUIRE(extension.has_value());
        CHECK(extension->rows().size() == 2000);
        best = std::min(best, took);
    }
    MESSAGE(best << " ms");
    // Builds without optimization and with sanitizers are slower; so is a processor with other
    // work.
#if defined(NDEBUG) && defined(__OPTIMIZE__)
    CHECK(best < 40);
#else
    CHECK(best < 1000);
#endif
}
