// SPDX-License-Identifier: Apache-2.0
// What tests ask of a report, and campaigns: so many seeds of what is sound or has a known fault.
#pragma once

#include <algorithm>
#include <cstdint>
#include <cstdio>
#include <cstdlib>
#include <string>
#include <string_view>
#include <vector>

#include <doctest/doctest.h>

#include "telltale/vet/report.hpp"

namespace telltale::vet_test {

using Rows = std::vector<std::string>;

/// The checks of this verdict, in their order.
inline Rows with(const vet::Report& report, vet::Verdict verdict) {
    Rows out;
    for (const vet::Check& check : report.checks)
        if (check.verdict == verdict)
            out.push_back(check.id);
    return out;
}

/// How many seeds there are in a campaign: as TELLTALE_SEEDS says, one without it.
struct Seeds {
    std::uint64_t count = 1;
    bool asked = false;
};
inline Seeds seeds() {
    const char* wanted = std::getenv("TELLTALE_SEEDS");
    if (wanted == nullptr)
        return {};
    return {std::max<std::uint64_t>(1, std::strtoull(wanted, nullptr, 10)), true};
}

/// One line of a campaign: in how many seeds a fault is found and named, or what is sound passes.
class Tally {
  public:
    /// `check`: that is to fail, with `words` in its finding; empty: it is sound.
    Tally(std::string name, std::string check, std::string words)
        : name_(std::move(name)), check_(std::move(check)), words_(std::move(words)) {}

    bool sound() const { return check_.empty(); }
    /// Of what is sound some checks may be `untested`.
    Tally& leaves_out() {
        leaves_out_ = true;
        return *this;
    }
    /// What is not as it should be is printed.
    void add(const vet::Report& report, std::uint64_t seed) {
        ++seeds_;
        if (as_expected(report)) {
            ++right_;
            return;
        }
        std::printf("%s, seed %llu:\n", name_.c_str(), static_cast<unsigned long long>(seed));
        for (const vet::Check& check : report.checks)
            if (check.verdict != vet::Verdict::passed)
                std::printf("  %s %s: %s\n", std::string(word(check.verdict)).c_str(),
                            check.id.c_str(), check.finding.c_str());
    }
    void end() const {
        std::printf("%-44s %4llu/%-4llu %s\n", name_.c_str(),
                    static_cast<unsigned long long>(right_),
                    static_cast<unsigned long long>(seeds_), sound() ? "passes" : check_.c_str());
        CAPTURE(name_);
        CHECK(right_ * 100 >= seeds_ * (sound() ? 100 : 99));
    }
    static void head(const char* what) { std::printf("%-44s %9s %s\n", what, "found", "by"); }

  private:
    bool as_expected(const vet::Report& report) const {
        if (sound())
            return report.verdict() == vet::Verdict::passed &&
                   (leaves_out_ || report.count(vet::Verdict::untested) == 0);
        return std::any_of(report.checks.begin(), report.checks.end(),
                           [&](const vet::Check& check) {
                               return check.id == check_ && check.verdict == vet::Verdict::failed &&
                                      check.finding.find(words_) != std::string::npos;
                           });
    }

    std::string name_, check_, words_;
    bool leaves_out_ = false;
    std::uint64_t seeds_ = 0;
    std::uint64_t right_ = 0;
};

} // namespace telltale::vet_test
