// SPDX-License-Identifier: Apache-2.0
// gateway [FAULT [RATE [IDENTITY]]]: a DoIP entity on the loopback that is a gateway to CAN; its
// CAN has a serial-line adapter on a pseudo terminal. With an identity, a PEM file of a certificate
// and its key, it speaks TLS. Prints the names of both links and works until it is ended or its
// standard input is. tests/vet/gateway.hpp has the faults.
#include <algorithm>
#include <array>
#include <chrono>
#include <cstdio>
#include <cstdlib>
#include <deque>
#include <functional>
#include <limits>
#include <memory>
#include <optional>
#include <string>
#include <utility>
#include <vector>

#include <boost/asio/io_context.hpp>
#include <boost/asio/ip/tcp.hpp>
#include <boost/asio/ip/udp.hpp>
#include <boost/asio/posix/stream_descriptor.hpp>
#include <boost/asio/ssl/context.hpp>
#include <boost/asio/ssl/stream.hpp>
#include <boost/asio/steady_timer.hpp>
#include <boost/asio/write.hpp>

#include <openssl/ssl.h>

#include <fcntl.h>
#include <unistd.h>

#include "support/pseudo_terminal.hpp"
#include "telltale/isotp/endpoint.hpp"
#include "telltale/link/serial_can.hpp"
#include "vet/gateway.hpp"

namespace asio = boost::asio;
using asio::ip::tcp;
using boost::system::error_code;
using namespace telltale;
using vet_test::Gateway;

namespace {

class Program final {
  public:
    Program(vet_test::GatewayFault fault, unsigned rate, const std::string& identity)
        : fault_(fault), gateway_(fault, 1, rate),
          acceptor_(io_, {asio::ip::address_v4::loopback(), 0}),
          datagrams_(io_, {asio::ip::address_v4::loopback(), acceptor_.local_endpoint().port()}),
          port_(io_), input_(io_), timer_(io_) {
        for (unsigned i = 0; i < Gateway::ecus; ++i)
            ecus_.push_back(std::make_unique<Ecu>(*this, i));
        if (!identity.empty() && fault != vet_test::GatewayFault::tls_not_spoken)
            secure(identity);
        gateway_.write = [this](unsigned line, const Gateway::Message& bytes) {
            auto& out = lines_[line]->out;
            out.insert(out.end(), bytes.begin(), bytes.end());
            write(line, lines_[line]);
        };
        gateway_.close = [this](unsigned line) {
            // What was said last goes out first; then the socket closes.
            lines_[line]->closing = true;
            write(line, lines_[line]);
        };
        gateway_.to_ecu = [this](unsigned ecu, const Gateway::Message& bytes) {
            requests_.push_back({ecu, bytes});
        };
        gateway_.to_all = [this](const Gateway::Message& bytes) {
            requests_.push_back({Gateway::ecus, bytes});
        };
    }

    int run() {
        const int port = tests::open_pseudo_terminal();
        if (port < 0)
            return 1;
        // A port that nobody has open would be one that hung up; this is held to the end.
        if (::open(::ptsname(port), O_RDWR | O_NOCTTY) < 0)
            return 1;
        port_.assign(port);
        input_.assign(0);
        std::printf("doip:127.0.0.1:%u,target=%04X\nslcan:%s@500k\n",
                    static_cast<unsigned>(acceptor_.local_endpoint().port()),
                    static_cast<unsigned>(Gateway::ecu), ::ptsname(port));
        std::fflush(stdout);
        accept();
        datagram();
        read_port();
        read_input();
        io_.run();
        return 0;
    }

  private:
    /// The gateway's end of the conversation with an ECU.
    struct Ecu final : isotp::Outlet {
        Ecu(Program& of, unsigned its_number)
            : program(of), number(its_number),
              endpoint(isotp::tester_address({0x7E8 + its_number, false}), options()) {}
        void frame(const CanFrame& given, isotp::Ticket) override { program.say_frame(given); }
        void message(const isotp::Message& whole) override {
            program.gateway_.from_ecu(number, {whole.bytes.begin(), whole.bytes.end()}, now());
        }
        Program& program;
        unsigned number;
        isotp::Endpoint endpoint;
    };
    struct Request {
        unsigned ecu; ///< `Gateway::ecus`: all of them
        Gateway::Message bytes;
    };
    struct Line {
        explicit Line(tcp::socket taken) : socket(std::move(taken)) {}
        tcp::socket socket;
        std::optional<asio::ssl::stream<tcp::socket&>> tls; ///< over the socket
        std::array<std::uint8_t, 8192> in{};
        std::vector<std::uint8_t> out;
        std::vector<std::uint8_t> leaving;
        bool writing = false;
        bool closing = false;
    };
    using LinePtr = std::shared_ptr<Line>;

