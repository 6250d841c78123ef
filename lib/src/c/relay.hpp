// SPDX-License-Identifier: Apache-2.0
// From what a stream tells to events: to a listener at once, or kept until they are asked for.
// Internal: nothing here is installed.
#pragma once

#include <array>
#include <deque>
#include <memory>
#include <string_view>
#include <vector>

#include "arena.hpp"
#include "extension.hpp"
#include "telltale.h"
#include "telltale/catalogue/codes.hpp"
#include "telltale/dump/reader.hpp"
#include "telltale/message/stream.hpp"
#include "telltale/vehicle/picture.hpp"

namespace telltale::c {

/// A picture that a vehicle and the streams that it is attached to own together, so that they can
/// be freed in any order.
struct SharedPicture {
    vehicle::Picture picture;
    bool unusable = false; ///< memory ran out while it was told something
};

/// A label with what is the same in all values that have it.
struct Label {
    telltale_label shown{};
    double factor = 1; ///< when `converted`: from the SI unit to the one that is shown
    double offset = 0;
    bool converted = false;
    std::uint8_t has_raw = 0;
};

/// What a value is called and measured in; texts that are no constants go to the arena.
void fill_label(Label& out, const message::Value& value, UnitSystem units, Arena& arena);

/// The labels that a handle has made: a stream hears the same fields over and over, and a label
/// that is found here needs no making. Bounded: the tables are, and beyond the bound labels are
/// made for the moment.
class Labels {
  public:
    explicit Labels(UnitSystem units);

    /// The label of a value, or null: then it has to be made for the moment.
    const Label* find(const message::Value& value);
    /// The same of a number that has nothing but its row to be said of it.
    const Label* find(const catalogue::Field& field) {
        for (std::size_t at = place(&field);; at = (at + 1) & (slots_.size() - 1)) {
            const Slot& slot = slots_[at];
            if (slot.plain && slot.field == &field) [[likely]]
                return slot.label;
            if (slot.label == nullptr)
                return look(field);
        }
    }
    /// What a request asks for: a PID of the standard.
    const Label& asked(const catalogue::Row& row) {
        Label& label = asked_[row.id & 0xFF];
        if (label.shown.stays == 0) [[unlikely]]
            name_asked(label, row);
        return label;
    }

  private:
    struct Slot {
        const catalogue::Field* field = nullptr;
        const char* name = nullptr;
        double step = 0;
        unsigned decimals = 0;
        bool plain = false; ///< all as the field has it
        const Label* label = nullptr;
        bool fits(const message::Value& value) const {
            return field == value.field && name == value.name.data() && step == value.step &&
                   decimals == value.decimals;
        }
    };
    static constexpr std::size_t most = 4096;

    std::size_t place(const catalogue::Field* field) const {
        const auto number = std::uint64_t{reinterpret_cast<std::uintptr_t>(field)};
        return static_cast<std::size_t>(number * 0x9E37'79B9'7F4A'7C15U >> shift_);
    }
    const Label* look(const catalogue::Field& field);
    static void name_asked(Label& label, const catalogue::Row& row);
    void grow();

    UnitSystem units_;
    unsigned shift_ = 0;
    std::vector<Slot> slots_; ///< a power of two of them, at most half of them taken
    std::size_t taken_ = 0;
    std::deque<Label> labels_;
    Arena texts_; ///< of labels with a unit of their own
    std::array<Label, 256> asked_;
};

class Relay final : public message::Listener, private message::detail::PlainSink {
  public:
    /// `labels`: may be null, then each value's is made anew. `extension`: what codes mean beside
    /// the standard's; may be null. Both have to outlive it.
    explicit Relay(UnitSystem units, const catalogue::Extension* extension = nullptr,
                   Labels* labels = nullptr);

    void listen(telltale_listener listener, void* user) {
        listener_ = listener;
        user_ = user;
    }
    /// Asked for each message; may be null.
    void choose(telltale_chooser chooser, void* user) {
        chooser_ = chooser;
        chooser_user_ = user;
    }
    /// Where line names come from; may be null.
    void name_lines(const dump::Reader* reader) { reader_ = reader; }
    void attach(std::shared_ptr<SharedPicture> shared) { shared_ = std::move(shared); }
    vehicle::Picture* picture() const { return shared_ ? &shared_->picture : nullptr; }
    SharedPicture* shared() const { return shared_.get(); }
    /// Events are neither told nor kept: only the picture hears.
    void mute(bool on) { mute_ = on; }

