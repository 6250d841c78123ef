// SPDX-License-Identifier: Apache-2.0
// What a controller's firmware does with the decode target: single frames out of static buffers
// into values, with no heap. It is linked for a Cortex-M to see what that costs; `run.sh` prints
// it.
#include <cstddef>
#include <cstdint>

#include "telltale.hpp"

using namespace telltale;

// Classes with virtual functions and the standard library's checks name these; nobody calls them.
// Nothing of a heap is there.
extern "C" void abort() {
    __builtin_trap();
}
void operator delete(void*) noexcept {
    __builtin_trap();
}
void operator delete(void*, std::size_t) noexcept {
    __builtin_trap();
}

// As the CAN controller's interrupt leaves them.
volatile std::uint32_t mailbox_id = 0x7E8;
volatile std::uint8_t mailbox_data[8] = {0x04, 0x41, 0x0C, 0x1A, 0xF8, 0, 0, 0};
// What the rest of the firmware looks at.
volatile float engine_speed;
volatile std::uint16_t first_code;
volatile std::uint32_t problems;

namespace {

struct Latest final : message::Sink {
    void value(const message::Value& value) override {
        if (value.id == 0x0C && value.kind == message::ValueKind::number)
            engine_speed = static_cast<float>(value.number);
    }
    void dtc(message::Dtc code) override { first_code = code.raw; }
    void problem(const Problem&) override { problems = problems + 1; }
};

} // namespace

// The board's start-up code comes here, with the stack and the static variables in order.
extern "C" int start() {
    Latest latest;
    message::EcuContext engine;
    for (int turn = 0; turn < 100; ++turn) { // for ever, in earnest
        std::uint8_t data[8];
        for (std::size_t i = 0; i < sizeof data; ++i)
            data[i] = mailbox_data[i];
        const std::size_t length = data[0]; // N_PCI of a single frame (ISO 15765-2, 9.6.2)
        if (mailbox_id != 0x7E8 || length == 0 || length > 7)
            continue;
        message::Header header;
        const Bytes bytes(data + 1, length);
        if (read_header(bytes, Role::ecu, header) == ProblemCode::none)
            decode(bytes, header, &engine, latest);
    }
    return engine_speed == 1726 ? 0 : 1; // 1AF8 / 4 (ISO 15031-5, PID 0C)
}
