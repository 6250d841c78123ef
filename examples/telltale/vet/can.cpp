// SPDX-License-Identifier: Apache-2.0
// `telltale vet LINK --against LINK2` on CAN: known frames from both ends.
#include <memory>
#include <string>

#include <boost/asio/io_context.hpp>

#include "on_links.hpp"
#include "output.hpp"
#include "telltale/link/open.hpp"
#include "telltale/vet/built_in.hpp"
#include "telltale/vet/live.hpp"
#include "vet.hpp"

namespace telltale::program {

Result<vet::Report> vet_can(const VetOptions& options) {
    boost::asio::io_context io(1);
    const auto tested = link::make_link(io.get_executor(), options.link);
    if (!tested)
        return tl::unexpected(tested.error());
    const auto reference = link::make_link(io.get_executor(), options.against);
    if (!reference)
        return tl::unexpected(reference.error());

    vet::LiveOptions live;
    live.vetting.duration = options.duration;
    live.vetting.seed = options.seed;
    live.vetting.bit_rate = options.bit_rate;
    live.vetting.unplugs = options.unplug;
    if (options.known.empty()) {
        live.vetting.known = vet::built_in_frames(options.seed);
    } else {
        auto known = read_known_frames(options.known, options.classic);
        if (!known)
            return tl::unexpected(known.error());
        live.vetting.known = std::move(*known);
    }

    say("frames of all kinds and bursts go onto this line from both ends. It must be a bench line "
        "with nothing else on it: never a vehicle's, where they can set off anything.");
    Progress progress(options.progress);
    vet::LiveVetting vetting(**tested, **reference, live);
    vetting.on_unplug = [&] {
        progress.clear();
        say("take the adapter off the computer now, wait for three seconds, and put it back");
    };
    return vet_on_links(io, vetting, options, progress);
}

} // namespace telltale::program
