// SPDX-License-Identifier: Apache-2.0
// The reassembler, from bytes: options first, then frames of many senders with their times.
//
//   options  1 byte: addressing (low 2 bits), small bounds (bit 2), N_Cr 0 (bit 3)
//   frame    control byte: sender 0 to 7 (low 3 bits), line (bit 3), FD (bit 4), remote (bit 5),
//            step of the clock (bits 6 and 7: none, 1 ms, 2 s, unknown time)
//            length byte, data
#include <cstddef>
#include <cstdint>
#include <cstdlib>

#include "telltale/isotp/reassembler.hpp"

namespace {

using namespace telltale;

void check(bool good) {
    if (!good)
        std::abort();
}

class Ear final : public isotp::Sink {
  public:
    explicit Ear(const isotp::ReassemblerOptions& options) : options_(options) {}

    void message(const isotp::Message& m) override {
        check(!m.bytes.empty());
        check(m.frames == 1
                  ? m.bytes.size() <= 62
                  : m.bytes.size() <= options_.max_message && m.bytes.size() <= options_.max_bytes);
        check(m.frames <= fed);
        check(m.place.offset < fed);
        touch(m);
    }
    void problem(const Problem& p, const isotp::Message& about) override {
        check(p.code != ProblemCode::none);
        check(!word(p.code).empty() && !describe(p).empty());
        check(p.place.offset < fed);
        check(++problems <= 2 * fed + options_.max_open);
        touch(about);
    }
    void flow_control(const isotp::FlowControl& control, const isotp::Message& about) override {
        check(static_cast<unsigned>(control.status) <= 2);
        check(about.bytes.size() >= 3);
        touch(about);
    }

    std::uint64_t fed = 0;
    std::uint64_t problems = 0;

  private:
    void touch(const isotp::Message& m) {
        for (const std::uint8_t byte : m.bytes) // every byte of the view is there
            sum_ = sum_ + byte;
        check(m.has_address == (options_.addressing == isotp::Addressing::extended ||
                                options_.addressing == isotp::Addressing::mixed));
    }
    isotp::ReassemblerOptions options_;
    volatile unsigned sum_ = 0;
};

constexpr CanId ids[] = {{0x7E0, false},     {0x7E8, false},     {0x7DF, false},
                         {0x7E9, false},     {0x18DA10F1, true}, {0x18DAF110, true},
                         {0x18DB33F1, true}, {0x18CEF110, true}};

} // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
    if (size == 0)
        return 0;
    isotp::ReassemblerOptions options;
    options.max_open = 16;
    options.addressing = static_cast<isotp::Addressing>(data[0] & 3);
    if ((data[0] & 4) != 0) {
        options.max_message = 200;
        options.max_open = 3;
        options.max_bytes = 500;
    }
    if ((data[0] & 8) != 0)
        options.n_cr = 0;
    isotp::Reassembler reassembler{options};
    Ear ear{options};
    Time now = 0;
    for (std::size_t at = 1; at + 2 <= size;) {
        const std::uint8_t control = data[at];
        const std::size_t length =
            std::size_t{data[at + 1]} < size - at - 2 ? std::size_t{data[at + 1]} : size - at - 2;
        CanFrame frame;
        frame.id = ids[control & 7];
        frame.fd = (control & 0x10) != 0;
        frame.kind = (control & 0x20) != 0 ? CanKind::remote : CanKind::data;
        frame.data = Bytes{data + at + 2, length};
        at += 2 + length;
        const unsigned step = control >> 6U;
        now += step == 1 ? nanoseconds_a_millisecond : step == 2 ? 2 * nanoseconds_a_second : 0;
        ++ear.fed;
        reassembler.feed((control >> 3) & 1, frame, step == 3 ? no_time : now,
                         Place{ear.fed - 1, 0}, ear);
        check(reassembler.open() <= options.max_open);
        check(reassembler.bytes() <= options.max_bytes);
    }
    reassembler.finish(ear);
    check(reassembler.open() == 0);
    return 0;
}
