// SPDX-License-Identifier: Apache-2.0
// From a text to an Extension. Every line is looked at, whatever was wrong before it, so that all
// faults are told at once.
#include <algorithm>
#include <array>
#include <charconv>
#include <cmath>
#include <map>
#include <numeric>
#include <optional>
#include <set>
#include <tuple>

#include "base/chars.hpp"
#include "extension_data.hpp"
#include "telltale/base/hex.hpp"
#include "telltale/base/number.hpp"
#include "telltale/base/text.hpp"
#include "telltale/catalogue/codes.hpp"
#include "telltale/catalogue/listing.hpp"

namespace telltale::catalogue {

namespace {

constexpr std::size_t max_line = 16'384;
constexpr std::size_t max_name = 120;
constexpr std::size_t max_short = 40;
constexpr std::size_t max_remark = 500;
constexpr std::size_t max_choices = 256;
constexpr unsigned max_length = 4093; ///< a message of ISO 15765-2 less its service and identifier
constexpr unsigned max_letter = 26 + 26 * 26;
constexpr std::int64_t max_scale = 1'000'000'000; ///< keeps 32 raw bits exact in 64

enum Column : std::size_t {
    // clang-format off
    table_c, service_c, id_c, length_c, row_c, field_c, short_c, bytes_c, kind_c, signed_c,
    scaling_c, low_c, high_c, unit_c, present_c, clause_c, evidence_c, unsure_c, choices_c, when_c,
    not_used_c, note_c, short_length_c, ecu_c, columns
    // clang-format on
};
constexpr std::array<std::string_view, columns> column_names = {
    "table",    "service", "id",      "length", "row",      "field", "short",        "bytes",
    "kind",     "signed",  "scaling", "low",    "high",     "unit",  "present",      "clause",
    "evidence", "unsure",  "choices", "when",   "not_used", "note",  "short_length", "ecu",
};
constexpr std::array needed_columns = {table_c, id_c, row_c};

using Cells = std::array<std::string_view, columns>;

std::string lower(std::string_view text) {
    std::string out(text);
    for (char& c : out)
        c = c >= 'A' && c <= 'Z' ? static_cast<char>(c - 'A' + 'a') : c;
    return out;
}

std::string_view trim(std::string_view text) {
    while (!text.empty() && (text.front() == ' ' || text.front() == '\t'))
        text.remove_prefix(1);
    while (!text.empty() && (text.back() == ' ' || text.back() == '\t'))
        text.remove_suffix(1);
    return text;
}

/// A cell as a fault quotes it.
std::string quoted(std::string_view text) {
    constexpr std::size_t most = 60;
    std::string out = "'";
    out += text.substr(0, most);
    out += text.size() > most ? "...'" : "'";
    return out;
}

std::string number_text(std::uint64_t value) {
    std::string out;
    append_integer(out, value);
    return out;
}

/// A whole decimal number without sign, or 0x and hex digits.
std::optional<std::uint64_t> whole_number(std::string_view text, std::uint64_t most) {
    std::uint64_t value = 0;
    const bool hex = text.starts_with("0x") || text.starts_with("0X");
    if (hex)
        text.remove_prefix(2);
    const auto [end, error] =
        std::from_chars(text.data(), text.data() + text.size(), value, hex ? 16 : 10);
    if (text.empty() || error != std::errc{} || end != text.data() + text.size() || value > most)
        return std::nullopt;
    return value;
}

std::optional<std::uint32_t> hex_number(std::string_view text) {
    if (text.empty() || text.size() > 8)
        return std::nullopt;
    std::uint32_t value = 0;
    for (const char c : text) {
        if (hex_digit(c) == 0xFF)
            return std::nullopt;
        value = value << 4 | hex_digit(c);
    }
    return value;
}

/// A decimal number as a fraction: 0.25 is 25 / 100.
struct Fraction {
    std::int64_t num = 0;
    std::int64_t den = 1;
};
std::optional<Fraction> decimal_number(std::string_view text) {
    Fraction value;
    bool any = false;
    bool point = false;
    for (const char c : text) {
        if (c == '.' && !point) {
            point = true;
            continue;
        }
        if (c < '0' || c > '9' || value.num > max_scale || value.den > max_scale)
            return std::nullopt;
        any = true;
        value.num = value.num * 10 + (c - '0');
        value.den *= point ? 10 : 1;
    }
    if (!any)
        return std::nullopt;
    const std::int64_t divisor = std::gcd(value.num, value.den);
    return Fraction{value.num / divisor, value.den / divisor};
}

/// raw [* number] [/ number] [+ number | - number]
std::optional<Scale> read_scale(std::string_view text) {
    const auto word = [&] {
        text = trim(text);
        const std::size_t end = std::min(text.find_first_of(" \t*/+-", 1), text.size());
        const auto front = text.substr(0, text.empty() ? 0 : end);
        text.remove_prefix(front.size());
        text = trim(text);
        return front;
    };
    if (word() != "raw")
        return std::nullopt;
    Fraction factor{1, 1};
    Fraction offset{0, 1};
    bool multiplied = false;
    bool divided = false;
    while (!text.empty()) {
        const char sign = text.front();
        text.remove_prefix(1);
        text = trim(text);
        const bool minus = sign == '*' && text.starts_with('-'); // a factor may be negative
        if (minus)
            text.remove_prefix(1);
        const auto number = decimal_number(word());
        if (!number)
            return std::nullopt;
        if (sign == '*' && !multiplied && !divided) {
            multiplied = true;
            factor = {minus ? -number->num : number->num, number->den};
        } else if (sign == '/' && !divided && number->num != 0) {
            divided = true;
            if (number->num > max_scale / factor.den)
                return std::nullopt;
            factor = {factor.num * number->den, factor.den * number->num};
        } else if ((sign == '+' || sign == '-') && text.empty()) {
            offset = {sign == '-' ? -number->num : number->num, number->den};
        } else {
            return std::nullopt;
        }
    }
    if (factor.num == 0 || std::abs(factor.num) > max_scale || factor.den > max_scale)
        return std::nullopt;
    // What was written as a ratio of whole numbers stays as it was written.
    std::int64_t num = factor.num;
    std::int64_t den = factor.den;
    std::int64_t shift = 0;
    const std::int64_t whole = offset.num / offset.den;
    if (const std::int64_t rest = offset.num % offset.den; rest != 0) {
        const std::int64_t divisor = std::gcd(den, offset.den);
        const std::int64_t by = offset.den / divisor;
        if (by > max_scale / den || std::abs(num) > max_scale / by)
            return std::nullopt;
        num *= by;
        den *= by;
        shift = rest * (den / offset.den);
    }
    if (std::abs(whole) > max_scale || std::abs(shift) > max_scale)
        return std::nullopt;
    return Scale{static_cast<std::int32_t>(num), static_cast<std::int32_t>(den),
                 static_cast<std::int32_t>(whole), static_cast<std::int32_t>(shift)};
}

/// Data bytes as the standard letters them, from 0; the text moves on behind the letters.
std::optional<unsigned> read_letters(std::string_view& text) {
    const auto is_letter = [](char c) { return c >= 'A' && c <= 'Z'; };
    if (text.empty() || !is_letter(text[0]))
        return std::nullopt;
    auto at = static_cast<unsigned>(text[0] - 'A');
    text.remove_prefix(1);
    if (!text.empty() && is_letter(text[0])) {
        at = (at + 1) * 26 + static_cast<unsigned>(text[0] - 'A');
        text.remove_prefix(1);
    }
    return at;
}

std::optional<unsigned> read_digits(std::string_view& text) {
    unsigned value = 0;
    std::size_t count = 0;
    while (count < text.size() && count < 4 && text[count] >= '0' && text[count] <= '9')
        value = value * 10 + static_cast<unsigned>(text[count++] - '0');
    text.remove_prefix(count);
    return count == 0 ? std::nullopt : std::optional(value);
}

/// "A", "A-B", "C.7-5", "C.3", "D-".
bool read_bytes(std::string_view text, Field& field) {
    const auto first = read_letters(text);
    if (!first)
        return false;
    field.at = static_cast<std::uint16_t>(*first);
    field.bytes = 1;
    if (text == "-") {
        field.bytes = 0;
        return true;
    }
    if (text.starts_with('-')) {
        text.remove_prefix(1);
        const auto last = read_letters(text);
        if (!last || *last < *first || *last - *first >= 255)
            return false;
        field.bytes = static_cast<std::uint8_t>(*last - *first + 1);
    }
    if (text.empty())
        return true;
    if (text[0] != '.')
        return false;
    text.remove_prefix(1);
    const auto high = read_digits(text);
    auto low = high;
    if (high && text.starts_with('-')) {
        text.remove_prefix(1);
        low = read_digits(text);
    }
    if (!high || !low || !text.empty() || *low > *high || field.bytes > 8 ||
        *high >= 8U * field.bytes || *high - *low >= 63)
        return false;
    field.bit = static_cast<std::uint8_t>(*low);
    field.bits = static_cast<std::uint8_t>(*high - *low + 1);
    return true;
}

/// "A.7"; the text moves on.
std::optional<Bit> read_bit(std::string_view& text) {
    const auto byte = read_letters(text);
    if (!byte || !text.starts_with('.'))
        return std::nullopt;
    text.remove_prefix(1);
    const auto bit = read_digits(text);
    if (!bit || *bit > 7)
        return std::nullopt;
    return Bit{static_cast<std::int16_t>(*byte), static_cast<std::uint8_t>(*bit)};
}

/// A unit by its UCUM code. Of two with the same code the first counts.
std::optional<Unit> unit_of(std::string_view code) {
    for (unsigned i = 1; i < static_cast<unsigned>(Unit::last_); ++i)
        if (info(static_cast<Unit>(i)).ucum == code)
            return static_cast<Unit>(i);
    return std::nullopt;
}

/// Columns of a line: where a quote stands, to the next one; two quotes are one of the text.
/// False: a quote is not closed, or something stands behind it.
bool split_line(std::string_view line, std::string& room, std::vector<std::string_view>& cells) {
    cells.clear();
    room.clear(); // views into it: its room was made before
    for (std::size_t at = 0;;) {
        std::size_t end = 0;
        if (at < line.size() && line[at] == '"') {
            const std::size_t begin = room.size();
            for (end = at + 1;; ++end) {
                if (end >= line.size())
                    return false;
                if (line[end] == '"') {
                    if (end + 1 >= line.size() || line[end + 1] != '"')
                        break;
                    ++end;
                }
                room += line[end];
            }
            ++end;
            if (end < line.size() && line[end] != ',')
                return false;
            cells.push_back(std::string_view(room).substr(begin));
        } else {
            end = std::min(line.find(',', at), line.size());
            cells.push_back(trim(line.substr(at, end - at)));
        }
        // What a spreadsheet would have taken for a formula was written with an apostrophe.
        std::string_view& cell = cells.back();
        if (cell.size() > 1 && cell[0] == '\'' &&
            std::string_view("=+-@").find(cell[1]) != std::string_view::npos)
            cell.remove_prefix(1);
        if (end >= line.size())
            return true;
        at = end + 1;
    }
}

/// A text that may stand in a name: UTF-8 without control characters.
bool is_clean(std::string_view text) {
    if (std::all_of(text.begin(), text.end(), [](char c) { return c >= 0x20 && c < 0x7F; }))
        return true;
    std::string shown;
    append_printable(shown, text);
    return shown == text;
}

/// A line of one of the texts.
struct Where {
    std::size_t text = 0;
    std::uint64_t line = 0;
};

/// Whose names are taken: those for any ECU, and those of one.
class Names {
  public:
    /// The line where the name is taken already, else takes it.
    std::optional<Where> take(std::string name, EcuName ecu, Where line) {
        auto& known = names_[std::move(name)];
        if (!known.empty())
            for (const EcuName other : {ecu, EcuName{0}})
                if (const auto at = known.find(other); at != known.end())
                    return at->second;
        if (ecu == 0 && !known.empty())
            return known.begin()->second;
        known.emplace(ecu, line);
        return std::nullopt;
    }

