// SPDX-License-Identifier: Apache-2.0
#include <deque>

#include <boost/asio/ip/tcp.hpp>
#include <boost/asio/ip/udp.hpp>
#include <boost/asio/write.hpp>

#include "support.hpp"
#include "telltale/link/doip.hpp"
#include "telltale/link/doip_find.hpp"

using namespace test;
namespace asio = boost::asio;
using asio::ip::tcp;
using asio::ip::udp;

namespace {

/// A DoIP entity on the loopback, in the same loop.
struct Entity {
    asio::io_context& context;
    tcp::acceptor acceptor;
    std::optional<tcp::socket> socket;
    doip::Parser parser;
    std::array<std::uint8_t, 4096> in{};
    std::vector<doip::Type> heard;
    std::uint8_t activation = 0x10;
    std::uint8_t refusal = 0; ///< of messages
    bool asks_alive = true;
    std::string rubbish; ///< instead of an answer to activation

    explicit Entity(asio::io_context& loop)
        : context(loop), acceptor(loop, tcp::endpoint(asio::ip::address_v4::loopback(), 0)) {
        accept();
    }
    std::string name() const {
        return "doip:127.0.0.1:" + std::to_string(acceptor.local_endpoint().port());
    }
    void accept() {
        acceptor.async_accept([this](const error_code& error, tcp::socket peer) {
            if (error)
                return;
            parser = {};
            socket.emplace(std::move(peer));
            read();
            accept();
        });
    }
    void read() {
        socket->async_read_some(asio::buffer(in), [this](const error_code& error, std::size_t n) {
            if (error)
                return;
            Bytes bytes = Bytes(in).first(n);
            doip::Packet packet;
            while (parser.next(bytes, packet))
                answer(packet);
            read();
        });
    }
    void say(const std::vector<std::uint8_t>& bytes) { asio::write(*socket, asio::buffer(bytes)); }
    void answer(const doip::Packet& packet) {
        heard.push_back(packet.type);
        std::vector<std::uint8_t> out;
        if (packet.type == doip::Type::activation_request) {
            if (!rubbish.empty()) {
                out.assign(rubbish.begin(), rubbish.end());
                return say(out);
            }
            const std::uint8_t payload[] = {
                packet.payload[0], packet.payload[1], 0x10, 0x10, activation, 0, 0, 0, 0};
            doip::append(out, doip::Type::activation_response, payload);
            if (asks_alive)
                doip::append(out, doip::Type::alive_request, {});
        } else if (packet.type == doip::Type::message) {
            const auto message = doip::parse_message(packet.payload);
            REQUIRE(message);
            const std::uint8_t taken[] = {static_cast<std::uint8_t>(message->target >> 8),
                                          static_cast<std::uint8_t>(message->target),
                                          static_cast<std::uint8_t>(message->source >> 8),
                                          static_cast<std::uint8_t>(message->source), refusal};
            if (refusal != 0) {
                doip::append(out, doip::Type::message_refused, taken);
            } else {
                doip::append(out, doip::Type::message_taken, taken);
                const Data answer{0x41, 0x0C, 0x1A, 0xF8};
                doip::append_message(out, {0x1010, message->source, answer});
            }
        }
        if (!out.empty())
            say(out);
    }
};

} // namespace

TEST_CASE("a DoIP entity is activated, asked, and asks whether we are alive") {
    Loop loop;
    Entity entity(loop.context);
    auto link = make_link(loop.context.get_executor(), entity.name());
    REQUIRE(link);
    const auto opened = loop.open(**link);
    REQUIRE_MESSAGE(!opened.error, (*link)->trouble());
    CHECK(opened.up.entity == 0x1010);
    const Data request{0x01, 0x0C};
    CHECK(!loop.send(**link, DoipMessage{0, 0, request}));
    const auto got = loop.receive(**link);
    REQUIRE(!got.error);
    CHECK(got.bytes == Data{0x41, 0x0C, 0x1A, 0xF8});
    const auto& message = std::get<DoipMessage>(got.received.traffic);
    CHECK(message.source == 0x1010);
    CHECK(message.target == 0x0E00);
    CHECK(std::count(entity.heard.begin(), entity.heard.end(), doip::Type::alive_response) == 1);
    entity.refusal = 0x06;
    CHECK(loop.send(**link, DoipMessage{0, 0x1234, request}) == LinkError::refused);
    CHECK((*link)->trouble().find("cannot be reached") != std::string::npos);
    // A message of the greatest length, there and (in many pieces) back.
    entity.refusal = 0;
    const Data large(max_doip_message, 0x55);
    CHECK(!loop.send(**link, DoipMessage{0, 0x1010, large}));
    CHECK(!loop.receive(**link).error);
    std::vector<std::uint8_t> out;
    doip::append_message(out, {0x1010, 0x0E00, large});
    entity.say(out);
    CHECK(loop.receive(**link).bytes == large);
    entity.socket->close();
    CHECK(loop.receive(**link).error == LinkError::gone);
}

