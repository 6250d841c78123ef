// SPDX-License-Identifier: Apache-2.0
// Comma-separated text with a header line. The header names the columns in any order and case, its
// cells separated by commas, semicolons or tabs; quotes around cells are allowed everywhere.
//
// A column is known by the words of its name (what is in brackets or after an underscore is a word
// too), the first line of this table that fits deciding; the other columns do not matter:
//
//     extended    extended, ext, xtd, eff, ide            1, true, yes, x: 29 bit; 0, false ... :
//     11 remote      remote, rtr error       error, err                              an error frame
//     FD flags    fd, fdf, edl; brs; esi
//     direction   direction, dir, rx, tx                  rx, r, in ... received; tx, t, out ...
//     sent length      dlc, length, len, size                  bytes, or an FD length code
//     interface   interface, iface, channel, chan, bus
//     a byte      data, byte, d or b with a number        counted from 0 or 1
//     data        data, payload, bytes
//     identifier  id, identifier, canid, arbitration
//     time        time, timestamp, date, datetime
//
// Identifier, and data or bytes without a gap in their numbers, must be there.
//
// Numbers. "hex" or "dec" in a column's name decides how it is written, and a 0x before the digits
// always means hex. Where neither says it, the front of the file (64 KiB) does: an identifier with
// a letter in it makes them hex, and so does it when every one has exactly 3 or exactly 8 digits;
// else they are decimal. Bytes in columns of their own are hex when one has a letter in it, decimal
// when one has three digits; when none has either, decimal if the identifiers are decimal. A single
// data column is hex unless its name says otherwise. A cell that does not fit what was decided is a
// problem. An identifier is 29 bit when the extended column says so; without that column, when it
// is above 7FF or has 8 hex digits.
//
// Time. The unit is the one in the name (s, ms, us, ns). Without one, a number with a point is
// seconds; whole numbers are seconds, milliseconds, microseconds or nanoseconds since 1970,
// whichever puts them between 2001 and 2286. Smaller ones have no known unit: the frames have no
// time, and the first such row is a problem as well. Cells may also be dates with a time of day.
//
// A last row that the end of the input cuts off in a cell that would still look whole, only with
// another value, is a problem.
#include <algorithm>
#include <array>
#include <optional>

#include "text_reader.hpp"

namespace telltale::dump {

namespace {

enum class Column : std::uint8_t {
    other,
    extended,
    remote,
    error,
    fd,
    bit_rate_switch,
    error_state,
    direction,
    length,
    interface,
    byte,
    data,
    identifier,
    time,
    last_
};

enum class Base : std::uint8_t { unknown, hex, decimal };

constexpr std::size_t max_columns = 128;
constexpr std::size_t max_bytes = 64;
constexpr std::uint8_t none = 0xFF;

struct Header {
    char separator = ',';
    std::size_t columns = 0;
    /// Place of each kind of column, `none` where it is not there.
    std::array<std::uint8_t, static_cast<std::size_t>(Column::last_)> at{};
    std::array<std::uint8_t, max_bytes> bytes_at{}; ///< place of each byte's column
    std::size_t bytes = 0;
    Base id_base = Base::unknown;
    Base data_base = Base::unknown;
    Time unit = 0; ///< nanoseconds of one unit of time; 0: not named

    std::uint8_t place(Column column) const { return at[static_cast<std::size_t>(column)]; }
};

/// The words of a column's name, in lower case.
class Words {
  public:
    explicit Words(std::string_view name) {
        std::size_t size = 0;
        for (std::size_t i = 0; i < name.size() && size < text_.size(); ++i) {
            auto c = static_cast<unsigned char>(name[i]);
            // The two characters that write micro in UTF-8 (U+00B5, U+03BC), and the one in Latin-1
            if ((c == 0xC2 || c == 0xCE) && i + 1 < name.size())
                c = static_cast<unsigned char>(name[++i]);
            if (c == 0xB5 || c == 0xBC)
                c = 'u';
            if (c >= 'A' && c <= 'Z')
                c = static_cast<unsigned char>(c + 0x20);
            text_[size++] = static_cast<char>(c);
        }
        std::string_view rest(text_.data(), size);
        while (!rest.empty() && count_ < words_.size()) {
            std::size_t end = 0;
            while (end < rest.size() && is_word(rest[end]))
                ++end;
            if (end != 0)
                words_[count_++] = rest.substr(0, end);
            rest.remove_prefix(std::max<std::size_t>(end, 1));
        }
    }
    Words(const Words&) = delete;
    Words& operator=(const Words&) = delete;

