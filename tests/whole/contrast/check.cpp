// SPDX-License-Identifier: Apache-2.0
// Holds the output of `telltale contrast --as json`, on standard input, to its contract. Then
// prints what a shell can read, a line each: "suspects N", "runs N" and, for each suspect, "suspect
// ID START END RUN". Exit status 1 when something is not as it is promised.
#include <cmath>
#include <cstdio>
#include <cstdlib>
#include <initializer_list>
#include <iostream>
#include <set>
#include <string>

#include <nlohmann/json.hpp>

using nlohmann::json;

namespace {

void require(bool truth, const std::string& what) {
    if (!truth) {
        std::printf("not so: %s\n", what.c_str());
        std::exit(1);
    }
}

void has_texts(const json& object, std::initializer_list<const char*> keys) {
    for (const char* key : keys)
        require(object.contains(key) && object[key].is_string(), std::string(key) + " is a text");
}

void has_numbers(const json& object, std::initializer_list<const char*> keys) {
    for (const char* key : keys)
        require(object.contains(key) && object[key].is_number() &&
                    std::isfinite(object[key].get<double>()),
                std::string(key) + " is a finite number");
}

} // namespace

int main() {
    const json all = json::parse(std::cin, nullptr, false);
    require(!all.is_discarded(), "one JSON document and nothing else");
    has_texts(all, {"caution"});
    for (const char* key : {"suspects", "signals", "runs", "notes"})
        require(all.contains(key) && all[key].is_array(), std::string(key) + " is an array");
    require(!all["notes"].empty(), "what could have been seen is said");
    for (const json& note : all["notes"])
        require(note.is_string() && !note.get<std::string>().empty(), "a note is a sentence");

    const std::size_t runs = all["runs"].size();
    for (const json& run : all["runs"]) {
        has_texts(run, {"name", "reference"});
        has_numbers(run, {"seconds", "good_seconds", "familiar", "samples_a_second"});
    }
    std::set<std::string> signals;
    for (const json& signal : all["signals"]) {
        has_texts(signal, {"ecu", "line", "id", "name", "short", "unit", "standing"});
        has_numbers(signal, {"field", "score", "tolerance", "explained", "good_samples",
                             "bad_samples", "good_rate", "bad_rate"});
        require(signal["told_by"].is_array(), "told_by is an array");
        require(signal["score"].get<double>() >= 0, "no score below nothing");
        signals.insert(signal["line"].get<std::string>() + signal["ecu"].get<std::string>() + " " +
                       signal["id"].get<std::string>() + " " + signal["field"].dump());
    }
    std::printf("suspects %zu\nruns %zu\n", all["suspects"].size(), runs);
    std::size_t rank = 0;
    for (const json& suspect : all["suspects"]) {
        has_texts(suspect,
                  {"ecu", "line", "id", "name", "unit", "kind", "others", "sentence", "proof"});
        has_numbers(suspect, {"field", "score", "start", "end", "peak_difference", "peak_value",
                              "peak_expected", "run"});
        require(!suspect["sentence"].get<std::string>().empty(), "the evidence is a sentence");
        require(suspect["score"].get<double>() > 0, "a suspect has a score");
        require(suspect["start"].get<double>() <= suspect["end"].get<double>(), "start, then end");
        require(suspect["run"].get<std::size_t>() < runs, "a suspect's run is there");
        require(suspect["after"].is_null() || suspect["after"].get<std::size_t>() < rank,
                "what follows stands behind what it follows from");
        require(signals.count(
                    suspect["line"].get<std::string>() + suspect["ecu"].get<std::string>() + " " +
                    suspect["id"].get<std::string>() + " " + suspect["field"].dump()) == 1,
                "a suspect is one of the signals");
        require(suspect["episodes"].is_array(), "episodes is an array");
        for (const json& episode : suspect["episodes"]) {
            has_numbers(episode, {"run", "start", "end", "score", "peak_difference"});
            require(episode["run"].get<std::size_t>() < runs, "an episode's run is there");
        }
        std::printf("suspect %s %.6f %.6f %d\n", suspect["id"].get<std::string>().c_str(),
                    suspect["start"].get<double>(), suspect["end"].get<double>(),
                    suspect["run"].get<int>());
        ++rank;
    }
    return 0;
}
