// SPDX-License-Identifier: Apache-2.0
// The tables other than the PIDs: in order, found by their identifiers, complete in their fields.
#include <doctest/doctest.h>

#include <cstdio>
#include <set>
#include <string>

#include "telltale/base/hex.hpp"
#include "telltale/catalogue/catalogue.hpp"

using namespace telltale::catalogue;
using telltale::Unit;

namespace {

template <class T> void check_names(std::span<const T> table, const T* (*find)(std::uint8_t)) {
    int before = -1;
    for (const T& row : table) {
        CAPTURE(static_cast<int>(row.id));
        CHECK(static_cast<int>(row.id) > before);
        before = row.id;
        CHECK(find(static_cast<std::uint8_t>(row.id)) == &row);
        CHECK(row.name != nullptr);
        CHECK_FALSE(std::string(row.name).empty());
    }
    std::size_t found = 0;
    for (unsigned id = 0; id < 256; ++id)
        found += find(static_cast<std::uint8_t>(id)) != nullptr ? 1 : 0;
    CHECK(found == table.size());
}

} // namespace

TEST_CASE("every table ascends and is found by its identifiers") {
    check_names<Name>(monitors(), monitor);
    check_names<Name>(tests(), test);
    check_names<Name>(controls(), control);
    check_names<Name>(negative_codes(), negative_code);
    check_names<Name>(services(), service);
    check_names<Scaling>(scalings(), scaling);
    check_names<Row>(info_types(), info_type);
}

