// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <cstdint>
#include <string>
#include <string_view>

#include "telltale/base/export.hpp"
#include "telltale/base/result.hpp"

namespace telltale::link {

enum class LinkKind : std::uint8_t {
    can,   ///< a CAN interface of the system (SocketCAN)
    slcan, ///< an adapter that speaks the serial-line CAN ASCII of the Linux kernel's slcan driver
    kline, ///< a K-line on a serial port
    doip,  ///< diagnostics over IP
    dump,  ///< a dump, played back
};

/// The name of a link, taken apart. What a kind does not have stays as it is here.
struct LinkName {
    LinkKind kind = LinkKind::can;
    /// The interface (can0), the device (/dev/ttyACM0), the host (192.0.2.7, fd00::7, gateway), or
    /// the file.
    std::string place;
    std::uint32_t bit_rate = 0; ///< slcan: bit/s; 0: as the adapter stands
    std::uint32_t baud = 0;     ///< slcan, kline: of the serial port; 0: usual
    bool fd = false;            ///< slcan: the adapter takes CAN FD frames
    bool listen = false;        ///< can, slcan: do not send, nor acknowledge where it can be set
    bool times = false;         ///< slcan: have the adapter stamp times (milliseconds)
    enum class Start : std::uint8_t { any, five_baud, fast, none };
    Start start = Start::any; ///< kline: how it is woken; any: as the opener asks
    std::uint16_t port = 0;   ///< doip: 0: 13400, or 3496 with TLS (ISO 13400-2)
    bool tls = false;         ///< doip
    bool unverified = false;  ///< doip: take any certificate
    std::string ca;           ///< doip: file of the certificates to trust (PEM)
    std::uint16_t target = 0; ///< doip: logical address of requests; 0: as the opener asks
    double speed = 1;         ///< dump: times as fast as it was; 0: as fast as it is taken
    friend bool operator==(const LinkName&, const LinkName&) = default;
};

/// Reads the name of a link:
///
///     name   = "can:"   interface                       *( "," option )   listen
///            | "slcan:" device [ "@" rate ]             *( "," option )   listen fd times baud=N
///            | "kline:" device [ "@" start ]            *( "," option )   baud=N
///            | "doip:"  host   [ ":" port ]             *( "," option )   tls ca=FILE unverified
///                                                                         target=HEX
///            | "dump:"  file   [ "@" speed ]
///     rate   = number [ "k" | "M" ]                     bit/s: 10k 20k 50k 100k 125k 250k 500k
///     800k
///                                                       1M
///     start  = "5baud" | "fast" | "none"
///     host   = name | IPv4 | "[" IPv6 "]"
///     speed  = number "x" | "max"                       number with at most 3 decimals, up to 1000
///
/// An "@" in a file's name is part of it unless a speed follows the last one.
/// Errors: `bad_argument`; the detail says what is wrong and shows what to write instead.
TELLTALE_API Result<LinkName> parse_link_name(std::string_view text);

/// The name that reads as this.
TELLTALE_API std::string to_string(const LinkName& name);

} // namespace telltale::link
