// SPDX-License-Identifier: Apache-2.0
#include "live.hpp"

#include <unistd.h>

#include <chrono>
#include <csignal>
#include <optional>

#include <boost/asio/io_context.hpp>
#include <boost/asio/signal_set.hpp>

#include "output.hpp"
#include "telltale/base/number.hpp"
#include "telltale/client/live.hpp"
#include "telltale/link/open.hpp"
#include "telltale/link/traffic_writer.hpp"
#include "telltale/message/stream.hpp"

namespace telltale::program {

namespace {

/// A line that went away is waited for so long.
constexpr auto patience = std::chrono::seconds(30);
constexpr auto tick = std::chrono::milliseconds(50);

/// Hands what goes over the line to a picture.
class Painter {
  public:
    Painter(vehicle::Picture& picture, const catalogue::Extension* extension)
        : picture_(picture), stream_(with(extension)) {}
    void take(const link::Traffic& traffic, Time time, std::uint64_t number, bool sent) {
        const Place place{number, 0};
        if (const auto* can = std::get_if<CanFrame>(&traffic)) {
            stream_.can(0, *can, time, place, picture_);
        } else if (const auto* kline = std::get_if<link::KlineBytes>(&traffic)) {
            stream_.kline(0, kline->frame, time, place, picture_);
        } else if (const auto* doip = std::get_if<link::DoipMessage>(&traffic)) {
            stream_.message(0, {sent ? doip->target : doip->source, true}, doip->bytes, time, place,
                            picture_);
        }
    }
    void finish() {
        stream_.finish(picture_);
        picture_.finish();
    }

  private:
    static message::StreamOptions with(const catalogue::Extension* extension) {
        message::StreamOptions options;
        options.extension = extension;
        return options;
    }

    vehicle::Picture& picture_;
    message::Stream stream_;
};

} // namespace

std::string id_text(CanId id) {
    std::string out;
    append_can_id(out, id);
    return out;
}

bool is_link_name(std::string_view text) {
    for (const std::string_view scheme : {"can:", "slcan:", "kline:", "doip:"})
        if (text.substr(0, scheme.size()) == scheme)
            return ::access(std::string(text).c_str(), F_OK) != 0;
    return false;
}

class LiveVehicle::Impl {
  public:
    Impl(std::string name, std::string save)
        : name_(std::move(name)), save_(std::move(save)), signals_(io_, SIGINT, SIGTERM) {
        signals_.async_wait([this](const boost::system::error_code& error, int) {
            if (!error)
                interrupted_ = true;
        });
    }
    ~Impl() {
        driver_.reset();
        link_.reset();
    }

    bool find() {
        const auto parsed = link::parse_link_name(name_);
        if (!parsed) {
            say(parsed.error().detail);
            return false;
        }
        link_ = link::make_link(io_.get_executor(), *parsed);
        if (!save_.empty()) {
            auto sink = dump::open_sink(save_);
            if (!sink) {
                say(save_, sink.error().detail);
                return false;
            }
            writer_.emplace(std::move(*sink), link_->capabilities().line, name_,
                            "Recorded by telltale.");
        }
        session_.emplace();
        driver_.emplace(*link_, *session_);
        driver_->on_traffic = [this](const link::Traffic& traffic, Time time, bool sent) {
            take(traffic, time, sent);
        };
        driver_->on_line = [this](bool up, const std::string& why) {
            if (up) {
                lost_since_.reset();
                say("the line is back");
            } else {
                lost_since_ = std::chrono::steady_clock::now();
                say("the line went away" + (why.empty() ? std::string() : ": " + why) +
                    "; waiting for it");
            }
        };
        finder_.emplace(client::finder_options(*link_, parsed->bit_rate != 0));
        if (!run(*finder_))
            return false;
        if (!finder_->found()) {
            std::string text = "no vehicle answers on " + name_ + ".";
            for (const auto& attempt : finder_->attempts())
                text += " " + client::describe(attempt) + ".";
            if (!driver_->trouble().empty())
                text += " " + driver_->trouble() + ".";
            text += " Is the ignition on, and the adapter plugged in?";
            say(text);
            return false;
        }
        std::string text = client::describe(finder_->line());
        if (finder_->on_uds())
            text += ", OBDonUDS";
        text += "; ";
        append_integer(text, std::uint64_t{finder_->ecus().size()});
        text += finder_->ecus().size() == 1 ? " ECU answers" : " ECUs answer";
        say(text);
        return true;
    }

