// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <algorithm>
#include <optional>
#include <string>
#include <vector>

#include "telltale/message/message.hpp"
#include "telltale/message/stream.hpp"
#include "telltale/mimic/tester.hpp"
#include "telltale/mimic/vehicle.hpp"

namespace telltale::mimic::test {

constexpr Time second = nanoseconds_a_second;
constexpr Time millisecond = nanoseconds_a_millisecond;

struct Said {
    unsigned ecu;
    Message message;
    Time after;
};

/// Asks a vehicle by whole messages.
inline std::vector<Said> ask(Vehicle& vehicle, const Message& request,
                             std::optional<unsigned> ecu = std::nullopt, Time now = 0) {
    std::vector<Said> all;
    vehicle.ask(request, ecu, now, [&](const Answer& answer) {
        all.push_back({answer.ecu, {answer.message.begin(), answer.message.end()}, answer.after});
    });
    return all;
}

/// The only answer of one ECU; empty where there is none.
inline Message one(Vehicle& vehicle, const Message& request, unsigned ecu = 0, Time now = 0) {
    const auto all = ask(vehicle, request, ecu, now);
    return all.size() == 1 ? all[0].message : Message{};
}

inline void run_to(Vehicle& vehicle, double seconds) {
    // In pieces: a vehicle is never left alone for longer than it goes on by itself.
    for (double at = 0; at < seconds; at += 300)
        vehicle.poll(static_cast<Time>(at * 1e9), [](const CanFrame&) {});
    vehicle.poll(static_cast<Time>(seconds * 1e9), [](const CanFrame&) {});
}

struct Frame {
    CanId id;
    std::vector<std::uint8_t> data;
    Time time;
    friend bool operator==(const Frame&, const Frame&) = default;
};

/// Every frame of a survey of so many seconds.
inline std::vector<Frame> survey_frames(const Options& options, double seconds) {
    Vehicle vehicle(options);
    Tester tester(vehicle, 0);
    std::vector<Frame> frames;
    survey(tester, vehicle, static_cast<Time>(seconds * 1e9), [&](const CanFrame& f, Time time) {
        frames.push_back({f.id, {f.data.begin(), f.data.end()}, time});
    });
    return frames;
}

/// What a decoded conversation told: counts, problems, codes.
class Told final : public message::Listener {
  public:
    bool begin(const message::Said& said) override {
        ++messages;
        if (said.header.kind == message::Kind::negative)
            ++negatives;
        return true;
    }
    void value(const message::Said& said, const message::Value& value) override {
        if (said.header.kind != message::Kind::response)
            return;
        ++values;
        texts.push_back(std::string(value.name) + "=" + std::string(value.text));
    }
    void dtc(const message::Said& said, message::Dtc code) override {
        codes.push_back({said.header.service, code.raw});
    }
    void dtc3(const message::Said& said, const message::DtcRecord& record) override {
        codes.push_back({said.header.service, record.code.code.raw});
        reports.push_back(record);
    }
    void message_problem(const message::Said&, const Problem& problem) override {
        problems.push_back(problem);
    }
    void end(const message::Said&) override {}
    void problem(const Problem& problem, const message::Said&) override {
        problems.push_back(problem);
    }

    bool has(const std::string& text) const {
        return std::find(texts.begin(), texts.end(), text) != texts.end();
    }

    struct Code {
        std::uint8_t service;
        std::uint16_t code;
        friend bool operator==(const Code&, const Code&) = default;
    };
    std::size_t messages = 0;
    std::size_t negatives = 0;
    std::size_t values = 0;
    std::vector<std::string> texts;
    std::vector<Code> codes;
    std::vector<message::DtcRecord> reports;
    std::vector<Problem> problems;
};

inline Told decode(const std::vector<Frame>& frames) {
    Told told;
    message::Stream stream;
    for (const auto& frame : frames)
        stream.can(0, {.id = frame.id, .data = frame.data}, frame.time, {}, told);
    stream.finish(told);
    return told;
}

} // namespace telltale::mimic::test
