// SPDX-License-Identifier: Apache-2.0
// Our ISO 15765-2 sender and receiver against those of the Linux kernel. Runs inside the machine
// that run.sh starts: it needs the interface vcan0 and the kernel's CAN modules.
#include <random>

#include "kernel.hpp"

using namespace telltale;
using namespace telltale::isotp;
using namespace telltale::whole;

namespace {

Data random_bytes(std::mt19937& random, std::size_t n) {
    Data out(n);
    for (auto& byte : out)
        byte = static_cast<std::uint8_t>(random());
    return out;
}

/// The n-th of a row of addresses, of every format in turn, none of which disturb each other.
Address address_of(std::size_t n) {
    const auto i = static_cast<std::uint32_t>(n);
    const auto byte = static_cast<std::uint8_t>(n);
    switch (n % 5) {
    case 0:
        return normal_address({0x100 + i, false}, {0x300 + i, false});
    case 1:
        return normal_fixed_address(byte, 0xF1);
    case 2:
        return extended_address({0x500 + i, false}, {0x600 + i, false}, byte,
                                static_cast<std::uint8_t>(byte ^ 0xFF));
    case 3:
        return mixed_address({0x400 + i, false}, {0x700 + (i & 0xFF), false}, byte);
    default:
        return mixed_fixed_address(byte, 0xF1, 0x55);
    }
}

Options patient() {
    Options options;
    constexpr Time time = 5 * nanoseconds_a_second; // the kernel's own timeouts are 1 s
    options.timing = {time, time, time, time, time};
    options.max_message = 100'000;
    return options;
}

constexpr std::uint8_t frame_sizes[] = {8, 12, 16, 20, 24, 32, 48, 64};

/// Lengths that are close to where something changes, and a spread over the rest.
std::vector<std::size_t> lengths(std::size_t up_to) {
    std::vector<std::size_t> out;
    for (std::size_t n = 1; n <= up_to; n += n < 140 ? 1 : 1 + n / 7)
        out.push_back(n);
    return out;
}

void report(const char* what, const Bus& bus) {
    MESSAGE(std::string(what), ": ", bus.messages, " messages, ", bus.bytes, " bytes, ", bus.frames,
            " frames");
}

} // namespace

TEST_CASE("lengths from 1 on, classic, in every addressing format, both directions") {
    std::mt19937 random{1};
    Bus bus;
    for (std::size_t n = 0; n < 5; ++n) {
        Options options = patient();
        KernelSide kernel;
        kernel.padding = n % 2 == 0;
        if (!kernel.padding)
            options.padding.reset();
        Conversation& c = bus.add(address_of(n), options, kernel);
        for (const std::size_t length : lengths(8200)) {
            c.to_kernel.push_back(random_bytes(random, length));
            c.to_us.push_back(random_bytes(random, length));
        }
    }
    bus.run();
    report("lengths, classic", bus);
}

TEST_CASE("every length from 1 to 4095 once, classic and FD, shared by 8 conversations at once") {
    std::mt19937 random{2};
    Bus bus;
    std::vector<Conversation*> all;
    constexpr std::uint8_t sizes[] = {8, 24, 32, 48, 64, 64, 64, 64};
    for (std::size_t n = 0; n < 8; ++n) {
        // An infinitely fast line is not for the emulated processor: blocks let all have a turn.
        Options options = patient();
        KernelSide kernel;
        options.fd = kernel.fd = n > 0;
        options.tx_dl = kernel.tx_dl = sizes[n];
        options.block_size = 64;
        kernel.block_size = 50;
        all.push_back(&bus.add(address_of(n), options, kernel));
    }
    for (std::size_t length = 1; length <= 4095; ++length) {
        Conversation& c = *all[length % 16 == 0 ? 0 : 1 + length % 7];
        (length / 16 % 2 == 0 ? c.to_kernel : c.to_us).push_back(random_bytes(random, length));
    }
    bus.run();
    report("every length", bus);
    CHECK(bus.messages == 4095);
}

TEST_CASE("CAN FD: each frame size, lengths from 1 on, both directions at once") {
    std::mt19937 random{3};
    Bus bus;
    for (std::size_t n = 0; n < std::size(frame_sizes); ++n) {
        Options options = patient();
        options.fd = true;
        options.bit_rate_switch = n % 2 == 0;
        options.tx_dl = frame_sizes[n];
        options.block_size = 16;
        KernelSide kernel;
        kernel.fd = true;
        kernel.tx_dl = frame_sizes[std::size(frame_sizes) - 1 - n]; // each its own
        Conversation& c = bus.add(address_of(n), options, kernel);
        for (const std::size_t length : lengths(8200)) {
            c.to_kernel.push_back(random_bytes(random, length));
            c.to_us.push_back(random_bytes(random, length));
        }
    }
    bus.run();
    report("lengths, FD", bus);
}

