// SPDX-License-Identifier: Apache-2.0
// Our SocketCAN link on a virtual CAN interface, and our link to serial-line adapters against the
// kernel's own driver for such adapters. Runs inside the machine that run.sh starts.
#include <cstring>
#include <deque>
#include <random>

#include "../../link/support.hpp"
#include "beside.hpp"
#include "cable.hpp"

using namespace test;
using telltale::whole::Beside;
using telltale::whole::Cable;
using telltale::whole::shell;

namespace {

/// A frame with its bytes, as both sides of a comparison.
struct Piece {
    CanFrame frame;
    Data data;

    /// How the kernel has it (linux/can.h).
    canfd_frame raw() const {
        canfd_frame out{};
        out.can_id = frame.id.value | (frame.id.extended ? CAN_EFF_FLAG : 0U) |
                     (frame.kind == CanKind::remote ? CAN_RTR_FLAG : 0U) |
                     (frame.kind == CanKind::error ? CAN_ERR_FLAG : 0U);
        if (frame.kind == CanKind::error)
            out.can_id &= ~CAN_EFF_FLAG;
        out.len = frame.kind == CanKind::remote ? frame.remote_length
                                                : static_cast<std::uint8_t>(data.size());
        out.flags = static_cast<std::uint8_t>((frame.bit_rate_switch ? CANFD_BRS : 0) |
                                              (frame.error_state ? CANFD_ESI : 0));
        std::copy(data.begin(), data.end(), out.data);
        return out;
    }
    CanFrame view() const {
        CanFrame out = frame;
        out.data = data;
        return out;
    }
};

bool same(const CanFrame& a, const CanFrame& b) {
    return a.id == b.id && a.kind == b.kind && a.fd == b.fd &&
           a.bit_rate_switch == b.bit_rate_switch && a.error_state == b.error_state &&
           a.remote_length == b.remote_length &&
           std::equal(a.data.begin(), a.data.end(), b.data.begin(), b.data.end());
}

bool same(const canfd_frame& a, const canfd_frame& b) {
    return a.can_id == b.can_id && a.len == b.len &&
           (a.flags & (CANFD_BRS | CANFD_ESI)) == (b.flags & (CANFD_BRS | CANFD_ESI)) &&
           std::memcmp(a.data, b.data, a.len) == 0;
}

Piece random_piece(std::mt19937& random, bool fd) {
    constexpr std::size_t lengths[] = {0, 1, 2, 3, 4, 5, 6, 7, 8, 12, 16, 20, 24, 32, 48, 64};
    Piece out;
    out.frame.id.extended = random() % 2 == 0;
    out.frame.id.value = static_cast<std::uint32_t>(random()) &
                         (out.frame.id.extended ? CanId::max_extended : CanId::max_standard);
    out.frame.fd = fd && random() % 2 == 0;
    if (!out.frame.fd && random() % 8 == 0) {
        out.frame.kind = CanKind::remote;
        out.frame.remote_length = static_cast<std::uint8_t>(random() % 9);
        return out;
    }
    out.frame.bit_rate_switch = out.frame.fd && random() % 2 == 0;
    out.frame.error_state = out.frame.fd && random() % 2 == 0;
    out.data.resize(lengths[random() % (out.frame.fd ? 16 : 9)]);
    for (auto& byte : out.data)
        byte = static_cast<std::uint8_t>(random());
    return out;
}

std::unique_ptr<Link> made(Loop& loop, const std::string& name) {
    auto link = make_link(loop.context.get_executor(), name);
    REQUIRE(link.has_value());
    return std::move(*link);
}

} // namespace

