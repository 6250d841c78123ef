// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <memory>
#include <string>
#include <string_view>
#include <vector>

#include "telltale/dump/reader.hpp"
#include "window.hpp"

namespace telltale::dump {

/// What all format readers share.
struct ReadState {
    explicit ReadState(std::unique_ptr<Source> source) : window(std::move(source)) {}

    static constexpr std::size_t max_lines = 256;
    static constexpr std::size_t max_line_name = 64;

    Window window;
    const CanFilter* filter = nullptr;
    Counts counts;
    std::vector<std::string> lines; ///< interface names; the index is `Record::line`
    Time last_time = no_time;       ///< of the latest frame, for `time_backwards`

    bool wanted(CanId id) const { return filter == nullptr || filter->passes(id); }

    /// The index of an interface by its name, added when it is new. When there is no room, or the
    /// name is longer than `max_line_name`, false: the caller reports `too_many_lines` once and
    /// uses the index given.
    bool line_index(std::string_view name, std::uint16_t& index) {
        if (!lines.empty() && lines[latest] == name) { // the usual case: the same as before
            index = static_cast<std::uint16_t>(latest);
            return true;
        }
        for (std::size_t i = 0; i < lines.size(); ++i)
            if (lines[i] == name) {
                latest = i;
                index = static_cast<std::uint16_t>(i);
                return true;
            }
        if (lines.size() == max_lines || name.size() > max_line_name) {
            index = static_cast<std::uint16_t>(lines.empty() ? 0 : lines.size() - 1);
            return false;
        }
        latest = lines.size();
        lines.emplace_back(name);
        index = static_cast<std::uint16_t>(latest);
        return true;
    }

  private:
    std::size_t latest = 0;
};

/// One format's reader: consumes the window of the state it is given.
class FormatReader {
  public:
    virtual ~FormatReader() = default;
    virtual Step next(ReadState& state, Record& record, Problem& problem) = 0;
};

// The readers, one a file.
std::unique_ptr<FormatReader> make_pcap_reader();
std::unique_ptr<FormatReader> make_pcapng_reader();
std::unique_ptr<FormatReader> make_can_log_reader();
std::unique_ptr<FormatReader> make_can_columns_reader();
std::unique_ptr<FormatReader> make_can_serial_reader();
std::unique_ptr<FormatReader> make_csv_reader();
std::unique_ptr<FormatReader> make_hex_reader();
std::unique_ptr<FormatReader> make_line_text_reader();

/// Finds the format of text by its first lines (a byte-order mark, comments and rubbish before the
/// first line that fits do not matter); `unknown` when nothing fits.
Format detect_text(Bytes head, bool whole);

} // namespace telltale::dump
