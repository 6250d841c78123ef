// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <array>
#include <cstdint>
#include <functional>
#include <map>
#include <string>
#include <string_view>
#include <tuple>
#include <vector>

#include "telltale/base/shown.hpp"
#include "telltale/message/stream.hpp"

namespace telltale::program {

/// The newest values of a line, for looking at: each with its least and most, a small trace of its
/// course and how often it comes.
class Table final : public message::Listener {
  public:
    static constexpr std::size_t most_rows = 1024;
    static constexpr std::size_t trace_steps = 48;
    static constexpr Time trace_step = nanoseconds_a_second / 2;

    struct Row {
        CanId ecu;
        bool has_ecu = false;
        std::uint16_t id = 0;
        std::uint8_t index = 0;
        std::string name; ///< made fit for a terminal
        Shown shown;      ///< how its numbers are shown
        bool is_number = true;
        double value = 0;
        double least = 0;
        double most = 0;
        std::string text;
        Time time = no_time;
        std::uint64_t samples = 0;
        std::array<float, trace_steps> trace{}; ///< newest value of each step; NaN: none
        std::int64_t trace_at = 0;              ///< number of the newest step
        std::array<std::uint16_t, 8> counts{};  ///< samples in each of the latest half seconds
    };

    /// Which values are shown; empty: all of service 01 (and its like in 22), and an extension's.
    std::function<bool(const message::Said&, const message::Value&)> wanted;
    UnitSystem units = UnitSystem::si;

    const std::vector<Row>& rows() const { return rows_; }
    /// Samples a second, over the latest seconds before `now`.
    static double rate(const Row& row, Time now);

    bool begin(const message::Said& said) override;
    void value(const message::Said& said, const message::Value& value) override;
    void dtc(const message::Said&, message::Dtc) override {}
    void message_problem(const message::Said&, const Problem&) override { ++problems_; }
    void end(const message::Said&) override {}
    void problem(const Problem&, const message::Said&) override { ++problems_; }
    std::uint64_t problems() const { return problems_; }

  private:
    /// ECU, numbers before states, service, identifier, field: in this order they are shown.
    using Key = std::tuple<std::uint32_t, bool, std::uint8_t, std::uint16_t, std::uint8_t>;
    std::vector<Row> rows_; ///< in the order of their keys
    std::map<Key, std::size_t> places_;
    std::uint64_t problems_ = 0;
};

/// What stands above and below the table.
struct Scene {
    std::string link;
    std::string file;
    std::string state; ///< "looking for the vehicle", "recording", why the line is down
    bool trouble = false;
    Time elapsed = 0;
    std::uint64_t frames = 0;
    double frames_a_second = 0;
    std::uint64_t lost = 0;
    std::uint64_t marks = 0;
    std::uint64_t bytes = 0;
    bool notice = false; ///< show what is to be known before a drive
};

/// One line of the picture, exactly as wide as asked.
struct Line {
    std::string text; ///< UTF-8 where `blocks`, else ASCII
    enum class Look : std::uint8_t { plain, head, trouble, notice } look = Look::plain;
};

/// The picture for a terminal of this size; `top` is the first row shown, made to fit.
/// `blocks`: the trace may be drawn in block characters.
std::vector<Line> draw(const Table& table, const Scene& scene, std::size_t width,
                       std::size_t height, std::size_t& top, Time now, bool blocks);

/// The safety notice, a sentence a line.
std::vector<std::string> notice();

/// A value as the table shows it.
std::string value_text(const Table::Row& row, double value);

} // namespace telltale::program