    void paint(vehicle::Picture& picture, const catalogue::Extension* extension) {
        painter_.emplace(picture, extension);
        picture_ = &picture;
    }

    bool read() {
        client::ReaderOptions options;
        options.ecus = finder_->ecus();
        options.on_uds = finder_->on_uds();
        client::Reader reader(finder_->line(), options);
        const bool whole = run(reader);
        painter_->finish();
        painter_.reset();
        picture_->name_lines([&](std::uint16_t) { return std::string_view(name_); });
        if (!reader.missing().empty()) {
            std::string text;
            append_integer(text, std::uint64_t{reader.missing().size()});
            text += " requests for what an ECU says it supports were not answered";
            say(text);
        }
        return whole;
    }

    bool run(client::Task& task) {
        bool over = false;
        bool whole = false;
        driver_->run(task, [&](bool ran) {
            over = true;
            whole = ran;
        });
        while (!over && turn())
            ;
        if (!over) {
            driver_->stop();
            say(interrupted_ ? "interrupted" : "the line did not come back");
            return false;
        }
        if (!whole)
            say(name_, driver_->trouble().empty() ? "cannot be opened" : driver_->trouble());
        return whole;
    }

    bool wait_until(bool (*ready)()) {
        while (!ready())
            if (!turn())
                return false;
        return true;
    }

    void remark(std::string_view text) { remark_ = text; }

    bool finish_save() {
        if (!writer_)
            return true;
        if (const auto flushed = writer_->flush(); !flushed && save_error_.empty())
            save_error_ = flushed.error().detail;
        if (save_error_.empty())
            return true;
        say(save_, save_error_);
        return false;
    }

    const client::Finder& finder() const { return *finder_; }
    const client::ConversationCounts& counts() const { return session_->conversation().counts(); }
    std::uint64_t pieces() const { return pieces_; }
    const std::string& name() const { return name_; }

  private:
    /// Lets the line work for a moment. False: the user or the line has had enough.
    bool turn() {
        if (io_.stopped())
            io_.restart();
        io_.run_one_for(tick);
        return !interrupted_ &&
               !(lost_since_ && std::chrono::steady_clock::now() - *lost_since_ > patience);
    }

    void take(const link::Traffic& traffic, Time time, bool sent) {
        ++pieces_;
        if (writer_ && save_error_.empty()) {
            if (const auto written = writer_->write(traffic, time, sent, remark_); !written)
                save_error_ = written.error().detail;
            remark_.clear();
        }
        if (painter_)
            painter_->take(traffic, time, pieces_, sent);
    }

    std::string name_;
    std::string save_;
    std::string save_error_;
    std::string remark_;
    boost::asio::io_context io_;
    boost::asio::signal_set signals_;
    bool interrupted_ = false;
    std::optional<std::chrono::steady_clock::time_point> lost_since_;
    std::uint64_t pieces_ = 0;
    std::unique_ptr<link::Link> link_;
    std::optional<link::TrafficWriter> writer_;
    std::optional<client::Session> session_;
    std::optional<client::Finder> finder_;
    std::optional<client::Driver> driver_;
    std::optional<Painter> painter_;
    vehicle::Picture* picture_ = nullptr;
};

LiveVehicle::LiveVehicle(std::string name, std::string save)
    : impl_(std::make_unique<Impl>(std::move(name), std::move(save))) {}
LiveVehicle::~LiveVehicle() = default;

bool LiveVehicle::find() {
    return impl_->find();
}
void LiveVehicle::paint(vehicle::Picture& picture, const catalogue::Extension* extension) {
    impl_->paint(picture, extension);
}
bool LiveVehicle::read() {
    return impl_->read();
}
bool LiveVehicle::run(client::Task& task) {
    return impl_->run(task);
}
bool LiveVehicle::wait_until(bool (*ready)()) {
    return impl_->wait_until(ready);
}
void LiveVehicle::remark(std::string_view text) {
    impl_->remark(text);
}
bool LiveVehicle::finish_save() {
    return impl_->finish_save();
}
const client::Line& LiveVehicle::line() const {
    return impl_->finder().line();
}
bool LiveVehicle::on_uds() const {
    return impl_->finder().on_uds();
}
const std::vector<CanId>& LiveVehicle::ecus() const {
    return impl_->finder().ecus();
}
const client::ConversationCounts& LiveVehicle::counts() const {
    return impl_->counts();
}
std::uint64_t LiveVehicle::pieces() const {
    return impl_->pieces();
}
const std::string& LiveVehicle::name() const {
    return impl_->name();
}

} // namespace telltale::program
