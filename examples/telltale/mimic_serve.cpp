// SPDX-License-Identifier: Apache-2.0
// The simulated vehicle on a line: drives the state machines of telltale::mimic by Asio.
#include "mimic_serve.hpp"

#include <algorithm>
#include <array>
#include <cerrno>
#include <chrono>
#include <csignal>
#include <cstdio>
#include <cstdlib>
#include <cstring>
#include <deque>
#include <functional>
#include <memory>
#include <utility>
#include <vector>

#include <fcntl.h>
#include <termios.h>
#include <unistd.h>

#include <boost/asio/io_context.hpp>
#include <boost/asio/ip/tcp.hpp>
#include <boost/asio/ip/udp.hpp>
#include <boost/asio/posix/stream_descriptor.hpp>
#include <boost/asio/signal_set.hpp>
#include <boost/asio/ssl/context.hpp>
#include <boost/asio/ssl/stream.hpp>
#include <boost/asio/steady_timer.hpp>
#include <boost/asio/write.hpp>

#include "serial_speed.hpp"
#include "telltale/isotp/options.hpp"
#include "telltale/link/doip.hpp"
#include "telltale/link/open.hpp"
#include "telltale/link/serial_can.hpp"
#include "telltale/mimic/kline_end.hpp"

namespace telltale::program {

namespace {

namespace asio = boost::asio;
using boost::system::error_code;

/// The vehicle lives on while nobody asks.
constexpr Time heartbeat = 5 * nanoseconds_a_second;
constexpr std::size_t most_queued = 8192; // frames or pieces that the line has not taken yet

/// One line with the vehicle on it. It tells when it is due, and ends with `stop`.
class Server {
  public:
    Server(asio::io_context& context, mimic::Vehicle& vehicle)
        : vehicle_(vehicle), context_(context), timer_(context) {}
    virtual ~Server() = default;
    Server(const Server&) = delete;
    Server& operator=(const Server&) = delete;

    /// Begins; the name of the link by which it is reached. Errors: `cannot_open`.
    virtual Result<std::string> open() = 0;
    const Result<void>& outcome() const { return outcome_; }

    /// Does what is due, and comes back when there is more.
    void tick() {
        const Time now = link::now();
        due(now);
        const Time next = std::min(next_wakeup(), now + heartbeat);
        timer_.expires_after(std::chrono::nanoseconds(std::max<Time>(next - link::now(), 0)));
        timer_.async_wait([this](error_code error) {
            if (!error)
                tick();
        });
    }

  protected:
    virtual void due(Time now) = 0;
    virtual Time next_wakeup() const = 0;
    void stop(ErrorCode code, std::string why) {
        if (outcome_)
            outcome_ = fail(code, std::move(why));
        context_.stop();
    }

    mimic::Vehicle& vehicle_;
    asio::io_context& context_;

  private:
    asio::steady_timer timer_;
    Result<void> outcome_;
};

/// An ECU among others on a CAN bus, by a link.
class OnBus final : public Server {
  public:
    OnBus(asio::io_context& context, mimic::Vehicle& vehicle, std::unique_ptr<link::Link> line)
        : Server(context, vehicle), line_(std::move(line)) {}

    Result<std::string> open() override {
        error_code problem;
        bool done = false;
        line_->async_open({}, std::chrono::seconds(10), [&](error_code error, link::LineUp) {
            problem = error;
            done = true;
        });
        while (!done && context_.run_one() > 0) {
        }
        if (problem)
            return fail(ErrorCode::cannot_open, line_->trouble());
        receive();
        return line_->name();
    }

  private:
    void receive() {
        line_->async_receive(link::no_timeout, [this](error_code error, link::Received received) {
            if (error)
                return stop(ErrorCode::cannot_read, line_->trouble());
            if (const auto* frame = std::get_if<CanFrame>(&received.traffic))
                vehicle_.feed(*frame, link::now());
            receive();
            tick();
        });
    }
    void due(Time now) override {
        vehicle_.poll(now, [this](const CanFrame& frame) {
            if (waiting_.size() < most_queued)
                waiting_.push_back({frame, {frame.data.begin(), frame.data.end()}});
        });
        send();
    }
    void send() {
        if (sending_ || waiting_.empty())
            return;
        sending_ = true;
        Frame& next = waiting_.front();
        next.frame.data = next.data;
        line_->async_send(next.frame, std::chrono::seconds(1),
                          [this](error_code error, link::Sent) {
                              sending_ = false;
                              waiting_.pop_front();
                              if (error == link::make_error_code(link::LinkError::gone))
                                  return stop(ErrorCode::cannot_write, line_->trouble());
                              send();
                          });
    }
    Time next_wakeup() const override { return vehicle_.next_wakeup(); }

