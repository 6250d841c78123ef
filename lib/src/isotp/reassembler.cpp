// SPDX-License-Identifier: Apache-2.0
#include "telltale/isotp/reassembler.hpp"

#include <algorithm>
#include <bit>
#include <cstring>
#include <limits>
#include <new>
#include <vector>

#include "active.hpp"

namespace telltale::isotp {

using namespace active;

namespace {

using Index = std::uint32_t;
constexpr Index nowhere = std::numeric_limits<Index>::max();

/// Who sends: line, identifier, address byte. One session each.
struct Key {
    std::uint16_t line = 0;
    std::uint8_t address = 0;
    CanId id;
    friend bool operator==(const Key&, const Key&) = default;
};

std::size_t hash(const Key& key) {
    const std::uint64_t packed = std::uint64_t{key.id.value} << 32 | std::uint64_t{key.line} << 16 |
                                 std::uint64_t{key.address} << 8 | (key.id.extended ? 1U : 0U);
    return static_cast<std::size_t>(packed * 0x9E37'79B9'7F4A'7C15U >> 32);
}

/// A place in the table of sessions. It keeps its key and its buffer after a message is over.
struct Session {
    Key key;
    Index chain = nowhere; ///< next in the same bucket
    Index older = nowhere; ///< neighbours in the list of idle or of open sessions
    Index newer = nowhere;
    bool keyed = false;
    bool open = false;
    bool quiet = false;            ///< idle: consecutive frames pass in silence
    std::uint8_t sequence = 0;     ///< number of the next consecutive frame
    std::uint8_t frame_length = 0; ///< RX_DL: data length of the first frame
    std::uint32_t frames = 0;
    std::size_t length = 0;
    std::size_t filled = 0;
    std::size_t capacity = 0;
    std::unique_ptr<std::uint8_t[]> buffer;
    Time time = no_time;
    Time latest = no_time;
    Time waiting_since = no_time; ///< N_Cr runs from here
    Place place;
    Place latest_place;
};

/// The other side of an identifier. Mixed addressing has 29-bit identifiers of its own
/// (ISO 15765-2:2016, 10.3.5): 18CE, target, source.
CanId other_side(CanId id) {
    if (id.extended && (id.value & 0xFFFF0000) == 0x18CE0000)
        return CanId{(id.value & 0xFFFF0000) | (id.value & 0xFF) << 8 | (id.value >> 8 & 0xFF),
                     true};
    return partner_of(id);
}

} // namespace

class Reassembler::Impl {
  public:
    explicit Impl(const ReassemblerOptions& options)
        : options_(options), has_address_(options.addressing == Addressing::extended ||
                                          options.addressing == Addressing::mixed),
          longest_(std::min(options.max_message, options.max_bytes)),
          sessions_(std::clamp<std::size_t>(options.max_open, 1, nowhere - 1)),
          buckets_(std::bit_ceil(2 * sessions_.size()), nowhere) {
        for (Index i = 0; i < sessions_.size(); ++i)
            idle_.push(sessions_, i);
    }

    void feed(std::uint16_t line, const CanFrame& frame, Time time, Place place, Sink& sink) {
        if (frame.kind != CanKind::data)
            return;
        const Bytes whole = frame.data;
        Frame in{{line, 0, frame.id}, whole, whole, time, place};
        if (frame.fd ? !is_fd_length(whole.size()) : whole.size() > classic_length)
            return complain(in, ProblemCode::bad_length, whole.size(), 0, sink);
        if (has_address_ && !whole.empty()) {
            in.key.address = whole[0];
            in.data = whole.subspan(1);
        }
        if (in.data.empty())
            return complain(in, ProblemCode::frame_empty, 0, 0, sink);
        switch (in.data[0] >> 4) {
        case single:
            return on_single(in, sink);
        case first:
            return on_first(in, sink);
        case consecutive:
            return on_consecutive(in, sink);
        case flow:
            return on_flow(in, sink);
        default:
            return complain(in, ProblemCode::unknown_frame_type, in.data[0] >> 4U, 0, sink);
        }
    }

    void finish(Sink& sink) {
        while (open_.oldest != nowhere) {
            Session& session = sessions_[open_.oldest];
            close(open_.oldest, false);
            sink.problem({ProblemCode::message_unfinished, session.latest_place, session.latest,
                          session.filled, session.length},
                         about(session));
        }
        for (Session& session : sessions_) {
            session.keyed = session.quiet = false;
            session.chain = nowhere;
        }
        std::fill(buckets_.begin(), buckets_.end(), nowhere);
    }

    std::size_t open() const { return open_.count; }
    std::size_t bytes() const { return bytes_; }

