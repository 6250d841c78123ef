// SPDX-License-Identifier: Apache-2.0
// The lines before CAN: K-line and J1850 frames to what was said.
#include <algorithm>
#include <string>
#include <vector>

#include <doctest/doctest.h>

#include "telltale/base/hex.hpp"
#include "telltale/frame/j1850.hpp"
#include "telltale/frame/kline.hpp"
#include "telltale/message/stream.hpp"

using namespace telltale;
using namespace telltale::message;

namespace {

using Buffer = std::vector<std::uint8_t>;

Buffer bytes(std::string_view hex) {
    std::string digits;
    for (const char c : hex)
        if (c != ' ')
            digits += c;
    Buffer out(digits.size() / 2);
    REQUIRE(from_hex(digits, out).value_or(999) == out.size());
    return out;
}

/// Writes down a line a message: `18DAF110 frames bytes: values codes problems`.
struct Ear final : Listener {
    std::string heard;

    void who(const Said& said) {
        if (said.has_id)
            append_hex(heard, said.id.value, 8);
        else
            heard += '-';
        heard += ' ';
    }
    bool begin(const Said& said) override {
        who(said);
        heard += std::to_string(said.frames) + ' ' + to_hex(said.bytes) + ':';
        CHECK(said.header.pre_can);
        return true;
    }
    void value(const Said&, const Value& value) override {
        heard += ' ';
        heard += value.key.empty() ? value.name : value.key;
        heard += '=';
        if (value.kind == ValueKind::text)
            heard += value.text;
        else
            heard += std::to_string(value.number).substr(0, 6);
    }
    void dtc(const Said&, Dtc code) override { heard += ' ' + std::string(code.text().data(), 5); }
    void message_problem(const Said&, const Problem& problem) override {
        heard += " !" + std::string(word(problem.code));
    }
    void end(const Said&) override { heard += '\n'; }
    void problem(const Problem& problem, const Said& about) override {
        who(about);
        heard += '!' + std::string(word(problem.code)) + ' ' + std::to_string(problem.a) + ' ' +
                 std::to_string(problem.b) + '\n';
    }
};

/// Frames without their checksum, each so many milliseconds after the one before.
struct Bench {
    Stream stream;
    Ear ear;
    Time time = 0;

    Bench& kline(std::string_view hex, int after = 30) {
        Buffer frame = bytes(hex);
        frame.push_back(kline_checksum(frame));
        return raw(frame, after);
    }
    Bench& raw(const Buffer& frame, int after = 30) {
        time += after * nanoseconds_a_millisecond;
        stream.kline(0, frame, time, {}, ear);
        return *this;
    }
    Bench& j1850(std::string_view hex, int after = 30) {
        Buffer frame = bytes(hex);
        frame.push_back(j1850_crc(frame));
        time += after * nanoseconds_a_millisecond;
        stream.j1850(0, frame, time, {}, ear);
        return *this;
    }
    std::string finish() {
        stream.finish(ear);
        return std::move(ear.heard);
    }
};

} // namespace

TEST_CASE("single messages on every kind of header") {
    const std::string request = "18DB33F1 1 010C: Engine speed=\n";
    const std::string response = "18DAF110 1 410C1AF8: RPM=1726.0\n";
    const auto shown = [](std::string text) {
        // What the request is called does not matter here.
        const auto colon = text.find(':');
        return text.substr(0, colon) + text.substr(text.find('\n'));
    };
    const std::string expected = "18DB33F1 1 010C\n" + response;
    CHECK(shown(Bench().kline("68 6A F1 01 0C").kline("48 6B 10 41 0C 1A F8").finish()) ==
          expected);
    CHECK(shown(Bench().kline("C2 33 F1 01 0C").kline("84 F1 10 41 0C 1A F8").finish()) ==
          expected);
    CHECK(shown(Bench().kline("C0 33 F1 02 01 0C").kline("80 F1 10 04 41 0C 1A F8").finish()) ==
          expected);
    CHECK(shown(Bench().j1850("61 6A F1 01 0C").j1850("41 6B 10 41 0C 1A F8").finish()) ==
          expected);
    CHECK(shown(Bench().j1850("68 6A F1 01 0C").j1850("48 6B 10 41 0C 1A F8").finish()) ==
          expected);
    CHECK(Bench().kline("04 41 0C 1A F8").finish() == "- 1 410C1AF8: RPM=1726.0\n");
}

