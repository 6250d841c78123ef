// SPDX-License-Identifier: Apache-2.0
// mimic-lines PROGRAM slcan|kline|doip: starts `telltale mimic` on a line, and reads the vehicle
// there through the links and the client of the library: every ECU, the VIN, the codes.
#include <algorithm>
#include <array>
#include <bitset>
#include <chrono>
#include <csignal>
#include <cstdio>
#include <cstdlib>
#include <cstring>
#include <string>
#include <vector>

#include <sys/wait.h>
#include <unistd.h>

#include <boost/asio/io_context.hpp>
#include <boost/asio/ip/tcp.hpp>
#include <boost/asio/ip/udp.hpp>
#include <boost/asio/steady_timer.hpp>

#include "telltale/client/finder.hpp"
#include "telltale/client/live.hpp"
#include "telltale/client/reader.hpp"
#include "telltale/link/open.hpp"
#include "telltale/mimic/vehicle.hpp"

using namespace telltale;

namespace {

/// The command, and the name of the link that it prints.
class Mimic {
  public:
    Mimic(const char* program, std::vector<std::string> arguments) {
        std::array<int, 2> ends{};
        if (::pipe(ends.data()) != 0)
            std::abort();
        child_ = ::fork();
        if (child_ == 0) {
            ::dup2(ends[1], 1);
            ::close(ends[0]);
            ::close(ends[1]);
            std::vector<char*> words{const_cast<char*>(program)};
            for (auto& argument : arguments)
                words.push_back(argument.data());
            words.push_back(nullptr);
            ::execv(program, words.data());
            ::_exit(127);
        }
        ::close(ends[1]);
        char c = 0;
        while (::read(ends[0], &c, 1) == 1 && c != '\n')
            name_ += c;
        ::close(ends[0]);
    }
    /// Tells it to stop; its exit status.
    int stop() {
        if (child_ <= 0)
            return -1;
        ::kill(child_, SIGTERM);
        int status = 0;
        ::waitpid(child_, &status, 0);
        child_ = -1;
        return WIFEXITED(status) ? WEXITSTATUS(status) : -1;
    }
    ~Mimic() { stop(); }
    Mimic(const Mimic&) = delete;
    Mimic& operator=(const Mimic&) = delete;
    const std::string& name() const { return name_; }

  private:
    pid_t child_ = -1;
    std::string name_;
};

/// A port of TCP and UDP that nobody has, until a moment ago at least.
std::uint16_t free_port() {
    namespace ip = boost::asio::ip;
    boost::asio::io_context io;
    const auto host = ip::address_v4::loopback();
    for (;;) {
        ip::tcp::acceptor stream(io, {host, 0});
        const std::uint16_t port = stream.local_endpoint().port();
        boost::system::error_code taken;
        ip::udp::socket datagrams(io, ip::udp::v4());
        datagrams.bind({host, port}, taken);
        if (!taken)
            return port;
    }
}

int failures = 0;
void expect(bool good, const char* what) {
    if (!good) {
        std::printf("FAILED: %s\n", what);
        ++failures;
    }
}

} // namespace

int main(int argc, char** argv) {
    if (argc != 3)
        return 2;
    const std::string kind = argv[2];
    std::string target = kind + ":pty";
    if (kind == "doip")
        target = "doip:127.0.0.1:" + std::to_string(free_port());
    mimic::Options options;
    options.seed = 3;
    options.fuel = mimic::Fuel::petrol;
    const mimic::Vehicle same(options); // the same seed: what it will say
    Mimic mimic(argv[1], {"mimic", target, "--seed", "3", "--fuel", "petrol", "--code", "P0442"});
    std::printf("%s\n", mimic.name().c_str());
    if (mimic.name().empty())
        return 1;

    boost::asio::io_context io;
    auto link = link::make_link(io.get_executor(), mimic.name());
    if (!link) {
        std::printf("%s\n", link.error().detail.c_str());
        return 1;
    }
    client::Session session;
    client::Driver driver(**link, session);
    client::Finder finder(client::finder_options(**link, false));
    std::unique_ptr<client::Reader> reader;
    std::string told; // every answer, as characters
    std::size_t answers = 0;
    bool stored = false;
    bool over = false;
    boost::asio::steady_timer enough(io);
    const auto end = [&] {
        over = true;
        enough.cancel();
        io.stop();
    };
    driver.run(finder, [&](bool) {
        if (!finder.found()) {
            std::printf("%s\n", driver.trouble().c_str());
            for (const auto& attempt : finder.attempts())
                std::printf("%s\n", client::describe(attempt).c_str());
            return end();
        }
        client::ReaderOptions wanted;
        wanted.ecus = finder.ecus();
        if (kind == "kline") { // at 10400 baud everything would take minutes
            wanted.values = false;
            wanted.tests = false;
        }
        reader = std::make_unique<client::Reader>(finder.line(), wanted);
        reader->on_reply = [&](const client::Reply& reply, Bytes) {
            ++answers;
            for (const auto byte : reply.bytes)
                if (byte != 0) // padding
                    told += static_cast<char>(byte);
            static constexpr std::uint8_t p0442[] = {0x04, 0x42};
            if (reply.bytes.size() > 3 && reply.bytes[0] == 0x43)
                stored =
                    stored || std::search(reply.bytes.begin(), reply.bytes.end(), std::begin(p0442),
                                          std::end(p0442)) != reply.bytes.end();
        };
        driver.run(*reader, [&](bool) { end(); });
    });
    enough.expires_after(std::chrono::seconds(100));
    enough.async_wait([&](const boost::system::error_code& error) {
        if (!error)
            io.stop();
    });
    const auto begun = std::chrono::steady_clock::now();
    io.run();
    std::printf("%zu answers in %.1f s\n", answers,
                std::chrono::duration<double>(std::chrono::steady_clock::now() - begun).count());
    expect(over, "it came to an end");
    expect(finder.found(), "the vehicle was found");
    expect(finder.ecus().size() == 2, "both ECUs were found");
    expect(stored, "the stored code was read");
    const std::string vin = same.state(0).vin;
    // On the older lines the VIN comes in five parts, each with a head of its own.
    expect(told.find(kind == "kline" ? vin.substr(1, 4) : vin) != std::string::npos,
           "the VIN was read");
    if (reader != nullptr && kind != "kline") {
        const auto& facts = reader->ecus();
        expect(facts.size() == 2, "facts of both ECUs");
        // Which of them is which is a matter of who answered first.
        for (std::size_t i = 0; i < same.ecus(); ++i) {
            const std::bitset<256> pids = same.state(i).pids;
            const bool there =
                std::any_of(facts.begin(), facts.end(), [&](const client::EcuFacts& known) {
                    std::bitset<256> supported = known.supported[1];
                    for (std::size_t range = 0; range < 256; range += 32)
                        supported.reset(range);
                    return supported == pids;
                });
            expect(there, "the PIDs that an ECU supports");
        }
        expect(reader->missing().empty(), "everything was answered");
    }
    (*link)->close();
    expect(mimic.stop() == 0, "mimic ends well when it is told to");
    return failures == 0 ? 0 : 1;
}
