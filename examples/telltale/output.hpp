// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <cstddef>
#include <functional>
#include <string>
#include <string_view>

namespace telltale::program {

/// Standard output through a large buffer. What cannot be written is remembered: a reader that went
/// away is quiet and no error, anything else (a full disk) is an error.
class Output {
  public:
    explicit Output(int descriptor = 1);
    /// Where text goes instead; false: nobody wants more.
    using Write = std::function<bool(std::string_view)>;
    /// Looks like another output (width, colour), and hands what is written on in pieces.
    Output(const Output& like, Write results, Write messages);
    ~Output() { flush(); }
    Output(const Output&) = delete;
    Output& operator=(const Output&) = delete;

    /// Where to append; call `commit` after each whole line.
    std::string& buffer() { return buffer_; }
    void commit() {
        if (buffer_.size() >= chunk)
            flush();
    }
    void flush();
    /// A large piece, as it is.
    void write(std::string_view text);
    /// A message about a file, behind what was written before.
    void say(std::string_view file, std::string_view what);
    /// Puts a line that is whole already on standard error, behind what was written before.
    void message(std::string_view line);
    /// False once nobody reads on or writing failed: then stop.
    bool open() const { return open_; }
    bool failed() const { return error_ != 0; }
    bool is_terminal() const { return terminal_; }
    /// Columns of the terminal, 80 where it does not say; 0 when it is no terminal.
    std::size_t width() const { return width_; }
    /// True when colour is welcome: a terminal, no NO_COLOR, not a dumb one.
    bool colour() const { return colour_; }

    /// Flushes, says on standard error what could not be written, and returns `status`, or 2 when
    /// writing failed.
    int finish(int status);

  private:
    static constexpr std::size_t chunk = 128U << 10;
    void put(std::string_view text);

    std::string buffer_;
    Write results_;
    Write messages_;
    int descriptor_;
    bool open_ = true;
    int error_ = 0;
    bool terminal_ = false;
    bool colour_ = false;
    std::size_t width_ = 0;
};

/// Writes a whole file; standard error says why when it cannot be written.
bool write_file(const std::string& path, std::string_view text);

/// One line on standard error: "telltale: WHAT". `what` may hold untrusted text.
void say(std::string_view what);
/// The same about a file: "telltale: FILE: WHAT"; "-" is shown as standard input.
void say(std::string_view file, std::string_view what);

} // namespace telltale::program
