// SPDX-License-Identifier: Apache-2.0
// The PID tables are well formed, and what they decode can be put back into the same bytes.
#include <cmath>
#include <map>
#include <random>
#include <set>
#include <string>
#include <vector>

#include <doctest/doctest.h>

#include "telltale/base/hex.hpp"
#include "telltale/message/message.hpp"

using namespace telltale;
using namespace telltale::catalogue;

namespace {

/// A mask of the bits of a field in the data of its row.
std::vector<std::uint8_t> bits_of(const Field& field, std::size_t length) {
    std::vector<std::uint8_t> mask(length);
    for (unsigned i = 0; i < field.width(); ++i) {
        const unsigned bit = field.bit + i; // from the lowest bit of the last byte
        const std::size_t byte = field.at + field.bytes - 1U - bit / 8;
        mask[byte] = static_cast<std::uint8_t>(mask[byte] | 1U << bit % 8);
    }
    return mask;
}

bool exclude_each_other(const Field& a, const Field& b) {
    return a.when.bit.byte >= 0 && a.when.bit.byte == b.when.bit.byte &&
           a.when.bit.bit == b.when.bit.bit && a.when.set != b.when.set;
}

void put(const Field& field, std::uint64_t raw, std::vector<std::uint8_t>& data) {
    for (unsigned i = 0; i < field.width(); ++i) {
        const unsigned bit = field.bit + i;
        if ((raw >> i & 1) != 0) {
            std::uint8_t& byte = data[field.at + field.bytes - 1U - bit / 8];
            byte = static_cast<std::uint8_t>(byte | 1U << bit % 8);
        }
    }
}

void set(Bit bit, std::vector<std::uint8_t>& data) {
    std::uint8_t& byte = data[static_cast<std::size_t>(bit.byte)];
    byte = static_cast<std::uint8_t>(byte | 1U << bit.bit);
}

/// Puts values back into the bytes that they came from, by their numbers and texts alone.
class Encoder final : public message::Sink {
  public:
    Encoder(const Row& row) : bytes(row.length), covered(row.length), row_(row) {}
    std::vector<std::uint8_t> bytes;
    std::vector<std::uint8_t> covered; ///< bits that the values tell of
    std::size_t problems = 0;

    void value(const message::Value& value) override {
        const Field& field = row_.fields[value.index];
        std::uint64_t raw = 0;
        const std::string text(value.text);
        switch (field.kind) {
        case Kind::number:
            raw = static_cast<std::uint64_t>(static_cast<std::int64_t>(std::llround(
                (value.number - field.scale.offset) * field.scale.den / field.scale.num)));
            break;
        case Kind::choice:
            if (text.starts_with("reserved (0x"))
                raw = std::stoull(text.substr(12), nullptr, 16);
            else
                for (const Choice& choice : field.choices)
                    if (text == choice.text)
                        raw = choice.value;
            break;
        case Kind::bitmap:
            for (std::size_t at = 0; text != "none" && at < text.size(); at += 3)
                raw |= std::uint64_t{1}
                       << (32U - (std::stoul(text.substr(at, 2), nullptr, 16) - row_.id));
            break;
        case Kind::code:
            if (const auto code = message::parse_dtc(text))
                raw = code->raw;
            break;
        default:
            FAIL("a kind that no PID has");
        }
        put(field, raw, bytes);
        const auto mask = bits_of(field, bytes.size());
        for (std::size_t i = 0; i < mask.size(); ++i)
            covered[i] = static_cast<std::uint8_t>(covered[i] | mask[i]);
        if (field.present.byte >= 0) {
            set(field.present, bytes);
            set(field.present, covered);
        }
        if (field.when.bit.byte >= 0) {
            if (field.when.set)
                set(field.when.bit, bytes);
            set(field.when.bit, covered);
        }
    }
    void dtc(message::Dtc) override {}
    void problem(const Problem&) override { ++problems; }

  private:
    const Row& row_;
};

} // namespace

TEST_CASE("PID rows ascend, are found by their PID and have all that a row needs") {
    int before = -1;
    for (const Row& row : pids()) {
        INFO("PID " << row.id);
        CHECK(static_cast<int>(row.id) > before);
        before = row.id;
        CHECK(pid(static_cast<std::uint8_t>(row.id)) == &row);
        CHECK(row.length > 0);
        CHECK(row.short_length < row.length);
        CHECK(row.clause != nullptr);
        CHECK_FALSE(std::string(row.name).empty());
        CHECK_FALSE(row.fields.empty());
    }
    for (unsigned id = 0; id < 256; ++id) {
        const Row* row = pid(static_cast<std::uint8_t>(id));
        unsigned listed = 0;
        for (const LeftOut& entry : left_out())
            listed += entry.first <= id && id <= entry.last ? 1 : 0;
        CHECK(listed == (row == nullptr ? 1 : 0));
    }
    for (const LeftOut& entry : left_out()) {
        CHECK(entry.first <= entry.last);
        CHECK_FALSE(std::string(entry.name).empty());
        CHECK_FALSE(std::string(entry.why).empty());
    }
}

