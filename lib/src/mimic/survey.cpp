// SPDX-License-Identifier: Apache-2.0
#include <algorithm>
#include <array>
#include <bitset>

#include "encode.hpp"
#include "telltale/mimic/tester.hpp"

namespace telltale::mimic {

namespace {

constexpr Time round_time = 250 * nanoseconds_a_millisecond;

/// What each ECU supports of one service, as its support bits say it.
using Supported = std::vector<std::bitset<256>>;

/// PIDs that change so quickly that every round asks for them.
constexpr std::uint8_t quick_pids[] = {0x0C, 0x0D, 0x0B, 0x10, 0x04, 0x11,
                                       0x06, 0x07, 0x0E, 0x49, 0x14, 0x34};
/// Not polled: they are read once.
constexpr std::uint8_t once[] = {0x01, 0x13, 0x1C, 0x41, 0x51, 0x63};

template <std::size_t N> bool among(const std::uint8_t (&list)[N], std::uint8_t id) {
    return std::find(std::begin(list), std::end(list), id) != std::end(list);
}

class Survey {
  public:
    Survey(Tester& tester, Vehicle& vehicle, Tester::Hear hear)
        : tester_(tester), vehicle_(vehicle), hear_(hear), uds_(vehicle.state(0).obd_on_uds) {}

    void identity() {
        pids_ = supported(0x01);
        infos_ = supported(0x09);
        for (unsigned type = 1; type < 256; ++type)
            if (any(infos_, type))
                ask(request(0x09, {static_cast<std::uint8_t>(type)}));
        each(pids_, [&](unsigned ecu, std::uint8_t pid) {
            if (among(once, pid) && pid != 0x01)
                ask(request(0x01, {pid}), ecu);
        });
    }

    void codes() {
        ask(request(0x01, {0x01}));
        if (uds_) {
            ask({0x19, 0x42, 0x33, 0xFF, 0xFE});
            ask({0x19, 0x55, 0x33});
        } else {
            ask({0x03});
            ask({0x07});
            ask({0x0A});
        }
    }

    void freeze_frame() {
        if (uds_) {
            const std::vector<std::uint16_t> stored = vehicle_.state(0).stored;
            for (const auto code : stored)
                ask({0x19, 0x04, static_cast<std::uint8_t>(code >> 8),
                     static_cast<std::uint8_t>(code), 0x00, 0xFF},
                    0);
            return;
        }
        bool some = false;
        for (const auto& heard : ask({0x02, 0x02, 0x00}))
            some = some ||
                   (heard.message.size() == 5 && (heard.message[3] != 0 || heard.message[4] != 0));
        if (!some)
            return;
        std::bitset<256> frozen;
        for (unsigned base = 0; base < 0x100; base += 0x20) {
            const auto id = static_cast<std::uint8_t>(base);
            bool more = false;
            for (const auto& heard : ask({0x02, id, 0x00}, 0))
                if (heard.message.size() == 7 && heard.message[1] == id)
                    more = add(frozen, base, Bytes(heard.message).subspan(3));
            if (!more)
                break;
        }
        for (unsigned pid = 3; pid < 256; ++pid)
            if (frozen[pid] && !is_range(static_cast<std::uint8_t>(pid)))
                ask({0x02, static_cast<std::uint8_t>(pid), 0x00}, 0);
    }

    void monitors() {
        each(supported(0x06),
             [&](unsigned ecu, std::uint8_t monitor) { ask(request(0x06, {monitor}), ecu); });
    }

    /// One round of polling: the quick ones, and of the others one request a round.
    void round() {
        Message ids;
        for (const auto pid : quick_pids)
            if (pids_[0][pid])
                ids.push_back(pid);
        for (std::size_t i = 0; i < ids.size(); i += 6)
            ask(request(0x01, Bytes(ids).subspan(i, std::min<std::size_t>(6, ids.size() - i))), 0);
        if (slow_.empty())
            each(pids_, [&](unsigned ecu, std::uint8_t pid) {
                if (!among(once, pid) && (ecu != 0 || !among(quick_pids, pid)))
                    slow_.push_back({ecu, pid});
            });
        if (slow_.empty())
            return;
        Message some;
        const unsigned ecu = slow_[next_ % slow_.size()].ecu;
        while (some.size() < 4 && slow_[next_ % slow_.size()].ecu == ecu) {
            some.push_back(slow_[next_ % slow_.size()].pid);
            ++next_;
        }
        ask(request(0x01, some), ecu);
    }

