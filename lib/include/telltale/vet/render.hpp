// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <cstddef>
#include <string>

#include "telltale/base/export.hpp"
#include "telltale/vet/report.hpp"

/// A report as text, JSON, JUnit XML and a page. Every text in a report is taken for untrusted; the
/// same report gives the same bytes.
namespace telltale::vet {

/// How a report is written as text.
struct TextOptions {
    std::size_t width = 80; ///< columns, 32 to 200; below 60 there is no table
    bool colour = false;    ///< ANSI: green, red, yellow for the results
    bool whole = true;      ///< false: of what passed only the title
};

/// For a terminal or a plain text file, in lines of at most `width` columns.
TELLTALE_API std::string report_text(const Report& report, const TextOptions& options = {});

/// The histogram alone: a line a bucket between the least and the greatest, a bar of '#', its
/// count.
TELLTALE_API std::string histogram_text(const NamedLatency& latency, std::size_t width = 80);

/// One JSON object and a newline; examples/telltale/CONTRACT.md has its keys.
TELLTALE_API std::string report_json(const Report& report);

/// JUnit XML as build servers read it: a suite for each group of checks, a case for each check,
/// `failure` for what failed and `skipped` for what was not tested. What was broken off, or could
/// not be tested at all, has a case more, with an `error`.
TELLTALE_API std::string report_junit(const Report& report);

/// One HTML file without scripts that needs nothing beside it: light and dark by the reader's
/// choice, made to be printed on A4, each latency a picture.
TELLTALE_API std::string report_page(const Report& report);

} // namespace telltale::vet