  private:
    std::map<std::string, std::map<EcuName, Where>> names_;
};

} // namespace

class ExtensionReader {
  public:
    explicit ExtensionReader(std::span<const ExtensionText> texts) : texts_(texts) {
        for (const Row& row : pids())
            for (const Field& field : row.fields)
                take_short(field);
        for (const Row& row : info_types())
            for (const Field& field : row.fields)
                take_short(field);
    }

    Result<Extension> read(std::vector<Fault>* faults) {
        std::size_t total = 0;
        for (const auto& text : texts_)
            total += text.text.size();
        if (total > Extension::max_text)
            return fail(ErrorCode::too_long, "the descriptions of parameters are more than " +
                                                 number_text(Extension::max_text) + " bytes");
        // No cell is longer than in its text, and each has room for its 00 where a comma stood.
        data_->words.reserve(total + texts_.size() + 1);
        for (text_ = 0; text_ < texts_.size(); ++text_)
            read_text(texts_[text_].text);
        if (faults != nullptr)
            *faults = faults_;
        if (!faults_.empty())
            return error();
        finish();
        Extension made;
        made.data_ = std::move(data_);
        return made;
    }

  private:
    /// A row while its lines come.
    struct Open {
        bool open = false;
        std::size_t at = 0; ///< in `rows`
        std::size_t first_field = 0;
        std::uint64_t line = 0;
    };
    struct Made { // places, as vectors still grow
        std::size_t first_field = 0;
        std::size_t fields = 0;
    };