    template <class... Names> bool any(Names... names) const {
        for (std::size_t i = 0; i < count_; ++i)
            if (((words_[i] == names) || ...))
                return true;
        return false;
    }

    /// The number of a byte's column: "data 3", "d3", "byte_3", "data[3]".
    std::optional<std::size_t> byte_number() const {
        const auto is_stem = [](std::string_view word) {
            return word == "data" || word == "byte" || word == "d" || word == "b";
        };
        for (std::size_t i = 0; i < count_; ++i) {
            auto stem = words_[i];
            while (!stem.empty() && is_digit(stem.back()))
                stem.remove_suffix(1);
            auto digits = words_[i].substr(stem.size());
            if (digits.empty() && i + 1 < count_)
                digits = words_[i + 1];
            std::uint64_t number = 0;
            if (is_stem(stem) && digits.size() <= 2 && parse_decimal(digits, number))
                return static_cast<std::size_t>(number);
        }
        return std::nullopt;
    }

  private:
    static bool is_word(char c) { return is_digit(c) || (c >= 'a' && c <= 'z'); }
    std::array<char, 64> text_{};
    std::array<std::string_view, 16> words_{};
    std::size_t count_ = 0;
};

Column column_of(const Words& words) {
    if (words.any("extended", "ext", "xtd", "eff", "ide"))
        return Column::extended;
    if (words.any("remote", "rtr"))
        return Column::remote;
    if (words.any("esi"))
        return Column::error_state;
    if (words.any("error", "err"))
        return Column::error;
    if (words.any("fd", "fdf", "edl"))
        return Column::fd;
    if (words.any("brs"))
        return Column::bit_rate_switch;
    if (words.any("direction", "dir", "rx", "tx", "rxtx", "txrx"))
        return Column::direction;
    if (words.any("dlc", "length", "len", "size"))
        return Column::length;
    if (words.any("interface", "iface", "channel", "chan", "bus"))
        return Column::interface;
    if (words.byte_number())
        return Column::byte;
    if (words.any("data", "payload", "bytes"))
        return Column::data;
    if (words.any("id", "identifier", "canid", "arbitration"))
        return Column::identifier;
    if (words.any("time", "timestamp", "date", "datetime"))
        return Column::time;
    return Column::other;
}

Base base_of(const Words& words) {
    if (words.any("hex", "hexadecimal"))
        return Base::hex;
    return words.any("dec", "decimal") ? Base::decimal : Base::unknown;
}

Time unit_of(const Words& words) {
    if (words.any("ns", "nanoseconds"))
        return 1;
    if (words.any("us", "usec", "microseconds"))
        return 1'000;
    if (words.any("ms", "msec", "milliseconds"))
        return nanoseconds_a_millisecond;
    return words.any("s", "sec", "seconds") ? nanoseconds_a_second : 0;
}

/// A row cut into its cells, without the space and the quotes around them.
struct Row {
    std::array<std::string_view, max_columns> cells;
    std::size_t count = 0;
    bool whole = true; ///< false: a quote is not closed, or there are too many cells

    void split(std::string_view text, char separator) {
        count = 0;
        whole = true;
        std::size_t at = 0;
        for (;;) {
            if (count == max_columns) {
                whole = false;
                return;
            }
            while (at < text.size() && text[at] != separator && is_space(text[at]))
                ++at;
            std::size_t end = at;
            if (at < text.size() && text[at] == '"') {
                end = ++at;
                while (end < text.size() &&
                       (text[end] != '"' || (end + 1 < text.size() && text[end + 1] == '"')))
                    end += text[end] == '"' ? 2U : 1U;
                if (end >= text.size()) {
                    whole = false;
                    return;
                }
                cells[count++] = trim(text.substr(at, end - at));
                ++end;
                while (end < text.size() && text[end] != separator) {
                    whole = whole && is_space(text[end]);
                    ++end;
                }
            } else {
                while (end < text.size() && text[end] != separator)
                    ++end;
                cells[count++] = trim(text.substr(at, end - at));
            }
            if (end >= text.size())
                return;
            at = end + 1;
        }
    }

