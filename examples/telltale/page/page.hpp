// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <string>
#include <vector>

#include "telltale/base/result.hpp"
#include "telltale/base/units.hpp"

/// One self-contained HTML file that shows two drives over each other. Every text in these
/// structures is taken for untrusted and escaped.
namespace telltale::page {

/// Samples with times in seconds on the page's axis, ascending.
struct Samples {
    std::vector<double> time;
    std::vector<double> value;
};

struct Signal {
    std::string key; ///< names the signal for `Lead::signal` and `Page::first`
    std::string ecu;
    std::string name;
    Unit unit = Unit::none;
    std::string own_unit; ///< "{mm3/stroke}": a unit that is none of `Unit`, or empty
    unsigned decimals = 0;
    double step = 0; ///< size of one raw step in `unit`; 0: unknown
    double gap = 1;  ///< seconds without a sample from which a line is broken
    Samples good;    ///< with the good run's own times; `Page::shift` moves it
    Samples bad;
    Samples expected; ///< what the other signals point to in the bad run; may be empty
};

struct Span {
    double start = 0;
    double end = 0;
};

/// A departure, as the list and the table show it.
struct Lead {
    std::string signal;
    std::string name;
    std::string ecu;
    double start = 0; ///< seconds on the page's axis
    double end = 0;
    double score = 0;
    std::string peak; ///< the peak difference with its unit
    std::string sentence;
    std::string meanwhile;
    std::string test;        ///< the ordinary test that would prove it
    std::vector<Span> spans; ///< the pieces of it; at least one
    bool follows = false;    ///< comes after another that may have caused it
};

struct Mark {
    double time = 0;
    std::string text;
};

struct Page {
    std::string title;
    std::string verdict;
    std::string files;
    std::string good_name = "good run";
    std::string bad_name = "bad run";
    std::string caution;
    double shift = 0; ///< added to the good run's times
    UnitSystem units = UnitSystem::si;
    std::vector<Mark> marks;
    std::vector<Signal> signals;
    std::vector<Lead> leads;
    std::vector<std::string> first; ///< signals shown at first besides those of the leads
    std::vector<std::string> notes;
    std::string report; ///< the report's plain text, of both drives
};

/// The whole file. Errors: `bad_argument` when the program was built without the plotting library.
Result<std::string> render(const Page& page);

} // namespace telltale::page
