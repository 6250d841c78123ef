// SPDX-License-Identifier: Apache-2.0
#include <array>
#include <limits>
#include <optional>

#include <boost/asio/buffer.hpp>
#include <boost/asio/posix/stream_descriptor.hpp>
#include <boost/asio/write.hpp>

#include "base.hpp"
#include "kinds.hpp"
#include "serial.hpp"
#include "telltale/link/serial_can.hpp"

namespace telltale::link {

namespace {

namespace asio = boost::asio;

constexpr auto patience = std::chrono::milliseconds(300); ///< for the answer to a command
constexpr std::size_t most_waiting = 4096;                ///< bytes on their way to the adapter

/// Milliseconds of the adapter's clock, 16 bits or a minute a turn, on the scale of `now`.
class AdapterClock {
  public:
    Time time(std::uint32_t milliseconds, Time arrived) {
        if (milliseconds >= turn_)
            turn_ = 65'536;
        if (last_arrived_ == no_time) {
            ticks_ = milliseconds;
        } else {
            const std::uint32_t step =
                milliseconds >= last_ ? milliseconds - last_ : milliseconds + turn_ - last_;
            ticks_ += step;
            // Turns that passed while nothing came; or a clock that stepped back.
            const Time passed = (arrived - last_arrived_) / nanoseconds_a_millisecond;
            if (step > turn_ / 2 && passed + turn_ / 2 < step)
                ticks_ -= turn_;
            else if (passed > step + turn_ / 2)
                ticks_ += (passed - step + turn_ / 2) / turn_ * turn_;
        }
        last_ = milliseconds;
        last_arrived_ = arrived;
        // What came fastest says how the clocks stand to each other; crystals drift apart, so
        // that this is forgotten slowly: 200 ppm.
        const Time offset = arrived - ticks_ * nanoseconds_a_millisecond;
        if (offset_ == no_time || offset < offset_ + (arrived - set_) / 5000) {
            offset_ = offset;
            set_ = arrived;
        }
        const Time time = offset_ + ticks_ * nanoseconds_a_millisecond;
        return time < arrived ? time : arrived;
    }
    /// The adapter's own time, of the last `time`.
    Time own() const { return ticks_ * nanoseconds_a_millisecond; }

  private:
    std::uint32_t turn_ = 60'000;
    std::uint32_t last_ = 0;
    Time last_arrived_ = no_time;
    Time ticks_ = 0;
    Time offset_ = no_time;
    Time set_ = 0;
};

class SerialCanLink final : public Base {
  public:
    SerialCanLink(const Executor& executor, const LinkName& name)
        : Base(executor, to_string(name)), wanted_(name), stream_(executor), timer_(executor) {}
    ~SerialCanLink() override { close_quietly(*this); }

    Capabilities capabilities() const override {
        Capabilities can;
        can.line = LineKind::can;
        can.fd = wanted_.fd;
        can.sets_bit_rate = wanted_.bit_rate == 0;
        can.listens_only = true;
        can.error_frames = true;
        can.sends = !wanted_.listen;
        if (wanted_.times)
            can.times = TimeFrom::device;
        // t, 3 digits, length, 16 digits, CR: 22 characters of ten bits each.
        if (wanted_.baud != 0)
            can.most_frames_a_second = wanted_.baud / 220;
        return can;
    }

