// SPDX-License-Identifier: Apache-2.0
#include "telltale/vet/offline.hpp"

#include <algorithm>
#include <array>
#include <bit>
#include <numeric>
#include <optional>
#include <string_view>
#include <unordered_map>
#include <utility>

#include "telltale/base/hex.hpp"
#include "telltale/base/number.hpp"
#include "telltale/vet/known_text.hpp"

namespace telltale::vet {

namespace {

/// A frame with its bytes and its time.
struct Seen {
    KnownFrame frame;
    Time time = no_time;
};

bool same_bytes(Bytes a, Bytes b) {
    return std::equal(a.begin(), a.end(), b.begin(), b.end());
}

/// In how many bits of what both have.
unsigned differing_bits(Bytes a, Bytes b) {
    unsigned bits = 0;
    for (std::size_t i = 0; i < std::min(a.size(), b.size()); ++i)
        bits += static_cast<unsigned>(std::popcount(static_cast<unsigned>(a[i] ^ b[i])));
    return bits;
}

constexpr std::uint32_t key_of(CanId id) {
    return id.value | (id.extended ? 0x8000'0000U : 0U);
}

std::uint64_t hash_of(Bytes bytes) {
    std::uint64_t hash = 0xCBF2'9CE4'8422'2325U ^ bytes.size(); // FNV-1a
    for (const std::uint8_t byte : bytes)
        hash = (hash ^ byte) * 0x100'0000'01B3U;
    return hash;
}

/// What of a frame is not as it was sent.
struct Damage {
    bool identifier = false;
    bool kind = false; ///< data or remote, FD, BRS
    bool length = false;
    bool data = false;
    bool any() const { return identifier || kind || length || data; }
};

Damage damage_of(const KnownFrame& known, const CanFrame& came) {
    Damage damage;
    damage.identifier = known.id != came.id;
    damage.kind = known.kind != came.kind || known.fd != came.fd ||
                  known.bit_rate_switch != came.bit_rate_switch;
    if (known.kind == CanKind::remote && came.kind == CanKind::remote)
        damage.length = known.remote_length != came.remote_length;
    else if (known.kind == came.kind)
        damage.length = known.size != came.data.size();
    damage.data = differing_bits(known.bytes(), came.data) != 0;
    return damage;
}

/// Whether what came can be the known frame, damaged; taken from near its place in the list.
bool plausible(const KnownFrame& known, const CanFrame& came) {
    const Bytes sent = known.bytes();
    const std::size_t both = std::min(sent.size(), came.data.size());
    if (known.id == came.id) {
        // All of it differs only in what is not one and the same frame any more.
        std::size_t equal = 0;
        for (std::size_t i = 0; i < both; ++i)
            equal += sent[i] == came.data[i] ? 1 : 0;
        const unsigned bits = differing_bits(sent, came.data);
        if (sent.size() != came.data.size() && known.kind == came.kind)
            return bits <= 2; // cut or filled up, but hardly otherwise harmed as well
        return both <= 2 || 2 * equal >= both || bits <= 8;
    }
    // Another identifier: then the rest has to speak for it.
    const bool truncated =
        known.id.extended != came.id.extended &&
        (known.id.value & CanId::max_standard) == (came.id.value & CanId::max_standard);
    if (truncated)
        return same_bytes(sent, came.data) && known.remote_length == came.remote_length;
    return both >= 4 && same_bytes(sent.first(both), came.data.first(both));
}

void append_bits(std::string& out, std::uint32_t mask, unsigned most) {
    bool first = true;
    for (unsigned bit = 0; bit < most; ++bit) {
        if ((mask >> bit & 1) == 0)
            continue;
        out += first ? "" : ", ";
        append_integer(out, std::uint64_t{bit});
        first = false;
    }
}

void append_count(std::string& out, std::uint64_t count, std::string_view one,
                  std::string_view many) {
    std::array<char, 24> digits{};
    std::size_t at = digits.size();
    std::uint64_t rest = count;
    unsigned written = 0;
    do {
        if (written != 0 && written % 3 == 0)
            digits[--at] = ',';
        digits[--at] = static_cast<char>('0' + rest % 10);
        rest /= 10;
        ++written;
    } while (rest != 0);
    out.append(digits.data() + at, digits.size() - at);
    out += ' ';
    out += count == 1 ? one : many;
}

std::string with_count(std::uint64_t count, std::string_view one, std::string_view many) {
    std::string out;
    append_count(out, count, one, many);
    return out;
}

/// A row in the making.
struct Row {
    std::uint64_t wrong = 0;
    std::vector<Example> examples;
    std::string first; ///< the first fault, in words

    void add(Example example) {
        ++wrong;
        if (first.empty())
            first = example.what;
        if (examples.size() < Check::most_examples)
            examples.push_back(std::move(example));
    }
    bool full() const { return examples.size() >= Check::most_examples; }
};

struct GroupCount {
    std::uint64_t due = 0;
    std::uint64_t whole = 0;
    std::uint64_t changed = 0;
    std::uint64_t lost = 0;
    Row lost_row;
};

/// Where a known frame stands in the list, by all of it, by its identifier and by its data.
class Index {
  public:
    explicit Index(const KnownFrames& known) {
        for (std::size_t i = 0; i < known.frames.size(); ++i) {
            const KnownFrame& frame = known.frames[i];
            const auto at = static_cast<std::uint32_t>(i);
            by_id_[key_of(frame.id)].push_back(at);
            by_all_[hash_of(frame.bytes()) + key_of(frame.id)].push_back(at);
            if (frame.size >= 4)
                by_data_[hash_of(frame.bytes())].push_back(at);
            if (frame.id.extended)
                by_rest_[frame.id.value & CanId::max_standard].push_back(at);
        }
    }
    using Places = std::vector<std::uint32_t>;
    const Places& with_id(CanId id) const { return find(by_id_, key_of(id)); }
    const Places& with_all(CanId id, Bytes data) const {
        return find(by_all_, hash_of(data) + key_of(id));
    }
    const Places& with_data(Bytes data) const {
        return data.size() < 4 ? none_ : find(by_data_, hash_of(data));
    }
    /// Those of 29 bits that become this one when only 11 of them are left.
    const Places& with_rest(CanId id) const {
        return id.extended ? none_ : find(by_rest_, id.value);
    }

  private:
    template <class Map, class Key> const Places& find(const Map& map, Key key) const {
        const auto found = map.find(key);
        return found == map.end() ? none_ : found->second;
    }
    Places none_;
    std::unordered_map<std::uint32_t, Places> by_id_;
    std::unordered_map<std::uint64_t, Places> by_all_;
    std::unordered_map<std::uint64_t, Places> by_data_;
    std::unordered_map<std::uint32_t, Places> by_rest_;
};

/// One interface and direction of the dump, held against the list as it comes.
///
/// `next_` is the frame of the list that is due next, counted on over the rounds. Behind it lies a
/// window of frames that came, came changed, or are missing so far. A frame that is due is taken
/// at once; one that is a little ahead makes those before it missing; one that is behind was late
/// (it was missing) or came twice. What is far away must be borne out by what follows it
/// (`trail_`): so the place in the list is found at first, and again after a long loss. Frames that
/// are known only in part and not due wait (`strangers_`) until a frame that is missing leaves the
/// window and asks whether they were it.
class Aligner {
  public:
    Aligner(const KnownFrames& known, const Index& index, const OfflineOptions& options)
        : known_(known), index_(index), options_(options), size_(known.frames.size()),
          reach_(std::clamp<std::uint64_t>((size_ - 1) / 2, 1, 256)), slots_(reach_),
          groups_(known.groups.size()) {}

    void frame(const CanFrame& frame, Time time) {
        stamp(time);
        if (frame.kind == CanKind::error) {
            ++summary.errors;
            return;
        }
        ++summary.frames;
        place(Seen{keep(frame), time});
    }

    void finish() {
        if (!synced_ && trail_weight_ >= 2 && !trail_.empty())
            confirm(); // so short a dump that nothing bears it out
        for (const Seen& left : trail_)
            stranger(left);
        trail_.clear();
        if (synced_) {
            if (options_.rounds != 0) {
                const std::uint64_t all = options_.rounds * size_;
                // The first frame that came may stand anywhere in the list; before it is round 1.
                for (std::uint64_t at = 0; at < first_; ++at)
                    lost(at);
                while (next_ < all && (all - next_) % size_ != 0)
                    advance();
                if (next_ < all)
                    lost_rounds((all - next_) / size_);
            }
            for (std::uint64_t at = next_ - std::min(next_ - first_, reach_); at < next_; ++at)
                leave(at);
        }
        summary.first = first_ % size_;
        for (const Waiting& left : strangers_)
            unclaimed(left.seen);
        summary.resolution = resolution_;
    }

    DumpVetting::Summary summary;
    Row twice_row, order_row, identifier_row, kind_row, length_row, data_row, back_row;

    const std::vector<GroupCount>& groups() const { return groups_; }
    /// What is lost of the groups that are judged.
    Row lost_row(const std::vector<bool>& judged) const {
        Row all;
        for (std::size_t i = 0; i < groups_.size(); ++i) {
            const Row& row = groups_[i].lost_row;
            if (!judged[i])
                continue;
            for (const Example& example : row.examples)
                all.add(example);
            all.wrong += row.wrong - row.examples.size();
        }
        return all;
    }
    std::uint64_t stamps() const { return stamps_; }
    Time start() const { return start_; }

  private:
    enum class State : std::uint8_t { missing, whole, changed };
    struct Slot {
        State state = State::missing;
        bool late = false;
        Seen seen; ///< when changed
    };
    struct Waiting {
        Seen seen;
        std::uint64_t at = 0; ///< `next_` when it came
    };
    static constexpr std::size_t most_strangers = 256;
    static constexpr std::uint64_t near = 16;
    static constexpr std::size_t longest_trail = 8;

    const KnownFrame& known_at(std::uint64_t at) const { return known_.frames[at % size_]; }
    Slot& slot(std::uint64_t at) { return slots_[at % reach_]; }
    bool in_window(std::uint64_t at) const {
        return at >= first_ && at < next_ && next_ - at <= reach_;
    }
    Time since_start(Time time) const {
        return time == no_time || start_ == no_time ? no_time : time - start_;
    }

    void stamp(Time time) {
        if (time == no_time)
            return;
        ++stamps_;
        if (start_ == no_time) {
            start_ = last_time_ = time;
            return;
        }
        if (time < last_time_) {
            ++summary.back;
            std::string by = "steps back by ";
            append_seconds(by, last_time_ - time);
            Example example;
            example.time = since_start(time);
            example.what = by + " s";
            back_row.add(std::move(example));
        }
        resolution_ =
            std::gcd(resolution_, time > last_time_ ? time - last_time_ : last_time_ - time);
        last_time_ = time;
    }

    /// The place of it nearest to what is due: at or after `next_`, or in the window behind it.
    std::optional<std::uint64_t> nearest(const Seen& seen) {
        std::optional<std::uint64_t> best;
        unsigned best_rank = 4;
        for (const std::uint32_t place : index_.with_all(seen.frame.id, seen.frame.bytes())) {
            if (!same_frame(known_.frames[place], seen.frame.view()))
                continue;
            const std::uint64_t ahead = ahead_of(place);
            const std::uint64_t behind = next_ + ahead < size_ ? next_ : next_ + ahead - size_;
            const bool is_behind = synced_ && in_window(behind);
            const unsigned rank = synced_ && ahead == 0                                     ? 0
                                  : is_behind && slot(behind).state != State::whole         ? 1
                                  : synced_ && ahead < std::min(near, reach_) && !is_behind ? 2
                                  : is_behind                                               ? 3
                                                                                            : 4;
            if (!best || rank < best_rank) {
                best = rank == 1 || rank == 3 ? behind : next_ + ahead;
                best_rank = rank;
            }
        }
        return best;
    }
    std::uint64_t ahead_of(std::uint64_t place) const {
        return (place + size_ - next_ % size_) % size_;
    }

    /// The place of a damaged frame nearest ahead.
    std::optional<std::uint64_t> nearest_damaged(const Seen& seen) {
        std::optional<std::uint64_t> best;
        const auto look = [&](const Index::Places& places) {
            for (const std::uint32_t place : places) {
                const std::uint64_t at = next_ + ahead_of(place);
                if ((!best || at < *best) && plausible(known_.frames[place], seen.frame.view()))
                    best = at;
            }
        };
        look(index_.with_id(seen.frame.id));
        look(index_.with_data(seen.frame.bytes()));
        look(index_.with_rest(seen.frame.id));
        return best;
    }

    void place(const Seen& seen) {
        const auto exact = nearest(seen);
        if (!exact)
            return place_damaged(seen);
        const std::uint64_t at = *exact;
        if (synced_ && at >= next_ && at - next_ < std::min(near, reach_)) {
            while (next_ < at)
                advance();
            advance();
            slot(at).state = State::whole;
            ++summary.found;
            drop_trail();
            return;
        }
        if (synced_ && in_window(at)) {
            Slot& there = slot(at);
            if (there.state == State::whole && next_ - at > near)
                return follow(seen, at, 2); // twice; or nearly a round is lost
            if (there.state == State::whole) {
                ++summary.twice;
                note(twice_row, at, seen, "twice");
                return;
            }
            if (there.state == State::changed) // it was another one, then
                stranger(there.seen);
            else
                there.late = at + 1 != next_ || there.late;
            there.state = State::whole;
            ++summary.found;
            if (there.late) {
                ++summary.late;
                note(order_row, at, seen, "out of order");
            }
            return;
        }
        follow(seen, at, 2);
    }

    void place_damaged(const Seen& seen) {
        const auto damaged = nearest_damaged(seen);
        if (!damaged) {
            ++summary.foreign;
            return;
        }
        if (synced_) {
            if (*damaged == next_) {
                const std::uint64_t at = next_;
                advance();
                Slot& there = slot(at);
                there.state = State::changed;
                there.seen = seen;
                drop_trail();
                return;
            }
            // The same damage once more.
            if (next_ > first_) {
                const Slot& before = slot(next_ - 1);
                if (before.state == State::changed &&
                    same_frame(before.seen.frame, seen.frame.view())) {
                    ++summary.twice;
                    note(twice_row, next_ - 1, seen, "twice");
                    return;
                }
            }
            const std::uint64_t ahead = *damaged - next_;
            if (ahead < reach_ || size_ - ahead <= reach_)
                return stranger(seen);
        }
        follow(seen, *damaged, 1);
    }

    /// Frames that are far from what is due: when they go on as the list does, this is the place.
    void follow(const Seen& seen, std::uint64_t at, unsigned weight) {
        const std::uint64_t place = at % size_;
        if (!trail_.empty()) {
            const std::uint64_t on = (place + size_ - trail_place_) % size_;
            if (on > std::min<std::uint64_t>(8, reach_)) {
                for (const Seen& left : trail_)
                    stranger(left);
                trail_.clear();
            }
        }
        if (trail_.empty()) {
            trail_start_ = place;
            trail_weight_ = 0;
        }
        trail_.push_back(seen);
        if (place != trail_place_ || trail_weight_ == 0)
            trail_weight_ += weight;
        trail_place_ = place;
        if (trail_weight_ >= 4 || (size_ < 2 && trail_weight_ >= 2))
            confirm();
        else if (trail_.size() == longest_trail)
            drop_trail();
    }

    void confirm() {
        std::vector<Seen> trail;
        trail.swap(trail_);
        if (!synced_) {
            synced_ = true;
            next_ = first_ = trail_start_;
        } else {
            std::uint64_t gap = ahead_of(trail_start_);
            for (; gap > 0; --gap)
                advance();
        }
        for (const Seen& seen : trail)
            place(seen);
    }

    void drop_trail() {
        for (const Seen& left : trail_)
            stranger(left);
        trail_.clear();
    }

    void stranger(const Seen& seen) {
        if (strangers_.size() == most_strangers) {
            unclaimed(strangers_.front().seen);
            strangers_.erase(strangers_.begin());
        }
        strangers_.push_back({seen, next_});
    }

    /// Nobody asked for it: other traffic, or one more copy far from its place.
    void unclaimed(const Seen& seen) {
        for (const std::uint32_t place : index_.with_all(seen.frame.id, seen.frame.bytes()))
            if (synced_ && same_frame(known_.frames[place], seen.frame.view())) {
                ++summary.twice;
                return note(twice_row, place, seen, "twice");
            }
        ++summary.foreign;
    }

    /// The next frame of the list becomes one that is missing.
    void advance() {
        if (next_ - first_ >= reach_)
            leave(next_ - reach_);
        Slot& fresh = slot(next_);
        fresh.state = State::missing;
        fresh.late = false;
        ++next_;
    }

    /// A frame of the list leaves the window: what became of it is settled.
    void leave(std::uint64_t at) {
        Slot& there = slot(at);
        const KnownFrame& known = known_at(at);
        if (there.state == State::missing) {
            for (auto it = strangers_.begin(); it != strangers_.end(); ++it) {
                const std::uint64_t apart = it->at > at ? it->at - at : at - it->at;
                if (apart > reach_ || !plausible(known, it->seen.frame.view()))
                    continue;
                there.seen = it->seen;
                const bool early = it->at < at && at - it->at >= near;
                strangers_.erase(it);
                if (same_frame(known, there.seen.frame.view())) {
                    there.state = State::whole;
                    ++summary.found;
                    ++summary.late;
                    note(order_row, at, there.seen, early ? "too early" : "out of order");
                } else {
                    there.state = State::changed;
                }
                break;
            }
        }
        if (there.state == State::missing)
            return lost(at);
        ++summary.due;
        GroupCount& group = groups_[known.group];
        ++group.due;
        if (there.state == State::whole) {
            ++group.whole;
            return;
        }
        ++summary.found;
        ++summary.changed;
        ++group.changed;
        const Damage damage = damage_of(known, there.seen.frame.view());
        const auto tell = [&](bool is, Row& row) {
            if (is)
                note(row, at, there.seen,
                     row.full() && !row.first.empty() ? std::string{}
                                                      : difference(known, there.seen.frame.view()));
        };
        tell(damage.identifier, identifier_row);
        tell(damage.kind, kind_row);
        tell(damage.length, length_row);
        tell(damage.data, data_row);
    }

    void lost(std::uint64_t at) {
        const KnownFrame& known = known_at(at);
        ++summary.due;
        ++summary.lost;
        GroupCount& group = groups_[known.group];
        ++group.due;
        ++group.lost;
        if (group.lost_row.full()) {
            ++group.lost_row.wrong;
            return;
        }
        Example example;
        example.time = since_start(last_time_);
        example.sent = describe_frame(known.view());
        example.what = "lost";
        group.lost_row.add(std::move(example));
    }

    /// Whole rounds of the list.
    void lost_rounds(std::uint64_t rounds) {
        for (const KnownFrame& known : known_.frames) {
            GroupCount& group = groups_[known.group];
            group.due += rounds;
            group.lost += rounds;
            group.lost_row.wrong += rounds;
        }
        summary.due += rounds * size_;
        summary.lost += rounds * size_;
    }

    void note(Row& row, std::uint64_t at, const Seen& seen, std::string what) {
        if (row.full()) {
            ++row.wrong;
            return;
        }
        Example example;
        example.time = since_start(seen.time);
        example.sent = describe_frame(known_at(at).view());
        example.came = describe_frame(seen.frame.view());
        example.what = std::move(what);
        row.add(std::move(example));
    }

    const KnownFrames& known_;
    const Index& index_;
    OfflineOptions options_;
    std::uint64_t size_;
    std::uint64_t reach_;
    std::vector<Slot> slots_;
    std::vector<GroupCount> groups_;
    std::vector<Waiting> strangers_;
    std::vector<Seen> trail_;
    std::uint64_t trail_start_ = 0;
    std::uint64_t trail_place_ = 0;
    unsigned trail_weight_ = 0;
    bool synced_ = false;
    std::uint64_t first_ = 0;
    std::uint64_t next_ = 0;
    std::uint64_t stamps_ = 0;
    Time start_ = no_time;
    Time last_time_ = no_time;
    Time resolution_ = 0;
};

} // namespace

std::string difference(const KnownFrame& known, const CanFrame& came) {
    std::string out;
    const auto say = [&out](std::string_view what) {
        out += out.empty() ? "" : "; ";
        out += what;
    };
    if (known.id.extended != came.id.extended)
        say(known.id.extended ? "extended flag lost" : "extended flag set");
    const std::uint32_t shared =
        known.id.extended && came.id.extended ? CanId::max_extended : CanId::max_standard;
    if (const std::uint32_t bits = (known.id.value ^ came.id.value) & shared; bits != 0) {
        say("identifier bits ");
        append_bits(out, bits, 29);
    }
    if (known.kind != came.kind)
        say(known.kind == CanKind::remote ? "a remote frame became a data frame"
                                          : "a data frame became a remote frame");
    if (known.fd != came.fd)
        say(known.fd ? "a CAN FD frame became a classical one" : "a classical frame became CAN FD");
    if (known.bit_rate_switch != came.bit_rate_switch && known.fd == came.fd)
        say(known.bit_rate_switch ? "bit rate switch lost" : "bit rate switch set");
    if (known.kind == CanKind::remote && came.kind == CanKind::remote) {
        if (known.remote_length != came.remote_length)
            say("another length asked for");
        return out;
    }
    if (known.kind != came.kind)
        return out;
    const std::size_t both = std::min<std::size_t>(known.size, came.data.size());
    if (came.data.size() + 1 == known.size) {
        say("byte ");
        append_integer(out, std::uint64_t{known.size});
        out += " cut";
    } else if (came.data.size() < known.size) {
        say("bytes ");
        append_integer(out, std::uint64_t{both + 1});
        out += " to ";
        append_integer(out, std::uint64_t{known.size});
        out += " cut";
    } else if (came.data.size() > known.size) {
        say(with_count(came.data.size() - known.size, "byte added", "bytes added"));
    }
    unsigned shown = 0;
    for (std::size_t i = 0; i < both; ++i) {
        const auto bits = static_cast<std::uint32_t>(known.data[i] ^ came.data[i]);
        if (bits == 0)
            continue;
        if (++shown > 4) {
            out += " ...";
            break;
        }
        say("byte ");
        append_integer(out, static_cast<std::uint64_t>(i + 1));
        out += std::popcount(bits) == 1 ? " bit " : " bits ";
        append_bits(out, bits, 8);
    }
    return out;
}

class DumpVetting::Impl {
  public:
    Impl(const KnownFrames& known, const OfflineOptions& options)
        : known_(known), index_(known_), options_(options) {}

