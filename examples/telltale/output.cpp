// SPDX-License-Identifier: Apache-2.0
#include "output.hpp"

#include <fcntl.h>
#include <sys/ioctl.h>
#include <unistd.h>

#include <cerrno>
#include <cstdlib>
#include <cstring>

#include "telltale/base/text.hpp"

namespace telltale::program {

namespace {

/// Writes everything; 0, or the error that stopped it.
int write_all(int descriptor, std::string_view text) {
    while (!text.empty()) {
        const auto written = ::write(descriptor, text.data(), text.size());
        if (written >= 0)
            text.remove_prefix(static_cast<std::size_t>(written));
        else if (errno != EINTR)
            return errno;
    }
    return 0;
}

void append_message(std::string& line, std::string_view file, std::string_view what) {
    line += "telltale: ";
    append_plain(line, file == "-" ? "standard input" : file);
    line += ": ";
    append_plain(line, what);
    line += '\n';
}

std::size_t terminal_width(int descriptor) {
    winsize size{};
    if (::ioctl(descriptor, TIOCGWINSZ, &size) == 0 && size.ws_col >= 40)
        return size.ws_col;
    return 80;
}

} // namespace

Output::Output(int descriptor) : descriptor_(descriptor) {
    buffer_.reserve(2 * chunk);
    terminal_ = ::isatty(descriptor) == 1;
    if (!terminal_)
        return;
    width_ = terminal_width(descriptor);
    const char* no_colour = std::getenv("NO_COLOR"); // NOLINT: one thread
    const char* term = std::getenv("TERM");          // NOLINT: one thread
    colour_ = (no_colour == nullptr || *no_colour == '\0') && term != nullptr &&
              std::strcmp(term, "dumb") != 0;
}

Output::Output(const Output& like, Write results, Write messages)
    : results_(std::move(results)), messages_(std::move(messages)), descriptor_(-1),
      terminal_(like.terminal_), colour_(like.colour_), width_(like.width_) {
    buffer_.reserve(2 * chunk);
}

void Output::flush() {
    put(buffer_);
    buffer_.clear();
}

void Output::write(std::string_view text) {
    flush();
    put(text);
}

void Output::put(std::string_view text) {
    if (!open_ || text.empty())
        return;
    if (results_) {
        open_ = results_(text);
        return;
    }
    if (const int error = write_all(descriptor_, text); error != 0) {
        open_ = false;
        error_ = error == EPIPE ? 0 : error;
    }
}

void Output::message(std::string_view line) {
    flush();
    if (messages_)
        messages_(line);
    else
        (void)write_all(2, line);
}

void Output::say(std::string_view file, std::string_view what) {
    std::string line;
    append_message(line, file, what);
    message(line);
}

int Output::finish(int status) {
    flush();
    if (error_ == 0)
        return status;
    program::say(std::string("cannot write the output: ") +
                 std::strerror(error_)); // NOLINT: one thread
    return 2;
}

bool write_file(const std::string& path, std::string_view text) {
    const int file = ::open(path.c_str(), O_WRONLY | O_CREAT | O_TRUNC | O_CLOEXEC, 0666);
    int error = file < 0 ? errno : write_all(file, text);
    if (file >= 0 && ::close(file) != 0 && error == 0)
        error = errno;
    if (error != 0)
        say(path, std::string("cannot be written: ") + std::strerror(error)); // NOLINT: one thread
    return error == 0;
}

void say(std::string_view what) {
    std::string line = "telltale: ";
    append_plain(line, what);
    line += '\n';
    (void)write_all(2, line);
}

void say(std::string_view file, std::string_view what) {
    std::string line;
    append_message(line, file, what);
    (void)write_all(2, line);
}

} // namespace telltale::program
