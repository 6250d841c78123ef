// SPDX-License-Identifier: Apache-2.0
// wire [FAULT]: a K-line with two ends on pseudo terminals: what either end puts on it both hear.
// Prints their paths and works until it is ended or its standard input is. The first one has the
// fault:
//   mute        it hears nothing of what it sends
//   echo=N      one in N of the bytes that it hears of itself has a bit changed
//   missing=N   one in N of them is missing
//   lose=N      one in N of the bytes of the other end does not reach it
//   swallow=N   one in N of its own bytes does not go out, though it hears it
//   right       it sets wrong checksums of the other end right
//   noise       somebody else speaks on the line
#include <array>
#include <cstdint>
#include <cstdio>
#include <cstdlib>
#include <string>
#include <vector>

#include <fcntl.h>
#include <poll.h>
#include <unistd.h>

#include "support/pseudo_terminal.hpp"

namespace {

std::array<int, 2> ports{};

void put(std::size_t at, std::uint8_t byte) {
    (void)!::write(ports[at], &byte, 1);
}

/// Bytes that the frame has which begins so; 0: not known yet.
std::size_t length_of(const std::vector<std::uint8_t>& frame) {
    if (frame.size() < 4)
        return 0;
    const std::size_t in_format = frame[0] & 0x3FU;
    return in_format != 0 ? 3 + in_format + 1 : 4U + frame[3] + 1U;
}

} // namespace

int main(int argc, char** argv) {
    const std::string fault = argc > 1 ? argv[1] : "";
    const auto every = [&](const char* name) {
        const std::string start = std::string(name) + '=';
        return fault.compare(0, start.size(), start) == 0
                   ? std::strtoul(fault.c_str() + start.size(), nullptr, 10)
                   : 0UL;
    };
    const auto echo = every("echo");
    const auto missing = every("missing");
    const auto lose = every("lose");
    const auto swallow = every("swallow");
    unsigned long own = 0;
    unsigned long others = 0;
    std::vector<std::uint8_t> frame;
    for (int& port : ports) {
        port = telltale::tests::open_pseudo_terminal();
        if (port < 0)
            return 1;
        std::printf("%s\n", ::ptsname(port));
        // A port that nobody has open would be one that hung up; this is held to the end.
        if (::open(::ptsname(port), O_RDWR | O_NOCTTY) < 0)
            return 1;
    }
    std::fflush(stdout);
    for (;;) {
        std::array<pollfd, 3> wait{{{ports[0], POLLIN, 0}, {ports[1], POLLIN, 0}, {0, POLLIN, 0}}};
        (void)::poll(wait.data(), wait.size(), fault == "noise" ? 100 : 1000);
        std::array<std::uint8_t, 512> bytes{};
        if (wait[2].revents != 0 && ::read(0, bytes.data(), bytes.size()) <= 0)
            return 0;
        if (fault == "noise")
            put(1, 0x55);
        if ((wait[0].revents & POLLIN) != 0) {
            const ssize_t size = ::read(ports[0], bytes.data(), bytes.size());
            for (ssize_t i = 0; i < size; ++i) {
                const std::uint8_t byte = bytes[static_cast<std::size_t>(i)];
                ++own;
                if (fault != "mute" && (missing == 0 || own % missing != 0))
                    put(0, echo != 0 && own % echo == 0 ? byte ^ 0x10 : byte);
                if (swallow == 0 || own % swallow != 0)
                    put(1, byte);
            }
        }
        if ((wait[1].revents & POLLIN) != 0) {
            const ssize_t size = ::read(ports[1], bytes.data(), bytes.size());
            for (ssize_t i = 0; i < size; ++i) {
                const std::uint8_t byte = bytes[static_cast<std::size_t>(i)];
                put(1, byte);
                if (lose != 0 && ++others % lose == 0)
                    continue;
                if (fault != "right") {
                    put(0, byte);
                    continue;
                }
                frame.push_back(byte);
                if (length_of(frame) != frame.size())
                    continue;
                unsigned sum = 0;
                frame.pop_back();
                for (const std::uint8_t one : frame)
                    sum += one;
                frame.push_back(static_cast<std::uint8_t>(sum));
                for (const std::uint8_t one : frame)
                    put(0, one);
                frame.clear();
            }
        }
    }
}
