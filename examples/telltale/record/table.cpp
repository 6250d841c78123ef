// SPDX-License-Identifier: Apache-2.0
#include "table.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

#include "telltale/base/hex.hpp"
#include "telltale/base/number.hpp"
#include "telltale/base/text.hpp"

namespace telltale::program {

namespace {

constexpr float nothing = std::numeric_limits<float>::quiet_NaN();
constexpr Time count_step = nanoseconds_a_second / 2;

std::int64_t step_of(Time time, Time step) {
    return time / step;
}

bool continues(char c) {
    return (static_cast<unsigned char>(c) & 0xC0) == 0x80;
}
/// Characters of UTF-8 text; all that is shown here is one column wide.
std::size_t columns(std::string_view text) {
    return static_cast<std::size_t>(
        std::count_if(text.begin(), text.end(), [](char c) { return !continues(c); }));
}
/// The text in exactly `width` columns, cut or filled.
void append_column(std::string& out, std::string_view text, std::size_t width, bool right = false) {
    const std::size_t have = columns(text);
    if (have > width) {
        std::size_t end = 0;
        for (std::size_t n = 0; end < text.size(); ++end)
            if (!continues(text[end]) && n++ == width)
                break;
        out += text.substr(0, end);
        return;
    }
    if (right)
        out.append(width - have, ' ');
    out += text;
    if (!right)
        out.append(width - have, ' ');
}

std::string clock_text(Time elapsed) {
    const auto seconds = std::max<Time>(elapsed, 0) / nanoseconds_a_second;
    std::string out;
    const auto two = [&](Time n) {
        if (n < 10)
            out += '0';
        append_integer(out, std::int64_t{n});
    };
    two(seconds / 3600);
    out += ':';
    two(seconds / 60 % 60);
    out += ':';
    two(seconds % 60);
    return out;
}

std::string size_text(std::uint64_t bytes) {
    std::string out;
    if (bytes < 1'000'000) {
        append_integer(out, bytes / 1000);
        return out + " kB";
    }
    append_number(out, static_cast<double>(bytes) / 1e6, 1);
    return out + " MB";
}

/// The newest `width` steps of a row's course, between their least and most.
void append_trace(std::string& out, const Table::Row& row, std::size_t width, Time now,
                  bool blocks) {
    static constexpr const char* block[] = {"▁", "▂", "▃", "▄", "▅", "▆", "▇", "█"};
    static constexpr const char* plain[] = {"_", ".", ":", "-", "=", "+", "*", "#"};
    const auto newest = step_of(now, Table::trace_step);
    const auto at = [&](std::size_t column) {
        const std::int64_t step = newest - static_cast<std::int64_t>(width - 1 - column);
        if (step > row.trace_at || row.trace_at - step >= std::int64_t{Table::trace_steps} ||
            step < 0)
            return nothing;
        return row.trace[static_cast<std::size_t>(step) % Table::trace_steps];
    };
    float low = std::numeric_limits<float>::infinity();
    float high = -low;
    for (std::size_t i = 0; i < width; ++i)
        if (const float value = at(i); !std::isnan(value)) {
            low = std::min(low, value);
            high = std::max(high, value);
        }
    for (std::size_t i = 0; i < width; ++i) {
        const float value = at(i);
        if (std::isnan(value)) {
            out += ' ';
            continue;
        }
        const float part = high > low ? (value - low) / (high - low) : 0.0F;
        const auto level = static_cast<std::size_t>(std::clamp(part * 7.99F, 0.0F, 7.0F));
        out += blocks ? block[level] : plain[level];
    }
}

constexpr Time stale_after = 3 * nanoseconds_a_second;

} // namespace

std::string value_text(const Table::Row& row, double value) {
    std::string out;
    append_number(out, row.shown(value), row.shown.decimals);
    return out;
}

double Table::rate(const Row& row, Time now) {
    // The latest whole half seconds, of those that are remembered.
    const auto newest = step_of(now, count_step);
    const auto last = step_of(row.time, count_step);
    unsigned sum = 0;
    constexpr std::int64_t spans = 6;
    for (std::int64_t step = newest - spans; step < newest; ++step)
        if (step <= last && last - step < 8)
            sum += row.counts[static_cast<std::size_t>(step & 7)];
    return sum * 2.0 / spans;
}

bool Table::begin(const message::Said& said) {
    return said.header.kind == message::Kind::response &&
           (said.header.service == 0x01 || said.header.service == 0x21 ||
            said.header.service == 0x22);
}

void Table::value(const message::Said& said, const message::Value& value) {
    if (value.frame || (wanted && !wanted(said, value)))
        return;
    // Support bitmaps are no values to look at.
    const auto id = static_cast<std::uint8_t>(value.id);
    const bool own =
        said.header.service == 0x21 || (said.header.service == 0x22 && value.id < 0xF400);
    if (!wanted && !own && (id & 0x1F) == 0)
        return;
    const auto key = Key(said.has_id ? said.id.value : 0U, value.kind != message::ValueKind::number,
                         said.header.service, value.id, value.index);
    auto place = places_.find(key);
    if (place == places_.end()) {
        if (rows_.size() == most_rows)
            return;
        Row row;
        row.ecu = said.id;
        row.has_ecu = said.has_id;
        row.id = value.id;
        row.index = value.index;
        append_plain(row.name, value.name);
        row.is_number = value.kind == message::ValueKind::number;
        // Views of the field's own unit: whoever made the stream keeps its extension.
        const char* unit = value.field == nullptr ? nullptr : value.field->own_unit;
        row.shown =
            shown(value.unit, value.step, value.decimals, units, unit == nullptr ? "" : unit);
        row.least = row.most = value.number;
        row.trace.fill(nothing);
        const auto at = places_.emplace(key, 0).first;
        const auto index = static_cast<std::size_t>(std::distance(places_.begin(), at));
        rows_.insert(rows_.begin() + static_cast<std::ptrdiff_t>(index), std::move(row));
        std::size_t number = 0;
        for (auto& [each, position] : places_)
            position = number++;
        place = at;
    }
    Row& row = rows_[place->second];
    const Time time = said.end_time != no_time ? said.end_time : said.time;
    row.text.clear();
    if (value.kind == message::ValueKind::text)
        append_plain(row.text, value.text);
    row.value = value.number;
    row.least = std::min(row.least, value.number);
    row.most = std::max(row.most, value.number);
    const auto step = std::max<std::int64_t>(step_of(time, trace_step), row.trace_at);
    if (step - row.trace_at >= std::int64_t{trace_steps})
        row.trace.fill(nothing);
    else
        for (auto each = row.trace_at + 1; each <= step; ++each)
            row.trace[static_cast<std::size_t>(each) % trace_steps] = nothing;
    row.trace_at = step;
    row.trace[static_cast<std::size_t>(step) % trace_steps] =
        row.is_number ? static_cast<float>(value.number) : static_cast<float>(value.raw);
    const auto now_count = step_of(time, count_step);
    const auto last_count = row.time == no_time ? now_count - 8 : step_of(row.time, count_step);
    for (auto each = std::max(last_count + 1, now_count - 7); each <= now_count; ++each)
        row.counts[static_cast<std::size_t>(each & 7)] = 0;
    ++row.counts[static_cast<std::size_t>(now_count & 7)];
    row.time = std::max(row.time, time);
    ++row.samples;
}

std::vector<std::string> notice() {
    return {
        "Before you drive off",
        "",
        "The driver drives. A helper sits beside, looks at this screen and presses the keys.",
        "Nobody who drives reads it, or touches it, while the vehicle moves.",
        "Lay cables so that they are clear of pedals, steering and hot or turning parts.",
        "Keep to the maker's service information and to the rules of the road.",
        "",
        "Recording has begun. Press any key to go on.",
    };
}

std::vector<Line> draw(const Table& table, const Scene& scene, std::size_t width,
                       std::size_t height, std::size_t& top, Time now, bool blocks) {
    std::vector<Line> lines;
    if (width < 20 || height < 4) {
        for (std::size_t i = 0; i < height; ++i) {
            Line line;
            append_column(line.text, i == 0 ? "window too small" : "", width);
            lines.push_back(std::move(line));
        }
        return lines;
    }
    const auto add = [&](std::string_view text, Line::Look look) {
        Line line;
        line.look = look;
        append_column(line.text, text, width);
        lines.push_back(std::move(line));
    };

    std::string head = " " + clock_text(scene.elapsed) + "  " + scene.link + "  ";
    std::string numbers;
    append_integer(numbers, scene.frames);
    numbers += " frames ";
    append_integer(numbers, static_cast<std::uint64_t>(scene.frames_a_second + 0.5));
    numbers += "/s";
    if (scene.lost != 0) {
        numbers += "  LOST ";
        append_integer(numbers, scene.lost);
    }
    numbers += "  marks ";
    append_integer(numbers, scene.marks);
    numbers += ' ';
    const std::size_t room = width > columns(numbers) ? width - columns(numbers) : 0;
    std::string first;
    append_column(first, head, room);
    add(first + numbers, Line::Look::head);
    add(" " + scene.state,
        scene.trouble || scene.lost != 0 ? Line::Look::trouble : Line::Look::plain);

    // Name and trace take what a wider window has to give.
    const std::size_t spare = width > 80 ? width - 80 : 0;
    const std::size_t trace_width = std::min<std::size_t>(8 + spare / 2, Table::trace_steps);
    constexpr std::size_t numbers_width =
        5 + 11 + 8 + 10 + 10 + 7; // ecu value unit least most rate
    const std::size_t fixed = numbers_width + trace_width + 2;
    const std::size_t name_width = width > fixed + 4 ? width - fixed : 4;
    const auto row_line = [&](std::string_view name, std::string_view ecu, std::string_view value,
                              std::string_view unit, std::string_view least, std::string_view most,
                              std::string_view trace, std::string_view rate) {
        std::string text;
        append_column(text, ecu, 4);
        text += ' ';
        append_column(text, name, name_width);
        text += ' ';
        append_column(text, value, 9, true);
        text += ' ';
        append_column(text, unit, 6);
        text += ' ';
        append_column(text, least, 8, true);
        text += ' ';
        append_column(text, most, 8, true);
        text += ' ';
        text += trace;
        text += ' ';
        append_column(text, rate, 5, true);
        return text;
    };
    std::string trace_head;
    append_column(trace_head, "course", trace_width);
    add(row_line("value of", "ECU", "now", "unit", "least", "most", trace_head, "a s."),
        Line::Look::head);

    if (scene.notice) {
        const auto sentences = notice();
        std::vector<std::string> wrapped;
        for (const auto& sentence : sentences) {
            std::string_view rest = sentence;
            do {
                std::size_t end = rest.size();
                if (end > width - 4) {
                    end = rest.rfind(' ', width - 4);
                    if (end == std::string_view::npos || end == 0)
                        end = width - 4;
                }
                wrapped.emplace_back(rest.substr(0, end));
                rest.remove_prefix(std::min(rest.size(), end + 1));
            } while (!rest.empty());
        }
        for (std::size_t i = 0; lines.size() + 1 < height; ++i)
            add(i != 0 && i - 1 < wrapped.size() ? "  " + wrapped[i - 1] : "", Line::Look::notice);
    } else {
        const std::size_t fits = height - 4;
        const auto& rows = table.rows();
        top = std::min(top, rows.size() > fits ? rows.size() - fits : 0);
        for (std::size_t i = 0; i < fits; ++i) {
            if (top + i >= rows.size()) {
                add("", Line::Look::plain);
                continue;
            }
            const auto& row = rows[top + i];
            std::string ecu;
            if (row.has_ecu)
                append_hex(ecu, row.ecu.extended ? row.ecu.value & 0xFF : row.ecu.value,
                           row.ecu.extended ? 2 : 3);
            std::string trace;
            append_trace(trace, row, trace_width, now, blocks);
            std::string rate;
            append_number(rate, Table::rate(row, now), 1);
            std::string value = row.is_number ? value_text(row, row.value) : row.text;
            // What does not come any more must not pass for a value of now.
            if (now - row.time > stale_after)
                value = "--";
            if (!row.is_number) {
                // A state may need the columns that it has no use for.
                std::string text;
                append_column(text, ecu, 4);
                text += ' ';
                append_column(text, row.name, name_width);
                text += "  ";
                append_column(text, value, 33);
                text += ' ' + trace + ' ';
                append_column(text, rate, 5, true);
                add(text, Line::Look::plain);
                continue;
            }
            add(row_line(row.name, ecu, value, row.shown.text, value_text(row, row.least),
                         value_text(row, row.most), trace, rate),
                Line::Look::plain);
        }
    }
    std::string foot =
        " space: mark   q: end   arrows: scroll   " + scene.file + "  " + size_text(scene.bytes);
    add(foot, Line::Look::head);
    return lines;
}

} // namespace telltale::program
