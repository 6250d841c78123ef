// SPDX-License-Identifier: Apache-2.0
// The comparison of drives for programs. examples/telltale/CONTRACT.md describes it.
#include "telltale/run/contrast_json.hpp"

#include <string_view>

#include "telltale/base/number.hpp"
#include "telltale/base/shown.hpp"
#include "telltale/base/text.hpp"

namespace telltale::run {

namespace {

double seconds_between(Time from, Time to) {
    return static_cast<double>(to - from) / static_cast<double>(nanoseconds_a_second);
}

Shown how_shown(const ContrastSignal& signal, UnitSystem system) {
    return shown(signal.unit, 0, signal.decimals, system, signal.own_unit);
}

void append_signal(std::string& out, const ContrastSignal& signal, UnitSystem system) {
    const Shown how = how_shown(signal, system);
    out += "\"ecu\":";
    append_json(out, signal.ecu);
    out += ",\"line\":";
    append_json(out, signal.line);
    out += ",\"id\":";
    append_json(out, signal.id_text);
    out += ",\"field\":";
    append_integer(out, std::uint64_t{signal.index});
    out += ",\"name\":";
    append_json(out, signal.name);
    out += ",\"short\":";
    append_json(out, signal.key);
    out += ",\"unit\":";
    append_json(out, how.ucum);
}

void append_member(std::string& out, const char* name, std::string_view text) {
    out += ",\"";
    out += name;
    out += "\":";
    append_json(out, text);
}

void append_member(std::string& out, const char* name, double value) {
    out += ",\"";
    out += name;
    out += "\":";
    append_exact(out, value, true);
}

} // namespace

void append_contrast_json(std::string& out, const ContrastResult& result, UnitSystem system) {
    out += "{\"caution\":";
    append_json(out, contrast_caution());
    out += ",\"suspects\":[";
    for (std::size_t i = 0; i < result.suspects.size(); ++i) {
        const Departure& departure = result.suspects[i];
        const ContrastSignal& signal = result.signals[departure.signal];
        const Shown how = how_shown(signal, system);
        const double factor = how.converted ? how.factor : 1;
        out += i == 0 ? "{" : ",{";
        append_signal(out, signal, system);
        append_member(out, "score", departure.score);
        append_member(out, "start", departure.start_second);
        append_member(out, "end", departure.end_second);
        append_member(out, "peak_difference", departure.peak_difference * factor);
        append_member(out, "peak_value", how(departure.peak_value));
        append_member(out, "peak_expected", how(departure.peak_expected));
        append_member(out, "kind", word(departure.kind));
        if (departure.late_by > 0)
            append_member(out, "late_by", departure.late_by);
        out += ",\"run\":";
        append_integer(out, std::uint64_t{departure.run});
        out += ",\"after\":";
        if (departure.after)
            append_integer(out, std::uint64_t{*departure.after});
        else
            out += "null";
        append_member(out, "others", departure.others);
        append_member(out, "sentence", departure.sentence);
        append_member(out, "proof", departure.proof);
        out += ",\"episodes\":[";
        for (std::size_t k = 0; k < departure.episodes.size(); ++k) {
            const Episode& episode = departure.episodes[k];
            const Time zero = episode.run < result.coverage.size()
                                  ? result.coverage[episode.run].reference
                                  : episode.start;
            out += k == 0 ? "{\"run\":" : ",{\"run\":";
            append_integer(out, std::uint64_t{episode.run});
            append_member(out, "start", seconds_between(zero, episode.start));
            append_member(out, "end", seconds_between(zero, episode.end));
            append_member(out, "score", episode.score);
            append_member(out, "peak_difference", episode.peak_difference * factor);
            out += '}';
        }
        out += "]}";
    }
    out += "],\"signals\":[";
    for (std::size_t i = 0; i < result.signals.size(); ++i) {
        const ContrastSignal& signal = result.signals[i];
        const Shown how = how_shown(signal, system);
        out += i == 0 ? "{" : ",{";
        append_signal(out, signal, system);
        append_member(out, "score", signal.score);
        append_member(out, "standing", word(signal.standing));
        append_member(out, "tolerance", signal.tolerance * (how.converted ? how.factor : 1));
        append_member(out, "explained", signal.explained);
        out += ",\"good_samples\":";
        append_integer(out, static_cast<std::uint64_t>(signal.good_samples));
        out += ",\"bad_samples\":";
        append_integer(out, static_cast<std::uint64_t>(signal.bad_samples));
        append_member(out, "good_rate", signal.good_rate);
        append_member(out, "bad_rate", signal.bad_rate);
        out += ",\"told_by\":[";
        for (std::size_t k = 0; k < signal.told_by.size(); ++k) {
            out += k == 0 ? "" : ",";
            append_json(out, signal.told_by[k]);
        }
        out += "]}";
    }
    out += "],\"runs\":[";
    for (std::size_t i = 0; i < result.coverage.size(); ++i) {
        const Coverage& coverage = result.coverage[i];
        out += i == 0 ? "{\"name\":" : ",{\"name\":";
        append_json(out, coverage.name);
        out += ",\"reference\":";
        out += coverage.reference_is_mark ? "\"mark\"" : "\"start\"";
        append_member(out, "seconds", coverage.seconds);
        append_member(out, "good_seconds", coverage.good_seconds);
        append_member(out, "familiar", coverage.familiar);
        append_member(out, "samples_a_second", coverage.samples_a_second);
        out += '}';
    }
    out += "],\"notes\":[";
    for (std::size_t i = 0; i < result.notes.size(); ++i) {
        out += i == 0 ? "" : ",";
        append_json(out, result.notes[i]);
    }
    out += "]}\n";
}

} // namespace telltale::run
