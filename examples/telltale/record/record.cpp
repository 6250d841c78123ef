// SPDX-License-Identifier: Apache-2.0
// `telltale record`: asks a vehicle for values as fast as its line allows, shows them, and keeps
// every frame.
#include <array>
#include <cerrno>
#include <charconv>
#include <csignal>
#include <cstdio>
#include <ctime>
#include <map>
#include <memory>
#include <optional>
#include <string>
#include <tuple>
#include <vector>

#include <unistd.h>

#include <CLI/App.hpp>
#include <boost/asio/buffer.hpp>
#include <boost/asio/io_context.hpp>
#include <boost/asio/posix/stream_descriptor.hpp>
#include <boost/asio/signal_set.hpp>
#include <boost/asio/steady_timer.hpp>

#include "../command.hpp"
#include "../drive.hpp"
#include "../live.hpp"
#include "../output.hpp"
#include "../with.hpp"
#include "log.hpp"
#include "screen.hpp"
#include "store.hpp"
#include "table.hpp"
#include "telltale/base/hex.hpp"
#include "telltale/base/number.hpp"
#include "telltale/base/text.hpp"
#include "telltale/catalogue/catalogue.hpp"
#include "telltale/client/live.hpp"
#include "telltale/client/poller.hpp"
#include "telltale/link/open.hpp"

namespace telltale::program {

namespace {

namespace asio = boost::asio;
using namespace std::chrono_literals;

struct RecordSettings {
    std::string link;
    DriveOptions drive;
    std::string out;
    std::string keep_before;
    std::string keep_after;
    std::string every;
    std::string duration;
    std::string log;
    std::string units = "si";
    std::vector<std::string> with;
};

/// `60s`, `2m`, `1h`, `0.5s`, `500ms`, or seconds.
std::optional<Time> read_duration(std::string_view text) {
    Time unit = nanoseconds_a_second;
    if (text.ends_with("ms")) {
        unit = nanoseconds_a_millisecond;
        text.remove_suffix(2);
    } else if (!text.empty() && std::string_view("smh").find(text.back()) != text.npos) {
        unit *= text.back() == 's' ? 1 : text.back() == 'm' ? 60 : 3600;
        text.remove_suffix(1);
    }
    double value = 0;
    const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), value);
    if (error != std::errc{} || end != text.data() + text.size() || !(value >= 0) || value > 1e6)
        return {};
    return static_cast<Time>(value * static_cast<double>(unit));
}

std::string usual_name(link::LineKind line) {
    const std::time_t now = std::time(nullptr);
    std::tm parts{};
    ::gmtime_r(&now, &parts);
    std::array<char, 64> text{};
    const auto size = std::strftime(text.data(), text.size(), "drive-%Y%m%d-%H%M%SZ", &parts);
    return std::string(text.data(), size) + (line == link::LineKind::can ? ".pcapng" : ".txt");
}

/// The row, or any of its fields, is one that the user picked; so is each when none is.
bool picked(const catalogue::Row& row, std::uint8_t service, const std::string& ecu,
            const std::vector<run::Pick>& picks) {
    if (picks.empty())
        return true;
    for (const auto& pick : picks) {
        if (row.fields.empty() && pick.fits(ecu, service, row.id, 0, "", row.name))
            return true;
        std::uint8_t index = 0;
        for (const auto& field : row.fields)
            if (pick.fits(ecu, service, row.id, index++, field.key ? field.key : "", field.name))
                return true;
    }
    return false;
}

