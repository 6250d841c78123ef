// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>
#include <deque>
#include <optional>
#include <string>

#include "telltale/vet/report.hpp"
#include "telltale/vet/vetting.hpp"

namespace telltale::vet {

/// In what a frame that came differs from the one that was sent.
enum class Difference : std::uint8_t {
    none,
    extended_cleared, ///< a 29-bit identifier came as one of 11 bits
    extended_set,
    identifier,
    remote_lost, ///< a remote frame came as a data frame
    kind,
    fd_lost,
    bit_rate_switch,
    cut,     ///< fewer bytes
    longer,  ///< more bytes
    padding, ///< bytes behind the end of an ISO-TP message
    data,
    remote_length,
    count_
};
inline constexpr auto differences = static_cast<std::size_t>(Difference::count_);
Difference difference_of(const KnownFrame& sent, const CanFrame& came) noexcept;
/// `29-bit identifiers arrive as 11-bit ones`.
std::string_view describe(Difference difference) noexcept;

/// What came of the frames of one direction.
struct Tally {
    std::uint64_t sent = 0; ///< given to the sending end
    std::uint64_t arrived = 0;
    std::uint64_t lost = 0;
    std::uint64_t twice = 0;
    std::uint64_t misplaced = 0;
    std::uint64_t changed = 0;
    std::uint64_t alien = 0;   ///< nobody sent it
    std::uint64_t refused = 0; ///< the sending end did not take it
    std::array<std::uint64_t, differences> by_difference{};

    std::uint64_t wrong() const { return lost + twice + misplaced + changed + alien + refused; }
    Difference most_common() const;
    Tally& operator+=(const Tally& more);
};

/// Holds what comes out at one end of the line against what went in at the other.
class Comparison {
  public:
    static constexpr std::size_t most_open = 1024; ///< more are given up as lost
    static constexpr std::size_t most_recent = 64;

    /// What the last `arrived` was.
    enum class Fate : std::uint8_t { arrived, twice, misplaced, changed, alien };
    struct Arrival {
        Fate fate = Fate::alien;
        Difference difference = Difference::none;
        KnownFrame sent; ///< but not of an alien
        SendTicket ticket = 0;
        Time given = 0; ///< when it was given to the sending end
    };
    /// Both times of a frame that arrived are known.
    struct Pair {
        Time sent = 0;
        Time came = 0;
        Time own = no_time; ///< `came`, by the adapter's own clock
    };

    void expect(const KnownFrame& frame, SendTicket ticket, Time now);
    /// Returns the times, when the frame has arrived already.
    std::optional<Pair> sent(SendTicket ticket, Time stamp);
    void refused(SendTicket ticket);
    const Arrival& arrived(const CanFrame& frame, Time stamp, Time own = no_time);
    /// Of the last arrival, when it is known when it was sent.
    const std::optional<Pair>& pair() const { return pair_; }
    /// What has not come is lost. `each(frame)` is called with the lost ones.
    template <class F> void close(F each) {
        for (const auto& item : open_) {
            ++tally_.lost;
            each(item.frame);
        }
        open_.clear();
        next_ = 0;
        recent_size_ = 0;
    }
    std::size_t open() const { return open_.size(); }
    const Tally& tally() const { return tally_; }
    void clear_tally() { tally_ = {}; }
    /// A frame that was lost meanwhile, because too many were open.
    std::optional<KnownFrame> take_lost();

  private:
    struct Item {
        KnownFrame frame;
        SendTicket ticket = 0;
        Time given = 0;
        std::optional<Time> stamp;
    };
    struct Done {
        KnownFrame frame;
        SendTicket ticket = 0;
        Time came = 0;
        Time own = no_time;
        bool paired = false;
    };
    void remember(const Item& item, Time stamp);
    void take(std::size_t at, Fate fate, Time stamp);

    std::deque<Item> open_;
    std::size_t next_ = 0; ///< in `open_`: those before were passed by others
    std::array<Done, most_recent> recent_;
    std::size_t recent_size_ = 0;
    std::size_t recent_at_ = 0;
    Tally tally_;
    Arrival last_;
    std::optional<Pair> pair_;
    Time own_ = no_time;
    std::optional<KnownFrame> lost_;
};

} // namespace telltale::vet
