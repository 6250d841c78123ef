// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>
#include <memory>
#include <optional>
#include <span>
#include <string_view>
#include <vector>

#include "telltale/base/bytes.hpp"
#include "telltale/base/export.hpp"
#include "telltale/base/time.hpp"
#include "telltale/client/line.hpp"
#include "telltale/frame/can.hpp"
#include "telltale/link/traffic.hpp"

namespace telltale::client {

/// What became of a request at one ECU.
enum class Outcome : std::uint8_t {
    answer,   ///< a whole answer that fits the request
    refused,  ///< a negative response; `code` says why
    busy,     ///< "busy, repeat request" (21) until patience ended
    pending,  ///< "response pending" (78), and then nothing, or without end
    silence,  ///< nothing within P2, retries included
    broken,   ///< an answer began and did not come whole, retries included
    not_sent, ///< the line did not take the request
    cut,      ///< the line went away meanwhile
};
/// Its stable word: "answer", "refused", ..., "not-sent".
TELLTALE_API std::string_view word(Outcome outcome) noexcept;

/// A request. `bytes` from the service byte on, at most `Conversation::max_request`; copied.
struct Request {
    Bytes bytes;
    /// The ECU that is asked, by the identifier that it answers with; empty: all of them.
    std::optional<CanId> to;
    /// Those that will answer a request to all, as far as is known: when all of them have, it is
    /// over at once. Empty: not known, P2 is waited out.
    std::span<const CanId> expected;
    /// The request may be asked again when it is not answered (not so for what changes the
    /// vehicle).
    bool may_repeat = true;
};

/// One answer, or the lack of one.
struct Reply {
    CanId ecu;
    Outcome outcome = Outcome::silence;
    std::uint8_t code = 0; ///< of a negative response
    Time asked = no_time;  ///< when the request was on the line (the first, if there were several)
    Time begun = no_time;  ///< of the first frame of the answer
    Time time = no_time;   ///< of its last frame, or when it was given up
    unsigned pending = 0;  ///< "response pending" on the way
    unsigned repeats = 0;  ///< how often it was asked again
    /// An answer of this ECU is still due, and until then the same is not asked of it; no_time:
    /// nothing is due.
    Time owed_until = no_time;
    Bytes bytes; ///< of an answer, from the service byte on
};

/// A request with all that came of it. Views live until the next `ask`.
struct Exchange {
    Bytes request;
    std::optional<CanId> to;
    Time asked = no_time;
    Time ended = no_time;
    /// By ECU, in the order in which they answered. On K-line, one ECU may have several. Nothing
    /// came of a request to all: empty, and `outcome` says it.
    std::span<const Reply> replies;
    /// `answer` when any ECU answered, else the best of what happened.
    Outcome outcome = Outcome::silence;
    unsigned strays = 0; ///< messages meanwhile that did not fit, and were not taken
};

/// What was learnt of an ECU.
struct EcuNotes {
    CanId id;
    std::uint64_t answers = 0;
    std::uint64_t silences = 0; ///< answers that were due and never came
    unsigned silent_in_a_row = 0;
    std::uint64_t broken = 0;
    std::uint64_t busy = 0;
    std::uint64_t pending = 0;
    Time least = 0; ///< from request to the begin of the answer
    Time most = 0;
    Time mean = 0; ///< of the latest few
    Time heard = no_time;
    /// Requests that it was sent and has not answered, since its latest answer in time.
    std::uint64_t unanswered = 0;
    /// It says "response pending" for something that was given up, and is asked nothing before
    /// this.
    Time at_work_until = no_time;
    Time at_work_since = no_time;
};

struct ConversationCounts {
    std::uint64_t requests = 0; ///< sent, repeats included
    std::uint64_t repeats = 0;
    std::uint64_t answers = 0;
    std::uint64_t strays = 0;  ///< whole messages that fitted no open request
    std::uint64_t late = 0;    ///< of them, answers to an earlier request
    std::uint64_t doubled = 0; ///< of them, the same answer once more
    std::uint64_t broken = 0;
    std::uint64_t overflow = 0; ///< answers for which there was no room
};

/// One request at a time, and the answers of several ECUs to it. It never sends more than one
/// request at a time on the line.
///
/// A message is an answer to the open request only when its service and each of its identifiers
/// are those asked for, and no earlier request is open at that ECU to which it could be the
/// answer: an answer that was due and did not come is reckoned with for `Timing::late` longer, and
/// until then nothing is asked that it could be taken for. An answer later than that cannot be
/// told from one to the same question asked again, as no message of ISO 15031-5 says to which
/// request it belongs; it is never taken for the answer to another question.
///
/// Every exchange ends: `longest` says how long it takes at most from the moment when it is on the
/// line. Before that it may wait for what is still due, and for an ECU that says it is at work on
/// something asked earlier: for `Timing::pending_limit` at most.
class TELLTALE_API Conversation {
  public:
    static constexpr std::size_t max_request = 255;
    static constexpr std::size_t max_ecus = 32;
    static constexpr std::size_t max_replies = 64;
    static constexpr std::size_t max_bytes = 65'536; ///< of the answers to one request

    explicit Conversation(const Line& line = {});
    Conversation(const Line& line, const Timing& timing);
    ~Conversation();
    Conversation(Conversation&&) noexcept;
    Conversation& operator=(Conversation&&) noexcept;

    const Line& line() const noexcept;
    const Timing& timing() const noexcept;
    /// The line was set up anew. Only when `idle`. What was learnt of ECUs stays.
    void set_line(const Line& line, const Timing& timing);

    /// Begins an exchange; it is put on the line as soon as nothing that is still due can be taken
    /// for its answer. False when one is open, or the request is empty or too long.
    bool ask(const Request& request, Time now);
    bool idle() const noexcept;
    /// The exchange that has ended, until the next `ask`; null while it is open.
    const Exchange* ended() const noexcept;

    /// What the line received, and when.
    void receive(const link::Traffic& traffic, Time now);
    /// The next piece for the line; false when there is none. It is valid until the next call of
    /// anything. No other is given until `sent` or `send_failed`.
    bool to_send(link::Traffic& piece, Time now);
    /// The piece given last is on the line.
    void sent(Time now);
    void send_failed(Time now);
    /// When to call `wake`; no_time: nothing is waited for.
    Time wake_at() const noexcept;
    void wake(Time now);
    /// The line went away: the open exchange ends, what was due will not come.
    void cut(Time now);

    /// The longest that a request with `ecus` answering ECUs can take.
    Time longest(std::size_t ecus) const noexcept;
    std::span<const EcuNotes> notes() const noexcept;
    const EcuNotes* notes(CanId ecu) const noexcept;
    const ConversationCounts& counts() const noexcept;

  private:
    class Impl;
    std::unique_ptr<Impl> impl_;
};

/// True when `response` (from the service byte on) can be the answer to `request`: the service, and
/// every identifier in it was asked for. Negative responses: the service.
TELLTALE_API bool answers(Bytes response, Bytes request, Dialect dialect) noexcept;

/// A PID and its data, of service 01 or of a data identifier F4xx (OBDonUDS: SAE J1979-2).
struct PidData {
    std::uint8_t pid = 0;
    Bytes data;
};
/// Takes the answer to a request of service 01, or of service 22 for data identifiers F4xx, apart:
/// at most six items (SAE J1979) into `out`, in order; returns how many, 0 when the bytes are no
/// whole answer to exactly these PIDs or some of them.
TELLTALE_API std::size_t split_pids(Bytes response, std::span<const std::uint8_t> asked,
                                    std::span<PidData, 6> out) noexcept;

} // namespace telltale::client