TEST_CASE("entities that refuse, say nothing or say rubbish") {
    Loop loop;
    Entity entity(loop.context);
    auto link = make_link(loop.context.get_executor(), entity.name());
    entity.activation = 0x07;
    CHECK(loop.open(**link).error == LinkError::refused);
    CHECK((*link)->trouble().find("tls") != std::string::npos);
    entity.activation = 0x11; // somebody has to confirm it, and does not
    CHECK(loop.open(**link, {}, 100ms).error == LinkError::timed_out);
    entity.rubbish = "HTTP/1.1 400 Bad Request";
    CHECK(loop.open(**link).error == LinkError::wrong_answer);
    entity.rubbish = std::string("\x02\xFD\x80\x01\xFF\xFF\xFF\xFF", 8); // 4 GiB follow
    CHECK(loop.open(**link).error == LinkError::wrong_answer);
    entity.rubbish.clear();
    entity.activation = 0x10;
    CHECK(!loop.open(**link).error);
    auto nobody = make_link(loop.context.get_executor(), "doip:127.0.0.1:1");
    CHECK(loop.open(**nobody).error == LinkError::cannot_open);
    auto tls = make_link(loop.context.get_executor(), entity.name() + ",tls,unverified");
    CHECK(loop.open(**tls, {}, 500ms).error);
}

TEST_CASE("vehicles are found over UDP; rubbish is none") {
    Loop loop;
    udp::socket vehicle(loop.context, udp::endpoint(asio::ip::address_v4::loopback(), 0));
    std::array<std::uint8_t, 64> in{};
    udp::endpoint from;
    bool fine = false;
    vehicle.async_receive_from(asio::buffer(in), from, [&](const error_code&, std::size_t size) {
        const auto packet = doip::parse_datagram(Bytes(in).first(size));
        fine =
            packet && packet->type == doip::Type::identification_request && packet->payload.empty();
        std::vector<std::uint8_t> payload;
        for (const char c : std::string("TTINVENTED0000001"))
            payload.push_back(static_cast<std::uint8_t>(c));
        for (const int byte : {0x10, 0x10, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12, 0})
            payload.push_back(static_cast<std::uint8_t>(byte));
        std::vector<std::uint8_t> out;
        doip::append(out, doip::Type::announcement, payload);
        vehicle.send_to(asio::buffer(out), from);
        vehicle.send_to(asio::buffer(out), from);
        out.pop_back();
        vehicle.send_to(asio::buffer(out), from);
    });
    doip::FindOptions options;
    options.host = "127.0.0.1";
    options.port = vehicle.local_endpoint().port();
    options.wait = 100ms;
    std::optional<std::vector<doip::Vehicle>> found;
    doip::async_find(loop.context.get_executor(), options,
                     [&](error_code error, std::vector<doip::Vehicle> vehicles) {
                         CHECK(!error);
                         found = std::move(vehicles);
                     });
    loop.run_until([&] { return found.has_value(); });
    CHECK(fine);
    REQUIRE(found->size() == 1);
    CHECK((*found)[0].vin == "TTINVENTED0000001");
    CHECK((*found)[0].address == 0x1010);
    CHECK((*found)[0].host == "127.0.0.1");
}

TEST_CASE("the codec: whole messages out of pieces of any size") {
    std::vector<std::uint8_t> stream;
    const Data one{0x01, 0x0C};
    doip::append_message(stream, {0x0E00, 0xE000, one});
    doip::append_activation(stream, 0x0E00, 0);
    doip::append_alive(stream, 0x0E00);
    doip::append(stream, doip::Type::alive_request, {});
    for (std::size_t piece = 1; piece <= stream.size(); ++piece) {
        doip::Parser parser;
        std::vector<doip::Type> types;
        for (std::size_t at = 0; at < stream.size(); at += piece) {
            Bytes bytes = Bytes(stream).subspan(at, std::min(piece, stream.size() - at));
            doip::Packet packet;
            while (parser.next(bytes, packet))
                types.push_back(packet.type);
        }
        CHECK(types == std::vector{doip::Type::message, doip::Type::activation_request,
                                   doip::Type::alive_response, doip::Type::alive_request});
        CHECK(!parser.broken());
    }
    CHECK(!doip::parse_message(Data{1, 2, 3, 4}));
    CHECK(!doip::parse_activation(Data(8)));
    CHECK(!doip::parse_acknowledge(Data(4)));
}
