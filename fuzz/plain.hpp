// SPDX-License-Identifier: Apache-2.0
// A plain, slow, obvious way from frames to messages, written apart from the library, to hold the
// library against: all frames in one vector, one pass over them for each sender, tables where the
// library computes. It knows no bounds on memory.
#pragma once

#include <algorithm>
#include <cstddef>
#include <cstdint>
#include <map>
#include <string>
#include <tuple>
#include <vector>

#include "telltale/base/problem.hpp"
#include "telltale/base/time.hpp"

namespace plain {

using telltale::ProblemCode;

struct Frame {
    unsigned line = 0;
    std::uint32_t id = 0;
    bool extended = false;
    bool fd = false;
    telltale::Time time = telltale::no_time;
    std::vector<std::uint8_t> data;
};

struct Message {
    unsigned line = 0;
    std::uint32_t id = 0;
    bool extended = false;
    std::vector<std::uint8_t> bytes;
    std::size_t frames = 0;
    auto key() const { return std::tie(line, id, extended, bytes, frames); }
    friend bool operator==(const Message& a, const Message& b) { return a.key() == b.key(); }
    friend bool operator<(const Message& a, const Message& b) { return a.key() < b.key(); }
};

struct Outcome {
    std::vector<Message> messages; ///< those of one sender in their order
    std::map<ProblemCode, std::size_t> problems;
};

/// The longest message that is put together.
constexpr std::size_t longest = 65'536;

/// ISO 15765-4: the identifiers of diagnostics, written out.
inline bool is_tester(std::uint32_t id, bool extended) {
    if (!extended)
        return id == 0x7DF || (0x7E0 <= id && id <= 0x7E7);
    return id == 0x18DB33F1 || (id >> 16 == 0x18DA && (id & 0xFF) == 0xF1);
}
inline bool is_ecu(std::uint32_t id, bool extended) {
    if (!extended)
        return 0x7E8 <= id && id <= 0x7EF;
    return id >> 8 == 0x18DAF1;
}
inline bool is_diagnostic(std::uint32_t id, bool extended) {
    return is_tester(id, extended) || is_ecu(id, extended);
}

/// Who sends the flow control of the messages of `id`.
inline std::uint32_t receiver_of(std::uint32_t id, bool extended) {
    if (!extended) {
        if (0x7E0 <= id && id <= 0x7E7)
            return id + 8;
        if (0x7E8 <= id && id <= 0x7EF)
            return id - 8;
        return 0xFFFFFFFF;
    }
    if (id >> 16 != 0x18DA || (id & 0xFF) == (id >> 8 & 0xFF))
        return 0xFFFFFFFF;
    return 0x18DA0000 + (id & 0xFF) * 256 + (id >> 8 & 0xFF);
}

/// ISO 15765-2:2016, table 12: which lengths a single frame of each CAN FD length carries.
struct FdSingle {
    std::size_t frame;
    std::size_t least;
    std::size_t most;
};
constexpr FdSingle fd_singles[] = {{12, 8, 10},  {16, 11, 14}, {20, 15, 18}, {24, 19, 22},
                                   {32, 23, 30}, {48, 31, 46}, {64, 47, 62}};

inline bool has_can_length(const Frame& frame) {
    const std::size_t n = frame.data.size();
    if (n <= 8)
        return true;
    if (!frame.fd)
        return false;
    for (const FdSingle& row : fd_singles)
        if (n == row.frame)
            return true;
    return false;
}

/// All frames of one sender, in order, with the flow control that its receiver sent in between.
class Conversation {
  public:
    Conversation(unsigned line, std::uint32_t id, bool extended, telltale::Time n_cr)
        : n_cr_(n_cr) {
        base_.line = line;
        base_.id = id;
        base_.extended = extended;
    }