    std::string_view cell(std::size_t at) const {
        return at < count ? cells[at] : std::string_view();
    }
};

bool parse_header(std::string_view line, char separator, Header& header) {
    Row row;
    row.split(line, separator);
    if (!row.whole || row.count < 2)
        return false;
    header = {};
    header.separator = separator;
    header.columns = row.count;
    header.at.fill(none);
    std::array<std::uint8_t, max_bytes + 1> bytes{};
    bytes.fill(none);
    bool only_date = false;
    for (std::size_t i = 0; i < row.count; ++i) {
        const Words words(row.cells[i]);
        const Column column = column_of(words);
        if (column == Column::other)
            continue;
        if (column == Column::byte) {
            const std::size_t number = *words.byte_number();
            if (number >= bytes.size() || bytes[number] != none)
                return false;
            bytes[number] = static_cast<std::uint8_t>(i);
            if (base_of(words) != Base::unknown)
                header.data_base = base_of(words);
            continue;
        }
        auto& place = header.at[static_cast<std::size_t>(column)];
        // Of two the first counts, but a date alone is less than a time.
        const bool date_only = column == Column::time && !words.any("time", "timestamp");
        if (place != none && (date_only || !only_date))
            continue;
        only_date = date_only;
        place = static_cast<std::uint8_t>(i);
        if (column == Column::identifier)
            header.id_base = base_of(words);
        else if (column == Column::data)
            header.data_base = base_of(words);
        else if (column == Column::time)
            header.unit = unit_of(words);
    }
    const std::size_t first = bytes[0] == none ? 1 : 0;
    while (header.bytes < max_bytes && first + header.bytes < bytes.size() &&
           bytes[first + header.bytes] != none) {
        header.bytes_at[header.bytes] = bytes[first + header.bytes];
        ++header.bytes;
    }
    const auto numbered = static_cast<std::size_t>(
        std::count_if(bytes.begin(), bytes.end(), [](std::uint8_t at) { return at != none; }));
    if (numbered != header.bytes) // a gap in the numbers
        return false;
    if (header.place(Column::data) != none)
        header.bytes = 0;
    return header.place(Column::identifier) != none &&
           (header.bytes != 0 || header.place(Column::data) != none);
}

bool parse_header(std::string_view line, Header& header) {
    return parse_header(line, ',', header) || parse_header(line, ';', header) ||
           parse_header(line, '\t', header);
}

bool has_letter(std::string_view cell) {
    return std::any_of(cell.begin(), cell.end(),
                       [](char c) { return !is_digit(c) && hex_digit(c) < 16; });
}

bool all_hex(std::string_view cell) {
    return !cell.empty() &&
           std::all_of(cell.begin(), cell.end(), [](char c) { return hex_digit(c) < 16; });
}

/// A switch such as the extended column: what it says, if it says something.
std::optional<bool> parse_switch(std::string_view cell) {
    std::array<char, 8> lower{};
    if (cell.empty() || cell.size() > lower.size())
        return std::nullopt;
    std::transform(cell.begin(), cell.end(), lower.begin(),
                   [](char c) { return c >= 'A' && c <= 'Z' ? static_cast<char>(c + 0x20) : c; });
    const std::string_view text(lower.data(), cell.size());
    for (const std::string_view yes : {"1", "true", "yes", "y", "x", "t", "ext", "extended", "29"})
        if (text == yes)
            return true;
    for (const std::string_view no : {"0", "false", "no", "n", "f", "s", "std", "standard", "11"})
        if (text == no)
            return false;
    return std::nullopt;
}

Direction parse_direction(std::string_view cell) {
    switch (cell.empty() ? '\0' : static_cast<char>(cell.front() | 0x20)) {
    case 'r':
    case 'i':
        return Direction::received;
    case 't':
    case 'o':
    case 's':
        return Direction::sent;
    default:
        return Direction::unknown;
    }
}

class CsvReader final : public TextReader {
  protected:
    Outcome quick(ReadState& state, Record&, Problem&) override {
        if (header_there_ && !looked_) {
            looked_ = true;
            look(state.window);
        }
        return Outcome::nothing;
    }

