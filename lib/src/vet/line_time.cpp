// SPDX-License-Identifier: Apache-2.0
#include "telltale/vet/line_time.hpp"

namespace telltale::vet {

namespace {

/// Counts the bits of a frame up to its CRC as they go out: after five equal ones follows a stuff
/// bit of the other value, which counts as the first of the next run (ISO 11898-1).
class Wire {
  public:
    void put(std::uint32_t value, unsigned bits) noexcept {
        for (unsigned i = bits; i > 0; --i)
            bit(value >> (i - 1) & 1U);
    }
    /// CRC-15 of classic CAN (ISO 11898-1: x^15 + x^14 + x^10 + x^8 + x^7 + x^4 + x^3 +
    /// 1).
    std::uint32_t crc() const noexcept { return crc_; }
    std::uint32_t count() const noexcept { return count_; }
    std::uint32_t stuffed() const noexcept { return stuffed_; }

  private:
    void bit(std::uint32_t value) noexcept {
        const std::uint32_t next = value ^ (crc_ >> 14 & 1U);
        crc_ = crc_ << 1 & 0x7FFF;
        if (next != 0)
            crc_ ^= 0x4599;
        ++count_;
        run_ = value == last_ ? run_ + 1 : 1;
        last_ = value;
        if (run_ == 5) {
            ++count_;
            ++stuffed_;
            last_ = value ^ 1U;
            run_ = 1;
        }
    }
    std::uint32_t crc_ = 0;
    std::uint32_t count_ = 0;
    std::uint32_t stuffed_ = 0;
    std::uint32_t last_ = 2;
    unsigned run_ = 0;
};

std::uint32_t length_code(std::size_t size) noexcept {
    constexpr std::size_t above[] = {12, 16, 20, 24, 32, 48, 64};
    if (size <= 8)
        return static_cast<std::uint32_t>(size);
    std::uint32_t code = 9;
    for (const std::size_t length : above) {
        if (size <= length)
            break;
        ++code;
    }
    return code;
}

/// CRC delimiter, ACK and its delimiter, EOF, and the space between frames.
constexpr std::uint32_t after_crc = 1 + 1 + 1 + 7 + 3;

} // namespace

FrameBits frame_bits(const CanFrame& frame) noexcept {
    FrameBits bits;
    if (frame.kind == CanKind::error)
        return bits;
    Wire wire;
    const bool remote = frame.kind == CanKind::remote;
    wire.put(0, 1); // SOF
    if (frame.id.extended) {
        wire.put(frame.id.value >> 18, 11);
        wire.put(3, 2); // SRR, IDE
        wire.put(frame.id.value & 0x3FFFF, 18);
        wire.put(remote ? 1 : 0, 1);   // RTR or RRS
        wire.put(frame.fd ? 2 : 0, 2); // FDF and res, or r1 and r0
    } else {
        wire.put(frame.id.value, 11);
        wire.put(remote ? 1 : 0, 1);
        wire.put(0, 1); // IDE
        wire.put(frame.fd ? 2 : 0, frame.fd ? 2 : 1);
    }
    if (!frame.fd) {
        wire.put(length_code(remote ? frame.remote_length : frame.data.size()), 4);
        for (const std::uint8_t byte : frame.data)
            wire.put(byte, 8);
        wire.put(wire.crc(), 15);
        bits.nominal = wire.count() + after_crc;
        bits.stuffed = wire.stuffed();
        return bits;
    }
    wire.put(frame.bit_rate_switch ? 1 : 0, 1);
    const std::uint32_t before = wire.count();
    wire.put(frame.error_state ? 1 : 0, 1);
    wire.put(length_code(frame.data.size()), 4);
    for (const std::uint8_t byte : frame.data)
        wire.put(byte, 8);
    // Stuff count and CRC with a fixed stuff bit before every four bits (ISO 11898-1).
    const std::uint32_t check = 4 + (frame.data.size() <= 16 ? 17U : 21U);
    const std::uint32_t fixed = (check + 3) / 4;
    const std::uint32_t fast = wire.count() - before + check + fixed;
    bits.nominal = before + after_crc;
    (frame.bit_rate_switch ? bits.fast : bits.nominal) += fast;
    bits.stuffed = wire.stuffed() + fixed;
    return bits;
}

Time line_time(const CanFrame& frame, std::uint32_t bit_rate, std::uint32_t data_rate) noexcept {
    if (bit_rate == 0)
        return 0;
    const FrameBits bits = frame_bits(frame);
    return Time{bits.nominal} * nanoseconds_a_second / bit_rate +
           Time{bits.fast} * nanoseconds_a_second / (data_rate == 0 ? bit_rate : data_rate);
}

} // namespace telltale::vet
