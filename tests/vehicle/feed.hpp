// SPDX-License-Identifier: Apache-2.0
// Draws the picture of a dump that stands in a test.
#pragma once

#include <string>
#include <string_view>

#include <doctest/doctest.h>

#include "telltale/base/hex.hpp"
#include "telltale/dump/reader.hpp"
#include "telltale/message/stream.hpp"
#include "telltale/run/feed.hpp"
#include "telltale/vehicle/picture.hpp"

namespace telltale::tests {

/// Reads a dump of any text format.
inline vehicle::Picture picture_of(std::string_view dump, const vehicle::Limits& limits = {}) {
    const Bytes bytes(reinterpret_cast<const std::uint8_t*>(dump.data()), dump.size());
    auto reader = dump::Reader::from(dump::memory_source(bytes));
    REQUIRE(reader.has_value());
    vehicle::Picture picture(limits);
    message::Stream stream;
    dump::Record record;
    Problem problem;
    for (;;) {
        const auto step = reader->next(record, problem);
        if (step == dump::Step::end)
            break;
        if (step == dump::Step::problem) {
            run::tell(problem, picture);
        } else {
            run::feed(stream, record, picture);
        }
    }
    stream.finish(picture);
    picture.finish();
    picture.name_lines([&](std::uint16_t line) { return reader->line_name(line); });
    return picture;
}

/// Writes the text log of a drive: single frames, and longer messages in several.
class Log {
  public:
    /// Seconds since the start; each message after the one before.
    Log& at(double seconds) {
        micros_ = static_cast<std::uint64_t>(seconds * 1e6 + 0.5);
        return *this;
    }
    /// A message on an identifier of 11 bits, in hex with or without spaces.
    Log& say(unsigned id, std::string_view hex) {
        std::string digits;
        for (const char c : hex)
            if (c != ' ')
                digits += c;
        const std::size_t bytes = digits.size() / 2;
        if (bytes <= 7) {
            std::string data;
            append_hex(data, bytes, 2);
            frame(id, data + digits);
            return *this;
        }
        std::string data;
        append_hex(data, 0x1000 | bytes, 4);
        frame(id, data + digits.substr(0, 12));
        unsigned number = 1;
        for (std::size_t at = 12; at < digits.size(); at += 14) {
            data.clear();
            append_hex(data, 0x20 | (number++ & 15), 2);
            frame(id, data + digits.substr(at, 14));
        }
        return *this;
    }
    /// A frame as it is.
    Log& frame(unsigned id, std::string_view data) {
        text_ += "(" + std::to_string(1'700'000'000 + micros_ / 1'000'000) + ".";
        const auto fraction = std::to_string(micros_ % 1'000'000);
        text_.append(6 - fraction.size(), '0');
        text_ += fraction + ") can0 ";
        append_hex(text_, id, 3);
        text_ += '#';
        text_ += data;
        text_ += '\n';
        micros_ += 500;
        return *this;
    }
    const std::string& text() const { return text_; }
    operator std::string_view() const { return text_; } // NOLINT: a dump is its text

  private:
    std::string text_;
    std::uint64_t micros_ = 0;
};

inline constexpr Time start = 1'700'000'000 * nanoseconds_a_second;

} // namespace telltale::tests
