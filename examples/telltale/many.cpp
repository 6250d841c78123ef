// SPDX-License-Identifier: Apache-2.0
#include "many.hpp"

#include <algorithm>
#include <condition_variable>
#include <deque>
#include <exception>
#include <filesystem>
#include <map>
#include <mutex>
#include <optional>
#include <system_error>
#include <thread>

#include <CLI/App.hpp>
#include <CLI/Validators.hpp>

#include "telltale/base/number.hpp"

namespace telltale::program {

namespace {

namespace fs = std::filesystem;

/// What a dump that is not yet at its turn may have waiting.
constexpr std::size_t most_waiting = 1U << 20;

enum class Verdict { read, failed, no_dump };

Verdict do_work(const DumpFile& file, Output& output, const DumpWork& work) {
    bool no_dump = false;
    bool fine = false;
    try {
        fine = work(file, output, file.folder == DumpFile::named ? nullptr : &no_dump);
    } catch (const std::exception& error) {
        output.say(file.path, error.what());
    }
    output.flush();
    return fine ? Verdict::read : no_dump ? Verdict::no_dump : Verdict::failed;
}

/// Writes what comes, dump after dump.
class Console {
  public:
    Console(Output& output, std::string_view between) : output_(output), between_(between) {}
    void next() { begun_ = false; }
    bool results(std::string_view text) {
        if (!begun_ && any_)
            output_.write(between_);
        begun_ = any_ = true;
        output_.write(text);
        return output_.open();
    }
    bool message(std::string_view line) {
        output_.message(line);
        return output_.open();
    }

  private:
    Output& output_;
    std::string_view between_;
    bool any_ = false;
    bool begun_ = false;
};

/// What the threads have made and what is not yet written. All of it is guarded by `mutex_`.
class Turns {
  public:
    Turns(std::size_t count, std::size_t ahead) : count_(count), ahead_(ahead) {}

    /// The next dump to work on; none: it is over. Waits while too many are ahead of the writer.
    std::optional<std::size_t> take() {
        std::unique_lock lock(mutex_);
        changed_.wait(lock, [&] { return over_ || next_ == count_ || next_ < turn_ + ahead_; });
        if (over_ || next_ == count_)
            return std::nullopt;
        lanes_[next_]; // is there from now on
        return next_++;
    }
    /// False: nobody wants it.
    bool put(std::size_t place, std::string_view text, bool message) {
        std::unique_lock lock(mutex_);
        changed_.wait(lock, [&] { return over_ || lanes_[place].waiting < most_waiting; });
        if (over_)
            return false;
        Lane& lane = lanes_[place];
        lane.waiting += text.size();
        lane.pieces.push_back({std::string(text), message});
        changed_.notify_all();
        return true;
    }
    void done(std::size_t place, Verdict verdict) {
        const std::lock_guard lock(mutex_);
        lanes_[place].verdict = verdict;
        changed_.notify_all();
    }

    /// Writes the results of dump after dump until all is written; `told` is told of each.
    void write(Console& console, const std::function<void(std::size_t, Verdict)>& told) {
        std::unique_lock lock(mutex_);
        while (turn_ < count_) {
            changed_.wait(lock, [&] {
                const auto lane = lanes_.find(turn_);
                return lane != lanes_.end() &&
                       (!lane->second.pieces.empty() || lane->second.verdict);
            });
            Lane& lane = lanes_[turn_];
            if (lane.pieces.empty()) {
                told(turn_, *lane.verdict);
                lanes_.erase(turn_);
                ++turn_;
                console.next();
                changed_.notify_all();
                continue;
            }
            const std::deque<Piece> pieces = std::move(lane.pieces);
            lane.pieces.clear();
            lane.waiting = 0;
            changed_.notify_all();
            lock.unlock();
            bool open = true;
            for (const Piece& piece : pieces)
                open = piece.message ? console.message(piece.text) : console.results(piece.text);
            lock.lock();
            if (!open) { // the reader went away, or the disk is full
                over_ = true;
                changed_.notify_all();
                return;
            }
        }
    }

