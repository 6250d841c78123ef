// SPDX-License-Identifier: Apache-2.0
// The lines are judged one after the other and the first that decides wins, so that more text
// behind it changes nothing: a pipe that comes in pieces has the format that a file has.
#include "text_reader.hpp"

namespace telltale::dump {

namespace {

struct Form {
    Format format;
    bool (*fits)(std::string_view line);
};

/// Forms that nothing else looks like.
constexpr Form forms[] = {
    {Format::can_log, fits_can_log},       {Format::can_columns, fits_can_columns},
    {Format::can_serial, fits_can_serial}, {Format::line_text, fits_line_text},
    {Format::csv, fits_csv_header},
};

} // namespace

Format detect_text(Bytes head, bool whole) {
    constexpr std::string_view mark = "\xEF\xBB\xBF";
    std::string_view rest(reinterpret_cast<const char*>(head.data()), head.size());
    if (rest.substr(0, mark.size()) == mark)
        rest.remove_prefix(mark.size());
    std::size_t lines = 0;
    std::size_t hex_lines = 0;
    while (!rest.empty()) {
        const auto end = rest.find_first_of("\r\n\a");
        if (end == std::string_view::npos && !whole)
            break; // the rest of this line is still to come
        const auto line = trim(rest.substr(0, end));
        rest.remove_prefix(end == std::string_view::npos ? rest.size() : end + 1);
        if (says_nothing(line))
            continue;
        for (const auto& form : forms)
            if (form.fits(line))
                return form.format;
        // Words such as "dead" or "face" are hex as well: of the lines so far, one in four must be.
        ++lines;
        hex_lines += fits_hex(line) ? 1U : 0U;
        if (hex_lines != 0 && hex_lines * 4 >= lines)
            return Format::hex;
    }
    return Format::unknown;
}

} // namespace telltale::dump
