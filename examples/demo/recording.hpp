// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <cstdint>
#include <functional>
#include <string>
#include <telltale/mimic/drive.hpp>
#include <telltale/mimic/ecu.hpp>
#include <vector>

namespace demo {

using telltale::mimic::Drive;
using telltale::mimic::DriveSettings;
using telltale::mimic::Ecu;
using telltale::mimic::EcuState;
using telltale::mimic::Message;
using telltale::mimic::Random;
using telltale::mimic::Signals;
using telltale::mimic::Stretch;

/// A frame as the logger on the bus saw it.
struct Frame {
    std::int64_t time = 0; ///< ns since the record began
    std::uint32_t id = 0;  ///< 11 bit
    std::vector<std::uint8_t> data;
    std::string comment;
};

/// The bus of the van with a tester on it and a logger beside: asks the ECUs as ISO 15765-4 wants
/// it, one request at a time, and hands every frame on in the order of time.
class Recording {
  public:
    Recording(Drive& van, std::vector<Ecu>& ecus, std::uint64_t seed,
              std::function<void(const Frame&)> logger);

    double now() const { return static_cast<double>(now_) / 1e9; } ///< s
    void wait_until(double seconds);

    /// A request to every ECU (7DF) or to one (its index). Returns when all have answered.
    void ask_all(const Message& request) { ask(request, -1); }
    void ask_one(const Message& request, int ecu) { ask(request, ecu); }
    /// The next answer of more than one frame loses its `which`th consecutive frame (from 1).
    void lose_consecutive(unsigned which) { lose_ = which; }
    /// The next answer comes after a response-pending and this many seconds.
    void answer_late(double seconds) { late_ = seconds; }
    /// The next frame carries a comment.
    void comment(std::string text) { comment_ = std::move(text); }

  private:
    void ask(const Message& request, int ecu);
    void send(const Message& message, std::size_t ecu, std::int64_t at, std::vector<Frame>& frames);
    void emit(std::int64_t at, std::uint32_t id, Message data);
    void other_traffic(std::int64_t until);

    Drive& van_;
    std::vector<Ecu>& ecus_;
    Random random_;
    std::function<void(const Frame&)> logger_;
    std::int64_t now_ = 0;
    std::int64_t last_frame_ = -1'000'000;
    std::int64_t next_other_ = 3'000'000;
    unsigned others_ = 0;
    unsigned lose_ = 0;
    double late_ = 0;
    std::string comment_;
};

} // namespace demo
