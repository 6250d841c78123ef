// SPDX-License-Identifier: Apache-2.0
#include "telltale/run/run.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <numeric>
#include <unordered_map>

#include "base/chars.hpp"
#include "telltale/base/hex.hpp"
#include "telltale/catalogue/field.hpp"

namespace telltale::run {
namespace {

constexpr std::size_t max_labels = 256;
constexpr std::size_t max_mark_text = 4096;

/// Doubling would leave half of a long drive's memory unused.
template <class T> void push(std::vector<T>& to, T value) {
    if (to.size() == to.capacity())
        to.reserve(to.size() + std::max<std::size_t>(64, to.size() / 4));
    to.push_back(value);
}

template <class T> void permute(std::vector<T>& values, std::span<const std::uint32_t> order) {
    if (values.empty())
        return;
    std::vector<T> next;
    next.reserve(order.size());
    for (const std::uint32_t from : order)
        next.push_back(values[from]);
    values.swap(next);
}

} // namespace

void Values::push_back(double value) {
    if (wide_.empty()) {
        static constexpr std::array<double, 7> tenth{1, 1e-1, 1e-2, 1e-3, 1e-4, 1e-5, 1e-6};
        const auto narrow = static_cast<float>(value);
        const double shown = tenth[std::min<std::size_t>(decimals_, tenth.size() - 1)];
        if (std::abs(double{narrow} - value) <= 0.02 * shown) {
            push(narrow_, narrow);
            return;
        }
        wide_.reserve(narrow_.size() + 64);
        wide_.assign(narrow_.begin(), narrow_.end());
        narrow_ = {};
    }
    push(wide_, value);
}

void Values::shrink() {
    narrow_.shrink_to_fit();
    wide_.shrink_to_fit();
}

void Values::reorder(std::span<const std::uint32_t> order) {
    permute(narrow_, order);
    permute(wide_, order);
}

bool Series::add(Time time, double value) {
    if (time == no_time || !std::isfinite(value))
        return false;
    push(times, time);
    values.push_back(value);
    return true;
}

std::string_view Series::label(double value) const noexcept {
    for (const Label& label : labels)
        if (static_cast<double>(label.value) == value)
            return label.text;
    return {};
}

std::string Series::id_text() const {
    std::string text;
    append_hex(text, id, id > 0xFF ? 4 : 2);
    return text;
}

void Run::settle() {
    start = end = no_time;
    for (Series& one : series) {
        if (!std::is_sorted(one.times.begin(), one.times.end())) {
            for (std::size_t i = 1; i < one.times.size(); ++i)
                disordered += one.times[i] < one.times[i - 1] ? 1 : 0;
            std::vector<std::uint32_t> order(one.times.size());
            std::iota(order.begin(), order.end(), 0U);
            std::stable_sort(order.begin(), order.end(), [&](std::uint32_t a, std::uint32_t b) {
                return one.times[a] < one.times[b];
            });
            permute(one.times, std::span<const std::uint32_t>(order));
            one.values.reorder(order);
        }
        one.times.shrink_to_fit();
        one.values.shrink();
        if (one.times.empty())
            continue;
        start = start == no_time ? one.times.front() : std::min(start, one.times.front());
        end = end == no_time ? one.times.back() : std::max(end, one.times.back());
    }
    std::stable_sort(marks.begin(), marks.end(),
                     [](const Mark& a, const Mark& b) { return a.time < b.time; });
}

double Run::seconds(Time time) const {
    if (start == no_time || time == no_time)
        return 0;
    // Modular, because the times of a hostile dump may lie further apart than 63 bits hold.
    const auto forward = static_cast<std::uint64_t>(time) - static_cast<std::uint64_t>(start);
    return time >= start ? static_cast<double>(forward) / 1e9
                         : -static_cast<double>(std::uint64_t{0} - forward) / 1e9;
}

Pace pace(const Series& series) {
    if (series.times.size() < 2)
        return {};
    constexpr std::size_t enough = 4096;
    const std::size_t intervals = series.times.size() - 1;
    const std::size_t stride = std::max<std::size_t>(1, intervals / enough);
    std::vector<double> between;
    between.reserve(intervals / stride + 1);
    for (std::size_t i = 1; i <= intervals; i += stride)
        between.push_back(static_cast<double>(series.times[i]) -
                          static_cast<double>(series.times[i - 1]));
    const auto middle = between.begin() + static_cast<std::ptrdiff_t>(between.size() / 2);
    std::nth_element(between.begin(), middle, between.end());
    const double interval = std::min(*middle, 1e18);
    return {static_cast<Time>(interval), static_cast<Time>(std::max(4 * interval, 0.25e9))};
}

// ---------------------------------------------------------------------------------------------

class RunBuilder::Impl {
  public:
    explicit Impl(const RunOptions& options) : options_(options) {}