TEST_CASE("the ends of the scalings are those that the standard prints") {
    // SAE J1979-DA, annex E, from memory: the value at raw FFFF (unsigned), or at 8000 and 7FFF
    struct End {
        std::uint8_t id;
        std::uint16_t raw;
        double value;
        Unit unit;
        double tolerance;
    };
    constexpr End ends[] = {
        {0x01, 0xFFFF, 65535, Unit::none, 0},
        {0x02, 0xFFFF, 6553.5, Unit::none, 1e-9},
        {0x03, 0xFFFF, 655.35, Unit::none, 1e-9},
        {0x04, 0xFFFF, 65.535, Unit::none, 1e-9},
        {0x05, 0xFFFF, 1.999, Unit::none, 5e-4},
        {0x06, 0xFFFF, 19.988, Unit::none, 5e-4},
        {0x07, 0xFFFF, 16383.75, Unit::rpm, 0},
        {0x08, 0xFFFF, 655.35, Unit::kilometre_hour, 1e-9},
        {0x09, 0xFFFF, 65535, Unit::kilometre_hour, 0},
        {0x0A, 0xFFFF, 7995.27, Unit::millivolt, 5e-3},
        {0x0B, 0xFFFF, 65.535, Unit::volt, 1e-9},
        {0x0C, 0xFFFF, 655.35, Unit::volt, 1e-9},
        {0x0D, 0xFFFF, 255.996, Unit::milliampere, 5e-4},
        {0x0E, 0xFFFF, 65.535, Unit::ampere, 1e-9},
        {0x0F, 0xFFFF, 655.35, Unit::ampere, 1e-9},
        {0x10, 0xFFFF, 65535, Unit::millisecond, 0},
        {0x11, 0xFFFF, 6553.5, Unit::second, 1e-9},
        {0x12, 0xFFFF, 65535, Unit::second, 0},
        {0x13, 0xFFFF, 65.535, Unit::ohm, 1e-9},
        {0x14, 0xFFFF, 65535, Unit::ohm, 0},
        {0x15, 0xFFFF, 65535, Unit::kilohm, 0},
        {0x16, 0xFFFF, 6513.5, Unit::celsius, 1e-9},
        {0x16, 0x0000, -40, Unit::celsius, 0},
        {0x17, 0xFFFF, 655.35, Unit::kilopascal, 1e-9},
        {0x18, 0xFFFF, 766.76, Unit::kilopascal_air, 5e-3},
        {0x19, 0xFFFF, 5177.27, Unit::kilopascal, 5.001e-3},
        {0x1A, 0xFFFF, 65535, Unit::kilopascal, 0},
        {0x1B, 0xFFFF, 655350, Unit::kilopascal, 0},
        {0x1C, 0xFFFF, 655.35, Unit::degree, 1e-9},
        {0x1D, 0xFFFF, 32767.5, Unit::degree, 0},
        {0x1E, 0xFFFF, 1.999, Unit::ratio, 5e-4},
        {0x1F, 0xFFFF, 3276.75, Unit::ratio, 1e-9},
        {0x20, 0xFFFF, 255.996, Unit::ratio, 5e-4},
        {0x21, 0xFFFF, 65.535, Unit::hertz, 1e-9},
        {0x22, 0xFFFF, 65535, Unit::hertz, 0},
        {0x23, 0xFFFF, 65535, Unit::kilohertz, 0},
        {0x24, 0xFFFF, 65535, Unit::count, 0},
        {0x25, 0xFFFF, 65535, Unit::kilometre, 0},
        {0x26, 0xFFFF, 6553500, Unit::millivolt_second, 0},
        {0x27, 0xFFFF, 655.35, Unit::gram_second, 1e-9},
        {0x28, 0xFFFF, 65535, Unit::gram_second, 0},
        {0x29, 0xFFFF, 16383.75, Unit::pascal_second, 0},
        {0x2A, 0xFFFF, 65.535, Unit::kilogram_hour, 1e-9},
        {0x2B, 0xFFFF, 65535, Unit::count, 0},
        {0x2C, 0xFFFF, 655.35, Unit::gram, 1e-9},
        {0x2D, 0xFFFF, 655.35, Unit::milligram_stroke, 1e-9},
        {0x2E, 0x0001, 1, Unit::none, 0},
        {0x2F, 0xFFFF, 655.35, Unit::percent, 1e-9},
        {0x30, 0xFFFF, 100.00, Unit::percent, 1e-2},
        {0x31, 0xFFFF, 65.535, Unit::litre, 1e-9},
        {0x32, 0xFFFF, 1.999 * 25.4, Unit::millimetre, 2e-2},
        {0x33, 0xFFFF, 15.9998, Unit::ratio, 5e-5},
        {0x34, 0xFFFF, 65535, Unit::minute, 0},
        {0x35, 0xFFFF, 655.35, Unit::second, 1e-9},
        {0x36, 0xFFFF, 655.35, Unit::gram, 1e-9},
        {0x37, 0xFFFF, 6553.5, Unit::gram, 1e-9},
        {0x38, 0xFFFF, 65535, Unit::gram, 0},
        {0x39, 0x0000, -327.68, Unit::percent, 1e-9},
        {0x39, 0x8000, 0, Unit::percent, 0},
        {0x39, 0xFFFF, 327.67, Unit::percent, 1e-9},
        {0x3A, 0xFFFF, 65.535, Unit::gram, 1e-9},
        {0x3B, 0xFFFF, 6.5535, Unit::gram, 1e-9},
        {0x3C, 0xFFFF, 6.5535, Unit::millisecond, 1e-9},
        {0x3D, 0xFFFF, 655.35, Unit::milliampere, 1e-9},
        {0x3E, 0xFFFF, 3.9999, Unit::square_millimetre, 5e-5},
        {0x3F, 0xFFFF, 655.35, Unit::litre, 1e-9},
        {0x40, 0xFFFF, 65535, Unit::ppm, 0},
        {0x41, 0xFFFF, 655.35, Unit::microampere, 1e-9},
        {0x81, 0x8000, -32768, Unit::none, 0},
        {0x81, 0x7FFF, 32767, Unit::none, 0},
        {0x82, 0x8000, -3276.8, Unit::none, 1e-9},
        {0x83, 0x8000, -327.68, Unit::none, 1e-9},
        {0x84, 0x7FFF, 32.767, Unit::none, 1e-9},
        {0x85, 0x8000, -0.999, Unit::none, 5e-4},
        {0x86, 0x8000, -9.994, Unit::none, 5e-4},
        {0x87, 0x8000, -32768, Unit::ppm, 0},
        {0x8A, 0x8000, -3997.7, Unit::millivolt, 5e-2},
        {0x8B, 0x8000, -32.768, Unit::volt, 1e-9},
        {0x8C, 0x8000, -327.68, Unit::volt, 1e-9},
        {0x8D, 0x8000, -128, Unit::milliampere, 0},
        {0x8E, 0x8000, -32.768, Unit::ampere, 1e-9},
        {0x90, 0x8000, -32768, Unit::millisecond, 0},
        {0x96, 0x8000, -3276.8, Unit::celsius, 1e-9},
        {0x99, 0x8000, -3276.8, Unit::kilopascal, 1e-9},
        {0x9C, 0x8000, -327.68, Unit::degree, 1e-9},
        {0x9D, 0x8000, -16384, Unit::degree, 0},
        {0xA8, 0x8000, -32768, Unit::gram_second, 0},
        {0xA9, 0x8000, -8192, Unit::pascal_second, 0},
        {0xAD, 0x8000, -327.68, Unit::milligram_stroke, 1e-9},
        {0xAE, 0x8000, -3276.8, Unit::milligram_stroke, 1e-9},
        {0xAF, 0x8000, -327.68, Unit::percent, 1e-9},
        {0xB0, 0x8000, -100.01, Unit::percent, 5e-3},
        {0xB1, 0x8000, -65536, Unit::millivolt_second, 0},
        {0xFC, 0x8000, -327.68, Unit::kilopascal, 1e-9},
        {0xFD, 0x8000, -32.768, Unit::kilopascal, 1e-9},
        {0xFE, 0x8000, -8192, Unit::pascal, 0},
        {0xFE, 0x7FFF, 8191.75, Unit::pascal, 0},
    };
    std::set<unsigned> seen;
    for (const End& end : ends) {
        CAPTURE(static_cast<int>(end.id));
        const Scaling* row = scaling(end.id);
        REQUIRE(row != nullptr);
        CHECK(std::abs(row->apply(end.raw) - end.value) <= end.tolerance);
        CHECK(row->unit == end.unit);
        CHECK(row->is_signed == (end.id >= 0x80));
        CHECK(row->apply(row->zero) == row->scale.offset);
        seen.insert(end.id);
    }
    CHECK(seen.size() == scalings().size());
}