    struct Frame {
        CanFrame frame;
        std::vector<std::uint8_t> data;
    };
    std::unique_ptr<link::Link> line_;
    std::deque<Frame> waiting_;
    bool sending_ = false;
};

/// A serial port, or a pseudo-terminal of its own.
class Port : public Server {
  public:
    Port(asio::io_context& context, mimic::Vehicle& vehicle, std::string device, std::string kind)
        : Server(context, vehicle), device_(std::move(device)), kind_(std::move(kind)),
          stream_(context) {}
    ~Port() override {
        if (far_ >= 0)
            ::close(far_);
    }

    Result<std::string> open() override {
        const auto cannot = [&](const std::string& what) {
            return fail(ErrorCode::cannot_open, what + ": " + std::strerror(errno));
        };
        int port = -1;
        std::string name = device_;
        if (own_terminal()) {
            port = ::posix_openpt(O_RDWR | O_NOCTTY | O_CLOEXEC);
            if (port < 0 || ::grantpt(port) != 0 || ::unlockpt(port) != 0)
                return cannot("cannot make a pseudo-terminal");
            std::array<char, 128> path{};
            if (::ptsname_r(port, path.data(), path.size()) != 0)
                return cannot("cannot name the pseudo-terminal");
            name = path.data();
            // Kept open at the other end, too: testers may come and go.
            far_ = ::open(name.c_str(), O_RDWR | O_NOCTTY | O_CLOEXEC);
            if (far_ < 0 || !set_raw(far_))
                return cannot("cannot set up " + name);
        } else {
            port = ::open(name.c_str(), O_RDWR | O_NOCTTY | O_NONBLOCK | O_CLOEXEC);
            if (port < 0 || !set_raw(port))
                return cannot("cannot open " + name);
        }
        error_code error;
        stream_.assign(port, error);
        if (error)
            return fail(ErrorCode::cannot_open, name + ": " + error.message());
        read();
        // A pseudo-terminal carries no wake-up.
        return kind_ + ":" + name + (own_terminal() && kind_ == "kline" ? "@none" : "");
    }

  protected:
    bool own_terminal() const { return device_ == "pty"; }
    virtual void heard(Bytes bytes) = 0;
    /// Bytes for the line. While nobody reads, what finds no room is lost.
    void put(Bytes bytes) {
        if (out_.size() + bytes.size() > most_queued * 32)
            return;
        out_.insert(out_.end(), bytes.begin(), bytes.end());
        write();
    }
    virtual bool set_speed(int /*port*/) const { return true; }

  private:
    bool set_raw(int port) const {
        termios settings{};
        if (::tcgetattr(port, &settings) != 0)
            return false;
        ::cfmakeraw(&settings);
        settings.c_cflag |= CLOCAL | CREAD;
        settings.c_cflag &= ~static_cast<tcflag_t>(CRTSCTS);
        return ::tcsetattr(port, TCSANOW, &settings) == 0 && set_speed(port);
    }
    void read() {
        stream_.async_read_some(asio::buffer(in_), [this](error_code error, std::size_t size) {
            if (error)
                return stop(ErrorCode::cannot_read, "the port is gone: " + error.message());
            heard(Bytes(in_).first(size));
            read();
            tick();
        });
    }
    void write() {
        if (writing_ || out_.empty())
            return;
        writing_ = true;
        leaving_.swap(out_);
        out_.clear();
        asio::async_write(stream_, asio::buffer(leaving_), [this](error_code error, std::size_t) {
            writing_ = false;
            if (error)
                return stop(ErrorCode::cannot_write, "the port is gone: " + error.message());
            write();
        });
    }

    std::string device_;
    std::string kind_;
    asio::posix::stream_descriptor stream_;
    int far_ = -1;
    std::array<std::uint8_t, 1024> in_{};
    std::vector<std::uint8_t> out_;
    std::vector<std::uint8_t> leaving_;
    bool writing_ = false;
};

/// What lies behind an adapter that speaks the serial-line CAN ASCII of the kernel's slcan driver:
/// a bus of 500 kbit/s, and the vehicle on it.
class Adapter final : public Port {
  public:
    Adapter(asio::io_context& context, mimic::Vehicle& vehicle)
        : Port(context, vehicle, "pty", "slcan") {}