TEST_CASE("every block size and every STmin, never shorter than asked, both directions at once") {
    std::mt19937 random{4};
    std::size_t messages = 0;
    std::size_t gaps = 0;
    // 64 at a time, two gaps each
    for (unsigned from = 0; from < 256; from += 64) {
        Bus bus;
        for (unsigned code = from; code < from + 64; ++code) {
            Options options = patient();
            KernelSide kernel;
            options.st_min = kernel.st_min = static_cast<std::uint8_t>(code);
            options.block_size = static_cast<std::uint8_t>(code);
            kernel.block_size = static_cast<std::uint8_t>(255 - code);
            Conversation& c = bus.add(address_of(code - from), options, kernel);
            c.gap_to_kernel = c.gap_to_us = st_min_time(options.st_min);
            const std::size_t length = c.endpoint.address().has_byte() ? 5 + 6 * 3 : 6 + 7 * 3;
            c.to_kernel.push_back(random_bytes(random, length));
            c.to_us.push_back(random_bytes(random, length));
        }
        bus.run();
        messages += bus.messages;
        gaps += bus.gaps;
    }
    MESSAGE("STmin: ", messages, " messages, one each way for every code; ", gaps, " gaps");
    CHECK(messages == 512);
    CHECK(gaps == 1024);

    // Every block size with messages that have several blocks.
    Bus bus;
    for (unsigned size = 1; size < 256; size += 17) {
        Options options = patient();
        options.block_size = static_cast<std::uint8_t>(size);
        KernelSide kernel;
        kernel.block_size = static_cast<std::uint8_t>(256 - size);
        Conversation& c = bus.add(address_of(size), options, kernel);
        c.to_kernel.push_back(random_bytes(random, 7 * 256 * 2));
        c.to_us.push_back(random_bytes(random, 7 * 256 * 2));
    }
    bus.run();
    report("blocks", bus);
}

TEST_CASE("thousands of messages, everything mixed, both directions at once") {
    std::mt19937 random{5};
    Bus bus;
    for (std::size_t n = 0; n < 20; ++n) {
        Options options = patient();
        KernelSide kernel;
        options.fd = kernel.fd = random() % 2 == 0;
        options.tx_dl = kernel.fd ? frame_sizes[random() % 8] : std::uint8_t{8};
        kernel.tx_dl = kernel.fd ? frame_sizes[random() % 8] : std::uint8_t{8};
        kernel.padding = options.fd || random() % 2 == 0;
        if (!kernel.padding)
            options.padding.reset();
        options.block_size = static_cast<std::uint8_t>(1 + random() % 40);
        kernel.block_size = static_cast<std::uint8_t>(1 + random() % 40);
        options.st_min = kernel.st_min = random() % 3 == 0 ? std::uint8_t{0xF1} : std::uint8_t{0};
        Conversation& c = bus.add(address_of(n), options, kernel);
        c.gap_to_kernel = c.gap_to_us = st_min_time(options.st_min);
        for (int i = 0; i < 100; ++i) {
            c.to_kernel.push_back(random_bytes(random, 1 + random() % 120));
            c.to_us.push_back(random_bytes(random, 1 + random() % 120));
        }
    }
    bus.run();
    report("mixed", bus);
    CHECK(bus.messages == 4000);
}

TEST_CASE("waiting: the kernel's sender waits while our receiver is not ready") {
    std::mt19937 random{6};
    Bus bus;
    Options options = patient();
    options.timing.n_br = 20 * nanoseconds_a_millisecond;
    options.wft_max = 1000;
    Conversation& c = bus.add(address_of(0), options, {});
    c.endpoint.ready(false);
    c.to_us.push_back(random_bytes(random, 300));
    const Time start = clock_now();
    bus.at(start + 300 * nanoseconds_a_millisecond, [&] { c.endpoint.ready(true); });
    bus.run();
    CHECK(clock_now() - start >= 300 * nanoseconds_a_millisecond);
    CHECK(bus.frames >= 10);
    report("waiting", bus);
}

TEST_CASE("overflow and silence are told by both sides") {
    std::mt19937 random{7};
    {
        Bus bus; // more than the kernel has room for
        Conversation& c = bus.add(address_of(0), patient(), {});
        c.lossy = true;
        c.to_kernel.push_back(random_bytes(random, 90'000));
        bus.run();
        REQUIRE(c.outcomes.size() == 1);
        CHECK(word(c.outcomes[0]) == "N_BUFFER_OVFLW");
    }
    {
        Bus bus; // more than we have room for
        Options options = patient();
        options.max_message = 299;
        Conversation& c = bus.add(address_of(0), options, {});
        c.lossy = true;
        c.to_us.push_back(random_bytes(random, 300));
        bus.run();
        CHECK(c.kernel_error == EMSGSIZE);
        REQUIRE(c.outcomes_in.size() == 1);
        CHECK(word(c.outcomes_in[0]) == "N_BUFFER_OVFLW");
    }
    {
        Bus bus; // nobody hears: the kernel's side has another address byte
        Address other = address_of(2);
        other.tx_byte ^= 1;
        Options options = patient();
        options.timing = Timing::general();
        Conversation& c = bus.add(address_of(2), options, {}, other);
        c.lossy = true;
        c.to_kernel.push_back(random_bytes(random, 300));
        bus.run(10 * nanoseconds_a_second);
        REQUIRE(c.outcomes.size() == 1);
        CHECK(word(c.outcomes[0]) == "N_TIMEOUT_Bs");
    }
}
