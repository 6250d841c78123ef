// SPDX-License-Identifier: Apache-2.0
#include <chrono>

#include <boost/asio/io_context.hpp>

#include "telltale/link/pair.hpp"

int main() {
    using namespace telltale;
    boost::asio::io_context context;
    const auto executor = context.get_executor();
    const auto pair = link::in_process_pair(executor, executor);
    link::Link* here = pair.first.get();
    link::Link* there = pair.second.get();
    constexpr std::uint8_t request[] = {2, 1, 0x0C};
    CanFrame frame;
    frame.id.value = 0x7DF;
    frame.data = request;
    bool came = false;
    const auto limit = std::chrono::seconds(1);
    there->async_open({}, limit, [&](link::error_code, link::LineUp) {
        there->async_receive(limit, [&](link::error_code error, const link::Received& received) {
            came = !error && link::bytes_of(received.traffic).size() == 3;
        });
    });
    here->async_open({}, limit, [&](link::error_code, link::LineUp) {
        here->async_send(frame, limit, [](link::error_code, link::Sent) {});
    });
    context.run();
    return came ? 0 : 1;
}