  protected:
    void open() override {
        const std::uint32_t rate =
            wanted_.bit_rate != 0 ? wanted_.bit_rate : settings_.can.bit_rate;
        if (rate != 0 && serial_can_rate(rate) < 0)
            return open_failed(LinkError::not_supported,
                               std::to_string(rate) + " bit/s is no rate of such adapters");
        up_ = {};
        up_.bit_rate = rate;
        up_.fd = wanted_.fd;
        auto port = SerialPort::open(wanted_.place, wanted_.baud == 0 ? 115'200 : wanted_.baud);
        if (!port)
            return open_failed(LinkError::cannot_open, port.error().detail);
        port_ = std::move(*port);
        stream_.assign(port_->descriptor());
        parser_ = {};
        clock_ = {};
        answers_ = true;
        acknowledges_ = settling_ = seen_ = false;
        commands_ = {"C"};
        if (rate != 0)
            commands_.push_back("S" + std::to_string(serial_can_rate(rate)));
        if (wanted_.times)
            commands_.push_back("Z1");
        commands_.push_back(wanted_.listen || settings_.can.listen_only ? "L" : "O");
        at_ = 0;
        read();
        write("\r\r"); // ends whatever half a line the adapter may have in its ear
        command();
    }

    void send(const Traffic& traffic) override {
        std::string line;
        append_serial_can(line, std::get<CanFrame>(traffic));
        if (out_.size() + line.size() > most_waiting)
            return send_failed(LinkError::busy, "the adapter takes no more frames");
        // The time of a silent adapter's frame is when the port took it.
        owed_ = acknowledges_;
        write(line);
        if (!owed_ || seen_)
            return;
        // Some adapters answer commands, but not frames.
        timer_.expires_after(patience);
        timer_.async_wait(guarded([this](const error_code& error) {
            if (error || !owed_ || seen_)
                return;
            owed_ = acknowledges_ = false;
            if (sending_.active() && writing_.empty())
                sent({now(), TimeFrom::program});
        }));
    }

    void shut() override {
        forget();
        timer_.cancel();
        if (port_ == nullptr)
            return;
        (void)stream_.release();
        constexpr std::string_view closing = "\rC\r";
        if (open_)
            (void)!::write(port_->descriptor(), closing.data(), closing.size());
        port_.reset();
        out_.clear();
        writing_.clear();
        owed_ = false;
    }

  private:
    void command() {
        write(commands_[at_] + "\r");
        timer_.expires_after(patience);
        if (!answers_)
            return next_command();
        timer_.async_wait(guarded([this](const error_code& error) {
            if (error || !opening_.active())
                return;
            if (at_ == 0) {
                answers_ = false; // it never does
                next_command();
            } else {
                open_failed(LinkError::no_answer,
                            "the adapter did not answer the command " + commands_[at_]);
            }
        }));
    }
    void next_command() {
        timer_.cancel();
        if (++at_ < commands_.size())
            return command();
        opened(up_);
    }
    void command_done(bool fine) {
        if (at_ == 0) {
            // The two CRs before it are answered as well by some adapters.
            acknowledges_ = true;
            if (settling_)
                return;
            settling_ = true;
            timer_.expires_after(std::chrono::milliseconds(30));
            timer_.async_wait(guarded([this](const error_code& error) {
                if (error)
                    return;
                settling_ = false;
                next_command();
            }));
            return;
        }
        if (fine)
            return next_command();
        const auto& refused = commands_[at_];
        open_failed(LinkError::refused, refused[0] == 'S'
                                            ? "the adapter refused the bit rate"
                                            : "the adapter refused the command " + refused);
    }

    void read() {
        stream_.async_read_some(
            asio::buffer(in_), guarded([this](const error_code& error, std::size_t size) {
                if (error)
                    return lost_line(LinkError::gone,
                                     "the adapter is not there any more: " + error.message());
                const Time arrived = now();
                Bytes bytes(in_.data(), size);
                const std::weak_ptr<int> alive = alive_;
                SerialCanEvent event;
                while (!alive.expired() && parser_.next(bytes, event))
                    heard(event, arrived);
                if (!alive.expired())
                    read_on([this] { read(); });
            }));
    }

    void heard(const SerialCanEvent& event, Time arrived) {
        using Kind = SerialCanEvent::Kind;
        switch (event.kind) {
        case Kind::frame:
            if (open_) {
                Received received;
                received.traffic = event.frame;
                received.time = arrived;
                if (event.timed && wanted_.times) {
                    received.time = clock_.time(event.milliseconds, arrived);
                    received.device_time = clock_.own();
                    received.from = TimeFrom::device;
                }
                inbox_.push(received);
            }
            break;
        case Kind::done:
        case Kind::queued:
        case Kind::refused:
            if (opening_.active())
                command_done(event.kind != Kind::refused);
            else if (owed_ && sending_.active()) {
                owed_ = false;
                seen_ = true;
                if (event.kind == Kind::refused)
                    send_failed(LinkError::refused, "the adapter did not take the frame: its "
                                                    "queue is full, or it is off the bus");
                else
                    sent({arrived, TimeFrom::program});
            }
            break;
        case Kind::answer:
            log_debug(name_, event.text);
            break;
        case Kind::bad:
            ++bad_;
            break;
        }
    }

    void write(std::string_view text) {
        out_ += text;
        if (writing_.empty())
            write_out();
    }
    void write_out() {
        writing_.swap(out_);
        asio::async_write(
            stream_, asio::buffer(writing_), guarded([this](const error_code& error, std::size_t) {
                if (error)
                    return lost_line(LinkError::gone,
                                     "the adapter is not there any more: " + error.message());
                writing_.clear();
                if (!out_.empty())
                    return write_out();
                if (sending_.active() && !owed_)
                    sent({now(), TimeFrom::program});
            }));
    }

    LinkName wanted_;
    std::unique_ptr<SerialPort> port_;
    asio::posix::stream_descriptor stream_;
    asio::steady_timer timer_;
    SerialCanParser parser_;
    AdapterClock clock_;
    LineUp up_;
    std::vector<std::string> commands_;
    std::size_t at_ = 0;
    bool answers_ = true;       ///< commands
    bool acknowledges_ = false; ///< frames
    bool seen_ = false;         ///< an acknowledgement of a frame
    bool settling_ = false;
    bool owed_ = false; ///< the acknowledgement of the frame that is being sent
    std::array<std::uint8_t, 4096> in_{};
    std::string out_;
    std::string writing_;
};

} // namespace

std::unique_ptr<Link> make_serial_can(const Executor& executor, const LinkName& name) {
    return std::make_unique<SerialCanLink>(executor, name);
}

} // namespace telltale::link
