// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>
#include <variant>
#include <vector>

#include "telltale/base/bytes.hpp"
#include "telltale/base/export.hpp"
#include "telltale/base/time.hpp"
#include "telltale/frame/can.hpp"
#include "telltale/frame/kline.hpp"

namespace telltale::link {

/// A whole K-line frame: header, data and checksum (frame/kline.hpp takes it apart and puts it
/// together). A view.
struct KlineBytes {
    Bytes frame;
};

/// A diagnostic message as DoIP carries it (ISO 13400-2, payload type 8001): logical addresses and
/// the message from its service byte on. A view.
struct DoipMessage {
    std::uint16_t source = 0;
    std::uint16_t target = 0;
    Bytes bytes;
};

/// What goes over a link in one piece. Views: the bytes belong to whoever made it.
using Traffic = std::variant<CanFrame, KlineBytes, DoipMessage>;

/// The longest diagnostic message that a DoIP link takes or gives.
inline constexpr std::size_t max_doip_message = 65'536;

/// The bytes that the piece carries: CAN data, the K-line frame, the diagnostic message.
constexpr Bytes bytes_of(const Traffic& traffic) {
    if (const auto* can = std::get_if<CanFrame>(&traffic))
        return can->data;
    if (const auto* kline = std::get_if<KlineBytes>(&traffic))
        return kline->frame;
    return std::get<DoipMessage>(traffic).bytes;
}

/// Where a time comes from: the nearer to the wire, the better.
enum class TimeFrom : std::uint8_t {
    program,  ///< read when the piece reached this program
    system,   ///< the operating system's kernel gave it
    device,   ///< the interface adapter gave it
    recorded, ///< it stands in the dump that is played back
};

/// What a link received, in the order in which it came.
struct Received {
    /// Valid until the next receive on this link begins.
    Traffic traffic;
    /// Of the end of the frame, or as near to it as `from` can; nanoseconds on the scale of `now`.
    /// Never before the one received before it.
    Time time = no_time;
    TimeFrom from = TimeFrom::program;
    /// The link itself sent it, unasked: a keep-alive. What `async_send` sends is not received.
    bool own = false;
    /// So many pieces were lost between the one before and this one, because nobody took them.
    std::uint64_t lost = 0;
    /// With times of the `device`: its clock as it told it, counted on from turn to turn, from any
    /// beginning and not set by `now`. It goes back where the device's does.
    Time device_time = no_time;
};

/// The time of links: nanoseconds since the Unix epoch, read from the system's clock once and
/// counted evenly from there. Setting the system's clock does not move it.
TELLTALE_API Time now() noexcept;

/// Something received, with its bytes.
class TELLTALE_API Kept {
  public:
    Kept() = default;
    explicit Kept(const Received& received) { *this = received; }
    Kept& operator=(const Received& received);
    /// Views of this object: valid as long as it is, and is not moved or assigned to.
    Received view() const;

  private:
    Received received_;
    std::size_t size_ = 0;
    std::array<std::uint8_t, 64> small_{};
    std::vector<std::uint8_t> large_; ///< when there is more than `small_` holds
};

} // namespace telltale::link