/// The parameters that a user wants: those of service 01 that an ECU supports, and those of
/// services 21 and 22 that are described beside the standard's. Of these nobody knows who supports
/// them.
std::vector<client::Wanted> choose(const std::vector<client::EcuFacts>& ecus,
                                   const std::vector<run::Pick>& picks, Time period,
                                   const catalogue::Extension& extension) {
    std::vector<client::Wanted> wanted;
    for (const auto& ecu : ecus) {
        const auto name = id_text(ecu.id);
        for (unsigned pid = 1; pid < 256; ++pid) {
            if (!ecu.supported[1][pid] || pid % 0x20 == 0)
                continue;
            bool fits = picks.empty();
            const auto* row = catalogue::pid(static_cast<std::uint8_t>(pid));
            if (row == nullptr)
                row = extension.find(0x01, static_cast<std::uint16_t>(pid),
                                     catalogue::ecu_name(ecu.id.value, ecu.id.extended));
            if (row != nullptr)
                fits = picked(*row, 0x01, name, picks);
            else
                for (const auto& pick : picks)
                    fits = fits || pick.fits(name, static_cast<std::uint16_t>(pid), 0, "", "");
            if (fits)
                wanted.push_back({static_cast<std::uint8_t>(pid), ecu.id, period});
        }
        for (const auto& own : extension.rows()) {
            const auto this_ecu = catalogue::ecu_name(ecu.id.value, ecu.id.extended);
            if (own.service == 0x01 ||
                extension.find(own.service, own.row.id, this_ecu) != &own.row)
                continue;
            if (picked(own.row, own.service, name, picks)) {
                client::Wanted want{0, ecu.id, period};
                want.service = own.service;
                want.id = own.row.id;
                wanted.push_back(want);
            }
        }
    }
    return wanted;
}

class Recorder {
  public:
    Recorder(const RecordSettings& options, std::vector<run::Pick> picks,
             std::shared_ptr<const catalogue::Extension> extension, std::unique_ptr<Store> store,
             std::string file, asio::io_context& context, link::Link& link, Time every,
             std::optional<Time> duration)
        : picks_(std::move(picks)), extension_(std::move(extension)), store_(std::move(store)),
          file_(std::move(file)), context_(context), link_(link), every_(every),
          duration_(duration), redraw_(context), second_(context), end_(context), again_(context),
          signals_(context, SIGINT, SIGTERM, SIGHUP), resized_(context), keys_(context),
          stream_(stream_options(*extension_)) {
        table_.units = options.units == "us" ? UnitSystem::us : UnitSystem::si;
        if (!picks_.empty())
            table_.wanted = [this](const message::Said& said, const message::Value& value) {
                const auto ecu = said.has_id ? id_text(said.id) : std::string();
                for (const auto& pick : picks_)
                    if (pick.fits(ecu, said.header.service, value.id, value.index, value.key,
                                  value.name))
                        return true;
                return false;
            };
    }

    int run() {
        began_ = last_second_ = link::now();
        if (::isatty(STDOUT_FILENO) == 1 && ::isatty(STDIN_FILENO) == 1)
            screen_ = Screen::open();
        if (screen_) {
            resized_.add(SIGWINCH);
            wait_resize();
            wait_keys();
        } else {
            for (const auto& sentence : notice())
                if (!sentence.empty() && sentence.find("any key") == std::string::npos)
                    std::fprintf(stderr, "%s\n", sentence.c_str());
            wait_lines();
        }
        signals_.async_wait([this](const link::error_code& error, int) {
            if (!error)
                end();
        });
        if (duration_) {
            end_.expires_after(std::chrono::nanoseconds(*duration_));
            end_.async_wait([this](const link::error_code& error) {
                if (!error)
                    end();
            });
        }
        redraw();
        every_half_second();
        if (link_.capabilities().sends)
            find();
        else
            listen();
        context_.run();
        return finish();
    }

  private:
    static message::StreamOptions stream_options(const catalogue::Extension& extension) {
        message::StreamOptions options;
        if (!extension.empty())
            options.extension = &extension;
        return options;
    }

