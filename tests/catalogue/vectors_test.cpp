// SPDX-License-Identifier: Apache-2.0
// Holds what is decoded of PIDs against vectors/pids-*.txt, and sees that no field lacks a vector.
#include <cmath>
#include <cstdlib>
#include <fstream>
#include <map>
#include <optional>
#include <set>
#include <string>
#include <utility>
#include <vector>

#include <doctest/doctest.h>

#include "telltale/base/hex.hpp"
#include "telltale/message/message.hpp"

using namespace telltale;
using message::Value;
using message::ValueKind;

namespace {

struct Vector {
    std::string place;
    std::vector<std::vector<std::uint8_t>> messages;
    std::string field, value, unit, tolerance, source;
};

std::string trim(const std::string& text) {
    const auto first = text.find_first_not_of(' ');
    const auto last = text.find_last_not_of(' ');
    return first == std::string::npos ? "" : text.substr(first, last - first + 1);
}

std::vector<Vector> read(const std::string& name) {
    std::ifstream file(std::string(TELLTALE_SOURCE_DIR "/vectors/") + name);
    REQUIRE(file.is_open());
    std::vector<Vector> vectors;
    std::string line;
    for (int number = 1; std::getline(file, line); ++number) {
        if (line.empty() || line[0] == '#')
            continue;
        const std::string place = name + ":" + std::to_string(number);
        std::vector<std::string> cells(1);
        for (const char c : line)
            if (c == '|')
                cells.emplace_back();
            else
                cells.back() += c;
        INFO(place);
        REQUIRE(cells.size() == 6);
        Vector vector{
            place,         {}, trim(cells[1]), trim(cells[2]), trim(cells[3]), trim(cells[4]),
            trim(cells[5])};
        for (std::size_t at = 0; at < cells[0].size();) {
            const std::size_t end = std::min(cells[0].find(' ', at), cells[0].size());
            if (end > at) {
                std::vector<std::uint8_t> bytes((end - at) / 2);
                REQUIRE(from_hex(std::string_view(cells[0]).substr(at, end - at), bytes));
                vector.messages.push_back(bytes);
            }
            at = end + 1;
        }
        REQUIRE_FALSE(vector.messages.empty());
        CHECK_FALSE(vector.source.empty());
        vectors.push_back(std::move(vector));
    }
    return vectors;
}

struct Told {
    const catalogue::Field* field;
    ValueKind kind;
    double number;
    std::int64_t raw;
    std::string text, unit, note;
};

/// Keeps the values whose short or whole name is the one looked for.
class Finder final : public message::Sink {
  public:
    explicit Finder(std::string wanted) : wanted_(std::move(wanted)) {}
    std::vector<Told> found;
    std::size_t values = 0;
    std::size_t problems = 0;

    void value(const Value& value) override {
        ++values;
        if (value.name == wanted_ || (!value.key.empty() && value.key == wanted_))
            found.push_back({value.field, value.kind, value.number, value.raw,
                             std::string(value.text), std::string(info(value.unit).ucum),
                             std::string(value.note)});
    }
    void dtc(message::Dtc) override {}
    void problem(const Problem&) override { ++problems; }

  private:
    std::string wanted_;
};

Finder decode(const Vector& vector) {
    message::EcuContext context;
    Finder finder(vector.field);
    for (const auto& bytes : vector.messages) {
        finder = Finder(vector.field);
        message::Header header;
        CHECK(message::read_header(bytes, Role::unknown, header) == ProblemCode::none);
        message::decode(bytes, header, &context, finder);
    }
    return finder;
}

constexpr const char* files[] = {"pids-00.txt", "pids-64.txt"};

} // namespace

TEST_CASE("PIDs decode as the vectors say") {
    std::size_t checked = 0;
    for (const char* name : files)
        for (const Vector& vector : read(name)) {
            INFO(vector.place << " " << vector.field);
            const Finder finder = decode(vector);
            CHECK(finder.problems == 0);
            ++checked;
            if (vector.value == "absent") {
                CHECK(finder.found.empty());
                continue;
            }
            REQUIRE(finder.found.size() == 1);
            const Told& told = finder.found[0];
            if (vector.value.front() == '"') {
                CHECK(told.kind == ValueKind::text);
                CHECK('"' + told.text + '"' == vector.value);
                continue;
            }
            CHECK(told.kind == ValueKind::number);
            CHECK(told.unit == vector.unit);
            const double wanted = std::strtod(vector.value.c_str(), nullptr);
            const double tolerance = std::strtod(vector.tolerance.c_str(), nullptr);
            CHECK(std::fabs(told.number - wanted) <= tolerance + std::fabs(wanted) * 1e-12);
        }
    CHECK(checked > 1500);
}

