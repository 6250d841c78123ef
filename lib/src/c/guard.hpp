// SPDX-License-Identifier: Apache-2.0
// What every call of the C interface goes through: nothing thrown leaves it. Internal: nothing here
// is installed.
#pragma once

#include <cstring>
#include <memory>
#include <new>
#include <stdexcept>
#include <string_view>

#include "telltale.h"
#include "telltale/base/result.hpp"

namespace telltale::c {

/// What a handle remembers of its calls.
struct Handle {
    bool busy = false;     ///< a call is under way
    bool unusable = false; ///< a call was left in its midst
};

/// Runs `call`, which gives a status; what it throws becomes one.
template <class Call> int run(Call&& call) noexcept {
    try {
        return call();
    } catch (const std::bad_alloc&) {
        return TELLTALE_NO_MEMORY;
    } catch (const std::length_error&) { // of a container that cannot grow that far
        return TELLTALE_NO_MEMORY;
    } catch (...) {
        return TELLTALE_FAILED;
    }
}

/// Runs a call that changes a handle.
template <class H, class Call> int use(H* handle, Call&& call) noexcept {
    if (handle == nullptr)
        return TELLTALE_BAD_ARGUMENT;
    if (handle->busy)
        return TELLTALE_BUSY;
    if (handle->unusable)
        return TELLTALE_UNUSABLE;
    handle->busy = true;
    bool whole = false;
    const int status = run([&] {
        const int got = call();
        whole = true;
        return got;
    });
    handle->busy = false;
    handle->unusable = !whole;
    return status;
}

void no_error(telltale_error* error) noexcept;
/// Fills the error, which may be null, and returns the status.
int fail(telltale_error* error, int status, std::string_view sentence = {},
         Place place = {}) noexcept;
int fail(telltale_error* error, const Error& from) noexcept;
int status_of(ErrorCode code) noexcept;

/// Makes a handle: `call` gives a status and fills a unique_ptr.
template <class H, class Call> int make(H** out, telltale_error* error, Call&& call) noexcept {
    no_error(error);
    if (out == nullptr)
        return fail(error, TELLTALE_BAD_ARGUMENT);
    *out = nullptr;
    int status = TELLTALE_OK;
    {
        std::unique_ptr<H> made;
        status = run([&] { return call(made); });
        if (status == TELLTALE_OK)
            *out = made.release();
    }
    // The call has filled the error where it had more to say.
    if (status != TELLTALE_OK && (error == nullptr || error->status == TELLTALE_OK))
        return fail(error, status);
    return status;
}

/// Copies a structure of options that begins with its own size into `out`, which has its defaults.
/// An older header knows less of it; a newer one may know more, which then has to be zero. False:
/// the size is none.
template <class Options> bool copy_options(const Options* from, Options& out) noexcept {
    constexpr std::size_t most = 4096;
    const std::size_t size = from->size;
    if (size < sizeof size || size > most)
        return false;
    const auto* const bytes = reinterpret_cast<const unsigned char*>(from);
    for (std::size_t i = sizeof out; i < size; ++i)
        if (bytes[i] != 0)
            return false;
    std::memcpy(&out, from, size < sizeof out ? size : sizeof out);
    return true;
}

/// Writes a text with a zero byte behind it into `room` bytes, cut where it is longer, and returns
/// its whole length.
inline std::size_t copy_text(std::string_view text, char* buffer, std::size_t room) noexcept {
    if (room != 0) {
        const std::size_t size = text.size() < room - 1 ? text.size() : room - 1;
        if (size != 0)
            std::memcpy(buffer, text.data(), size);
        buffer[size] = '\0';
    }
    return text.size();
}

} // namespace telltale::c
