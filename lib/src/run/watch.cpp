// SPDX-License-Identifier: Apache-2.0
#include "telltale/run/watch.hpp"

#include <algorithm>

#include "telltale/base/hex.hpp"

namespace telltale::run {
namespace {

constexpr std::size_t max_picks = 1024;
constexpr std::size_t max_word = 200;
constexpr std::uint8_t local_identifiers = 0x21;

constexpr char lower(char c) {
    return c >= 'A' && c <= 'Z' ? static_cast<char>(c - 'A' + 'a') : c;
}

bool same(std::string_view a, std::string_view b) noexcept {
    return a.size() == b.size() && std::equal(a.begin(), a.end(), b.begin(),
                                              [](char x, char y) { return lower(x) == lower(y); });
}

std::string_view trim(std::string_view text) {
    constexpr std::string_view blank = " \t\r";
    while (!text.empty() && blank.find(text.front()) != std::string_view::npos)
        text.remove_prefix(1);
    while (!text.empty() && blank.find(text.back()) != std::string_view::npos)
        text.remove_suffix(1);
    return text;
}

bool all_hex(std::string_view text) {
    return !text.empty() &&
           std::all_of(text.begin(), text.end(), [](char c) { return hex_digit(c) != 0xFF; });
}

std::uint16_t hex_value(std::string_view text) {
    unsigned value = 0;
    for (const char c : text)
        value = value << 4 | hex_digit(c);
    return static_cast<std::uint16_t>(value);
}

/// "0C", "14.1" or "F40C.0": whether the text is an identifier, and which.
bool read_id(std::string_view text, Pick& pick) {
    const std::size_t dot = text.find('.');
    const std::string_view id = text.substr(0, dot);
    if ((id.size() != 2 && id.size() != 4) || !all_hex(id))
        return false;
    if (dot != std::string_view::npos) {
        const std::string_view index = text.substr(dot + 1);
        if (index.empty() || index.size() > 3 ||
            !std::all_of(index.begin(), index.end(), [](char c) { return c >= '0' && c <= '9'; }))
            return false;
        unsigned value = 0;
        for (const char c : index)
            value = value * 10 + static_cast<unsigned>(c - '0');
        if (value > 255)
            return false;
        pick.index = static_cast<std::uint8_t>(value);
    }
    pick.id = hex_value(id);
    return true;
}

Watch ready(const char* name, const char* about, std::initializer_list<std::uint16_t> ids) {
    Watch watch{name, about, {}};
    watch.picks.reserve(ids.size());
    for (const std::uint16_t id : ids) {
        Pick pick;
        pick.id = id;
        watch.picks.push_back(std::move(pick));
    }
    return watch;
}

} // namespace

bool Pick::fits(std::string_view ecu_text, std::uint8_t signal_service, std::uint16_t signal_id,
                std::uint8_t field, std::string_view key, std::string_view name) const noexcept {
    if (!ecu.empty() && !same(ecu, ecu_text))
        return false;
    if (index && *index != field)
        return false;
    if (service && *service != signal_service)
        return false;
    if (id) {
        if (!service && signal_service == local_identifiers)
            return false; // its identifiers look like PIDs
        const bool as_pid = *id <= 0xFF && (signal_id & 0xFF00) == 0xF400;
        return *id == (as_pid ? signal_id & 0xFF : signal_id);
    }
    return !word.empty() && (same(word, key) || same(word, name));
}

Result<Pick> parse_pick(std::string_view text) {
    text = trim(text);
    Pick pick;
    if (const std::size_t colon = text.find(':'); colon != std::string_view::npos) {
        const std::string_view ecu = trim(text.substr(0, colon));
        if ((ecu.size() == 3 || ecu.size() == 8) && all_hex(ecu)) {
            pick.ecu = std::string(ecu);
            text = trim(text.substr(colon + 1));
        }
    }
    for (const std::string_view service : {"01:", "21:", "22:"})
        if (text.substr(0, 3) == service) {
            pick.service = static_cast<std::uint8_t>(hex_value(service.substr(0, 2)));
            text = trim(text.substr(3));
        }
    if (text.empty() || text.size() > max_word)
        return fail(ErrorCode::bad_argument,
                    "a signal is named by its PID (0C), its short name (RPM) or its whole name");
    if (!read_id(text, pick))
        pick.word = std::string(text);
    return pick;
}

Result<std::vector<Pick>> parse_picks(std::string_view text) {
    std::vector<Pick> picks;
    while (true) {
        const std::size_t comma = text.find(',');
        auto pick = parse_pick(text.substr(0, comma));
        if (!pick)
            return tl::unexpected<Error>(std::move(pick.error()));
        if (picks.size() >= max_picks)
            return fail(ErrorCode::bad_argument, "too many signals are named");
        picks.push_back(std::move(*pick));
        if (comma == std::string_view::npos)
            return picks;
        text.remove_prefix(comma + 1);
    }
}

std::span<const Watch> ready_watches() {
    static const std::vector<Watch> watches{
        ready("air", "what the engine breathes and what lets it in",
              {0x0C, 0x0D, 0x04, 0x43, 0x10, 0x66, 0x0B, 0x87, 0x33, 0x0F, 0x68, 0x11,
               0x47, 0x45, 0x49, 0x4A, 0x4C, 0x5A, 0x2C, 0x2D, 0x69, 0x6F, 0x70, 0x71}),
        ready("fuel", "trims, pressure, mixture and what the oxygen sensors say of it",
              {0x0C, 0x04, 0x03, 0x06, 0x07, 0x08, 0x09, 0x14, 0x15, 0x16, 0x17, 0x18,
               0x19, 0x1A, 0x1B, 0x24, 0x25, 0x26, 0x27, 0x28, 0x29, 0x2A, 0x2B, 0x34,
               0x35, 0x36, 0x37, 0x38, 0x39, 0x3A, 0x3B, 0x44, 0x0A, 0x22, 0x23, 0x59,
               0x6D, 0x5D, 0x5E, 0x2E, 0x2F, 0x32, 0x52, 0x55, 0x56, 0x57, 0x58, 0x51}),
        ready("ignition", "timing and what it follows from",
              {0x0C, 0x0D, 0x04, 0x43, 0x0E, 0x0B, 0x10, 0x11, 0x05, 0x0F, 0x44, 0x42, 0x61, 0x62,
               0x63}),
        ready("exhaust", "oxygen sensors, recirculation, catalyst and what comes after it",
              {0x0C, 0x04, 0x14, 0x15, 0x18, 0x19, 0x24, 0x25, 0x34, 0x35, 0x2C, 0x2D, 0x69, 0x6B,
               0x3C, 0x3D, 0x3E, 0x3F, 0x73, 0x78, 0x79, 0x7A, 0x7B, 0x7C, 0x83, 0x84, 0x85, 0x86}),
        ready("charging", "module voltage and what loads the generator",
              {0x42, 0x0C, 0x0D, 0x04, 0x05, 0x46, 0x1F, 0x5B, 0x9A}),
        ready("temperatures", "everything that is measured in degrees",
              {0x05, 0x67, 0x0F, 0x68, 0x46, 0x5C, 0x3C, 0x3D, 0x3E, 0x3F, 0x6B, 0x75, 0x76, 0x77,
               0x78, 0x79, 0x7C, 0x84}),
    };
    return watches;
}

Result<Watch> parse_watch(std::string_view text) {
    Watch watch;
    std::uint64_t line_number = 0;
    std::size_t at = 0;
    if (text.substr(0, 3) == "\xEF\xBB\xBF")
        text.remove_prefix(3);
    while (at < text.size()) {
        const std::size_t stop = std::min(text.find('\n', at), text.size());
        std::string_view line = text.substr(at, stop - at);
        const Place place{at, ++line_number};
        at = stop + 1;
        line = trim(line.substr(0, line.find('#')));
        if (line.empty())
            continue;
        auto pick = parse_pick(line);
        if (!pick) {
            pick.error().place = place;
            return tl::unexpected<Error>(std::move(pick.error()));
        }
        if (watch.picks.size() >= max_picks)
            return fail(ErrorCode::bad_argument, "the list is too long", place);
        watch.picks.push_back(std::move(*pick));
    }
    if (watch.picks.empty())
        return fail(ErrorCode::bad_argument, "the list names no signal");
    return watch;
}

std::vector<std::size_t> select(const Run& run, std::span<const Pick> picks) {
    std::vector<std::size_t> chosen;
    chosen.reserve(run.series.size());
    std::vector<char> taken(run.series.size(), 0);
    for (const Pick& pick : picks)
        for (std::size_t i = 0; i < run.series.size(); ++i)
            if (taken[i] == 0 && pick.fits(run.series[i])) {
                taken[i] = 1;
                chosen.push_back(i);
            }
    if (picks.empty())
        for (std::size_t i = 0; i < run.series.size(); ++i)
            chosen.push_back(i);
    return chosen;
}

} // namespace telltale::run