    Outcome line(ReadState& state, const TextLine& line, Record& record,
                 Problem& problem) override {
        const auto text = trim(line.text);
        if (text.empty() || text.front() == '#' || text.substr(0, 2) == "//" ||
            (text.front() == ';' && (!header_there_ || header_.separator != ';')))
            return Outcome::nothing;
        if (!header_there_) {
            header_there_ = parse_header(text, header_);
            return header_there_ ? Outcome::nothing
                                 : told(Verdict::unreadable(line.text), line, problem);
        }
        // Not trimmed: a tab may be a separator.
        row_.split(line.text, header_.separator);
        can_.frame = {};
        can_.time = no_time;
        can_.direction = Direction::unknown;
        if (const auto verdict = parse_row(line); !verdict.fine()) {
            auto outcome = told(verdict, line, problem);
            if (verdict.code == ProblemCode::cut_record)
                problem.b = line.text.size();
            return outcome;
        }
        if (time_unclear_ && !unclear_told_) {
            // Told once; the row itself is still good.
            unclear_told_ = true;
            const auto outcome = give(state, can_, line.place, record, problem);
            if (outcome != Outcome::record)
                return outcome;
            hold(record);
            return told({ProblemCode::bad_record, 0}, line, problem);
        }
        return give(state, can_, line.place, record, problem);
    }

  private:
    Header header_;
    Row row_;
    CanLine can_;
    bool header_there_ = false;
    bool looked_ = false;
    bool points_ = false; ///< a time with a point was seen at the front of the file
    bool time_unclear_ = false;
    bool unclear_told_ = false;

    std::string_view cell(Column column) const { return row_.cell(header_.place(column)); }

    /// True when the end of the input may have made the last cell another one.
    bool may_be_cut(const TextLine& line) const {
        if (line.ended || line.text.back() == '"')
            return false;
        if (row_.count < header_.columns)
            return true;
        const std::size_t last = header_.columns - 1;
        const auto text = row_.cell(last);
        if (last == header_.place(Column::data))
            return header_.data_base == Base::decimal;
        for (std::size_t i = 0; i < header_.bytes; ++i)
            if (last == header_.bytes_at[i])
                return header_.data_base == Base::decimal || text.size() == 1;
        return last == header_.place(Column::time) || last == header_.place(Column::identifier) ||
               last == header_.place(Column::interface);
    }

    Verdict parse_row(const TextLine& line) {
        const auto unreadable = Verdict::unreadable(line.text);
        if (!row_.whole)
            return unreadable;
        for (std::size_t i = header_.columns; i < row_.count; ++i)
            if (!row_.cells[i].empty())
                return unreadable;
        if (may_be_cut(line))
            return {ProblemCode::cut_record, line.text.size() + 1};

        CanFrame& frame = can_.frame;
        bool remote = false;
        bool error = false;
        if (!parse_flag(Column::remote, remote) || !parse_flag(Column::error, error) ||
            !parse_flag(Column::fd, frame.fd) ||
            !parse_flag(Column::bit_rate_switch, frame.bit_rate_switch) ||
            !parse_flag(Column::error_state, frame.error_state) || (remote && error))
            return unreadable;
        if (remote)
            frame.kind = CanKind::remote;
        if (error)
            frame.kind = CanKind::error;
        if (const auto verdict = parse_identifier(unreadable); !verdict.fine())
            return verdict;

        std::size_t size = 0;
        if (header_.bytes != 0 ? !parse_bytes(size) : !parse_data(cell(Column::data), size))
            return unreadable;
        if (const auto verdict = settle_length(size, unreadable); !verdict.fine())
            return verdict;
        can_.interface = cell(Column::interface);
        can_.direction = parse_direction(cell(Column::direction));
        return parse_time_cell() ? Verdict{} : unreadable;
    }

    /// False when the cell says something that is neither yes nor no.
    bool parse_flag(Column column, bool& flag) const {
        const auto text = cell(column);
        if (text.empty())
            return true;
        const auto value = parse_switch(text);
        flag = value.value_or(false);
        return value.has_value();
    }