TEST_CASE("initialisation and communication services are passed over") {
    CHECK(Bench()
              .raw(bytes("00"))
              .raw(bytes("C1 33 F1 81 66"), 50)
              .raw(bytes("83 F1 10 C1 E9 8F BD"))
              .raw(bytes("55 08 08"), 500)
              .raw(bytes("F7"))
              .raw(bytes("CC"))
              .kline("C1 33 F1 82", 100)
              .kline("81 F1 10 C2")
              .kline("83 F1 10 7F 81 10")
              .finish()
              .empty());
    // The inverted address without what must be before it is no frame.
    CHECK(Bench().raw(bytes("CC")).finish() == "- !frame-cut 5 1\n");
}

TEST_CASE("other traffic of J1850 is passed over, unless its CRC is wrong") {
    Bench bench;
    bench.j1850("88 1B 10 10 00").j1850("3B 01");
    CHECK(bench.finish().empty());
    bench.stream.j1850(0, bytes("88 1B 10 10 00 00"), 0, {}, bench.ear);
    CHECK(bench.finish().substr(0, 17) == "- !checksum-wrong");
}

TEST_CASE("what the checksum rejects is a problem and no message") {
    CHECK(Bench().raw(bytes("48 6B 10 41 0C 1A F8 00")).finish() == "- !checksum-wrong 34 0\n");
    CHECK(Bench().raw(bytes("84 F1 10 41 0C 1A")).finish() == "- !frame-cut 8 6\n");
    CHECK(Bench().raw(bytes("4F F1 10 41 0C 1A")).finish() == "- !header-unknown 79 0\n");
}

TEST_CASE("codes in messages of three become one list for each ECU") {
    // Two ECUs answer in turn.
    CHECK(Bench()
              .kline("68 6A F1 03")
              .kline("48 6B 10 43 01 43 01 96 02 34")
              .kline("48 6B 18 43 07 05 00 00 00 00")
              .kline("48 6B 10 43 02 CD 03 57 0A 24")
              .kline("48 6B 10 43 C1 01 00 00 00 00")
              .kline("68 6A F1 07")
              .kline("48 6B 10 47 00 00 00 00 00 00")
              .finish() ==
          "18DB33F1 1 03:\n"
          "18DAF110 3 4301430196023402CD03570A24C10100000000: P0143 P0196 P0234 P02CD P0357 P0A24 "
          "U0101\n"
          "18DAF118 1 43070500000000: P0705\n"
          "18DB33F1 1 07:\n"
          "18DAF110 1 47000000000000:\n");
    // Without requests in the dump a pause keeps two answers apart.
    CHECK(Bench()
              .j1850("48 6B 10 43 01 43 00 00 00 00")
              .j1850("48 6B 10 43 01 96 00 00 00 00", 302)
              .j1850("48 6B 10 43 02 34 00 00 00 00", 303)
              .finish() == "18DAF110 2 43014300000000019600000000: P0143 P0196\n"
                           "18DAF110 1 43023400000000: P0234\n");
    CHECK(Bench().kline("48 6B 10 43").finish() == "18DAF110 1 43:\n");
    CHECK(Bench().kline("48 6B 10 43 01").finish() == "18DAF110 1 4301: !message-cut\n");
}

TEST_CASE("more codes than any list has are told in more than one") {
    Bench bench;
    for (int i = 0; i < 600; ++i)
        bench.kline("48 6B 10 43 01 43 01 96 02 34", 1);
    const auto heard = bench.finish();
    CHECK(heard.substr(0, 13) == "18DAF110 255 ");
    CHECK(std::count(heard.begin(), heard.end(), 'P') == 1800);
    CHECK(std::count(heard.begin(), heard.end(), '\n') == 3);
}

TEST_CASE("numbered messages up to the last number") {
    Bench bench;
    for (unsigned i = 1; i <= 255; ++i) {
        std::string frame = "48 6B 10 49 06 ";
        append_hex(frame, i, 2);
        bench.kline(frame + " 12 34 56 78", 1);
    }
    const auto heard = bench.finish();
    CHECK(heard.substr(0, 19) == "18DAF110 255 490601");
    CHECK(std::count(heard.begin(), heard.end(), '=') == 255);
}

