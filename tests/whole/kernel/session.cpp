// SPDX-License-Identifier: Apache-2.0
// A whole session over the kernel's CAN: our client finds the simulated vehicle and reads
// everything that it has, each through a SocketCAN link of its own, while the client's link copies
// the traffic into a dump. Runs inside the machine that run.sh starts.
#include <chrono>
#include <deque>
#include <map>
#include <memory>

#include <boost/asio/io_context.hpp>

#include "beside.hpp"
#include "support/run_until.hpp"
#include "support/vehicle_on_link.hpp"
#include "telltale/client/finder.hpp"
#include "telltale/client/live.hpp"
#include "telltale/client/reader.hpp"
#include "telltale/dump/reader.hpp"
#include "telltale/link/around.hpp"
#include "telltale/link/open.hpp"

using namespace telltale;
using namespace telltale::client;

namespace {

using Data = std::vector<std::uint8_t>;

struct Whole final : isotp::Sink {
    std::map<std::uint32_t, std::deque<Data>> messages;
    std::size_t problems = 0;
    void message(const isotp::Message& m) override {
        messages[m.id.value].emplace_back(m.bytes.begin(), m.bytes.end());
    }
    void problem(const Problem&, const isotp::Message&) override { ++problems; }
};

void session(bool extended_ids, std::uint8_t block_size, std::uint8_t st_min) {
    CAPTURE(extended_ids);
    whole::Beside beside("vcan0");
    boost::asio::io_context io;
    const auto make = [&] {
        auto link = link::make_link(io.get_executor(), "can:vcan0");
        REQUIRE(link.has_value());
        return std::move(*link);
    };
    const auto far = make();
    mimic::Options options;
    options.seed = 42;
    options.extended_ids = extended_ids;
    options.block_size = block_size;
    options.st_min = st_min;
    options.ecus = 3;
    options.stored = {0x0301, 0x0171};
    const tests::VehicleOnLink vehicle(*far, options);

    std::vector<std::uint8_t> dump;
    auto writer = std::make_shared<link::TrafficWriter>(dump::memory_sink(dump),
                                                        link::LineKind::can, "vcan0");
    const auto near = link::copying(make(), writer);
    // An emulated machine is slow, and perhaps not alone.
    Timing timing = timing_of(Dialect::can_11);
    timing.slack = 250 * nanoseconds_a_millisecond;
    Session session({}, timing);
    session.set_timing(timing);
    Driver driver(*near, session);
    Finder finder(finder_options(*near, false));
    std::unique_ptr<Reader> reader;
    std::vector<std::pair<CanId, Data>> replies;
    bool over = false;
    driver.run(finder, [&](bool done) {
        REQUIRE(done);
        REQUIRE(finder.found());
        ReaderOptions wanted;
        wanted.ecus = finder.ecus();
        reader = std::make_unique<Reader>(finder.line(), wanted);
        reader->on_reply = [&](const Reply& reply, Bytes) {
            replies.emplace_back(reply.ecu, Data(reply.bytes.begin(), reply.bytes.end()));
        };
        driver.run(*reader, [&](bool read) {
            REQUIRE(read);
            over = true;
        });
    });
    REQUIRE(tests::run_until(
        io, [&] { return over; }, std::chrono::seconds(60)));
    CHECK(reader->ecus().size() == 3);
    CHECK(reader->missing().empty());
    CHECK(reader->progress().left == 0);
    REQUIRE(writer->flush().has_value());

    // The dump has what a bystander saw, each way in its order, nothing lost or changed.
    std::map<std::uint32_t, std::deque<Data>> seen;
    canfd_frame frame{};
    std::size_t frames = 0;
    for (bool fd = false; beside.receive(frame, fd, 50); ++frames)
        seen[frame.can_id & CAN_EFF_MASK].emplace_back(frame.data, frame.data + frame.len);
    std::map<std::uint32_t, std::deque<Data>> kept;
    auto in = dump::Reader::from(dump::memory_source(dump));
    REQUIRE(in.has_value());
    Whole whole;
    isotp::Reassembler reassembler;
    dump::Record record;
    Problem problem;
    for (dump::Step step; (step = in->next(record, problem)) != dump::Step::end;) {
        if (step == dump::Step::problem) {
            // A frame of ours that was confirmed after the answer to it was read.
            REQUIRE(problem.code == ProblemCode::time_backwards);
            continue;
        }
        kept[record.can.id.value].emplace_back(record.can.data.begin(), record.can.data.end());
        reassembler.feed(record.line, record.can, record.time, record.place, whole);
    }
    CHECK(kept == seen);
    // Every answer that the client was told stands in it.
    for (const auto& [ecu, bytes] : replies) {
        auto& messages = whole.messages[ecu.value];
        while (!messages.empty() && messages.front() != bytes)
            messages.pop_front();
        REQUIRE_FALSE(messages.empty());
        messages.pop_front();
    }
    CHECK(replies.size() > 50);
    MESSAGE("", replies.size(), " answers of ", reader->ecus().size(), " ECUs, ", frames,
            " frames, ", whole.problems, " messages broken and asked for again");
}

} // namespace

TEST_CASE("session: a vehicle on the kernel's CAN is found, read and recorded, 11 bits") {
    session(false, 0, 0);
}

TEST_CASE("session: the same with 29 bits, blocks and STmin") {
    session(true, 3, 0xF5);
}