    void take_short(const Field& field) {
        for (const char* key : {field.key, field.key_by_1d})
            if (key != nullptr && *key != '\0')
                standard_shorts_.insert(lower(key));
    }

    Where here() const { return {text_, line_}; }
    /// "line 7", or "other.csv:7" of another text.
    std::string place(Where where) const {
        std::string out = "line ";
        if (where.text != text_)
            out = std::string(texts_[where.text].name) + ":";
        append_integer(out, where.line);
        return out;
    }

    void fault(std::string detail) {
        sound_ = false;
        if (faults_.size() < Extension::max_faults)
            faults_.push_back({text_, line_, std::move(detail)});
        else
            ++more_faults_;
    }

    tl::unexpected<Error> error() const {
        std::string detail;
        for (const Fault& each : faults_) {
            if (!detail.empty())
                detail += '\n';
            if (const auto name = texts_[each.text].name; !name.empty()) {
                detail += name;
                detail += ':';
            } else {
                detail += "line ";
            }
            append_integer(detail, each.line);
            detail += ": ";
            detail += each.detail;
        }
        if (more_faults_ != 0)
            detail += "\nand " + number_text(more_faults_) + " faults more";
        return fail(ErrorCode::bad_argument, std::move(detail), {0, faults_.front().line});
    }

    void read_text(std::string_view text) {
        line_ = 0;
        bool has_head = false;
        open_ = {};
        if (text.starts_with("\xEF\xBB\xBF"))
            text.remove_prefix(3);
        while (!text.empty()) {
            const std::size_t end = std::min(text.find('\n'), text.size());
            std::string_view line = text.substr(0, end);
            text.remove_prefix(std::min(end + 1, text.size()));
            ++line_;
            if (line.ends_with('\r'))
                line.remove_suffix(1);
            if (trim(line).empty() || line.starts_with('#'))
                continue;
            sound_ = true;
            if (line.size() > max_line) {
                fault("the line is longer than " + number_text(max_line) + " bytes");
                continue;
            }
            room_.reserve(line.size());
            if (!split_line(line, room_, cells_)) {
                fault("a quote is not closed, or something stands behind it");
                continue;
            }
            if (!has_head) {
                has_head = true;
                if (!head())
                    return; // without it, nothing below can be told
                continue;
            }
            if (!is_clean(line)) {
                fault("control characters, or characters that are not UTF-8");
                continue;
            }
            if (cells_.size() > used_columns_) {
                fault("the line has " + number_text(cells_.size()) + " columns, its head " +
                      number_text(used_columns_));
                continue;
            }
            Cells cells{};
            for (std::size_t i = 0; i < cells_.size(); ++i)
                cells[order_[i]] = cells_[i];
            record(cells);
        }
        if (!has_head && line_ != 0)
            fault("no line with the names of the columns");
        else if (!has_head) {
            line_ = 1;
            fault("the text is empty");
        }
    }

