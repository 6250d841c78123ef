// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <cstring>
#include <string_view>

#include "telltale/base/result.hpp"
#include "window.hpp"

namespace telltale::dump {

/// One line of a text, without what ends it. The text stays valid until the next call of the
/// splitter.
struct TextLine {
    std::string_view text;
    Place place;
    bool ended = true; ///< false: the input stops before a terminator comes
};

/// Cuts the window of a text into lines.
class TextLines {
  public:
    /// What ends a line. `line_feed`: LF; a CR before it belongs to the terminator. `serial`: CR,
    /// LF, CR LF or BEL, as the devices on a serial line end what they say.
    enum class Ends : std::uint8_t { line_feed, serial };
    enum class Got : std::uint8_t {
        line,     ///< a line
        too_long, ///< a line that does not fit into the window: `skipped` bytes of it are gone
        end,
    };

    explicit TextLines(Ends ends = Ends::line_feed) : ends_(ends) {}

    /// Passes over a UTF-8 byte-order mark. To be called before anything is read.
    void start(Window& window) {
        if (started_)
            return;
        started_ = true;
        if (window.need(3) && std::memcmp(window.data(), "\xEF\xBB\xBF", 3) == 0)
            window.consume(3);
    }

    /// The next line, consumed from the window.
    Got next(Window& window, TextLine& line) {
        start(window);
        std::size_t seen = 0;
        for (;;) {
            // The second half of a CR LF whose first half ended the line before.
            if (after_cr_ && window.size() != 0) {
                if (*window.data() == '\n')
                    window.consume(1);
                after_cr_ = false;
            }
            const std::size_t at = find(window, seen);
            if (at != window.size()) {
                give(window, line, at);
                return Got::line;
            }
            seen = at;
            if (window.more())
                continue;
            if (window.size() == window.capacity())
                return skip(window, line);
            if (window.size() == 0)
                return Got::end;
            give(window, line, window.size());
            line.ended = false;
            return Got::line;
        }
    }

    /// Bytes of the line that was `too_long`.
    std::uint64_t skipped() const { return skipped_; }

    /// For a reader that takes lines from the window by itself: the number of the next line.
    std::uint64_t& number() { return number_; }

  private:
    Ends ends_;
    bool started_ = false;
    bool after_cr_ = false;
    std::uint64_t number_ = 1;
    std::uint64_t skipped_ = 0;

    /// Place in the window of the first terminator at or after `from`; its size if there is none.
    std::size_t find(const Window& window, std::size_t from) const {
        const std::uint8_t* data = window.data();
        const std::size_t size = window.size();
        if (from == size)
            return size;
        if (ends_ == Ends::line_feed) {
            const void* hit = std::memchr(data + from, '\n', size - from);
            return hit == nullptr
                       ? size
                       : static_cast<std::size_t>(static_cast<const std::uint8_t*>(hit) - data);
        }
        while (from < size && data[from] != '\r' && data[from] != '\n' && data[from] != '\a')
            ++from;
        return from;
    }

    void give(Window& window, TextLine& line, std::size_t size) {
        line.text = {reinterpret_cast<const char*>(window.data()), size};
        line.place = {window.offset(), number_++};
        line.ended = true;
        if (size == window.size()) {
            window.consume(size);
        } else {
            after_cr_ = window.data()[size] == '\r';
            window.consume(size + 1);
        }
        if (ends_ == Ends::line_feed && !line.text.empty() && line.text.back() == '\r')
            line.text.remove_suffix(1);
    }

    Got skip(Window& window, TextLine& line) {
        line.place = {window.offset(), number_++};
        line.text = {};
        line.ended = true;
        do {
            window.consume(window.size());
            window.more();
            const std::size_t at = find(window, 0);
            if (at != window.size()) {
                skipped_ = window.offset() + at - line.place.offset;
                after_cr_ = window.data()[at] == '\r';
                window.consume(at + 1);
                return Got::too_long;
            }
        } while (window.size() != 0);
        skipped_ = window.offset() - line.place.offset;
        return Got::too_long;
    }
};

} // namespace telltale::dump
