// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>
#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "telltale/base/bytes.hpp"
#include "telltale/base/export.hpp"
#include "telltale/link/traffic.hpp"

/// The messages of diagnostics over IP (ISO 13400-2), without I/O.
namespace telltale::link::doip {

inline constexpr std::uint16_t port = 13'400;   ///< TCP, and UDP for finding vehicles
inline constexpr std::uint16_t tls_port = 3496; ///< ISO 13400-2:2019
inline constexpr std::size_t header_size = 8;
inline constexpr std::uint8_t our_version = 0x02; ///< ISO 13400-2:2012; 03 is that of 2019
inline constexpr std::uint8_t any_version = 0xFF; ///< of requests for identification

/// Payload types.
enum class Type : std::uint16_t {
    negative_acknowledge = 0x0000,
    identification_request = 0x0001,
    announcement = 0x0004, ///< and response to an identification request
    activation_request = 0x0005,
    activation_response = 0x0006,
    alive_request = 0x0007,
    alive_response = 0x0008,
    status_request = 0x4001,  ///< of the entity, by a datagram
    status_response = 0x4002, ///< kind of node, sockets, longest request
    message = 0x8001,
    message_taken = 0x8002,
    message_refused = 0x8003,
};

/// A message as the header cuts it from the stream. A view.
struct Packet {
    std::uint8_t version = our_version;
    Type type = Type::message; ///< others than those above may come
    Bytes payload;
};

/// Header and payload.
TELLTALE_API void append(std::vector<std::uint8_t>& out, Type type, Bytes payload,
                         std::uint8_t with_version = our_version);
TELLTALE_API void append_message(std::vector<std::uint8_t>& out, const DoipMessage& message);
/// `activation`: 00 default, 01 required by regulation.
TELLTALE_API void append_activation(std::vector<std::uint8_t>& out, std::uint16_t tester,
                                    std::uint8_t activation);
TELLTALE_API void append_alive(std::vector<std::uint8_t>& out, std::uint16_t tester);

/// Takes a stream of bytes apart. A header that contradicts itself or claims more than
/// `max_doip_message` ends it: where the next message begins is then not known (ISO 13400-2 has
/// the connection closed). Memory: the longest message that came, which is bounded.
class TELLTALE_API Parser {
  public:
    /// Takes bytes off the front of `bytes` until there is a message (true) or none are left.
    /// The message is valid until the next call.
    bool next(Bytes& bytes, Packet& packet);
    bool broken() const noexcept { return broken_; }

  private:
    std::array<std::uint8_t, header_size> header_{};
    std::size_t header_got_ = 0;
    std::size_t wanted_ = 0;
    std::vector<std::uint8_t> payload_;
    bool broken_ = false;
};

/// One datagram: a whole message and nothing else.
TELLTALE_API std::optional<Packet> parse_datagram(Bytes datagram) noexcept;

/// Source, target and bytes of a `message`; nothing when it is too short.
TELLTALE_API std::optional<DoipMessage> parse_message(Bytes payload) noexcept;

struct Activation {
    std::uint16_t tester = 0;
    std::uint16_t entity = 0;
    std::uint8_t code = 0;
    bool active() const { return code == 0x10; }
    bool waits_for_confirmation() const { return code == 0x11; }
};
TELLTALE_API std::optional<Activation> parse_activation(Bytes payload) noexcept;
/// What the code says, in a few words; of codes that are reserved, "refused".
TELLTALE_API std::string_view activation_text(std::uint8_t code) noexcept;

struct Acknowledge {
    std::uint16_t source = 0; ///< of the ECU
    std::uint16_t target = 0; ///< the tester
    std::uint8_t code = 0;
};
/// Of `message_taken` and `message_refused`.
TELLTALE_API std::optional<Acknowledge> parse_acknowledge(Bytes payload) noexcept;
TELLTALE_API std::string_view refusal_text(std::uint8_t code) noexcept;

/// A vehicle that made itself known.
struct Vehicle {
    std::string vin; ///< 17 characters as they came: untrusted
    std::uint16_t address = 0;
    std::array<std::uint8_t, 6> entity{};
    std::array<std::uint8_t, 6> group{};
    std::uint8_t further_action = 0; ///< 00: none needed; 10: routing activation for safety
    std::string host;                ///< from where it came
};
TELLTALE_API std::optional<Vehicle> parse_announcement(Bytes payload);

} // namespace telltale::link::doip