    void value(const message::Said& said, const message::Value& value) {
        const bool choice = value.kind == message::ValueKind::text && value.field != nullptr &&
                            value.field->kind == catalogue::Kind::choice;
        if (value.kind != message::ValueKind::number && !choice)
            return;
        if (said.time == no_time) {
            ++run_.untimed;
            return;
        }
        Series* const series = find(said, value, choice);
        if (series == nullptr || samples_ >= options_.max_samples) {
            ++run_.over_bound;
            return;
        }
        if (choice)
            remember(*series, value);
        else if (value.step != series->step)
            scaling(*series, value);
        if (series->add(said.time, choice ? static_cast<double>(value.raw) : value.number))
            ++samples_;
    }

    void mark(Time time, std::string_view text) {
        if (time == no_time)
            return;
        if (run_.marks.size() >= options_.max_marks) {
            ++run_.over_bound;
            return;
        }
        run_.marks.push_back({time, std::string(text.substr(0, max_mark_text))});
    }

    void damaged() { ++run_.problems; }

    Run finish(FunctionRef<std::string_view(std::uint16_t)> line_name) {
        for (std::size_t i = 0; i < run_.series.size(); ++i)
            if (lines_[i].known)
                run_.series[i].line = std::string(line_name(lines_[i].line));
        places_.clear();
        run_.settle();
        return std::move(run_);
    }

  private:
    struct Key {
        std::uint64_t who;
        std::uint64_t what;
        bool operator==(const Key&) const = default;
    };
    struct Hash {
        std::size_t operator()(const Key& key) const {
            const std::uint64_t mixed =
                (key.who * 0x9E3779B97F4A7C15U ^ key.what) * 0xC2B2AE3D27D4EB4FU;
            return static_cast<std::size_t>(mixed ^ mixed >> 29);
        }
    };
    struct Line {
        bool known;
        std::uint16_t line;
    };

    Series* find(const message::Said& said, const message::Value& value, bool choice) {
        const Key key{
            (said.has_id
                 ? std::uint64_t{1} << 63 | std::uint64_t{said.id.extended} << 62 | said.id.value
                 : 0) ^
                (said.has_line ? std::uint64_t{1} << 61 | std::uint64_t{said.line} << 32 : 0),
            std::uint64_t{said.header.service} << 32 | std::uint64_t{value.id} << 16 |
                std::uint64_t{value.index} << 8 | (choice ? 1U : 0U)};
        if (const auto found = places_.find(key); found != places_.end())
            return &run_.series[found->second];
        if (run_.series.size() >= options_.max_series)
            return nullptr;
        places_.emplace(key, run_.series.size());
        Series& made = run_.series.emplace_back();
        lines_.push_back({said.has_line, said.line});
        if (said.has_id)
            append_can_id(made.ecu, said.id);
        made.service = said.header.service;
        made.id = value.id;
        made.index = value.index;
        made.name = std::string(value.name);
        made.key = std::string(value.key);
        made.unit = value.unit;
        made.own_unit = std::string(value.own_unit);
        made.kind = choice ? SeriesKind::choice : SeriesKind::number;
        made.decimals = value.decimals;
        made.values = Values(value.decimals);
        if (!choice)
            scaling(made, value);
        return &made;
    }

    /// The step and the ends of the raw range, with whatever scaling the value came with.
    static void scaling(Series& series, const message::Value& value) {
        series.step = value.step;
        series.has_ends = false;
        if (value.field == nullptr || value.step == 0)
            return;
        const unsigned width = value.field->width();
        if (width == 0 || width > 32)
            return;
        const double span = static_cast<double>(std::uint64_t{1} << width);
        const double first = value.field->is_signed ? -span / 2 : 0;
        const double raw = static_cast<double>(value.raw);
        const double a = value.number + (first - raw) * value.step;
        const double b = value.number + (first + span - 1 - raw) * value.step;
        series.low = std::min(a, b);
        series.high = std::max(a, b);
        series.has_ends = true;
    }

