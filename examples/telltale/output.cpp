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

void Output::flush() {
    if (open_ && !buffer_.empty()) {
        if (const int error = write_all(descriptor_, buffer_); error != 0) {
            open_ = false;
            error_ = error == EPIPE ? 0 : error;
        }
    }
    buffer_.clear();
}

int Output::finish(int status) {
    flush();
    if (error_ == 0)
        return status;
    say(std::string("cannot write the output: ") + std::strerror(error_)); // NOLINT: one thread
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
    std::string text = "telltale: ";
    append_plain(text, what);
    text += '\n';
    (void)write_all(2, text);
}

void say(std::string_view file, std::string_view what) {
    std::string text(file == "-" ? "standard input" : file);
    text += ": ";
    text += what;
    say(text);
}

} // namespace telltale::program
