// SPDX-License-Identifier: Apache-2.0
#include <doctest/doctest.h>

#include "recorder.hpp"

using namespace telltale;
using telltale::tests::said;

TEST_CASE("three bytes are eight characters") {
    using message::Dtc3;
    const auto text = [](std::uint32_t raw) {
        const auto letters = Dtc3::from(raw).text();
        return std::string(letters.data(), letters.size());
    };
    CHECK(text(0x01431C) == "P0143-1C");
    CHECK(text(0xC10187) == "U0101-87");
    CHECK(text(0x000000) == "P0000-00");
    CHECK(text(0xFFFFFF) == "U3FFF-FF");
    for (std::uint32_t raw = 0; raw <= 0xFFFFFF; raw += 0x1357)
        CHECK(Dtc3::from(raw).raw() == raw);
}

TEST_CASE("data identifiers are the PIDs, monitors and InfoTypes of the older protocol") {
    using message::Signal;
    CHECK(message::same_signal(0x22, 0xF40C) == Signal{0x01, 0x0C});
    CHECK(message::same_signal(0x22, 0xF6A2) == Signal{0x06, 0xA2});
    CHECK(message::same_signal(0x22, 0xF802) == Signal{0x09, 0x02});
    CHECK(message::same_signal(0x22, 0xF50C) == Signal{0x22, 0xF50C});
    CHECK(message::same_signal(0x01, 0x0C) == Signal{0x01, 0x0C});
}

TEST_CASE("either protocol tells the same values of the same bytes") {
    const auto without = [](const std::vector<std::string>& lines) {
        std::vector<std::string> rest;
        rest.reserve(lines.size());
        for (const std::string& line : lines)
            rest.push_back(line.substr(line.find(' ')));
        return rest;
    };
    unsigned compared = 0;
    for (const catalogue::Row& row : catalogue::pids()) {
        if (row.length == 0 || row.id > 0xFF || (row.id & 0x1F) == 0)
            continue;
        CAPTURE(static_cast<int>(row.id));
        std::string data;
        for (unsigned i = 0; i < row.length; ++i)
            append_hex(data, (i * 37U + row.id * 11U) & 0xFF, 2);
        std::string id;
        append_hex(id, row.id, 2);
        const std::string bytes = id.append(data);
        const auto classic = said(std::string("41").append(bytes));
        const auto uds = said(std::string("62F4").append(bytes));
        CHECK(without(classic.lines) == without(uds.lines));
        CHECK(classic.names == uds.names);
        ++compared;
    }
    CHECK(compared > 90);
}

TEST_CASE("what an ECU supports and how it scales is kept from either protocol") {
    message::EcuContext context;
    said("62 F4 00 BE 1F A8 13 F4 20 80 00 00 01", &context);
    CHECK(context.supported[1].count() == 6 + 5 + 3 + 3 + 2);
    CHECK(context.ranges_known[1].to_string() == "00000011");
    said("62 F6 A0 80 00 00 01", &context);
    CHECK(context.supported[6][0xA1]);
    said("62 F8 00 55 40 00 00", &context);
    CHECK(context.supported[9].count() == 5);
    const auto before = context.supported;
    said("62 F5 00 FF FF FF FF", &context); // identifiers above FF have no place there
    CHECK(context.supported == before);
    said("62 F4 4F 04 00 00 00", &context);
    CHECK(context.scaling_4f[0] == 4);
}

TEST_CASE("a snapshot does not change the scaling of live data") {
    message::EcuContext context;
    said("59 04 01 43 1C 2F 00 01 F4 4F 04 00 00 00", &context);
    CHECK(context.scaling_4f[0] == 0);
}