TEST_CASE(
    "SocketCAN: classic, FD and remote frames go both ways unchanged, with the kernel's times") {
    std::mt19937 random{21};
    Loop loop;
    Beside beside("vcan0");
    const auto link = made(loop, "can:vcan0");
    const auto opened = loop.open(*link);
    REQUIRE_FALSE(opened.error);
    CHECK(opened.up.fd);
    CHECK(link->capabilities().times == TimeFrom::system);
    Time latest = now();
    std::size_t frames = 0;
    for (int round = 0; round < 2000; ++round) {
        CAPTURE(round);
        const Piece in = random_piece(random, true);
        beside.send(in.raw(), in.frame.fd);
        const auto got = loop.receive(*link);
        REQUIRE_FALSE(got.error);
        CanFrame frame = std::get<CanFrame>(got.received.traffic);
        frame.data = got.bytes;
        REQUIRE(same(frame, in.view()));
        REQUIRE(got.received.from == TimeFrom::system);
        REQUIRE(got.received.time >= latest);
        REQUIRE(got.received.time <= now());
        REQUIRE_FALSE(got.received.own);
        REQUIRE(got.received.lost == 0);

        const Piece out = random_piece(random, true);
        std::optional<std::pair<error_code, Sent>> sent;
        link->async_send(out.view(), 2s, [&](error_code error, Sent how) { sent = {error, how}; });
        loop.run_until([&] { return sent.has_value(); });
        REQUIRE_FALSE(sent->first);
        REQUIRE(sent->second.from == TimeFrom::system);
        REQUIRE(sent->second.time >= got.received.time);
        latest = sent->second.time;
        canfd_frame raw{};
        bool fd = false;
        REQUIRE(beside.receive(raw, fd, 2000));
        REQUIRE(fd == out.frame.fd);
        REQUIRE(same(raw, out.raw()));
        frames += 2;
    }
    // What the link sends it does not receive.
    CHECK(loop.receive(*link, 20ms).error == LinkError::timed_out);
    CHECK(link->counts().received == 2000);
    CHECK(link->counts().sent == 2000);
    MESSAGE(frames, " frames unchanged");
}

TEST_CASE("SocketCAN: receive filters let through what they are for, and nothing else") {
    Loop loop;
    Beside beside("vcan0");
    const auto link = made(loop, "can:vcan0");
    OpenSettings settings;
    settings.can.filters = {{{0x7E8, false}, 0x7F8}, {{0x18DAF100, true}, 0x1FFFFF00}};
    REQUIRE_FALSE(loop.open(*link, settings).error);
    std::vector<CanId> wanted;
    const auto offer = [&](CanId id, bool passes) {
        Piece piece;
        piece.frame.id = id;
        piece.data = {1, 2, 3};
        beside.send(piece.raw(), false);
        if (passes)
            wanted.push_back(id);
    };
    for (std::uint32_t id = 0; id <= CanId::max_standard; ++id)
        offer({id, false}, id >= 0x7E8 && id <= 0x7EF);
    for (std::uint32_t id = 0; id < 0x200; ++id)
        offer({0x18DAF000 + id, true}, id >= 0x100);
    for (std::uint32_t id = 0x7E8; id <= 0x7EF; ++id)
        offer({id, true}, false);
    for (const CanId id : wanted) {
        const auto got = loop.receive(*link);
        REQUIRE_FALSE(got.error);
        REQUIRE(std::get<CanFrame>(got.received.traffic).id == id);
    }
    CHECK(loop.receive(*link, 20ms).error == LinkError::timed_out);
    MESSAGE(wanted.size(), " of ", (0x800 + 0x200 + 8), " frames pass");
    CHECK(wanted.size() == 8 + 0x100);
}

TEST_CASE("SocketCAN: error frames are told") {
    Loop loop;
    Beside beside("vcan0");
    const auto link = made(loop, "can:vcan0");
    REQUIRE_FALSE(loop.open(*link).error);
    for (const std::uint32_t kind : {0x1U, 0x4U, 0x8U, 0x20U, 0x40U, 0x80U, 0x100U}) {
        Piece piece;
        piece.frame.kind = CanKind::error;
        piece.frame.id = {kind, true};
        piece.data = {0, 0x20, 0x80, 0x19, 0, 0, 96, 8};
        beside.send(piece.raw(), false);
        const auto got = loop.receive(*link);
        REQUIRE_FALSE(got.error);
        CanFrame frame = std::get<CanFrame>(got.received.traffic);
        frame.data = got.bytes;
        CHECK(same(frame, piece.view()));
    }
}

TEST_CASE("SocketCAN: what nobody takes in time is bounded and counted") {
    Loop loop;
    Beside beside("vcan0");
    const auto link = made(loop, "can:vcan0");
    REQUIRE_FALSE(loop.open(*link).error);
    constexpr std::uint32_t many = 60'000;
    for (std::uint32_t i = 0; i < many; ++i) {
        Piece piece;
        piece.frame.id = {0x123, false};
        piece.data = {static_cast<std::uint8_t>(i >> 16), static_cast<std::uint8_t>(i >> 8),
                      static_cast<std::uint8_t>(i)};
        beside.send(piece.raw(), false);
    }
    // One more that is received tells how many were lost before it.
    std::uint64_t received = 0;
    std::uint64_t lost = 0;
    std::int64_t latest = -1;
    for (;;) {
        const auto got = loop.receive(*link, 100ms);
        if (got.error)
            break;
        const auto number = static_cast<std::int64_t>(big_endian(got.bytes, 0, 3));
        REQUIRE(number > latest);
        latest = number;
        ++received;
        lost += got.received.lost;
    }
    Piece last;
    last.frame.id = {0x124, false};
    beside.send(last.raw(), false);
    const auto got = loop.receive(*link);
    REQUIRE_FALSE(got.error);
    lost += got.received.lost;
    MESSAGE(received, " received, ", lost, " lost and told");
    CHECK(received + lost == many);
    CHECK(lost > 0);
    CHECK(link->counts().lost == lost);
}

