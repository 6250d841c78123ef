// SPDX-License-Identifier: Apache-2.0
#include "telltale/link/doip_find.hpp"

#include <algorithm>

#include <boost/asio/ip/udp.hpp>
#include <boost/asio/steady_timer.hpp>

namespace telltale::link::doip {

namespace {

namespace asio = boost::asio;
using asio::ip::udp;

struct Search : std::enable_shared_from_this<Search> {
    Search(const Executor& executor, Completion<std::vector<Vehicle>> handler)
        : socket(executor), timer(executor), done(std::move(handler)) {}

    udp::socket socket;
    asio::steady_timer timer;
    Completion<std::vector<Vehicle>> done;
    std::vector<Vehicle> found;
    std::array<std::uint8_t, 512> in{};
    udp::endpoint from;

    void end(error_code error) {
        if (!done)
            return;
        error_code ignored;
        socket.close(ignored);
        timer.cancel();
        done(error, std::move(found));
    }

    void begin(const FindOptions& options) {
        error_code error;
        const auto address = options.host.empty()
                                 ? asio::ip::address(asio::ip::address_v4::broadcast())
                                 : asio::ip::make_address(options.host, error);
        if (error)
            return end(LinkError::cannot_open);
        const udp::endpoint to(address, options.port);
        socket.open(to.protocol(), error);
        if (!error && options.host.empty())
            socket.set_option(asio::socket_base::broadcast(true), error);
        std::vector<std::uint8_t> request;
        append(request, Type::identification_request, {}, any_version);
        if (!error)
            socket.send_to(asio::buffer(request), to, 0, error);
        if (error)
            return end(LinkError::cannot_open);
        timer.expires_after(options.wait);
        timer.async_wait([self = shared_from_this()](const error_code& cancelled) {
            if (!cancelled)
                self->end({});
        });
        receive();
    }

    void receive() {
        socket.async_receive_from(
            asio::buffer(in), from,
            [self = shared_from_this()](const error_code& error, std::size_t size) {
                if (!self->done)
                    return;
                if (!error)
                    self->heard(Bytes(self->in).first(size));
                else if (error == asio::error::operation_aborted)
                    return;
                self->receive();
            });
    }

    void heard(Bytes datagram) {
        const auto packet = parse_datagram(datagram);
        if (!packet || packet->type != Type::announcement)
            return;
        auto vehicle = parse_announcement(packet->payload);
        if (!vehicle || found.size() == most_vehicles)
            return;
        vehicle->host = from.address().to_string();
        const bool known = std::any_of(found.begin(), found.end(), [&](const Vehicle& other) {
            return other.host == vehicle->host && other.entity == vehicle->entity;
        });
        if (!known)
            found.push_back(std::move(*vehicle));
    }
};

} // namespace

void start_find(const Executor& executor, const FindOptions& options,
                Completion<std::vector<Vehicle>> done) {
    std::make_shared<Search>(executor, std::move(done))->begin(options);
}

} // namespace telltale::link::doip