    static void remember(Series& series, const message::Value& value) {
        if (!series.values.empty() && series.values.back() == static_cast<double>(value.raw))
            return;
        for (const Label& label : series.labels)
            if (label.value == value.raw)
                return;
        if (series.labels.size() < max_labels)
            series.labels.push_back({value.raw, std::string(value.text)});
    }

    RunOptions options_;
    Run run_;
    std::vector<Line> lines_;
    std::unordered_map<Key, std::size_t, Hash> places_;
    std::size_t samples_ = 0;
};

RunBuilder::RunBuilder(const RunOptions& options) : impl_(std::make_unique<Impl>(options)) {}
RunBuilder::RunBuilder(RunBuilder&&) noexcept = default;
RunBuilder& RunBuilder::operator=(RunBuilder&&) noexcept = default;
RunBuilder::~RunBuilder() = default;

bool RunBuilder::begin(const message::Said& said) {
    return said.header.kind == message::Kind::response &&
           (said.header.service == 0x01 || said.header.service == 0x21 ||
            said.header.service == 0x22);
}
void RunBuilder::value(const message::Said& said, const message::Value& value) {
    impl_->value(said, value);
}
void RunBuilder::dtc(const message::Said&, message::Dtc) {}
void RunBuilder::message_problem(const message::Said&, const Problem&) {
    impl_->damaged();
}
void RunBuilder::end(const message::Said&) {}
void RunBuilder::problem(const Problem&, const message::Said&) {
    impl_->damaged();
}
void RunBuilder::mark(Time time, std::string_view text) {
    impl_->mark(time, text);
}
Run RunBuilder::finish(FunctionRef<std::string_view(std::uint16_t)> line_name) {
    return impl_->finish(line_name);
}

// ---------------------------------------------------------------------------------------------

Result<void> add_marks(Run& run, std::string_view text) {
    std::uint64_t line_number = 0;
    std::size_t at = 0;
    std::vector<Mark> found;
    while (at < text.size()) {
        const std::size_t stop = std::min(text.find('\n', at), text.size());
        std::string_view line = text.substr(at, stop - at);
        const Place place{at, ++line_number};
        at = stop + 1;
        while (!line.empty() && (line.back() == '\r' || line.back() == ' ' || line.back() == '\t'))
            line.remove_suffix(1);
        while (!line.empty() && (line.front() == ' ' || line.front() == '\t'))
            line.remove_prefix(1);
        if (line.empty() || line.front() == '#')
            continue;
        const bool absolute = line.front() == '@';
        if (absolute)
            line.remove_prefix(1);
        double seconds = 0;
        const char* const rest = chars::read(line.data(), line.data() + line.size(), seconds);
        const bool ends = rest == line.data() + line.size() || *rest == ' ' || *rest == '\t';
        if (rest == line.data() || !ends || !(std::abs(seconds) < 9e9))
            return fail(ErrorCode::bad_argument,
                        "a mark starts with its time in seconds, as in: 73.5 bucked here", place);
        if (found.size() >= RunOptions{}.max_marks)
            return fail(ErrorCode::bad_argument, "too many marks", place);
        line.remove_prefix(static_cast<std::size_t>(rest - line.data()));
        while (!line.empty() && (line.front() == ' ' || line.front() == '\t'))
            line.remove_prefix(1);
        const double origin =
            absolute || run.start == no_time ? 0.0 : static_cast<double>(run.start);
        if (std::abs(origin + seconds * 1e9) > 9.2e18)
            return fail(ErrorCode::bad_argument, "the time of this mark is out of range", place);
        const Time offset = static_cast<Time>(std::llround(seconds * 1e9));
        found.push_back({absolute || run.start == no_time ? offset : run.start + offset,
                         std::string(line.substr(0, max_mark_text))});
    }
    run.marks.insert(run.marks.end(), found.begin(), found.end());
    std::stable_sort(run.marks.begin(), run.marks.end(),
                     [](const Mark& a, const Mark& b) { return a.time < b.time; });
    return {};
}

} // namespace telltale::run
