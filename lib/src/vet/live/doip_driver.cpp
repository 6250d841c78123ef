// SPDX-License-Identifier: Apache-2.0
#include <algorithm>
#include <array>
#include <deque>
#include <memory>
#include <optional>
#include <string>
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

class LiveDoipVetting::Impl final : public LiveBase::Work::On<DoipVetting>, public DoipVetOutlet {
  public:
    Impl(LiveDoipVetting& owner, link::LinkName entity, link::Link& far_end,
         const LiveDoipOptions& options)
        : On(owner, far_end.get_executor(), options.vetting.seed), entity_(std::move(entity)),
          far_end_(far_end), options_(options), resolver_(far_end.get_executor()),
          datagrams_(far_end.get_executor()) {
        if (options_.vetting.target == 0)
            options_.vetting.target = entity_.target;
        options_.vetting.tls = entity_.tls;
        options_.vetting.unverified = entity_.unverified;
        auto& others = options_.vetting.others;
        others.resize(
            std::min({others.size(), options_.others.size(), DoipVetOptions::most_ecus - 1}));
        add_ecu(options_.ecu);
        for (std::size_t i = 0; i < others.size(); ++i)
            add_ecu(options_.others[i]);
    }

    // DoipVetOutlet

    void connect(unsigned number, DoipConnection how) override {
        Line& line = lines_[number];
        line = {};
        line.how = how;
        ++connects_;
        const unsigned generation = ++line_generation_[number];
        const link::Executor executor = far_end_.get_executor();
        if (how == DoipConnection::old_tls)
            line.stream = link::make_old_tls(executor);
        else if (how == DoipConnection::usual && entity_.tls)
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
        // Datagrams have a port of their own, where TLS is not spoken.
        const bool usual = entity_.port == 0 || entity_.port == link::doip::tls_port;
        resolver_.async_resolve(entity_.place,
                                std::to_string(usual ? link::doip::port : entity_.port),
                                [self = self()](const link::error_code& error,
                                                const udp::resolver::results_type& found) {
                                    if (!error && !found.empty() && !self->over())
                                        self->ask_status_of(found.begin()->endpoint());
                                });
    }
    void answer(unsigned ecu, Bytes message) override {
        if (!ecus_[ecu]->endpoint.transmit(message, link::now()))
            ecus_[ecu]->answered = false; // told when it is safe to
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
        DoipConnection how = DoipConnection::usual;
        std::shared_ptr<link::Stream> stream;
        std::vector<std::uint8_t> out;
        std::shared_ptr<std::vector<std::uint8_t>> writing;
    };
    /// One of those that are played.
    struct Ecu final : isotp::Outlet {
        Ecu(Impl& of, unsigned its_number, const isotp::Address& address)
            : owner(of), number(its_number), endpoint(address, ecu_options(of.options_)) {}
        void frame(const CanFrame& given, isotp::Ticket) override {
            owner.frames_.push_back(keep(given));
        }
        void message(const isotp::Message& whole) override {
            owner.vetting_->heard(number, whole.bytes, link::now());
        }
        void transmitted(isotp::Outcome outcome, Time) override {
            answered = outcome == isotp::Outcome::ok;
        }
        Impl& owner;
        unsigned number;
        isotp::Endpoint endpoint;
        std::optional<bool> answered;
    };
    void add_ecu(const isotp::Address& address) {
        ecus_.push_back(std::make_unique<Ecu>(*this, static_cast<unsigned>(ecus_.size()), address));
    }
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
        links_ = {tested,
                  {far_end_.name(), "reference",
                   ecus_.size() == 1 ? "an ECU on CAN, by ISO-TP"
                                     : std::to_string(ecus_.size()) + " ECUs on CAN, by ISO-TP"}};
        vetting_.emplace(options_.vetting, link::now());
        receive();
        go_on();
    }

    // The entity.

    void was_connected(unsigned number, unsigned generation, link::error_code error) {
        if (over() || !vetting_ || generation != line_generation_[number])
            return;
        using Kind = link::TlsOutcome::Kind;
        link::TlsOutcome tls;
        tls.kind = Kind::unable;
        if (lines_[number].stream)
            tls = lines_[number].stream->tls();
        // With an outcome of TLS there was somebody.
        if (error && connects_ == 1 && (!trouble_.empty() || tls.kind == Kind::none))
            return give_up(!trouble_.empty()
                               ? trouble_
                               : "cannot connect to '" + entity_.place + "': " + error.message());
        if (!error)
            read(number, generation);
        if (tls.kind == Kind::agreed && lines_[number].how == DoipConnection::usual)
            links_[0].settings = "DoIP over " + tls.version + ", " + tls.cipher +
                                 (entity_.unverified ? ", certificate not looked at" : "");
        vetting_->connected(number, !error, link::now(), tls);
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
            heard(*frame);
        receive();
        go_on();
    }
    void heard(const CanFrame& frame) {
        if (is_functional(frame.id) && frame.id.extended == options_.ecu.rx.extended)
            return heard_by_all(frame);
        for (const auto& ecu : ecus_)
            ecu->endpoint.feed(frame, link::now(), *ecu);
    }
    /// A single frame has its length in front (ISO 15765-2); of more than that the first will do.
    void heard_by_all(const CanFrame& frame) {
        if (frame.kind != CanKind::data || frame.data.size() < 2)
            return;
        const std::size_t length = frame.data[0];
        const bool first = (frame.data[0] & 0xF0) == 0x10;
        if (first || (length >= 1 && length < frame.data.size()))
            vetting_->heard(DoipVetting::everybody,
                            first ? frame.data.subspan(2) : frame.data.subspan(1, length),
                            link::now());
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
            for (const auto& ecu : ecus_) {
                if (ecu->endpoint.next_wakeup() <= now) {
                    ecu->endpoint.poll(now, *ecu);
                    idle = false;
                }
                if (const auto told = std::exchange(ecu->answered, {})) {
                    vetting_->answered(ecu->number, *told, now);
                    idle = false;
                }
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
        Time next = vetting_->next_wakeup();
        for (const auto& ecu : ecus_)
            next = std::min(next, ecu->endpoint.next_wakeup());
        wake_at(next);
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
    std::vector<std::unique_ptr<Ecu>> ecus_;
    udp::resolver resolver_;
    udp::socket datagrams_;
    std::array<std::uint8_t, 256> datagram_{};
    std::array<Line, DoipVetting::lines> lines_;
    /// What was begun before it was closed counts no more.
    std::array<unsigned, DoipVetting::lines> line_generation_{};
    std::deque<KnownFrame> frames_;
    bool sending_ = false;
    unsigned connects_ = 0;
};

LiveDoipVetting::LiveDoipVetting(const link::LinkName& entity, link::Link& far_end,
                                 const LiveDoipOptions& options)
    : LiveBase(std::make_shared<Impl>(*this, entity, far_end, options)) {}

} // namespace telltale::vet
