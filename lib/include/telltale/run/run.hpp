// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <cstddef>
#include <cstdint>
#include <memory>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "telltale/base/export.hpp"
#include "telltale/base/function_ref.hpp"
#include "telltale/base/result.hpp"
#include "telltale/base/time.hpp"
#include "telltale/base/units.hpp"
#include "telltale/message/stream.hpp"

/// Values over time, as a drive gave them: irregular, signal by signal, with their gaps.
namespace telltale::run {

/// The values of a series, four bytes each as long as that loses nothing at the decimals that are
/// shown, eight from the first value on for which it would.
class TELLTALE_API Values {
  public:
    explicit Values(std::uint8_t decimals = 0) : decimals_(decimals) {}
    void push_back(double value);
    double operator[](std::size_t i) const { return wide_.empty() ? double{narrow_[i]} : wide_[i]; }
    std::size_t size() const { return wide_.empty() ? narrow_.size() : wide_.size(); }
    bool empty() const { return size() == 0; }
    double back() const { return (*this)[size() - 1]; }
    void shrink();
    /// The values in another order: place i gets what stands at order[i].
    void reorder(std::span<const std::uint32_t> order);

  private:
    std::vector<float> narrow_;
    std::vector<double> wide_;
    std::uint8_t decimals_;
};

enum class SeriesKind : std::uint8_t {
    number, ///< a scaled number
    choice, ///< a state: the value is the raw number, `labels` says what it means
};

/// What a value of a choice means.
struct Label {
    std::int64_t value = 0;
    std::string text; ///< untrusted
};

/// One signal of one ECU over time. `times` ascend; `values` has as many places.
struct TELLTALE_API Series {
    std::string line; ///< interface name; empty where the dump gives none (untrusted)
    std::string ecu;  ///< CAN identifier of the responses as hex (7E8, 18DAF110); empty without one
    std::uint8_t service = 1; ///< service asked for: 01, 21 or 22
    std::uint16_t id = 0;     ///< PID, local identifier or data identifier
    std::uint8_t index = 0;   ///< the field's place in its row
    std::string name;         ///< the field's whole name
    std::string key;          ///< SAE's short name, or empty
    Unit unit = Unit::none;
    std::string own_unit; ///< "{mm3/stroke}": a unit that is none of `Unit`, or empty
    SeriesKind kind = SeriesKind::number;
    double step = 0; ///< size of one raw step in `unit`; 0 where unknown
    std::uint8_t decimals = 0;
    bool has_ends = false; ///< `low` and `high` are known
    double low = 0;        ///< the values at the two ends of the raw range, low < high
    double high = 0;
    std::vector<Label> labels;
    std::vector<Time> times;
    Values values;

    std::size_t size() const { return times.size(); }
    /// Adds a sample. Returns false, and adds nothing, when the value is not finite or the time is
    /// `no_time`. A time before the last one is allowed until `Run::settle`.
    bool add(Time time, double value);
    /// The text of a choice's value, or empty.
    std::string_view label(double value) const noexcept;
    /// "0C", or "F40C" for service 22.
    std::string id_text() const;
};

/// A moment that somebody pointed at.
struct Mark {
    Time time = no_time;
    std::string text; ///< untrusted
};

/// One recorded drive.
struct TELLTALE_API Run {
    std::string name; ///< where it came from, for messages (untrusted)
    std::vector<Series> series;
    std::vector<Mark> marks;
    Time start = no_time;         ///< of the first sample; `no_time` when there is none
    Time end = no_time;           ///< of the last sample
    std::uint64_t untimed = 0;    ///< values left out because the dump gave no time
    std::uint64_t disordered = 0; ///< samples that came with a time before their predecessor's
    std::uint64_t over_bound = 0; ///< values left out because a bound was reached
    std::uint64_t problems = 0;   ///< damaged frames and messages met on the way

    /// Puts samples and marks in the order of their times and sets `start` and `end`. To be called
    /// once after samples were added by hand; RunBuilder and `load` have done it.
    void settle();
    /// Seconds from `start`; 0 for an empty run.
    double seconds(Time time) const;
    double length() const { return seconds(end); }
};

/// The usual time between two samples of a series (the median), and the longest time for which a
/// sample still says anything: four times the median, and at least 0.25 s. Zero for fewer than two
/// samples.
struct Pace {
    Time interval = 0;
    Time limit = 0;
};
TELLTALE_API Pace pace(const Series& series);

struct RunOptions {
    std::size_t max_series = 4096;
    std::size_t max_samples = 100'000'000; ///< in all series together
    std::size_t max_marks = 10'000;
};

/// Gathers a run out of what a message::Stream tells: the numbers and states of service 01, of
/// service 22 where it carries them (SAE J1979-2), and those of an extension in 21 and 22.
class TELLTALE_API RunBuilder : public message::Listener {
  public:
    explicit RunBuilder(const RunOptions& options = {});
    RunBuilder(RunBuilder&&) noexcept;
    RunBuilder& operator=(RunBuilder&&) noexcept;
    ~RunBuilder() override;

    bool begin(const message::Said& said) override;
    void value(const message::Said& said, const message::Value& value) override;
    void dtc(const message::Said& said, message::Dtc code) override;
    void message_problem(const message::Said& said, const Problem& problem) override;
    void end(const message::Said& said) override;
    void problem(const Problem& problem, const message::Said& about) override;

    /// A comment that the dump keeps with a moment.
    void mark(Time time, std::string_view text);
    /// Ends the run. `line_name` names an interface by its index (dump::Reader::line_name).
    Run finish(FunctionRef<std::string_view(std::uint16_t)> line_name);

  private:
    class Impl;
    std::unique_ptr<Impl> impl_;
};

/// Adds the marks of a text file: a line each, seconds from the start of the run (or, after an @,
/// the time as the dump has it, in seconds), then the text. Empty lines and lines that start with #
/// are passed over. Errors: `bad_argument` with the line.
TELLTALE_API Result<void> add_marks(Run& run, std::string_view text);

} // namespace telltale::run
