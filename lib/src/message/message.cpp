// SPDX-License-Identifier: Apache-2.0
#include "telltale/message/message.hpp"

#include "decoder.hpp"

namespace telltale::message {

namespace {
constexpr std::uint8_t negative_response = 0x7F;
constexpr std::uint8_t response_bit = 0x40;
constexpr std::uint8_t local_identifiers = 0x21; // ISO 14230-3

/// Services 01 to 0A, and those of ISO 14229-1 that OBDonUDS (SAE J1979-2) uses.
constexpr bool is_service(std::uint8_t id) noexcept {
    return (id >= 0x01 && id <= 0x0A) || id == 0x10 || id == 0x14 || id == 0x19 || id == 0x22 ||
           id == 0x31 || id == 0x3E;
}
} // namespace

ProblemCode read_header(Bytes message, Role role, Header& header,
                        const catalogue::Extension* extension) noexcept {
    header = {};
    if (message.empty())
        return ProblemCode::message_empty;
    const std::uint8_t first = message[0];
    if (first == negative_response) {
        header.kind = Kind::negative;
        if (message.size() < 3)
            return ProblemCode::message_cut;
        header.service = message[1];
        header.negative_code = message[2];
    } else if ((first & response_bit) != 0) {
        header.kind = Kind::response;
        header.service = static_cast<std::uint8_t>(first & ~response_bit);
    } else {
        header.kind = Kind::request;
        header.service = first;
    }
    const bool own = header.service == local_identifiers && extension != nullptr &&
                     extension->has(local_identifiers);
    if (!is_service(header.service) && !own)
        return ProblemCode::unknown_service;
    const bool asks = header.kind == Kind::request;
    if ((role == Role::tester && !asks) || (role == Role::ecu && asks))
        return ProblemCode::unexpected_direction;
    return ProblemCode::none;
}

void decode(Bytes message, const Header& header, EcuContext* context, Sink& sink,
            const DecodeOptions& options) {
    detail::Decoder d(message, header, context, sink, options);
    if (message.empty())
        return d.problem(ProblemCode::message_empty);
    if (header.kind == Kind::negative) {
        if (message.size() < 3)
            d.problem(ProblemCode::message_cut, message[0], message.size() - 1);
        else if (message.size() > 3)
            d.problem(ProblemCode::message_too_long, message.size() - 3);
        return;
    }
    switch (header.service) {
    case 0x01:
    case 0x02:
        return detail::decode_parameters(d);
    case 0x03:
    case 0x04:
    case 0x07:
    case 0x0A:
        return detail::decode_codes(d);
    case 0x05:
        return detail::decode_oxygen_sensors(d);
    case 0x06:
        return detail::decode_monitors(d);
    case 0x08:
        return detail::decode_controls(d);
    case 0x09:
        return detail::decode_vehicle_information(d);
    case 0x10:
        return detail::decode_session(d);
    case 0x14:
        return detail::decode_clear(d);
    case 0x19:
        return detail::decode_code_reports(d);
    case 0x21:
        return detail::decode_local_identifiers(d);
    case 0x22:
        return detail::decode_data_identifiers(d);
    case 0x31:
        return detail::decode_routine(d);
    case 0x3E:
        return detail::decode_tester_present(d);
    default:
        return d.problem(ProblemCode::unknown_service, header.service);
    }
}

} // namespace telltale::message