    bool head() {
        order_.clear();
        std::array<bool, columns> there{};
        for (const std::string_view cell : cells_) {
            const auto at = std::find(column_names.begin(), column_names.end(), cell);
            if (at == column_names.end()) {
                fault("no column is named " + quoted(cell) +
                      "; `telltale catalogue --as csv` shows all of them");
                continue;
            }
            const auto place = static_cast<std::size_t>(at - column_names.begin());
            if (there[place])
                fault("the column " + quoted(cell) + " is there twice");
            there[place] = true;
            order_.push_back(place);
        }
        for (const Column needed : needed_columns)
            if (!there[needed])
                fault("the column '" + std::string(column_names[needed]) + "' is missing");
        used_columns_ = order_.size();
        standard_lines_.clear();
        return sound_;
    }

    /// A line below the head.
    void record(const Cells& cells) {
        const auto all = tables();
        const auto table = std::find_if(
            all.begin(), all.end(), [&](const Table& each) { return each.word == cells[table_c]; });
        if (table == all.end())
            return fault("no table is named " + quoted(cells[table_c]) +
                         "; what can be added is pid, local-id, data-id and code");
        if (!cells[service_c].empty() && cells[service_c] != table->service)
            return fault("the table " + std::string(table->word) + " belongs to service '" +
                         std::string(table->service) + "', not to " + quoted(cells[service_c]));
        const auto word = table->word;
        if (word == "code")
            return code(cells);
        if (word != "pid" && word != "local-id" && word != "data-id") {
            if (!is_standards(cells))
                fault("only parameters of services 01, 21 and 22 and codes can be added (pid, "
                      "local-id, data-id, code)");
            return;
        }
        const std::uint8_t service = word == "pid" ? 0x01 : word == "local-id" ? 0x21 : 0x22;
        const auto id = hex_number(cells[id_c]);
        const std::size_t digits = cells[id_c].size();
        if (!id || (digits != 2 && !(service == 0x22 && digits == 4)))
            return fault(quoted(cells[id_c]) + (service == 0x22 ? " is no data identifier (4 hex "
                                                                  "digits)"
                                                                : " is no identifier (2 hex "
                                                                  "digits)"));
        if (service == 0x01 && pid(static_cast<std::uint8_t>(*id)) != nullptr) {
            if (!is_standards(cells))
                fault("PID " + std::string(cells[id_c]) +
                      " is the standard's; a file can repeat its row to the letter, not change it");
            return;
        }
        if (service == 0x22 && is_standards_did(*id))
            return fault("data identifier " + std::string(cells[id_c]) + " is the standard's");
        parameter(cells, service, static_cast<std::uint16_t>(*id));
    }

    static bool is_standards_did(std::uint32_t did) {
        const auto low = static_cast<std::uint8_t>(did);
        switch (did >> 8) {
        case 0xF4:
            return pid(low) != nullptr || (low & 0x1F) == 0;
        case 0xF5:
        case 0xF7:
            return (low & 0x1F) == 0;
        case 0xF6:
            return true; // test results, whatever the monitor
        case 0xF8:
            return info_type(low) != nullptr || (low & 0x1F) == 0;
        default:
            return did == 0xF190;
        }
    }

    /// True for a line that the catalogue itself prints, in the columns that are there.
    bool is_standards(const Cells& cells) {
        std::array<bool, columns> used{};
        for (const std::size_t place : order_)
            used[place] = true;
        const auto key_of = [&](const Cells& of) {
            std::string key;
            for (std::size_t i = 0; i < columns; ++i)
                if (used[i]) {
                    key += of[i];
                    key += '\x1F';
                }
            return key;
        };
        if (standard_lines_.empty()) {
            std::string all;
            append_catalogue_csv(all);
            std::vector<std::string_view> parts;
            std::string room;
            room.reserve(max_line);
            std::string_view rest = all;
            while (!rest.empty()) {
                const std::size_t end = std::min(rest.find('\n'), rest.size());
                (void)split_line(rest.substr(0, end), room, parts);
                Cells line{};
                std::copy_n(parts.begin(), std::min<std::size_t>(parts.size(), columns),
                            line.begin());
                standard_lines_.insert(key_of(line));
                rest.remove_prefix(std::min(end + 1, rest.size()));
            }
        }
        return standard_lines_.count(key_of(cells)) != 0;
    }

    /// The text as it will be kept; null when it is empty.
    const char* keep(std::string_view text) {
        if (text.empty())
            return nullptr;
        auto& words = data_->words;
        const std::size_t at = words.size();
        if (words.capacity() - at <= text.size())
            return nullptr; // cannot be: see `read`
        words += text;
        words += '\0';
        return words.data() + at;
    }
    static const char* or_empty(const char* text) { return text == nullptr ? "" : text; }

    /// A cell that may hold so many characters.
    bool fits(std::string_view text, std::size_t most, std::string_view what) {
        if (text.size() <= most)
            return true;
        fault(std::string(what) + " is longer than " + number_text(most) + " bytes");
        return false;
    }

