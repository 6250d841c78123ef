// SPDX-License-Identifier: Apache-2.0
// same MAKER: what the C interface tells is what the C++ interface tells, value by value: every
// identifier of every service with bytes of all kinds, in both systems of units, as a stream, with
// a vehicle attached (the long way round), and alone.
#include <cstdio>
#include <cstdlib>
#include <cstring>
#include <fstream>
#include <iterator>
#include <string>
#include <vector>

#include "telltale.h"
#include "telltale/base/shown.hpp"
#include "telltale/catalogue/extension.hpp"
#include "telltale/message/stream.hpp"

namespace {

using namespace telltale;

const char* what_now = "";
std::vector<std::uint8_t> bytes_now;

void check(bool good, const char* what, int line) {
    if (good)
        return;
    std::printf("same.cpp:%d: FAILED (%s): %s, message", line, what_now, what);
    for (const std::uint8_t byte : bytes_now)
        std::printf(" %02X", byte);
    std::printf("\n");
    std::exit(1);
}
#define CHECK(what) check((what), #what, __LINE__)

bool same(const telltale_text& got, std::string_view wanted) {
    return std::string_view{got.data, got.size} == wanted && got.data[got.size] == '\0';
}

/// A value with texts of its own.
struct Kept {
    message::Value value;
    std::string name, key, text, note, own_unit;
};

class Ear final : public message::Listener {
  public:
    bool begin(const message::Said&) override {
        ++messages;
        return true;
    }
    void value(const message::Said&, const message::Value& value) override {
        values.push_back({value, std::string(value.name), std::string(value.key),
                          std::string(value.text), std::string(value.note),
                          std::string(value.own_unit)});
    }
    void dtc(const message::Said&, message::Dtc code) override { codes.push_back(code.raw); }
    void dtc3(const message::Said&, const message::DtcRecord& record) override {
        codes.push_back(record.code.raw());
    }
    void message_problem(const message::Said&, const Problem& problem) override {
        problems.push_back(problem);
    }
    void end(const message::Said&) override {}
    void problem(const Problem& problem, const message::Said&) override {
        problems.push_back(problem);
    }
    std::size_t messages = 0;
    std::vector<Kept> values;
    std::vector<std::uint32_t> codes;
    std::vector<Problem> problems;
};

unsigned long compared = 0;

void compare(const telltale_value& got, const Kept& wanted, UnitSystem units) {
    ++compared;
    const message::Value& value = wanted.value;
    const bool words = value.kind == message::ValueKind::text;
    const bool test = value.kind == message::ValueKind::test;
    CHECK(got.kind == static_cast<int>(value.kind) && got.id == value.id);
    CHECK(got.index == value.index);
    CHECK(got.frame == (value.frame ? int{*value.frame} : -1));
    CHECK(same(got.text, words ? std::string_view{wanted.text} : std::string_view{}));
    CHECK(same(got.note, wanted.note));
    CHECK((got.unsure == 1) == (wanted.note.find("unsure: ") != std::string::npos));
    CHECK(got.raw == value.raw);
    CHECK(got.test == (test ? value.test : 0) && got.passed == (test && value.passed ? 1 : 0));
    const telltale_label& label = *got.label;
    CHECK(same(label.name, wanted.name) && same(label.key, wanted.key));
    if (words) {
        CHECK(label.unit.size == 0 && label.ucum.size == 0 && label.step == 0);
        CHECK(got.number == 0 && got.low == 0 && got.high == 0);
        return;
    }
    const Shown how = shown(value.unit, value.step, value.decimals, units, wanted.own_unit);
    CHECK(same(label.unit, how.text) && same(label.ucum, how.ucum) && got.has_raw == 1);
    CHECK(label.decimals == how.decimals);
    CHECK(label.step == (how.converted ? value.step * how.factor : value.step));
    CHECK(got.number == how(value.number));
    CHECK(got.low == (test ? how(value.low) : 0) && got.high == (test ? how(value.high) : 0));
}

void compare(const telltale_event* event, const Ear& ear, UnitSystem units) {
    std::size_t at = 0;
    std::size_t code = 0;
    std::size_t problem = 0;
    if (event != nullptr && event->problem != nullptr) {
        CHECK(ear.messages == 0 && ear.problems.size() == 1);
        CHECK(event->problem->code == static_cast<int>(ear.problems[0].code));
        return;
    }
    CHECK((event != nullptr) == (ear.messages == 1));
    if (event == nullptr)
        return;
    for (const auto* one = event->message->values; one != nullptr; one = one->next) {
        CHECK(at < ear.values.size());
        compare(*one, ear.values[at++], units);
    }
    for (const auto* one = event->message->dtcs; one != nullptr; one = one->next)
        CHECK(code < ear.codes.size() && one->raw == ear.codes[code++]);
    for (const auto* one = event->message->problems; one != nullptr; one = one->next) {
        CHECK(problem < ear.problems.size());
        CHECK(one->code == static_cast<int>(ear.problems[problem].code) &&
              one->a == ear.problems[problem].a && one->b == ear.problems[problem].b);
        ++problem;
    }
    CHECK(at == ear.values.size() && code == ear.codes.size() && problem == ear.problems.size());
}

class Random {
  public:
    std::uint8_t byte() {
        state_ = state_ * 6364136223846793005U + 1442695040888963407U;
        return static_cast<std::uint8_t>(state_ >> 56);
    }

