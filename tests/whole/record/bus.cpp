// SPDX-License-Identifier: Apache-2.0
// bus SECONDS FRAMES_A_SECOND: a serial-line CAN adapter on a pseudo terminal, on a bus that is so
// busy. Prints its path, waits until it is opened (command O or L), sends, and prints how many
// frames it sent. Each frame holds its number.
#include <chrono>
#include <cstdio>
#include <cstdlib>
#include <string>
#include <thread>

#include <poll.h>
#include <unistd.h>

#include "support/pseudo_terminal.hpp"

namespace {

int port;

/// Hears commands for so many milliseconds; true when the bus was opened.
bool hear(int milliseconds) {
    static std::string line;
    bool opened = false;
    pollfd ready{port, POLLIN, 0};
    while (::poll(&ready, 1, milliseconds) > 0 && (ready.revents & POLLIN) != 0) {
        char bytes[256];
        const auto size = ::read(port, bytes, sizeof bytes);
        for (ssize_t i = 0; i < size; ++i) {
            if (bytes[i] != '\r') {
                line += bytes[i];
                continue;
            }
            (void)!::write(port, "\r", 1);
            opened = opened || line == "O" || line == "L";
            line.clear();
        }
        milliseconds = 0;
    }
    return opened;
}

} // namespace

int main(int argc, char** argv) {
    if (argc != 3)
        return 2;
    const double seconds = std::atof(argv[1]);
    const double rate = std::atof(argv[2]);
    port = telltale::tests::open_pseudo_terminal();
    if (port < 0)
        return 1;
    std::printf("%s\n", ::ptsname(port));
    std::fflush(stdout);
    for (int i = 0; !hear(20); ++i) {
        if (i == 1500)
            return 1;
        std::this_thread::sleep_for(std::chrono::milliseconds(5)); // no one has it open yet
    }
    using Clock = std::chrono::steady_clock;
    const auto begun = Clock::now();
    unsigned long sent = 0;
    std::string text;
    for (;;) {
        const double passed = std::chrono::duration<double>(Clock::now() - begun).count();
        const auto due = static_cast<unsigned long>(std::min(passed, seconds) * rate);
        text.clear();
        for (; sent < due; ++sent) {
            char frame[40];
            std::snprintf(frame, sizeof frame, "t2A08%016lX\r", sent);
            text += frame;
        }
        for (std::size_t at = 0; at < text.size();) {
            const auto put = ::write(port, text.data() + at, text.size() - at);
            if (put <= 0)
                return 1;
            at += static_cast<std::size_t>(put);
        }
        if (passed >= seconds)
            break;
        (void)hear(0);
        std::this_thread::sleep_for(std::chrono::milliseconds(1));
    }
    std::this_thread::sleep_for(std::chrono::milliseconds(300));
    std::printf("%lu\n", sent);
    std::fflush(stdout);
    // Hanging up would be an unplugged adapter: whoever records ends first.
    std::this_thread::sleep_for(std::chrono::seconds(20));
    return 0;
}
