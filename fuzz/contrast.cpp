// SPDX-License-Identifier: Apache-2.0
// Two or three small drives out of bytes, with everything that a Run allows: values up to the end
// of the doubles, constant and nearly empty signals, odd, equal and absurd times, gaps. Whatever
// they are, the comparison ends, its numbers are finite, and its places exist.
#include <cmath>
#include <cstdint>
#include <cstdio>
#include <cstdlib>
#include <cstring>
#include <iterator>
#include <limits>
#include <set>
#include <string>
#include <string_view>
#include <vector>

#include "dump_target.hpp"
#include "telltale/run/contrast.hpp"

using namespace telltale;
using namespace telltale::run;

namespace {

/// The bytes in their order; zeros after their end.
class Stream {
  public:
    Stream(const std::uint8_t* data, std::size_t size) : data_(data), size_(size) {}
    std::uint8_t byte() { return at_ < size_ ? data_[at_++] : std::uint8_t{0}; }
    std::uint64_t word(int bytes) {
        std::uint64_t out = 0;
        for (int i = 0; i < bytes; ++i)
            out = out << 8 | byte();
        return out;
    }
    double number() {
        const std::uint64_t bits = word(8);
        double out;
        std::memcpy(&out, &bits, sizeof out);
        return out;
    }
    bool done() const { return at_ >= size_; }