    // Asking.
    void find() {
        state_ = "looking for the vehicle";
        trouble_ = false;
        session_.emplace();
        driver_.emplace(link_, *session_, driver_options());
        driver_->on_traffic = [this](const link::Traffic& traffic, Time time, bool sent) {
            take(traffic, time, sent);
        };
        driver_->on_line = [this](bool up, const std::string& why) {
            trouble_ = !up;
            if (up) {
                was_up_ = true;
                state_ = before_;
            } else {
                before_ = state_;
                state_ = why;
            }
        };
        finder_.emplace(client::finder_options(link_, false));
        driver_->run(*finder_, [this](bool) {
            if (over_)
                return;
            const auto& why = driver_->trouble();
            was_up_ = was_up_ || finder_->found() || why.empty();
            if (!was_up_) {
                failed_ = "cannot open " + link_.name() + ": " + why;
                return end();
            }
            if (!finder_->found())
                return again(why.empty() ? "no ECU answers; is the ignition on?" : why);
            survey();
        });
    }
    static client::DriverOptions driver_options() { return {}; }

    void again(const std::string& why) {
        state_ = why;
        trouble_ = true;
        say_once(why);
        again_.expires_after(2s);
        again_.async_wait([this](const link::error_code& error) {
            if (error || over_)
                return;
            driver_.reset();
            find();
        });
    }

    void survey() {
        state_ = "asking what it supports";
        client::ReaderOptions options;
        options.ecus = finder_->ecus();
        options.on_uds = finder_->on_uds();
        options.support_only = true;
        reader_.emplace(finder_->line(), options);
        driver_->run(*reader_, [this](bool over) {
            if (over_ || !over)
                return;
            const auto wanted = choose(reader_->ecus(), picks_, every_, *extension_);
            if (wanted.empty()) {
                if (picks_.empty())
                    return again("the vehicle offers no values");
                failed_ = "the vehicle has none of the values that were asked for";
                return end();
            }
            poll(wanted);
        });
    }

    void poll(const std::vector<client::Wanted>& wanted) {
        trouble_ = false;
        poller_.emplace(finder_->line(), reader_->ecus(), wanted);
        driver_->run(*poller_, [this](bool over) {
            if (over && !over_)
                end();
        });
        say_once("recording");
    }

    // Listening.
    void listen() {
        state_ = "opening";
        link::OpenSettings settings;
        settings.can.listen_only = true;
        settings.kline.start = link::KlineStart::none;
        settings.kline.keep_alive = false;
        link_.async_open(settings, 15s, [this](link::error_code error, const link::LineUp&) {
            if (over_)
                return;
            if (error) {
                if (!was_up_) {
                    failed_ = "cannot open " + link_.name() + ": " + link_.trouble();
                    return end();
                }
                return listen_again();
            }
            was_up_ = true;
            trouble_ = false;
            state_ = "listening; this link does not ask";
            receive();
        });
    }
    void listen_again() {
        trouble_ = true;
        state_ = link_.trouble();
        again_.expires_after(1s);
        again_.async_wait([this](const link::error_code& error) {
            if (!error && !over_)
                listen();
        });
    }
    void receive() {
        link_.async_receive(link::no_timeout,
                            [this](link::error_code error, const link::Received& received) {
                                if (over_)
                                    return;
                                if (error == link::LinkError::end_of_dump)
                                    return end();
                                if (error)
                                    return listen_again();
                                take(received.traffic, received.time, received.own);
                                receive();
                            });
    }

    void take(const link::Traffic& traffic, Time time, bool sent) {
        store_->add(traffic, time, sent);
        if (const auto* can = std::get_if<CanFrame>(&traffic))
            stream_.can(0, *can, time, {}, table_);
        else if (const auto* kline = std::get_if<link::KlineBytes>(&traffic))
            stream_.kline(0, kline->frame, time, {}, table_);
        else
            stream_.message(link::bytes_of(traffic), time, {}, table_);
        newest_ = std::max(newest_, time);
    }
    /// The time of what is shown: that of a dump that is played back is not the clock's.
    Time shown_now() const {
        return link_.capabilities().times == link::TimeFrom::recorded ? newest_ : link::now();
    }

    // People.
    void mark(std::string text) {
        if (text.empty())
            text = "mark " + std::to_string(store_->marks() + 1);
        store_->mark(text, shown_now());
        if (!screen_)
            say("marked: " + text);
        draw_now();
    }

