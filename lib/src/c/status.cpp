// SPDX-License-Identifier: Apache-2.0
#include <algorithm>
#include <cstring>

#include "guard.hpp"
#include "telltale.h"
#include "telltale/base/problem.hpp"

namespace telltale::c {

void no_error(telltale_error* error) noexcept {
    if (error == nullptr)
        return;
    error->status = TELLTALE_OK;
    error->reserved = 0;
    error->offset = 0;
    error->line = 0;
    error->message[0] = '\0';
}

int fail(telltale_error* error, int status, std::string_view sentence, Place place) noexcept {
    if (error == nullptr)
        return status;
    no_error(error);
    error->status = status;
    error->offset = place.offset;
    error->line = place.line;
    if (sentence.empty())
        sentence = telltale_status_sentence(status);
    std::size_t size = std::min(sentence.size(), sizeof error->message - 1);
    if (size < sentence.size()) // not within a character
        while (size > 0 && (static_cast<unsigned char>(sentence[size]) & 0xC0) == 0x80)
            --size;
    std::memcpy(error->message, sentence.data(), size);
    error->message[size] = '\0';
    return status;
}

int status_of(ErrorCode code) noexcept {
    switch (code) {
    case ErrorCode::too_long:
        return TELLTALE_TOO_LONG;
    case ErrorCode::cannot_open:
        return TELLTALE_CANNOT_OPEN;
    case ErrorCode::cannot_read:
        return TELLTALE_CANNOT_READ;
    case ErrorCode::is_directory:
        return TELLTALE_IS_DIRECTORY;
    case ErrorCode::empty_input:
        return TELLTALE_EMPTY_INPUT;
    case ErrorCode::unknown_format:
        return TELLTALE_UNKNOWN_FORMAT;
    case ErrorCode::bad_hex:
    case ErrorCode::bad_argument:
    case ErrorCode::bad_request:
        return TELLTALE_BAD_ARGUMENT;
    case ErrorCode::cannot_write:
        break;
    }
    return TELLTALE_FAILED;
}

int fail(telltale_error* error, const Error& from) noexcept {
    return fail(error, status_of(from.code), from.detail, from.place);
}

} // namespace telltale::c

extern "C" {

const char* telltale_version(void) {
    return TELLTALE_VERSION_STRING;
}

int telltale_abi(void) {
    return TELLTALE_ABI;
}

const char* telltale_status_word(int status) {
    switch (status) {
    case TELLTALE_OK:
        return "ok";
    case TELLTALE_END:
        return "end";
    case TELLTALE_BAD_ARGUMENT:
        return "bad-argument";
    case TELLTALE_NO_MEMORY:
        return "no-memory";
    case TELLTALE_CANNOT_OPEN:
        return "cannot-open";
    case TELLTALE_CANNOT_READ:
        return "cannot-read";
    case TELLTALE_IS_DIRECTORY:
        return "is-directory";
    case TELLTALE_EMPTY_INPUT:
        return "empty-input";
    case TELLTALE_UNKNOWN_FORMAT:
        return "unknown-format";
    case TELLTALE_TOO_LONG:
        return "too-long";
    case TELLTALE_BUSY:
        return "busy";
    case TELLTALE_UNUSABLE:
        return "unusable";
    case TELLTALE_FAULTY:
        return "faulty";
    default:
        return "failed";
    }
}

const char* telltale_status_sentence(int status) {
    switch (status) {
    case TELLTALE_OK:
        return "done";
    case TELLTALE_END:
        return "there is nothing more";
    case TELLTALE_BAD_ARGUMENT:
        return "a pointer is null that must not be, or a value is outside what the call takes";
    case TELLTALE_NO_MEMORY:
        return "memory ran out; free the handle";
    case TELLTALE_CANNOT_OPEN:
        return "the file cannot be opened";
    case TELLTALE_CANNOT_READ:
        return "reading failed";
    case TELLTALE_IS_DIRECTORY:
        return "a directory stands where a file is wanted";
    case TELLTALE_EMPTY_INPUT:
        return "there is nothing in the input";
    case TELLTALE_UNKNOWN_FORMAT:
        return "the content is no dump format that is known";
    case TELLTALE_TOO_LONG:
        return "more than there is room for";
    case TELLTALE_BUSY:
        return "the handle is in a call already: a listener must not call it";
    case TELLTALE_UNUSABLE:
        return "an earlier call ran out of memory; the handle can only be freed";
    case TELLTALE_FAULTY:
        return "the text that describes parameters has faults";
    default:
        return "something failed that should not";
    }
}

size_t telltale_describe(const telltale_problem* problem, char* buffer, size_t room) {
    if (problem == nullptr || (buffer == nullptr && room != 0))
        return 0;
    std::size_t whole = 0;
    if (room != 0)
        buffer[0] = '\0';
    const int status = telltale::c::run([&] {
        telltale::Problem from;
        if (problem->code > 0 && problem->code <= 0xFF)
            from.code = static_cast<telltale::ProblemCode>(problem->code);
        from.time = problem->time;
        from.place = {problem->place, problem->place_line};
        from.a = problem->a;
        from.b = problem->b;
        const std::string text = telltale::describe(from);
        whole = telltale::c::copy_text(text, buffer, room);
        return TELLTALE_OK;
    });
    return status == TELLTALE_OK ? whole : 0;
}

} // extern "C"
