// SPDX-License-Identifier: Apache-2.0
// What the C interface costs: bench-c DUMP decodes the frames of a dump to values by the C++
// interface and by the C one (the shared library), in turns, and prints the median time a frame of
// each and the median of the ratios of neighbours.
#include <algorithm>
#include <chrono>
#include <cstdio>
#include <cstdlib>
#include <vector>

#include "telltale.h"
#include "telltale/dump/reader.hpp"
#include "telltale/message/stream.hpp"

namespace {

using namespace telltale;

struct Frame {
    CanId id;
    Time time = 0;
    std::uint8_t size = 0;
    std::array<std::uint8_t, 64> data{};
};

struct Sum {
    double numbers = 0;
    std::size_t values = 0;
    std::size_t letters = 0;
    friend bool operator==(const Sum&, const Sum&) = default;
};

class Ear final : public message::Listener {
  public:
    bool begin(const message::Said&) override { return true; }
    void value(const message::Said&, const message::Value& value) override {
        sum.numbers += value.number;
        ++sum.values;
        sum.letters += value.name.size() + value.text.size() + info(value.unit).text.size();
    }
    void dtc(const message::Said&, message::Dtc) override {}
    void message_problem(const message::Said&, const Problem&) override {}
    void end(const message::Said&) override {}
    void problem(const Problem&, const message::Said&) override {}
    Sum sum;
};

void add(Sum& sum, const telltale_value& value) {
    sum.numbers += value.number;
    ++sum.values;
    sum.letters += value.label->name.size + value.text.size + value.label->unit.size;
}

void add(Sum& sum, const telltale_event& event) {
    if (event.message != nullptr)
        for (const telltale_value* value = event.message->values; value != nullptr;
             value = value->next)
            add(sum, *value);
}

int hear(void* user, const telltale_event* event) {
    add(*static_cast<Sum*>(user), *event);
    return TELLTALE_GO_ON;
}

Sum by_cpp(const std::vector<Frame>& frames) {
    message::Stream stream;
    Ear ear;
    for (const Frame& frame : frames) {
        CanFrame view;
        view.id = frame.id;
        view.data = {frame.data.data(), frame.size};
        stream.can(0, view, frame.time, {}, ear);
    }
    stream.finish(ear);
    return ear.sum;
}

Sum by_c(const std::vector<Frame>& frames, bool asked) {
    Sum sum;
    telltale_stream* stream = nullptr;
    if (telltale_stream_new(nullptr, &stream, nullptr) != TELLTALE_OK)
        std::abort();
    telltale_stream_listen(stream, asked ? nullptr : hear, &sum);
    for (const Frame& frame : frames) {
        telltale_stream_can(stream, 0, frame.id.value, frame.id.extended ? TELLTALE_EXTENDED : 0,
                            frame.data.data(), frame.size, frame.time, 0);
        const telltale_event* event = nullptr;
        if (asked)
            while (telltale_stream_next(stream, &event) == TELLTALE_OK)
                add(sum, *event);
    }
    telltale_stream_finish(stream);
    telltale_stream_free(stream);
    return sum;
}

template <class Work> double seconds(Work&& work) {
    const auto before = std::chrono::steady_clock::now();
    work();
    return std::chrono::duration<double>(std::chrono::steady_clock::now() - before).count();
}

double median(std::vector<double> values) {
    std::nth_element(values.begin(),
                     values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2), values.end());
    return values[values.size() / 2];
}

} // namespace

int main(int argc, char** argv) {
    auto reader = argc >= 2 ? dump::Reader::open(argv[1])
                            : Result<dump::Reader>(fail(ErrorCode::bad_argument, "name a dump"));
    if (!reader) {
        std::fprintf(stderr, "bench-c: %s\n", reader.error().detail.c_str());
        return 2;
    }
    std::vector<Frame> frames;
    dump::Record record;
    Problem problem;
    for (dump::Step step; (step = reader->next(record, problem)) != dump::Step::end;) {
        if (step != dump::Step::record || record.kind != dump::RecordKind::can ||
            role_of(record.can.id) == Role::unknown)
            continue;
        Frame& frame = frames.emplace_back();
        frame.id = record.can.id;
        frame.time = record.time;
        frame.size = static_cast<std::uint8_t>(record.can.data.size());
        std::copy(record.can.data.begin(), record.can.data.end(), frame.data.begin());
    }
    const Sum wanted = by_cpp(frames);
    if (!(by_c(frames, false) == wanted) || !(by_c(frames, true) == wanted)) {
        std::fprintf(stderr, "bench-c: the interfaces differ\n");
        return 1;
    }
    constexpr int rounds = 301;
    std::vector<double> cpp;
    std::vector<double> told;
    std::vector<double> asked;
    std::vector<double> told_ratio;
    std::vector<double> asked_ratio;
    for (int i = 0; i < rounds; ++i) {
        cpp.push_back(seconds([&] { (void)by_cpp(frames); }));
        told.push_back(seconds([&] { (void)by_c(frames, false); }));
        asked.push_back(seconds([&] { (void)by_c(frames, true); }));
        told_ratio.push_back(told.back() / cpp.back());
        asked_ratio.push_back(asked.back() / cpp.back());
    }
    const double each = 1e9 / static_cast<double>(frames.size());
    std::printf("%zu frames, %zu values, %d rounds\n", frames.size(), wanted.values, rounds);
    std::printf("C++           %6.1f ns a frame\n", median(cpp) * each);
    std::printf("C, listener   %6.1f ns a frame, %.3f times\n", median(told) * each,
                median(told_ratio));
    std::printf("C, next       %6.1f ns a frame, %.3f times\n", median(asked) * each,
                median(asked_ratio));
}