    std::optional<Evidence> evidence(std::string_view text) {
        if (text.empty())
            return Evidence::memory;
        for (const Evidence each :
             {Evidence::published_example, Evidence::published_formula, Evidence::outside_program,
              Evidence::common_practice, Evidence::memory})
            if (text == word(each))
                return each;
        fault("evidence is published-example, published-formula, outside-program, common-practice "
              "or memory, not " +
              quoted(text));
        return std::nullopt;
    }

    void must_be_empty(const Cells& cells, std::initializer_list<Column> which,
                       std::string_view why) {
        for (const Column each : which)
            if (!cells[each].empty())
                fault("the column '" + std::string(column_names[each]) + "' says " +
                      quoted(cells[each]) + ", but " + std::string(why));
    }

    void code(const Cells& cells) {
        open_ = {};
        std::string_view text = cells[id_c];
        constexpr std::string_view letters = "PCBU";
        const std::size_t letter = text.empty() ? letters.npos : letters.find(text[0]);
        const auto digits = hex_number(text.substr(std::min<std::size_t>(1, text.size()), 4));
        const bool three = text.size() == 8 && text[5] == '-';
        const auto type = three ? hex_number(text.substr(6)) : std::optional<std::uint32_t>(0);
        if (letter == letters.npos || !digits || *digits > 0x3FFF || !type ||
            (text.size() != 5 && !three))
            return fault(quoted(text) + " is no code: P1234, or P1234-1C with its failure type");
        const auto number = static_cast<std::uint16_t>(letter << 14 | *digits);
        if (number == 0)
            return fault("P0000 means that there is no code");
        must_be_empty(cells,
                      {length_c, field_c, short_c, bytes_c, kind_c, signed_c, scaling_c, low_c,
                       high_c, unit_c, present_c, choices_c, when_c, not_used_c, note_c,
                       short_length_c, ecu_c},
                      "a code has only a meaning, in the column 'row'");
        if (cells[row_c].empty())
            fault("the meaning of the code is missing (column 'row')");
        const bool fine = fits(cells[row_c], max_code_text, "the meaning") &&
                          fits(cells[clause_c], max_remark, "the clause") &&
                          fits(cells[unsure_c], max_remark, "the remark");
        const auto rests_on = evidence(cells[evidence_c]);
        std::array<char, max_code_text> buffer;
        if (const auto known = describe_code(number, buffer); !known.empty())
            fault("code " + std::string(text) +
                  " has a meaning in the standard: " + std::string(known));
        OwnCode own;
        own.code = number;
        own.failure_type = three ? static_cast<std::int16_t>(*type) : std::int16_t{-1};
        const auto [before, fresh] =
            code_lines_.emplace(std::pair{own.code, own.failure_type}, here());
        if (!fresh)
            fault("code " + std::string(text) + " is described in " + place(before->second) +
                  " already");
        if (data_->codes.size() >= Extension::max_rows)
            fault("there are more than " + number_text(Extension::max_rows) + " codes");
        if (!sound_ || !fine || !rests_on)
            return;
        own.text = or_empty(keep(cells[row_c]));
        own.clause = or_empty(keep(cells[clause_c]));
        own.evidence = *rests_on;
        own.unsure = keep(cells[unsure_c]);
        data_->codes.push_back(own);
    }

    void parameter(const Cells& cells, std::uint8_t service, std::uint16_t id) {
        const auto ecu = read_ecu(cells[ecu_c]);
        if (!ecu)
            return;
        const bool same = open_.open && data_->rows[open_.at].service == service &&
                          data_->rows[open_.at].row.id == id && data_->rows[open_.at].ecu == *ecu;
        if (!same && !begin_row(cells, service, id, *ecu))
            return;
        if (same)
            same_row(cells);
        must_be_empty(cells, {short_length_c}, "that is for the standard's rows");
        OwnRow& own = data_->rows[open_.at];
        if (cells[field_c].empty() && cells[bytes_c].empty()) {
            must_be_empty(cells,
                          {short_c, kind_c, signed_c, scaling_c, low_c, high_c, unit_c, present_c,
                           choices_c, when_c, not_used_c, note_c},
                          "the row has no field (columns 'field' and 'bytes')");
            if (same)
                fault("a field is missing: the row began in line " + number_text(open_.line));
            own.row.unsure = keep(cells[unsure_c]);
            take_name(cells[row_c], *ecu);
            return;
        }
        add_field(cells, own);
    }