    void wait_keys() {
        keys_.assign(::dup(STDIN_FILENO));
        watch_keys();
    }
    void watch_keys() {
        keys_.async_wait(asio::posix::stream_descriptor::wait_read,
                         [this](const link::error_code& error) {
                             if (error || over_)
                                 return;
                             while (const auto key = screen_->key()) {
                                 press(*key);
                                 if (over_)
                                     return;
                             }
                             watch_keys();
                         });
    }
    void press(Screen::Key key) {
        const std::size_t page = screen_->height() > 6 ? screen_->height() - 5 : 1;
        const auto back = [&](std::size_t by) { top_ -= std::min(top_, by); };
        const bool was_notice = std::exchange(notice_, false);
        switch (key) {
        case Screen::Key::mark:
            if (!was_notice) // that key only takes the notice away
                mark({});
            break;
        case Screen::Key::quit:
            return end();
        case Screen::Key::up:
            back(1);
            break;
        case Screen::Key::down:
            ++top_;
            break;
        case Screen::Key::page_up:
            back(page);
            break;
        case Screen::Key::page_down:
            top_ += page;
            break;
        case Screen::Key::home:
            top_ = 0;
            break;
        case Screen::Key::end:
            top_ = Table::most_rows;
            break;
        case Screen::Key::redraw:
            notice_ = was_notice;
            break;
        case Screen::Key::other:
            break;
        }
        draw_now();
    }
    void wait_resize() {
        resized_.async_wait([this](const link::error_code& error, int) {
            if (error || over_)
                return;
            screen_->resize();
            draw_now();
            wait_resize();
        });
    }

    /// Without a screen, a line on standard input is a mark with that text.
    void wait_lines() {
        keys_.assign(::dup(STDIN_FILENO));
        read_lines();
    }
    void read_lines() {
        keys_.async_read_some(asio::buffer(typed_),
                              [this](const link::error_code& error, std::size_t size) {
                                  if (error || over_) // its end, or nothing that can be waited for
                                      return;
                                  for (std::size_t i = 0; i < size; ++i) {
                                      if (typed_[i] == '\n') {
                                          std::string text;
                                          append_plain(text, std::exchange(line_, {}));
                                          mark(text);
                                      } else if (line_.size() < 200) {
                                          line_ += typed_[i];
                                      }
                                  }
                                  read_lines();
                              });
    }

    void say_once(const std::string& what) {
        if (!screen_ && what != said_)
            say(what);
        said_ = what;
    }

    // The clock.
    void redraw() {
        if (!screen_)
            return;
        draw_now();
        redraw_.expires_after(200ms);
        redraw_.async_wait([this](const link::error_code& error) {
            if (!error && !over_)
                redraw();
        });
    }
    void draw_now() {
        if (!screen_ || over_)
            return;
        Scene scene;
        scene.link = link_.name();
        scene.file = file_;
        const auto why = store_->trouble();
        scene.trouble = trouble_ || !why.empty();
        scene.state = !why.empty() ? why : state_;
        scene.elapsed = link::now() - began_;
        scene.frames = store_->frames();
        scene.frames_a_second = frames_a_second_;
        scene.lost = link_.counts().lost + store_->crowded_out();
        scene.marks = store_->marks();
        scene.bytes = store_->bytes();
        scene.notice = notice_;
        screen_->show(draw(table_, scene, screen_->width(), screen_->height(), top_, shown_now(),
                           screen_->blocks()));
    }