TEST_CASE("SocketCAN: an interface that is not there, is down, goes down, and comes back") {
    Loop loop;
    const auto none = made(loop, "can:can7");
    CHECK(loop.open(*none).error == LinkError::cannot_open);
    CHECK(none->trouble().find("can7") != std::string::npos);
    const auto link = made(loop, "can:vcan0");
    REQUIRE_FALSE(loop.open(*link).error);
    shell("ip link set vcan0 down");
    CHECK(loop.receive(*link).error == LinkError::gone);
    CHECK(loop.open(*link).error == LinkError::cannot_open);
    CHECK(link->trouble().find("down") != std::string::npos);
    shell("ip link set vcan0 up");
    REQUIRE_FALSE(loop.open(*link).error);
    Beside beside("vcan0");
    Piece piece;
    piece.frame.id = {0x7DF, false};
    piece.data = {2, 1, 0};
    REQUIRE_FALSE(loop.send(*link, piece.view()));
    canfd_frame raw{};
    bool fd = false;
    REQUIRE(beside.receive(raw, fd, 2000));
    CHECK(same(raw, piece.raw()));
    // While it is down nothing is sent either.
    shell("ip link set vcan0 down");
    CHECK(loop.send(*link, piece.view()));
    shell("ip link set vcan0 up");
}

TEST_CASE("serial-line CAN: our link and the kernel's driver understand each other, both ways") {
    std::mt19937 random{22};
    Loop loop;
    Cable cable;
    const std::string interface = telltale::whole::slcan_interface(cable, 0); // the kernel's end
    const auto link = made(loop, "slcan:" + cable.path(1) + "@500k");
    REQUIRE_FALSE(loop.open(*link).error);
    Beside beside(interface.c_str());

    // One at a time, both ways
    for (int round = 0; round < 300; ++round) {
        CAPTURE(round);
        const Piece in = random_piece(random, false);
        beside.send(in.raw(), false);
        const auto got = loop.receive(*link);
        REQUIRE_FALSE(got.error);
        CanFrame frame = std::get<CanFrame>(got.received.traffic);
        frame.data = got.bytes;
        REQUIRE(same(frame, in.view()));

        const Piece out = random_piece(random, false);
        REQUIRE_FALSE(loop.send(*link, out.view()));
        canfd_frame raw{};
        bool fd = true;
        REQUIRE(beside.receive(raw, fd, 2000));
        REQUIRE_FALSE(fd);
        REQUIRE(same(raw, out.raw()));
    }
    // As fast as it goes, both ways at once
    constexpr std::size_t many = 2000;
    std::deque<Piece> in;
    std::deque<Piece> out;
    for (std::size_t i = 0; i < many; ++i) {
        in.push_back(random_piece(random, false));
        out.push_back(random_piece(random, false));
    }
    std::thread other([&] {
        for (const Piece& piece : in)
            beside.send(piece.raw(), false);
    });
    std::size_t received = 0;
    std::size_t sent = 0;
    bool wrong = false;
    std::function<void()> receive_next = [&] {
        link->async_receive(5s, [&](error_code error, const Received& got) {
            if (error || !same(std::get<CanFrame>(got.traffic), in[received].view()) ||
                got.lost != 0)
                wrong = true;
            if (!wrong && ++received < many)
                receive_next();
        });
    };
    std::function<void()> send_next = [&] {
        link->async_send(out[sent].view(), 5s, [&](error_code error, Sent) {
            wrong = wrong || error;
            if (!wrong && ++sent < many)
                send_next();
        });
    };
    receive_next();
    send_next();
    loop.run_until([&] { return wrong || (received == many && sent == many); }, 30s);
    other.join();
    CHECK_FALSE(wrong);
    CHECK(received == many);
    for (const Piece& piece : out) {
        canfd_frame raw{};
        bool fd = true;
        REQUIRE(beside.receive(raw, fd, 2000));
        REQUIRE(same(raw, piece.raw()));
    }
    MESSAGE((2 * (300 + many)), " frames unchanged, ", cable.carried(), " characters");
    CHECK(link->counts().bad == 0);
}
