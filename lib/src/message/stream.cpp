// SPDX-License-Identifier: Apache-2.0
#include "telltale/message/stream.hpp"

#include <algorithm>
#include <bit>
#include <limits>
#include <vector>

#include "decoder.hpp"
#include "old_lines.hpp"

namespace telltale::message {

namespace {

/// Who answers: an identifier of a line, or the nameless one of dumps without identifiers.
struct Speaker {
    bool has_id = false;
    std::uint16_t line = 0;
    CanId id;
    friend bool operator==(const Speaker&, const Speaker&) = default;
};

/// The speakers seen so far and what is known of each; a fixed number of places. The last place is
/// for all that have none of their own, and remembers nothing from one message to the next, so that
/// nothing that one ECU said is applied to another.
class Speakers {
  public:
    explicit Speakers(std::size_t most)
        : most_(std::clamp<std::size_t>(most, 1, nowhere)),
          buckets_(std::bit_ceil(2 * most_), nowhere) {
        speakers_.reserve(most_);
        contexts_.reserve(most_);
    }

    std::uint32_t index(const Speaker& speaker) {
        if (latest_ < speakers_.size() && speakers_[latest_] == speaker)
            return latest_; // mostly the one that spoke before
        const std::size_t mask = buckets_.size() - 1;
        std::size_t at = hash(speaker) & mask;
        while (buckets_[at] != nowhere) {
            if (speakers_[buckets_[at]] == speaker)
                return latest_ = buckets_[at];
            at = (at + 1) & mask;
        }
        const auto size = static_cast<std::uint32_t>(speakers_.size());
        if (size + 1 >= most_) { // only the shared place is left
            if (size < most_)
                add({});
            contexts_.back() = {};
            return static_cast<std::uint32_t>(most_ - 1);
        }
        buckets_[at] = size;
        add(speaker);
        return latest_ = size;
    }

    std::size_t size() const { return contexts_.size(); }
    EcuContext& context(std::uint32_t i) { return contexts_[i]; }

  private:
    static constexpr std::uint32_t nowhere = std::numeric_limits<std::uint32_t>::max();

    static std::size_t hash(const Speaker& speaker) {
        const std::uint64_t packed = std::uint64_t{speaker.id.value} << 32 |
                                     std::uint64_t{speaker.line} << 2 |
                                     (speaker.id.extended ? 2U : 0U) | (speaker.has_id ? 1U : 0U);
        return static_cast<std::size_t>(packed * 0x9E37'79B9'7F4A'7C15U >> 32);
    }

    void add(const Speaker& speaker) {
        speakers_.push_back(speaker);
        contexts_.emplace_back();
    }

    std::size_t most_;
    std::vector<std::uint32_t> buckets_;
    std::vector<Speaker> speakers_;
    std::vector<EcuContext> contexts_;
    std::uint32_t latest_ = nowhere;
};

/// Takes what a message tells when nobody wants it: the context is still brought up to date.
class Nobody final : public Sink {
  public:
    void value(const Value&) override {}
    void dtc(Dtc) override {}
    void problem(const Problem&) override {}
};

/// Hands what decoding tells to a listener, with the message it came from.
class ToListener final : public Sink {
  public:
    ToListener(const Said& said, Listener& listener) : said_(said), listener_(listener) {}
    void value(const Value& value) override { listener_.value(said_, value); }
    void dtc(Dtc code) override { listener_.dtc(said_, code); }
    void dtc3(const DtcRecord& record) override { listener_.dtc3(said_, record); }
    void problem(const Problem& problem) override {
        Problem placed = problem;
        placed.place = said_.place;
        placed.time = said_.time;
        listener_.message_problem(said_, placed);
    }

  private:
    const Said& said_;
    Listener& listener_;
};

/// True when a response may change what is known of its ECU. Most messages of a recorded drive hold
/// one PID that cannot, and need not be decoded when nobody wants their values.
bool may_teach(const Said& said) {
    if (said.header.kind != Kind::response)
        return false;
    if (said.header.service != 0x01 || said.bytes.size() < 2)
        return true;
    const std::uint8_t id = said.bytes[1];
    const catalogue::Row* row = catalogue::pid(id);
    const bool alone = row != nullptr && said.bytes.size() == 2U + row->length;
    return !alone || detail::is_support_id(id) || id == 0x4F || id == 0x50;
}

Said said_of(const isotp::Message& message) {
    Said said;
    said.has_id = true;
    said.id = message.id;
    said.has_line = true;
    said.line = message.line;
    said.time = message.time;
    said.end_time = message.end_time;
    said.place = message.place;
    said.frames = message.frames;
    said.bytes = message.bytes;
    return said;
}

} // namespace

class Stream::Impl {
  public:
    explicit Impl(const StreamOptions& options)
        : filter_(options.filter), reassembler_(options.isotp), speakers_(options.max_ecus),
          extension_(options.extension) {}

    void can(std::uint16_t line, const CanFrame& frame, Time time, Place place,
             Listener& listener) {
        if (!filter_.passes(frame.id))
            return;
        FromFrames sink{*this, listener};
        reassembler_.feed(line, frame, time, place, sink);
    }

    void kline(std::uint16_t line, Bytes frame, Time time, Place place, Listener& listener) {
        FromOldLines sink{*this, listener};
        old_lines_.kline(heard(line, frame, time, place), sink);
    }

