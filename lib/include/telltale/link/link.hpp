// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <chrono>
#include <cstdint>
#include <memory>
#include <string>
#include <type_traits>
#include <utility>
#include <vector>

#include <boost/asio/any_io_executor.hpp>
#include <boost/asio/associated_executor.hpp>
#include <boost/asio/async_result.hpp>
#include <boost/system/error_code.hpp>

#include "telltale/base/export.hpp"
#include "telltale/link/traffic.hpp"

namespace telltale::link {

using Executor = boost::asio::any_io_executor;
using boost::system::error_code;

/// Why an operation did not do what was asked. `Link::trouble` says it in a sentence.
enum class LinkError {
    timed_out = 1, ///< the deadline passed; equals errc::timed_out
    cancelled,     ///< `cancel`, `close` or the link's end; equals errc::operation_canceled
    not_open,      ///< no `async_open` has succeeded yet
    busy,          ///< an operation of this kind is already under way
    gone,          ///< the device or the other end is not there any more: open again
    cannot_open,   ///< no such device, no permission, no connection
    not_supported, ///< the link cannot do this (see `Capabilities`)
    bad_traffic,   ///< not a piece that this link carries: wrong kind, length or checksum
    refused,       ///< the other end said no
    no_answer,     ///< nobody answered where an answer is prescribed
    wrong_answer,  ///< the other end broke the protocol
    collision,     ///< what came back on the line is not what was sent
    end_of_dump,   ///< a dump that is played back is over
};
TELLTALE_API const boost::system::error_category& link_category() noexcept;
inline error_code make_error_code(LinkError error) noexcept {
    return {static_cast<int>(error), link_category()};
}

enum class LineKind : std::uint8_t { can, kline, doip };

/// What a link can do. Known before it is opened, unless said otherwise.
struct Capabilities {
    LineKind line = LineKind::can;
    bool fd = false;               ///< CAN FD frames; where a device decides it, known when open
    bool sends = true;             ///< false: a dump that is played back
    bool sets_bit_rate = false;    ///< `CanSettings::bit_rate` is heeded
    bool listens_only = false;     ///< `CanSettings::listen_only` is heeded
    bool filters = false;          ///< `CanSettings::filters` is heeded
    bool confirms_on_wire = false; ///< `async_send` completes when the piece was on the wire, not
                                   ///< when the device or the system took it
    bool error_frames = false;     ///< CAN error frames are received
    TimeFrom times = TimeFrom::program;     ///< the best that it gives
    std::uint32_t most_frames_a_second = 0; ///< that the path to the line carries; 0: not known
};

/// Lets CAN frames through whose identifier has the same bits as `id` where `mask` has a bit.
struct CanMask {
    CanId id;
    std::uint32_t mask = CanId::max_extended;
};

struct CanSettings {
    std::uint32_t bit_rate = 0;   ///< bit/s; 0: as the device stands, or as the link's name says
    bool listen_only = false;     ///< neither sends nor acknowledges
    std::vector<CanMask> filters; ///< none: everything; at most 64
};

/// How the K-line is woken.
enum class KlineStart : std::uint8_t {
    none,      ///< not at all: what is there already speaks, or one only listens
    five_baud, ///< address at 5 baud, key bytes (ISO 9141-2; ISO 14230-4)
    fast,      ///< 25 ms low, 25 ms high, start communication (ISO 14230-4)
};

struct KlineSettings {
    KlineStart start = KlineStart::five_baud;
    std::uint8_t address = 0x33; ///< 33: all emissions-related ECUs (ISO 9141-2, ISO 14230-4)
    std::uint8_t tester = 0xF1;
    bool keep_alive = true; ///< ask for service 01 PID 00 before P3max is over
};

struct DoipSettings {
    std::uint16_t tester = 0x0E00;  ///< logical address (ISO 13400-2: 0E00 to 0FFF)
    std::uint16_t target = 0xE000;  ///< for requests; E000: functional, OBD (ISO 13400-2)
    std::uint8_t activation = 0x00; ///< 00 default, 01 required by regulation
};

/// What `async_open` is to bring about; a link heeds its own part.
struct OpenSettings {
    CanSettings can;
    KlineSettings kline;
    DoipSettings doip;
};

/// What `async_open` brought about.
struct LineUp {
    Time time = no_time;
    std::uint32_t bit_rate = 0; ///< CAN: bit/s where it is known; K-line: baud
    bool fd = false;
    // K-line
    KlineForm kline_form = KlineForm::iso_9141; ///< of the requests that this ECU wants
    std::uint8_t key_byte_1 = 0;                ///< 0: no initialisation
    std::uint8_t key_byte_2 = 0;
    // DoIP
    std::uint16_t entity = 0; ///< logical address of the DoIP entity that was activated
};

/// The piece is on the line, or as near as `Capabilities::confirms_on_wire` says.
struct Sent {
    Time time = no_time;
    TimeFrom from = TimeFrom::program;
    bool heard = false; ///< K-line: every byte of it came back, as on one wire
};

struct LinkCounts {
    std::uint64_t received = 0;
    std::uint64_t sent = 0;
    std::uint64_t lost = 0; ///< pieces that nobody took in time, or the system says it dropped
    std::uint64_t bad = 0;  ///< pieces from the other end that were none
};

using Timeout = std::chrono::nanoseconds;
inline constexpr Timeout no_timeout = Timeout::max();

/// A handler that waits to be called on its executor, with what it is called with.
struct TELLTALE_API Call {
    explicit Call(const Executor& wanted);
    virtual ~Call() = default;
    Call(const Call&) = delete;
    Call& operator=(const Call&) = delete;
    virtual void run() = 0;
    /// Has `call` run on its executor, never from inside this.
    static void post(std::unique_ptr<Call> call);

