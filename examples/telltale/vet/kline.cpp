// SPDX-License-Identifier: Apache-2.0
// `telltale vet LINK --against LINK2` on a K-line: an ECU that knows what it will be asked.
#include <string>

#include <boost/asio/io_context.hpp>

#include "on_links.hpp"
#include "output.hpp"
#include "telltale/link/open.hpp"
#include "telltale/vet/live_kline.hpp"
#include "vet.hpp"

namespace telltale::program {

Result<vet::Report> vet_kline(const VetOptions& options) {
    if (!options.known.empty())
        return fail(ErrorCode::bad_argument,
                    "lists of known frames are for CAN: leave --known away");
    if (options.unplug || options.bit_rate != 0)
        return fail(ErrorCode::bad_argument, "--unplug and --bit-rate are for CAN");
    boost::asio::io_context io(1);
    const auto name = link::parse_link_name(options.link);
    const auto other = link::parse_link_name(options.against);
    if (!name)
        return tl::unexpected<Error>(name.error());
    if (!other)
        return tl::unexpected<Error>(other.error());

    vet::LiveKlineOptions live;
    live.vetting.duration = options.duration;
    live.vetting.seed = options.seed;
    using Start = link::LinkName::Start;
    live.vetting.wakes = name->start != Start::none;
    if (name->start == Start::five_baud)
        live.vetting.only = vet::KlineWaking::five_baud;
    else if (name->start == Start::fast)
        live.vetting.only = vet::KlineWaking::fast;

    say("the line is woken, asked and answered from both ends. It must be a bench line with "
        "nothing "
        "else on it: never a vehicle's.");
    const auto tested = link::make_link(io.get_executor(), *name);
    link::KlinePort reference(io.get_executor(), other->place,
                              other->baud == 0 ? 10'400 : other->baud);
    Progress progress(options.progress);
    vet::LiveKlineVetting vetting(*tested, reference, live);
    return vet_on_links(io, vetting, options, progress);
}

} // namespace telltale::program