    void every_half_second() {
        const Time now = link::now();
        // Marks and frames have one clock; the disk has the other.
        store_->tick(link_.capabilities().times == link::TimeFrom::recorded
                         ? newest_ + (now - began_)
                         : now);
        if (const auto why = store_->trouble(); !why.empty()) {
            failed_ = file_ + ": " + why;
            return end();
        }
        if (now - last_second_ >= nanoseconds_a_second) {
            const auto frames = store_->frames();
            frames_a_second_ = static_cast<double>(frames - last_frames_) * 1e9 /
                               static_cast<double>(now - last_second_);
            last_frames_ = frames;
            if (poller_ && !trouble_)
                state_ = "recording " + std::to_string(table_.rows().size()) + " values, " +
                         std::to_string(static_cast<int>(poller_->values_a_second(now) + 0.5)) +
                         " parameters a second";
            if (!screen_)
                print_lines(now);
            last_second_ = now;
        }
        second_.expires_after(500ms);
        second_.async_wait([this](const link::error_code& error) {
            if (!error && !over_)
                every_half_second();
        });
    }
    /// Each value that came in the last second.
    void print_lines(Time now) {
        for (const auto& row : table_.rows()) {
            auto& seen = printed_[{row.ecu.value, row.id, row.index}];
            if (row.samples == seen)
                continue;
            seen = row.samples;
            auto& out = output_.buffer();
            append_number(out, static_cast<double>(now - began_) / 1e9, 1);
            out += ' ';
            out += row.has_ecu ? id_text(row.ecu) : "-";
            out += ' ';
            out += row.name;
            out += ": ";
            out += row.is_number ? value_text(row, row.value) : row.text;
            if (!row.shown.text.empty() && row.is_number) {
                out += ' ';
                out += row.shown.text;
            }
            out += '\n';
            output_.commit();
        }
        output_.flush();
        if (!output_.open())
            end();
    }

    void end() {
        if (std::exchange(over_, true))
            return;
        link_.close();
        // Whatever waits has nothing to wait for any more.
        redraw_.cancel();
        second_.cancel();
        end_.cancel();
        again_.cancel();
        link::error_code ignored;
        signals_.cancel(ignored);
        resized_.cancel(ignored);
        keys_.cancel(ignored);
        if (driver_)
            driver_.reset();
    }

    int finish() {
        screen_.reset();
        stream_.finish(table_);
        const bool kept = store_->close(shown_now());
        std::string told =
            std::to_string(store_->frames()) + (store_->frames() == 1 ? " frame, " : " frames, ") +
            std::to_string(store_->marks()) + (store_->marks() == 1 ? " mark, " : " marks, ");
        const auto lost = link_.counts().lost;
        told += lost == 0 ? "nothing lost" : std::to_string(lost) + " FRAMES LOST";
        if (store_->crowded_out() != 0)
            told += ", " + std::to_string(store_->crowded_out()) +
                    " frames were too many to keep for a mark";
        if (failed_.empty() || store_->frames() != 0)
            say(file_, told);
        if (failed_.empty() && !kept)
            failed_ = file_ + ": " + store_->trouble();
        if (!failed_.empty()) {
            say(failed_);
            if (store_->frames() == 0)
                (void)::unlink(file_.c_str()); // there is nothing in it
        }
        return output_.finish(failed_.empty() ? status_done : status_wrong);
    }

    std::vector<run::Pick> picks_;
    std::shared_ptr<const catalogue::Extension> extension_; ///< never null
    std::unique_ptr<Store> store_;
    std::string file_;
    asio::io_context& context_;
    link::Link& link_;
    Time every_;
    std::optional<Time> duration_;
    asio::steady_timer redraw_;
    asio::steady_timer second_;
    asio::steady_timer end_;
    asio::steady_timer again_;
    asio::signal_set signals_;
    asio::signal_set resized_;
    asio::posix::stream_descriptor keys_;
    std::unique_ptr<Screen> screen_;
    Table table_;
    message::Stream stream_;
    Output output_;
    std::map<std::tuple<std::uint32_t, std::uint16_t, std::uint8_t>, std::uint64_t> printed_;

    std::optional<client::Session> session_;
    std::optional<client::Finder> finder_;
    std::optional<client::Reader> reader_;
    std::optional<client::Poller> poller_;
    std::optional<client::Driver> driver_;

    std::string state_;
    std::string before_;
    std::string said_;
    std::string failed_;
    std::string line_;
    std::array<char, 512> typed_{};
    bool trouble_ = false;
    bool was_up_ = false;
    bool notice_ = true;
    bool over_ = false;
    std::size_t top_ = 0;
    Time began_ = 0;
    Time newest_ = 0;
    Time last_second_ = 0;
    std::uint64_t last_frames_ = 0;
    double frames_a_second_ = 0;
};