    std::optional<EcuName> read_ecu(std::string_view text) {
        if (text.empty())
            return EcuName{0};
        const auto value = hex_number(text);
        const bool extended = text.size() == 8;
        if (!value || *value == 0 || (text.size() != 3 && !extended) ||
            *value > (extended ? 0x1FFF'FFFFU : 0x7FFU)) {
            fault(quoted(text) + " is no identifier of an ECU's answers (7E8, 18DAF110)");
            return std::nullopt;
        }
        return ecu_name(*value, extended);
    }

    bool begin_row(const Cells& cells, std::uint8_t service, std::uint16_t id, EcuName ecu) {
        open_ = {};
        const auto [before, fresh] = row_lines_.emplace(std::tuple{service, id, ecu}, here());
        if (!fresh) {
            fault("identifier " + std::string(cells[id_c]) + " was described from " +
                  place(before->second) + " on already; the lines of its fields stand together");
            return false;
        }
        if (data_->rows.size() >= Extension::max_rows) {
            fault("there are more than " + number_text(Extension::max_rows) + " rows");
            return false;
        }
        const auto length = whole_number(cells[length_c], max_length);
        if (!length)
            fault("the length is the number of data bytes (0: to the end of the message), not " +
                  quoted(cells[length_c]));
        if (cells[row_c].empty() && cells[field_c].empty())
            fault("the name is missing (column 'row' or 'field')");
        const bool fine = fits(cells[row_c], max_name, "the name of the row") &&
                          fits(cells[clause_c], max_remark, "the clause");
        const auto rests_on = evidence(cells[evidence_c]);
        OwnRow own;
        own.service = service;
        own.ecu = ecu;
        own.row = Row{};
        own.row.id = id;
        own.row.length = static_cast<std::uint16_t>(length.value_or(0));
        own.row.evidence = rests_on.value_or(Evidence::memory);
        if (fine) {
            own.row.name = keep(cells[row_c]);
            own.row.clause = or_empty(keep(cells[clause_c]));
        }
        open_ = {true, data_->rows.size(), data_->fields.size(), line_};
        data_->rows.push_back(own);
        made_.push_back({data_->fields.size(), 0});
        return true;
    }

    /// What a further line says of its row must be what the first said, or nothing.
    void same_row(const Cells& cells) {
        const Row& row = data_->rows[open_.at].row;
        const auto differs = [&](Column column, std::string_view before) {
            if (!cells[column].empty() && cells[column] != before)
                fault("the column '" + std::string(column_names[column]) + "' says " +
                      quoted(cells[column]) + "; line " + number_text(open_.line) + " said " +
                      quoted(before) + " of the same row");
        };
        if (const auto length = whole_number(cells[length_c], max_length);
            !cells[length_c].empty() && (!length || *length != row.length))
            differs(length_c, number_text(row.length));
        if (row.name != nullptr)
            differs(row_c, row.name);
        if (row.clause != nullptr)
            differs(clause_c, row.clause);
        differs(evidence_c, word(row.evidence));
        if (made_[open_.at].fields == 0)
            fault("line " + number_text(open_.line) + " described the row without a field");
    }

    void take_name(std::string_view name, EcuName ecu) {
        if (const auto before = names_.take(lower(name), ecu, here()))
            fault("the name " + quoted(name) + " is used in " + place(*before) + " already");
    }

    void take_short_name(std::string_view name, EcuName ecu) {
        if (name.empty())
            return;
        const bool plain = std::all_of(name.begin(), name.end(), [](char c) {
            return c > 0x20 && c < 0x7F &&
                   std::string_view(",:;\"'#").find(c) == std::string_view::npos;
        });
        if (!plain)
            fault("a short name is of letters, digits and signs without space, comma, colon, "
                  "quote or #");
        if (hex_number(name) && (name.size() == 2 || name.size() == 4))
            fault("the short name " + quoted(name) + " looks like an identifier");
        auto small = lower(name);
        if (standard_shorts_.count(small) != 0)
            fault("the short name " + quoted(name) + " is one of the standard's");
        if (const auto before = shorts_.take(std::move(small), ecu, here()))
            fault("the short name " + quoted(name) + " is used in " + place(*before) + " already");
    }

    void add_field(const Cells& cells, OwnRow& own) {
        Made& made = made_[open_.at];
        if (made.fields >= Extension::max_fields)
            return fault("a row has at most " + number_text(Extension::max_fields) + " fields");
        Field field{};
        field.id = own.row.id;
        if (cells[field_c].empty())
            fault("the name of the field is missing (column 'field')");
        else
            take_name(cells[field_c], own.ecu);
        take_short_name(cells[short_c], own.ecu);
        fits(cells[field_c], max_name, "the name of the field");
        fits(cells[short_c], max_short, "the short name");
        fits(cells[note_c], max_remark, "the note");
        fits(cells[unsure_c], max_remark, "the remark");
        const bool placed = read_place(cells, own, field);
        if (!read_kind(cells, field))
            return;
        if (placed)
            check_place(field);
        std::vector<Choice> choices;
        if (placed && field.kind == Kind::choice)
            read_choices(cells[choices_c], field, choices);
        if (field.kind == Kind::number)
            read_number(cells, field, placed);
        else
            must_be_empty(cells, {signed_c, scaling_c, low_c, high_c, unit_c},
                          "only a number has that");
        if (field.kind != Kind::choice)
            must_be_empty(cells, {choices_c}, "only a choice has that");
        if (!cells[not_used_c].empty())
            read_not_used(cells[not_used_c], field);
        if (!sound_)
            return;
        field.name = or_empty(keep(cells[field_c]));
        field.key = or_empty(keep(cells[short_c]));
        field.note = keep(cells[note_c]);
        field.unsure = keep(cells[unsure_c]);
        if (field.kind == Kind::number && cells[unit_c].starts_with('{'))
            field.own_unit = keep(cells[unit_c]);
        for (Choice& choice : choices)
            choice.text = or_empty(
                keep({choice.text,
                      choice_lengths_[static_cast<std::size_t>(&choice - choices.data())]}));
        if (!choices.empty()) {
            choice_places_.emplace_back(data_->fields.size(), data_->choices.size(),
                                        choices.size());
            data_->choices.insert(data_->choices.end(), choices.begin(), choices.end());
        }
        if (own.row.name == nullptr)
            own.row.name = field.name;
        data_->fields.push_back(field);
        ++made.fields;
    }

    bool read_place(const Cells& cells, const OwnRow& own, Field& field) {
        if (!read_bytes(cells[bytes_c], field)) {
            fault("the bytes are lettered from A: A, A-B, C.7-5, C.3, D- (to the end), not " +
                  quoted(cells[bytes_c]));
            return false;
        }
        const unsigned length = own.row.length;
        const unsigned end = field.at + std::max<unsigned>(field.bytes, 1);
        if ((length != 0 && end > length) || end > max_letter) {
            fault("the field ends behind the " + number_text(length) + " bytes of its row");
            return false;
        }
        const auto bit = [&](Column column, std::string_view& text) {
            const auto found = read_bit(text);
            if (!found)
                fault("the column '" + std::string(column_names[column]) + "' names a bit (A.7)" +
                      (column == when_c ? " and its state (A.7=1)" : "") + ", not " +
                      quoted(cells[column]));
            else if (length != 0 && static_cast<unsigned>(found->byte) >= length)
                fault("the column '" + std::string(column_names[column]) +
                      "' names a bit behind the end of the row");
            return found.value_or(Bit{});
        };
        if (std::string_view text = cells[present_c]; !text.empty()) {
            field.present = bit(present_c, text);
            if (field.present.byte >= 0 && !text.empty())
                fault(quoted(cells[present_c]) + " is no bit (A.7)");
        }
        if (std::string_view text = cells[when_c]; !text.empty()) {
            field.when.bit = bit(when_c, text);
            field.when.set = text == "=1";
            if (field.when.bit.byte >= 0 && text != "=1" && text != "=0")
                fault(quoted(cells[when_c]) + " is no bit with its state (A.7=1)");
        }
        return true;
    }

    bool read_kind(const Cells& cells, Field& field) {
        const auto text = cells[kind_c];
        for (const Kind kind : {Kind::number, Kind::choice, Kind::code, Kind::text, Kind::hex})
            if (text == word(kind)) {
                field.kind = kind;
                return true;
            }
        fault("the kind is number, choice, code, text or hex, not " + quoted(text));
        return false;
    }

    void check_place(const Field& field) {
        const bool whole = field.bits == 0;
        switch (field.kind) {
        case Kind::number:
        case Kind::choice:
            if (field.bytes == 0 || field.width() > 32)
                fault("a number or choice is at most 32 bits wide");
            break;
        case Kind::code:
            if (field.bytes != 2 || !whole)
                fault("a code has two whole bytes");
            break;
        default:
            if (!whole)
                fault("text and hex are of whole bytes");
            break;
        }
        const Made& made = made_[open_.at];
        for (std::size_t i = 0; i < made.fields; ++i)
            if (const Field& other = data_->fields[made.first_field + i]; overlap(field, other)) {
                fault("the field overlaps " + quoted(other.name) + " of the same row");
                break;
            }
    }

    /// Bits that both have, unless they are never there together.
    static bool overlap(const Field& a, const Field& b) {
        if (a.when.bit.byte >= 0 && a.when.bit.byte == b.when.bit.byte &&
            a.when.bit.bit == b.when.bit.bit && a.when.set != b.when.set)
            return false;
        struct Bits {
            std::uint64_t first; ///< counted from the highest bit of A
            std::uint64_t end;
        };
        const auto bits = [](const Field& field) -> Bits {
            const std::uint64_t at = std::uint64_t{8} * field.at;
            if (field.bytes == 0)
                return {at, ~std::uint64_t{0}};
            const std::uint64_t end = at + std::uint64_t{8} * field.bytes;
            if (field.bits == 0)
                return {at, end};
            return {end - field.bit - field.bits, end - field.bit};
        };
        const Bits x = bits(a);
        const Bits y = bits(b);
        return x.first < y.end && y.first < x.end;
    }

    void read_number(const Cells& cells, Field& field, bool placed) {
        if (cells[signed_c] == "yes")
            field.is_signed = true;
        else if (!cells[signed_c].empty() && cells[signed_c] != "no")
            fault("signed is yes or no, not " + quoted(cells[signed_c]));
        bool scaled = true;
        if (!cells[scaling_c].empty()) {
            const auto scale = read_scale(cells[scaling_c]);
            scaled = scale.has_value();
            if (!scale)
                fault("the scaling is: raw * 100 / 255 - 40 (factor, divisor and offset may be "
                      "missing; none above 1000000000), not " +
                      quoted(cells[scaling_c]));
            field.scale = scale.value_or(Scale{});
        }
        read_unit(cells[unit_c], field);
        if (!placed || !scaled)
            return;
        const Ends ends = ends_of(field);
        for (const auto& [column, is] : {std::pair{low_c, ends.low}, {high_c, ends.high}}) {
            if (cells[column].empty())
                continue;
            double said = 0;
            const auto text = cells[column];
            const char* const end = chars::read(text.data(), text.data() + text.size(), said);
            const bool number = end == text.data() + text.size();
            if (number && std::fabs(said - is) <= 1e-9 * std::max(1.0, std::fabs(is)))
                continue;
            std::string detail = "the column '" + std::string(column_names[column]) + "' says " +
                                 quoted(text) + ", the scaling gives ";
            append_exact_text(detail, is);
            fault(std::move(detail));
        }
    }

    static void append_exact_text(std::string& out, double value) {
        std::array<char, 40> text;
        out.append(text.data(), chars::shortest(text.data(), text.data() + text.size(), value));
    }

    void read_unit(std::string_view text, Field& field) {
        if (text.empty() || text == "1")
            return;
        if (text.front() == '{') {
            const auto inner = text.substr(1, text.size() < 2 ? 0 : text.size() - 2);
            if (text.back() == '}' && !inner.empty() && inner.size() <= 24 &&
                inner.find_first_of("{}") == std::string_view::npos)
                // "{count}" and its like are known, with a text of their own.
                field.unit = unit_of(text).value_or(Unit::none);
            else
                fault("a unit in plain words stands in braces, 24 bytes at most: {mm3/stroke}");
            return;
        }
        if (const auto unit = unit_of(text))
            field.unit = *unit;
        else
            fault("no unit has the UCUM code " + quoted(text) +
                  " here; plain words stand in braces: {mm3/stroke}");
    }

    void read_choices(std::string_view text, const Field& field, std::vector<Choice>& choices) {
        choice_lengths_.clear();
        if (text.empty())
            return fault("a choice says what its values mean: 0 = closed | 1 = open");
        const std::uint64_t most = field.width() >= 32 ? std::uint64_t{0xFFFF'FFFF}
                                                       : (std::uint64_t{1} << field.width()) - 1;
        while (true) {
            const std::size_t bar = text.find('|');
            const std::string_view part = trim(text.substr(0, bar));
            const std::size_t equals = part.find('=');
            const auto value = whole_number(trim(part.substr(0, equals)), most);
            std::string_view words = equals == std::string_view::npos
                                         ? std::string_view{}
                                         : trim(part.substr(equals + 1));
            constexpr std::string_view doubt = "(unsure)";
            const bool unsure = words.ends_with(doubt);
            if (unsure)
                words = trim(words.substr(0, words.size() - doubt.size()));
            if (!value || words.empty())
                return fault("choices are: 0 = closed | 1 = open, with values that fit the " +
                             number_text(field.width()) + " bits; not " + quoted(part));
            if (std::any_of(choices.begin(), choices.end(),
                            [&](const Choice& other) { return other.value == *value; }))
                return fault("the value " + number_text(*value) + " is there twice");
            if (choices.size() >= max_choices)
                return fault("more than " + number_text(max_choices) + " choices");
            if (!fits(words, max_name, "the text of a choice"))
                return;
            choices.push_back({static_cast<std::uint32_t>(*value), words.data(), unsure});
            choice_lengths_.push_back(words.size());
            if (bar == std::string_view::npos)
                return;
            text.remove_prefix(bar + 1);
        }
    }

    void read_not_used(std::string_view text, Field& field) {
        const std::uint64_t most =
            field.width() >= 32 ? 0xFFFF'FFFFU : (std::uint64_t{1} << field.width()) - 1;
        const auto value = whole_number(text, most);
        if (!value || (field.kind != Kind::number && field.kind != Kind::choice))
            return fault("the column 'not_used' is one raw value of a number or choice, not " +
                         quoted(text));
        field.no_value = static_cast<std::int64_t>(*value);
    }

    /// Vectors grow no more: rows get their fields, fields their choices, in their order.
    void finish() {
        for (const auto& [field, first, count] : choice_places_)
            data_->fields[field].choices = std::span(data_->choices).subspan(first, count);
        for (std::size_t i = 0; i < data_->rows.size(); ++i)
            data_->rows[i].row.fields =
                std::span(data_->fields).subspan(made_[i].first_field, made_[i].fields);
        std::sort(data_->rows.begin(), data_->rows.end(), [](const OwnRow& a, const OwnRow& b) {
            return std::tuple{a.service, a.row.id, a.ecu} < std::tuple{b.service, b.row.id, b.ecu};
        });
        std::sort(data_->codes.begin(), data_->codes.end(), [](const OwnCode& a, const OwnCode& b) {
            return std::pair{a.code, a.failure_type} < std::pair{b.code, b.failure_type};
        });
    }

    std::span<const ExtensionText> texts_;
    std::unique_ptr<Extension::Data> data_ = std::make_unique<Extension::Data>();
    std::vector<Made> made_; ///< as `rows`
    std::vector<std::tuple<std::size_t, std::size_t, std::size_t>> choice_places_;
    std::vector<std::size_t> choice_lengths_;
    std::vector<Fault> faults_;
    std::uint64_t more_faults_ = 0;
    bool sound_ = true; ///< nothing is wrong with the line at hand
    std::size_t text_ = 0;
    std::uint64_t line_ = 0;
    std::vector<std::size_t> order_; ///< which column stands where
    std::size_t used_columns_ = 0;
    std::string room_;
    std::vector<std::string_view> cells_;
    Open open_;
    Names names_;
    Names shorts_;
    std::set<std::string> standard_shorts_;
    std::set<std::string> standard_lines_;
    std::map<std::tuple<std::uint8_t, std::uint16_t, EcuName>, Where> row_lines_;
    std::map<std::pair<std::uint16_t, std::int16_t>, Where> code_lines_;
};

Result<Extension> read_extension(std::span<const ExtensionText> texts, std::vector<Fault>* faults) {
    return ExtensionReader(texts).read(faults);
}

Result<Extension> read_extension(std::string_view text, std::vector<Fault>* faults) {
    const ExtensionText one{{}, text};
    return read_extension({&one, 1}, faults);
}

} // namespace telltale::catalogue