    void j1850(std::uint16_t line, Bytes frame, Time time, Place place, Listener& listener) {
        FromOldLines sink{*this, listener};
        old_lines_.j1850(heard(line, frame, time, place), sink);
    }

    void finish(Listener& listener) {
        FromFrames sink{*this, listener};
        reassembler_.finish(sink);
        FromOldLines old_sink{*this, listener};
        old_lines_.finish(old_sink);
    }

    void whole(Said& said, Listener& listener, bool pre_can = false) {
        const Role role = said.has_id ? role_of(said.id) : Role::unknown;
        const ProblemCode code = read_header(said.bytes, role, said.header, extension_);
        said.header.pre_can = pre_can;
        if (code != ProblemCode::none)
            return listener.problem(header_problem(code, said), said);
        EcuContext* context = nullptr;
        if (said.header.kind != Kind::request) {
            said.ecu = speakers_.index({said.has_id, said.line, said.id});
            context = &speakers_.context(said.ecu);
        }
        DecodeOptions options;
        if (extension_ != nullptr) {
            options.extension = extension_;
            options.ecu = ecu_of(said);
        }
        if (listener.begin(said)) {
            options.plain = listener.plain();
            ToListener sink{said, listener};
            decode(said.bytes, said.header, context, sink, options);
        } else if (may_teach(said)) {
            Nobody nobody;
            decode(said.bytes, said.header, context, nobody, options);
        }
        listener.end(said);
    }

    Speakers& speakers() { return speakers_; }

  private:
    /// From the reassembler to the listener.
    class FromFrames final : public isotp::Sink {
      public:
        FromFrames(Impl& stream, Listener& listener) : stream_(stream), listener_(listener) {}
        void message(const isotp::Message& message) override {
            Said said = said_of(message);
            stream_.whole(said, listener_);
        }
        void problem(const Problem& problem, const isotp::Message& about) override {
            listener_.problem(problem, said_of(about));
        }
        void flow_control(const isotp::FlowControl& control, const isotp::Message& about) override {
            listener_.flow_control(control, said_of(about));
        }

      private:
        Impl& stream_;
        Listener& listener_;
    };

    /// From the older lines to the listener.
    class FromOldLines final : public detail::OldLines::Sink {
      public:
        FromOldLines(Impl& stream, Listener& listener) : stream_(stream), listener_(listener) {}
        void message(Said& said) override { stream_.whole(said, listener_, true); }
        void problem(const Problem& problem, const Said& about) override {
            listener_.problem(problem, about);
        }

      private:
        Impl& stream_;
        Listener& listener_;
    };

    /// The ECU that answers, or that is asked for its own; 0: not known.
    static catalogue::EcuName ecu_of(const Said& said) {
        if (!said.has_id || is_functional(said.id))
            return 0;
        const CanId id = said.header.kind == Kind::request ? partner_of(said.id) : said.id;
        return catalogue::ecu_name(id.value, id.extended);
    }

    static Said heard(std::uint16_t line, Bytes frame, Time time, Place place) {
        Said said;
        said.has_line = true;
        said.line = line;
        said.time = said.end_time = time;
        said.place = place;
        said.bytes = frame;
        return said;
    }

    static Problem header_problem(ProblemCode code, const Said& said) {
        Problem problem{code, said.place, said.time, 0, 0};
        switch (code) {
        case ProblemCode::message_cut:
            problem.a = said.bytes[0];
            problem.b = said.bytes.size() - 1;
            break;
        case ProblemCode::unknown_service:
            problem.a = said.header.service;
            break;
        case ProblemCode::unexpected_direction:
            problem.a = said.bytes[0];
            break;
        default:
            break;
        }
        return problem;
    }

    CanFilter filter_;
    isotp::Reassembler reassembler_;
    detail::OldLines old_lines_;
    Speakers speakers_;
    const catalogue::Extension* extension_;
};

Stream::Stream(const StreamOptions& options) : impl_(std::make_unique<Impl>(options)) {}
Stream::Stream(Stream&&) noexcept = default;
Stream& Stream::operator=(Stream&&) noexcept = default;
Stream::~Stream() = default;

void Stream::can(std::uint16_t line, const CanFrame& frame, Time time, Place place,
                 Listener& listener) {
    impl_->can(line, frame, time, place, listener);
}

void Stream::message(Bytes bytes, Time time, Place place, Listener& listener) {
    Said said;
    said.time = said.end_time = time;
    said.place = place;
    said.bytes = bytes;
    impl_->whole(said, listener);
}

void Stream::message(std::uint16_t line, CanId id, Bytes bytes, Time time, Place place,
                     Listener& listener) {
    Said said;
    said.has_id = true;
    said.id = id;
    said.has_line = true;
    said.line = line;
    said.time = said.end_time = time;
    said.place = place;
    said.bytes = bytes;
    impl_->whole(said, listener);
}

void Stream::kline(std::uint16_t line, Bytes frame, Time time, Place place, Listener& listener) {
    impl_->kline(line, frame, time, place, listener);
}

void Stream::j1850(std::uint16_t line, Bytes frame, Time time, Place place, Listener& listener) {
    impl_->j1850(line, frame, time, place, listener);
}

void Stream::finish(Listener& listener) {
    impl_->finish(listener);
}

std::size_t Stream::ecus() const noexcept {
    return impl_->speakers().size();
}

const EcuContext& Stream::context(std::uint32_t ecu) const noexcept {
    return impl_->speakers().context(ecu);
}

} // namespace telltale::message