TEST_CASE("an InfoType's fields lie in its item, or are one for each item") {
    for (const Row& row : info_types()) {
        CAPTURE(static_cast<int>(row.id));
        REQUIRE_FALSE(row.fields.empty());
        const bool a_field_an_item = row.length != 0 && row.fields.back().at >= row.length;
        for (std::size_t i = 0; i < row.fields.size(); ++i) {
            const Field& field = row.fields[i];
            CHECK(field.id == row.id);
            if (a_field_an_item) {
                CHECK(field.at == i * row.length);
                CHECK(field.bytes == row.length);
            } else if (row.length != 0) {
                CHECK(field.at + field.bytes <= row.length);
            }
        }
    }
    CHECK(info_type(0x08)->fields.size() == 28);
    CHECK(info_type(0x0B)->fields.size() == 18);
}

TEST_CASE("all negative response codes that another program knows are there") {
    // tshark lists the codes of ISO 14229-1 with `tshark -G values`, field uds.err.code
    FILE* pipe = popen("tshark -G values 2>/dev/null", "r");
    REQUIRE(pipe != nullptr);
    std::set<unsigned> known;
    char line[512];
    while (std::fgets(line, sizeof line, pipe) != nullptr) {
        unsigned code = 0;
        if (std::sscanf(line, "V\tuds.err.code\t0x%x\t", &code) == 1)
            known.insert(code);
    }
    pclose(pipe);
    if (known.empty()) {
        MESSAGE("tshark is not installed: nothing compared");
        return;
    }
    CHECK(known.size() >= 50);
    std::set<unsigned> ours;
    for (const Name& row : negative_codes())
        if (row.evidence == Evidence::outside_program)
            ours.insert(row.id);
    CHECK(ours == known);
}
