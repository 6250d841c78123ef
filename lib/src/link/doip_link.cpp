// SPDX-License-Identifier: Apache-2.0
#include <array>
#include <vector>

#include "base.hpp"
#include "kinds.hpp"
#include "stream.hpp"
#include "telltale/link/doip.hpp"

namespace telltale::link {

namespace {

/// A connection to a DoIP entity (ISO 13400-2): activated for routing, it carries diagnostic
/// messages, each acknowledged.
class DoipLink final : public Base {
  public:
    DoipLink(const Executor& executor, const LinkName& name)
        : Base(executor, to_string(name), most_waiting), wanted_(name), executor_here_(executor) {}
    ~DoipLink() override { close_quietly(*this); }

    Capabilities capabilities() const override {
        Capabilities can;
        can.line = LineKind::doip;
        // The entity has acknowledged it; what it does with it on its own lines is not seen.
        can.confirms_on_wire = false;
        return can;
    }

  protected:
    void open() override {
        if (wanted_.tls) {
            std::string why;
            stream_ = make_tls(executor_here_, wanted_.ca, !wanted_.unverified, why);
            if (!stream_)
                return open_failed(LinkError::cannot_open, why);
        } else {
            stream_ = make_tcp(executor_here_);
        }
        parser_ = {};
        const std::uint16_t port = wanted_.port != 0 ? wanted_.port
                                   : wanted_.tls     ? doip::tls_port
                                                     : doip::port;
        stream_->connect(wanted_.place, port, guarded([this](error_code error) {
                             if (error)
                                 return open_failed(LinkError::cannot_open,
                                                    "cannot connect to '" + wanted_.place +
                                                        "': " + why_not(error));
                             doip::append_activation(out_, settings_.doip.tester,
                                                     settings_.doip.activation);
                             write();
                             read();
                         }));
    }

    void send(const Traffic& traffic) override {
        auto message = std::get<DoipMessage>(traffic);
        if (message.source == 0)
            message.source = settings_.doip.tester;
        if (message.target == 0)
            message.target = wanted_.target != 0 ? wanted_.target : settings_.doip.target;
        if (out_.size() > max_doip_message)
            return send_failed(LinkError::busy, "the other end takes no more messages");
        target_ = message.target;
        doip::append_message(out_, message);
        write();
    }

    void shut() override {
        forget();
        if (stream_)
            stream_->close();
        stream_.reset();
        out_.clear();
        writing_.reset();
    }

  private:
    static constexpr std::size_t most_waiting = 64; ///< messages, of up to 64 KiB

    void write() {
        if (writing_ || out_.empty())
            return;
        // Shared with the stream, which may outlive this link by the last of its writing.
        writing_ = std::make_shared<std::vector<std::uint8_t>>(std::move(out_));
        out_.clear();
        stream_->write(*writing_, [kept = writing_, then = guarded([this](error_code error) {
                                                        if (error)
                                                            return gone(error);
                                                        writing_.reset();
                                                        write();
                                                    })](error_code error) mutable { then(error); });
    }

    void read() {
        auto in = in_;
        stream_->read(*in,
                      [in, then = guarded([this](error_code error, std::size_t size) {
                               if (error)
                                   return gone(error);
                               take(Bytes(*in_).first(size));
                           })](error_code error, std::size_t size) mutable { then(error, size); });
    }

    void take(Bytes bytes) {
        const Time arrived = now();
        const std::weak_ptr<int> alive = alive_;
        doip::Packet packet;
        while (parser_.next(bytes, packet)) {
            heard(packet, arrived);
            if (alive.expired())
                return;
        }
        if (!parser_.broken())
            return read();
        lost_line(LinkError::wrong_answer, "the other end sent what is no DoIP message");
    }

    void heard(const doip::Packet& packet, Time arrived) {
        using doip::Type;
        switch (packet.type) {
        case Type::activation_response:
            if (const auto answer = doip::parse_activation(packet.payload);
                answer && opening_.active())
                return activated(*answer);
            break;
        case Type::alive_request:
            if (out_.size() < 1024) { // one answer a question, but not without end
                doip::append_alive(out_, settings_.doip.tester);
                write();
            }
            return;
        case Type::message:
            if (const auto message = doip::parse_message(packet.payload); message && open_) {
                Received received;
                received.traffic = *message;
                received.time = arrived;
                inbox_.push(received);
                return;
            }
            break;
        case Type::message_taken:
        case Type::message_refused:
            if (const auto answer = doip::parse_acknowledge(packet.payload); answer && open_) {
                // A late answer to a message that was given up is none to this one.
                if (!sending_.active() || (answer->source != target_ && !functional()))
                    return;
                if (packet.type == Type::message_taken)
                    sent({arrived, TimeFrom::program});
                else
                    send_failed(LinkError::refused,
                                "the message was refused: " +
                                    std::string(doip::refusal_text(answer->code)));
                return;
            }
            break;
        case Type::negative_acknowledge:
            if (sending_.active())
                return send_failed(LinkError::refused, "the other end did not understand");
            if (opening_.active())
                return open_failed(LinkError::refused, "the other end did not understand");
            break;
        default:
            break;
        }
        ++bad_;
    }

    /// Functional addresses: whoever acknowledges does so for the group (ISO 13400-2: E400 to EFFF
    /// are functional; E000 is the one of OBD).
    bool functional() const { return (target_ & 0xF000) == 0xE000; }

    void activated(const doip::Activation& answer) {
        const auto text = std::string(doip::activation_text(answer.code));
        if (answer.waits_for_confirmation())
            return log_warning(name_, "routing is " + text);
        if (!answer.active())
            return open_failed(LinkError::refused, "routing was not activated: " + text);
        LineUp up;
        up.entity = answer.entity;
        opened(up);
    }

    std::string why_not(error_code error) const {
        switch (const TlsOutcome tls = stream_->tls(); tls.kind) {
        case TlsOutcome::Kind::untrusted:
            return "its certificate is not trusted: " + tls.why;
        case TlsOutcome::Kind::other_host:
            return "its certificate is another host's";
        case TlsOutcome::Kind::not_spoken:
            return "it does not speak TLS: " + tls.why;
        default:
            return error.message();
        }
    }

    void gone(error_code error) {
        if (opening_.active())
            return open_failed(LinkError::gone,
                               "the connection ended before routing was activated: " +
                                   error.message());
        lost_line(LinkError::gone, "the connection is gone: " + error.message());
    }

    LinkName wanted_;
    Executor executor_here_;
    std::shared_ptr<Stream> stream_;
    doip::Parser parser_;
    std::uint16_t target_ = 0;
    std::vector<std::uint8_t> out_;
    std::shared_ptr<std::vector<std::uint8_t>> writing_;
    std::shared_ptr<std::array<std::uint8_t, 8192>> in_ =
        std::make_shared<std::array<std::uint8_t, 8192>>();
};

} // namespace

std::unique_ptr<Link> make_doip(const Executor& executor, const LinkName& name) {
    return std::make_unique<DoipLink>(executor, name);
}

} // namespace telltale::link
