// SPDX-License-Identifier: Apache-2.0
// The streaming path against the plain one of plain.hpp, on the bytes of any dump: they must agree
// on the messages of every sender and on how many problems there are of each kind. The plain path
// also gets its input in pieces of a few bytes, so that the readers must agree with themselves.
#include <cstddef>
#include <cstdint>
#include <cstdio>
#include <cstdlib>
#include <set>

#include "plain.hpp"
#include "telltale/base/hex.hpp"
#include "telltale/dump/reader.hpp"
#include "telltale/message/stream.hpp"

namespace {

using namespace telltale;

/// Bytes in memory that come a few at a time.
class Trickle final : public dump::Source {
  public:
    explicit Trickle(Bytes bytes) : bytes_(bytes) {}
    Result<std::size_t> read(std::span<std::uint8_t> into) override {
        const std::size_t count = std::min({into.size(), bytes_.size(), 1 + (step_++ * 7) % 97});
        std::copy_n(bytes_.begin(), count, into.begin());
        bytes_ = bytes_.subspan(count);
        return count;
    }

  private:
    Bytes bytes_;
    std::size_t step_ = 0;
};

constexpr std::size_t most_senders = 128;

/// What the streaming path says.
class Ear final : public message::Listener {
  public:
    bool begin(const message::Said& said) override {
        add(said);
        return true;
    }
    void value(const message::Said&, const message::Value&) override {}
    void dtc(const message::Said&, message::Dtc) override {}
    void message_problem(const message::Said&, const Problem&) override {}
    void end(const message::Said&) override {}
    void problem(const Problem& problem, const message::Said& about) override {
        ++outcome.problems[problem.code];
        switch (problem.code) { // a message whose header cannot be read is a message
        case ProblemCode::message_empty:
        case ProblemCode::message_cut:
        case ProblemCode::unknown_service:
        case ProblemCode::unexpected_direction:
            add(about);
            break;
        default:
            break;
        }
    }

    plain::Outcome outcome;

  private:
    void add(const message::Said& said) {
        plain::Message m;
        m.line = said.line;
        m.id = said.id.value;
        m.extended = said.id.extended;
        m.bytes.assign(said.bytes.begin(), said.bytes.end());
        m.frames = said.frames;
        outcome.messages.push_back(m);
    }
};

void streaming(Bytes bytes, Ear& ear) {
    auto reader = dump::Reader::from(dump::memory_source(bytes));
    if (!reader)
        return;
    message::StreamOptions options;
    // no message is given up for want of room: the plain path knows no bound
    options.isotp.max_bytes = std::size_t{64} << 20;
    options.isotp.max_open = most_senders;
    message::Stream stream{options};
    dump::Record record;
    Problem problem;
    for (;;) {
        const dump::Step step = reader->next(record, problem);
        if (step == dump::Step::end)
            break;
        if (step == dump::Step::problem)
            ++ear.outcome.problems[problem.code];
        else if (record.kind == dump::RecordKind::can)
            stream.can(record.line, record.can, record.time, record.place, ear);
        else if (record.kind == dump::RecordKind::message)
            stream.message(record.bytes, record.time, record.place, ear);
    }
    stream.finish(ear);
}

/// False when there are more senders than the streaming path keeps apart.
bool plainly(Bytes bytes, plain::Outcome& all) {
    auto reader = dump::Reader::from(std::make_unique<Trickle>(bytes));
    if (!reader)
        return true;
    std::vector<plain::Frame> frames;
    std::vector<plain::Message> bare;
    std::map<ProblemCode, std::size_t> reading;
    std::set<std::tuple<unsigned, std::uint32_t, bool>> senders;
    dump::Record record;
    Problem problem;
    for (;;) {
        const dump::Step step = reader->next(record, problem);
        if (step == dump::Step::end)
            break;
        if (step == dump::Step::problem) {
            ++reading[problem.code];
        } else if (record.kind == dump::RecordKind::can && record.can.kind == CanKind::data) {
            plain::Frame frame;
            frame.line = record.line;
            frame.id = record.can.id.value;
            frame.extended = record.can.id.extended;
            frame.fd = record.can.fd;
            frame.time = record.time;
            frame.data.assign(record.can.data.begin(), record.can.data.end());
            frames.push_back(frame);
            senders.emplace(frame.line, frame.id, frame.extended);
        } else if (record.kind == dump::RecordKind::message) {
            plain::Message m;
            m.bytes.assign(record.bytes.begin(), record.bytes.end());
            m.frames = 1;
            bare.push_back(m);
        }
    }
    all = plain::reassemble(frames, nanoseconds_a_second);
    for (const auto& [code, count] : reading)
        all.problems[code] += count;
    const auto head = [&](const plain::Message& m, bool tester, bool ecu) {
        const ProblemCode code = plain::header(m.bytes, tester, ecu);
        if (code != ProblemCode::none)
            ++all.problems[code];
    };
    for (const plain::Message& m : all.messages)
        head(m, plain::is_tester(m.id, m.extended), plain::is_ecu(m.id, m.extended));
    for (const plain::Message& m : bare)
        head(m, false, false);
    all.messages.insert(all.messages.end(), bare.begin(), bare.end());
    return senders.size() <= most_senders;
}

void show(const char* who, const plain::Outcome& outcome) {
    std::fprintf(stderr, "%s:\n", who);
    for (const plain::Message& m : outcome.messages)
        std::fprintf(stderr, "  line %u id %X frames %zu %s\n", m.line, m.id, m.frames,
                     to_hex(m.bytes).c_str());
    for (const auto& [code, count] : outcome.problems)
        std::fprintf(stderr, "  %s %zu\n", std::string(word(code)).c_str(), count);
}

/// The senders' messages mingle differently; those of one sender keep their order.
void by_sender(std::vector<plain::Message>& messages) {
    std::stable_sort(
        messages.begin(), messages.end(), [](const plain::Message& a, const plain::Message& b) {
            return std::tie(a.line, a.id, a.extended) < std::tie(b.line, b.id, b.extended);
        });
}

} // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
    const Bytes bytes{data, size};
    plain::Outcome expected;
    if (!plainly(bytes, expected))
        return 0;
    Ear ear;
    streaming(bytes, ear);
    by_sender(expected.messages);
    by_sender(ear.outcome.messages);
    if (expected.messages != ear.outcome.messages || expected.problems != ear.outcome.problems) {
        show("plain", expected);
        show("streaming", ear.outcome);
        std::abort();
    }
    return 0;
}
