// SPDX-License-Identifier: Apache-2.0
#include <doctest/doctest.h>

#include "told.hpp"

using namespace telltale;

namespace {
std::string found(std::string_view text) {
    auto reader = dump::Reader::from(dump::memory_source(test::as_bytes(text)));
    auto slow = dump::Reader::from(std::make_unique<test::PieceSource>(test::as_bytes(text), 1));
    const auto shown = [](const Result<dump::Reader>& result) {
        return std::string(result ? name(result->format()) : word(result.error().code));
    };
    CHECK(shown(reader) == shown(slow));
    return shown(reader);
}
} // namespace

TEST_CASE("the format of a text is found by its first line that fits") {
    const std::string rubbish = "\n# a comment\n\t\nwhat is this\n; again\n// and again\r\n";
    for (const auto& [line, format] : std::initializer_list<std::pair<std::string, std::string>>{
             {"(1700000000.123456) can0 7E8#04410C1AF8AAAAAA", "can-log"},
             {"(1700000000.123456) can0 7E8##00441", "can-log"},
             {"(1700000000.123456) can0 800#04410C1AF8AAAAAA", "can-log"},
             {" (1700000000.123456)  can0  7E8   [8]  04 41 0C 1A F8 AA AA AA", "can-columns"},
             {"  can0  7E8   [8]  04 41 0C 1A F8 AA AA AA", "can-columns"},
             {"  vcan0  18DAF110  [08]  04 41 0C 1A F8 AA AA AA", "can-columns"},
             {"t7E8804410C1AF8AAAAAA", "can-serial"},
             {"T18DAF11020441\r", "can-serial"},
             {"z\rz\rt7E82044100FF\rt7E82044100FF\r", "can-serial"},
             {"r1232", "can-serial"},
             {"time,id,data", "csv"},
             {"\"Time\";\"Identifier\";\"Data 0\";\"Data 1\"", "csv"},
             {"time\tcan id\tdlc\tdata", "csv"},
             {"7E8 04 41 0C 1A F8", "hex"},
             {"41 0C 1A F8", "hex"},
             {"410C1AF8", "hex"},
             {"0.5 7E8 04 41", "hex"},
             {"0.5 kline 68 6A F1 03 C6", "line-text"},
             {"0.5 kline2-bytes 68", "line-text"},
             {"- j1850 48 6B 10 44 00", "line-text"},
         }) {
        const auto& input = line; // Clang 14 captures no structured binding
        CAPTURE(input);
        CHECK(found(line) == format);
        CHECK(found(line + "\r\n") == format);
        CHECK(found("\xEF\xBB\xBF" + line + '\n') == format);
        CHECK(found(rubbish + line + '\n') == format);
    }
}

TEST_CASE("what is no dump is not taken for one") {
    CHECK(found("") == "empty-input");
    CHECK(found("\n") == "unknown-format");
    CHECK(found("\xEF\xBB\xBF") == "unknown-format");
    CHECK(found("The face of the cab\nwas added\nto the list\nof the things\ndead\nor alive\n") ==
          "unknown-format");
    CHECK(found(std::string(100'000, 'A')) == "unknown-format");
    CHECK(found(std::string(100'000, '\0')) == "unknown-format");
    // How a JPEG file starts.
    CHECK(found(std::string("\xFF\xD8\xFF\xE0\0\x10JFIF\0\x01\x01\0\0\x01\0\x01\0\0", 20)) ==
          "unknown-format");
}
