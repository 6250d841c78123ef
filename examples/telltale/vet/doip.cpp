// SPDX-License-Identifier: Apache-2.0
// `telltale vet doip:HOST --against LINK2`: a gateway, and ECUs that are played behind it.
#include <set>
#include <string>

#include <boost/asio/io_context.hpp>

#include "on_links.hpp"
#include "output.hpp"
#include "telltale/base/hex.hpp"
#include "telltale/link/open.hpp"
#include "telltale/vet/live_doip.hpp"
#include "vet.hpp"

namespace telltale::program {

namespace {

bool all_differ(const VetOptions& options, std::uint16_t target) {
    std::set<CanId> identifiers{options.ecu};
    std::set<std::uint16_t> addresses{target};
    for (const VetOptions::Ecu& other : options.others) {
        identifiers.insert(other.id);
        addresses.insert(other.address);
    }
    return identifiers.size() == options.others.size() + 1 &&
           addresses.size() == identifiers.size();
}

} // namespace

Result<vet::Report> vet_doip(const VetOptions& options) {
    if (!options.known.empty())
        return fail(ErrorCode::bad_argument,
                    "lists of known frames are for CAN: leave --known away");
    if (options.unplug)
        return fail(ErrorCode::bad_argument, "--unplug is for CAN");
    boost::asio::io_context io(1);
    const auto name = link::parse_link_name(options.link);
    if (!name)
        return tl::unexpected<Error>(name.error());
    if (name->target == 0)
        return fail(ErrorCode::bad_argument,
                    "name the logical address under which the gateway knows the ECU that is played "
                    "on " +
                        options.against + ": " + options.link + ",target=1001");
    const auto far_end = link::make_link(io.get_executor(), options.against);
    if (!far_end)
        return tl::unexpected<Error>(far_end.error());

    vet::LiveDoipOptions live;
    live.vetting.duration = options.duration;
    live.vetting.seed = options.seed;
    live.open.can.bit_rate = options.bit_rate;
    live.ecu = isotp::tester_address(options.ecu).reversed();
    live.vetting.functional = options.functional;
    for (const VetOptions::Ecu& other : options.others) {
        if (other.id.extended != options.ecu.extended)
            return fail(ErrorCode::bad_argument,
                        "all --ecu are of one length: 11 bits, as 7E8, or 29, as 18DAF110");
        live.others.push_back(isotp::tester_address(other.id).reversed());
        live.vetting.others.push_back(other.address);
    }
    if (!all_differ(options, name->target))
        return fail(
            ErrorCode::bad_argument,
            "each ECU has an identifier and an address of its own: --ecu 7E8 --ecu 7E9=1002");

    say("messages of no service, and what a gateway has to refuse, go to it and to the line behind "
        "it. It must be a bench line with nothing else on it: never a vehicle's.");
    Progress progress(options.progress);
    vet::LiveDoipVetting vetting(*name, **far_end, live);
    return vet_on_links(io, vetting, options, progress);
}

} // namespace telltale::program