    static isotp::Options options() {
        isotp::Options out;
        out.timing = isotp::Timing::general();
        return out;
    }
    static Time now() {
        return std::chrono::duration_cast<std::chrono::nanoseconds>(
                   std::chrono::steady_clock::now().time_since_epoch())
            .count();
    }

    void secure(const std::string& identity) {
        tls_.emplace(asio::ssl::context::tls_server);
        SSL_CTX* raw = tls_->native_handle();
        const bool old = fault_ == vet_test::GatewayFault::tls_old;
        if (old)
            SSL_CTX_set_cipher_list(raw, "DEFAULT:@SECLEVEL=0");
        SSL_CTX_set_min_proto_version(raw, old ? TLS1_VERSION : TLS1_2_VERSION);
        tls_->use_certificate_chain_file(identity);
        tls_->use_private_key_file(identity, asio::ssl::context::pem);
    }
    void accept() {
        acceptor_.async_accept([this](error_code error, tcp::socket socket) {
            if (error)
                return;
            for (unsigned i = 0; i < Gateway::most_lines; ++i)
                if (!lines_[i]) {
                    error_code ignored;
                    socket.set_option(tcp::no_delay(true), ignored);
                    lines_[i] = std::make_shared<Line>(std::move(socket));
                    begin(i, lines_[i]);
                    break;
                }
            accept();
        });
    }
    void begin(unsigned number, const LinePtr& line) {
        if (!tls_)
            return speak(number, line);
        const bool hangs = fault_ == vet_test::GatewayFault::tls_hangs;
        if (!hangs && fault_ != vet_test::GatewayFault::tls_also_plain)
            return shake(number, line);
        line->socket.async_wait(
            tcp::socket::wait_read, [this, number, line, hangs](error_code error) {
                std::array<std::uint8_t, 1> first{};
                if (!error)
                    line->socket.receive(asio::buffer(first), tcp::socket::message_peek, error);
                if (error)
                    return end(number, line);
                constexpr std::uint8_t handshake = 0x16; // RFC 8446, 5.1
                if (hangs && first[0] == handshake)
                    return;
                hangs || first[0] == handshake ? shake(number, line) : speak(number, line);
            });
    }
    void shake(unsigned number, const LinePtr& line) {
        line->tls.emplace(line->socket, *tls_);
        line->tls->async_handshake(asio::ssl::stream_base::server,
                                   [this, number, line](error_code error) {
                                       error ? end(number, line) : speak(number, line);
                                   });
    }
    void speak(unsigned number, const LinePtr& line) {
        gateway_.connected(number);
        read(number, line);
    }
    void end(unsigned number, const LinePtr& line) {
        error_code ignored;
        line->socket.close(ignored);
        if (lines_[number] != line)
            return;
        gateway_.closed(number);
        lines_[number] = nullptr;
    }
    void read(unsigned number, const LinePtr& line) {
        const auto taken = [this, number, line](error_code error, std::size_t size) {
            if (error || lines_[number] != line)
                return end(number, line);
            if (!line->closing)
                gateway_.read(number, Bytes(line->in).first(size), now());
            read(number, line);
            go_on();
        };
        if (line->tls)
            line->tls->async_read_some(asio::buffer(line->in), taken);
        else
            line->socket.async_read_some(asio::buffer(line->in), taken);
    }
    void write(unsigned number, const LinePtr& line) {
        if (line->writing)
            return;
        if (line->out.empty()) {
            if (line->closing)
                end(number, line);
            return;
        }
        line->writing = true;
        line->leaving = std::exchange(line->out, {});
        const auto written = [this, number, line](error_code error, std::size_t) {
            line->writing = false;
            if (error)
                return end(number, line);
            write(number, line);
        };
        if (line->tls)
            asio::async_write(*line->tls, asio::buffer(line->leaving), written);
        else
            asio::async_write(line->socket, asio::buffer(line->leaving), written);
    }
    void datagram() {
        datagrams_.async_receive_from(
            asio::buffer(question_), from_, [this](error_code error, std::size_t size) {
                const auto packet = link::doip::parse_datagram(Bytes(question_).first(size));
                if (!error && packet && packet->type == link::doip::Type::status_request) {
                    std::vector<std::uint8_t> answer;
                    link::doip::append(answer, link::doip::Type::status_response,
                                       gateway_.status());
                    error_code ignored;
                    datagrams_.send_to(asio::buffer(answer), from_, 0, ignored);
                }
                datagram();
            });
    }

