// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <cstddef>
#include <cstdint>
#include <string>
#include <vector>

#include "telltale/run/contrast.hpp"

/// What a comparison says in words.
namespace telltale::run {

/// What one signal did during an episode of another.
struct OtherCourse {
    std::string name;
    Unit unit = Unit::none;
    std::string own_unit;
    unsigned decimals = 0;
    bool any = false;
    double low = 0;
    double high = 0;
};

/// What a value is held against: what the others tell of it, how it moved before and after, or the
/// same moment of the good drive.
enum class Beside : std::uint8_t { others, itself, good_drive };

/// The evidence of a departure in one sentence.
std::string sentence(const ContrastSignal& signal, const Departure& departure,
                     const Coverage& coverage, Beside beside);

/// The ordinary test that would prove it (common practice), in a sentence.
std::string proof(const ContrastSignal& signal, DepartureKind kind);

/// What the others did: the courses of those that tell the signal, and how many of those compared
/// stayed on theirs.
std::string meanwhile(const std::vector<OtherCourse>& courses, std::size_t compared,
                      std::size_t quiet);

/// That one of two is wrong, and little tells which.
std::string either(const std::string& name, const std::string& rival);

/// That the engine was colder than in all of the good run.
std::string colder(double seconds);

/// What could have been seen, and what could not.
std::vector<std::string> notes(const ContrastResult& result, std::size_t bad_runs);

} // namespace telltale::run
