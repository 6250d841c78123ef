// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <boost/asio/io_context.hpp>

#include "progress.hpp"
#include "telltale/vet/live_base.hpp"
#include "vet.hpp"

namespace telltale::program {

/// Runs it to its end, or until the user breaks it off. An error: nothing could be tried.
Result<vet::Report> vet_on_links(boost::asio::io_context& io, vet::LiveBase& vetting,
                                 const VetOptions& options, Progress& progress);

} // namespace telltale::program