TEST_CASE("PID fields lie inside their rows and beside each other") {
    for (const Row& row : pids()) {
        std::set<std::string> names, keys;
        for (std::size_t i = 0; i < row.fields.size(); ++i) {
            const Field& field = row.fields[i];
            INFO("PID " << row.id << " " << field.name);
            CHECK(field.id == row.id);
            CHECK(names.insert(field.name).second);
            if (field.key[0] != '\0')
                CHECK(keys.insert(field.key).second);
            for (const char* text : {field.name, field.key})
                for (const char* c = text; *c != '\0'; ++c)
                    CHECK((*c >= ' ' && *c <= '~'));
            CHECK((field.name_by_1d == nullptr) == (field.key_by_1d == nullptr));
            CHECK(field.bytes >= 1);
            CHECK(field.bytes <= 8);
            CHECK(field.at + field.bytes <= row.length);
            CHECK(field.bit + field.bits <= 8 * field.bytes);
            CHECK((field.bits != 0 || field.bit == 0));
            CHECK(field.scale.den > 0);
            CHECK(field.scale.num > 0);
            for (const Bit bit : {field.present, field.when.bit}) {
                CHECK(bit.byte < static_cast<int>(row.length));
                CHECK(bit.bit < 8);
            }
            std::set<std::uint32_t> values;
            std::set<std::string> texts;
            for (const Choice& choice : field.choices) {
                CHECK(values.insert(choice.value).second);
                CHECK(texts.insert(choice.text).second);
                CHECK((choice.value >> field.width()) == 0);
            }
            CHECK((field.kind == Kind::choice) == !field.choices.empty());

            const auto mine = bits_of(field, row.length);
            if (field.present.byte >= 0) // a field does not hold its own support bit
                CHECK((mine[static_cast<std::size_t>(field.present.byte)] >> field.present.bit &
                       1) == 0);
            for (std::size_t j = 0; j < i; ++j) {
                if (exclude_each_other(field, row.fields[j]))
                    continue;
                const auto other = bits_of(row.fields[j], row.length);
                for (std::size_t byte = 0; byte < mine.size(); ++byte)
                    CHECK((mine[byte] & other[byte]) == 0);
            }
        }
    }
}

TEST_CASE("two neighbouring raw values never look the same") {
    for (const Row& row : pids())
        for (const Field& field : row.fields) {
            if (field.kind != Kind::number)
                continue;
            INFO("PID " << row.id << " " << field.name);
            CHECK(std::pow(10.0, -static_cast<double>(field.scale.decimals())) <=
                  field.scale.step());
        }
}

TEST_CASE("what is decoded gives the bytes back") {
    std::mt19937 random(20240611); // the same bytes each time
    for (const Row& row : pids()) {
        std::vector<std::uint8_t> seen(row.length); // bits that some message told of
        for (int round = 0; round < 200; ++round) {
            std::vector<std::uint8_t> message{0x41, static_cast<std::uint8_t>(row.id)};
            for (unsigned i = 0; i < row.length; ++i)
                message.push_back(static_cast<std::uint8_t>(random() >> 8));
            for (const Field& field : row.fields)
                if (field.present.byte >= 0)
                    message[2U + static_cast<std::size_t>(field.present.byte)] |=
                        static_cast<std::uint8_t>(1U << field.present.bit);
            if (row.id == 0xE0)
                message.back() &= 0xFE; // the bit without an identifier
            message::Header header;
            REQUIRE(message::read_header(message, Role::unknown, header) == ProblemCode::none);
            Encoder encoder(row);
            message::decode(message, header, nullptr, encoder);
            CHECK(encoder.problems == 0);
            for (std::size_t i = 0; i < row.length; ++i) {
                INFO("PID " << row.id << " byte " << i << " of " << to_hex(message));
                CHECK(static_cast<int>(encoder.bytes[i]) ==
                      static_cast<int>(message[i + 2] & encoder.covered[i]));
                seen[i] = static_cast<std::uint8_t>(seen[i] | encoder.covered[i]);
            }
        }
        // every bit of a field was told of at least once
        for (const Field& field : row.fields) {
            const auto mask = bits_of(field, row.length);
            for (std::size_t i = 0; i < mask.size(); ++i)
                CHECK((mask[i] & ~seen[i]) == 0);
        }
    }
}

TEST_CASE("coverage counts each row once") {
    std::size_t left = 0;
    for (const LeftOut& entry : left_out())
        left += static_cast<std::size_t>(entry.last - entry.first) + 1;
    const auto tables = coverage();
    CHECK(tables[0].rows == pids().size());
    CHECK(tables[0].rows + left == 256);
    CHECK(tables[0].left_out == left);
    for (const Coverage& table : tables) {
        CAPTURE(std::string(table.table));
        std::size_t rows = 0;
        for (const std::size_t count : table.by_evidence)
            rows += count;
        CHECK(rows == table.rows);
        CHECK(table.unsure <= table.rows);
    }
}