  private:
    void heard(Bytes bytes) override {
        for (const auto byte : bytes) {
            if (byte != '\r') {
                if (line_.size() < 160)
                    line_ += static_cast<char>(byte);
                continue;
            }
            const std::string line = std::exchange(line_, {});
            say(command(line));
        }
    }
    std::string command(const std::string& line) {
        static const std::string refused = "\a";
        if (line.empty())
            return "\r";
        switch (line[0]) {
        case 'S': // bit rate; at another than the bus's nothing comes through
            if (open_ || line.size() != 2 || line[1] < '0' || line[1] > '8')
                return refused;
            matches_ = line[1] == '6';
            return "\r";
        case 'O':
        case 'L':
            if (open_ || line.size() != 1)
                return refused;
            open_ = true;
            listens_ = line[0] == 'L';
            return "\r";
        case 'C':
            open_ = false;
            return "\r";
        case 'V':
            return "V0100\r";
        case 'N':
            return "NTELL\r";
        case 'F':
            return open_ ? "F00\r" : refused;
        case 'Z':
            if (line.size() != 2 || (line[1] != '0' && line[1] != '1'))
                return refused;
            stamps_ = line[1] == '1';
            return "\r";
        case 't':
        case 'T':
        case 'r':
        case 'R': {
            const bool extended = line[0] == 'T' || line[0] == 'R';
            if (!open_ || listens_)
                return refused;
            link::SerialCanParser parser;
            link::SerialCanEvent event;
            const std::string whole = line + "\r";
            Bytes left(reinterpret_cast<const std::uint8_t*>(whole.data()), whole.size());
            if (!parser.next(left, event) || event.kind != link::SerialCanEvent::Kind::frame)
                return refused;
            if (matches_)
                vehicle_.feed(event.frame, link::now());
            return extended ? "Z\r" : "z\r";
        }
        default:
            return refused;
        }
    }
    void say(const std::string& text) {
        put(Bytes(reinterpret_cast<const std::uint8_t*>(text.data()), text.size()));
    }
    void due(Time now) override {
        vehicle_.poll(now, [&](const CanFrame& frame) {
            if (!open_ || !matches_)
                return;
            std::string text;
            link::append_serial_can(text, frame);
            if (stamps_) {
                std::array<char, 8> stamp{};
                std::snprintf(stamp.data(), stamp.size(), "%04X",
                              static_cast<unsigned>(now / nanoseconds_a_millisecond % 60'000));
                text.insert(text.size() - 1, stamp.data());
            }
            say(text);
        });
    }
    Time next_wakeup() const override { return vehicle_.next_wakeup(); }

    std::string line_;
    bool open_ = false;
    bool listens_ = false;
    bool matches_ = true;
    bool stamps_ = false;
};

/// The ECUs' end of a K-line.
class KlinePort final : public Port {
  public:
    KlinePort(asio::io_context& context, mimic::Vehicle& vehicle, const std::string& device,
              bool iso_14230)
        : Port(context, vehicle, device, "kline"), end_(vehicle, iso_14230, device != "pty") {}

  private:
    bool set_speed(int port) const override {
        return own_terminal() || set_serial_speed(port, 10'400);
    }
    void heard(Bytes bytes) override {
        if (own_terminal()) {
            put(bytes); // one wire: the tester hears itself
        } else {
            // ... and so do we.
            while (!bytes.empty() && !echo_.empty() && bytes.front() == echo_.front()) {
                echo_.pop_front();
                bytes = bytes.subspan(1);
            }
            if (!bytes.empty())
                echo_.clear();
        }
        end_.feed(bytes, link::now());
    }
    void due(Time now) override {
        vehicle_.poll(now, [](const CanFrame&) {});
        end_.poll(now, [this](Bytes bytes) {
            if (!own_terminal())
                echo_.insert(echo_.end(), bytes.begin(), bytes.end());
            put(bytes);
        });
    }
    Time next_wakeup() const override { return end_.next_wakeup(); }

    mimic::KlineEnd end_;
    std::deque<std::uint8_t> echo_;
};

/// A DoIP entity (ISO 13400-2): vehicle identification by UDP; routing activation and diagnostic
/// messages by TCP, or by TLS alone where there is an identity. Its ECUs have the logical addresses
/// 0100 and their address on the older lines.
class DoipEntity final : public Server {
  public:
    DoipEntity(asio::io_context& context, mimic::Vehicle& vehicle, const link::LinkName& name,
               std::string identity)
        : Server(context, vehicle), host_(name.place), port_(name.port),
          identity_(std::move(identity)), acceptor_(context), finder_(context) {
        if (port_ == 0)
            port_ = name.tls ? link::doip::tls_port : link::doip::port;
        if (name.tls)
            tls_.emplace(asio::ssl::context::tls_server);
    }

    Result<std::string> open() override {
        error_code error;
        if (tls_) { // ISO 13400-2:2019: TLS 1.2 or later
            tls_->set_options(asio::ssl::context::no_sslv2 | asio::ssl::context::no_sslv3 |
                                  asio::ssl::context::no_tlsv1 | asio::ssl::context::no_tlsv1_1,
                              error);
            if (!error)
                tls_->use_certificate_chain_file(identity_, error);
            if (!error)
                tls_->use_private_key_file(identity_, asio::ssl::context::pem, error);
            if (error)
                return fail(ErrorCode::cannot_open,
                            "'" + identity_ +
                                "' is no certificate with its key (PEM): " + error.message());
        }
        const auto address = asio::ip::make_address(host_, error);
        if (error)
            return fail(ErrorCode::bad_argument,
                        "'" + host_ + "' is no address to listen at: give one of this machine's");
        const asio::ip::tcp::endpoint at(address, port_);
        acceptor_.open(at.protocol(), error);
        if (!error)
            acceptor_.set_option(asio::ip::tcp::acceptor::reuse_address(true), error);
        if (!error)
            acceptor_.bind(at, error);
        if (!error)
            acceptor_.listen(4, error);
        const std::uint16_t port = error ? port_ : acceptor_.local_endpoint(error).port();
        if (!error)
            finder_.open(address.is_v6() ? asio::ip::udp::v6() : asio::ip::udp::v4(), error);
        if (!error)
            finder_.bind(asio::ip::udp::endpoint(address, port), error);
        if (error)
            return fail(ErrorCode::cannot_open, "cannot listen at " + host_ + " port " +
                                                    std::to_string(port_) + ": " + error.message());
        accept();
        find();
        const std::string shown = address.is_v6() ? "[" + host_ + "]" : host_;
        return "doip:" + shown + ":" + std::to_string(port) + (tls_ ? ",tls" : "");
    }

  private:
    static constexpr std::uint16_t entity = 0x0100;
    static constexpr std::uint16_t functional = 0xE000; // ISO 13400-2: OBD
    static constexpr std::size_t most_sessions = 4;
    static constexpr std::size_t most_answers = 256;   // of a session, that wait for their time
    static constexpr std::size_t most_out = 1U << 20U; // bytes that nobody takes

    std::uint16_t logical(std::size_t ecu) const {
        return static_cast<std::uint16_t>(entity + vehicle_.address(ecu));
    }

    struct Session {
        explicit Session(asio::ip::tcp::socket taken) : socket(std::move(taken)) {}
        asio::ip::tcp::socket socket;
        std::optional<asio::ssl::stream<asio::ip::tcp::socket&>> secure; ///< over the socket
        link::doip::Parser parser;
        std::array<std::uint8_t, 4096> in{};
        std::vector<std::uint8_t> out;
        std::vector<std::uint8_t> leaving;
        bool writing = false;
        bool closing = false; // when all is written
        bool closed = false;
        std::uint16_t tester = 0; // 0: no routing activation yet
        struct Later {
            Time at;
            std::uint16_t source;
            std::vector<std::uint8_t> bytes;
        };
        std::deque<Later> later; // ascending in time
    };
    using SessionPtr = std::shared_ptr<Session>;

    void accept() {
        acceptor_.async_accept([this](error_code error, asio::ip::tcp::socket socket) {
            if (error)
                return stop(ErrorCode::cannot_read, error.message());
            sessions_.erase(std::remove_if(sessions_.begin(), sessions_.end(),
                                           [](const SessionPtr& s) { return s->closed; }),
                            sessions_.end());
            if (sessions_.size() < most_sessions) { // else the socket closes here
                error_code ignored;
                socket.set_option(asio::ip::tcp::no_delay(true), ignored);
                begin(sessions_.emplace_back(std::make_shared<Session>(std::move(socket))));
            }
            accept();
        });
    }

    void begin(const SessionPtr& s) {
        if (!tls_)
            return read(s);
        s->secure.emplace(s->socket, *tls_);
        s->secure->async_handshake(asio::ssl::stream_base::server, [this, s](error_code error) {
            if (error)
                return close(s);
            read(s);
        });
    }

    void close(const SessionPtr& s) {
        s->closed = true;
        s->later.clear();
        error_code ignored;
        s->socket.close(ignored);
    }

    void read(const SessionPtr& s) {
        const auto taken = [this, s](error_code error, std::size_t size) {
            if (error || s->closed)
                return close(s);
            Bytes bytes = Bytes(s->in).first(size);
            link::doip::Packet packet;
            while (s->parser.next(bytes, packet))
                take(*s, packet);
            if (s->parser.broken()) { // ISO 13400-2: incorrect pattern, and the connection closes
                const std::array<std::uint8_t, 1> code{0x00};
                link::doip::append(s->out, link::doip::Type::negative_acknowledge, code);
                s->closing = true;
                return write(s);
            }
            write(s);
            read(s);
            tick();
        };
        if (s->secure)
            s->secure->async_read_some(asio::buffer(s->in), taken);
        else
            s->socket.async_read_some(asio::buffer(s->in), taken);
    }

    void write(const SessionPtr& s) {
        if (s->writing || s->closed)
            return;
        if (s->out.empty())
            return s->closing ? close(s) : void();
        s->writing = true;
        s->leaving.swap(s->out);
        s->out.clear();
        const auto written = [this, s](error_code error, std::size_t) {
            s->writing = false;
            if (error)
                return close(s);
            write(s);
        };
        if (s->secure)
            asio::async_write(*s->secure, asio::buffer(s->leaving), written);
        else
            asio::async_write(s->socket, asio::buffer(s->leaving), written);
    }

    void take(Session& s, const link::doip::Packet& packet) {
        using link::doip::Type;
        switch (packet.type) {
        case Type::activation_request: {
            if (packet.payload.size() != 7 && packet.payload.size() != 11)
                return refuse(s, 0x04); // invalid payload length
            const auto tester = static_cast<std::uint16_t>(big_endian(packet.payload, 0, 2));
            const std::uint8_t kind = packet.payload[2];
            // 00: unknown source address; 06: unsupported activation type; 10: done.
            const std::uint8_t code = tester == 0 ? 0x00 : kind > 0x01 ? 0x06 : 0x10;
            std::vector<std::uint8_t> payload;
            put(payload, tester);
            put(payload, entity);
            payload.insert(payload.end(), {code, 0, 0, 0, 0});
            if (code == 0x10)
                s.tester = tester;
            return link::doip::append(s.out, Type::activation_response, payload);
        }
        case Type::message: {
            const auto message = link::doip::parse_message(packet.payload);
            if (!message)
                return refuse(s, 0x04);
            return diagnose(s, *message);
        }
        case Type::alive_response:
            return;
        default:
            return refuse(s, 0x01); // unknown payload type
        }
    }

    void diagnose(Session& s, const link::DoipMessage& message) {
        using link::doip::Type;
        std::optional<unsigned> ecu;
        for (std::size_t i = 0; i < vehicle_.ecus(); ++i)
            if (logical(i) == message.target)
                ecu = static_cast<unsigned>(i);
        std::uint8_t code = 0x00;
        if (s.tester == 0 || message.source != s.tester)
            code = 0x02; // invalid source address
        else if (!ecu && message.target != functional)
            code = 0x03; // unknown target address
        std::vector<std::uint8_t> payload;
        put(payload, message.target);
        put(payload, message.source);
        payload.push_back(code);
        link::doip::append(s.out, code == 0 ? Type::message_taken : Type::message_refused, payload);
        if (code != 0)
            return;
        const Time now = link::now();
        vehicle_.ask(message.bytes, ecu, now, [&](const mimic::Answer& answer) {
            if (s.later.size() >= most_answers)
                return;
            const Time at = now + answer.after;
            auto place = s.later.end();
            while (place != s.later.begin() && std::prev(place)->at > at)
                --place;
            s.later.insert(
                place, {at, logical(answer.ecu), {answer.message.begin(), answer.message.end()}});
        });
    }

    void refuse(Session& s, std::uint8_t code) {
        const std::array<std::uint8_t, 1> payload{code};
        link::doip::append(s.out, link::doip::Type::negative_acknowledge, payload);
    }

    static void put(std::vector<std::uint8_t>& out, std::uint16_t value) {
        out.push_back(static_cast<std::uint8_t>(value >> 8));
        out.push_back(static_cast<std::uint8_t>(value));
    }

    void due(Time now) override {
        vehicle_.poll(now, [](const CanFrame&) {});
        for (const auto& s : sessions_) {
            for (; !s->later.empty() && s->later.front().at <= now; s->later.pop_front())
                if (s->out.size() < most_out)
                    link::doip::append_message(
                        s->out, {s->later.front().source, s->tester, s->later.front().bytes});
            write(s);
        }
    }
    Time next_wakeup() const override {
        Time next = isotp::never;
        for (const auto& s : sessions_)
            if (!s->later.empty())
                next = std::min(next, s->later.front().at);
        return next;
    }

    /// Vehicle identification requests.
    void find() {
        finder_.async_receive_from(
            asio::buffer(datagram_), from_, [this](error_code error, std::size_t size) {
                if (!error) {
                    const auto packet = link::doip::parse_datagram(Bytes(datagram_).first(size));
                    if (packet && packet->type == link::doip::Type::identification_request) {
                        std::vector<std::uint8_t> payload;
                        const std::string& vin = vehicle_.state(0).vin;
                        payload.insert(payload.end(), vin.begin(), vin.end());
                        put(payload, entity);
                        // Identifiers of entity and group: of a locally administered kind.
                        payload.insert(payload.end(), {0x02, 0, 0, 0, 1, 0, 0x02, 0, 0, 0, 0, 0});
                        payload.insert(payload.end(),
                                       {0x00, 0x00}); // no further action, synchronized
                        std::vector<std::uint8_t> out;
                        link::doip::append(out, link::doip::Type::announcement, payload);
                        error_code ignored;
                        finder_.send_to(asio::buffer(out), from_, 0, ignored);
                    }
                }
                if (finder_.is_open())
                    find();
            });
    }

    std::string host_;
    std::uint16_t port_;
    std::string identity_;
    std::optional<asio::ssl::context> tls_;
    asio::ip::tcp::acceptor acceptor_;
    asio::ip::udp::socket finder_;
    asio::ip::udp::endpoint from_;
    std::array<std::uint8_t, 256> datagram_{};
    std::vector<SessionPtr> sessions_;
};

} // namespace

Result<void> serve_mimic(const std::string& text, mimic::Vehicle& vehicle,
                         const ServeOptions& options) {
    const auto name = link::parse_link_name(text);
    if (!name)
        return tl::unexpected(name.error());
    if (name->tls == options.identity.empty())
        return fail(ErrorCode::bad_argument, "doip:ADDRESS,tls and --identity FILE go together");
    asio::io_context context(1);
    std::unique_ptr<Server> server;
    switch (name->kind) {
    case link::LinkKind::slcan:
        if (name->place == "pty") {
            server = std::make_unique<Adapter>(context, vehicle);
            break;
        }
        [[fallthrough]];
    case link::LinkKind::can:
        server = std::make_unique<OnBus>(context, vehicle,
                                         link::make_link(context.get_executor(), *name));
        break;
    case link::LinkKind::kline:
        server = std::make_unique<KlinePort>(context, vehicle, name->place, options.iso_14230);
        break;
    case link::LinkKind::doip:
        server = std::make_unique<DoipEntity>(context, vehicle, *name, options.identity);
        break;
    case link::LinkKind::dump:
        return fail(ErrorCode::bad_argument, "a dump is written with --into FILE");
    }
    const auto reached = server->open();
    if (!reached)
        return tl::unexpected(reached.error());
    std::printf("%s\n", reached->c_str());
    std::fflush(stdout);

    asio::signal_set signals(context, SIGINT, SIGTERM);
    signals.async_wait([&](error_code, int) { context.stop(); });
    asio::steady_timer end(context);
    if (options.seconds) {
        end.expires_after(std::chrono::nanoseconds(static_cast<Time>(*options.seconds * 1e9)));
        end.async_wait([&](error_code) { context.stop(); });
    }
    server->tick();
    context.run();
    return server->outcome();
}

} // namespace telltale::program