int wrong(const std::string& words) {
    say(words);
    return status_wrong;
}

int record(const RecordSettings& options) {
    std::optional<Time> before;
    std::optional<Time> after;
    std::optional<Time> every;
    std::optional<Time> duration;
    struct Given {
        const char* name;
        const std::string& text;
        std::optional<Time>& into;
    };
    for (const auto& [name, text, into] :
         {Given{"--keep-before", options.keep_before, before},
          Given{"--keep-after", options.keep_after, after}, Given{"--every", options.every, every},
          Given{"--for", options.duration, duration}}) {
        if (text.empty())
            continue;
        into = read_duration(text);
        if (!into)
            return wrong(std::string(name) + " " + text +
                         ": write a time like 60s, 2m, 1h or 500ms");
    }
    auto picks = read_picks(options.drive);
    if (!picks)
        return wrong(picks.error().detail);
    auto extension = read_with(options.with);
    if (extension == nullptr)
        return status_wrong;
    if (!options.log.empty())
        if (const auto opened = log_to(options.log); !opened)
            return wrong(opened.error().detail);

    asio::io_context context(1);
    auto link = link::make_link(context.get_executor(), options.link);
    if (!link)
        return wrong(link.error().detail);
    StoreOptions store;
    store.line = (*link)->capabilities().line;
    store.path = options.out.empty() ? usual_name(store.line) : options.out;
    store.line_name = (*link)->name();
    store.keep_before = before;
    store.keep_after = after;
    auto opened = Store::open(store);
    if (!opened)
        return wrong(opened.error().detail);
    Recorder recorder(options, std::move(*picks), std::move(extension), std::move(*opened),
                      store.path, context, **link, every.value_or(0), duration);
    return recorder.run();
}

} // namespace

void add_record(CLI::App& app, Run& run) {
    auto options = std::make_shared<RecordSettings>();
    auto* command = app.add_subcommand(
        "record", "Record a drive: ask a vehicle for values, show them, keep every frame");
    command
        ->add_option("LINK", options->link,
                     "can:can0, slcan:/dev/ttyACM0@500k, kline:/dev/ttyUSB0, doip:192.0.2.7, "
                     "dump:FILE@2x")
        ->required()
        ->type_name("");
    add_watch_option(*command, options->drive);
    command
        ->add_option("--only", options->drive.only,
                     "Only these values: 0C, RPM, 7E8:0C, 'Engine speed'")
        ->type_name("VALUE,...")
        ->allow_extra_args(false);
    command
        ->add_option("-o,--output", options->out,
                     "The dump to make (default: drive-DATE-TIME.pcapng); never one that is there "
                     "already")
        ->type_name("FILE");
    command
        ->add_option("--keep-before", options->keep_before,
                     "Keep only what lies so long before each mark: 60s, 2m")
        ->type_name("TIME");
    command
        ->add_option("--keep-after", options->keep_after,
                     "Keep only what lies so long after each mark")
        ->type_name("TIME");
    command
        ->add_option("--every", options->every,
                     "Ask for each value no more often than this (default: as often as the line "
                     "allows)")
        ->type_name("TIME");
    add_with_option(*command, options->with);
    command->add_option("--for", options->duration, "End after this time")->type_name("TIME");
    command->add_option("--units", options->units, "si or us")->type_name("SYSTEM");
    command->add_option("--log", options->log, "Write what the link does to this file")
        ->type_name("FILE");
    command->footer(
        "The driver drives; a helper watches. Space sets a mark, q ends. Where standard output is\n"
        "no terminal, each value is printed once a second, and a line on standard input is a "
        "mark.\n"
        "Example: telltale record slcan:/dev/ttyACM0@500k --watch fuel -o drive.pcapng");
    command->callback([options, &run] { run = [options] { return record(*options); }; });
}

} // namespace telltale::program