  private:
    /// A frame on its way through: `data` from the N_PCI on.
    struct Frame {
        Key key;
        Bytes whole;
        Bytes data;
        Time time;
        Place place;
    };

    /// Sessions by when they were used last.
    struct List {
        Index oldest = nowhere;
        Index newest = nowhere;
        std::size_t count = 0;

        void push(std::vector<Session>& sessions, Index i) {
            sessions[i].older = newest;
            sessions[i].newer = nowhere;
            (newest == nowhere ? oldest : sessions[newest].newer) = i;
            newest = i;
            ++count;
        }
        void remove(std::vector<Session>& sessions, Index i) {
            const Session& s = sessions[i];
            (s.older == nowhere ? oldest : sessions[s.older].newer) = s.newer;
            (s.newer == nowhere ? newest : sessions[s.newer].older) = s.older;
            --count;
        }
    };

    // What is told

    Message about(const Session& session) const {
        Message out;
        out.line = session.key.line;
        out.id = session.key.id;
        out.has_address = has_address_;
        out.address = session.key.address;
        out.time = session.time;
        out.end_time = session.latest;
        out.place = session.place;
        out.frames = session.frames;
        out.bytes = Bytes{session.buffer.get(), session.filled};
        return out;
    }

    Message about(const Frame& in, Bytes bytes) const {
        Message out;
        out.line = in.key.line;
        out.id = in.key.id;
        out.has_address = has_address_;
        out.address = in.key.address;
        out.time = out.end_time = in.time;
        out.place = in.place;
        out.bytes = bytes;
        return out;
    }

    void complain(const Frame& in, ProblemCode code, std::uint64_t a, std::uint64_t b,
                  Sink& sink) const {
        sink.problem({code, in.place, in.time, a, b}, about(in, in.data));
    }

    /// Tells what broke the message of a session, and gives the message up.
    void give_up(Index i, const Frame& in, ProblemCode code, std::uint64_t a, std::uint64_t b,
                 bool quiet, Sink& sink) {
        close(i, quiet);
        sink.problem({code, in.place, in.time, a, b}, about(sessions_[i]));
    }

    // The table

    Index find(const Key& key) const {
        Index i = buckets_[hash(key) & (buckets_.size() - 1)];
        while (i != nowhere && sessions_[i].key != key)
            i = sessions_[i].chain;
        return i;
    }

    void unlink(Index i) {
        Index* at = &buckets_[hash(sessions_[i].key) & (buckets_.size() - 1)];
        while (*at != i)
            at = &sessions_[*at].chain;
        *at = sessions_[i].chain;
        sessions_[i].keyed = false;
    }

    /// The idle session that was used longest ago, given a new key; `nowhere` when all are open.
    Index take_idle(const Key& key) {
        const Index i = idle_.oldest;
        if (i == nowhere)
            return nowhere;
        Session& session = sessions_[i];
        if (session.keyed)
            unlink(i);
        Index& bucket = buckets_[hash(key) & (buckets_.size() - 1)];
        session.key = key;
        session.keyed = true;
        session.quiet = false;
        session.chain = bucket;
        bucket = i;
        return i;
    }

    void close(Index i, bool quiet) {
        open_.remove(sessions_, i);
        idle_.push(sessions_, i);
        sessions_[i].open = false;
        sessions_[i].quiet = quiet;
    }

    /// From now on consecutive frames of this sender pass in silence, if there is room to remember
    /// that.
    void hush(const Key& key) {
        Index i = find(key);
        if (i == nowhere)
            i = take_idle(key);
        if (i == nowhere)
            return;
        sessions_[i].quiet = true;
        idle_.remove(sessions_, i);
        idle_.push(sessions_, i);
    }

    // Buffers

    void release(Session& session) {
        bytes_ -= session.capacity;
        session.capacity = 0;
        session.buffer.reset();
    }

    /// Makes room for `length` bytes (at most `longest_`) in an idle session, at the cost of kept
    /// buffers first and of open messages then. False only when the system has no memory.
    bool reserve(Session& session, std::size_t length, const Frame& in, Sink& sink) {
        if (session.capacity >= length)
            return true;
        release(session);
        const std::size_t wanted =
            length > longest_ / 2
                ? longest_
                : std::min(std::bit_ceil(std::max<std::size_t>(length, 64)), longest_);
        while (wanted > options_.max_bytes - bytes_) {
            Index victim = idle_.oldest;
            while (victim != nowhere && sessions_[victim].capacity == 0)
                victim = sessions_[victim].newer;
            if (victim == nowhere) {
                victim = open_.oldest;
                give_up_oldest(in, sink);
            }
            release(sessions_[victim]);
        }
        session.buffer.reset(new (std::nothrow) std::uint8_t[wanted]);
        if (session.buffer == nullptr)
            return false;
        session.capacity = wanted;
        bytes_ += wanted;
        return true;
    }