    void own(const Frame& frame) {
        if (!has_can_length(frame))
            return tell(ProblemCode::bad_length);
        const auto& d = frame.data;
        if (d.empty())
            return tell(ProblemCode::frame_empty);
        if (d[0] < 0x10) {
            interrupted();
            one(d);
        } else if (d[0] < 0x20) {
            interrupted();
            begin(frame);
        } else if (d[0] < 0x30) {
            more(frame);
        } else if (d[0] < 0x40) {
            if (d.size() < 3 || d[0] > 0x32)
                tell(ProblemCode::flow_control_bad);
        } else {
            tell(ProblemCode::unknown_frame_type);
        }
    }

    void of_receiver(const Frame& frame) {
        const auto& d = frame.data;
        if (!has_can_length(frame) || d.size() < 3 || d[0] < 0x30 || d[0] > 0x32 || !open_)
            return;
        if (d[0] == 0x32)
            broken(ProblemCode::flow_control_overflow);
        clock_ = frame.time;
    }

    void finish() {
        if (open_)
            tell(ProblemCode::message_unfinished);
    }

    Outcome outcome;

  private:
    void tell(ProblemCode code) { ++outcome.problems[code]; }

    void broken(ProblemCode code) {
        tell(code);
        open_ = false;
        silent_ = true;
    }

    void interrupted() {
        if (open_)
            tell(ProblemCode::message_interrupted);
        open_ = false;
        silent_ = false;
    }

    void whole(std::vector<std::uint8_t> bytes, std::size_t frames) {
        Message message = base_;
        message.bytes = std::move(bytes);
        message.frames = frames;
        outcome.messages.push_back(message);
    }

    void one(const std::vector<std::uint8_t>& d) {
        if (d.size() <= 8) {
            const std::size_t n = d[0];
            if (n == 0)
                return tell(ProblemCode::single_frame_empty);
            if (n >= d.size())
                return tell(ProblemCode::single_frame_too_long);
            return whole({d.begin() + 1, d.begin() + 1 + static_cast<std::ptrdiff_t>(n)}, 1);
        }
        if (d[0] != 0)
            return tell(ProblemCode::single_frame_too_short);
        const std::size_t n = d[1];
        if (n == 0)
            return tell(ProblemCode::single_frame_empty);
        for (const FdSingle& row : fd_singles)
            if (d.size() == row.frame) {
                if (n > row.most)
                    return tell(ProblemCode::single_frame_too_long);
                if (n < row.least)
                    return tell(ProblemCode::single_frame_too_short);
                whole({d.begin() + 2, d.begin() + 2 + static_cast<std::ptrdiff_t>(n)}, 1);
            }
    }

    void begin(const Frame& frame) {
        const auto& d = frame.data;
        if (d.size() < 8)
            return broken(ProblemCode::first_frame_cut);
        std::size_t at = 2;
        wanted_ = (d[0] - 0x10U) * 256U + d[1];
        if (d[0] == 0x10 && d[1] == 0) {
            at = 6;
            wanted_ = d[2] * 0x1000000ULL + d[3] * 0x10000ULL + d[4] * 0x100ULL + d[5];
            if (wanted_ <= 4095)
                return broken(ProblemCode::first_frame_too_short);
        } else if (d.size() == 8 ? wanted_ <= 7 : wanted_ <= d.size() - 2) {
            return broken(ProblemCode::first_frame_too_short); // a single frame carries as much
        }
        if (wanted_ > longest)
            return broken(ProblemCode::message_over_bound);
        open_ = true;
        so_far_.assign(d.begin() + static_cast<std::ptrdiff_t>(at), d.end());
        frames_ = 1;
        frame_length_ = d.size();
        clock_ = frame.time;
    }