    const std::vector<Tester::Heard>& ask(const Message& bytes,
                                          std::optional<unsigned> ecu = std::nullopt) {
        // The next request comes a moment after the last answer.
        tester_.wait_until(tester_.now() + 1'500'000);
        // To all go single frames only.
        return tester_.ask(bytes, ecu || bytes.size() <= 7 ? ecu : std::optional<unsigned>(0),
                           hear_);
    }

  private:
    struct Slow {
        unsigned ecu;
        std::uint8_t pid;
    };

    /// A request for identifiers of services 01, 06 and 09, in the form that the vehicle speaks.
    Message request(std::uint8_t service, Bytes ids) const {
        if (!uds_) {
            Message out{service};
            out.insert(out.end(), ids.begin(), ids.end());
            return out;
        }
        Message out{0x22};
        for (const auto id : ids)
            put_bytes(out, {static_cast<std::uint8_t>(0xF3 + (service == 0x01   ? 1
                                                              : service == 0x06 ? 3
                                                                                : 5)),
                            id});
        return out;
    }
    Message request(std::uint8_t service, std::initializer_list<std::uint8_t> ids) const {
        return request(service, Bytes(ids.begin(), ids.size()));
    }

    static bool any(const Supported& supported, unsigned id) {
        return !is_range(static_cast<std::uint8_t>(id)) &&
               std::any_of(supported.begin(), supported.end(),
                           [&](const std::bitset<256>& set) { return set[id]; });
    }
    template <class Do> static void each(const Supported& supported, const Do& act) {
        for (unsigned ecu = 0; ecu < supported.size(); ++ecu)
            for (unsigned id = 1; id < 256; ++id)
                if (supported[ecu][id] && !is_range(static_cast<std::uint8_t>(id)))
                    act(ecu, static_cast<std::uint8_t>(id));
    }

    /// Takes the four bytes of the 32 identifiers after `base`; true when the next range has some.
    static bool add(std::bitset<256>& set, unsigned base, Bytes four) {
        const auto bits = static_cast<std::uint32_t>(big_endian(four, 0, 4));
        for (unsigned i = 1; i <= 32 && base + i < 256; ++i)
            if ((bits >> (32 - i) & 1) != 0)
                set.set(base + i);
        return (bits & 1) != 0;
    }

    Supported supported(std::uint8_t service) {
        Supported sets(vehicle_.ecus());
        const std::size_t head = uds_ ? 3 : 2;
        bool more = true;
        for (unsigned base = 0; more && base < 0x100; base += 0x20) {
            more = false;
            for (const auto& heard : ask(request(service, {static_cast<std::uint8_t>(base)})))
                if (heard.message.size() == head + 4 && heard.message[0] != 0x7F)
                    more = add(sets[heard.ecu], base, Bytes(heard.message).subspan(head)) || more;
        }
        return sets;
    }

    Tester& tester_;
    Vehicle& vehicle_;
    Tester::Hear hear_;
    bool uds_;
    Supported pids_;
    Supported infos_;
    std::vector<Slow> slow_;
    std::size_t next_ = 0;
};

} // namespace

void survey(Tester& tester, Vehicle& vehicle, Time until, Tester::Hear hear) {
    Survey s(tester, vehicle, hear);
    s.identity();
    s.codes();
    s.freeze_frame();
    s.monitors();
    for (Time at = tester.now(); at < until; at += round_time) {
        tester.wait_until(at);
        at = std::max(at, tester.now() - round_time);
        s.round();
    }
    s.codes();
    s.freeze_frame();
}

} // namespace telltale::mimic
