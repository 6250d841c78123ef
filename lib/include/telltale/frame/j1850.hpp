// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>

#include "telltale/base/bytes.hpp"
#include "telltale/base/export.hpp"
#include "telltale/frame/kline.hpp"

namespace telltale {

namespace detail {
constexpr std::array<std::uint8_t, 256> make_j1850_table() {
    std::array<std::uint8_t, 256> table{};
    for (unsigned i = 0; i < 256; ++i) {
        unsigned crc = i;
        for (int bit = 0; bit < 8; ++bit)
            crc = (crc & 0x80) != 0 ? crc << 1 ^ 0x11D : crc << 1;
        table[i] = static_cast<std::uint8_t>(crc);
    }
    return table;
}
inline constexpr std::array<std::uint8_t, 256> j1850_table = make_j1850_table();
} // namespace detail

/// CRC-8 of SAE J1850: polynomial x^8 + x^4 + x^3 + x^2 + 1, all ones before, inverted after.
constexpr std::uint8_t j1850_crc(Bytes bytes) {
    std::uint8_t crc = 0xFF;
    for (const std::uint8_t byte : bytes)
        crc = detail::j1850_table[crc ^ byte];
    return static_cast<std::uint8_t>(~crc);
}

/// Whose diagnostics a frame carries, by its first two header bytes (SAE J1979, three-byte headers
/// of J1850).
enum class J1850Kind : std::uint8_t {
    other,        ///< traffic that is no emissions-related diagnostics
    request_pwm,  ///< 61 6A: to every ECU, at 41.6 kbit/s
    response_pwm, ///< 41 6B
    request_vpw,  ///< 68 6A: at 10.4 kbit/s
    response_vpw, ///< 48 6B
};

/// A J1850 frame taken apart. A view: `data` belongs to whoever made the frame.
struct J1850Frame {
    J1850Kind kind = J1850Kind::other;
    std::uint8_t priority = 0; ///< the first header byte: priority and type
    std::uint8_t target = 0;
    std::uint8_t source = 0;
    Bytes data; ///< from the service byte on, without the CRC
};

/// The longest frame, CRC included and without in-frame response (SAE J1850).
inline constexpr std::size_t max_j1850_frame = 12;

/// Takes a whole frame apart, without in-frame response: header, data, CRC. Frames with a header of
/// one byte are `other` and all data behind it.
/// Problems: `frame_cut` (a bytes wanted, b there), `bad_length` (a: bytes of the frame),
/// `checksum_wrong` (a computed, b received).
TELLTALE_API FrameVerdict parse_j1850(Bytes frame, J1850Frame& out) noexcept;

} // namespace telltale
