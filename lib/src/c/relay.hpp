// SPDX-License-Identifier: Apache-2.0
// From what a stream tells to events: to a listener at once, or kept until they are asked for.
// Internal: nothing here is installed.
#pragma once

#include <array>
#include <memory>
#include <string_view>

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

/// A unit as it is shown; `same`: numbers need no conversion.
struct UnitText {
    bool same = true;
    telltale_text text{"", 0};
    telltale_text ucum{"1", 1};
};
using UnitTexts = std::array<UnitText, static_cast<std::size_t>(Unit::last_)>;
/// By `Unit`; made once.
const UnitTexts& unit_texts(UnitSystem system);

/// What is the same in all values of a field: a stream hears the same fields over and over. A value
/// whose field is in its place here needs a few members filled in, not all.
class Known {
  public:
    struct Entry {
        const catalogue::Field* field = nullptr;
        const char* name = nullptr;
        telltale_value value{};
    };
    Entry& at(const catalogue::Field* field) {
        const auto number = reinterpret_cast<std::uintptr_t>(field) / sizeof(catalogue::Field);
        return entries_[number % entries_.size()];
    }

  private:
    std::array<Entry, 128> entries_;
};

class Relay final : public message::Listener {
  public:
    /// `known`: may be null, then each value is made anew. `extension`: what codes mean beside the
    /// standard's; may be null. Both have to outlive it.
    explicit Relay(UnitSystem units, const catalogue::Extension* extension = nullptr,
                   Known* known = nullptr);

    void listen(telltale_listener listener, void* user) {
        listener_ = listener;
        user_ = user;
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
    void tell(const telltale_event& event) { answer(listener_(user_, &event)); }

    bool begin(const message::Said& said) override;
    void value(const message::Said& said, const message::Value& value) override;
    void dtc(const message::Said& said, message::Dtc code) override;
    void dtc3(const message::Said& said, const message::DtcRecord& record) override;
    void message_problem(const message::Said& said, const Problem& problem) override;
    void end(const message::Said& said) override;
    void problem(const Problem& problem, const message::Said& about) override;

    void frame(const dump::Record& record);
    void comment(const dump::Record& record);

  private:
    struct Node {
        telltale_event event;
        Node* next;
    };
    enum Slot { name_slot, key_slot, text_slot, note_slot, code_slot, unit_slot, ucum_slot, slots };
    static constexpr telltale_text nothing{"", 0};
    bool keeps() const { return listener_ == nullptr; }
    int answer(int said) {
        if (said == TELLTALE_STOP)
            stopped_ = true;
        return said;
    }
    telltale_text text(Slot slot, std::string_view from) {
        return keeps() ? arena_.text(from) : slots_[slot].set(from);
    }
    template <class T> T& place(T& own) { return keeps() ? arena_.make<T>() : own; }
    telltale_text line_name(std::uint16_t line) {
        if (reader_ == nullptr)
            return {"", 0};
        const std::string_view name = reader_->line_name(line);
        return keeps() ? arena_.text(name) : line_slot_.set(name);
    }

    void message(const message::Said& said);
    void fill(telltale_value& out, const message::Value& value);
    const telltale_value& known(const message::Value& value);
    int tell_own(const telltale_event& event) { return answer(listener_(user_, &event)); }
    int emit(int kind, Time time);
    template <class T>
    void emit(int kind, const T* telltale_event::*part, const T* what, Time time) {
        event_.*part = what;
        emit(kind, time);
        event_.*part = nullptr;
    }
    void code(const message::Said& said, telltale_dtc& dtc, message::Dtc first);
    void trouble(const Problem& problem);

    UnitSystem units_;
    const catalogue::Extension* extension_;
    Known* known_;
    telltale_listener listener_ = nullptr;
    void* user_ = nullptr;
    const dump::Reader* reader_ = nullptr;
    std::shared_ptr<SharedPicture> shared_;
    bool mute_ = false;
    bool wanted_ = true;         ///< the values of the message at hand are, by the listener
    bool picture_wants_ = false; ///< by the picture
    bool stopped_ = false;

    Arena arena_;
    Node* first_ = nullptr;
    Node* last_ = nullptr;
    telltale_message* message_ = nullptr;

    telltale_event event_{}; ///< its parts are null between two events
    // for a listener: of a message and of its values, so that little is to be set each time
    telltale_event of_message_{};
    telltale_event value_event_{};
    const UnitTexts& units_text_;

    // for a listener: used again and again
    telltale_message own_message_{};
    telltale_value own_value_{};
    telltale_dtc own_dtc_{};
    telltale_problem own_problem_{};
    telltale_frame own_frame_{};
    Kept slots_[slots];
    Kept line_slot_;
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
};
/// TELLTALE_OK, or fills the error.
int read_options(const telltale_options* from, Settings& out, telltale_error* error);
/// Of them, units and extension alone, without taking memory.
int read_few_options(const telltale_options* from, UnitSystem& units,
                     const catalogue::Extension*& extension);

} // namespace telltale::c
