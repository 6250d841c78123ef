// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <cstddef>
#include <cstdint>
#include <string>
#include <vector>

#include "telltale/base/export.hpp"
#include "telltale/client/session.hpp"

namespace telltale::client {

/// What there is to find a vehicle with.
struct FinderOptions {
    enum class Over : std::uint8_t { can, kline, doip };
    Over over = Over::can;
    /// CAN: bit rates that the link can set, in the order in which they are tried (ISO 15765-4:
    /// 500 and 250 kbit/s). Empty: the line is as it is.
    std::vector<std::uint32_t> bit_rates;
    Line line; ///< addresses, and what is known of the line
};

/// One way that was tried.
struct Attempt {
    Line line;
    bool kline_fast = false;
    bool on_uds = false; ///< asked as OBDonUDS (SAE J1979-2)
    Outcome outcome = Outcome::silence;
};
/// "CAN, 11-bit identifiers, 500 kbit/s: silence".
TELLTALE_API std::string describe(const Attempt& attempt);
TELLTALE_API std::string describe(const Line& line);

/// Finds out how a vehicle is spoken to: on CAN the initialisation sequence of ISO 15765-4 (11-bit,
/// then 29-bit identifiers, at each bit rate; service 01 PID 00 to all, then OBDonUDS), on K-line
/// the initialisation at 5 baud (ISO 9141-2, ISO 14230-4), then the fast one (ISO 14230-4).
class TELLTALE_API Finder final : public Task {
  public:
    explicit Finder(const FinderOptions& options = {});

    bool next(Time now, Request& request) override;
    void told(const Exchange& exchange, Time now) override;
    bool done() const override { return found_ || step_ == steps_.size(); }
    const LineWish* wish() const override;
    void granted(const LineAnswer& answer, Time now) override;

    bool found() const noexcept { return found_; }
    /// When found: the line, the ECUs that answered, and whether they speak OBDonUDS.
    const Line& line() const noexcept { return line_; }
    const std::vector<CanId>& ecus() const noexcept { return ecus_; }
    bool on_uds() const noexcept { return on_uds_; }
    const std::vector<Attempt>& attempts() const noexcept { return attempts_; }

  private:
    struct Step {
        LineWish wish;
        bool set_up = false;
    };
    void next_step(bool skip_bit_rate = false);

    std::vector<Step> steps_;
    std::size_t step_ = 0;
    bool line_up_ = false;
    bool asks_uds_ = false;
    bool on_uds_ = false;
    bool found_ = false;
    unsigned cuts_ = 0;
    Line line_;
    std::optional<std::uint16_t> entity_;
    std::vector<CanId> ecus_;
    std::vector<Attempt> attempts_;
};

} // namespace telltale::client
