// SPDX-License-Identifier: Apache-2.0
#include <chrono>
#include <functional>
#include <future>
#include <optional>
#include <thread>
#include <tuple>
#include <utility> // Boost 1.74 forgets it in awaitable.hpp
#include <vector>

#include <boost/asio/co_spawn.hpp>
#include <boost/asio/detached.hpp>
#include <boost/asio/io_context.hpp>
#include <boost/asio/use_awaitable.hpp>
#include <boost/asio/use_future.hpp>
#include <doctest/doctest.h>

#include "telltale/link/pair.hpp"

using namespace telltale;
using namespace telltale::link;
using namespace std::chrono_literals;
namespace asio = boost::asio;

namespace {

const std::vector<std::uint8_t> request{0x02, 0x01, 0x0C, 0, 0, 0, 0, 0};

CanFrame frame(std::uint32_t id, Bytes data) {
    CanFrame can;
    can.id.value = id;
    can.data = data;
    return can;
}

struct Two {
    asio::io_context context{1};
    std::unique_ptr<Link> first;
    std::unique_ptr<Link> second;
    explicit Two(const PairOptions& options = {}) {
        std::tie(first, second) =
            in_process_pair(context.get_executor(), context.get_executor(), options);
    }
    void run() {
        context.restart();
        context.run_for(5s);
    }
    void open() {
        int opened = 0;
        for (auto* link : {first.get(), second.get()})
            link->async_open({}, 1s, [&](error_code error, LineUp) { opened += !error; });
        run();
        REQUIRE(opened == 2);
    }
};

} // namespace

TEST_CASE("what one end sends the other receives, with a time") {
    Two two;
    two.open();
    const Time before = now();
    error_code sent_error = LinkError::gone;
    Sent sent;
    two.first->async_send(frame(0x7DF, request), 1s, [&](error_code error, Sent told) {
        sent_error = error;
        sent = told;
    });
    std::optional<Received> got;
    two.second->async_receive(1s, [&](error_code error, Received received) {
        REQUIRE(!error);
        got = received;
    });
    two.run();
    CHECK(!sent_error);
    REQUIRE(got);
    const auto* can = std::get_if<CanFrame>(&got->traffic);
    REQUIRE(can);
    CHECK(can->id.value == 0x7DF);
    CHECK(std::vector(can->data.begin(), can->data.end()) == request);
    CHECK(got->time == sent.time);
    CHECK(got->time >= before);
    CHECK(got->time <= now());
    CHECK(got->lost == 0);
    CHECK(two.first->counts().sent == 1);
    CHECK(two.second->counts().received == 1);
}

TEST_CASE("futures, from another thread") {
    Two two;
    auto work = asio::make_work_guard(two.context);
    auto opened = two.first->async_open({}, 1s, asio::use_future);
    auto opened_too = two.second->async_open({}, 1s, asio::use_future);
    auto receiving = two.second->async_receive(1s, asio::use_future);
    std::thread loop([&] { two.context.run(); });
    CHECK(opened.get().fd);
    opened_too.get();
    CHECK_THROWS_AS(receiving.get(), boost::system::system_error); // ended by the opening
    work.reset();
    loop.join();
    receiving = two.second->async_receive(1s, asio::use_future);
    auto sending = two.first->async_send(frame(0x7E0, request), 1s, asio::use_future);
    two.run();
    sending.get();
    CHECK(std::get<CanFrame>(receiving.get().traffic).id.value == 0x7E0);
}

#ifdef BOOST_ASIO_HAS_CO_AWAIT
TEST_CASE("awaitables") {
    Two two;
    bool done = false;
    asio::co_spawn(
        two.context,
        [&]() -> asio::awaitable<void> {
            co_await two.first->async_open({}, 1s, asio::use_awaitable);
            co_await two.second->async_open({}, 1s, asio::use_awaitable);
            for (std::uint32_t id = 0; id < 100; ++id) {
                co_await two.first->async_send(frame(id, request), 1s, asio::use_awaitable);
                const auto got = co_await two.second->async_receive(1s, asio::use_awaitable);
                CHECK(std::get<CanFrame>(got.traffic).id.value == id);
            }
            done = true;
        },
        asio::detached);
    two.run();
    CHECK(done);
}
#endif

TEST_CASE("a receive ends at its deadline, and the next one is not disturbed") {
    Two two;
    two.open();
    error_code first;
    const auto begun = std::chrono::steady_clock::now();
    two.first->async_receive(30ms, [&](error_code error, Received) { first = error; });
    two.run();
    CHECK(first == LinkError::timed_out);
    CHECK(first == boost::system::errc::timed_out);
    CHECK(std::chrono::steady_clock::now() - begun >= 30ms);
    std::vector<error_code> ended;
    two.first->async_receive(1s, [&](error_code error, Received) { ended.push_back(error); });
    two.second->async_send(frame(1, request), 1s, [](error_code, Sent) {});
    two.run();
    CHECK(ended == std::vector<error_code>{{}});
}