    void more(const Frame& frame) {
        const auto& d = frame.data;
        if (!open_) {
            if (!silent_)
                tell(ProblemCode::consecutive_unexpected);
            silent_ = true;
            return;
        }
        const std::size_t number = d[0] - 0x20U;
        if (number != frames_ % 16) {
            if (frames_ > 1 && number == (frames_ - 1) % 16)
                return broken(ProblemCode::consecutive_repeated);
            return broken(ProblemCode::consecutive_lost);
        }
        if (frame.time != telltale::no_time && clock_ != telltale::no_time) {
            // in doubles so that nothing overflows; a dump's times differ by whole nanoseconds
            // and are far from where that would matter, or far apart
            const long double passed =
                static_cast<long double>(frame.time) - static_cast<long double>(clock_);
            if (passed > static_cast<long double>(n_cr_))
                return broken(ProblemCode::consecutive_late);
        }
        if (d.size() > frame_length_)
            return broken(ProblemCode::consecutive_too_long);
        const std::size_t missing = wanted_ - so_far_.size();
        if (missing > frame_length_ - 1 ? d.size() != frame_length_ : d.size() - 1 < missing)
            return broken(ProblemCode::consecutive_cut);
        for (std::size_t i = 1; i < d.size() && so_far_.size() < wanted_; ++i)
            so_far_.push_back(d[i]);
        ++frames_;
        clock_ = frame.time;
        if (so_far_.size() == wanted_) {
            open_ = false;
            whole(so_far_, frames_);
        }
    }

    telltale::Time n_cr_;
    Message base_;
    bool open_ = false;
    bool silent_ = false;
    std::size_t wanted_ = 0;
    std::size_t frames_ = 0;
    std::size_t frame_length_ = 0;
    std::vector<std::uint8_t> so_far_;
    telltale::Time clock_ = telltale::no_time;
};

/// Everything that `frames` say, of diagnostic identifiers only, in normal addressing.
inline Outcome reassemble(const std::vector<Frame>& frames, telltale::Time n_cr) {
    std::vector<std::tuple<unsigned, std::uint32_t, bool>> senders;
    for (const Frame& frame : frames) {
        const auto sender = std::make_tuple(frame.line, frame.id, frame.extended);
        if (is_diagnostic(frame.id, frame.extended) &&
            std::find(senders.begin(), senders.end(), sender) == senders.end())
            senders.push_back(sender);
    }
    Outcome all;
    for (const auto& [line, id, extended] : senders) {
        Conversation talk{line, id, extended, n_cr};
        for (const Frame& frame : frames) {
            if (frame.line != line || frame.extended != extended)
                continue;
            if (frame.id == id)
                talk.own(frame);
            else if (frame.id == receiver_of(id, extended))
                talk.of_receiver(frame);
        }
        talk.finish();
        all.messages.insert(all.messages.end(), talk.outcome.messages.begin(),
                            talk.outcome.messages.end());
        for (const auto& [code, count] : talk.outcome.problems)
            all.problems[code] += count;
    }
    return all;
}

/// SAE J1979 and SAE J1979-2.
constexpr unsigned services[] = {0x01, 0x02, 0x03, 0x04, 0x05, 0x06, 0x07, 0x08,
                                 0x09, 0x0A, 0x10, 0x14, 0x19, 0x22, 0x31, 0x3E};

/// What is wrong with the first bytes of a whole message, `none` when nothing is.
/// `tester` and `ecu`: who speaks, both false when that is not known.
inline ProblemCode header(const std::vector<std::uint8_t>& bytes, bool tester, bool ecu) {
    if (bytes.empty())
        return ProblemCode::message_empty;
    unsigned service = bytes[0];
    const bool negative = service == 0x7F;
    const bool response = negative || (service >= 0x40 && service <= 0x7E) || service >= 0xC0;
    if (negative) {
        if (bytes.size() < 3)
            return ProblemCode::message_cut;
        service = bytes[1];
    } else if (response) {
        service -= 0x40;
    }
    bool known = false;
    for (const unsigned one : services)
        known = known || one == service;
    if (!known)
        return ProblemCode::unknown_service;
    if ((tester && response) || (ecu && !response))
        return ProblemCode::unexpected_direction;
    return ProblemCode::none;
}

} // namespace plain
