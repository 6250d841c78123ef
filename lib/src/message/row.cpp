// SPDX-License-Identifier: Apache-2.0
// From a row of the catalogue and its bytes to values.
#include <cmath>

#include "decoder.hpp"

namespace telltale::message::detail {

namespace {

/// A raw number: the field has one, of `width` bits.
std::int64_t raw_number(const catalogue::Field& field, Bytes data, unsigned width) noexcept {
    const std::uint64_t raw = catalogue::raw_of(field, data);
    return field.is_signed ? sign_extend(raw, width) : static_cast<std::int64_t>(raw);
}

/// A raw value in its unit. Exact wherever the product fits 64 bits, which it does for every field
/// of up to four bytes.
double scaled(const catalogue::Field& field, const catalogue::Scale& scale, std::int64_t raw,
              unsigned width) noexcept {
    if (width <= 32)
        return scale.apply(raw);
    if (width == 64 && !field.is_signed)
        return static_cast<double>(static_cast<std::uint64_t>(raw)) * scale.num / scale.den +
               scale.offset;
    return (static_cast<double>(raw) * scale.num + scale.shift) / scale.den + scale.offset;
}

/// True where nothing but the row is to be said of a number.
bool is_plain(const catalogue::Row& row, const catalogue::Field& field) noexcept {
    return field.kind == catalogue::Kind::number && row.unsure == nullptr &&
           field.unsure == nullptr && field.name_by_1d == nullptr &&
           field.rescale == catalogue::Rescale::none;
}

/// Characters without their padding: 00 in front or behind, spaces behind.
std::string_view unpadded(Bytes data) noexcept {
    std::size_t first = 0;
    std::size_t end = data.size();
    while (first < end && data[first] == 0)
        ++first;
    while (end > first && (data[end - 1] == 0 || data[end - 1] == ' '))
        --end;
    return {reinterpret_cast<const char*>(data.data()) + first, end - first};
}

} // namespace

bool two_sensors_a_bank(const EcuContext* context) noexcept {
    return context != nullptr && context->ranges_known[0x01][0] && context->supported[0x01][0x1D] &&
           !context->supported[0x01][0x13];
}

bool four_sensors_a_bank(const EcuContext* context) noexcept {
    return context != nullptr && context->ranges_known[0x01][0] && context->supported[0x01][0x13];
}

void Decoder::told(std::uint16_t id, std::uint8_t index, std::string_view name,
                   std::string_view words, std::int64_t raw) {
    Value value;
    value.kind = ValueKind::text;
    value.id = id;
    value.index = index;
    value.frame = frame;
    value.name = name;
    value.raw = raw;
    value.text = words;
    value.note = row_note;
    sink.value(value);
}

void Decoder::support(std::uint16_t id, std::string_view name, Bytes four, unsigned service,
                      std::uint8_t index) {
    const auto bits = static_cast<std::uint32_t>(big_endian(four, 0, 4));
    const auto first = static_cast<std::uint8_t>(id);
    const bool kept = context != nullptr && service != 0 && frame.value_or(0) == 0;
    text.clear();
    for (unsigned i = 0; i < 32; ++i) {
        const unsigned next = first + i + 1;
        if (next > 0xFF)
            break; // the last bit of E0 has no identifier
        const bool set = (bits >> (31 - i) & 1) != 0;
        if (kept && (set || service != 0x05))
            context->supported[service][next] = set;
        if (!set)
            continue;
        if (!text.view().empty())
            text.add(' ');
        text.hex(id_base + next, id_base == 0 ? 2 : 4);
    }
    if (kept)
        context->ranges_known[service][first / 32U] = true;
    told(static_cast<std::uint16_t>(id + id_base), index, name,
         text.view().empty() ? "none" : text.view(), bits);
}

void Decoder::add_note(Value& value, std::string_view words, std::string_view more) {
    if (value.note.data() != note.view().data()) { // nothing in the scratch yet
        note.clear();
        note.add(value.note);
    }
    if (!note.view().empty())
        note.add("; ");
    note.add(words);
    note.add(more);
    value.note = note.view();
}

/// Oxygen sensors are numbered by the layout that the vehicle has (SAE J1979-DA, PIDs 13 and 1D).
void Decoder::name_sensor(Value& value) {
    const catalogue::Field& field = *value.field;
    if (std::string_view{field.name} == field.name_by_1d)
        return;
    if (two_sensors_a_bank(context)) {
        value.name = field.name_by_1d;
        value.key = field.key_by_1d;
    } else if (!four_sensors_a_bank(context)) {
        add_note(value, "named by PID 13; by PID 1D: ", field.name_by_1d);
    }
}

void Decoder::field(const catalogue::Row& row, const catalogue::Field& field, Bytes data,
                    unsigned service, unsigned index) {
    using catalogue::Kind;
    const std::size_t wanted = field.bytes == 0 ? 0 : field.bytes;
    if (field.at + wanted > data.size() || !catalogue::is_present(field, data))
        return;
    const Bytes bytes =
        field.bytes == 0 ? data.subspan(field.at) : data.subspan(field.at, field.bytes);
    if (!catalogue::is_value(field, data))
        return;
    if (field.kind == Kind::bitmap)
        return support(row.id, field.name, bytes, service, static_cast<std::uint8_t>(index));

    if (options.plain != nullptr && is_plain(row, field) && row_note.empty()) {
        const unsigned width = field.width();
        if (width == 0)
            return; // no row has such a number
        const std::int64_t raw = raw_number(field, data, width);
        return options.plain->number(field, static_cast<std::uint16_t>(row.id + id_base),
                                     static_cast<std::uint8_t>(index), plain_frame(), raw,
                                     scaled(field, field.scale, raw, width));
    }

    Value value;
    value.id = static_cast<std::uint16_t>(row.id + id_base);
    value.index = static_cast<std::uint8_t>(index);
    value.frame = frame;
    value.name = field.name;
    value.key = field.key;
    value.field = &field;
    value.note = row_note;
    const char* unsure = field.unsure != nullptr ? field.unsure : row.unsure;
    if (unsure != nullptr)
        add_note(value, "unsure: ", unsure);
    if (field.name_by_1d != nullptr)
        name_sensor(value);
    if (field.kind == Kind::number) {
        const unsigned width = field.width();
        if (width == 0)
            return; // no row has such a number
        std::string_view why;
        const catalogue::Scale scale = scale_for(field, context, why);
        if (!why.empty())
            add_note(value, why);
        value.kind = ValueKind::number;
        value.raw = raw_number(field, data, width);
        value.number = scaled(field, scale, value.raw, width);
        value.step = std::fabs(scale.step());
        value.decimals = static_cast<std::uint8_t>(scale.decimals());
        value.unit = field.unit;
        if (field.own_unit != nullptr)
            value.own_unit = field.own_unit;
        return sink.value(value);
    }

    value.kind = ValueKind::text;
    switch (field.kind) {
    case Kind::choice: {
        const std::uint64_t raw = catalogue::raw_of(field, data);
        value.raw = static_cast<std::int64_t>(raw);
        for (const catalogue::Choice& choice : field.choices)
            if (choice.value == raw) {
                value.text = choice.text;
                if (choice.unsure)
                    add_note(value, "unsure: the meaning of this raw value");
                return sink.value(value);
            }
        text.clear();
        text.add("reserved (0x");
        text.hex(raw, (field.width() + 7) / 8 * 2);
        text.add(')');
        value.text = text.view();
        return sink.value(value);
    }
    case Kind::code: {
        const Dtc code{static_cast<std::uint16_t>(big_endian(bytes, 0, bytes.size() < 2 ? 0 : 2))};
        const auto letters = code.text();
        value.raw = code.raw;
        value.text = code.raw == 0 ? std::string_view{"none"}
                                   : std::string_view{letters.data(), letters.size()};
        return sink.value(value);
    }
    case Kind::text:
        value.text = unpadded(bytes);
        return sink.value(value);
    default:
        text.clear();
        text.hex(bytes);
        value.text = text.view();
        return sink.value(value);
    }
}

void Decoder::row(const catalogue::Row& row, Bytes data, unsigned service, unsigned index) {
    if (row.fields.empty()) {
        text.clear();
        text.hex(data);
        return told(static_cast<std::uint16_t>(row.id + id_base), static_cast<std::uint8_t>(index),
                    row.name, text.view());
    }
    for (std::size_t i = 0; i < row.fields.size(); ++i)
        field(row, row.fields[i], data, service, index + static_cast<unsigned>(i));
}

} // namespace telltale::message::detail