  private:
    std::uint64_t state_ = 1;
};

/// Messages of all services and identifiers: lengths that fit and that do not, some with bytes that
/// are mostly 00 or FF, where support bits and ends of scales are.
std::vector<std::vector<std::uint8_t>> messages() {
    std::vector<std::vector<std::uint8_t>> out;
    Random random;
    const auto data = [&](std::vector<std::uint8_t>& message, std::size_t size, unsigned kind) {
        for (std::size_t i = 0; i < size; ++i)
            message.push_back(kind == 0   ? random.byte()
                              : kind == 1 ? std::uint8_t{0xFF}
                                          : std::uint8_t(i == 0 ? 0xFF : random.byte()));
    };
    for (unsigned service = 0x01; service <= 0x0A; ++service)
        for (unsigned id = 0; id <= 0xFF; ++id)
            for (unsigned round = 0; round < 8; ++round) {
                std::vector<std::uint8_t> message = {static_cast<std::uint8_t>(service | 0x40),
                                                     static_cast<std::uint8_t>(id)};
                std::size_t size = random.byte() % 14;
                if (service == 0x01)
                    if (const catalogue::Row* row = catalogue::pid(static_cast<std::uint8_t>(id));
                        row != nullptr && round < 6)
                        size = row->length;
                data(message, size, round % 3);
                out.push_back(message);
                if (round == 0)
                    out.push_back({static_cast<std::uint8_t>(service),
                                   static_cast<std::uint8_t>(id), random.byte()});
            }
    for (const unsigned page : {0xF1U, 0xF4U, 0xF5U, 0xF6U, 0xF8U, 0x11U})
        for (unsigned id = 0; id <= 0xFF; ++id)
            for (unsigned round = 0; round < 3; ++round) {
                std::vector<std::uint8_t> message = {0x62, static_cast<std::uint8_t>(page),
                                                     static_cast<std::uint8_t>(id)};
                data(message, random.byte() % 20, round);
                out.push_back(message);
            }
    for (unsigned report = 0; report <= 0xFF; ++report)
        for (unsigned round = 0; round < 8; ++round) {
            std::vector<std::uint8_t> message = {0x59, static_cast<std::uint8_t>(report)};
            data(message, random.byte() % 24, round % 3);
            out.push_back(message);
        }
    return out;
}

void stream(const std::vector<std::vector<std::uint8_t>>& all, UnitSystem units,
            const catalogue::Extension* extension, const telltale_extension* c_extension,
            bool with_vehicle) {
    message::StreamOptions how;
    how.extension = extension;
    message::Stream plain(how);
    telltale_options options = TELLTALE_OPTIONS_INIT;
    options.units = units == UnitSystem::us ? TELLTALE_US : TELLTALE_SI;
    options.extension = c_extension;
    telltale_stream* c_stream = nullptr;
    telltale_vehicle* vehicle = nullptr;
    CHECK(telltale_stream_new(&options, &c_stream, nullptr) == TELLTALE_OK);
    if (with_vehicle) {
        CHECK(telltale_vehicle_new(&vehicle) == TELLTALE_OK);
        CHECK(telltale_stream_attach(c_stream, vehicle) == TELLTALE_OK);
    }
    for (const std::vector<std::uint8_t>& message : all) {
        bytes_now = message;
        Ear ear;
        const std::uint32_t id = (message[0] & 0x40) != 0 ? 0x7E8 : 0x7E0;
        plain.message(0, {id, false}, message, 0, {}, ear);
        CHECK(telltale_stream_message(c_stream, 0, id, 0, message.data(), message.size(), 0, 0) ==
              TELLTALE_OK);
        const telltale_event* event = nullptr;
        telltale_stream_next(c_stream, &event);
        compare(event, ear, units);
    }
    telltale_stream_free(c_stream);
    telltale_vehicle_free(vehicle);
}

/// The same for requests, whose sender is a tester, without a stream.
void alone(const std::vector<std::vector<std::uint8_t>>& all, UnitSystem units) {
    struct Wanted {
        Ear ear;
        UnitSystem units;
    };
    for (const std::vector<std::uint8_t>& message : all) {
        bytes_now = message;
        message::Stream plain;
        Wanted wanted{{}, units};
        plain.message(message, 0, {}, wanted.ear);
        telltale_options options = TELLTALE_OPTIONS_INIT;
        options.units = units == UnitSystem::us ? TELLTALE_US : TELLTALE_SI;
        const auto hear = [](void* user, const telltale_event* event) {
            const auto* const what = static_cast<const Wanted*>(user);
            compare(event, what->ear, what->units);
            return int{TELLTALE_GO_ON};
        };
        CHECK(telltale_decode(message.data(), message.size(), TELLTALE_ANYBODY, &options, hear,
                              &wanted) == TELLTALE_OK);
    }
}

} // namespace

int main(int argc, char** argv) {
    CHECK(argc == 2);
    std::ifstream file(argv[1], std::ios::binary);
    const std::string text{std::istreambuf_iterator<char>(file), std::istreambuf_iterator<char>()};
    CHECK(text.size() > 100);
    const auto all = messages();
    telltale_extension* c_extension = nullptr;
    const telltale_named_text named = {"maker", text.data(), text.size()};
    CHECK(telltale_extension_read(&named, 1, nullptr, nullptr, &c_extension, nullptr) ==
          TELLTALE_OK);
    const auto read = catalogue::read_extension(text);
    CHECK(read.has_value());
    for (const UnitSystem units : {UnitSystem::si, UnitSystem::us}) {
        what_now = "a stream";
        stream(all, units, nullptr, nullptr, false);
        what_now = "a stream with a vehicle";
        stream(all, units, nullptr, nullptr, true);
        what_now = "a stream with an extension";
        stream(all, units, &*read, c_extension, false);
        what_now = "alone";
        alone(all, units);
    }
    telltale_extension_free(c_extension);
    std::printf("%zu messages, %lu values compared\n", all.size(), compared);
    CHECK(compared > 50'000);
    return 0;
}