  private:
    Executor executor_; ///< knows of the work, so that its loop goes on until this is done
};

/// A completion handler of any kind for an operation that gives an error or a value.
template <class Value> class Completion {
  public:
    Completion() = default;
    template <class Handler>
    Completion(Handler&& handler, const Executor& executor)
        : held_(std::make_unique<Holder<std::decay_t<Handler>>>(wanted_by(handler, executor),
                                                                std::forward<Handler>(handler))) {}
    explicit operator bool() const { return held_ != nullptr; }
    /// Has the handler called. Once.
    void operator()(error_code error, Value value = {}) {
        held_->error = error;
        held_->value = std::move(value);
        Call::post(std::move(held_));
    }

  private:
    /// The handler's own executor. That of a future is none that runs anything: the promise is kept
    /// wherever the link runs.
    template <class Handler>
    static Executor wanted_by(const Handler& handler, const Executor& executor) {
        using Associated = boost::asio::associated_executor_t<Handler, Executor>;
        if constexpr (std::is_convertible_v<Associated, Executor>)
            return boost::asio::get_associated_executor(handler, executor);
        else
            return executor;
    }

    struct Held : Call {
        using Call::Call;
        error_code error;
        Value value{};
    };
    template <class Handler> struct Holder final : Held {
        template <class Given>
        Holder(const Executor& executor, Given&& given)
            : Held(executor), handler(std::forward<Given>(given)) {}
        void run() override { std::move(handler)(this->error, std::move(this->value)); }
        Handler handler;
    };
    std::unique_ptr<Held> held_;
};

/// A line to a vehicle, or something that stands in for one. As with other objects of Asio, one
/// link is used from one thread at a time (its executor's, or a strand); different links are
/// independent.
///
/// Operations take a completion token (a callback, boost::asio::use_future, use_awaitable ...) and
/// a deadline counted from the call. Each kind may be under way once; a second one fails with
/// `busy`. All of them end, whatever the other end does: with a result, an error, the deadline or
/// `cancel`. Handlers are called on their associated executor, never from inside the call.
class TELLTALE_API Link {
  public:
    virtual ~Link() = default;
    Link(const Link&) = delete;
    Link& operator=(const Link&) = delete;

    /// Its name, as link/name.hpp reads it, or a description for the log.
    virtual std::string name() const = 0;
    virtual Capabilities capabilities() const = 0;
    virtual LinkCounts counts() const = 0;
    virtual Executor get_executor() const = 0;
    /// What went wrong in the last operation that failed: one plain sentence, with what to do.
    virtual std::string trouble() const = 0;

    /// Opens the device or connection and sets the line up; again after an error, or to change the
    /// settings: what was open is closed first. Handler: void(error_code, LineUp).
    template <class Token> auto async_open(OpenSettings settings, Timeout timeout, Token&& token) {
        return boost::asio::async_initiate<Token, void(error_code, LineUp)>(
            [this](auto&& handler, const OpenSettings& wanted, Timeout limit) {
                start_open(wanted, limit,
                           {std::forward<decltype(handler)>(handler), get_executor()});
            },
            token, std::move(settings), timeout);
    }

    /// Sends one piece. Its bytes are copied when the operation begins: for a callback or a future
    /// before this returns, for an awaitable when it is awaited.
    /// Handler: void(error_code, Sent). After `timed_out` it is not known whether it went out.
    template <class Token> auto async_send(Traffic traffic, Timeout timeout, Token&& token) {
        return boost::asio::async_initiate<Token, void(error_code, Sent)>(
            [this](auto&& handler, const Traffic& piece, Timeout limit) {
                start_send(piece, limit,
                           {std::forward<decltype(handler)>(handler), get_executor()});
            },
            token, traffic, timeout);
    }

    /// Waits for the next piece. Handler: void(error_code, Received). What arrives while no receive
    /// is under way waits in a bounded queue; what finds no room is counted in `Received::lost`.
    template <class Token> auto async_receive(Timeout timeout, Token&& token) {
        return boost::asio::async_initiate<Token, void(error_code, Received)>(
            [this](auto&& handler, Timeout limit) {
                start_receive(limit, {std::forward<decltype(handler)>(handler), get_executor()});
            },
            token, timeout);
    }

    /// Ends the operations under way with `cancelled`; the link stays open.
    virtual void cancel() = 0;
    /// Ends them, and gives the device back in the state in which it was found. Waits for nobody.
    virtual void close() = 0;

    using OpenDone = Completion<LineUp>;
    using SendDone = Completion<Sent>;
    using ReceiveDone = Completion<Received>;

    /// What a kind of link does; decorators pass them on.
    virtual void start_open(OpenSettings settings, Timeout timeout, OpenDone done) = 0;
    virtual void start_send(const Traffic& traffic, Timeout timeout, SendDone done) = 0;
    virtual void start_receive(Timeout timeout, ReceiveDone done) = 0;

  protected:
    Link() = default;
};

} // namespace telltale::link

/// @cond
template <> struct boost::system::is_error_code_enum<telltale::link::LinkError> : std::true_type {};
/// @endcond
