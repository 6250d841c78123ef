// SPDX-License-Identifier: Apache-2.0
// What the decoders of the services share. Internal: nothing here is installed.
#pragma once

#include <cstddef>
#include <cstdint>
#include <optional>
#include <string_view>

#include "telltale/message/message.hpp"

namespace telltale::message::detail {

/// Builds a short text without allocating. What does not fit is left off and ends in "...".
template <std::size_t room> class Scratch {
  public:
    void clear() noexcept { size_ = 0; }
    void add(char c) noexcept {
        if (size_ < room)
            chars_[size_++] = c;
        else
            chars_[room - 1] = chars_[room - 2] = chars_[room - 3] = '.';
    }
    void add(std::string_view text) noexcept {
        for (const char c : text)
            add(c);
    }
    /// Exactly `digits` upper-case hex digits.
    void hex(std::uint64_t value, unsigned digits) noexcept {
        for (unsigned i = digits; i > 0; --i)
            add("0123456789ABCDEF"[value >> 4 * (i - 1) & 15]);
    }
    void hex(Bytes bytes) noexcept {
        for (const std::uint8_t byte : bytes)
            hex(byte, 2);
    }
    void decimal(std::uint64_t value) noexcept {
        char digits[20];
        unsigned count = 0;
        do {
            digits[count++] = static_cast<char>('0' + value % 10);
            value /= 10;
        } while (value != 0);
        while (count > 0)
            add(digits[--count]);
    }
    std::string_view view() const noexcept { return {chars_, size_}; }

  private:
    std::size_t size_ = 0;
    char chars_[room]; // left as it is: `size_` says what of it counts
};

/// True for the identifiers 00, 20, ... E0, whose data say which of the next 32 are supported.
constexpr bool is_support_id(std::uint16_t id) noexcept {
    return (id & 0x1F) == 0;
}

/// One message on its way to a sink.
class Decoder {
  public:
    Decoder(Bytes bytes, const Header& head, EcuContext* ecu, Sink& out,
            const DecodeOptions& more) noexcept
        : message(bytes), header(head), context(ecu), sink(out), options(more) {}

    Bytes message;
    const Header& header;
    EcuContext* context;
    Sink& sink;
    DecodeOptions options;
    std::uint16_t id_base = 0;         ///< added to the identifiers shown
    std::optional<std::uint8_t> frame; ///< freeze frame that the values belong to
    std::string_view row_note;         ///< said of every value of the row at hand
    Scratch<8192> text;
    Scratch<512> note;

    bool request() const noexcept { return header.kind == Kind::request; }

    /// `frame` as a `PlainSink` has it.
    std::int16_t plain_frame() const noexcept {
        return frame ? static_cast<std::int16_t>(*frame) : std::int16_t{-1};
    }

    void problem(ProblemCode code, std::uint64_t a = 0, std::uint64_t b = 0) {
        Problem told;
        told.code = code;
        told.a = a;
        told.b = b;
        sink.problem(told);
    }

    /// The row of a PID: the standard's, or one beside it; null when there is none.
    const catalogue::Row* pid(std::uint8_t id) const noexcept {
        const catalogue::Row* row = catalogue::pid(id);
        return row != nullptr ? row : own(0x01, id);
    }
    /// A row beside the standard's.
    const catalogue::Row* own(std::uint8_t service, std::uint16_t id) const noexcept {
        return options.extension == nullptr ? nullptr
                                            : options.extension->find(service, id, options.ecu);
    }

    /// An identifier that a request asks for.
    void asked(std::uint16_t id, std::string_view name) {
        Value value;
        value.kind = ValueKind::text;
        value.id = id;
        value.frame = frame;
        value.name = name;
        sink.value(value);
    }

    /// A value that is text; `text` must live until this returns.
    void told(std::uint16_t id, std::uint8_t index, std::string_view name, std::string_view words,
              std::int64_t raw = 0);

