// SPDX-License-Identifier: Apache-2.0
// Both ends of a K-line in this process: the link's machine wakes the simulated vehicle and asks
// it.
#ifdef TELLTALE_HAS_LINK
#include <doctest/doctest.h>

#include "support.hpp"
#include "telltale/isotp/options.hpp"
#include "telltale/link/kline_machine.hpp"
#include "telltale/mimic/kline_end.hpp"

namespace {

using namespace telltale;
using namespace telltale::mimic;
using namespace telltale::mimic::test;

/// One wire: what one end puts on it both hear, a byte time later.
class Wire final : public link::KlineOutlet {
  public:
    Wire(Vehicle& vehicle, bool iso_14230) : end_(vehicle, iso_14230, true) {}

    void start(link::KlineWake::Way way) {
        link::KlineWake wake;
        wake.way = way;
        machine_.start(wake, now_, *this);
    }
    void ask(const Message& frame) { machine_.transmit(frame, now_, *this); }
    void run(Time until) {
        while (true) {
            Time next = until;
            if (!bytes_.empty())
                next = std::min(next, bytes_.front().at);
            next = std::min(next, end_.next_wakeup());
            if (machine_.wake_at() != no_time)
                next = std::min(next, machine_.wake_at());
            now_ = std::max(now_, next);
            if (next >= until)
                return;
            if (!bytes_.empty() && bytes_.front().at <= now_) {
                const Byte byte = bytes_.front();
                bytes_.pop_front();
                if (byte.from_tester)
                    end_.feed(Bytes(&byte.value, 1), now_);
                machine_.heard(byte.value, now_, *this);
                continue;
            }
            if (end_.next_wakeup() <= now_)
                end_.poll(now_, [&](Bytes b) {
                    for (const auto value : b)
                        push(value, false);
                });
            if (machine_.wake_at() != no_time && machine_.wake_at() <= now_)
                machine_.wake(now_, *this);
        }
    }

    void low(bool on) override {
        if (on && !low_) { // the vehicle's port hears a zero byte
            const std::uint8_t zero = 0;
            end_.feed(Bytes(&zero, 1), now_ + KlineCutter::byte_time);
        }
        low_ = on;
    }
    void put(std::uint8_t byte) override { push(byte, true); }
    void discard_heard() override {}
    void awake(const link::KlineAwake& line) override {
        is_awake = true;
        form = line.form;
        key = line.key_byte_1;
    }
    void failed(link::KlineTrouble, std::string_view why) override { trouble = std::string(why); }
    void frame(Bytes bytes, Time, bool own) override {
        if (!own)
            frames.push_back({bytes.begin(), bytes.end()});
    }
    void sent(Time) override {}
    void send_failed(link::KlineTrouble, std::string_view why) override {
        trouble = std::string(why);
    }

    bool is_awake = false;
    KlineForm form = KlineForm::no_address;
    std::uint8_t key = 0;
    std::string trouble;
    std::vector<Message> frames;

  private:
    struct Byte {
        Time at;
        std::uint8_t value;
        bool from_tester;
    };
    void push(std::uint8_t value, bool from_tester) {
        const Time after = bytes_.empty() ? now_ : std::max(now_, bytes_.back().at);
        bytes_.push_back({after + KlineCutter::byte_time, value, from_tester});
    }

    link::KlineMachine machine_;
    KlineEnd end_;
    std::deque<Byte> bytes_;
    bool low_ = false;
    Time now_ = second;
};

TEST_CASE("the link's machine wakes the vehicle and keeps it awake") {
    struct Way {
        link::KlineWake::Way way;
        bool iso_14230;
    };
    for (const Way how :
         {Way{link::KlineWake::Way::five_baud, false}, Way{link::KlineWake::Way::five_baud, true},
          Way{link::KlineWake::Way::fast, true}}) {
        CAPTURE(static_cast<int>(how.way));
        CAPTURE(how.iso_14230);
        Options options;
        options.ecus = 1;
        Vehicle vehicle(options);
        Wire wire(vehicle, how.iso_14230);
        wire.start(how.way);
        wire.run(6 * second);
        CHECK(wire.trouble == "");
        REQUIRE(wire.is_awake);
        CHECK((wire.form == KlineForm::iso_9141) == !how.iso_14230);
        Message request = how.iso_14230 ? Message{0xC2, 0x33, 0xF1, 0x09, 0x02}
                                        : Message{0x68, 0x6A, 0xF1, 0x09, 0x02};
        request.push_back(kline_checksum(request));
        wire.frames.clear();
        wire.ask(request);
        wire.run(8 * second);
        CHECK(wire.frames.size() == 5); // the VIN
        wire.run(40 * second);          // keep-alives only
        wire.frames.clear();
        wire.ask(request);
        wire.run(42 * second);
        CHECK(wire.frames.size() == 5);
        CHECK(wire.trouble == "");
    }
}

} // namespace
#endif