    void frame(std::uint16_t line, dump::Direction direction, const CanFrame& frame, Time time) {
        for (Part& part : parts_)
            if (part.line == line && part.direction == direction)
                return part.aligner->frame(frame, time);
        if (parts_.size() == most_parts || known_.frames.empty())
            return;
        parts_.push_back({line, direction, std::make_unique<Aligner>(known_, index_, options_)});
        parts_.back().aligner->frame(frame, time);
    }

    std::vector<Check> finish() {
        const Part* best = nullptr;
        for (Part& part : parts_) {
            part.aligner->finish();
            const std::uint64_t found = part.aligner->summary.found;
            if (best == nullptr || found > best->aligner->summary.found)
                best = &part;
        }
        std::vector<Check> checks;
        if (best != nullptr) {
            summary = best->aligner->summary;
            summary.line = best->line;
            summary.direction = best->direction;
            for (const Part& part : parts_)
                if (&part != best && part.aligner->summary.found > 0)
                    ++summary.others;
        }
        const Aligner* aligner =
            best != nullptr && summary.found > 0 ? best->aligner.get() : nullptr;
        judged_.assign(known_.groups.size(), true);
        if (aligner != nullptr)
            choose(*aligner);
        faults(checks, aligner);
        times(checks, aligner);
        groups(checks, aligner);
        return checks;
    }

