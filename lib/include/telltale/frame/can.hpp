// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <compare>
#include <cstdint>
#include <string>

#include "telltale/base/bytes.hpp"
#include "telltale/base/export.hpp"

namespace telltale {

/// A CAN identifier (ISO 11898-1): 11 bit (`extended` false) or 29 bit.
struct CanId {
    std::uint32_t value = 0;
    bool extended = false;

    static constexpr std::uint32_t max_standard = 0x7FF;
    static constexpr std::uint32_t max_extended = 0x1FFF'FFFF;
    constexpr bool valid() const { return value <= (extended ? max_extended : max_standard); }
    friend constexpr auto operator<=>(const CanId&, const CanId&) = default;
};

/// Appends the identifier in hex digits: three for 11 bits ("7E8"), eight for 29 ("18DAF110").
TELLTALE_API void append_can_id(std::string& out, CanId id);

enum class CanKind : std::uint8_t {
    data,
    remote, ///< remote frame: no data, `remote_length` is the length it asks for
    error,  ///< error frame as the operating system reports it: `id` is the error class (29 bits,
            ///< `extended`), `data` the report
};

/// A CAN frame as it travelled. A view: `data` belongs to whoever made the frame.
/// Classic frames carry 0 to 8 bytes; FD frames 0 to 8, 12, 16, 20, 24, 32, 48 or 64.
struct CanFrame {
    CanId id;
    CanKind kind = CanKind::data;
    bool fd = false;
    bool bit_rate_switch = false; ///< FD: BRS
    bool error_state = false;     ///< FD: ESI
    std::uint8_t remote_length = 0;
    Bytes data;
};

/// True for the lengths that an FD frame can have (ISO 11898-1, data length code).
constexpr bool is_fd_length(std::size_t n) {
    return n <= 8 || n == 12 || n == 16 || n == 20 || n == 24 || n == 32 || n == 48 || n == 64;
}

/// The shortest FD length that holds n bytes; 64 for more.
constexpr std::size_t fd_length_for(std::size_t n) {
    if (n > 64)
        return 64;
    while (!is_fd_length(n))
        ++n;
    return n;
}

/// Who speaks on a diagnostic identifier.
enum class Role : std::uint8_t {
    unknown, ///< not an identifier of ISO 15765-4
    tester,  ///< requests, functional or physical
    ecu,     ///< responses
};

/// The role of the identifiers that ISO 15765-4 gives to emissions-related diagnostics:
/// 7DF and 7E0 to 7E7 tester, 7E8 to 7EF ECU; 18DB33F1 and 18DAxxF1 tester, 18DAF1xx ECU.
constexpr Role role_of(CanId id) {
    if (!id.extended) {
        if (id.value == 0x7DF || (id.value >= 0x7E0 && id.value <= 0x7E7))
            return Role::tester;
        return id.value >= 0x7E8 && id.value <= 0x7EF ? Role::ecu : Role::unknown;
    }
    if (id.value == 0x18DB33F1 || (id.value & 0xFFFF00FF) == 0x18DA00F1)
        return Role::tester;
    return (id.value & 0xFFFFFF00) == 0x18DAF100 ? Role::ecu : Role::unknown;
}

/// True for a request to every ECU (7DF, 18DB33F1).
constexpr bool is_functional(CanId id) {
    return id.extended ? id.value == 0x18DB33F1 : id.value == 0x7DF;
}

/// The response identifier that answers a physical request identifier of ISO 15765-4, and the
/// reverse: 7E0 <-> 7E8, 18DA10F1 <-> 18DAF110. Others come back unchanged.
constexpr CanId partner_of(CanId id) {
    if (!id.extended)
        return id.value >= 0x7E0 && id.value <= 0x7EF ? CanId{id.value ^ 0x8U, false} : id;
    if ((id.value & 0xFFFF0000) == 0x18DA0000)
        return CanId{(id.value & 0xFFFF0000) | (id.value & 0xFF) << 8 | (id.value >> 8 & 0xFF),
                     true};
    return id;
}

} // namespace telltale