TEST_CASE("cancel, close and the end of a link end what is under way, each handler once") {
    Two two;
    two.open();
    std::vector<error_code> ended;
    const auto note = [&](error_code error, Received) { ended.push_back(error); };
    two.first->async_receive(no_timeout, note);
    two.first->cancel();
    CHECK(ended.empty()); // never from inside the call
    two.run();
    REQUIRE(ended.size() == 1);
    CHECK(ended[0] == LinkError::cancelled);
    CHECK(ended[0] == boost::system::errc::operation_canceled);

    two.first->async_receive(no_timeout, note);
    two.first->async_receive(1s, note);
    two.first->close();
    two.first->async_receive(1s, note);
    two.run();
    REQUIRE(ended.size() == 4);
    CHECK(ended[1] == LinkError::busy);
    CHECK(ended[2] == LinkError::cancelled);
    CHECK(ended[3] == LinkError::not_open);

    two.second->async_receive(no_timeout, note);
    two.second.reset();
    two.run();
    REQUIRE(ended.size() == 5);
    CHECK(ended[4] == LinkError::cancelled);
    error_code sent;
    two.first->async_open({}, 1s, [](error_code, LineUp) {});
    two.first->async_send(frame(1, request), 1s, [&](error_code error, Sent) { sent = error; });
    two.run();
    CHECK(!sent); // nobody listens
}

TEST_CASE("what finds no room is counted where it is missing") {
    PairOptions options;
    options.room = 4;
    Two two(options);
    two.open();
    for (std::uint32_t id = 0; id < 10; ++id)
        two.first->async_send(frame(id, request), 1s, [](error_code, Sent) {});
    two.run();
    std::vector<std::uint32_t> ids;
    std::vector<std::uint64_t> lost;
    const auto take = [&] {
        two.second->async_receive(20ms, [&](error_code error, Received received) {
            if (error)
                return;
            ids.push_back(std::get<CanFrame>(received.traffic).id.value);
            lost.push_back(received.lost);
        });
        two.run();
    };
    for (int i = 0; i < 4; ++i)
        take();
    two.first->async_send(frame(10, request), 1s, [](error_code, Sent) {});
    take();
    CHECK(ids == std::vector<std::uint32_t>{0, 1, 2, 3, 10});
    CHECK(lost == std::vector<std::uint64_t>{0, 0, 0, 0, 6});
    CHECK(two.second->counts().lost == 6);
}

TEST_CASE("a piece that the line does not carry is refused, with a reason") {
    PairOptions options;
    options.fd = false;
    Two two(options);
    two.open();
    const auto refused = [&](const Traffic& traffic) {
        error_code ended;
        two.first->async_send(traffic, 1s, [&](error_code error, Sent) { ended = error; });
        two.run();
        CHECK(!two.first->trouble().empty());
        return ended == LinkError::bad_traffic;
    };
    const std::vector<std::uint8_t> nine(9);
    CHECK(refused(frame(1, nine)));
    CHECK(refused(frame(0x800, request)));
    CHECK(refused(KlineBytes{request}));
    CHECK(refused(DoipMessage{1, 2, request}));
    auto fd = frame(1, request);
    fd.fd = true;
    CHECK(refused(fd));

    options.line = LineKind::kline;
    Two kline(options);
    kline.open();
    std::vector<std::uint8_t> bytes{0x68, 0x6A, 0xF1, 0x01, 0x0C, 0xD0};
    error_code ended;
    kline.first->async_send(KlineBytes{bytes}, 1s, [&](error_code error, Sent) { ended = error; });
    kline.run();
    CHECK(!ended);
    bytes.back() ^= 1;
    kline.first->async_send(KlineBytes{bytes}, 1s, [&](error_code error, Sent) { ended = error; });
    kline.run();
    CHECK(ended == LinkError::bad_traffic);
    CHECK(kline.first->trouble().find("checksum") != std::string::npos);
}

TEST_CASE("two threads, one end each") {
    asio::io_context here{1};
    asio::io_context there{1};
    std::unique_ptr<Link> first;
    std::unique_ptr<Link> second;
    std::tie(first, second) = in_process_pair(here.get_executor(), there.get_executor());
    constexpr std::uint32_t count = 20'000;
    std::uint64_t came = 0;
    std::uint64_t lost = 0;
    bool ordered = true;
    std::uint32_t next = 0;
    std::function<void()> receive = [&] {
        second->async_receive(500ms, [&](error_code error, Received received) {
            if (error)
                return;
            const auto id = std::get<CanFrame>(received.traffic).id.value;
            lost += received.lost;
            ordered = ordered && id == next + received.lost;
            next = id + 1;
            ++came;
            receive();
        });
    };
    second->async_open({}, 1s, [&](error_code, LineUp) { receive(); });
    there.run_one();
    std::uint32_t id = 0;
    std::function<void()> send = [&] {
        auto can = frame(id++, request);
        can.id.extended = true;
        first->async_send(can, 1s, [&](error_code error, Sent) {
            if (!error && id < count)
                send();
        });
    };
    first->async_open({}, 1s, [&](error_code, LineUp) { send(); });
    std::thread other([&] { there.run(); });
    here.run();
    other.join();
    CHECK(ordered);
    CHECK(came + lost + (count - next) == count);
    CHECK(came > 0);
}