    void give_up_oldest(const Frame& in, Sink& sink) {
        const Session& session = sessions_[open_.oldest];
        give_up(open_.oldest, in, ProblemCode::too_many_open, session.filled, session.length, true,
                sink);
    }

    // The frames

    /// A single or first frame ends what was open; false: nothing is known of the sender.
    void interrupt(const Frame& in, Sink& sink) {
        const Index i = find(in.key);
        if (i == nowhere)
            return;
        Session& session = sessions_[i];
        if (session.open)
            give_up(i, in, ProblemCode::message_interrupted, session.filled, session.length, false,
                    sink);
        session.quiet = false;
    }

    /// ISO 15765-2:2016, 9.6.2: SF_DL in the low nibble; in frames of more than 8 bytes that nibble
    /// is 0 and SF_DL is the byte after it, and the frame is the smallest that holds it.
    void on_single(const Frame& in, Sink& sink) {
        interrupt(in, sink);
        const std::size_t nibble = in.data[0] & 0xFU;
        const bool escaped = in.whole.size() > classic_length;
        if (escaped && nibble != 0)
            return complain(in, ProblemCode::single_frame_too_short, nibble, in.whole.size(), sink);
        const std::size_t length = escaped ? in.data[1] : nibble;
        const std::size_t head = escaped ? 2 : 1;
        const std::size_t room = in.data.size() - head;
        if (length == 0)
            return complain(in, ProblemCode::single_frame_empty, 0, room, sink);
        if (length > room)
            return complain(in, ProblemCode::single_frame_too_long, length, room, sink);
        if (escaped && !fills(in.whole.size(), length + in.whole.size() - room))
            return complain(in, ProblemCode::single_frame_too_short, length, in.whole.size(), sink);
        sink.message(about(in, in.data.subspan(head, length)));
    }

    /// Whether an FD frame of more than 8 bytes is the smallest that holds `used` bytes, which do
    /// not fit a single frame of 8 bytes. (A frame of 8 bytes has one byte of N_PCI less.)
    static bool fills(std::size_t frame, std::size_t used) {
        return used - 1 > classic_length && fd_length_for(used) == frame;
    }

    /// ISO 15765-2:2016, 9.6.3: FF_DL in 12 bits, or 0 there and FF_DL in the 32 bits that follow.
    void on_first(const Frame& in, Sink& sink) {
        interrupt(in, sink);
        if (in.whole.size() < classic_length) {
            hush(in.key);
            return complain(in, ProblemCode::first_frame_cut, in.whole.size(), classic_length,
                            sink);
        }
        std::uint64_t length = big_endian(in.data, 0, 2) & 0xFFF;
        std::size_t head = 2;
        // What a single frame of this frame length would have carried is no first frame
        // (9.6.3.1, FF_DLmin).
        const std::size_t single_head = in.whole.size() > classic_length ? 2 : 1;
        std::uint64_t least = in.data.size() - single_head + 1;
        if (length == 0) {
            length = big_endian(in.data, 2, 4);
            head = 6;
            least = longest_short_length + 1;
        }
        if (length < least) {
            hush(in.key);
            return complain(in, ProblemCode::first_frame_too_short, length, least, sink);
        }
        if (length > longest_) {
            hush(in.key);
            return complain(in, ProblemCode::message_over_bound, length, longest_, sink);
        }
        Index i = find(in.key);
        if (i == nowhere) {
            if (idle_.oldest == nowhere)
                give_up_oldest(in, sink);
            i = take_idle(in.key);
        }
        Session& session = sessions_[i];
        if (!reserve(session, static_cast<std::size_t>(length), in, sink)) {
            hush(in.key);
            return complain(in, ProblemCode::message_over_bound, length, 0, sink);
        }
        idle_.remove(sessions_, i);
        open_.push(sessions_, i);
        const Bytes data = in.data.subspan(head);
        session.open = true;
        session.sequence = 1;
        session.frame_length = static_cast<std::uint8_t>(in.whole.size());
        session.frames = 1;
        session.length = static_cast<std::size_t>(length);
        session.filled = data.size();
        session.time = session.latest = session.waiting_since = in.time;
        session.place = session.latest_place = in.place;
        std::memcpy(session.buffer.get(), data.data(), data.size());
    }

