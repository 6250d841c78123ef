// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <charconv>
#include <cstdint>

#include "format_reader.hpp"

namespace telltale::dump {

/// The link types of the tcpdump.org registry that carry CAN.
inline constexpr std::uint32_t link_can_socketcan = 227;
inline constexpr std::uint32_t link_linux_cooked = 113;
inline constexpr std::uint32_t link_linux_cooked_2 = 276;

constexpr bool is_can_link(std::uint32_t link) {
    return link == link_can_socketcan || link == link_linux_cooked || link == link_linux_cooked_2;
}

/// As many bytes of a packet as say everything about a CAN frame: a cooked header and an FD frame.
inline constexpr std::size_t packet_head = 20 + 8 + 64;

/// Flags of the identifier word and of the FD flags byte, linux/can.h.
inline constexpr std::uint32_t can_flag_extended = 0x8000'0000;
inline constexpr std::uint32_t can_flag_remote = 0x4000'0000;
inline constexpr std::uint32_t can_flag_error = 0x2000'0000;
inline constexpr std::uint8_t fd_flag_bit_rate_switch = 0x01;
inline constexpr std::uint8_t fd_flag_error_state = 0x02;
inline constexpr std::uint8_t fd_flag_fd_frame = 0x04;

/// What a captured packet turned out to be.
enum class PacketKind : std::uint8_t {
    frame,    ///< a CAN frame, in the record
    filtered, ///< a CAN frame that the filter does not let through
    foreign,  ///< something that is no CAN frame
    bad,      ///< see the problem's code, `a` and `b`
};

struct PacketIn {
    std::uint32_t link = 0;
    bool big_endian = false;            ///< byte order of the file
    const CanFilter* filter = nullptr;  ///< null: everything
    const std::uint8_t* data = nullptr; ///< at least min(stored, packet_head) bytes
    std::size_t stored = 0;             ///< bytes of the packet in the dump
    std::size_t length = 0;             ///< bytes of the packet as it travelled
    std::uint32_t* interface = nullptr; ///< gets the interface number of cooked v2
};

/// Reads a packet of one of the link types above. Sets `record.can`, and `record.direction` where
/// the link type tells it; or `problem.code`, `a` and `b`.
inline PacketKind read_packet(const PacketIn& in, Record& record, Problem& problem) {
    const auto bad = [&](ProblemCode code, std::uint64_t a, std::uint64_t b = 0) {
        problem.code = code;
        problem.a = a;
        problem.b = b;
        return PacketKind::bad;
    };
    const auto too_short = [&] { // for what it says: cut when it was stored, or when it was made
        return in.stored < in.length ? bad(ProblemCode::cut_record, in.length, in.stored)
                                     : bad(ProblemCode::bad_record, 0);
    };
    const std::uint8_t* data = in.data;
    std::size_t header = 0;
    bool id_big = true; // DLT 227 has it big-endian whatever the file
    bool fd = false;
    if (in.link != link_can_socketcan) {
        const bool second = in.link == link_linux_cooked_2;
        header = second ? 20 : 16;
        if (in.stored < header)
            return too_short();
        const std::size_t protocol_at = second ? 0 : 14;
        // CAN_P_CAN and CANFD of linux/if_ether.h; the frame after the cooked header is as the
        // kernel gave it, so its identifier is in the order of the machine that wrote the file.
        if (data[protocol_at] != 0 ||
            (data[protocol_at + 1] != 0x0C && data[protocol_at + 1] != 0x0D))
            return PacketKind::foreign;
        fd = data[protocol_at + 1] == 0x0D;
        id_big = in.big_endian;
        // Packet type 4 (PACKET_OUTGOING): sent by this machine.
        const bool sent = second ? data[10] == 4 : data[0] == 0 && data[1] == 4;
        record.direction = sent ? Direction::sent : Direction::received;
        if (second && in.interface != nullptr)
            *in.interface = static_cast<std::uint32_t>(big_endian({data, header}, 4, 4));
        data += header;
    }
    const std::size_t stored = in.stored - header;
    const std::size_t length = in.length < header ? 0 : in.length - header;
    if (stored < 8)
        return too_short();
    const Bytes head(data, 8);
    const auto word =
        static_cast<std::uint32_t>(id_big ? big_endian(head, 0, 4) : little_endian(head, 0, 4));
    const std::size_t count = data[4];
    CanFrame& can = record.can;

    if ((word & can_flag_error) != 0) {
        // The error class takes the place of the identifier: 29 bits.
        can.id = {word & CanId::max_extended, true};
        can.kind = CanKind::error;
    } else {
        can.id = {word & CanId::max_extended, (word & can_flag_extended) != 0};
        if (!can.id.valid())
            return bad(ProblemCode::bad_identifier, can.id.value);
        if (in.filter != nullptr && !in.filter->passes(can.id))
            return PacketKind::filtered;
        can.kind = (word & can_flag_remote) != 0 ? CanKind::remote : CanKind::data;
    }

    // Older captures of FD frames lack the flag that says so: their packets are 72 bytes long.
    if (in.link == link_can_socketcan)
        fd =
            (data[5] & fd_flag_fd_frame) != 0 || length == 72 || (count > 8 && length >= 8 + count);
    if (can.kind != CanKind::data) {
        if (count > 8)
            return bad(ProblemCode::bad_length, count);
        fd = false;
    }
    if (fd ? !is_fd_length(count) : count > 8)
        return bad(ProblemCode::bad_length, count);
    can.fd = fd;
    can.bit_rate_switch = fd && (data[5] & fd_flag_bit_rate_switch) != 0;
    can.error_state = fd && (data[5] & fd_flag_error_state) != 0;
    if (can.kind == CanKind::remote) {
        can.remote_length = static_cast<std::uint8_t>(count);
        can.data = {};
        return PacketKind::frame;
    }
    can.remote_length = 0;
    if (stored < 8 + count)
        return length >= 8 + count ? bad(ProblemCode::cut_record, in.length, in.stored)
                                   : bad(ProblemCode::bad_length, count);
    can.data = {data + 8, count};
    return PacketKind::frame;
}

/// The line of a cooked v2 packet: the dump knows its interface by number only. False: see
/// `ReadState::line_index`.
inline bool cooked_line(ReadState& state, std::uint32_t interface, std::uint16_t& line) {
    char name[16] = "if";
    const auto end = std::to_chars(name + 2, name + sizeof name, interface).ptr;
    return state.line_index({name, static_cast<std::size_t>(end - name)}, line);
}

/// Counts a frame that is given to the caller.
inline void count_given(Counts& counts, CanKind kind) {
    ++counts.frames;
    if (kind == CanKind::remote)
        ++counts.remote_frames;
    else if (kind == CanKind::error)
        ++counts.error_frames;
}

} // namespace telltale::dump
