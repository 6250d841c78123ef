// SPDX-License-Identifier: Apache-2.0
#include "telltale/dump/reader.hpp"

#include <optional>

#include "guard.hpp"
#include "relay.hpp"
#include "telltale/run/feed.hpp"
#include "vehicle.hpp"

using namespace telltale;

struct telltale_dump : c::Handle {
    explicit telltale_dump(const c::Settings& from)
        : settings(from), labels(from.units), stream(from.stream),
          relay(from.units, settings.extension.get(), &labels) {
        relay.choose(settings.chooser, settings.chooser_user);
    }

    c::Settings settings; ///< the reader refers to its filter
    c::Labels labels;
    std::optional<dump::Reader> reader;
    message::Stream stream;
    c::Relay relay;
    bool over = false;
    telltale_dump_facts facts{};
};

namespace {

template <class Open>
int open(telltale_dump** dump, const telltale_options* options, telltale_error* error,
         Open&& open_reader) noexcept {
    return c::make(dump, error, [&](std::unique_ptr<telltale_dump>& made) {
        c::Settings settings;
        const int status = c::read_options(options, settings, error);
        if (status != TELLTALE_OK)
            return status;
        made = std::make_unique<telltale_dump>(settings);
        dump::ReaderOptions how;
        if (!settings.frames)
            how.filter = &made->settings.stream.filter;
        auto reader = open_reader(how);
        if (!reader)
            return c::fail(error, reader.error());
        made->reader.emplace(std::move(*reader));
        made->relay.name_lines(&*made->reader);
        return int{TELLTALE_OK};
    });
}

/// Reads one record and tells what it holds. False: the dump was over already.
bool step(telltale_dump& dump) {
    c::Relay& relay = dump.relay;
    relay.clear();
    if (dump.over)
        return false;
    dump::Record record;
    Problem problem;
    switch (dump.reader->next(record, problem)) {
    case dump::Step::record:
        if (dump.settings.frames)
            relay.frame(record);
        if (!record.comment.empty())
            relay.comment(record);
        run::feed(dump.stream, record, relay);
        break;
    case dump::Step::problem:
        run::tell(problem, relay);
        break;
    case dump::Step::end:
        dump.over = true;
        dump.stream.finish(relay);
        if (vehicle::Picture* const picture = relay.picture()) {
            picture->finish();
            picture->name_lines([&](std::uint16_t line) { return dump.reader->line_name(line); });
        }
        break;
    }
    return true;
}

template <class Call> int read(telltale_dump* dump, Call&& call) noexcept {
    const bool free = dump != nullptr && !dump->busy && !dump->unusable;
    const int status = c::use(dump, [&] {
        if (dump->relay.shared() != nullptr && dump->relay.shared()->unusable)
            return int{TELLTALE_UNUSABLE};
        return call();
    });
    if (free && dump->unusable && dump->relay.shared() != nullptr)
        dump->relay.shared()->unusable = true;
    return status;
}

void take_facts(telltale_dump& dump) {
    const dump::Counts& counts = dump.reader->counts();
    dump.facts.format = c::literal(dump::name(dump.reader->format()));
    dump.facts.size = dump.reader->size();
    dump.facts.bytes = counts.bytes;
    dump.facts.frames = counts.frames;
    dump.facts.passed_over = counts.passed_over;
    dump.facts.problems = counts.problems;
}

} // namespace

extern "C" {

int telltale_dump_open(const char* path, const telltale_options* options, telltale_dump** dump,
                       telltale_error* error) {
    return open(dump, options, error, [&](const dump::ReaderOptions& how) -> Result<dump::Reader> {
        if (path == nullptr)
            return telltale::fail(ErrorCode::bad_argument, "the path is null");
        return dump::Reader::open(path, how);
    });
}

int telltale_dump_open_memory(const uint8_t* bytes, size_t size, const telltale_options* options,
                              telltale_dump** dump, telltale_error* error) {
    return open(dump, options, error, [&](const dump::ReaderOptions& how) -> Result<dump::Reader> {
        if (bytes == nullptr && size != 0)
            return telltale::fail(ErrorCode::bad_argument, "the bytes are null");
        return dump::Reader::from(dump::memory_source({bytes, size}), how);
    });
}

void telltale_dump_free(telltale_dump* dump) {
    delete dump;
}

int telltale_dump_next(telltale_dump* dump, const telltale_event** event) {
    if (event == nullptr)
        return TELLTALE_BAD_ARGUMENT;
    *event = nullptr;
    return read(dump, [&] {
        dump->relay.listen(nullptr, nullptr);
        do {
            if ((*event = dump->relay.take()) != nullptr)
                return int{TELLTALE_OK};
        } while (step(*dump));
        return int{TELLTALE_END};
    });
}

int telltale_dump_read(telltale_dump* dump, telltale_listener listener, void* user) {
    if (listener == nullptr)
        return TELLTALE_BAD_ARGUMENT;
    return read(dump, [&] {
        dump->relay.listen(listener, user);
        while (const telltale_event* event = dump->relay.take()) // left by `telltale_dump_next`
            dump->relay.tell(*event);
        while (!dump->relay.stopped())
            if (!step(*dump))
                return int{TELLTALE_END};
        dump->relay.clear();
        return int{TELLTALE_OK};
    });
}

int telltale_dump_attach(telltale_dump* dump, telltale_vehicle* vehicle) {
    return c::use(dump, [&] {
        dump->relay.attach(vehicle == nullptr ? nullptr : vehicle->shared);
        if (vehicle != nullptr && dump->settings.extension != nullptr)
            vehicle->extension = dump->settings.extension;
        return int{TELLTALE_OK};
    });
}

const telltale_dump_facts* telltale_dump_about(telltale_dump* dump) {
    if (dump == nullptr)
        return nullptr;
    take_facts(*dump);
    return &dump->facts;
}

int telltale_vehicle_load(const char* path, const telltale_options* options,
                          telltale_vehicle** vehicle, telltale_error* error) {
    return c::make(vehicle, error, [&](std::unique_ptr<telltale_vehicle>& made) {
        telltale_dump* opened = nullptr;
        const int status = telltale_dump_open(path, options, &opened, error);
        if (status != TELLTALE_OK)
            return status;
        const std::unique_ptr<telltale_dump> dump(opened);
        made = std::make_unique<telltale_vehicle>();
        made->extension = dump->settings.extension;
        dump->relay.attach(made->shared);
        dump->relay.mute(true);
        while (step(*dump)) {
        }
        made->source = std::string_view(path) == "-" ? "standard input" : path;
        made->format = dump::name(dump->reader->format());
        made->frames = dump->reader->counts().frames;
        return int{TELLTALE_OK};
    });
}

} // extern "C"
