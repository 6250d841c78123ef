// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>
#include <vector>

#include "telltale/frame/kline.hpp"
#include "telltale/message/stream.hpp"

namespace telltale::message::detail {

/// From frames of the lines before CAN (ISO 9141-2, ISO 14230-4, SAE J1850) to messages: headers
/// and checksums, and what an ECU says in several messages put together (`Header::pre_can`):
///
///     43 code code code, 43 code code code ...             ->  43 code code code code code code
///     49 InfoType 01 A B C D, 49 InfoType 02 A B C D ...   ->  49 InfoType 01 A B C D A B C D ...
///
/// Bounded: so many ECUs are kept apart, and each message is of at most 255 parts.
class OldLines {
  public:
    class Sink {
      public:
        virtual ~Sink() = default;
        virtual void message(Said& said) = 0;
        virtual void problem(const Problem& problem, const Said& about) = 0;
    };

    /// `heard`: line, time, place, and the frame as `bytes`.
    void kline(Said heard, Sink& sink);
    void j1850(Said heard, Sink& sink);
    void finish(Sink& sink);

  private:
    static constexpr std::size_t most_ecus = 64;
    static constexpr std::size_t most_inits = 16;
    static constexpr std::size_t most_parts = 255;

    /// An ECU, and the message of it that is not whole yet.
    struct Ecu {
        bool has_id = false;
        std::uint16_t line = 0;
        CanId id;
        bool open = false;
        Time heard = no_time;  ///< when it spoke last
        std::uint8_t lost = 0; ///< InfoType whose parts are passed over: one is missing
        unsigned parts = 0;    ///< of the open message
        std::array<std::uint8_t, 17>
            totals{}; ///< parts of each InfoType, as the ECU said; 0: unknown
        std::array<std::uint8_t, 1 + most_parts * 6> bytes{}; ///< codes need more than parts of 4
        std::size_t size = 0;
        Said said; ///< of the open message

        Bytes message() const { return Bytes(bytes).first(size); }
        unsigned total() const;
    };

    struct Init {
        std::uint16_t line = 0;
        KlineInit init;
    };

    void said(Said said, Sink& sink);
    void codes(Ecu& ecu, const Said& said, Sink& sink);
    void part(Ecu& ecu, const Said& said, Sink& sink);
    Ecu& ecu_of(const Said& said, Sink& sink);
    KlineInit* init_of(std::uint16_t line);
    static void open(Ecu& ecu, const Said& said, Bytes bytes);
    static void add(Ecu& ecu, const Said& said, Bytes bytes);
    static void close(Ecu& ecu, Sink& sink);

    std::vector<Ecu> ecus_;
    std::size_t next_place_ = 0; ///< whose place the next new ECU takes when there is no other
    std::vector<Init> inits_;
};

} // namespace telltale::message::detail
