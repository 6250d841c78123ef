// SPDX-License-Identifier: Apache-2.0
// For small machines: a plain loop over a buffer of single frames, as a controller's driver leaves
// them. No allocation, no exception, no stream; state in one struct that you own.
#include <cstdio>
#include <iterator>
#include <telltale/message/message.hpp>

namespace message = telltale::message;

namespace {

struct Received {
    std::uint32_t id;
    std::uint8_t data[8];
};

constexpr Received buffer[] = {
    {0x7E8, {0x06, 0x41, 0x00, 0xBE, 0x3F, 0xA8, 0x13, 0xAA}}, // what it supports
    {0x7E8, {0x04, 0x41, 0x0C, 0x0C, 0x30, 0xAA, 0xAA, 0xAA}}, // engine speed
    {0x7E8, {0x06, 0x41, 0x10, 0x01, 0x5F, 0x11, 0x1D, 0xAA}}, // air flow, throttle
    {0x3C5, {0x10, 0x00, 0x07, 0x7F, 0x00, 0x00, 0x00, 0x5D}}, // not diagnostics
    {0x7E8, {0x03, 0x7F, 0x09, 0x78, 0xAA, 0xAA, 0xAA, 0xAA}}, // response pending
    {0x7E8, {0x03, 0x41, 0x05, 0x72, 0xAA, 0xAA, 0xAA, 0xAA}}, // coolant temperature
};

/// Keeps the latest of what it cares for.
struct Latest : message::Sink {
    double speed = 0;
    double air = 0;
    double coolant = 0;
    unsigned problems = 0;

    void value(const message::Value& v) override {
        if (v.kind != message::ValueKind::number)
            return;
        if (v.id == 0x0C)
            speed = v.number;
        else if (v.id == 0x10)
            air = v.number;
        else if (v.id == 0x05)
            coolant = v.number;
    }
    void dtc(message::Dtc) override {}
    void problem(const telltale::Problem&) override { ++problems; }
};

} // namespace

int main() {
    Latest latest;
    message::EcuContext engine; // what 7E8 has told so far
    for (const auto& frame : buffer) {
        if (frame.id != 0x7E8)
            continue;
        const std::size_t length = frame.data[0]; // N_PCI of a single frame (ISO 15765-2, 9.6.2)
        if (length == 0 || length > 7)
            continue; // the first of several: see read_dump.cpp
        const telltale::Bytes bytes(frame.data + 1, length);
        message::Header header;
        if (read_header(bytes, telltale::Role::ecu, header) != telltale::ProblemCode::none) {
            ++latest.problems;
            continue;
        }
        decode(bytes, header, &engine, latest);
    }
    std::printf("%.0f 1/min, %.2f g/s, %.0f C, %u problems\n", latest.speed, latest.air,
                latest.coolant, latest.problems);
}