    Summary summary;

  private:
    static constexpr std::size_t most_parts = 16;
    struct Part {
        std::uint16_t line = 0;
        dump::Direction direction = dump::Direction::unknown;
        std::unique_ptr<Aligner> aligner;
    };
    static constexpr const char* nothing_found = "not one known frame is in the dump";

    void faults(std::vector<Check>& checks, const Aligner* aligner) const {
        struct Kind {
            const char* id;
            const char* title;
            const char* basis;
            const Row* row;
            const char* one;
            const char* many;
        };
        const Row lost = aligner == nullptr ? Row{} : aligner->lost_row(judged_);
        const auto row_of = [aligner](Row Aligner::*row) {
            return aligner == nullptr ? nullptr : &(aligner->*row);
        };
        const std::array<Kind, 7> kinds{{
            {"dump-lost", "Every frame is there", "common practice", &lost, "frame is lost",
             "frames are lost"},
            {"dump-twice", "No frame comes twice", "common practice", row_of(&Aligner::twice_row),
             "frame came twice", "frames came twice"},
            {"dump-order", "Order is kept", "common practice", row_of(&Aligner::order_row),
             "frame is out of order", "frames are out of order"},
            {"dump-identifier", "Identifiers are kept, all bits and their kind",
             "ISO 11898-1, base and extended format; from memory", row_of(&Aligner::identifier_row),
             "identifier is not the one that was sent", "identifiers are not those that were sent"},
            {"dump-kind", "Remote, data and CAN FD frames stay what they are",
             "ISO 11898-1, frame formats; from memory", row_of(&Aligner::kind_row),
             "frame became one of another kind", "frames became ones of another kind"},
            {"dump-length", "Lengths are kept", "ISO 11898-1, data length code; from memory",
             row_of(&Aligner::length_row), "frame has another length",
             "frames have another length"},
            {"dump-data", "Data is kept, all bits", "common practice", row_of(&Aligner::data_row),
             "frame has other data", "frames have other data"},
        }};
        std::uint64_t due = 0;
        for (std::size_t i = 0; aligner != nullptr && i < known_.groups.size(); ++i)
            due += judged_[i] ? aligner->groups()[i].due : 0;
        for (const Kind& kind : kinds) {
            Check check;
            check.id = kind.id;
            check.group = "dump";
            check.title = kind.title;
            check.basis = kind.basis;
            if (aligner == nullptr) {
                check.finding = nothing_found;
            } else {
                const Row& row = *kind.row;
                check.sent = with_count(due, "known frame", "known frames");
                check.came =
                    row.wrong == 0 ? "as sent" : with_count(row.wrong, kind.one, kind.many);
                settle(check, row, due);
                if (row.wrong != 0) {
                    check.finding =
                        check.came + " of " + with_count(due, "known frame", "known frames");
                    if (!row.first.empty() && row.first != "lost" && row.first != "twice" &&
                        row.first != "out of order")
                        check.finding += "; the first: " + row.first;
                }
            }
            checks.push_back(std::move(check));
        }
    }