    Verdict parse_identifier(Verdict unreadable) {
        CanFrame& frame = can_.frame;
        auto text = cell(Column::identifier);
        const bool hex = take_0x(text) || header_.id_base == Base::hex;
        std::uint64_t value = 0;
        if (hex ? !parse_hex(text, value) : !parse_decimal(text, value))
            return unreadable;
        bool extended = value > CanId::max_standard || (hex && text.size() == 8);
        if (!parse_flag(Column::extended, extended))
            return unreadable;
        if (frame.kind == CanKind::error) {
            extended = true;
            if ((value & ~std::uint64_t{CanId::max_extended}) == error_flag)
                value &= CanId::max_extended;
        }
        if (value > (extended ? CanId::max_extended : CanId::max_standard))
            return {ProblemCode::bad_identifier, value};
        frame.id = {static_cast<std::uint32_t>(value), extended};
        return {};
    }

    /// One cell of one byte.
    bool parse_byte(std::string_view text, std::uint8_t& byte) const {
        const bool hex = take_0x(text) || header_.data_base != Base::decimal;
        std::uint64_t value = 0;
        if (hex ? text.size() > 2 || !parse_hex(text, value) : !parse_decimal(text, value))
            return false;
        byte = static_cast<std::uint8_t>(value);
        return value <= 0xFF;
    }

    /// The columns of single bytes: those at the end may be empty, none between.
    bool parse_bytes(std::size_t& size) {
        bool over = false;
        for (std::size_t i = 0; i < header_.bytes; ++i) {
            const auto text = row_.cell(header_.bytes_at[i]);
            if (text.empty()) {
                over = true;
                continue;
            }
            if (over || !parse_byte(text, can_.buffer[size]))
                return false;
            ++size;
        }
        return true;
    }

    /// A cell with all bytes. More than an FD frame holds are counted, not kept.
    bool parse_data(std::string_view text, std::size_t& size) {
        // The usual form: hex digits and nothing between them.
        if (header_.data_base != Base::decimal) {
            size = parse_hex_bytes(text, can_.buffer);
            if (size != std::string_view::npos)
                return true;
            size = 0;
        }
        const auto between = [](char c) {
            return is_space(c) || c == ',' || c == ';' || c == '-' || c == ':';
        };
        const auto keep = [&](std::uint8_t byte) {
            if (size < can_.buffer.size())
                can_.buffer[size] = byte;
            ++size;
        };
        const bool many = std::any_of(text.begin(), text.end(), between);
        while (!text.empty()) {
            std::size_t end = 0;
            while (end < text.size() && !between(text[end]))
                ++end;
            auto piece = text.substr(0, end);
            text.remove_prefix(std::min(text.size(), end + 1));
            if (piece.empty())
                continue;
            std::uint8_t byte = 0;
            if (header_.data_base == Base::decimal || (many && piece.size() <= 2)) {
                if (!parse_byte(piece, byte))
                    return false;
                keep(byte);
                continue;
            }
            take_0x(piece);
            if (piece.size() % 2 != 0)
                return false;
            for (std::size_t i = 0; i < piece.size(); i += 2) {
                const unsigned high = hex_digit(piece[i]);
                const unsigned low = hex_digit(piece[i + 1]);
                if ((high | low) > 15)
                    return false;
                keep(static_cast<std::uint8_t>(high << 4 | low));
            }
        }
        return true;
    }

    /// Holds the length column, where there is one, against the bytes that came.
    Verdict settle_length(std::size_t size, Verdict unreadable) {
        CanFrame& frame = can_.frame;
        auto text = cell(Column::length);
        std::uint64_t length = size;
        if (!text.empty() &&
            (take_0x(text) ? !parse_hex(text, length) : !parse_decimal(text, length)))
            return unreadable;
        if (frame.kind == CanKind::remote) {
            if (frame.fd || size != 0)
                return {ProblemCode::bad_record, 0};
            if (length > 8)
                return {ProblemCode::bad_length, length};
            frame.remote_length = static_cast<std::uint8_t>(length);
            return {};
        }
        if (header_.place(Column::fd) == none)
            frame.fd = size > 8;
        if (const auto verdict = check_length(size, frame.fd); !verdict.fine())
            return verdict;
        constexpr std::uint8_t codes[] = {12, 16, 20, 24, 32, 48, 64}; // of length codes 9 to 15
        const bool is_code = frame.fd && length > 8 && length < 16 && codes[length - 9] == size;
        if (length != size && !is_code)
            return {ProblemCode::bad_record, 0};
        frame.data = Bytes(can_.buffer).first(size);
        return {};
    }

