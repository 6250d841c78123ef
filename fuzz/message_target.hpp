// SPDX-License-Identifier: Apache-2.0
// One message through read_header and decode, and what must hold whatever its bytes are.
#pragma once

#include <cmath>
#include <cstddef>
#include <cstdint>
#include <cstdlib>
#include <initializer_list>
#include <string_view>
#include <vector>

#include "telltale/message/message.hpp"

namespace telltale::fuzz {

inline void check(bool good) {
    if (!good)
        std::abort();
}

/// Adds up everything that it is told, so that two runs can be compared, and looks at each part.
class Ear final : public message::Sink {
  public:
    explicit Ear(std::size_t size) : size_(size) {}

    void value(const message::Value& value) override {
        check(!value.name.empty());
        check(std::isfinite(value.number) && std::isfinite(value.low) && std::isfinite(value.high));
        check(value.decimals <= 9 && value.step >= 0);
        if (value.kind == message::ValueKind::test)
            check(value.passed == (value.low <= value.number && value.number <= value.high));
        check(value.text.size() <= 16 * 1024 && value.note.size() <= 4096);
        // A byte is eight fields at most, and each is told once.
        check(++values <= 8 * size_ + 8);
        take(value.name);
        take(value.key);
        take(value.text);
        take(value.note);
        take(static_cast<std::uint64_t>(value.raw));
        take(value.id * 65536U + value.index * 256U + value.test);
    }
    void dtc(message::Dtc code) override {
        check(code.raw != 0);
        check(!message::group(code).empty());
        (void)message::authority(code);
        const auto letters = code.text();
        check(message::parse_dtc({letters.data(), letters.size()}) == code);
        check(++codes <= size_ / 2);
        take(code.raw);
    }
    void dtc3(const message::DtcRecord& record) override {
        check(record.code.raw() != 0);
        check(++codes <= size_ / 3);
        take(record.code.raw());
        take(record.status.value_or(0) * 256U + record.severity.value_or(0));
    }
    void problem(const Problem& problem) override {
        check(problem.code != ProblemCode::none && !describe(problem).empty());
        check(++problems <= size_ + 1);
        take(static_cast<std::uint64_t>(problem.code));
        take(problem.a);
        take(problem.b);
    }

    std::uint64_t sum = 0;
    std::size_t values = 0;
    std::size_t codes = 0;
    std::size_t problems = 0;

  private:
    void take(std::uint64_t number) { sum = (sum ^ number) * 0x100000001B3U; }
    void take(std::string_view text) {
        for (const char c : text) // every character of the view is there
            take(static_cast<std::uint8_t>(c));
        take(text.size());
    }
    std::size_t size_;
};

inline Ear listen(Bytes bytes, const message::Header& header, message::EcuContext* context) {
    Ear ear(bytes.size());
    message::decode(bytes, header, context, ear);
    return ear;
}

/// `flags`: bit 0 the form before CAN, bits 1 and 2 the role of the speaker.
inline void decode_any(std::uint8_t flags, Bytes bytes) {
    message::Header header;
    const ProblemCode code =
        message::read_header(bytes, static_cast<Role>((flags >> 1) % 3), header);
    check(code != ProblemCode::none || !bytes.empty());
    header.pre_can = (flags & 1) != 0;
    message::EcuContext context;
    const Ear bare = listen(bytes, header, nullptr);
    const Ear first = listen(bytes, header, &context);
    listen(bytes, header, &context);
    const message::EcuContext kept = context;
    const Ear third = listen(bytes, header, &context);
    // the context changes scales and names, never what is there
    check(bare.values == first.values && bare.codes == first.codes);
    check(bare.problems == first.problems && third.values == first.values);
    // and a message read again changes nothing in it
    check(kept.supported == context.supported && kept.ranges_known == context.ranges_known);
    check(kept.scaling_4f == context.scaling_4f && kept.scaling_50 == context.scaling_50);
    check(listen(bytes, header, nullptr).sum == bare.sum);
}

/// The first byte of `data` picks flags and, of `services` (requests), whose message the rest is:
/// bits 3 to 6; bit 7 set is the response.
inline void decode_one_of(std::initializer_list<std::uint8_t> services, const std::uint8_t* data,
                          std::size_t size) {
    if (size == 0)
        return;
    std::vector<std::uint8_t> bytes(data, data + size);
    const std::uint8_t flags = bytes[0];
    bytes[0] = *(services.begin() + (flags >> 3 & 15) % services.size());
    if ((flags & 0x80) != 0)
        bytes[0] |= 0x40;
    decode_any(flags, bytes);
}

} // namespace telltale::fuzz
