// SPDX-License-Identifier: Apache-2.0
// bus [FAULT]...: two serial-line CAN adapters on pseudo terminals, on one bus. Prints their paths
// and works until it is ended or its standard input is. The first one has the fault:
//   drop=N   one in N of the frames that it receives is lost
//   cut      of eight bytes that it receives seven go on
//   clear    29-bit identifiers that it receives become 11-bit ones
//   back=N   one in N of its time stamps lies 20 ms before the one before it
//   noise    somebody else speaks on the bus
//   log=FILE  what the first one receives is written there as well, as its own software would
//   deaf     when it was taken off and put back, it receives nothing any more
// The first one is reached by the link `adapter` in the working folder, too. A signal USR1 takes it
// off; 1.5 s later it is back.
#include <array>
#include <chrono>
#include <csignal>
#include <cstdio>
#include <cstdlib>
#include <cstring>
#include <string>

#include <fcntl.h>
#include <poll.h>
#include <unistd.h>

#include "support/pseudo_terminal.hpp"

namespace {

struct Adapter {
    int port = -1;
    int held = -1; ///< a port that nobody has open would be one that hung up
    bool open = false;
    bool stamps = false;
    std::string in;
    std::string out;
};
std::array<Adapter, 2> adapters;

struct Fault {
    unsigned long drop = 0;
    unsigned long back = 0;
    bool cut = false;
    bool clear = false;
    bool noise = false;
    bool deaf = false;
    std::FILE* log = nullptr;
} fault;
bool replugged = false;
volatile std::sig_atomic_t taken_off = 0;

unsigned long milliseconds() {
    static const auto begun = std::chrono::steady_clock::now();
    return static_cast<unsigned long>(std::chrono::duration_cast<std::chrono::milliseconds>(
                                          std::chrono::steady_clock::now() - begun)
                                          .count());
}

/// A frame as a line of a log: (seconds) interface identifier#bytes.
void write_log(const std::string& frame) {
    const bool extended = frame[0] == 'T' || frame[0] == 'R';
    const std::size_t digits = extended ? 8 : 3;
    const bool remote = frame[0] == 'r' || frame[0] == 'R';
    const unsigned long now = milliseconds();
    std::fprintf(fault.log, "(%lu.%03lu000) can0 %s#%s%s\n", now / 1000, now % 1000,
                 frame.substr(1, digits).c_str(), remote ? "R" : "",
                 frame.substr(1 + digits + (remote ? 0 : 1)).c_str());
    std::fflush(fault.log);
}

/// A frame reaches an adapter, which tells the computer.
void receive(std::size_t at, std::string frame) {
    auto& adapter = adapters[at];
    if (!adapter.open)
        return;
    if (at == 0) {
        if (fault.deaf && replugged)
            return;
        static unsigned long count = 0;
        if (fault.drop != 0 && ++count % fault.drop == 0)
            return;
        if (fault.clear && (frame[0] == 'T' || frame[0] == 'R'))
            frame = std::string(1, frame[0] == 'T' ? 't' : 'r') + frame.substr(6);
        const std::size_t length_at = frame[0] == 'T' ? 9 : 4;
        if (fault.cut && (frame[0] == 't' || frame[0] == 'T') && frame[length_at] == '8') {
            frame[length_at] = '7';
            frame.resize(frame.size() - 2);
        }
    }
    if (at == 0 && fault.log != nullptr)
        return write_log(frame);
    adapter.out += frame;
    if (adapter.stamps) {
        static unsigned long count = 0;
        auto time = milliseconds();
        if (at == 0 && fault.back != 0 && ++count % fault.back == 0)
            time -= 20;
        char stamp[8];
        std::snprintf(stamp, sizeof stamp, "%04lX", (time + 1000) % 60'000);
        adapter.out += stamp;
    }
    adapter.out += '\r';
}

void command(std::size_t at, const std::string& line) {
    auto& adapter = adapters[at];
    if (!line.empty() && std::strchr("tTrRdDbB", line[0]) != nullptr) {
        adapter.out += line[0] == 't' || line[0] == 'r' ? "z\r" : "Z\r";
        receive(1 - at, line);
        return;
    }
    if (line == "O")
        adapter.open = true;
    else if (line == "C")
        adapter.open = false;
    else if (line == "Z1" || line == "Z0")
        adapter.stamps = line == "Z1";
    adapter.out += '\r';
}

/// A pseudo terminal for the adapter; false: there is none to be had.
bool plug(std::size_t at) {
    const int port = telltale::tests::open_pseudo_terminal(O_NONBLOCK);
    if (port < 0)
        return false;
    adapters[at] = {};
    adapters[at].port = port;
    adapters[at].held = ::open(::ptsname(port), O_RDWR | O_NOCTTY);
    if (at == 0) {
        ::unlink("adapter");
        if (::symlink(::ptsname(port), "adapter") != 0)
            return false;
    }
    return adapters[at].held >= 0;
}

} // namespace

int main(int argc, char** argv) {
    for (int i = 1; i < argc; ++i) {
        const std::string wanted = argv[i];
        const auto number = [&] { return std::strtoul(wanted.c_str() + 5, nullptr, 10); };
        if (wanted.compare(0, 5, "drop=") == 0)
            fault.drop = number();
        else if (wanted.compare(0, 5, "back=") == 0)
            fault.back = number();
        else if (wanted.compare(0, 4, "log=") == 0)
            fault.log = std::fopen(wanted.c_str() + 4, "w");
        fault.cut = fault.cut || wanted == "cut";
        fault.clear = fault.clear || wanted == "clear";
        fault.noise = fault.noise || wanted == "noise";
        fault.deaf = fault.deaf || wanted == "deaf";
    }
    std::signal(SIGUSR1, [](int) { taken_off = 1; });
    for (std::size_t i = 0; i < 2; ++i) {
        if (!plug(i))
            return 1;
        std::printf("%s\n", ::ptsname(adapters[i].port));
    }
    std::fflush(stdout);
    adapters[0].open = fault.log != nullptr; // by its own software
    unsigned long back_at = 0;
    unsigned long noise_at = 0;
    for (;;) {
        if (taken_off != 0) {
            taken_off = 0;
            ::close(adapters[0].held);
            ::close(adapters[0].port);
            ::unlink("adapter");
            adapters[0] = {};
            back_at = milliseconds() + 1500;
        }
        if (back_at != 0 && milliseconds() >= back_at) {
            back_at = 0;
            replugged = true;
            if (!plug(0))
                return 1;
        }
        std::array<pollfd, 3> wait{};
        for (std::size_t i = 0; i < 2; ++i) {
            wait[i].fd = adapters[i].port;
            // As on a bus: who sends waits while the other end has no room.
            const bool room = adapters[1 - i].out.size() < 2048 && adapters[i].out.size() < 2048;
            wait[i].events =
                static_cast<short>((room ? POLLIN : 0) | (adapters[i].out.empty() ? 0 : POLLOUT));
        }
        wait[2] = {0, POLLIN, 0};
        (void)::poll(wait.data(), wait.size(), fault.noise ? 5 : back_at != 0 ? 100 : 1000);
        char bytes[1024];
        if (wait[2].revents != 0 && ::read(0, bytes, sizeof bytes) <= 0)
            return 0;
        if (fault.noise && milliseconds() >= noise_at) {
            noise_at = milliseconds() + 20;
            receive(0, "t123411223344");
            receive(1, "t123411223344");
        }
        for (std::size_t i = 0; i < 2; ++i) {
            auto& adapter = adapters[i];
            if ((wait[i].revents & POLLIN) != 0) {
                const auto size = ::read(adapter.port, bytes, sizeof bytes);
                for (ssize_t at = 0; at < size; ++at) {
                    if (bytes[at] != '\r') {
                        adapter.in += bytes[at];
                        continue;
                    }
                    command(i, adapter.in);
                    adapter.in.clear();
                }
            }
            if (!adapter.out.empty()) {
                const auto size = ::write(adapter.port, adapter.out.data(), adapter.out.size());
                if (size > 0)
                    adapter.out.erase(0, static_cast<std::size_t>(size));
            }
        }
    }
}
