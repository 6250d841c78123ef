// SPDX-License-Identifier: Apache-2.0
#include <algorithm>
#include <array>
#include <deque>
#include <optional>
#include <utility>
#include <variant>
#include <vector>

#include <boost/asio/ip/udp.hpp>

#include "link/stream.hpp"
#include "telltale/isotp/endpoint.hpp"
#include "telltale/link/doip.hpp"
#include "telltale/vet/known.hpp"
#include "telltale/vet/live_doip.hpp"
#include "work.hpp"

namespace telltale::vet {

namespace asio = boost::asio;
using asio::ip::udp;

class LiveDoipVetting::Impl final : public LiveBase::Work::On<DoipVetting>,
                                    public DoipVetOutlet,
                                    private isotp::Outlet {
  public:
    Impl(LiveDoipVetting& owner, link::LinkName entity, link::Link& far_end,
         const LiveDoipOptions& options)
        : On(owner, far_end.get_executor(), options.vetting.seed), entity_(std::move(entity)),
          far_end_(far_end), options_(options), ecu_(options.ecu, ecu_options(options)),
          resolver_(far_end.get_executor()), datagrams_(far_end.get_executor()) {
        if (options_.vetting.target == 0)
            options_.vetting.target = entity_.target;
    }

    // DoipVetOutlet

    void connect(unsigned number) override {
        Line& line = lines_[number];
        line = {};
        const unsigned generation = ++line_generation_[number];
        const link::Executor executor = far_end_.get_executor();
        if (entity_.tls)
            line.stream = link::make_tls(executor, entity_.ca, !entity_.unverified, trouble_);
        else
            line.stream = link::make_tcp(executor);
        if (!line.stream) {
            asio::post(executor, [self = self(), number, generation] {
                self->was_connected(number, generation, asio::error::invalid_argument);
            });
            return;
        }
        line.stream->connect(entity_.place, port(),
                             [self = self(), number, generation](link::error_code error) {
                                 self->was_connected(number, generation, error);
                             });
    }
    void write(unsigned number, Bytes bytes) override {
        Line& line = lines_[number];
        line.out.insert(line.out.end(), bytes.begin(), bytes.end());
        write_on(number);
    }
    void close(unsigned number) override {
        ++line_generation_[number];
        if (auto stream = std::exchange(lines_[number].stream, nullptr))
            stream->close();
        lines_[number] = {};
    }
    void ask_status() override {
        resolver_.async_resolve(entity_.place, std::to_string(port()),
                                [self = self()](const link::error_code& error,
                                                const udp::resolver::results_type& found) {
                                    if (!error && !found.empty() && !self->over())
                                        self->ask_status_of(found.begin()->endpoint());
                                });
    }
    void answer(Bytes message) override {
        if (!ecu_.transmit(message, link::now()))
            answered_ = false; // told when it is safe to
    }
    void progress(std::string_view what, double part) override { tell(what, part); }

  private:
    std::shared_ptr<Impl> self() { return std::static_pointer_cast<Impl>(shared_from_this()); }

    void open_links() override {
        far_end_.async_open(options_.open, options_.open_timeout,
                            [self = self()](link::error_code error, const link::LineUp&) {
                                if (!self->over())
                                    self->far_end_opened(error);
                            });
    }

    struct Line {
        std::shared_ptr<link::Stream> stream;
        std::vector<std::uint8_t> out;
        std::shared_ptr<std::vector<std::uint8_t>> writing;
    };
    static isotp::Options ecu_options(const LiveDoipOptions& options) {
        isotp::Options out;
        out.timing = isotp::Timing::general();
        out.max_message = options.vetting.longest;
        return out;
    }
    std::uint16_t port() const {
        return entity_.port != 0 ? entity_.port
               : entity_.tls     ? link::doip::tls_port
                                 : link::doip::port;
    }

    void far_end_opened(link::error_code error) {
        if (error)
            return cannot_open(far_end_, error);
        LinkUnderTest tested;
        tested.name = to_string(entity_);
        tested.part = "under test";
        tested.settings = entity_.tls ? "DoIP over TLS" : "DoIP over TCP";
        links_ = {tested, {far_end_.name(), "reference", "an ECU on CAN, by ISO-TP"}};
        vetting_.emplace(options_.vetting, link::now());
        receive();
        go_on();
    }

    // The entity.

    void was_connected(unsigned number, unsigned generation, link::error_code error) {
        if (over() || !vetting_ || generation != line_generation_[number])
            return;
        if (error && !ever_connected_)
            return give_up(!trouble_.empty()
                               ? trouble_
                               : "cannot connect to '" + entity_.place + "': " + error.message());
        ever_connected_ = true;
        if (!error)
            read(number, generation);
        vetting_->connected(number, !error, link::now());
        go_on();
    }
    void read(unsigned number, unsigned generation) {
        auto in = std::make_shared<std::array<std::uint8_t, 8192>>();
        lines_[number].stream->read(
            *in, [self = self(), number, generation, in](link::error_code error, std::size_t size) {
                if (self->over() || generation != self->line_generation_[number])
                    return;
                if (error)
                    self->vetting_->closed(number, link::now());
                else
                    self->vetting_->read(number, Bytes(*in).first(size), link::now());
                if (!error && self->lines_[number].stream)
                    self->read(number, generation);
                self->go_on();
            });
    }
    void write_on(unsigned number) {
        Line& line = lines_[number];
        if (line.writing || line.out.empty() || !line.stream)
            return;
        line.writing = std::make_shared<std::vector<std::uint8_t>>(std::exchange(line.out, {}));
        line.stream->write(*line.writing,
                           [self = self(), number, kept = line.writing,
                            generation = line_generation_[number]](link::error_code error) {
                               if (self->over() || generation != self->line_generation_[number])
                                   return;
                               self->lines_[number].writing.reset();
                               if (!error) // else reading tells it as well
                                   self->write_on(number);
                           });
    }
    void ask_status_of(const udp::endpoint& at) {
        link::error_code error;
        datagrams_.open(at.protocol(), error);
        if (!error)
            datagrams_.connect(at, error);
        if (error)
            return;
        std::vector<std::uint8_t> question;
        link::doip::append(question, link::doip::Type::status_request, {});
        datagrams_.send(asio::buffer(question), 0, error);
        datagrams_.async_receive(
            asio::buffer(datagram_),
            [self = self()](const link::error_code& failed, std::size_t size) {
                if (failed || self->over() || !self->vetting_)
                    return;
                const auto packet = link::doip::parse_datagram(Bytes(self->datagram_).first(size));
                if (packet && packet->type == link::doip::Type::status_response)
                    self->vetting_->status(packet->payload, link::now());
                self->go_on();
            });
    }

    // The ECU.

    void receive() {
        far_end_.async_receive(link::no_timeout, [self = self()](link::error_code error,
                                                                 const link::Received& received) {
            if (!self->over())
                self->was_received(error, received);
        });
    }
    void was_received(link::error_code error, const link::Received& received) {
        if (error == link::LinkError::cancelled)
            return;
        if (is_lost(error)) {
            vetting_->gone(link::now());
            return go_on();
        }
        if (const auto* frame = std::get_if<CanFrame>(&received.traffic);
            !error && frame != nullptr && !received.own)
            ecu_.feed(*frame, link::now(), *this);
        receive();
        go_on();
    }
    void frame(const CanFrame& given, isotp::Ticket) override { frames_.push_back(keep(given)); }
    void message(const isotp::Message& whole) override {
        vetting_->heard(whole.bytes, link::now());
    }
    void transmitted(isotp::Outcome outcome, Time) override {
        answered_ = outcome == isotp::Outcome::ok;
    }
    void send_frames() {
        if (sending_ || frames_.empty())
            return;
        sending_ = true;
        far_end_.async_send(frames_.front().view(), std::chrono::seconds(2),
                            [self = self()](link::error_code, const link::Sent&) {
                                if (self->over())
                                    return;
                                self->sending_ = false;
                                self->frames_.pop_front();
                                self->go_on();
                            });
    }

    void go_on() override {
        if (over() || !vetting_)
            return;
        for (int i = 0; i < 64 && !vetting_->done(); ++i) {
            const Time now = link::now();
            bool idle = true;
            if (ecu_.next_wakeup() <= now) {
                ecu_.poll(now, *this);
                idle = false;
            }
            if (const auto told = std::exchange(answered_, {})) {
                vetting_->answered(*told, now);
                idle = false;
            }
            if (vetting_->next_wakeup() <= now) {
                vetting_->poll(now, *this);
                idle = false;
            }
            if (idle)
                break;
        }
        if (vetting_->done())
            return finish(true);
        send_frames();
        wake_at(std::min(vetting_->next_wakeup(), ecu_.next_wakeup()));
    }
    void shut() override {
        resolver_.cancel();
        link::error_code ignored;
        datagrams_.close(ignored);
        for (unsigned i = 0; i < DoipVetting::lines; ++i)
            close(i);
        far_end_.close();
    }
    link::LinkName entity_;
    link::Link& far_end_;
    LiveDoipOptions options_;
    isotp::Endpoint ecu_;
    udp::resolver resolver_;
    udp::socket datagrams_;
    std::array<std::uint8_t, 256> datagram_{};
    std::array<Line, DoipVetting::lines> lines_;
    /// What was begun before it was closed counts no more.
    std::array<unsigned, DoipVetting::lines> line_generation_{};
    std::deque<KnownFrame> frames_;
    bool sending_ = false;
    bool ever_connected_ = false;
    std::optional<bool> answered_;
};

LiveDoipVetting::LiveDoipVetting(const link::LinkName& entity, link::Link& far_end,
                                 const LiveDoipOptions& options)
    : LiveBase(std::make_shared<Impl>(*this, entity, far_end, options)) {}

} // namespace telltale::vet
