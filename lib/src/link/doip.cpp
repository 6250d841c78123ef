// SPDX-License-Identifier: Apache-2.0
#include "telltale/link/doip.hpp"

#include <algorithm>

namespace telltale::link::doip {

namespace {

constexpr std::size_t message_head = 4;
constexpr std::size_t most_payload = max_doip_message + message_head;

void put16(std::vector<std::uint8_t>& out, std::uint16_t value) {
    out.push_back(static_cast<std::uint8_t>(value >> 8));
    out.push_back(static_cast<std::uint8_t>(value));
}
std::uint16_t get16(Bytes bytes, std::size_t at) {
    return static_cast<std::uint16_t>(big_endian(bytes, at, 2));
}
void put_header(std::vector<std::uint8_t>& out, Type type, std::size_t size,
                std::uint8_t version = our_version) {
    out.push_back(version);
    out.push_back(static_cast<std::uint8_t>(~version));
    put16(out, static_cast<std::uint16_t>(type));
    put16(out, static_cast<std::uint16_t>(size >> 16));
    put16(out, static_cast<std::uint16_t>(size));
}
bool fine_version(Bytes header) {
    return header[1] == static_cast<std::uint8_t>(~header[0]) && header[0] != 0;
}

} // namespace

void append(std::vector<std::uint8_t>& out, Type type, Bytes payload, std::uint8_t with_version) {
    put_header(out, type, payload.size(), with_version);
    out.insert(out.end(), payload.begin(), payload.end());
}

void append_message(std::vector<std::uint8_t>& out, const DoipMessage& message) {
    put_header(out, Type::message, message.bytes.size() + message_head);
    put16(out, message.source);
    put16(out, message.target);
    out.insert(out.end(), message.bytes.begin(), message.bytes.end());
}

void append_activation(std::vector<std::uint8_t>& out, std::uint16_t tester,
                       std::uint8_t activation) {
    put_header(out, Type::activation_request, 7);
    put16(out, tester);
    out.push_back(activation);
    out.insert(out.end(), 4, 0); // reserved
}

void append_alive(std::vector<std::uint8_t>& out, std::uint16_t tester) {
    put_header(out, Type::alive_response, 2);
    put16(out, tester);
}

bool Parser::next(Bytes& bytes, Packet& packet) {
    if (broken_) {
        bytes = {};
        return false;
    }
    if (header_got_ == header_size && payload_.size() == wanted_) { // was given
        header_got_ = 0;
        payload_.clear();
    }
    const auto take = [&](std::size_t count) {
        const auto part = bytes.first(std::min(count, bytes.size()));
        bytes = bytes.subspan(part.size());
        return part;
    };
    if (header_got_ < header_size) {
        const auto part = take(header_size - header_got_);
        std::copy(part.begin(), part.end(),
                  header_.begin() + static_cast<std::ptrdiff_t>(header_got_));
        header_got_ += part.size();
        if (header_got_ < header_size)
            return false;
        wanted_ = static_cast<std::size_t>(big_endian(header_, 4, 4));
        if (!fine_version(header_) || wanted_ > most_payload) {
            broken_ = true;
            bytes = {};
            return false;
        }
    }
    const auto part = take(wanted_ - payload_.size());
    payload_.insert(payload_.end(), part.begin(), part.end());
    if (payload_.size() < wanted_)
        return false;
    packet = {header_[0], static_cast<Type>(get16(header_, 2)), payload_};
    return true;
}

std::optional<Packet> parse_datagram(Bytes datagram) noexcept {
    if (datagram.size() < header_size || !fine_version(datagram) ||
        big_endian(datagram, 4, 4) != datagram.size() - header_size)
        return {};
    return Packet{datagram[0], static_cast<Type>(get16(datagram, 2)),
                  datagram.subspan(header_size)};
}

std::optional<DoipMessage> parse_message(Bytes payload) noexcept {
    if (payload.size() <= message_head)
        return {};
    return DoipMessage{get16(payload, 0), get16(payload, 2), payload.subspan(message_head)};
}

std::optional<Activation> parse_activation(Bytes payload) noexcept {
    if (payload.size() != 9 && payload.size() != 13)
        return {};
    return Activation{get16(payload, 0), get16(payload, 2), payload[4]};
}

std::string_view activation_text(std::uint8_t code) noexcept {
    switch (code) {
    case 0x00:
        return "unknown source address";
    case 0x01:
        return "all its connections are in use";
    case 0x02:
        return "another source address is active on this connection";
    case 0x03:
        return "the source address is in use on another connection";
    case 0x04:
        return "authentication is missing";
    case 0x05:
        return "the confirmation was refused";
    case 0x06:
        return "the activation type is not supported";
    case 0x07:
        return "it wants TLS: add ,tls to the link's name";
    case 0x10:
        return "activated";
    case 0x11:
        return "activated when somebody confirms it in the vehicle";
    default:
        return "refused";
    }
}

std::optional<Acknowledge> parse_acknowledge(Bytes payload) noexcept {
    if (payload.size() < 5)
        return {};
    return Acknowledge{get16(payload, 0), get16(payload, 2), payload[4]};
}

std::string_view refusal_text(std::uint8_t code) noexcept {
    switch (code) {
    case 0x02:
        return "invalid source address";
    case 0x03:
        return "unknown target address";
    case 0x04:
        return "the message is too long";
    case 0x05:
        return "out of memory";
    case 0x06:
        return "the target cannot be reached";
    case 0x07:
        return "unknown network";
    case 0x08:
        return "an error on the vehicle's own network";
    default:
        return "refused";
    }
}

std::optional<Vehicle> parse_announcement(Bytes payload) {
    constexpr std::size_t vin_size = 17;
    if (payload.size() != 32 && payload.size() != 33)
        return {};
    Vehicle vehicle;
    vehicle.vin.assign(payload.begin(), payload.begin() + vin_size);
    vehicle.address = get16(payload, vin_size);
    std::copy_n(payload.begin() + 19, 6, vehicle.entity.begin());
    std::copy_n(payload.begin() + 25, 6, vehicle.group.begin());
    vehicle.further_action = payload[31];
    return vehicle;
}

} // namespace telltale::link::doip