    /// The fields of a row whose data have been cut out of the message. `service` is the one whose
    /// support a bitmap tells of, `index` is what the first field's place counts from.
    void row(const catalogue::Row& row, Bytes data, unsigned service, unsigned index = 0);

    /// Four bytes of support bits: told as a value, and kept in the context unless `frame` is
    /// another than 0. What sensors of service 05 support is kept together.
    void support(std::uint16_t id, std::string_view name, Bytes four, unsigned service,
                 std::uint8_t index = 0);

    /// Identifiers of a request that may hold several (`most`) of the supporting ones (00, 20, ...)
    /// but only one of the others.
    template <class NameOf> void asked_list(std::size_t most, NameOf name_of) {
        if (message.size() < 2)
            return problem(ProblemCode::message_cut);
        for (std::size_t at = 1; at < message.size(); ++at) {
            if (at > most || (at > 1 && !(is_support_id(message[1]) && is_support_id(message[at]))))
                return problem(ProblemCode::message_too_long, message.size() - at);
            asked(message[at], name_of(message[at]));
        }
    }

  private:
    void add_note(Value& value, std::string_view words, std::string_view more = {});
    void name_sensor(Value& value);
    void field(const catalogue::Row& row, const catalogue::Field& field, Bytes data,
               unsigned service, unsigned index);
};

/// How many identifiers a message holds at most (SAE J1979, CAN).
inline constexpr std::size_t most_ids = 6;
inline constexpr std::string_view support_name = "Supported identifiers";

/// True when the ECU supports PID 1D and not 13: oxygen sensors are numbered two a bank, not four.
bool two_sensors_a_bank(const EcuContext* context) noexcept;
/// True when it supports PID 13: four a bank.
bool four_sensors_a_bank(const EcuContext* context) noexcept;
/// The scale of a field for this ECU, and in `note` why it is not the row's own.
catalogue::Scale scale_for(const catalogue::Field& field, const EcuContext* context,
                           std::string_view& note) noexcept;
/// Keeps what the data of a PID of service 01 say about the scaling of others.
void remember_scaling(std::uint16_t pid, Bytes data, EcuContext& context) noexcept;

void decode_parameters(Decoder& d);          // 01, 02
void decode_codes(Decoder& d);               // 03, 04, 07, 0A
void decode_oxygen_sensors(Decoder& d);      // 05
void decode_monitors(Decoder& d);            // 06
void decode_controls(Decoder& d);            // 08
void decode_vehicle_information(Decoder& d); // 09
void decode_local_identifiers(Decoder& d);   // 21
void decode_data_identifiers(Decoder& d);    // 22
void decode_code_reports(Decoder& d);        // 19
void decode_clear(Decoder& d);               // 14
void decode_session(Decoder& d);             // 10
void decode_tester_present(Decoder& d);      // 3E
void decode_routine(Decoder& d);             // 31

/// How many data bytes a PID has when `left` bytes are left for it: of two forms the one that is
/// exactly what is left, and else the usual one.
constexpr std::size_t pid_length(const catalogue::Row& row, std::size_t left) noexcept {
    if (row.length == 0)
        return left;
    if (row.short_length == 0 || left == row.length)
        return row.length;
    return left == row.short_length || row.usually_short ? row.short_length : row.length;
}
/// The data identifier at `at` and its data; moves `at` behind them. `live`: data as they are now,
/// not those of a snapshot. False after a problem that ends the message.
bool tell_identifier(Decoder& d, std::size_t& at, bool live);
/// One test result: `record` is TID, UASID, value, low and high limit (8 bytes).
void tell_test(Decoder& d, std::uint16_t id, Bytes record, std::uint8_t index);
/// One data item of an InfoType.
void tell_info_item(Decoder& d, const catalogue::Row& row, Bytes item, unsigned index);
/// All whole data items in `data`; returns how many there are.
std::size_t tell_info_items(Decoder& d, const catalogue::Row& row, Bytes data);

} // namespace telltale::message::detail
