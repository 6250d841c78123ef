// SPDX-License-Identifier: Apache-2.0
#include "relay.hpp"

#include <algorithm>
#include <array>

#include "telltale/base/shown.hpp"
#include "telltale/catalogue/catalogue.hpp"
#include "telltale/catalogue/codes.hpp"

namespace telltale::c {

void Relay::message(const message::Said& said) {
    telltale_message& out = place(own_message_);
    out.kind = static_cast<std::int32_t>(said.header.kind);
    out.service = said.header.service;
    out.negative_code = said.header.negative_code;
    out.pending = said.header.pending() ? 1 : 0;
    out.pre_can = said.header.pre_can ? 1 : 0;
    out.has_id = said.has_id ? 1 : 0;
    out.extended = said.id.extended ? 1 : 0;
    out.line = said.line;
    out.id = said.id.value;
    out.frames = said.frames;
    out.time = said.time;
    out.end_time = said.end_time;
    out.place = said.place.offset;
    out.place_line = said.place.line;
    out.bytes = said.bytes.empty() ? nullptr
                : keeps()          ? arena_.bytes(said.bytes.data(), said.bytes.size())
                                   : said.bytes.data();
    out.size = said.bytes.size();
    out.line_name = said.has_line ? line_name(said.line) : telltale_text{"", 0};
    out.negative_text = {"", 0};
    if (said.header.kind == message::Kind::negative)
        if (const auto* row = catalogue::negative_code(said.header.negative_code))
            out.negative_text = literal(row->name);
    message_ = &out;
}

UnitTexts make_unit_texts(UnitSystem system) {
    UnitTexts out;
    for (std::size_t i = 0; i < out.size(); ++i) {
        const UnitInfo& about = info(static_cast<Unit>(i));
        out[i].same = system == UnitSystem::si || about.us_text.empty();
        out[i].text = literal(about.text);
        out[i].ucum = about.ucum.empty() ? literal("1") : literal(about.ucum);
    }
    return out;
}

const UnitTexts& unit_texts(UnitSystem system) {
    static const UnitTexts si = make_unit_texts(UnitSystem::si);
    static const UnitTexts us = make_unit_texts(UnitSystem::us);
    return system == UnitSystem::si ? si : us;
}

Relay::Relay(UnitSystem units, const catalogue::Extension* extension, Known* known)
    : units_(units), extension_(extension), known_(known), units_text_(unit_texts(units)) {
    event_.comment = of_message_.comment = value_event_.comment = nothing;
    value_event_.kind = TELLTALE_EVENT_VALUE;
}

/// The event has been filled: it is told or kept.
int Relay::emit(int kind, Time time) {
    event_.kind = kind;
    event_.message = message_;
    event_.time = time;
    if (!keeps())
        return answer(listener_(user_, &event_));
    Node& node = arena_.raw<Node>();
    node.event = event_;
    node.next = nullptr;
    (first_ == nullptr ? first_ : last_->next) = &node;
    last_ = &node;
    return TELLTALE_GO_ON;
}

bool Relay::begin(const message::Said& said) {
    picture_wants_ = shared_ && shared_->picture.begin(said);
    wanted_ = !mute_;
    if (wanted_) {
        message(said);
        if (keeps()) {
            emit(TELLTALE_EVENT_MESSAGE, said.time);
        } else {
            of_message_.kind = TELLTALE_EVENT_MESSAGE;
            of_message_.message = value_event_.message = &own_message_;
            of_message_.time = value_event_.time = said.time;
            wanted_ = tell_own(of_message_) != TELLTALE_SKIP;
        }
    }
    return wanted_ || picture_wants_;
}

void Relay::value(const message::Said& said, const message::Value& value) {
    if (picture_wants_)
        shared_->picture.value(said, value);
    if (!wanted_)
        return;
    const telltale_value* out = nullptr;
    if (known_ != nullptr && value.field != nullptr && value.note.empty() &&
        value.own_unit.empty() && value.kind != message::ValueKind::test) {
        out = &known(value);
        if (keeps())
            out = &(arena_.raw<telltale_value>() = *out);
    } else {
        telltale_value& own = place(own_value_); // of a listener: what was before left in it
        fill(own, value);
        out = &own;
    }
    if (keeps()) {
        emit(TELLTALE_EVENT_VALUE, &telltale_event::value, out, said.time);
    } else {
        value_event_.value = out;
        tell_own(value_event_);
    }
}

/// What is known of a field's values, brought up to date with this one. Names are those of the row,
/// but for sensors that the vehicle counts otherwise; all that is not filled in here is the
/// field's.
const telltale_value& Relay::known(const message::Value& value) {
    Known::Entry& entry = known_->at(value.field);
    telltale_value& out = entry.value;
    const bool fits = entry.field == value.field && entry.name == value.name.data() &&
                      out.decimals == value.decimals && out.step == value.step;
    if (!fits) [[unlikely]] {
        fill(out, value);
        const catalogue::Field& field = *value.field;
        const bool constant =
            value.name.data() == field.name || value.name.data() == field.name_by_1d;
        const bool same_units = units_text_[static_cast<std::size_t>(
                                                value.unit < Unit::last_ ? value.unit : Unit::none)]
                                    .same;
        entry.field = constant && same_units ? value.field : nullptr;
        entry.name = value.name.data();
        return out;
    }
    out.id = value.id;
    out.index = value.index;
    out.frame = value.frame ? static_cast<std::int16_t>(*value.frame) : std::int16_t{-1};
    out.number = value.number;
    out.raw = value.raw;
    if (value.kind == message::ValueKind::text)
        out.text = text(text_slot, value.text);
    return out;
}

void Relay::fill(telltale_value& out, const message::Value& value) {
    const bool words = value.kind == message::ValueKind::text;
    out.kind = static_cast<std::int32_t>(value.kind);
    out.id = value.id;
    out.test = value.test;
    out.index = value.index;
    out.frame = value.frame ? static_cast<std::int16_t>(*value.frame) : std::int16_t{-1};
    out.passed = value.passed ? 1 : 0;
    out.raw = value.raw;
    // Names of rows are constants; others are made for the moment.
    const catalogue::Field* const field = value.field;
    if (field != nullptr &&
        (value.name.data() == field->name || value.name.data() == field->name_by_1d)) {
        out.name = literal(value.name);
        out.key = literal(value.key);
    } else {
        out.name = text(name_slot, value.name);
        out.key = text(key_slot, value.key);
    }
    out.note = nothing;
    out.unsure = 0;
    if (!value.note.empty()) {
        out.note = text(note_slot, value.note);
        out.unsure = value.note.find("unsure: ") == std::string_view::npos ? 0 : 1;
    }
    if (words) {
        out.has_raw = field != nullptr && (field->kind == catalogue::Kind::choice ||
                                           field->kind == catalogue::Kind::code)
                          ? 1
                          : 0;
        out.decimals = 0;
        out.unit = out.ucum = nothing;
        out.text = text(text_slot, value.text);
        out.number = out.low = out.high = out.step = 0;
        return;
    }
    out.has_raw = 1;
    out.text = nothing;
    const Unit unit = value.unit < Unit::last_ ? value.unit : Unit::none;
    const UnitText& known = units_text_[static_cast<std::size_t>(unit)];
    if (known.same && value.own_unit.empty()) {
        out.decimals = value.decimals;
        out.unit = known.text;
        out.ucum = known.ucum;
        out.number = value.number;
        out.low = value.low;
        out.high = value.high;
        out.step = value.step;
        return;
    }
    const Shown how = shown(value.unit, value.step, value.decimals, units_, value.own_unit);
    out.decimals = static_cast<std::uint8_t>(how.decimals);
    out.unit = text(unit_slot, how.text);
    out.ucum = text(ucum_slot, how.ucum);
    out.number = how(value.number);
    out.low = how(value.low);
    out.high = how(value.high);
    out.step = how.converted ? value.step * how.factor : value.step;
}

std::string_view code_meaning(std::uint16_t code, std::int16_t failure_type,
                              const catalogue::Extension* extension, MeaningBuffer& words) {
    std::size_t size = 0;
    const auto add = [&](std::string_view more) {
        more = more.substr(0, words.size() - size);
        std::copy(more.begin(), more.end(), words.begin() + static_cast<std::ptrdiff_t>(size));
        size += more.size();
    };
    std::array<char, catalogue::max_code_text> buffer;
    add(catalogue::describe_code(code, buffer));
    // What an extension says of a code with its failure type is the meaning of both.
    bool whole = false;
    if (size == 0 && extension != nullptr) {
        const auto own = extension->code_text(code, failure_type);
        whole = !own.empty() && own != extension->code_text(code);
        add(own);
    }
    if (failure_type >= 0 && !whole) {
        const auto failure = catalogue::failure_type(static_cast<std::uint8_t>(failure_type));
        if (size != 0 && !failure.empty())
            add("; ");
        add(failure);
    }
    return {words.data(), size};
}

void Relay::code(const message::Said& said, telltale_dtc& out, message::Dtc first) {
    switch (said.header.service) {
    case 0x03:
        out.list = TELLTALE_STORED;
        break;
    case 0x07:
        out.list = TELLTALE_PENDING;
        break;
    case 0x0A:
        out.list = TELLTALE_PERMANENT;
        break;
    default:
        out.list = TELLTALE_OTHER_CODES;
        break;
    }
    out.by_maker = message::authority(first) == message::Authority::maker ? 1 : 0;
    MeaningBuffer words;
    out.meaning = text(note_slot, code_meaning(first.raw, out.failure_type, extension_, words));
    emit(TELLTALE_EVENT_DTC, &telltale_event::dtc, &out, said.time);
}

void Relay::dtc(const message::Said& said, message::Dtc code) {
    if (picture_wants_)
        shared_->picture.dtc(said, code);
    if (!wanted_)
        return;
    telltale_dtc& out = place(own_dtc_);
    out.raw = code.raw;
    out.failure_type = out.report = out.status = out.severity = out.group = out.record =
        out.counter = -1;
    const auto letters = code.text();
    out.text = text(code_slot, {letters.data(), letters.size()});
    this->code(said, out, code);
}

void Relay::dtc3(const message::Said& said, const message::DtcRecord& record) {
    if (picture_wants_)
        shared_->picture.dtc3(said, record);
    if (!wanted_)
        return;
    const auto number = [](const std::optional<std::uint8_t>& byte) {
        return byte ? static_cast<std::int16_t>(*byte) : std::int16_t{-1};
    };
    telltale_dtc& out = place(own_dtc_);
    out.raw = record.code.raw();
    out.failure_type = record.code.failure_type;
    out.report = record.report;
    out.status = number(record.status);
    out.severity = number(record.severity);
    out.group = number(record.group);
    out.record = number(record.record);
    out.counter = number(record.counter);
    const auto letters = record.code.text();
    out.text = text(code_slot, {letters.data(), letters.size()});
    code(said, out, record.code.code);
}

void Relay::trouble(const Problem& problem) {
    telltale_problem& out = place(own_problem_);
    out.code = static_cast<std::int32_t>(problem.code);
    out.word = literal(word(problem.code));
    out.time = problem.time;
    out.place = problem.place.offset;
    out.place_line = problem.place.line;
    out.a = problem.a;
    out.b = problem.b;
    emit(TELLTALE_EVENT_PROBLEM, &telltale_event::problem, &out, problem.time);
}

void Relay::message_problem(const message::Said& said, const Problem& problem) {
    if (picture_wants_)
        shared_->picture.message_problem(said, problem);
    if (wanted_)
        trouble(problem);
}

void Relay::end(const message::Said& said) {
    if (shared_)
        shared_->picture.end(said);
    if (!mute_) {
        if (keeps()) {
            emit(TELLTALE_EVENT_MESSAGE_END, said.time);
        } else {
            of_message_.kind = TELLTALE_EVENT_MESSAGE_END;
            tell_own(of_message_);
        }
    }
    message_ = nullptr;
}

void Relay::problem(const Problem& problem, const message::Said& about) {
    if (shared_)
        shared_->picture.problem(problem, about);
    if (mute_)
        return;
    message(about);
    trouble(problem);
    message_ = nullptr;
}

void Relay::frame(const dump::Record& record) {
    if (mute_)
        return;
    telltale_frame& out = place(own_frame_);
    out.kind = TELLTALE_CAN;
    out.flags = 0;
    out.id = 0;
    out.direction = static_cast<std::int8_t>(record.direction);
    out.line = record.line;
    out.time = record.time;
    out.place = record.place.offset;
    out.place_line = record.place.line;
    Bytes bytes = record.bytes;
    switch (record.kind) {
    case dump::RecordKind::can:
        bytes = record.can.data;
        out.id = record.can.id.value;
        if (record.can.id.extended)
            out.flags |= TELLTALE_EXTENDED;
        if (record.can.fd)
            out.flags |= TELLTALE_FD;
        if (record.can.kind == CanKind::remote)
            out.flags |= TELLTALE_REMOTE;
        if (record.can.kind == CanKind::error)
            out.flags |= TELLTALE_ERROR_FRAME;
        break;
    case dump::RecordKind::kline:
        out.kind = TELLTALE_KLINE;
        break;
    case dump::RecordKind::j1850:
        out.kind = TELLTALE_J1850;
        break;
    case dump::RecordKind::message:
        out.kind = TELLTALE_WHOLE_MESSAGE;
        out.flags = TELLTALE_NO_ID;
        break;
    case dump::RecordKind::comment:
        return;
    }
    out.data = bytes.empty() ? nullptr
               : keeps()     ? arena_.bytes(bytes.data(), bytes.size())
                             : bytes.data();
    out.size = bytes.size();
    out.line_name = line_name(record.line);
    emit(TELLTALE_EVENT_FRAME, &telltale_event::frame, &out, record.time);
}

void Relay::comment(const dump::Record& record) {
    if (mute_)
        return;
    event_.comment = text(text_slot, record.comment);
    emit(TELLTALE_EVENT_COMMENT, record.time);
    event_.comment = nothing;
}

int decode_alone(Bytes bytes, Role role, const catalogue::Extension* extension, Relay& relay) {
    message::Said said;
    said.bytes = bytes;
    const ProblemCode code = message::read_header(bytes, role, said.header, extension);
    if (code != ProblemCode::none) {
        Problem problem;
        problem.code = code;
        problem.a = code == ProblemCode::unknown_service ? said.header.service
                    : bytes.empty()                      ? 0
                                                         : bytes[0];
        problem.b = code == ProblemCode::message_cut ? bytes.size() - 1 : 0;
        relay.problem(problem, said);
        return TELLTALE_OK;
    }
    class Ear final : public message::Sink {
      public:
        Ear(const message::Said& said, Relay& relay) : said_(said), relay_(relay) {}
        void value(const message::Value& value) override { relay_.value(said_, value); }
        void dtc(message::Dtc code) override { relay_.dtc(said_, code); }
        void dtc3(const message::DtcRecord& record) override { relay_.dtc3(said_, record); }
        void problem(const Problem& problem) override { relay_.message_problem(said_, problem); }

      private:
        const message::Said& said_;
        Relay& relay_;
    };
    if (relay.begin(said)) {
        Ear ear(said, relay);
        message::decode(bytes, said.header, nullptr, ear, {extension, 0});
    }
    relay.end(said);
    return TELLTALE_OK;
}

} // namespace telltale::c
