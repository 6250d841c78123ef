// SPDX-License-Identifier: Apache-2.0
#include "relay.hpp"

#include <algorithm>
#include <array>
#include <bit>
#include <cmath>

#include "telltale/base/shown.hpp"
#include "telltale/catalogue/catalogue.hpp"
#include "telltale/catalogue/codes.hpp"

namespace telltale::c {

namespace {

bool is_row_name(const catalogue::Field& field, const message::Value& value) {
    return value.name.data() == field.name || value.name.data() == field.name_by_1d;
}

bool has_raw(const message::Value& value) {
    return value.kind != message::ValueKind::text ||
           (value.field != nullptr && (value.field->kind == catalogue::Kind::choice ||
                                       value.field->kind == catalogue::Kind::code));
}

/// A number of a field as a value, without the number.
message::Value plain_value(const catalogue::Field& field) {
    message::Value value;
    value.name = field.name;
    value.key = field.key;
    value.step = std::fabs(field.scale.step());
    value.decimals = static_cast<std::uint8_t>(field.scale.decimals());
    value.unit = field.unit;
    if (field.own_unit != nullptr)
        value.own_unit = field.own_unit;
    value.field = &field;
    return value;
}

/// A constant of the library, with a zero byte behind it.
telltale_text literal_unit(std::string_view text) {
    return text.empty() ? literal("1") : literal(text);
}

} // namespace

void fill_label(Label& out, const message::Value& value, UnitSystem units, Arena& arena) {
    // Names of rows are constants; others are made for the moment.
    if (value.field != nullptr && is_row_name(*value.field, value)) {
        out.shown.name = literal(value.name);
        out.shown.key = literal(value.key);
    } else {
        out.shown.name = arena.text(value.name);
        out.shown.key = arena.text(value.key);
    }
    out.has_raw = has_raw(value) ? 1 : 0;
    out.shown.unit = out.shown.ucum = {"", 0};
    if (value.kind == message::ValueKind::text)
        return;
    const Unit unit = value.unit < Unit::last_ ? value.unit : Unit::none;
    const Shown how = shown(unit, value.step, value.decimals, units, value.own_unit);
    out.shown.decimals = static_cast<std::uint8_t>(how.decimals);
    if (value.own_unit.empty() && !how.converted) {
        out.shown.unit = literal(info(unit).text);
        out.shown.ucum = literal_unit(info(unit).ucum);
    } else {
        out.shown.unit = arena.text(how.text);
        out.shown.ucum = arena.text(how.ucum);
    }
    out.converted = how.converted;
    out.factor = how.factor;
    out.offset = how.offset;
    out.shown.step = how.converted ? value.step * how.factor : value.step;
}

Labels::Labels(UnitSystem units) : units_(units) {
    grow();
}

void Labels::grow() {
    const std::size_t size = slots_.empty() ? 256 : 2 * slots_.size();
    std::vector<Slot> old(size);
    old.swap(slots_);
    shift_ = 64 - static_cast<unsigned>(std::countr_zero(size));
    for (const Slot& slot : old)
        if (slot.label != nullptr) {
            std::size_t at = place(slot.field);
            while (slots_[at].label != nullptr)
                at = (at + 1) % size;
            slots_[at] = slot;
        }
}

const Label* Labels::find(const message::Value& value) {
    if (value.field == nullptr || value.kind == message::ValueKind::test ||
        !is_row_name(*value.field, value))
        return nullptr;
    std::size_t at = place(value.field);
    for (; slots_[at].label != nullptr; at = (at + 1) & (slots_.size() - 1))
        if (slots_[at].fits(value))
            return slots_[at].label;
    if (taken_ == most)
        return nullptr;
    Label& label = labels_.emplace_back();
    fill_label(label, value, units_, texts_);
    label.shown.stays = 1;
    const catalogue::Field& field = *value.field;
    const bool plain =
        value.name.data() == field.name &&
        (value.kind != message::ValueKind::number ||
         (value.step == std::fabs(field.scale.step()) && value.decimals == field.scale.decimals()));
    slots_[at] = {&field, value.name.data(), value.step, value.decimals, plain, &label};
    if (2 * ++taken_ > slots_.size())
        grow();
    return &label;
}

const Label* Labels::look(const catalogue::Field& field) {
    return find(plain_value(field));
}

void Labels::name_asked(Label& label, const catalogue::Row& row) {
    label.shown.name = literal(row.name);
    label.shown.key = label.shown.unit = label.shown.ucum = {"", 0};
    label.shown.stays = 1;
}

Relay::Relay(UnitSystem units, const catalogue::Extension* extension, Labels* labels)
    : units_(units), extension_(extension), labels_(labels) {
    own_.node.event = {TELLTALE_EVENT_MESSAGE, &own_.message, nullptr, nullptr, {"", 0}, 0};
    own_.node.next = nullptr;
}

void Relay::message(telltale_message& out, const message::Said& said) {
    out.values = nullptr;
    out.dtcs = nullptr;
    out.problems = nullptr;
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
    out.bytes = passed_on(said.bytes);
    out.size = said.bytes.size();
    out.line_name = said.has_line ? line_name(said.line) : telltale_text{"", 0};
    out.negative_text = {"", 0};
    if (said.header.kind == message::Kind::negative)
        if (const auto* row = catalogue::negative_code(said.header.negative_code))
            out.negative_text = literal(row->name);
}

Relay::Node& Relay::node(int kind, Time time) {
    Node& node = arena_.raw<Node>();
    node.event.kind = kind;
    node.event.message = nullptr;
    node.event.problem = nullptr;
    node.event.frame = nullptr;
    node.event.comment = {"", 0};
    node.event.time = time;
    node.next = nullptr;
    return node;
}

/// The event has been filled: it is told or kept.
void Relay::emit(Node& node) {
    if (listener_ != nullptr) {
        tell(node.event);
        arena_.clear(); // nothing of it is used any more
        at_hand_ = nullptr;
        return;
    }
    (first_ == nullptr ? first_ : last_->next) = &node;
    last_ = &node;
}

bool Relay::begin(const message::Said& said) {
    picture_wants_ = shared_ && shared_->picture.begin(said);
    wanted_ = !mute_;
    if (wanted_) {
        if (at_hand_ == nullptr) {
            at_hand_ = &own_;
        } else {
            at_hand_ = &arena_.raw<Told>();
            at_hand_->node.event = own_.node.event;
            at_hand_->node.event.message = &at_hand_->message;
        }
        at_hand_->node.next = nullptr;
        at_hand_->node.event.time = said.time;
        telltale_message& out = at_hand_->message;
        message(out, said);
        values_.begin(out.values);
        dtcs_.begin(out.dtcs);
        problems_.begin(out.problems);
        if (chooser_ != nullptr) [[unlikely]]
            wanted_ = chooser_(chooser_user_, &out) != 0;
    }
    return wanted_ || picture_wants_;
}

/// A value that has nothing but this.
inline telltale_value& Relay::add(const Label& label, std::int32_t kind, std::uint16_t id,
                                  std::uint8_t index, std::int16_t frame) {
    telltale_value& out = arena_.raw<telltale_value>();
    values_.add(out);
    out.label = &label.shown;
    out.kind = kind;
    out.id = id;
    out.index = index;
    out.passed = 0;
    out.test = 0;
    out.has_raw = label.has_raw;
    out.unsure = 0;
    out.frame = frame;
    out.number = 0;
    out.raw = 0;
    out.text = {"", 0};
    out.note = {"", 0};
    out.low = 0;
    out.high = 0;
    return out;
}

void Relay::number(const catalogue::Field& field, std::uint16_t id, std::uint8_t index,
                   std::int16_t frame, std::int64_t raw, double number) {
    const Label* label = labels_->find(field);
    if (label == nullptr) [[unlikely]]
        label = &made(plain_value(field));
    telltale_value& out = add(*label, TELLTALE_NUMBER, id, index, frame);
    out.raw = raw;
    out.number = label->converted ? number * label->factor + label->offset : number;
}

void Relay::asked(const catalogue::Row& row, std::int16_t frame) {
    add(labels_->asked(row), TELLTALE_WORDS, row.id, 0, frame);
}

void Relay::value(const message::Said& said, const message::Value& value) {
    if (picture_wants_)
        shared_->picture.value(said, value);
    if (!wanted_)
        return;
    const Label* label = labels_ == nullptr ? nullptr : labels_->find(value);
    if (label == nullptr)
        label = &made(value);
    telltale_value& out =
        add(*label, static_cast<std::int32_t>(value.kind), value.id, value.index,
            value.frame ? static_cast<std::int16_t>(*value.frame) : std::int16_t{-1});
    const auto convert = [&](double si) {
        return label->converted ? si * label->factor + label->offset : si;
    };
    out.raw = value.raw;
    if (value.kind == message::ValueKind::text)
        out.text = arena_.text(value.text);
    else
        out.number = convert(value.number);
    if (value.kind == message::ValueKind::test) {
        out.test = value.test;
        out.passed = value.passed ? 1 : 0;
        out.low = convert(value.low);
        out.high = convert(value.high);
    }
    if (!value.note.empty()) {
        out.note = arena_.text(value.note);
        out.unsure = value.note.find("unsure: ") == std::string_view::npos ? 0 : 1;
    }
}

/// A label for this value alone.
const Label& Relay::made(const message::Value& value) {
    Label& label = arena_.make<Label>();
    fill_label(label, value, units_, arena_);
    return label;
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
    out.meaning = arena_.text(code_meaning(first.raw, out.failure_type, extension_, words));
}

void Relay::dtc(const message::Said& said, message::Dtc code) {
    if (picture_wants_)
        shared_->picture.dtc(said, code);
    if (!wanted_)
        return;
    telltale_dtc& out = arena_.raw<telltale_dtc>();
    dtcs_.add(out);
    out.raw = code.raw;
    out.failure_type = out.report = out.status = out.severity = out.group = out.record =
        out.counter = -1;
    const auto letters = code.text();
    out.text = arena_.text({letters.data(), letters.size()});
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
    telltale_dtc& out = arena_.raw<telltale_dtc>();
    dtcs_.add(out);
    out.raw = record.code.raw();
    out.failure_type = record.code.failure_type;
    out.report = record.report;
    out.status = number(record.status);
    out.severity = number(record.severity);
    out.group = number(record.group);
    out.record = number(record.record);
    out.counter = number(record.counter);
    const auto letters = record.code.text();
    out.text = arena_.text({letters.data(), letters.size()});
    code(said, out, record.code.code);
}

telltale_problem& Relay::trouble(const Problem& problem) {
    telltale_problem& out = arena_.raw<telltale_problem>();
    out.next = nullptr;
    out.code = static_cast<std::int32_t>(problem.code);
    out.word = literal(word(problem.code));
    out.time = problem.time;
    out.place = problem.place.offset;
    out.place_line = problem.place.line;
    out.a = problem.a;
    out.b = problem.b;
    return out;
}

void Relay::message_problem(const message::Said& said, const Problem& problem) {
    if (picture_wants_)
        shared_->picture.message_problem(said, problem);
    if (wanted_)
        problems_.add(trouble(problem));
}

void Relay::end(const message::Said& said) {
    if (shared_)
        shared_->picture.end(said);
    if (!mute_)
        emit(at_hand_->node);
}

void Relay::problem(const Problem& problem, const message::Said& about) {
    if (shared_)
        shared_->picture.problem(problem, about);
    if (mute_)
        return;
    Node& told = node(TELLTALE_EVENT_PROBLEM, problem.time);
    telltale_message& out = arena_.raw<telltale_message>();
    message(out, about);
    told.event.message = &out;
    told.event.problem = &trouble(problem);
    emit(told);
}

void Relay::frame(const dump::Record& record) {
    if (mute_)
        return;
    std::int32_t kind = TELLTALE_CAN;
    std::uint32_t flags = 0;
    std::uint32_t id = 0;
    Bytes bytes = record.bytes;
    switch (record.kind) {
    case dump::RecordKind::can:
        bytes = record.can.data;
        id = record.can.id.value;
        if (record.can.id.extended)
            flags |= TELLTALE_EXTENDED;
        if (record.can.fd)
            flags |= TELLTALE_FD;
        if (record.can.kind == CanKind::remote)
            flags |= TELLTALE_REMOTE;
        if (record.can.kind == CanKind::error)
            flags |= TELLTALE_ERROR_FRAME;
        break;
    case dump::RecordKind::kline:
        kind = TELLTALE_KLINE;
        break;
    case dump::RecordKind::j1850:
        kind = TELLTALE_J1850;
        break;
    case dump::RecordKind::message:
        kind = TELLTALE_WHOLE_MESSAGE;
        flags = TELLTALE_NO_ID;
        break;
    case dump::RecordKind::comment:
        return;
    }
    Node& told = node(TELLTALE_EVENT_FRAME, record.time);
    telltale_frame& out = arena_.raw<telltale_frame>();
    out.kind = kind;
    out.flags = flags;
    out.id = id;
    out.direction = static_cast<std::int8_t>(record.direction);
    out.line = record.line;
    out.time = record.time;
    out.place = record.place.offset;
    out.place_line = record.place.line;
    out.data = passed_on(bytes);
    out.size = bytes.size();
    out.line_name = line_name(record.line);
    told.event.frame = &out;
    emit(told);
}

void Relay::comment(const dump::Record& record) {
    if (mute_)
        return;
    Node& told = node(TELLTALE_EVENT_COMMENT, record.time);
    told.event.comment = arena_.text(record.comment);
    emit(told);
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
