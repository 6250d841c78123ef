// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>
#include <memory>
#include <optional>
#include <vector>

#include "telltale/client/line.hpp"
#include "telltale/isotp/endpoint.hpp"
#include "telltale/link/traffic.hpp"

namespace telltale::client::detail {

/// What a carrier tells of messages.
class Heard {
  public:
    virtual ~Heard() = default;
    /// A long answer has begun; `front` are its first bytes.
    virtual void begun(CanId ecu, Bytes front, Time now) = 0;
    virtual void message(CanId ecu, Bytes bytes, Time begun, Time now) = 0;
    /// One that had begun will not come whole.
    virtual void failed(CanId ecu, Time now) = 0;
    /// Something came that was damaged, nobody knows from whom.
    virtual void damaged(Time now) = 0;
    /// The request is on the line, or could not be put there.
    virtual void request_sent(Time now) = 0;
    virtual void request_failed(Time now) = 0;
};

/// Carries messages over a line: ISO 15765-2 on CAN, framed on K-line, as they are on DoIP.
class Carrier {
  public:
    static constexpr std::size_t max_ecus = 32;

    void set_line(const Line& line, Time slack, Time send_limit);
    const Line& line() const noexcept { return line_; }

    /// Puts a request into the queue; false when it cannot be sent in this way.
    bool request(Bytes bytes, std::optional<CanId> to, Time now);
    void receive(const link::Traffic& traffic, Time now, Heard& heard);
    bool to_send(link::Traffic& piece, Time now);
    void sent(Time now, Heard& heard);
    void send_failed(Time now, Heard& heard);
    void wake(Time now, Heard& heard);
    Time wake_at() const noexcept;
    /// The open request is over: nothing more of it is sent.
    void drop_request(Time now);
    /// The line went away.
    void reset(Time now);
    /// A piece was given, and what became of it is not known yet.
    bool in_flight() const noexcept { return in_flight_; }
    bool request_given() const noexcept { return request_given_; }

  private:
    struct Piece {
        std::array<std::uint8_t, max_kline_frame> bytes{};
        std::uint16_t size = 0;
        CanId id;                   ///< CAN; DoIP: the target
        std::int16_t endpoint = -1; ///< that gave the frame
        isotp::Ticket ticket = 0;
        bool is_request = false; ///< the whole request is in it
    };
    class Collector;

    void push(const Piece& piece);
    isotp::Endpoint* endpoint(CanId ecu, bool make);
    void poll(std::size_t index, Time now, Heard& heard);

    Line line_{};
    isotp::Options options_{};
    std::vector<isotp::Endpoint> endpoints_;
    std::vector<CanId> ids_;
    std::vector<Piece> queue_; ///< a ring, made once
    std::size_t first_ = 0;
    std::size_t count_ = 0;
    bool in_flight_ = false;
    bool request_given_ = false;
    std::optional<std::size_t> sender_; ///< endpoint that sends the request in several frames
};

} // namespace telltale::client::detail
