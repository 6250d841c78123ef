// SPDX-License-Identifier: Apache-2.0
// Parameters beside the standard's in messages. All of them are invented.
#include <doctest/doctest.h>

#include <array>
#include <string>
#include <vector>

#include "telltale/base/hex.hpp"
#include "telltale/catalogue/extension.hpp"
#include "telltale/message/stream.hpp"

using namespace telltale;

namespace {

catalogue::Extension invented() {
    auto extension = catalogue::read_extension(
        "table,id,length,row,field,short,bytes,kind,signed,scaling,unit,choices,not_used,ecu\n"
        "pid,FE,2,,Dose,DOSE,A-B,number,yes,raw / 4,{mm3/stroke},,,\n"
        "local-id,01,3,Block,Oil temperature,OILT,A,number,no,raw - 40,Cel,,255,7E8\n"
        "local-id,01,,,Oil pump,OILP,B.0,choice,,,,0 = off | 1 = on,,7E8\n"
        "local-id,01,,,Serial,,C,hex,,,,,,7E8\n"
        "local-id,80,0,Rest,,,,,,,,,,\n"
        "data-id,1101,1,,Wear,WEAR,A,number,no,raw * 100 / 255,%,,,\n"
        "data-id,1102,2,,Last fault,,A-B,code,,,,,,\n");
    if (!extension)
        FAIL(extension.error().detail);
    return std::move(*extension);
}

/// Writes down what is said: "name=value unit", "!problem a b".
class Heard final : public message::Listener {
  public:
    bool begin(const message::Said& said) override {
        service = said.header.service;
        return true;
    }
    void value(const message::Said&, const message::Value& value) override {
        std::string line(value.name);
        line += '=';
        if (value.kind == message::ValueKind::number)
            line += std::to_string(value.number).substr(0, 6);
        else
            line += value.text;
        line += value.own_unit;
        lines.push_back(line);
    }
    void dtc(const message::Said&, message::Dtc) override {}
    void message_problem(const message::Said&, const Problem& problem) override { told(problem); }
    void end(const message::Said&) override {}
    void problem(const Problem& problem, const message::Said&) override { told(problem); }

    std::vector<std::string> lines;
    unsigned service = 0;

  private:
    void told(const Problem& problem) {
        lines.push_back("!" + std::string(word(problem.code)) + " " + std::to_string(problem.a));
    }
};

using Lines = std::vector<std::string>;

Lines heard(const catalogue::Extension* extension, std::uint32_t id, std::string_view hex) {
    message::StreamOptions options;
    options.extension = extension;
    message::Stream stream(options);
    std::array<std::uint8_t, 64> bytes{};
    const auto size = from_hex(hex, bytes);
    REQUIRE(size.has_value());
    Heard heard;
    stream.message(0, {id, id > CanId::max_standard}, Bytes(bytes).first(*size), 0, {}, heard);
    return heard.lines;
}

} // namespace

TEST_CASE("each service with its own values") {
    const auto own = invented();
    CHECK(heard(&own, 0x7E8, "61015A01C3") ==
          Lines{"Oil temperature=50.000", "Oil pump=on", "Serial=C3"});
    CHECK(heard(&own, 0x7E8, "6101FF00C3") == Lines{"Oil pump=off", "Serial=C3"}); // not used
    CHECK(heard(&own, 0x7E9, "618001020304") == Lines{"Rest=01020304"});
    CHECK(heard(&own, 0x7E8, "41FEFFFF") == Lines{"Dose=-0.250{mm3/stroke}"});
    CHECK(heard(&own, 0x7E8, "41FEFFFF0D20").size() == 2); // another PID behind it
    CHECK(heard(&own, 0x7E8, "42FE000008") == Lines{"Dose=2.0000{mm3/stroke}"});
    CHECK(heard(&own, 0x7E8, "621101FF") == Lines{"Wear=100.00"});
    CHECK(heard(&own, 0x7E8, "6211021234110100") == Lines{"Last fault=P1234", "Wear=0.0000"});
    CHECK(heard(&own, 0x7E8, "62F40C0C30110166").size() == 2); // behind a standard one
    CHECK(heard(&own, 0x7E8, "62F4FE0004") == Lines{"Dose=1.0000{mm3/stroke}"});
    CHECK(heard(&own, 0x18DAF110, "621101FF") == Lines{"Wear=100.00"});
}

TEST_CASE("requests name what they ask for") {
    const auto own = invented();
    CHECK(heard(&own, 0x7E0, "2101") == Lines{"Block="});
    CHECK(heard(&own, 0x7E1, "2101") == Lines{"Unknown local identifier="}); // of another ECU
    CHECK(heard(&own, 0x7E0, "2211011102") == Lines{"Wear=", "Last fault="});
    CHECK(heard(&own, 0x7DF, "01FE") == Lines{"Dose="});
}

TEST_CASE("what does not fit its description gives no value") {
    const auto own = invented();
    CHECK(heard(&own, 0x7E8, "61015A01") == Lines{"!message-cut 1"});
    CHECK(heard(&own, 0x7E8, "61015A01C300") == Lines{"!message-too-long 1"});
    CHECK(heard(&own, 0x7E9, "61015A01C3") == Lines{"!unknown-id 1"}); // another ECU's block
    CHECK(heard(&own, 0x7E8, "6102") == Lines{"!unknown-id 2"});
    CHECK(heard(&own, 0x7E8, "41FEFF") == Lines{"!message-cut 254"});
    CHECK(heard(&own, 0x7E8, "41FE000199") == Lines{"!message-too-long 1"});
    CHECK(heard(&own, 0x7E8, "621101FF99") == Lines{"!message-too-long 1"});
    CHECK(heard(&own, 0x7E8, "621101FF999900") == Lines{"!message-too-long 3"});
    CHECK(heard(&own, 0x7E8, "62110212") == Lines{"!message-cut 4354"});
}

TEST_CASE("without an extension nothing changes") {
    CHECK(heard(nullptr, 0x7E8, "61015A01C3") == Lines{"!unknown-service 33"});
    CHECK(heard(nullptr, 0x7E8, "621101FF") == Lines{"!unknown-id 4353"});
    CHECK(heard(nullptr, 0x7E8, "41FEFFFF") == Lines{"!unknown-id 254"});
    const auto none = catalogue::Extension();
    CHECK(heard(&none, 0x7E8, "61015A01C3") == Lines{"!unknown-service 33"});
}