    /// Remote and CAN FD frames are not judged when there is not one: not every sender can send
    /// them.
    void choose(const Aligner& aligner) {
        std::vector<bool> special(known_.groups.size(), true);
        for (const KnownFrame& frame : known_.frames)
            if (!frame.fd && frame.kind != CanKind::remote)
                special[frame.group] = false;
        for (std::size_t i = 0; i < judged_.size(); ++i) {
            const GroupCount& count = aligner.groups()[i];
            judged_[i] = options_.rounds != 0 || !special[i] || count.lost != count.due;
            if (!judged_[i]) {
                summary.due -= count.due;
                summary.lost -= count.lost;
            }
        }
    }

    static void settle(Check& check, const Row& row, std::uint64_t judged) {
        check.sent_count = judged;
        check.wrong_count = row.wrong;
        check.examples = row.examples;
        check.verdict = row.wrong == 0 ? Verdict::passed : Verdict::failed;
    }

    void times(std::vector<Check>& checks, const Aligner* aligner) const {
        Check back;
        back.id = "dump-time";
        back.group = "times";
        back.title = "Time stamps never step back";
        back.basis = "common practice";
        Check resolution;
        resolution.id = "dump-time-resolution";
        resolution.group = "times";
        resolution.title = "Time stamps tell a millisecond";
        resolution.basis = "common practice: the frames of a busy bus are 0.1 ms and more apart";
        if (aligner == nullptr) {
            back.finding = resolution.finding = nothing_found;
        } else if (aligner->stamps() < 2) {
            back.finding = resolution.finding = "the dump has no time stamps";
        } else {
            back.sent = resolution.sent =
                with_count(aligner->stamps(), "time stamp", "time stamps");
            const Row& row = aligner->back_row;
            back.came =
                row.wrong == 0 ? "never back" : with_count(row.wrong, "step back", "steps back");
            settle(back, row, aligner->stamps());
            if (row.wrong != 0) {
                back.finding = "the time stamps step back " +
                               with_count(row.wrong, "time", "times") + "; the first " + row.first;
            }
            if (summary.resolution == 0) {
                resolution.verdict = Verdict::failed;
                resolution.came = "all the same";
                resolution.finding = "all time stamps are the same";
                resolution.wrong_count = aligner->stamps();
            } else {
                resolution.came = "steps of ";
                append_number(resolution.came, static_cast<double>(summary.resolution) / 1000.0, 3);
                resolution.came += " us";
                const bool fine = summary.resolution <= nanoseconds_a_millisecond;
                resolution.verdict = fine ? Verdict::passed : Verdict::failed;
                if (!fine) {
                    resolution.finding = "the time stamps have " + resolution.came;
                    resolution.wrong_count = aligner->stamps();
                }
            }
            resolution.sent_count = aligner->stamps();
        }
        checks.push_back(std::move(back));
        checks.push_back(std::move(resolution));
    }

