// SPDX-License-Identifier: Apache-2.0
// Vetting by a vehicle: only harmless reads.
#include "telltale/vet/vehicle.hpp"

#include "live.hpp"
#include "output.hpp"
#include "telltale/client/finder.hpp"
#include "vet.hpp"

namespace telltale::program {

Result<vet::Report> vet_vehicle(const VetOptions& options) {
    say("the vehicle stands, ignition on; only the VIN and support bitmaps are read");
    LiveVehicle vehicle(options.link, {});
    if (!vehicle.find())
        return fail(ErrorCode::cannot_open, "no vehicle to vet with on " + options.link);
    vet::VehicleOptions how;
    how.dialect = vehicle.line().dialect;
    how.ecus = vehicle.ecus();
    how.on_uds = vehicle.on_uds();
    how.duration = options.duration;
    vet::VehicleVetting vetting(how);
    const bool whole = vehicle.run(vetting) || vetting.done();
    vet::Report report = vetting.report(vehicle.counts());
    if (!whole)
        report.broken_off = "It was broken off by its user, or the line went away for good.";
    report.links.push_back({options.link, "under test", client::describe(vehicle.line())});
    return report;
}

} // namespace telltale::program