    void read_port() {
        port_.async_read_some(asio::buffer(in_), [this](error_code error, std::size_t size) {
            if (error)
                return io_.stop();
            for (std::size_t i = 0; i < size; ++i)
                if (in_[i] != '\r')
                    command_ += in_[i];
                else
                    command(std::exchange(command_, {}));
            read_port();
            go_on();
        });
    }
    void command(const std::string& line) {
        if (line.empty() ||
            (line[0] != 't' && line[0] != 'T' && line[0] != 'r' && line[0] != 'R')) {
            if (line == "O" || line == "C")
                open_ = line == "O";
            return say("\r");
        }
        link::SerialCanParser parser;
        link::SerialCanEvent event;
        const std::string whole = line + "\r";
        Bytes left(reinterpret_cast<const std::uint8_t*>(whole.data()), whole.size());
        if (!parser.next(left, event) || event.kind != link::SerialCanEvent::Kind::frame)
            return say("\a");
        say(line[0] == 't' || line[0] == 'r' ? "z\r" : "Z\r");
        for (const auto& ecu : ecus_)
            ecu->endpoint.feed(event.frame, now(), *ecu);
    }
    void say_frame(const CanFrame& given) {
        if (!open_)
            return;
        std::string text;
        link::append_serial_can(text, given);
        say(text);
    }
    /// To all: a single frame, or the first one of what does not fit (ISO 15765-2).
    void say_to_all(const Gateway::Message& bytes) {
        std::array<std::uint8_t, 8> data{};
        const bool fits = bytes.size() <= 7;
        data[0] = fits ? static_cast<std::uint8_t>(bytes.size()) : std::uint8_t{0x10};
        data[1] = static_cast<std::uint8_t>(bytes.size());
        std::copy_n(bytes.begin(), std::min<std::size_t>(bytes.size(), fits ? 7 : 6),
                    data.begin() + (fits ? 1 : 2));
        CanFrame frame;
        frame.id = {0x7DF, false};
        frame.data = data;
        say_frame(frame);
    }
    void say(const std::string& text) {
        said_ += text;
        write_port();
    }
    void write_port() {
        if (writing_ || said_.empty())
            return;
        writing_ = true;
        leaving_ = std::exchange(said_, {});
        asio::async_write(port_, asio::buffer(leaving_), [this](error_code error, std::size_t) {
            writing_ = false;
            if (error)
                return io_.stop();
            write_port();
        });
    }
    void read_input() {
        input_.async_read_some(asio::buffer(nothing_), [this](error_code error, std::size_t) {
            if (error)
                return io_.stop();
            read_input();
        });
    }

    bool can_send() const {
        return !requests_.empty() && (requests_.front().ecu == Gateway::ecus ||
                                      !ecus_[requests_.front().ecu]->endpoint.sending());
    }
    void go_on() {
        Time next = 0;
        for (int i = 0; i < 100; ++i) {
            gateway_.poll(now());
            if (can_send()) {
                const Request& one = requests_.front();
                if (one.ecu == Gateway::ecus)
                    say_to_all(one.bytes);
                else
                    (void)ecus_[one.ecu]->endpoint.transmit(one.bytes, now());
                requests_.pop_front();
            }
            next = gateway_.next_wakeup();
            for (const auto& ecu : ecus_) {
                if (ecu->endpoint.next_wakeup() <= now())
                    ecu->endpoint.poll(now(), *ecu);
                next = std::min(next, ecu->endpoint.next_wakeup());
            }
            if (next > now() && !can_send())
                break;
        }
        if (next == std::numeric_limits<Time>::max()) {
            timer_.cancel();
            return;
        }
        timer_.expires_after(std::chrono::nanoseconds(std::max<Time>(next - now(), 0)));
        timer_.async_wait([this](error_code error) {
            if (!error)
                go_on();
        });
    }

    asio::io_context io_{1};
    vet_test::GatewayFault fault_;
    Gateway gateway_;
    std::optional<asio::ssl::context> tls_;
    tcp::acceptor acceptor_;
    asio::ip::udp::socket datagrams_;
    asio::ip::udp::endpoint from_;
    std::array<std::uint8_t, 256> question_{};
    asio::posix::stream_descriptor port_;
    asio::posix::stream_descriptor input_;
    asio::steady_timer timer_;
    std::vector<std::unique_ptr<Ecu>> ecus_;
    std::array<LinePtr, Gateway::most_lines> lines_;
    std::deque<Request> requests_;
    std::array<char, 1024> in_{};
    std::array<char, 16> nothing_{};
    std::string command_;
    std::string said_;
    std::string leaving_;
    bool writing_ = false;
    bool open_ = false;
};

} // namespace

int main(int argc, char** argv) {
    const std::string wanted = argc > 1 ? argv[1] : "sound";
    for (const auto& one : vet_test::gateway_faults())
        if (wanted == one.name)
            return Program(one.fault, argc > 2 ? static_cast<unsigned>(std::atoi(argv[2])) : 50,
                           argc > 3 ? argv[3] : "")
                .run();
    std::fprintf(stderr, "no fault has this name: %s\n", wanted.c_str());
    return 2;
}
