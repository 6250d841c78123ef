// SPDX-License-Identifier: Apache-2.0
#include "drive.hpp"

#include <cmath>
#include <cstdlib>
#include <utility>

#include <CLI/App.hpp>

namespace telltale::program {

namespace {

/// Builds a run, and a picture besides, out of the same messages.
class Both final : public message::Listener, public DumpWatcher {
  public:
    Both(message::Listener* picture, DumpWatcher* watcher) : picture_(picture), watcher_(watcher) {}

    bool begin(const message::Said& said) override {
        picture_wants_ = picture_ != nullptr && picture_->begin(said);
        builder_wants_ = builder_.begin(said);
        return picture_wants_ || builder_wants_;
    }
    void value(const message::Said& said, const message::Value& value) override {
        if (picture_wants_)
            picture_->value(said, value);
        if (builder_wants_)
            builder_.value(said, value);
    }
    void dtc(const message::Said& said, message::Dtc code) override {
        if (picture_wants_)
            picture_->dtc(said, code);
    }
    void dtc3(const message::Said& said, const message::DtcRecord& record) override {
        if (picture_wants_)
            picture_->dtc3(said, record);
    }
    void message_problem(const message::Said& said, const Problem& problem) override {
        if (picture_wants_)
            picture_->message_problem(said, problem);
        if (builder_wants_)
            builder_.message_problem(said, problem);
    }
    void end(const message::Said& said) override {
        if (picture_ != nullptr)
            picture_->end(said);
        builder_.end(said);
    }
    void problem(const Problem& problem, const message::Said& about) override {
        if (picture_ != nullptr)
            picture_->problem(problem, about);
        builder_.problem(problem, about);
    }
    void flow_control(const isotp::FlowControl& control, const message::Said& about) override {
        if (picture_ != nullptr)
            picture_->flow_control(control, about);
    }

    void opened(const dump::Reader& reader) override {
        reader_ = &reader;
        if (watcher_ != nullptr)
            watcher_->opened(reader);
    }
    void comment(std::string_view text, Time time) override {
        builder_.mark(time, text);
        if (watcher_ != nullptr)
            watcher_->comment(text, time);
    }
    void closed() override {
        run = builder_.finish([&](std::uint16_t line) { return reader_->line_name(line); });
        if (watcher_ != nullptr)
            watcher_->closed();
    }

    run::Run run;

  private:
    run::RunBuilder builder_;
    message::Listener* picture_;
    DumpWatcher* watcher_;
    const dump::Reader* reader_ = nullptr;
    bool picture_wants_ = false;
    bool builder_wants_ = false;
};

} // namespace

void add_watch_option(CLI::App& command, DriveOptions& options) {
    command
        .add_option("--watch", options.watch,
                    "Only the signals of a watch list: air, fuel, ignition, exhaust, charging, "
                    "temperatures, or a text file of your own")
        ->type_name("LIST")
        ->allow_extra_args(false);
}

void add_drive_options(CLI::App& command, DriveOptions& options) {
    command
        .add_option("--only", options.only,
                    "Only these signals: a PID (0C), one of its fields (14.1), a short name (RPM), "
                    "an ECU before it (7E8:0C); several with commas")
        ->type_name("ID,...")
        ->allow_extra_args(false);
    add_watch_option(command, options);
    command
        .add_option("--mark", options.mark,
                    "A moment to point at, in seconds from the start of the drive")
        ->type_name("SECONDS")
        ->check([](const std::string& text) {
            // What is not a number at all, CLI11 says. A thousand million seconds are 31 years.
            const double seconds = std::strtod(text.c_str(), nullptr);
            return std::abs(seconds) <= 1e9 ? "" : "not a moment of a drive";
        });
    command
        .add_option("--marks", options.marks,
                    "A text file of moments: a line each, seconds from the start (or @ and the "
                    "time as the dump has it), then words")
        ->type_name("FILE");
}

Result<std::string> read_small_file(const std::string& path) {
    constexpr std::size_t most = 1U << 20;
    auto text = dump::read_whole(path, most);
    if (text && text->size() > most)
        return fail(ErrorCode::too_long, path + ": more than a mebibyte; a small file is wanted");
    return text;
}

Result<std::vector<run::Pick>> read_picks(const DriveOptions& options) {
    std::vector<run::Pick> picks;
    const auto add = [&](std::vector<run::Pick>&& more) {
        for (run::Pick& pick : more)
            picks.push_back(std::move(pick));
    };
    for (const std::string& name : options.watch) {
        const run::Watch* ready = nullptr;
        for (const run::Watch& watch : run::ready_watches())
            if (watch.name == name)
                ready = &watch;
        if (ready != nullptr) {
            add(std::vector<run::Pick>(ready->picks));
            continue;
        }
        const auto text = read_small_file(name);
        if (!text) {
            std::string names;
            for (const run::Watch& watch : run::ready_watches())
                names += (names.empty() ? "" : ", ") + watch.name;
            return fail(ErrorCode::cannot_open, "--watch " + name + ": no ready list (" + names +
                                                    ") and no file: " + text.error().detail);
        }
        auto watch = run::parse_watch(*text);
        if (!watch)
            return fail(ErrorCode::bad_argument, "--watch " + name + ": " + watch.error().detail);
        add(std::move(watch->picks));
    }
    for (const std::string& text : options.only) {
        auto more = run::parse_picks(text);
        if (!more)
            return fail(ErrorCode::bad_argument, "--only " + text + ": " + more.error().detail);
        add(std::move(*more));
    }
    return picks;
}

std::optional<run::Run> read_drive(const std::string& file, const InputSettings& settings,
                                   const DriveOptions& options, Output& output,
                                   message::Listener* picture, DumpWatcher* watcher) {
    Both both(picture, watcher);
    if (!read_dump(file, settings, output, both, both))
        return std::nullopt;
    run::Run drive = std::move(both.run);
    drive.name = file == "-" ? "standard input" : file;
    if (!options.marks.empty()) {
        const auto text = read_small_file(options.marks);
        if (!text) {
            say(options.marks, text.error().detail);
            return std::nullopt;
        }
        if (const auto added = run::add_marks(drive, *text); !added) {
            say(options.marks, added.error().detail);
            return std::nullopt;
        }
    }
    if (drive.untimed > 0)
        say(file, std::to_string(drive.untimed) +
                      " values have no time and were left out; a dump with times is needed");
    if (drive.over_bound > 0)
        say(file, std::to_string(drive.over_bound) +
                      " values were left out: there are more than are kept of one drive");
    return drive;
}

} // namespace telltale::program
