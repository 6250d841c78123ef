// SPDX-License-Identifier: Apache-2.0
// The tester's end of a K-line with any bytes at any times on the line: it ends, it never sends
// faster than it may, and what it gives is bounded.
#include "dump_target.hpp"
#include "telltale/link/kline_machine.hpp"

using namespace telltale;
using namespace telltale::link;

namespace {

struct Line final : KlineOutlet {
    Time now = 0;
    Time last_put = no_time;
    bool is_low = false;
    bool up = false;
    bool over = false;
    int pending = 0; ///< frames given to it and not told of
    void low(bool on) override { is_low = on; }
    void put(std::uint8_t) override {
        FUZZ_REQUIRE(!is_low);
        if (last_put != no_time)
            FUZZ_REQUIRE(now - last_put >= kline_time::p4_min);
        last_put = now;
    }
    void discard_heard() override {}
    void awake(const KlineAwake&) override {
        FUZZ_REQUIRE(!is_low && !up);
        up = true;
    }
    void failed(KlineTrouble, std::string_view why) override {
        FUZZ_REQUIRE(!is_low && !why.empty());
        over = true;
    }
    void frame(Bytes frame, Time, bool) override {
        FUZZ_REQUIRE(up && !frame.empty() && frame.size() <= max_kline_frame);
    }
    void sent(Time) override { FUZZ_REQUIRE(--pending == 0); }
    void send_failed(KlineTrouble, std::string_view) override { FUZZ_REQUIRE(--pending == 0); }
};

} // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size);
int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
    if (size == 0)
        return 0;
    Line line;
    KlineMachine machine;
    KlineWake how;
    how.way = static_cast<KlineWake::Way>(data[0] % 3);
    machine.start(how, line.now, line);
    const auto run = [&](Time until) {
        for (int i = 0; !line.over; ++i) {
            FUZZ_REQUIRE(i < 10'000);
            const Time at = machine.wake_at();
            if (at == no_time || at > until)
                break;
            line.now = std::max(line.now, at);
            machine.wake(line.now, line);
        }
        line.now = until;
    };
    // Pairs: what happens, and after how long.
    for (std::size_t i = 1; i + 1 < size && !line.over; i += 2) {
        const Time wait = (data[i + 1] & 0x80) != 0 ? (data[i + 1] & 0x7F) * 40 : data[i + 1];
        run(line.now + wait * nanoseconds_a_millisecond);
        if (line.over)
            break;
        if (data[i] == 0xFE && line.up && line.pending == 0) {
            static constexpr std::uint8_t request[] = {0x68, 0x6A, 0xF1, 0x01, 0x0C, 0xD0};
            line.pending = 1;
            machine.transmit(request, line.now, line);
        } else {
            machine.heard(data[i], line.now, line);
        }
    }
    if (!line.over)
        run(line.now + 60 * nanoseconds_a_second);
    if (!line.over)
        FUZZ_REQUIRE(line.pending == 0); // nothing hangs
    machine.stop(line);
    FUZZ_REQUIRE(!line.is_low && machine.wake_at() == no_time);
    return 0;
}
