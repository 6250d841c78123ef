// SPDX-License-Identifier: Apache-2.0
// The program at a simulated vehicle: an adapter of the serial-line CAN ASCII kind on a pseudo
// terminal, with the vehicle behind it.
#include <fcntl.h>
#include <poll.h>
#include <pty.h>
#include <sys/wait.h>
#include <termios.h>
#include <unistd.h>

#include <atomic>
#include <cstdio>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <mutex>
#include <sstream>
#include <string>
#include <thread>

#include <doctest/doctest.h>

#include "telltale/isotp/options.hpp"
#include "telltale/link/serial_can.hpp"
#include "telltale/link/traffic.hpp"
#include "telltale/mimic/vehicle.hpp"

using namespace telltale;

namespace {

/// The adapter and the vehicle, in a thread of their own.
class Adapter {
  public:
    explicit Adapter(const mimic::Options& options) : vehicle_(options) {
        char name[64] = {};
        termios raw{};
        ::cfmakeraw(&raw);
        REQUIRE(::openpty(&near_, &far_, name, &raw, nullptr) == 0);
        path_ = name;
        thread_ = std::thread([this] { work(); });
    }
    ~Adapter() {
        over_ = true;
        thread_.join();
        ::close(near_);
        ::close(far_);
    }
    const std::string& path() const { return path_; }
    std::atomic<unsigned> clears = 0;
    mimic::EcuState state() {
        const std::lock_guard lock(mutex_);
        return vehicle_.state(0);
    }

  private:
    void work() {
        std::array<char, 4096> buffer{};
        while (!over_) {
            pollfd ready{near_, POLLIN, 0};
            ::poll(&ready, 1, 1);
            std::string out;
            const std::lock_guard lock(mutex_);
            if ((ready.revents & POLLIN) != 0) {
                const auto got = ::read(near_, buffer.data(), buffer.size());
                for (ssize_t i = 0; i < got; ++i)
                    hear(buffer[static_cast<std::size_t>(i)], out);
            }
            if (vehicle_.next_wakeup() != isotp::never)
                vehicle_.poll(link::now(), [&](const CanFrame& frame) {
                    if (open_)
                        link::append_serial_can(out, frame);
                });
            for (std::size_t at = 0; at < out.size();) {
                const auto wrote = ::write(near_, out.data() + at, out.size() - at);
                if (wrote <= 0)
                    break;
                at += static_cast<std::size_t>(wrote);
            }
        }
    }
    void hear(char c, std::string& out) {
        line_ += c;
        if (c != '\r')
            return;
        const std::string command = std::exchange(line_, {});
        if (command[0] == 't' || command[0] == 'T') {
            link::SerialCanEvent event;
            Bytes bytes(reinterpret_cast<const std::uint8_t*>(command.data()), command.size());
            if (parser_.next(bytes, event) && event.kind == link::SerialCanEvent::Kind::frame) {
                if (event.frame.data.size() > 1 && event.frame.data[0] == 1 &&
                    event.frame.data[1] == 0x04)
                    ++clears;
                vehicle_.feed(event.frame, link::now());
            }
            out += command[0] == 't' ? "z\r" : "Z\r";
            return;
        }
        if (command[0] == 'O')
            open_ = true;
        if (command[0] == 'C')
            open_ = false;
        out += '\r';
    }

    int near_ = -1;
    int far_ = -1;
    std::string path_;
    std::string line_;
    link::SerialCanParser parser_;
    bool open_ = false;
    std::mutex mutex_;
    mimic::Vehicle vehicle_;
    std::atomic<bool> over_ = false;
    std::thread thread_;
};

struct Ran {
    int status = -1;
    std::string out;
    std::string error;
};

std::string contents(const std::string& path) {
    std::ifstream file(path, std::ios::binary);
    std::ostringstream text;
    text << file.rdbuf();
    return text.str();
}

/// A place for files of a test, removed with it.
struct Folder {
    Folder() {
        char name[] = "/tmp/telltale-client-XXXXXX";
        REQUIRE(::mkdtemp(name) != nullptr);
        path = name;
    }
    ~Folder() { std::filesystem::remove_all(path); }
    std::string path;
};

Ran run(const Folder& folder, const std::string& arguments) {
    const std::string out = folder.path + "/out";
    const std::string error = folder.path + "/error";
    const std::string command = std::string(TELLTALE_PROGRAM) + " " + arguments + " >" + out +
                                " 2>" + error + " </dev/null";
    const int status = std::system(command.c_str()); // NOLINT: the test's own words
    return {WIFEXITED(status) ? WEXITSTATUS(status) : -1, contents(out), contents(error)};
}

bool has(const std::string& text, std::string_view what) {
    return text.find(what) != std::string::npos;
}

/// The report without what it says of where it came from.
std::string body(const std::string& report) {
    std::istringstream lines(report);
    std::string out;
    for (std::string line; std::getline(lines, line);)
        if (!has(line, "slcan:") && !has(line, ".pcapng") && !has(line, "CAN (ISO") &&
            !has(line, "frames)"))
            out += line + "\n";
    return out;
}

mimic::Options with_codes() {
    mimic::Options options;
    options.engine_off = true;
    options.stored = {0x0171};
    options.pending = {0x0420};
    options.permanent = {0x0171};
    options.clearing = mimic::Clearing::engine_off;
    options.habits.delay = options.habits.spread = 0;
    options.verification_time = 0;
    return options;
}

} // namespace

