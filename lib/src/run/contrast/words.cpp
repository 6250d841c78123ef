// SPDX-License-Identifier: Apache-2.0
#include "words.hpp"

#include <algorithm>
#include <cmath>
#include <string_view>

#include "telltale/base/number.hpp"
#include "telltale/base/shown.hpp"

namespace telltale::run {
namespace {

std::string_view unit_text(Unit unit, std::string_view own_unit) {
    return shown(unit, 0, 0, UnitSystem::si, own_unit).text;
}

std::string number(double value, const ContrastSignal& signal) {
    std::string out;
    append_number(out, value, signal.decimals);
    if (const auto text = unit_text(signal.unit, signal.own_unit); !text.empty())
        out += " " + std::string(text);
    return out;
}

/// "for 3.2 s", "for a moment".
std::string lasting(double seconds) {
    if (seconds < 0.05)
        return "for a moment";
    std::string out = "for ";
    append_number(out, seconds, seconds < 20 ? 1 : 0);
    return out + " s";
}

std::string at_second(double seconds, bool mark) {
    std::string out;
    append_number(out, std::abs(seconds), 1);
    out += " s ";
    return out + (!mark ? (seconds < 0 ? "before the start" : "after the start")
                        : (seconds < 0 ? "before the mark" : "after the mark"));
}

/// What kind of thing a signal measures, by its parameter (SAE J1979-DA, annex B).
enum class Family : std::uint8_t {
    pressure,
    temperature,
    air_flow,
    oxygen,
    speed,
    position,
    voltage,
    trim,
    commanded,
    other
};

Family family_of(const ContrastSignal& signal) {
    if (signal.service == 0x21 || (signal.service == 0x22 && (signal.id & 0xFF00U) != 0xF400U))
        return Family::other; // not the standard's: nothing is known of it
    const unsigned id = (signal.id & 0xFF00U) == 0xF400U ? signal.id & 0xFFU : signal.id;
    switch (id) {
    case 0x0A:
    case 0x0B:
    case 0x22:
    case 0x23:
    case 0x32:
    case 0x33:
    case 0x53:
    case 0x54:
    case 0x59:
    case 0x6D:
    case 0x6F:
    case 0x70:
    case 0x73:
    case 0x7A:
    case 0x7B:
    case 0x87:
        return Family::pressure;
    case 0x05:
    case 0x0F:
    case 0x46:
    case 0x5C:
    case 0x67:
    case 0x68:
    case 0x6B:
    case 0x75:
    case 0x76:
    case 0x77:
    case 0x78:
    case 0x79:
    case 0x7C:
    case 0x84:
    case 0x3C:
    case 0x3D:
    case 0x3E:
    case 0x3F:
        return Family::temperature;
    case 0x10:
    case 0x66:
        return Family::air_flow;
    case 0x0C:
    case 0x0D:
    case 0x74:
        return Family::speed;
    case 0x11:
    case 0x45:
    case 0x47:
    case 0x48:
    case 0x49:
    case 0x4A:
    case 0x4B:
    case 0x5A:
        return Family::position;
    case 0x42:
        return Family::voltage;
    case 0x06:
    case 0x07:
    case 0x08:
    case 0x09:
    case 0x55:
    case 0x56:
    case 0x57:
    case 0x58:
        return Family::trim;
    case 0x2C:
    case 0x2E:
    case 0x4C:
    case 0x44:
    case 0x0E:
    case 0x04:
    case 0x43:
    case 0x5D:
    case 0x5E:
        return Family::commanded;
    default:
        break;
    }
    if ((id >= 0x14 && id <= 0x1B) || (id >= 0x24 && id <= 0x2B) || (id >= 0x34 && id <= 0x3B))
        return Family::oxygen;
    return Family::other;
}

} // namespace

std::string_view word(DepartureKind kind) noexcept {
    switch (kind) {
    case DepartureKind::drop_out:
        return "drop-out";
    case DepartureKind::spike:
        return "spike";
    case DepartureKind::end_of_range:
        return "end-of-range";
    case DepartureKind::stuck:
        return "stuck";
    case DepartureKind::offset:
        return "offset";
    case DepartureKind::drift:
        return "drift";
    case DepartureKind::lag:
        return "lag";
    case DepartureKind::noise:
        return "noise";
    case DepartureKind::scale:
        return "scale";
    case DepartureKind::other:
        break;
    }
    return "other";
}

std::string_view word(Standing standing) noexcept {
    switch (standing) {
    case Standing::compared:
        return "compared";
    case Standing::itself_only:
        return "itself-only";
    case Standing::constant:
        return "constant";
    case Standing::choice:
        return "choice";
    case Standing::too_few:
        return "too-few";
    case Standing::only_good:
        return "only-good";
    case Standing::only_bad:
        return "only-bad";
    case Standing::left_out:
        break;
    }
    return "left-out";
}

std::string_view contrast_caution() noexcept {
    return "A departure is a lead for a pinpoint test, not a verdict on a part. The maker's "
           "service "
           "information and licensed practice come first. Whoever drives does not watch the "
           "readings; keep clear of hot, turning and high-voltage parts.";
}

std::string sentence(const ContrastSignal& signal, const Departure& departure,
                     const Coverage& coverage, Beside beside) {
    const double length = departure.end_second - departure.start_second;
    const std::string value = number(departure.peak_value, signal);
    const std::string expected = number(departure.peak_expected, signal);
    const std::string by = number(std::abs(departure.peak_difference), signal);
    const std::string when = at_second(departure.start_second, coverage.reference_is_mark);
    const std::string against = (beside == Beside::others   ? " where the other signals point to "
                                 : beside == Beside::itself ? " where its own course leads to "
                                                            : " where the good drive had ") +
                                expected;
    std::string out = signal.name;
    switch (departure.kind) {
    case DepartureKind::end_of_range:
        out += " went to the end of its range, " + value + "," + against;
        break;
    case DepartureKind::drop_out:
        out += " dropped out: it read " + value + against;
        break;
    case DepartureKind::spike:
        out += " jumped in a single sample: it read " + value + against;
        break;
    case DepartureKind::stuck:
        out += " stood still at " + value + " while the other signals moved";
        break;
    case DepartureKind::offset:
        out += " was off by up to " + by + ": it read " + value + against;
        break;
    case DepartureKind::drift:
        out += " drifted away, by up to " + by + ": it read " + value + against;
        break;
    case DepartureKind::lag:
        out += " followed the other signals ";
        if (departure.late_by > 0) {
            out += "about ";
            append_number(out, departure.late_by, 1);
            out += " s ";
        }
        out += "later than it did in the good run";
        break;
    case DepartureKind::noise:
        out += " scattered from sample to sample more than it did in the good run";
        break;
    case DepartureKind::scale:
        out +=
            " was off in proportion to its value, by up to " + by + ": it read " + value + against;
        break;
    case DepartureKind::other:
        out += " disagreed with the other signals, by up to " + by + ": it read " + value + against;
        break;
    }
    if (departure.episode_count > 1)
        out += ", " + std::to_string(departure.episode_count) + " times between " + when + " and " +
               at_second(departure.end_second, coverage.reference_is_mark);
    else
        out += ", " + lasting(length) + ", " + when;
    return out + ".";
}

std::string proof(const ContrastSignal& signal, DepartureKind kind) {
    const bool comes_and_goes = kind == DepartureKind::drop_out || kind == DepartureKind::spike ||
                                kind == DepartureKind::end_of_range || kind == DepartureKind::noise;
    std::string out;
    if (comes_and_goes)
        out = "With the vehicle secured, move the harness and the connector of this sensor while "
              "watching this value; check supply, ground and signal at the sensor";
    switch (family_of(signal)) {
    case Family::pressure:
        out += comes_and_goes ? "; compare with a gauge."
                              : "Compare with a gauge on the same port, and look for a restricted "
                                "or leaking line to the sensor.";
        break;
    case Family::temperature:
        out += comes_and_goes ? "; compare with a thermometer."
                              : "Compare with a thermometer after a cold soak and warm, and the "
                                "sensor's resistance with the maker's table.";
        break;
    case Family::air_flow:
        out += comes_and_goes ? "."
                              : "Look for air leaks between sensor and engine and for dirt on the "
                                "sensor; compare the flow with that computed from engine speed, "
                                "manifold pressure and temperature.";
        break;
    case Family::oxygen:
        out += comes_and_goes ? "."
                              : "Make the mixture rich and lean in turn and watch how far and how "
                                "fast the sensor follows; look for exhaust leaks ahead of it.";
        break;
    case Family::speed:
        out += comes_and_goes ? "; look at the sensor's gap and its wheel."
                              : "Compare with a second source of the same speed, and look at the "
                                "sensor's gap and its wheel with a scope.";
        break;
    case Family::position:
        out += comes_and_goes ? "; sweep it slowly with a scope on the signal."
                              : "Sweep it slowly with the engine off and a scope or meter on the "
                                "signal; compare its tracks with each other.";
        break;
    case Family::voltage:
        out += comes_and_goes
                   ? "; measure the voltage drop of feed and ground under load."
                   : "Measure battery and charging voltage with a meter, and the voltage "
                     "drop of feed and ground under load.";
        break;
    case Family::trim:
        out += comes_and_goes ? "."
                              : "Check fuel pressure, look for air and exhaust leaks, and see "
                                "whether the difference grows with load or with idle.";
        break;
    case Family::commanded:
        out += comes_and_goes ? "."
                              : "This value is computed or commanded: compare what it rests on, "
                                "and what the actuator does, by measurement.";
        break;
    case Family::other:
        out += comes_and_goes ? "."
                              : "Measure the same quantity by other means while watching this "
                                "value.";
        break;
    }
    return out + " (common practice)";
}

std::string meanwhile(const std::vector<OtherCourse>& courses, std::size_t compared,
                      std::size_t quiet) {
    std::string out;
    for (const OtherCourse& course : courses) {
        out += out.empty() ? "Meanwhile " : ", ";
        std::string from;
        std::string to;
        append_number(from, course.low, course.decimals);
        append_number(to, course.high, course.decimals);
        const std::string unit(unit_text(course.unit, course.own_unit));
        out += course.name;
        if (from == to)
            out.append(" was ").append(to);
        else
            out.append(" went between ").append(from).append(" and ").append(to);
        if (!unit.empty())
            out.append(" ").append(unit);
    }
    if (!out.empty())
        out += ". ";
    if (compared > 0)
        out += std::to_string(quiet) + " of the " + std::to_string(compared) +
               " other signals compared stayed on their course.";
    return out;
}

std::string either(const std::string& name, const std::string& rival) {
    return "If " + name + " is right, " + rival +
           " is wrong: the rest hardly tells these two apart, so check both.";
}

std::string colder(double seconds) {
    std::string text = "For the first ";
    append_number(text, seconds, 0);
    return text +
           " s the engine was colder than in all of the good run: of what the ECU governs by "
           "warmth (mixture, purge, throttle) little could be seen meanwhile. A good run "
           "from as cold a start helps.";
}

std::vector<std::string> notes(const ContrastResult& result, std::size_t bad_runs) {
    std::vector<std::string> out;
    for (const Coverage& coverage : result.coverage) {
        std::string text;
        if (bad_runs > 1)
            text += coverage.name + ": ";
        append_number(text, coverage.seconds, 0);
        text += " s against ";
        append_number(text, coverage.good_seconds, 0);
        text += " s of the good run, ";
        text += std::to_string(coverage.signals) + " signals compared, ";
        append_number(text, coverage.samples_a_second, 1);
        text += " samples a second in all; ";
        append_number(text, coverage.familiar * 100, 0);
        text += " % of it was driven as the good run was.";
        out.push_back(std::move(text));
        constexpr double strange = 0.5;
        if (coverage.signals > 0 && coverage.familiar < strange)
            out.push_back("Most of this run was driven in ways that the good run does not show, so "
                          "less could be seen: a good run over the same road helps.");
    }
    std::size_t alone = 0;
    std::size_t few = 0;
    std::size_t single = 0;
    double slowest = 0;
    std::string slowest_name;
    for (const ContrastSignal& signal : result.signals) {
        alone += signal.standing == Standing::itself_only ? 1 : 0;
        few += signal.standing == Standing::too_few ? 1 : 0;
        single +=
            signal.standing == Standing::only_bad || signal.standing == Standing::only_good ? 1 : 0;
        const bool looked_at =
            signal.standing == Standing::compared || signal.standing == Standing::itself_only;
        if (looked_at && signal.bad_rate > 0 && 1 / signal.bad_rate > slowest) {
            slowest = 1 / signal.bad_rate;
            slowest_name = signal.name;
        }
    }
    if (slowest > 1) {
        std::string text = "A fault shorter than the time between two samples cannot be seen; the "
                           "slowest signal compared, " +
                           slowest_name + ", came every ";
        append_number(text, slowest, 1);
        out.push_back(text + " s.");
    }
    if (alone > 0)
        out.push_back(std::to_string(alone) +
                      " signals are not told by the others: only how they move was compared.");
    if (few > 0)
        out.push_back(std::to_string(few) + " signals have too few samples to say anything.");
    if (single > 0)
        out.push_back(std::to_string(single) + " signals are in one of the runs only.");
    return out;
}

} // namespace telltale::run