TEST_CASE("a VIN in five numbered messages") {
    // An invented VIN.
    const std::vector<std::string> parts = {"01 00 00 00 31", "02 54 54 5A 5A", "03 5A 30 30 58",
                                            "04 30 30 30 30", "05 30 30 30 31"};
    Bench bench;
    bench.kline("68 6A F1 09 02");
    for (const auto& part : parts)
        bench.kline("48 6B 10 49 02 " + part);
    // Told with its last part: nothing else must come first.
    const std::string heard = bench.ear.heard;
    CHECK(heard.find("18DAF110 5 490201"
                     "000000315454"
                     "5A5A5A303058"
                     "3030303030303031: VIN=1TTZZZ00X00000001\n") != std::string::npos);
    CHECK(bench.finish() == heard);

    // A lost, a doubled and a swapped part: no VIN, one problem.
    const auto answer = [&](std::initializer_list<std::size_t> order) {
        Bench other;
        for (const auto at : order)
            other.kline("48 6B 10 49 02 " + parts[at]);
        return other.finish();
    };
    CHECK(answer({0, 1, 3, 4}) == "18DAF110 !part-missing 3 4\n");
    CHECK(answer({0, 1, 1, 2, 3, 4}) == "18DAF110 !part-missing 3 2\n");
    CHECK(answer({0, 2, 1, 3, 4}) == "18DAF110 !part-missing 2 3\n");
    CHECK(answer({1, 2, 3, 4}) == "18DAF110 !part-missing 1 2\n");
    CHECK(answer({0, 1, 2, 3}) == "18DAF110 !part-missing 5 0\n");
    // The next time it is there.
    CHECK(answer({0, 1, 3, 4, 0, 1, 2, 3, 4}).find("VIN=1TTZZZ00X00000001") != std::string::npos);
}

TEST_CASE("two ECUs whose numbered messages come in turn") {
    const auto heard = Bench()
                           .kline("C2 33 F1 09 04")
                           .kline("87 F1 10 49 04 01 43 41 4C 31")
                           .kline("87 F1 11 49 04 01 54 43 4D 31")
                           .kline("87 F1 10 49 04 02 2D 30 30 31")
                           .kline("87 F1 11 49 04 02 2D 30 30 32")
                           .kline("87 F1 10 49 04 03 00 00 00 00")
                           .kline("87 F1 11 49 04 03 00 00 00 00")
                           .kline("87 F1 10 49 04 04 00 00 00 00")
                           .kline("87 F1 11 49 04 04 00 00 00 00")
                           .finish();
    CHECK(heard.find("18DAF110 4 49040143414C312D3030310000000000000000: CALID=CAL1-001\n") !=
          std::string::npos);
    CHECK(heard.find("18DAF111 4 49040154434D312D3030320000000000000000: CALID=TCM1-002\n") !=
          std::string::npos);
}

TEST_CASE("the number of parts that the ECU told is what is waited for") {
    Bench bench;
    bench.kline("48 6B 10 49 05 02").kline("48 6B 10 49 06 01 12 34 56 78");
    CHECK(bench.ear.heard.find("490601") == std::string::npos);
    bench.kline("48 6B 10 49 06 02 9A BC DE F0");
    CHECK(bench.ear.heard.find("18DAF110 2 490601123456789ABCDEF0: CVN=12345678 CVN=9ABCDEF0\n") !=
          std::string::npos);
    bench.ear.heard.clear();
    bench.kline("48 6B 10 49 06 01 12 34 56 78").kline("68 6A F1 01 00");
    CHECK(bench.finish().substr(0, 29) == "18DAF110 !part-missing 2 0\n18");
}

TEST_CASE("many ECUs stay bounded and apart") {
    Bench bench;
    std::string expected;
    for (unsigned round = 0; round < 3; ++round) {
        for (unsigned ecu = 0; ecu < 200; ++ecu) {
            std::string frame = "48 6B ";
            append_hex(frame, ecu, 2);
            bench.kline(frame + " 43 01 43 00 00 00 00", 0);
        }
    }
    const auto heard = bench.finish();
    // Every code is told: more often in messages of one part, when an ECU has lost its place.
    std::size_t codes = 0;
    for (auto at = heard.find("P0143"); at != std::string::npos; at = heard.find("P0143", at + 1))
        ++codes;
    CHECK(codes == 600);
}
