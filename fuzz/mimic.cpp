// SPDX-License-Identifier: Apache-2.0
// Hostile frames, requests and times to a simulated vehicle. Whatever comes, what it says has the
// form of a frame or a message, it has nothing due after it was polled, and it does not stop.
#include <algorithm>
#include <array>
#include <vector>

#include "dump_target.hpp"
#include "telltale/frame/kline.hpp"
#include "telltale/isotp/options.hpp"
#include "telltale/message/message.hpp"
#include "telltale/mimic/vehicle.hpp"

using namespace telltale;

namespace {

/// Takes the input piece by piece; zeros behind its end.
class Input {
  public:
    explicit Input(Bytes bytes) : bytes_(bytes) {}
    bool over() const { return at_ >= bytes_.size(); }
    std::uint8_t byte() { return over() ? std::uint8_t{0} : bytes_[at_++]; }
    Bytes take(std::size_t count) {
        const std::size_t there = std::min(count, bytes_.size() - std::min(at_, bytes_.size()));
        const Bytes piece = there == 0 ? Bytes{} : bytes_.subspan(at_, there);
        at_ += there;
        return piece;
    }

  private:
    Bytes bytes_;
    std::size_t at_ = 0;
};

mimic::Options options_of(Input& in) {
    mimic::Options o;
    o.seed = in.byte();
    o.drive = o.seed % 4;
    const std::uint8_t flags = in.byte();
    o.fuel = (flags & 1) != 0 ? mimic::Fuel::diesel : mimic::Fuel::petrol;
    o.extended_ids = (flags & 2) != 0;
    o.obd_on_uds = (flags & 4) != 0;
    o.engine_off = (flags & 8) != 0;
    o.just_cleared = (flags & 16) != 0;
    o.ecus = 1U + (flags >> 5);
    o.block_size = in.byte();
    o.st_min = in.byte();
    o.habits.pending_every = in.byte() % 8;
    o.habits.busy_every = in.byte() % 8;
    o.habits.most_pids = in.byte();
    o.habits.refusal = static_cast<mimic::Refusal>(in.byte() % 3);
    const std::uint8_t silent = in.byte();
    o.habits.silent_every = (silent >> 4) * nanoseconds_a_second;
    o.habits.silent_for = (silent & 15) * nanoseconds_a_second;
    for (unsigned i = in.byte() % 4; i > 0; --i) {
        mimic::Fault fault;
        fault.kind = static_cast<mimic::FaultKind>(in.byte() % 11);
        fault.sensor = static_cast<mimic::Sensor>(in.byte() % mimic::sensor_count);
        fault.amount = static_cast<double>(static_cast<std::int8_t>(in.byte())) * 100;
        fault.from = in.byte() % 8;
        o.faults.push_back(fault);
    }
    for (unsigned i = in.byte() % 64; i > 0; --i)
        o.stored.push_back(static_cast<std::uint16_t>(i * 7));
    return o;
}

} // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size);
int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
    Input in(Bytes(data, size));
    const mimic::Options options = options_of(in);
    mimic::Vehicle vehicle(options);
    Time now = 0;
    unsigned leaps = 2; // each makes it drive for ten minutes
    const auto poll = [&] {
        std::size_t sent = 0;
        vehicle.poll(now, [&](const CanFrame& frame) {
            ++sent;
            FUZZ_REQUIRE(frame.kind == CanKind::data && frame.id.valid());
            FUZZ_REQUIRE(role_of(frame.id) == Role::ecu);
            FUZZ_REQUIRE(!frame.data.empty() && frame.data.size() <= 8);
        });
        FUZZ_REQUIRE(sent < 8 * 2048);
        FUZZ_REQUIRE(vehicle.next_wakeup() > now || now == isotp::never);
    };
    const auto hear = [&](const mimic::Answer& answer) {
        FUZZ_REQUIRE(!answer.message.empty() && answer.message.size() <= 4095);
        FUZZ_REQUIRE(answer.ecu < vehicle.ecus() && answer.after >= 0);
        message::Header header;
        // To a service that nobody knows it says that it does not.
        const auto problem = message::read_header(answer.message, Role::ecu, header);
        FUZZ_REQUIRE(problem == ProblemCode::none ||
                     (problem == ProblemCode::unknown_service && answer.message[0] == 0x7F));
    };
    while (!in.over()) {
        const std::uint8_t what = in.byte();
        switch (what & 7) {
        case 0: // a classic frame, to all or to somebody
        case 1: {
            CanFrame frame;
            const std::uint8_t to = in.byte();
            frame.id.extended = (to & 0x80) != 0;
            if (frame.id.extended)
                frame.id.value = (to & 1) != 0 ? 0x18DB33F1U : 0x18DA10F1U + ((to & 0x70U) << 7);
            else
                frame.id.value = (to & 1) != 0 ? 0x7DFU : 0x7E0U + (to >> 1 & 15U);
            frame.data = in.take(what >> 4 & 8 ? 8 : what >> 4);
            vehicle.feed(frame, now);
            break;
        }
        case 2:
            now += in.byte() * nanoseconds_a_millisecond / 8;
            poll();
            break;
        case 3:
            now += (what >> 3) * (nanoseconds_a_second / 8);
            poll();
            break;
        case 4: {
            const std::uint8_t ecu = in.byte();
            const Bytes request = in.take(what >> 3);
            vehicle.ask(request, ecu < 8 ? std::optional<unsigned>(ecu) : std::nullopt, now, hear);
            break;
        }
        case 5: {
            mimic::Message frame;
            const Bytes bytes = in.take(what >> 3);
            frame.assign(bytes.begin(), bytes.end());
            if ((what & 8) != 0)
                frame.push_back(kline_checksum(frame));
            vehicle.ask_kline(frame, now, [&](const mimic::Answer& answer) {
                KlineFrame heard;
                FUZZ_REQUIRE(parse_kline(answer.message, heard).fine());
                FUZZ_REQUIRE(answer.message.size() <= 12); // ISO 9141-2: 11 bytes
            });
            break;
        }
        case 6:
            vehicle.next_trip();
            break;
        default:
            if (leaps == 0)
                break;
            --leaps;
            // Backwards, to the end of times, and back.
            for (const Time time : {now - 5, no_time, no_time + 1,
                                    (what & 8) != 0 ? now + 3600 * nanoseconds_a_second : now})
                vehicle.feed({}, time);
            now += (what & 8) != 0 ? 3600 * nanoseconds_a_second : 0;
            poll();
            break;
        }
    }
    poll();
    FUZZ_REQUIRE(vehicle.signals().fuel_level >= 0 && vehicle.truth().speed < 200);
    return 0;
}
