// SPDX-License-Identifier: Apache-2.0
// Writes down what a message says, one line a value, so that tests can compare it with plain text.
#pragma once

#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "telltale/base/hex.hpp"
#include "telltale/base/number.hpp"
#include "telltale/base/text.hpp"
#include "telltale/message/message.hpp"

namespace telltale::tests {

/// The lines:
///   ID.INDEX = 12.50 km/h         a number with its unit (UCUM)
///   ID.INDEX = "words"            a text
///   ID.INDEX frame 0 = ...        of a freeze frame
///   ID asked                      an identifier of a request
///   ID test TID = 1.0 [0.0 2.0] V passed
///   code P0143
///   code P0143-1C severity 20 status 2F group 05 record 00 counter 7F      what was told of it
///   problem word a b
class Recorder final : public message::Sink {
  public:
    std::vector<std::string> lines;
    std::vector<std::string> names; ///< of the values, in the same order
    std::vector<std::string> notes;
    std::vector<Problem> problems;
    bool asking = false;

    void value(const message::Value& value) override {
        std::string line;
        append_hex(line, value.id, value.id > 0xFF ? 4 : 2);
        if (asking && value.text.empty()) {
            if (value.frame)
                frame(line, *value.frame);
            line += " asked";
        } else if (value.kind == message::ValueKind::test) {
            line += " test ";
            append_hex(line, value.test, 2);
            line += " = ";
            append_number(line, value.number, value.decimals);
            line += " [";
            append_number(line, value.low, value.decimals);
            line += ' ';
            append_number(line, value.high, value.decimals);
            line += ']';
            unit(line, value.unit);
            line += value.passed ? " passed" : " failed";
        } else {
            line += '.';
            append_integer(line, std::uint64_t{value.index});
            if (value.frame)
                frame(line, *value.frame);
            line += " = ";
            if (value.kind == message::ValueKind::number) {
                append_number(line, value.number, value.decimals);
                unit(line, value.unit);
            } else {
                append_json(line, value.text);
            }
        }
        lines.push_back(line);
        names.emplace_back(value.name);
        notes.emplace_back(value.note);
    }
    void dtc(message::Dtc code) override {
        const auto letters = code.text();
        lines.push_back("code " + std::string(letters.data(), letters.size()));
    }
    void dtc3(const message::DtcRecord& record) override {
        const auto letters = record.code.text();
        std::string line = "code " + std::string(letters.data(), letters.size());
        part(line, " severity ", record.severity);
        part(line, " status ", record.status);
        part(line, " group ", record.group);
        part(line, " record ", record.record);
        part(line, " counter ", record.counter);
        lines.push_back(line);
    }
    void problem(const Problem& problem) override {
        std::string line = "problem ";
        line += word(problem.code);
        line += ' ';
        append_integer(line, problem.a);
        line += ' ';
        append_integer(line, problem.b);
        lines.push_back(line);
        problems.push_back(problem);
    }

    std::string all() const {
        std::string text;
        for (const std::string& line : lines)
            text += line + '\n';
        return text;
    }

  private:
    static void unit(std::string& line, Unit unit) {
        if (const std::string_view code = info(unit).ucum; !code.empty()) {
            line += ' ';
            line += code;
        }
    }
    static void part(std::string& line, std::string_view name, std::optional<std::uint8_t> byte) {
        if (!byte)
            return;
        line += name;
        append_hex(line, *byte, 2);
    }
    static void frame(std::string& line, std::uint8_t frame) {
        line += " frame ";
        append_integer(line, std::uint64_t{frame});
    }
};

/// Bytes of hex text; spaces are passed over.
inline std::vector<std::uint8_t> bytes_of(std::string_view hex) {
    std::string digits;
    for (const char c : hex)
        if (c != ' ')
            digits += c;
    std::vector<std::uint8_t> bytes(digits.size() / 2);
    if (!from_hex(digits, bytes))
        bytes.clear();
    return bytes;
}

/// What a message says, given as hex.
inline Recorder said(std::string_view hex, message::EcuContext* context = nullptr,
                     bool pre_can = false) {
    Recorder recorder;
    const std::vector<std::uint8_t> bytes = bytes_of(hex);
    message::Header header;
    const ProblemCode code = message::read_header(bytes, Role::unknown, header);
    header.pre_can = pre_can;
    if (code != ProblemCode::none) {
        recorder.problem({code, {}, no_time, 0, 0});
        return recorder;
    }
    recorder.asking = header.kind == message::Kind::request;
    message::decode(bytes, header, context, recorder);
    return recorder;
}

} // namespace telltale::tests
