// SPDX-License-Identifier: Apache-2.0
#include <array>

#include <boost/asio/posix/stream_descriptor.hpp>
#include <unistd.h>

#include "base.hpp"
#include "kinds.hpp"
#include "serial.hpp"
#include "telltale/link/kline_machine.hpp"

namespace telltale::link {

namespace {

namespace asio = boost::asio;

LinkError error_of(KlineTrouble trouble) {
    switch (trouble) {
    case KlineTrouble::no_answer:
        return LinkError::no_answer;
    case KlineTrouble::wrong_answer:
        return LinkError::wrong_answer;
    case KlineTrouble::collision:
        return LinkError::collision;
    case KlineTrouble::lost:
        return LinkError::gone;
    }
    return LinkError::gone;
}

class KlineLink final : public Base, private KlineOutlet {
  public:
    KlineLink(const Executor& executor, const LinkName& name)
        : Base(executor, to_string(name), 256), wanted_(name), stream_(executor), timer_(executor) {
    }
    ~KlineLink() override { close_quietly(*this); }

    Capabilities capabilities() const override {
        Capabilities can;
        can.line = LineKind::kline;
        can.confirms_on_wire = true;
        return can;
    }

  protected:
    void open() override {
        auto port = SerialPort::open(wanted_.place, wanted_.baud == 0 ? 10'400 : wanted_.baud);
        if (!port)
            return open_failed(LinkError::cannot_open, port.error().detail);
        port_ = std::move(*port);
        stream_.assign(port_->descriptor());
        KlineWake wake;
        auto start = settings_.kline.start;
        if (wanted_.start == LinkName::Start::five_baud)
            start = KlineStart::five_baud;
        else if (wanted_.start == LinkName::Start::fast)
            start = KlineStart::fast;
        else if (wanted_.start == LinkName::Start::none)
            start = KlineStart::none;
        wake.way = start == KlineStart::none   ? KlineWake::Way::none
                   : start == KlineStart::fast ? KlineWake::Way::fast
                                               : KlineWake::Way::five_baud;
        wake.address = settings_.kline.address;
        wake.tester = settings_.kline.tester;
        wake.keep_alive = settings_.kline.keep_alive;
        if (port_->pseudo()) // at its other end is a program, which may have to wait for its turn
            wake.slack = 400 * nanoseconds_a_millisecond;
        read();
        machine_.start(wake, now(), *this);
        wind();
    }
    void send(const Traffic& traffic) override {
        machine_.transmit(std::get<KlineBytes>(traffic).frame, now(), *this);
        wind();
    }
    void give_up() override { machine_.give_up(); }
    void shut() override {
        forget();
        timer_.cancel();
        if (port_ == nullptr)
            return;
        machine_.stop(*this);
        (void)stream_.release();
        port_.reset();
    }

  private:
    // What the machine does and tells.
    void low(bool on) override { (void)port_->set_break(on); }
    void put(std::uint8_t byte) override {
        if (::write(port_->descriptor(), &byte, 1) != 1)
            trouble_ = "the serial port did not take a byte"; // the echo will be missed
    }
    void discard_heard() override { port_->flush(); }
    void awake(const KlineAwake& line) override {
        LineUp up;
        up.bit_rate = wanted_.baud == 0 ? 10'400 : wanted_.baud;
        up.kline_form = line.form;
        up.key_byte_1 = line.key_byte_1;
        up.key_byte_2 = line.key_byte_2;
        opened(up);
    }
    void failed(KlineTrouble trouble, std::string_view why) override {
        failed_ = true;
        failure_ = trouble;
        why_ = why;
    }
    void frame(Bytes bytes, Time time, bool own) override {
        Received received;
        received.traffic = KlineBytes{bytes};
        received.time = time;
        received.own = own;
        inbox_.push(received);
    }
    void sent(Time time) override { Base::sent({time, TimeFrom::program, machine_.echoed()}); }
    void send_failed(KlineTrouble trouble, std::string_view why) override {
        Base::send_failed(error_of(trouble), std::string(why));
    }

    /// What the machine could not have done while it was busy, and the next time to wake it.
    void wind() {
        if (failed_) {
            failed_ = false;
            if (opening_.active())
                open_failed(error_of(failure_), why_);
            else
                lost_line(error_of(failure_), why_);
            return;
        }
        const Time at = machine_.wake_at();
        if (at == no_time) {
            timer_.cancel();
            return;
        }
        timer_.expires_after(std::chrono::nanoseconds(at - now()));
        timer_.async_wait(guarded([this](const error_code& error) {
            if (error)
                return;
            machine_.wake(now(), *this);
            wind();
        }));
    }

    void read() {
        stream_.async_read_some(
            asio::buffer(in_), guarded([this](const error_code& error, std::size_t size) {
                if (error)
                    return lost_line(LinkError::gone,
                                     "the serial port is not there any more: " + error.message());
                const Time arrived = now();
                for (std::size_t i = 0; i < size; ++i)
                    machine_.heard(
                        in_[i], arrived - static_cast<Time>(size - 1 - i) * KlineCutter::byte_time,
                        *this);
                read();
                wind();
            }));
    }

    LinkName wanted_;
    std::unique_ptr<SerialPort> port_;
    asio::posix::stream_descriptor stream_;
    asio::steady_timer timer_;
    KlineMachine machine_;
    std::array<std::uint8_t, 512> in_{};
    bool failed_ = false;
    KlineTrouble failure_ = KlineTrouble::lost;
    std::string why_;
};

} // namespace

std::unique_ptr<Link> make_kline(const Executor& executor, const LinkName& name) {
    return std::make_unique<KlineLink>(executor, name);
}

} // namespace telltale::link
