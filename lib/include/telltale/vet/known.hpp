// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <algorithm>
#include <array>
#include <cstddef>
#include <cstdint>
#include <string>
#include <vector>

#include "telltale/frame/can.hpp"

/// Vetting an interface adapter: known frames go in at one end, and what comes out at the other is
/// held against them, bit for bit.
namespace telltale::vet {

/// A frame with its bytes, that is known on both sides of an adapter.
struct KnownFrame {
    CanId id;
    CanKind kind = CanKind::data; ///< data or remote
    bool fd = false;
    bool bit_rate_switch = false;   ///< FD: BRS
    std::uint8_t remote_length = 0; ///< of a remote frame: the length it asks for
    std::uint8_t size = 0;          ///< bytes of `data`: 0 to 8, or a length of FD
    std::array<std::uint8_t, 64> data{};
    std::uint16_t group = 0; ///< where in `KnownFrames::groups`, below its size

    Bytes bytes() const { return Bytes(data).first(size); }
    /// Valid as long as this object is and does not move.
    CanFrame view() const { return {id, kind, fd, bit_rate_switch, false, remote_length, bytes()}; }
};

/// Whether what arrived is the frame that was sent, to the bit. ESI is the sender's state and not
/// compared.
inline bool same_frame(const KnownFrame& known, const CanFrame& frame) {
    if (known.id != frame.id || known.kind != frame.kind || known.fd != frame.fd ||
        known.bit_rate_switch != frame.bit_rate_switch)
        return false;
    if (known.kind == CanKind::remote)
        return known.remote_length == frame.remote_length;
    if (known.size != frame.data.size())
        return false;
    for (std::size_t i = 0; i < known.size; ++i)
        if (known.data[i] != frame.data[i])
            return false;
    return true;
}

/// A frame with bytes of its own, of no group; at most 64 of them.
inline KnownFrame keep(const CanFrame& frame) {
    KnownFrame kept;
    kept.id = frame.id;
    kept.kind = frame.kind;
    kept.fd = frame.fd;
    kept.bit_rate_switch = frame.bit_rate_switch;
    kept.remote_length = frame.remote_length;
    kept.size = static_cast<std::uint8_t>(std::min<std::size_t>(frame.data.size(), 64));
    std::copy_n(frame.data.begin(), kept.size, kept.data.begin());
    return kept;
}

/// Known frames in the order in which they are sent, each in a group that is judged as one.
struct KnownFrames {
    struct Group {
        std::string id;    ///< letters, digits and '-': `data-lengths`
        std::string title; ///< for people
        std::string basis; ///< the clause that has an adapter carry these, or `common practice`
    };
    std::vector<Group> groups;
    std::vector<KnownFrame> frames;
};

} // namespace telltale::vet