TEST_CASE("report of a live vehicle is that of its dump") {
    Adapter adapter(with_codes());
    Folder folder;
    const std::string dump = folder.path + "/saved.pcapng";
    // On a computer that starves it, an ECU that is played here can answer too late.
    Ran live;
    for (int tries = 0; tries < 3 && !has(live.error, "2 ECUs answer"); ++tries) {
        std::filesystem::remove(dump);
        live = run(folder, "report slcan:" + adapter.path() + " --save " + dump);
    }
    CAPTURE(live.error);
    REQUIRE(live.status == 0);
    CHECK(has(live.error, "2 ECUs answer"));
    CHECK(has(live.out, "P0171"));
    CHECK(has(live.out, adapter.state().vin));
    const Ran saved = run(folder, "report " + dump);
    REQUIRE(saved.status == 0);
    CHECK(body(live.out) == body(saved.out));
    CHECK(body(live.out).size() > 2000);
    CHECK(adapter.clears == 0);
}

TEST_CASE("clear shows, saves, wants words, clears once, and says what changed") {
    Adapter adapter(with_codes());
    Folder folder;
    const std::string link = "slcan:" + adapter.path();
    const std::string dump = folder.path + "/before.pcapng";
    const std::string words = "clear " + adapter.state().vin;

    Ran ran = run(folder, "clear " + link + " --look");
    CHECK(ran.status == 0);
    CHECK(has(ran.out, "stored codes: P0171"));
    CHECK(has(ran.out, "Before you clear"));

    // Nobody at a terminal, no words: nothing is cleared, but it is said how.
    ran = run(folder, "clear " + link + " --save " + dump);
    CHECK(ran.status == 2);
    CHECK(has(ran.error, words));
    CHECK(std::filesystem::file_size(dump) > 1000);
    CHECK(has(run(folder, "report " + dump).out, "P0171"));
    // Words for another vehicle, or for any.
    for (const char* wrong : {"yes", "clear", "clear TT1BRAVO00X000002"}) {
        ran = run(folder, "clear " + link + " --save " + dump + " --consent '" + wrong + "'");
        CHECK(ran.status == 2);
        CHECK(has(ran.error, "nothing was cleared"));
    }
    CHECK(adapter.clears == 0);
    CHECK(adapter.state().stored.size() == 1);

    ran = run(folder, "clear " + link + " --save " + dump + " --consent '" + words + "'");
    CAPTURE(ran.error);
    CHECK(ran.status == 0);
    CHECK(adapter.clears == 1);
    CHECK(adapter.state().stored.empty());
    CHECK(has(ran.out, "What changed"));
    CHECK(has(ran.out, "gone: P0171, P0420"));
    CHECK(has(ran.out, "permanent codes: P0171"));
    // The dump has it all: before, the consent, and after.
    CHECK(has(contents(dump), "by the consent"));
    CHECK(has(run(folder, "report " + dump).out, "cleared"));
}

TEST_CASE("links that are none, and vehicles that are not there") {
    Folder folder;
    Ran ran = run(folder, "report slcan:/dev/no-such-adapter");
    CHECK(ran.status == 2);
    CHECK(has(ran.error, "no-such-adapter"));
    ran = run(folder, "clear some.pcapng --look");
    CHECK(ran.status == 2);
    CHECK(has(ran.error, "names no link"));
    ran = run(folder, "clear slcan:/dev/no-such-adapter");
    CHECK(ran.status == 2);
    CHECK(has(ran.error, "--save"));
    ran = run(folder, "report some.pcapng --save other.pcapng");
    CHECK(ran.status == 2);
}