  private:
    const std::uint8_t* data_;
    std::size_t size_;
    std::size_t at_ = 0;
};

/// splitmix64, so that a few bytes make a long signal.
std::uint64_t next(std::uint64_t& state) {
    std::uint64_t z = state += 0x9E3779B97F4A7C15U;
    z = (z ^ z >> 30) * 0xBF58476D1CE4E5B9U;
    z = (z ^ z >> 27) * 0x94D049BB133111EBU;
    return z ^ z >> 31;
}
double share(std::uint64_t& state) {
    return static_cast<double>(next(state) >> 11) * 0x1p-53;
}

constexpr std::uint16_t pids[] = {0x04, 0x05, 0x06, 0x07, 0x0B, 0x0C, 0x0D, 0x0E,
                                  0x0F, 0x10, 0x11, 0x14, 0x33, 0x42, 0x03, 0xF4};
constexpr Unit units[] = {
    Unit::percent,        Unit::celsius,     Unit::kilopascal_air, Unit::rpm,
    Unit::kilometre_hour, Unit::gram_second, Unit::volt,           Unit::none};
constexpr double steps[] = {1, 0, 0.25, 0.01, 1e-9, 100.0 / 255, 1e300, 5e-324};

constexpr std::size_t most_samples = 2000; ///< in one drive

/// A driver who goes up and down, the same for every signal of a drive.
double road(double seconds, double phase) {
    return 50 + 30 * std::sin(seconds / 9 + phase) + 15 * std::sin(seconds / 2.3 + 2 * phase);
}

void fill(Series& series, Stream& in, std::size_t left, double phase) {
    const std::uint8_t shape = in.byte();
    const std::uint8_t timing = in.byte();
    std::size_t count = in.byte();
    if ((shape & 0x80) != 0)
        count *= 4; // long enough to learn from
    count = std::min(count, left);
    std::uint64_t state = in.word(2);
    Time time = static_cast<Time>(in.byte()) * 10'000'000;
    if (timing >> 6 == 3)
        time = static_cast<Time>(in.word(8));
    const double scale =
        std::isfinite(series.step) && series.step > 1e-3 && series.step < 1e3 ? series.step : 0.5;
    const std::size_t odd = in.byte();
    const double odd_value = (shape & 0x40) != 0 ? in.number() : static_cast<double>(in.byte());
    double walk = in.byte();
    for (std::size_t i = 0; i < count; ++i) {
        double value = 0;
        const double seconds = static_cast<double>(time) / 1e9;
        switch (shape & 7) {
        case 0:
            value = in.byte();
            break;
        case 1:
            value = walk;
            break;
        case 2:
            value = walk += share(state) - 0.5;
            break;
        case 3:
            value = std::abs(seconds) < 1e6 ? road(seconds, phase) : 0;
            break;
        case 4:
            value = std::abs(seconds) < 1e6 ? 3 * road(seconds, phase) + 4 * share(state) : 1;
            break;
        case 5:
            value = next(state) % 2 == 0 ? 0 : walk;
            break;
        case 6:
            value = in.number();
            break;
        default:
            value = (share(state) - 0.5) * 1e308 * 2;
            break;
        }
        if ((shape & 0x20) != 0)
            value = std::round(value / scale) * scale;
        if ((shape & 0x18) == 0x08 && i > count / 2 && i % 256 < odd % 64)
            value = odd_value;
        if ((shape & 0x18) == 0x10 && i > count / 2)
            value += odd_value;
        if ((shape & 0x18) == 0x18 && i == odd)
            value = odd_value;
        series.add(time, value);
        std::int64_t on = 0;
        switch (timing & 7) {
        case 0:
            on = 200'000'000;
            break;
        case 1:
            on = 0;
            break;
        case 2:
            on = static_cast<std::int64_t>(next(state) % 1'000'000'000);
            break;
        case 3:
            on = in.byte() * std::int64_t{100'000'000};
            break;
        case 4:
            on = i % 50 == 49 ? 60'000'000'000 : 100'000'000;
            break;
        case 5:
            on = static_cast<std::int64_t>(next(state));
            break;
        case 6:
            on = 1;
            break;
        default:
            on = -static_cast<std::int64_t>(next(state) % 500'000'000);
            break;
        }
        // Modular: a hostile dump's times may be any.
        time = static_cast<Time>(static_cast<std::uint64_t>(time) + static_cast<std::uint64_t>(on));
    }
}

/// What a signal is, in two bytes.
struct Make {
    std::uint8_t kind;
    std::uint8_t form;
};
std::vector<Make> makes(Stream& in) {
    std::vector<Make> out;
    for (int left = in.byte() % 13; left > 0; --left) {
        const std::uint8_t kind = in.byte();
        out.push_back({kind, in.byte()});
    }
    return out;
}

Run drive(Stream& in, const std::vector<Make>& signals, std::string name) {
    Run run;
    run.name = std::move(name);
    std::size_t left = most_samples;
    const double phase = in.byte();
    for (const auto& [kind, form] : signals) {
        Series series;
        series.id = pids[kind % std::size(pids)];
        series.ecu = (kind & 0x10) != 0 ? "7E9" : "7E8";
        series.index = (kind & 0x20) != 0 ? 1 : 0;
        if ((kind & 0x40) != 0) {
            series.service = 0x22;
            series.id = static_cast<std::uint16_t>(series.id | 0xF400U);
        }
        series.name = "signal " + std::to_string(kind & 0x3F);
        series.unit = units[form % std::size(units)];
        series.step = steps[(form >> 3) % std::size(steps)];
        series.decimals = static_cast<std::uint8_t>(form % 7);
        series.values = Values(series.decimals);
        if ((form & 0x40) != 0) {
            series.has_ends = true;
            series.low = 0;
            series.high = (form & 0x20) != 0 ? 255 : 1e300;
        }
        if ((form & 0x80) != 0 && (kind & 0x80) != 0) {
            series.kind = SeriesKind::choice;
            series.labels = {{0, "off"}, {1, "on"}};
        }
        fill(series, in, left, phase);
        left -= series.size();
        run.series.push_back(std::move(series));
    }
    const std::uint8_t marks = in.byte();
    for (int i = 0; i < marks % 4; ++i)
        run.marks.push_back({static_cast<Time>(in.word(8)), "mark"});
    run.settle();
    return run;
}

void positive(double value) {
    FUZZ_REQUIRE(std::isfinite(value) && value >= 0);
}

bool within(Time time, const Run& run) {
    return run.start <= time && time <= run.end;
}

void look(const ContrastResult& result, const Run* good, const std::vector<const Run*>& bad,
          const ContrastOptions& options) {
    std::size_t series = good != nullptr ? good->series.size() : 0;
    for (const Run* run : bad)
        series += run->series.size();
    FUZZ_REQUIRE(result.signals.size() <= series);
    for (const ContrastSignal& signal : result.signals) {
        positive(signal.score);
        positive(signal.tolerance);
        positive(signal.good_rate);
        positive(signal.bad_rate);
        FUZZ_REQUIRE(signal.explained >= 0 && signal.explained <= 1);
        FUZZ_REQUIRE(!word(signal.standing).empty());
        FUZZ_REQUIRE(good == nullptr || signal.good_series == ContrastSignal::npos ||
                     signal.good_series < good->series.size());
        FUZZ_REQUIRE(signal.bad_series.size() == bad.size());
        for (std::size_t i = 0; i < bad.size(); ++i)
            FUZZ_REQUIRE(signal.bad_series[i] == ContrastSignal::npos ||
                         signal.bad_series[i] < bad[i]->series.size());
        FUZZ_REQUIRE(signal.told_by.size() <= series);
    }

    FUZZ_REQUIRE(result.suspects.size() <= result.signals.size());
    std::set<std::uint32_t> seen;
    for (std::size_t i = 0; i < result.suspects.size(); ++i) {
        const Departure& suspect = result.suspects[i];
        FUZZ_REQUIRE(suspect.signal < result.signals.size());
        FUZZ_REQUIRE(seen.insert(suspect.signal).second); // a signal is one suspect
        FUZZ_REQUIRE(result.signals[suspect.signal].standing != Standing::left_out);
        positive(suspect.score);
        FUZZ_REQUIRE(suspect.score > 0);
        FUZZ_REQUIRE(std::isfinite(suspect.start_second) && std::isfinite(suspect.end_second));
        FUZZ_REQUIRE(suspect.start_second <= suspect.end_second);
        FUZZ_REQUIRE(std::isfinite(suspect.peak_difference) && std::isfinite(suspect.peak_value) &&
                     std::isfinite(suspect.peak_expected));
        FUZZ_REQUIRE(suspect.run < bad.size());
        FUZZ_REQUIRE(suspect.start <= suspect.end && within(suspect.start, *bad[suspect.run]) &&
                     within(suspect.end, *bad[suspect.run]) &&
                     within(suspect.peak_time, *bad[suspect.run]));
        FUZZ_REQUIRE(!word(suspect.kind).empty() && !suspect.sentence.empty() &&
                     !suspect.proof.empty());
        // What follows stands behind what it follows from.
        FUZZ_REQUIRE(!suspect.after || *suspect.after < i);
        FUZZ_REQUIRE(suspect.episodes.size() <= 64 &&
                     suspect.episodes.size() <= suspect.episode_count);
        const Episode* before = nullptr;
        for (const Episode& episode : suspect.episodes) {
            FUZZ_REQUIRE(episode.run < bad.size());
            FUZZ_REQUIRE(episode.start <= episode.end && within(episode.start, *bad[episode.run]) &&
                         within(episode.end, *bad[episode.run]));
            positive(episode.score);
            FUZZ_REQUIRE(std::isfinite(episode.peak_difference) &&
                         std::isfinite(episode.peak_value) && std::isfinite(episode.peak_expected));
            FUZZ_REQUIRE(before == nullptr || before->run < episode.run ||
                         (before->run == episode.run && before->start <= episode.start));
            before = &episode;
        }
    }

    FUZZ_REQUIRE(result.coverage.size() == bad.size());
    for (const Coverage& coverage : result.coverage) {
        positive(coverage.seconds);
        positive(coverage.good_seconds);
        positive(coverage.samples_a_second);
        FUZZ_REQUIRE(coverage.familiar >= 0 && coverage.familiar <= 1);
        FUZZ_REQUIRE(coverage.signals <= result.signals.size());
    }
    FUZZ_REQUIRE(result.notes.size() <= 100 + 2 * series);
    FUZZ_REQUIRE(options.keep_expectations || result.expectations.empty());
    FUZZ_REQUIRE(result.expectations.size() <= result.signals.size() * bad.size());
    for (const Expectation& expectation : result.expectations) {
        FUZZ_REQUIRE(expectation.signal < result.signals.size() && expectation.run < bad.size());
        FUZZ_REQUIRE(expectation.expected.size() == expectation.times.size() &&
                     expectation.tolerance.size() == expectation.times.size());
        FUZZ_REQUIRE(expectation.times.size() <= 16 * most_samples);
        for (std::size_t i = 1; i < expectation.times.size(); ++i)
            FUZZ_REQUIRE(expectation.times[i - 1] <= expectation.times[i]);
    }
}

/// The same runs give the same result.
bool same(const ContrastResult& a, const ContrastResult& b) {
    if (a.suspects.size() != b.suspects.size() || a.signals.size() != b.signals.size() ||
        a.notes != b.notes)
        return false;
    for (std::size_t i = 0; i < a.suspects.size(); ++i)
        if (a.suspects[i].signal != b.suspects[i].signal ||
            a.suspects[i].score != b.suspects[i].score ||
            a.suspects[i].sentence != b.suspects[i].sentence)
            return false;
    return true;
}

} // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size);
int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
    Stream in(data, size);
    const std::uint8_t plan = in.byte();
    ContrastOptions options;
    options.keep_expectations = (plan & 0x08) != 0;
    if ((plan & 0x10) != 0)
        if (const double mark = in.number(); std::isfinite(mark))
            options.mark = mark;
    if ((plan & 0x20) != 0) {
        Pick pick;
        pick.id = pids[in.byte() % std::size(pids)];
        options.only.push_back(pick);
    }
    // The drives have the same signals, unless the plan says otherwise.
    const std::vector<Make> signals = makes(in);
    const Run good = drive(in, signals, "good");
    const Run first = drive(in, (plan & 0x04) != 0 ? makes(in) : signals, "bad");
    std::vector<Run> more;
    if ((plan & 0x02) != 0)
        more.push_back(drive(in, makes(in), "second"));

    if ((plan & 0x01) != 0) {
        look(contrast_alone(good, options), nullptr, {&good}, options);
        return 0;
    }
    std::vector<const Run*> bad{&first};
    for (const Run& run : more)
        bad.push_back(&run);
    const ContrastResult result = contrast(good, bad, options);
    look(result, &good, bad, options);
    if ((plan & 0x40) != 0)
        FUZZ_REQUIRE(same(result, contrast(good, bad, options)));
    return 0;
}
