// SPDX-License-Identifier: Apache-2.0
// Text of 80 columns for people. Internal: nothing here is installed.
#pragma once

#include <algorithm>
#include <cstddef>
#include <string>
#include <string_view>

#include "telltale/base/text.hpp"

namespace telltale::vehicle {

/// Lines of at most 80 columns, wrapped at spaces, appended to a string.
class Page {
  public:
    static constexpr std::size_t width = 80;

    explicit Page(std::string& out) : out_(out) {}

    void heading(std::string_view text) {
        if (!out_.empty())
            out_ += '\n';
        plain(text);
        out_ += '\n';
    }
    void blank() { out_ += '\n'; }

    /// A label, and text beside it that wraps under itself. The text is the program's own: what
    /// comes from outside is escaped before.
    void item(std::string_view label, std::string_view text, std::size_t indent = 2,
              std::size_t label_width = 18) {
        out_.append(indent, ' ');
        out_ += label;
        std::size_t at = indent + columns(label);
        const std::size_t column = indent + label_width;
        if (at >= column) {
            out_ += ' ';
            ++at;
        }
        for (; at < column; ++at)
            out_ += ' ';
        words(text, at, column);
        out_ += '\n';
    }
    /// Wrapped text, later lines indented by two more.
    void paragraph(std::string_view text, std::size_t indent = 0, std::size_t hang = 2) {
        out_.append(indent, ' ');
        words(text, indent, indent + hang);
        out_ += '\n';
    }
    /// One line as it is.
    void line(std::string_view text) {
        plain(text);
        out_ += '\n';
    }

    /// Columns that text takes on a screen.
    static std::size_t columns(std::string_view text) {
        return static_cast<std::size_t>(std::count_if(text.begin(), text.end(), [](char c) {
            return (static_cast<unsigned char>(c) & 0xC0U) != 0x80;
        }));
    }
    /// Text cut or filled to a width.
    static std::string cell(std::string_view text, std::size_t size) {
        std::string cell(text);
        if (columns(cell) > size) {
            while (columns(cell) + 2 > size && !cell.empty())
                cell.pop_back();
            // Never leave half a character behind.
            while (!cell.empty() && (static_cast<unsigned char>(cell.back()) & 0x80U) != 0)
                cell.pop_back();
            cell += "..";
        }
        cell.append(size - columns(cell), ' ');
        return cell;
    }
    /// Text moved to the right of a column, a space before it; a number is never cut.
    static std::string right(std::string_view text, std::size_t size) {
        const std::size_t taken = columns(text);
        std::string cell(taken + 1 < size ? size - taken : 1, ' ');
        cell += text;
        return cell;
    }

  private:
    void plain(std::string_view text) {
        while (!text.empty() && text.back() == ' ')
            text.remove_suffix(1);
        out_ += text;
    }

    void words(std::string_view text, std::size_t at, std::size_t column) {
        bool first = true;
        while (!text.empty()) {
            auto word = text.substr(0, text.find(' '));
            text.remove_prefix(std::min(text.size(), word.size() + 1));
            if (!first && at + 1 + columns(word) > width) {
                new_line(at, column);
            } else if (!first) {
                out_ += ' ';
                ++at;
            }
            // A word longer than the line is broken where the line ends.
            while (at + columns(word) > width) {
                const std::size_t room = width - at;
                out_ += word.substr(0, room);
                word.remove_prefix(std::min(word.size(), room));
                new_line(at, column);
            }
            out_ += word;
            at += columns(word);
            first = false;
        }
    }

    void new_line(std::size_t& at, std::size_t column) {
        out_ += '\n';
        out_.append(column, ' ');
        at = column;
    }

    std::string& out_;
};

/// Untrusted text made fit for a terminal.
inline std::string plain(std::string_view untrusted) {
    std::string out;
    append_plain(out, untrusted);
    return out;
}

} // namespace telltale::vehicle