    /// ISO 15765-2:2016, 9.6.4.
    void on_consecutive(const Frame& in, Sink& sink) {
        const std::uint8_t number = in.data[0] & 0xF;
        const Index i = find(in.key);
        if (i == nowhere || !sessions_[i].open) {
            if (i != nowhere && sessions_[i].quiet)
                return;
            hush(in.key);
            return complain(in, ProblemCode::consecutive_unexpected, 0, number, sink);
        }
        Session& session = sessions_[i];
        if (number != session.sequence) {
            // 1 comes first, so nothing can have been repeated before it
            const bool repeated = session.frames > 1 && number == ((session.sequence - 1) & 0xF);
            return give_up(
                i, in, repeated ? ProblemCode::consecutive_repeated : ProblemCode::consecutive_lost,
                session.sequence, number, true, sink);
        }
        if (in.time != no_time && session.waiting_since != no_time &&
            in.time > session.waiting_since) {
            const std::uint64_t waited = static_cast<std::uint64_t>(in.time) -
                                         static_cast<std::uint64_t>(session.waiting_since);
            const auto allowed = static_cast<std::uint64_t>(std::max<Time>(options_.n_cr, 0));
            if (waited > allowed)
                return give_up(i, in, ProblemCode::consecutive_late, waited, allowed, true, sink);
        }
        const std::size_t left = session.length - session.filled;
        const Bytes data = in.data.subspan(1);
        if (in.whole.size() > session.frame_length)
            return give_up(i, in, ProblemCode::consecutive_too_long, session.frame_length,
                           in.whole.size(), true, sink);
        // Every frame but the last is as long as the first.
        const std::size_t due =
            std::min<std::size_t>(left, session.frame_length - 1U - (has_address_ ? 1U : 0U));
        if (data.size() < due)
            return give_up(i, in, ProblemCode::consecutive_cut, due, data.size(), true, sink);
        std::memcpy(session.buffer.get() + session.filled, data.data(), due);
        session.filled += due;
        session.sequence = (session.sequence + 1) & 0xF;
        ++session.frames;
        session.latest = session.waiting_since = in.time;
        session.latest_place = in.place;
        if (session.filled < session.length) {
            open_.remove(sessions_, i);
            open_.push(sessions_, i);
            return;
        }
        close(i, false);
        sink.message(about(session));
    }

    /// ISO 15765-2:2016, 9.6.5.
    void on_flow(const Frame& in, Sink& sink) {
        const std::uint8_t status = in.data[0] & 0xF;
        if (in.data.size() < 3 || status > 2)
            return complain(in, ProblemCode::flow_control_bad, status, in.data.size(), sink);
        FlowControl control;
        control.status = static_cast<FlowControl::Status>(status);
        control.block_size = in.data[1];
        control.st_min = in.data[2];
        sink.flow_control(control, about(in, in.data));
        const Index i = partner(in.key);
        if (i == nowhere || !sessions_[i].open)
            return;
        Session& session = sessions_[i];
        if (control.status == FlowControl::Status::overflow)
            return give_up(i, in, ProblemCode::flow_control_overflow, session.filled,
                           session.length, true, sink);
        session.waiting_since = in.time;
    }

    /// The session that flow control of `key` speaks to.
    Index partner(const Key& key) const {
        const CanId id = other_side(key.id);
        if (id == key.id)
            return nowhere;
        if (options_.addressing != Addressing::extended)
            return find({key.line, key.address, id});
        Index found = nowhere;
        for (Index i = open_.oldest; i != nowhere; i = sessions_[i].newer) {
            if (sessions_[i].key.line != key.line || sessions_[i].key.id != id)
                continue;
            if (found != nowhere)
                return nowhere;
            found = i;
        }
        return found;
    }

    ReassemblerOptions options_;
    bool has_address_;
    std::size_t longest_;
    std::vector<Session> sessions_;
    std::vector<Index> buckets_;
    List idle_;
    List open_;
    std::size_t bytes_ = 0;
};

Reassembler::Reassembler(const ReassemblerOptions& options)
    : impl_(std::make_unique<Impl>(options)) {}
Reassembler::Reassembler(Reassembler&&) noexcept = default;
Reassembler& Reassembler::operator=(Reassembler&&) noexcept = default;
Reassembler::~Reassembler() = default;

void Reassembler::feed(std::uint16_t line, const CanFrame& frame, Time time, Place place,
                       Sink& sink) {
    impl_->feed(line, frame, time, place, sink);
}
void Reassembler::finish(Sink& sink) {
    impl_->finish(sink);
}
std::size_t Reassembler::open() const noexcept {
    return impl_->open();
}
std::size_t Reassembler::bytes() const noexcept {
    return impl_->bytes();
}

} // namespace telltale::isotp
