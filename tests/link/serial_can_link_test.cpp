// SPDX-License-Identifier: Apache-2.0
// The adapter at the other end of a pseudo terminal.
#include "support.hpp"

using namespace test;

namespace {

/// An adapter that answers as the protocol says.
struct Adapter {
    std::string line;
    std::vector<std::string> commands; ///< only looked at when the device is unplugged
    std::shared_ptr<std::atomic<std::size_t>> heard = std::make_shared<std::atomic<std::size_t>>(0);
    std::string refuse; ///< commands that begin so
    bool acknowledges = true;
    bool silent = false;

    std::string operator()(const std::string& bytes) {
        std::string out;
        for (const char c : bytes) {
            if (c != '\r') {
                line += c;
                continue;
            }
            const auto command = std::exchange(line, {});
            if (!command.empty())
                commands.push_back(command), ++*heard;
            if (silent)
                continue;
            if (!refuse.empty() && command.starts_with(refuse))
                out += '\a';
            else if (command.empty() || command[0] < 'a')
                out += command.starts_with("T") ? "Z\r" : "\r";
            else if (acknowledges)
                out += "z\r";
            if (command == "t7DF3020105")
                out += "t7E840341055A\r";
        }
        return out;
    }
};

} // namespace

TEST_CASE("an adapter is opened at its bit rate, asked, and closed") {
    Adapter adapter;
    Device device(std::ref(adapter));
    Loop loop;
    {
        auto link = make_link(loop.context.get_executor(), "slcan:" + device.path() + "@500k");
        REQUIRE(link);
        const auto opened = loop.open(**link);
        REQUIRE_MESSAGE(!opened.error, (*link)->trouble());
        CHECK(opened.up.bit_rate == 500'000);
        const Data request{2, 1, 5};
        const Time before = now();
        CHECK(!loop.send(**link, can(0x7DF, request)));
        const auto got = loop.receive(**link);
        REQUIRE(!got.error);
        CHECK(got.bytes == Data{3, 0x41, 5, 0x5A});
        CHECK(got.received.time >= before);
        CHECK(got.received.time <= now());
        CHECK(loop.receive(**link, 20ms).error == LinkError::timed_out);
    }
    loop.run_until([&] { return *adapter.heard >= 5; });
    device.unplug();
    CHECK(adapter.commands == std::vector<std::string>{"C", "S6", "O", "t7DF3020105", "C"});
}

TEST_CASE("an adapter that never answers is used all the same") {
    Adapter adapter;
    adapter.silent = true;
    Device device(std::ref(adapter));
    Loop loop;
    auto link = make_link(loop.context.get_executor(), "slcan:" + device.path());
    REQUIRE(link);
    OpenSettings settings;
    settings.can.bit_rate = 250'000;
    REQUIRE(!loop.open(**link, settings).error);
    const Data data{1};
    CHECK(!loop.send(**link, can(1, data)));
    device.say("t00110");
    device.say("1\r");
    CHECK(loop.receive(**link).bytes == Data{1});
    loop.run_until([&] { return *adapter.heard >= 4; });
    device.unplug(); // so that the "C" at the end is not heard while this looks
    CHECK(adapter.commands == std::vector<std::string>{"C", "S5", "O", "t001101"});
}

TEST_CASE("refusals, a plug that is pulled, and opening again") {
    Loop loop;
    {
        Adapter adapter;
        adapter.refuse = "S";
        Device device(std::ref(adapter));
        auto link = make_link(loop.context.get_executor(), "slcan:" + device.path() + "@1M");
        CHECK(loop.open(**link).error == LinkError::refused);
        CHECK((*link)->trouble().find("bit rate") != std::string::npos);
    }
    Adapter adapter;
    adapter.refuse = "t";
    Device device(std::ref(adapter));
    auto link = make_link(loop.context.get_executor(), "slcan:" + device.path());
    REQUIRE(!loop.open(**link).error);
    const Data data{1};
    CHECK(loop.send(**link, can(1, data)) == LinkError::refused);
    REQUIRE(!loop.open(**link).error); // again, as after a change of settings
    error_code ended;
    (*link)->async_receive(no_timeout, [&](error_code error, const Received&) { ended = error; });
    device.unplug();
    loop.run_until([&] { return static_cast<bool>(ended); });
    CHECK(ended == LinkError::gone);
    CHECK(loop.send(**link, can(1, data)) == LinkError::not_open);
    CHECK(loop.open(**link).error == LinkError::cannot_open);
    CHECK(!(*link)->trouble().empty());
}

TEST_CASE("the adapter's own times, and what is no frame") {
    Adapter adapter;
    Device device(std::ref(adapter));
    Loop loop;
    auto link = make_link(loop.context.get_executor(), "slcan:" + device.path() + ",times");
    REQUIRE(!loop.open(**link).error);
    // Each a little later than the adapter's clock says: the delay of the way here.
    device.say("t0010EA50\rrubbish\r");
    const auto first = loop.receive(**link);
    std::this_thread::sleep_for(25ms);
    device.say("t0010EA5F\r");
    const auto second = loop.receive(**link);
    std::this_thread::sleep_for(25ms);
    device.say("t00100005\rt1239\r");
    const auto third = loop.receive(**link);
    CHECK(first.received.from == TimeFrom::device);
    CHECK(second.received.time - first.received.time == 15 * nanoseconds_a_millisecond);
    // 60 000 ms are a turn: from 59 999 to 5 are 6 ms.
    CHECK(third.received.time - second.received.time == 6 * nanoseconds_a_millisecond);
    CHECK(third.received.time <= now());
    loop.run_until([&] { return (*link)->counts().bad == 2; });
}

TEST_CASE("a flood is bounded, and what is lost is told") {
    Adapter adapter;
    Device device(std::ref(adapter));
    Loop loop;
    auto link = make_link(loop.context.get_executor(), "slcan:" + device.path());
    REQUIRE(!loop.open(**link).error);
    std::atomic<bool> said = false;
    std::thread flood([&] {
        std::string text;
        for (int i = 0; i < 6000; ++i)
            text += "t1230\r";
        for (std::size_t at = 0; at < text.size();) {
            const auto part = text.substr(at, 500);
            std::this_thread::sleep_for(200us);
            device.say(part);
            at += part.size();
        }
        said = true;
    });
    const auto all = [&] { return (*link)->counts().received + (*link)->counts().lost == 6000; };
    loop.run_until([&] { return said && all() && (*link)->counts().lost > 0; }, 60s);
    flood.join();
    std::uint64_t lost = 0;
    std::uint64_t came = 0;
    for (;;) {
        const auto got = loop.receive(**link, 100ms);
        if (got.error)
            break;
        ++came;
        lost += got.received.lost;
    }
    device.say("t1230\r");
    lost += loop.receive(**link).received.lost;
    CHECK(came + lost == 6000);
    CHECK(lost == (*link)->counts().lost);
}
