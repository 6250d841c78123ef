// SPDX-License-Identifier: Apache-2.0
// An event loop that is run until something has happened.
#pragma once

#include <chrono>

#include <boost/asio/io_context.hpp>

namespace telltale::tests {

/// Runs it until `done()`, for `most` at the longest. False: it has not happened by then.
template <typename Done>
bool run_until(boost::asio::io_context& io, Done done, std::chrono::milliseconds most) {
    const auto limit = std::chrono::steady_clock::now() + most;
    while (!done() && std::chrono::steady_clock::now() < limit) {
        io.restart(); // else it runs no more once it had nothing to do
        io.run_one_for(std::chrono::milliseconds(20));
    }
    return done();
}

} // namespace telltale::tests
