// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <array>
#include <bitset>
#include <cstdint>
#include <optional>
#include <string_view>

#include "telltale/base/bytes.hpp"
#include "telltale/base/export.hpp"
#include "telltale/base/problem.hpp"
#include "telltale/base/units.hpp"
#include "telltale/catalogue/catalogue.hpp"
#include "telltale/catalogue/extension.hpp"
#include "telltale/frame/can.hpp"
#include "telltale/message/dtc.hpp"

namespace telltale::message {

enum class Kind : std::uint8_t { request, response, negative };

/// What the first bytes of a message say.
struct Header {
    Kind kind = Kind::request;
    std::uint8_t service = 0; ///< the service asked for: 01 for 01, 41 and 7F 01 (22, 19, ...)
    std::uint8_t negative_code = 0; ///< of a negative response
    /// The message has the form of the lines before CAN (ISO 9141-2, ISO 14230-4, SAE J1850): code
    /// lists without a count and padded with 0000, service 06 with a limit type and component, and
    /// service 09 in numbered parts, which are handed over joined: `49 InfoType 01` and then the
    /// data bytes of all parts, without their numbers. `read_header` leaves it false.
    bool pre_can = false;
    /// Response-pending (78): the ECU is at work, the answer is still to come.
    bool pending() const { return kind == Kind::negative && negative_code == 0x78; }
};

/// Reads the header of a whole message. `role` is who speaks on its identifier, `unknown` when that
/// is not known: then the service byte alone decides.
/// Service 21 (ISO 14230-3) is known only where `extension` has rows of it.
/// Problems: `message_empty`, `message_cut` (7F without its two bytes), `unknown_service`,
/// `unexpected_direction`. None: `code` is `none`.
TELLTALE_API ProblemCode read_header(Bytes message, Role role, Header& header,
                                     const catalogue::Extension* extension = nullptr) noexcept;

enum class ValueKind : std::uint8_t {
    number, ///< `number` in `unit`
    text,   ///< `text`: a state, a list of identifiers, characters, hex
    test,   ///< a monitor test result: `number` with `low` and `high` in `unit`, and `passed`
};

/// One value of a message. Views die when the call that gave it returns.
struct Value {
    ValueKind kind = ValueKind::number;
    std::uint16_t id = 0;   ///< PID, OBDMID, InfoType or data identifier
    std::uint8_t test = 0;  ///< TID of a monitor test
    std::uint8_t index = 0; ///< the field's place in its row: (service, id, index) names a signal
    std::optional<std::uint8_t> frame; ///< freeze frame number (service 02)
    std::string_view name;
    std::string_view key; ///< SAE's short name, or empty
    double number = 0;
    double low = 0;
    double high = 0;
    double step = 0;      ///< size of one raw step in `unit`; 0 where there is none
    std::int64_t raw = 0; ///< of numbers and choices
    std::uint8_t decimals = 0;
    Unit unit = Unit::none;
    std::string_view own_unit; ///< "{mm3/stroke}": a unit that is none of `Unit`, or empty
    bool passed = false;
    std::string_view text;                   ///< untrusted where it comes from the vehicle
    std::string_view note;                   ///< "unsure: ...", "scaled by PID 4F", or empty
    const catalogue::Field* field = nullptr; ///< null where no row stands behind it
};

/// One code that service 19 of OBDonUDS told, with what stood beside it (ISO 14229-1, SAE J1979-2).
struct DtcRecord {
    Dtc3 code;
    std::uint8_t report =
        0; ///< subfunction: 42 by mask, 55 permanent, 56 of a readiness group, ...
    std::optional<std::uint8_t> status;   ///< `dtc_status_bits`
    std::optional<std::uint8_t> severity; ///< bits 7 to 5; bits 4 to 0 are the class
    std::optional<std::uint8_t> group;    ///< readiness group (56)
    std::optional<std::uint8_t> record;   ///< snapshot record (03, 04) or extended data record (06)
    std::optional<std::uint8_t> counter;  ///< fault detection counter (14), 7F is a full count
};

/// What decoding needs to know of an ECU from its earlier messages. Small, copyable, no allocation.
struct EcuContext {
    /// Identifiers that the ECU said it supports, by service: 01, 02 (frame 0), 05, 06, 08, 09.
    std::array<std::bitset<256>, 10> supported{};  ///< index = service
    std::array<std::bitset<8>, 10> ranges_known{}; ///< which bitmaps (00, 20, ... E0) were read
    /// PID 4F and PID 50 as read last: bytes A to D; zero bytes mean the default scaling.
    std::array<std::uint8_t, 4> scaling_4f{};
    std::array<std::uint8_t, 4> scaling_50{};
};

/// What decoding a message tells its user.
class TELLTALE_API Sink {
  public:
    virtual ~Sink() = default;
    virtual void value(const Value& value) = 0;
    virtual void dtc(Dtc code) = 0;
    virtual void problem(const Problem& problem) = 0;
    /// A code in three bytes (service 19).
    virtual void dtc3(const DtcRecord&) {}
};

/// A service and an identifier of it: what names a parameter, monitor or InfoType.
struct Signal {
    std::uint8_t service = 0;
    std::uint16_t id = 0;
    friend bool operator==(const Signal&, const Signal&) = default;
};

/// The same parameter, monitor or InfoType whatever protocol told it: data identifiers F400 to F4FF
/// of service 22 are the PIDs of service 01, F600 to F6FF the OBDMIDs of service 06, F800 to F8FF
/// the InfoTypes of service 09 (ISO 14229-1, annex C; SAE J1979-2). Others come back unchanged.
constexpr Signal same_signal(std::uint8_t service, std::uint16_t id) {
    if (service != 0x22)
        return {service, id};
    const auto low = static_cast<std::uint16_t>(id & 0xFF);
    switch (id >> 8) {
    case 0xF4:
        return {0x01, low};
    case 0xF6:
        return {0x06, low};
    case 0xF8:
        return {0x09, low};
    default:
        return {service, id};
    }
}

namespace detail {
/// For who knows the catalogue's rows by heart (the C interface): what is told by its row, without
/// a `Value` being made of it.
class TELLTALE_API PlainSink {
  public:
    /// A number that has nothing but its row to be said of it. `frame`: -1: none.
    virtual void number(const catalogue::Field& field, std::uint16_t id, std::uint8_t index,
                        std::int16_t frame, std::int64_t raw, double number) = 0;
    /// A PID of the standard that a request asks for.
    virtual void asked(const catalogue::Row& row, std::int16_t frame) = 0;

  protected:
    ~PlainSink() = default;
};
} // namespace detail

/// What else decoding may use.
struct DecodeOptions {
    /// Parameters beside the standard's; null: none.
    const catalogue::Extension* extension = nullptr;
    /// The ECU that speaks, or that is asked; 0: not known, and then rows that name one do not fit.
    catalogue::EcuName ecu = 0;
    detail::PlainSink* plain = nullptr; ///< internal
};

/// Decodes one whole message that starts with its service byte, in the order of its bytes.
/// Requests give the identifiers they ask for (values of kind text without a number), responses
/// their values, code lists their codes. What is wrong is a problem, and what came before it was
/// told. `context` may be null; it is read and brought up to date.
TELLTALE_API void decode(Bytes message, const Header& header, EcuContext* context, Sink& sink,
                         const DecodeOptions& options = {});

} // namespace telltale::message
