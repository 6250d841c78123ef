// SPDX-License-Identifier: Apache-2.0
#include "guard.hpp"
#include "relay.hpp"
#include "telltale/frame/kline.hpp"
#include "vehicle.hpp"

using namespace telltale;

struct telltale_stream : c::Handle {
    explicit telltale_stream(const c::Settings& settings)
        : extension(settings.extension), labels(settings.units), stream(settings.stream),
          relay(settings.units, extension.get(), &labels) {
        relay.choose(settings.chooser, settings.chooser_user);
    }
    c::SharedExtension extension;
    c::Labels labels;
    message::Stream stream;
    c::Relay relay;
};

namespace {

/// A call that brings something new. What was kept of the one before is forgotten.
template <class Call> int push(telltale_stream* stream, Call&& call) noexcept {
    const bool free = stream != nullptr && !stream->busy && !stream->unusable;
    const int status = c::use(stream, [&] {
        stream->relay.clear();
        if (stream->relay.shared() != nullptr && stream->relay.shared()->unusable)
            return int{TELLTALE_UNUSABLE};
        return call();
    });
    if (free && stream->unusable) {
        stream->relay.clear(); // half of what was to be told
        if (stream->relay.shared() != nullptr)
            stream->relay.shared()->unusable = true;
    }
    return status;
}

bool readable(const std::uint8_t* bytes, std::size_t size) {
    return bytes != nullptr || size == 0;
}

CanId can_id(std::uint32_t id, std::uint32_t flags) {
    return {id, (flags & TELLTALE_EXTENDED) != 0};
}

constexpr std::size_t most_frame = 64;

} // namespace

extern "C" {

int telltale_decode(const uint8_t* bytes, size_t size, int role, const telltale_options* options,
                    telltale_listener listener, void* user) {
    if (!readable(bytes, size) || listener == nullptr || role < TELLTALE_ANYBODY ||
        role > TELLTALE_ECU)
        return TELLTALE_BAD_ARGUMENT;
    if (size > TELLTALE_MAX_MESSAGE)
        return TELLTALE_TOO_LONG;
    return c::run([&] {
        UnitSystem units = UnitSystem::si;
        const catalogue::Extension* extension = nullptr;
        const int status = c::read_few_options(options, units, extension);
        if (status != TELLTALE_OK)
            return status;
        c::Relay relay(units, extension);
        relay.listen(listener, user);
        return c::decode_alone({bytes, size}, static_cast<Role>(role), extension, relay);
    });
}

int telltale_stream_new(const telltale_options* options, telltale_stream** stream,
                        telltale_error* error) {
    return c::make(stream, error, [&](std::unique_ptr<telltale_stream>& made) {
        c::Settings settings;
        const int status = c::read_options(options, settings, error);
        if (status == TELLTALE_OK)
            made = std::make_unique<telltale_stream>(settings);
        return status;
    });
}

void telltale_stream_free(telltale_stream* stream) {
    delete stream;
}

int telltale_stream_listen(telltale_stream* stream, telltale_listener listener, void* user) {
    return c::use(stream, [&] {
        stream->relay.listen(listener, user);
        return int{TELLTALE_OK};
    });
}

int telltale_stream_can(telltale_stream* stream, uint16_t line, uint32_t id, uint32_t flags,
                        const uint8_t* data, size_t size, int64_t time, uint64_t place) {
    CanFrame frame;
    frame.id = can_id(id, flags);
    frame.fd = (flags & TELLTALE_FD) != 0;
    if ((flags & TELLTALE_REMOTE) != 0)
        frame.kind = CanKind::remote;
    else if ((flags & TELLTALE_ERROR_FRAME) != 0)
        frame.kind = CanKind::error;
    if (!readable(data, size) || !frame.id.valid() || size > (frame.fd ? most_frame : 8))
        return TELLTALE_BAD_ARGUMENT;
    frame.data = {data, size};
    return push(stream, [&] {
        stream->stream.can(line, frame, time, {place, 0}, stream->relay);
        return int{TELLTALE_OK};
    });
}

int telltale_stream_message(telltale_stream* stream, uint16_t line, uint32_t id, uint32_t flags,
                            const uint8_t* bytes, size_t size, int64_t time, uint64_t place) {
    if (!readable(bytes, size))
        return TELLTALE_BAD_ARGUMENT;
    if (size > TELLTALE_MAX_MESSAGE)
        return TELLTALE_TOO_LONG;
    const bool named = (flags & TELLTALE_NO_ID) == 0;
    if (named && !can_id(id, flags).valid())
        return TELLTALE_BAD_ARGUMENT;
    return push(stream, [&] {
        if (named)
            stream->stream.message(line, can_id(id, flags), {bytes, size}, time, {place, 0},
                                   stream->relay);
        else
            stream->stream.message({bytes, size}, time, {place, 0}, stream->relay);
        return int{TELLTALE_OK};
    });
}

int telltale_stream_kline(telltale_stream* stream, uint16_t line, const uint8_t* frame, size_t size,
                          int64_t time, uint64_t place) {
    if (!readable(frame, size) || size > max_kline_frame)
        return TELLTALE_BAD_ARGUMENT;
    return push(stream, [&] {
        stream->stream.kline(line, {frame, size}, time, {place, 0}, stream->relay);
        return int{TELLTALE_OK};
    });
}

int telltale_stream_j1850(telltale_stream* stream, uint16_t line, const uint8_t* frame, size_t size,
                          int64_t time, uint64_t place) {
    if (!readable(frame, size) || size > max_kline_frame)
        return TELLTALE_BAD_ARGUMENT;
    return push(stream, [&] {
        stream->stream.j1850(line, {frame, size}, time, {place, 0}, stream->relay);
        return int{TELLTALE_OK};
    });
}

int telltale_stream_finish(telltale_stream* stream) {
    return push(stream, [&] {
        stream->stream.finish(stream->relay);
        if (stream->relay.picture() != nullptr)
            stream->relay.picture()->finish();
        return int{TELLTALE_OK};
    });
}

int telltale_stream_next(telltale_stream* stream, const telltale_event** event) {
    if (event == nullptr)
        return TELLTALE_BAD_ARGUMENT;
    *event = nullptr;
    if (stream == nullptr)
        return TELLTALE_BAD_ARGUMENT;
    if (stream->busy)
        return TELLTALE_BUSY;
    if (stream->unusable)
        return TELLTALE_UNUSABLE;
    *event = stream->relay.take();
    return *event == nullptr ? TELLTALE_END : TELLTALE_OK;
}

int telltale_stream_attach(telltale_stream* stream, telltale_vehicle* vehicle) {
    return c::use(stream, [&] {
        stream->relay.attach(vehicle == nullptr ? nullptr : vehicle->shared);
        if (vehicle != nullptr && stream->extension != nullptr)
            vehicle->extension = stream->extension;
        return int{TELLTALE_OK};
    });
}

} // extern "C"