  private:
    struct Piece {
        std::string text;
        bool message = false;
    };
    struct Lane {
        std::deque<Piece> pieces;
        std::size_t waiting = 0; ///< bytes
        std::optional<Verdict> verdict;
    };
    std::mutex mutex_;
    std::condition_variable changed_;
    std::size_t count_;
    std::size_t ahead_;
    std::size_t next_ = 0; ///< the first that nobody works on yet
    std::size_t turn_ = 0; ///< the one whose results are written
    bool over_ = false;
    std::map<std::size_t, Lane> lanes_;
};

} // namespace

void add_jobs_option(CLI::App& command, unsigned& jobs) {
    command
        .add_option("-j,--jobs", jobs,
                    "Dumps that are worked on at once (default: as many as there are processors)")
        ->check(CLI::Range(1, 256))
        ->type_name("NUMBER");
}

Dumps find_dumps(const std::vector<std::string>& names) {
    Dumps dumps;
    dumps.several = names.size() > 1;
    for (const auto& name : names) {
        std::error_code error;
        if (name == "-" || !fs::is_directory(name, error)) {
            dumps.files.push_back({name, DumpFile::named});
            continue;
        }
        dumps.several = true;
        const std::size_t folder = dumps.folders.size();
        dumps.folders.push_back(name);
        std::vector<std::string> found;
        fs::recursive_directory_iterator at(name, error);
        while (!error && at != fs::recursive_directory_iterator()) {
            std::error_code unknown;
            if (at->is_regular_file(unknown))
                found.push_back(at->path().string());
            at.increment(error);
        }
        if (error) {
            say(name, "cannot be read whole: " + error.message());
            dumps.complete = false;
        }
        if (found.empty() && !error) {
            say(name, "holds no file");
            dumps.complete = false;
        }
        std::sort(found.begin(), found.end());
        for (auto& path : found)
            dumps.files.push_back({std::move(path), folder});
    }
    return dumps;
}

bool work_on(const Dumps& dumps, unsigned jobs, Output& console, std::string_view between,
             const DumpWork& work) {
    const auto& files = dumps.files;
    if (jobs == 0)
        jobs = std::max(1U, std::thread::hardware_concurrency());
    const auto threads = std::min<std::size_t>(jobs, files.size());
    bool fine = dumps.complete;
    std::vector<std::uint64_t> passed_over(dumps.folders.size());
    const auto told = [&](std::size_t place, Verdict verdict) {
        fine = fine && verdict != Verdict::failed;
        if (verdict == Verdict::no_dump)
            ++passed_over[files[place].folder];
    };
    Console writer(console, between);
    if (threads < 2) {
        for (std::size_t i = 0; i < files.size() && console.open(); ++i) {
            Output output(
                console, [&](std::string_view text) { return writer.results(text); },
                [&](std::string_view line) { return writer.message(line); });
            told(i, do_work(files[i], output, work));
            writer.next();
        }
    } else {
        Turns turns(files.size(), 2 * threads);
        std::vector<std::thread> workers;
        for (std::size_t i = 0; i < threads; ++i)
            workers.emplace_back([&] {
                while (const auto place = turns.take()) {
                    Output output(
                        console,
                        [&](std::string_view text) { return turns.put(*place, text, false); },
                        [&](std::string_view line) { return turns.put(*place, line, true); });
                    turns.done(*place, do_work(files[*place], output, work));
                }
            });
        turns.write(writer, told);
        for (auto& worker : workers)
            worker.join();
    }
    for (std::size_t i = 0; i < passed_over.size(); ++i) {
        if (passed_over[i] == 0)
            continue;
        std::string text;
        append_integer(text, passed_over[i]);
        text += passed_over[i] == 1 ? " file is no dump and was passed over"
                                    : " files are no dumps and were passed over";
        console.say(dumps.folders[i], text);
    }
    return fine;
}

} // namespace telltale::program
