// SPDX-License-Identifier: Apache-2.0
#include <algorithm>
#include <string>
#include <vector>

#include <doctest/doctest.h>

#include "table.hpp"

using namespace telltale;
using namespace telltale::program;

namespace {

constexpr Time s = nanoseconds_a_second;

std::size_t columns(const std::string& text) {
    return static_cast<std::size_t>(std::count_if(text.begin(), text.end(), [](char c) {
        return (static_cast<unsigned char>(c) & 0xC0) != 0x80;
    }));
}

void answer(message::Stream& stream, Table& table, std::vector<std::uint8_t> data, Time time) {
    CanFrame frame;
    frame.id.value = 0x7E8;
    data.insert(data.begin(), static_cast<std::uint8_t>(data.size()));
    data.resize(8);
    frame.data = data;
    stream.can(0, frame, time, {}, table);
}

} // namespace

TEST_CASE("values with least, most and rate; what stops coming is no value of now") {
    Table table;
    message::Stream stream;
    Time time = 1000 * s;
    for (int i = 0; i < 40; ++i, time += s / 10) { // ten a second: 1000, 1025 ... rpm
        const auto raw = static_cast<unsigned>(4000 + i * 100);
        answer(stream, table,
               {0x41, 0x0C, static_cast<std::uint8_t>(raw >> 8), static_cast<std::uint8_t>(raw)},
               time);
    }
    answer(stream, table, {0x41, 0x00, 0xBE, 0x1F, 0xB8, 0x10}, time); // no value to look at
    REQUIRE(table.rows().size() == 1);
    const auto& row = table.rows()[0];
    CHECK(row.name == "Engine speed");
    CHECK(row.least == 1000); // SAE J1979-DA, PID 0C: 1/4 rpm a bit
    CHECK(row.most == 1975);
    CHECK(value_text(row, row.value) == "1975.0");
    CHECK(Table::rate(row, time) == doctest::Approx(10).epsilon(0.1));
    std::size_t top = 0;
    Scene scene;
    auto picture = draw(table, scene, 80, 24, top, time, true);
    CHECK(picture[3].text.find("1975.0 rpm") != std::string::npos);
    picture = draw(table, scene, 80, 24, top, time + 10 * s, true);
    CHECK(picture[3].text.find("1975.0 rpm") == std::string::npos);
    CHECK(picture[3].text.find("--") != std::string::npos);
}

TEST_CASE("the picture has the size of the window, whatever that is") {
    Table table;
    message::Stream stream;
    for (unsigned pid = 1; pid < 0x60; ++pid)
        answer(stream, table, {0x41, static_cast<std::uint8_t>(pid), 1, 2, 3, 4}, 1000 * s);
    for (const bool notice : {false, true})
        for (const bool blocks : {false, true})
            for (std::size_t width = 1; width < 260; width += 3)
                for (const std::size_t height : {1U, 3U, 4U, 5U, 12U, 24U, 60U}) {
                    Scene scene;
                    scene.link = "slcan:/dev/ttyACM0@500k";
                    scene.state = "recording";
                    scene.notice = notice;
                    std::size_t top = 1000;
                    const auto picture = draw(table, scene, width, height, top, 1000 * s, blocks);
                    REQUIRE(picture.size() == height);
                    for (const auto& line : picture) {
                        REQUIRE(columns(line.text) == width);
                        REQUIRE(line.text.find('\n') == std::string::npos);
                    }
                    if (!notice && width >= 20 && height >= 4)
                        CHECK(top + height - 4 == std::max(table.rows().size(), height - 4));
                }
}