TEST_CASE("no field of a PID lacks a vector") {
    // of each field the raw values that vectors show, and whether one shows it absent
    std::map<std::pair<unsigned, std::string>, std::set<std::int64_t>> shown;
    std::set<std::pair<unsigned, std::string>> absent;
    for (const char* name : files)
        for (const Vector& vector : read(name)) {
            const unsigned pid = vector.messages.back()[1];
            const Finder finder = decode(vector);
            for (const Told& told : finder.found)
                shown[{pid, vector.field}].insert(told.raw);
            if (finder.found.empty())
                absent.insert({pid, vector.field});
        }
    for (const catalogue::Row& row : catalogue::pids())
        for (const catalogue::Field& field : row.fields) {
            INFO("PID " << row.id << " " << field.name);
            const unsigned pid = row.id;
            std::set<std::int64_t> raws = shown[{pid, field.name}];
            if (field.key[0] != '\0')
                raws.merge(shown[{pid, field.key}]);
            if (field.kind == catalogue::Kind::number) {
                const unsigned width = field.width();
                const std::int64_t top = std::int64_t{1} << (field.is_signed ? width - 1 : width);
                CHECK(raws.contains(field.is_signed ? -top : 0));
                CHECK(raws.contains(field.no_value < 0 ? top - 1 : top - 2));
                CHECK(raws.size() >= 3);
            } else {
                CHECK(raws.size() >= 2);
            }
            if (field.present.byte >= 0 || field.when.bit.byte >= 0 || field.no_value >= 0 ||
                (row.short_length != 0 && field.at >= row.short_length && row.short_length < 3)) {
                const bool told =
                    absent.contains({pid, field.name}) || absent.contains({pid, field.key});
                CHECK(told);
            }
        }
}

TEST_CASE("a value whose scaling another PID changed says so") {
    const auto note_of = [](std::vector<std::vector<std::uint8_t>> messages, const char* field) {
        const Finder finder = decode({"", std::move(messages), field, "", "", "", ""});
        REQUIRE(finder.found.size() == 1);
        return finder.found[0].note;
    };
    const std::vector<std::uint8_t> largest_4f{0x41, 0x4F, 0, 0, 0, 0x28};
    const std::vector<std::uint8_t> largest_50{0x41, 0x50, 0x50, 0, 0, 0};
    CHECK(note_of({{0x41, 0x0B, 0xFF}}, "MAP").empty());
    CHECK(note_of({largest_4f, {0x41, 0x0B, 0xFF}}, "MAP") == "scaled by PID 4F");
    CHECK(note_of({largest_4f, {0x41, 0x10, 0xFF, 0xFF}}, "MAF").empty());
    CHECK(note_of({largest_50, {0x41, 0x10, 0xFF, 0xFF}}, "MAF") == "scaled by PID 50");
    // a freeze frame does not change the scaling, but is shown with it
    CHECK(note_of({{0x42, 0x4F, 0, 0, 0, 0, 0x28}, {0x41, 0x0B, 0xFF}}, "MAP").empty());
    CHECK(note_of({largest_4f, {0x42, 0x0B, 0, 0xFF}}, "MAP") == "scaled by PID 4F");
}

TEST_CASE("what is not certain is said in the value") {
    const auto note_of = [](std::vector<std::uint8_t> bytes, const char* field) {
        const Finder finder = decode({"", {std::move(bytes)}, field, "", "", "", ""});
        REQUIRE(finder.found.size() == 1);
        return finder.found[0].note;
    };
    CHECK(note_of({0x41, 0x74, 0x03, 0, 1, 0, 1}, "TCA_RPM").starts_with("unsure: the scaling"));
    CHECK(note_of({0x41, 0x1C, 0x22}, "OBDSUP").starts_with("unsure: "));
    CHECK(note_of({0x41, 0x1C, 0x06}, "OBDSUP").empty());
    CHECK(note_of({0x41, 0x16, 0x5A, 0x80}, "O2S13") ==
          "named by PID 13; by PID 1D: Oxygen sensor bank 2 sensor 1 voltage");
}