    void groups(std::vector<Check>& checks, const Aligner* aligner) const {
        for (std::size_t i = 0; i < known_.groups.size(); ++i) {
            const KnownFrames::Group& group = known_.groups[i];
            std::uint64_t frames = 0;
            for (const KnownFrame& frame : known_.frames)
                frames += frame.group == i ? 1 : 0;
            Check check;
            check.id = "known-" + group.id;
            check.group = "known frames";
            check.title = group.title;
            check.basis = group.basis;
            check.sent = with_count(frames, "frame", "frames");
            const GroupCount* count = aligner == nullptr ? nullptr : &aligner->groups()[i];
            if (frames == 0) {
                check.finding = "the group has no frames";
            } else if (count == nullptr) {
                check.finding = nothing_found;
            } else if (!judged_[i]) {
                check.finding =
                    "not one of these is in the dump: they were not sent, or the adapter "
                    "does not take them";
            } else if (count->due == 0) {
                check.finding = "the dump begins after these and ends before them";
            } else {
                check.sent += ", " + with_count(count->due, "in all", "in all");
                check.sent_count = count->due;
                check.wrong_count = count->lost + count->changed;
                check.came = check.wrong_count == 0 ? "all as sent" : "";
                if (count->lost != 0)
                    append_count(check.came, count->lost, "lost", "lost");
                if (count->changed != 0) {
                    check.came += count->lost != 0 ? ", " : "";
                    append_count(check.came, count->changed, "changed", "changed");
                }
                check.verdict = check.wrong_count == 0 ? Verdict::passed : Verdict::failed;
                if (check.wrong_count != 0)
                    check.finding = check.came + " of " + with_count(count->due, "frame", "frames");
            }
            checks.push_back(std::move(check));
        }
    }

    KnownFrames known_;
    Index index_;
    OfflineOptions options_;
    std::vector<Part> parts_;
    std::vector<bool> judged_; ///< by group
};

DumpVetting::DumpVetting(const KnownFrames& known, const OfflineOptions& options)
    : impl_(std::make_unique<Impl>(known, options)) {}
DumpVetting::~DumpVetting() = default;
DumpVetting::DumpVetting(DumpVetting&&) noexcept = default;
DumpVetting& DumpVetting::operator=(DumpVetting&&) noexcept = default;

void DumpVetting::record(const dump::Record& record) {
    if (record.kind == dump::RecordKind::can)
        impl_->frame(record.line, record.direction, record.can, record.time);
}
void DumpVetting::frame(std::uint16_t line, dump::Direction direction, const CanFrame& frame,
                        Time time) {
    impl_->frame(line, direction, frame, time);
}
std::vector<Check> DumpVetting::finish() {
    return impl_->finish();
}
const DumpVetting::Summary& DumpVetting::summary() const noexcept {
    return impl_->summary;
}

} // namespace telltale::vet
