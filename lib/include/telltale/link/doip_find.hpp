// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <string>
#include <vector>

#include "telltale/link/doip.hpp"
#include "telltale/link/link.hpp"

namespace telltale::link::doip {

struct FindOptions {
    std::string host; ///< whom to ask; empty: everybody on the network (broadcast)
    std::uint16_t port = doip::port;
    Timeout wait = std::chrono::seconds(2); ///< for answers (ISO 13400-2: A_DoIP_Ctrl, 2 s)
};
/// At most so many vehicles are told.
inline constexpr std::size_t most_vehicles = 64;

TELLTALE_API void start_find(const Executor& executor, const FindOptions& options,
                             Completion<std::vector<Vehicle>> done);

/// Asks over UDP who is there (vehicle identification request) and gathers the answers.
/// Handler: void(error_code, std::vector<Vehicle>).
template <class Token>
auto async_find(const Executor& executor, const FindOptions& options, Token&& token) {
    return boost::asio::async_initiate<Token, void(error_code, std::vector<Vehicle>)>(
        [executor](auto&& handler, const FindOptions& wanted) {
            start_find(executor, wanted, {std::forward<decltype(handler)>(handler), executor});
        },
        token, options);
}

} // namespace telltale::link::doip