    /// Forgets what was kept.
    void clear() {
        arena_.clear();
        first_ = last_ = nullptr;
        at_hand_ = nullptr;
        stopped_ = false;
    }
    /// Takes the first of the kept events, or null.
    const telltale_event* take() {
        const Node* node = first_;
        if (node == nullptr)
            return nullptr;
        first_ = node->next;
        return &node->event;
    }
    /// The listener has said stop since `clear`.
    bool stopped() const { return stopped_; }
    /// Hands an event on that was kept.
    void tell(const telltale_event& event) {
        if (listener_(user_, &event) == TELLTALE_STOP)
            stopped_ = true;
    }

    bool begin(const message::Said& said) override;
    void value(const message::Said& said, const message::Value& value) override;
    void dtc(const message::Said& said, message::Dtc code) override;
    void dtc3(const message::Said& said, const message::DtcRecord& record) override;
    void message_problem(const message::Said& said, const Problem& problem) override;
    void end(const message::Said& said) override;
    void problem(const Problem& problem, const message::Said& about) override;
    message::detail::PlainSink* plain() override {
        return wanted_ && !picture_wants_ && labels_ != nullptr ? this : nullptr;
    }

    void frame(const dump::Record& record);
    void comment(const dump::Record& record);

  private:
    struct Node {
        telltale_event event;
        Node* next;
    };
    /// A message and its event.
    struct Told {
        Node node;
        telltale_message message;
    };
    /// The end of a list of a message.
    template <class T> struct List {
        const T** end = nullptr;
        void begin(const T*& first) {
            first = nullptr;
            end = &first;
        }
        void add(T& one) {
            *end = &one;
            one.next = nullptr;
            end = &one.next;
        }
    };

    telltale_text line_name(std::uint16_t line) {
        return reader_ == nullptr ? telltale_text{"", 0} : arena_.text(reader_->line_name(line));
    }
    /// Bytes that are the caller's die when the call returns: a listener is done with them then.
    const std::uint8_t* passed_on(Bytes bytes) {
        return bytes.empty()          ? nullptr
               : listener_ != nullptr ? bytes.data()
                                      : arena_.bytes(bytes.data(), bytes.size());
    }
    void message(telltale_message& out, const message::Said& said);
    void number(const catalogue::Field& field, std::uint16_t id, std::uint8_t index,
                std::int16_t frame, std::int64_t raw, double number) override;
    void asked(const catalogue::Row& row, std::int16_t frame) override;
    telltale_value& add(const Label& label, std::int32_t kind, std::uint16_t id, std::uint8_t index,
                        std::int16_t frame);
    const Label& made(const message::Value& value);
    Node& node(int kind, Time time);
    void emit(Node& node);
    void code(const message::Said& said, telltale_dtc& dtc, message::Dtc first);
    telltale_problem& trouble(const Problem& problem);

    UnitSystem units_;
    const catalogue::Extension* extension_;
    Labels* labels_;
    telltale_listener listener_ = nullptr;
    void* user_ = nullptr;
    telltale_chooser chooser_ = nullptr;
    void* chooser_user_ = nullptr;
    const dump::Reader* reader_ = nullptr;
    std::shared_ptr<SharedPicture> shared_;
    bool mute_ = false;
    bool wanted_ = true;         ///< what the message at hand says is, by the listener
    bool picture_wants_ = false; ///< by the picture
    bool stopped_ = false;

    Node* first_ = nullptr;
    Node* last_ = nullptr;
    Told* at_hand_ = nullptr; ///< between `begin` and `end`; else the last
    Told own_;                ///< the first message of a call
    List<telltale_value> values_;
    List<telltale_dtc> dtcs_;
    List<telltale_problem> problems_;
    Arena arena_;
};

/// What a code and its failure type (-1: none) mean in plain words, by the standard or else by the
/// extension; empty where it is not known.
using MeaningBuffer = std::array<char, catalogue::max_code_text + 2 + 80>;
std::string_view code_meaning(std::uint16_t code, std::int16_t failure_type,
                              const catalogue::Extension* extension, MeaningBuffer& words);

/// From a listener's point of view: one message, no stream.
int decode_alone(Bytes bytes, Role role, const catalogue::Extension* extension, Relay& relay);

/// Checked options: a stream's and a dump's. Throws nothing but std::bad_alloc.
struct Settings {
    SharedExtension extension; ///< may be null; `stream` refers to it
    message::StreamOptions stream;
    UnitSystem units = UnitSystem::si;
    bool frames = false;
    telltale_chooser chooser = nullptr; ///< may be null
    void* chooser_user = nullptr;
};
/// TELLTALE_OK, or fills the error.
int read_options(const telltale_options* from, Settings& out, telltale_error* error);
/// Of them, units and extension alone, without taking memory.
int read_few_options(const telltale_options* from, UnitSystem& units,
                     const catalogue::Extension*& extension);

} // namespace telltale::c