    bool parse_time_cell() {
        const auto text = cell(Column::time);
        if (text.empty())
            return true;
        Time& time = can_.time;
        const bool comma = header_.separator != ',';
        if (header_.unit != 0)
            return parse_scaled(text, header_.unit, time, comma) || parse_date_time(text, time);
        const bool fraction = text.find('.') != text.npos || (comma && text.find(',') != text.npos);
        std::uint64_t whole = 0;
        if (fraction || points_ || !parse_decimal(text, whole))
            return parse_scaled(text, nanoseconds_a_second, time, comma) ||
                   parse_date_time(text, time) || parse_time_of_day(text, time);
        // Since 1970: what lies between 2001 and 2286.
        std::uint64_t unit = nanoseconds_a_second;
        for (std::uint64_t from = 1'000'000'000; unit != 0; from *= 1000, unit /= 1000) {
            if (whole >= from && whole / 10 < from)
                return parse_scaled(text, static_cast<Time>(unit), time);
        }
        time_unclear_ = true;
        return true;
    }

    /// Decides from the front of the file what the header left open.
    void look(Window& window) {
        constexpr std::size_t head = 64U << 10;
        const auto id_at = header_.place(Column::identifier);
        const auto time_at = header_.place(Column::time);
        const bool id_open = header_.id_base == Base::unknown;
        const bool time_open = time_at != none && header_.unit == 0;
        const bool bytes_open = header_.bytes != 0 && header_.data_base == Base::unknown;
        std::size_t rows = 0;
        bool id_letter = false;
        bool id_padded = true;
        bool byte_letter = false;
        bool byte_wide = false;
        std::size_t at = 0;
        while (at < head) {
            const auto* data = reinterpret_cast<const char*>(window.data());
            const std::string_view seen(data, std::min(window.size(), head));
            auto end = seen.find('\n', at);
            if (end == std::string_view::npos) {
                if (window.size() < head && !window.ended() && window.more())
                    continue;
                if (!window.ended() || seen.size() == head)
                    break;
                end = seen.size();
                if (at >= end)
                    break;
            }
            row_.split(trim(seen.substr(at, end - at)), header_.separator);
            at = end + 1;
            if (!row_.whole || row_.count < 2)
                continue;
            ++rows;
            auto id = row_.cell(id_at);
            const bool marked = take_0x(id);
            if (id_open && !marked && all_hex(id)) {
                id_letter = id_letter || has_letter(id);
                id_padded = id_padded && (id.size() == 3 || id.size() == 8);
            }
            if (time_open && row_.cell(time_at).find('.') != std::string_view::npos)
                points_ = true;
            if (bytes_open) {
                for (std::size_t i = 0; i < header_.bytes; ++i) {
                    const auto byte = row_.cell(header_.bytes_at[i]);
                    if (!all_hex(byte))
                        continue;
                    byte_letter = byte_letter || has_letter(byte);
                    byte_wide = byte_wide || byte.size() == 3;
                }
            }
            // What the first rows settle is not waited for.
            if ((!id_open || id_letter || marked) && (!time_open || points_) &&
                (!bytes_open || byte_letter || byte_wide))
                break;
        }
        if (id_open && rows != 0)
            header_.id_base = id_letter || id_padded ? Base::hex : Base::decimal;
        if (bytes_open) {
            if (byte_letter || byte_wide)
                header_.data_base = byte_letter ? Base::hex : Base::decimal;
            else
                header_.data_base = header_.id_base;
        }
    }
};

} // namespace

bool fits_csv_header(std::string_view line) {
    Header header;
    return parse_header(line, header);
}

std::unique_ptr<FormatReader> make_csv_reader() {
    return std::make_unique<CsvReader>();
}

} // namespace telltale::dump
