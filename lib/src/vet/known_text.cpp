// SPDX-License-Identifier: Apache-2.0
#include "telltale/vet/known_text.hpp"

#include <algorithm>
#include <string>

#include "telltale/base/hex.hpp"
#include "telltale/base/number.hpp"
#include "telltale/base/text.hpp"

namespace telltale::vet {

namespace {

/// Cuts the first word off the front of `text`, with the spaces behind it.
std::string_view word_of(std::string_view& text) {
    const std::size_t end = std::min(text.find(' '), text.size());
    const std::string_view word = text.substr(0, end);
    text.remove_prefix(end);
    text.remove_prefix(std::min(text.find_first_not_of(' '), text.size()));
    return word;
}

bool is_group_id(std::string_view text) {
    return !text.empty() && text.size() <= 40 && std::all_of(text.begin(), text.end(), [](char c) {
        return (c >= 'a' && c <= 'z') || (c >= '0' && c <= '9') || c == '-';
    });
}

/// As much of it as a message has room for, fit for a terminal.
std::string quoted(std::string_view text) {
    std::string out = "\"";
    append_plain(out, text.substr(0, 40));
    return out + (text.size() > 40 ? "...\"" : "\"");
}

class Parser {
  public:
    Result<KnownFrames> run(std::string_view text) {
        if (text.size() > most_known_bytes)
            return fail(ErrorCode::too_long, "known frames may be 1 MiB of text at most");
        Place place;
        while (place.offset < text.size()) {
            ++place.line;
            const std::string_view rest = text.substr(place.offset);
            const std::size_t size = std::min(rest.find('\n'), rest.size());
            std::string_view line = rest.substr(0, size);
            if (!line.empty() && line.back() == '\r')
                line.remove_suffix(1);
            if (auto taken = take(line); !taken) {
                taken.error().place = place;
                return tl::unexpected<Error>(std::move(taken.error()));
            }
            place.offset += size + 1;
        }
        if (known_.frames.empty())
            return fail(ErrorCode::empty_input, "no frame is in the list");
        if (known_.groups.back().basis.empty())
            return fail(ErrorCode::bad_argument, no_basis, place);
        return std::move(known_);
    }

  private:
    static constexpr const char* no_basis =
        "the group has no basis: write `basis common practice`, or the clause";

    Result<void> take(std::string_view line) {
        if (line.empty() || line.front() == '#')
            return {};
        const std::string_view word = word_of(line);
        if (word == "group")
            return group(line);
        if (word == "basis")
            return basis(line);
        if (word == "data" || word == "remote" || word == "fd" || word == "fd-brs")
            return frame(word, line);
        return wrong(quoted(word) + " begins no line of known frames: write group, basis, data, "
                                    "remote, fd or fd-brs");
    }

    static tl::unexpected<Error> wrong(std::string detail) {
        return fail(ErrorCode::bad_argument, std::move(detail));
    }

    Result<void> group(std::string_view line) {
        const std::string_view id = word_of(line);
        if (!is_group_id(id))
            return wrong("a group's name has small letters, digits and '-', 40 at most");
        if (line.empty() || line.size() > 200)
            return wrong("a group has a title, of 200 characters at most: "
                         "group stuffing Many stuff bits");
        if (!known_.groups.empty() && known_.groups.back().basis.empty())
            return wrong(no_basis);
        for (const KnownFrames::Group& other : known_.groups)
            if (other.id == id)
                return wrong("there is a group " + quoted(id) + " already");
        if (known_.groups.size() == most_known_groups)
            return fail(ErrorCode::too_long, "at most 64 groups");
        KnownFrames::Group& made = known_.groups.emplace_back();
        made.id = id;
        append_printable(made.title, line);
        return {};
    }

    Result<void> basis(std::string_view line) {
        if (known_.groups.empty())
            return wrong("a basis belongs to a group: write `group ID TITLE` before it");
        if (line.empty() || line.size() > 200)
            return wrong("a basis is a clause or `common practice`, of 200 characters at most");
        if (!known_.groups.back().basis.empty())
            return wrong("the group has a basis already");
        append_printable(known_.groups.back().basis, line);
        return {};
    }

    Result<void> frame(std::string_view kind, std::string_view line) {
        if (known_.groups.empty())
            return wrong("a frame belongs to a group: write `group ID TITLE` before it");
        if (known_.frames.size() == most_known_frames)
            return fail(ErrorCode::too_long, "at most 4096 frames");
        KnownFrame made;
        made.group = static_cast<std::uint16_t>(known_.groups.size() - 1);
        const std::string_view id = word_of(line);
        if (id.size() != 3 && id.size() != 8)
            return wrong("an identifier has 3 hex digits (11 bits) or 8 (29 bits)");
        for (const char c : id) {
            if (hex_digit(c) > 15)
                return wrong(quoted(id) + " is no hex number");
            made.id.value = made.id.value << 4 | hex_digit(c);
        }
        made.id.extended = id.size() == 8;
        if (!made.id.valid())
            return wrong(made.id.extended ? "29-bit identifiers end at 1FFFFFFF"
                                          : "11-bit identifiers end at 7FF");
        if (kind == "remote") {
            if (line.size() != 1 || line[0] < '0' || line[0] > '8')
                return wrong("a remote frame asks for a length of 0 to 8: remote 123 4");
            made.kind = CanKind::remote;
            made.remote_length = static_cast<std::uint8_t>(line[0] - '0');
        } else {
            made.fd = kind != "data";
            made.bit_rate_switch = kind == "fd-brs";
            if (auto read = bytes(made, line); !read)
                return read;
        }
        known_.frames.push_back(made);
        return {};
    }

    static Result<void> bytes(KnownFrame& made, std::string_view line) {
        const std::size_t most = made.fd ? 64 : 8;
        if (line.empty())
            return wrong("bytes are missing; `-` stands for none");
        if (line == "-")
            return {};
        while (!line.empty()) {
            if (line.size() < 2 || hex_digit(line[0]) > 15 || hex_digit(line[1]) > 15)
                return wrong("bytes are two hex digits each");
            if (made.size == most)
                return wrong(made.fd ? "a CAN FD frame has 64 bytes at most"
                                     : "a classical frame has 8 bytes at most: write fd or fd-brs");
            made.data[made.size++] =
                static_cast<std::uint8_t>(hex_digit(line[0]) << 4 | hex_digit(line[1]));
            line.remove_prefix(2);
            if (!line.empty() && line[0] == ' ')
                line.remove_prefix(1);
        }
        if (!is_fd_length(made.size))
            return wrong("CAN FD has the lengths 0 to 8, 12, 16, 20, 24, 32, 48 and 64");
        return {};
    }

    KnownFrames known_;
};

} // namespace

Result<KnownFrames> parse_known_frames(std::string_view text) {
    return Parser().run(text);
}

std::string describe_frame(const CanFrame& frame) {
    std::string out;
    append_hex(out, std::uint64_t{frame.id.value}, frame.id.extended ? 8 : 3);
    if (frame.kind == CanKind::error)
        return out + " error frame";
    if (frame.kind == CanKind::remote) {
        out += " remote ";
        append_integer(out, std::uint64_t{frame.remote_length});
        return out;
    }
    if (frame.fd)
        out += frame.bit_rate_switch ? " fd-brs" : " fd";
    if (frame.data.empty())
        return out + " -";
    constexpr std::size_t most = 16;
    out += ' ';
    append_hex(out, frame.data.first(std::min(most, frame.data.size())), ' ');
    if (frame.data.size() > most) {
        out += " ... ";
        append_integer(out, std::uint64_t{frame.data.size()});
        out += " bytes";
    }
    return out;
}

} // namespace telltale::vet
