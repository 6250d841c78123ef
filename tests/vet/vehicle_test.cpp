// SPDX-License-Identifier: Apache-2.0
// An adapter on a vehicle: the simulated vehicle behind a line that spoils what goes over it.
#include <doctest/doctest.h>

#include <map>
#include <string>
#include <vector>

#include "client/wire.hpp"
#include "telltale/vet/vehicle.hpp"
#include "verdicts.hpp"

using namespace telltale;
using namespace telltale::vet;
using telltale::tests::sec;
using vet_test::Rows;
using vet_test::with;

namespace {

Report vetted(const tests::Troubles& troubles, std::uint64_t seed, const mimic::Options& options,
              std::uint64_t most = 300) {
    mimic::Vehicle vehicle(options);
    client::Line line;
    line.dialect = options.extended_ids ? client::Dialect::can_29 : client::Dialect::can_11;
    line.bit_rate = 500'000;
    client::Session session(line, client::timing_of(line.dialect));
    tests::Wire wire(session, vehicle, seed);
    wire.keep_spoken = false;
    wire.troubles = troubles;
    wire.troubles.from = wire.now + sec; // the first answers are what the others are held against
    // Nothing but what reads may be sent.
    wire.on_frame = [](const CanFrame& frame, Time, bool to_client) {
        if (to_client || frame.data.empty())
            return;
        const unsigned service = frame.data.size() > 1 ? frame.data[1] : 0U;
        const bool flow = frame.data[0] >> 4 == 3;
        CHECK((flow || service == 0x01 || service == 0x09 || service == 0x22));
    };
    VehicleOptions how;
    how.dialect = line.dialect;
    for (std::size_t i = 0; i < vehicle.ecus(); ++i)
        how.ecus.push_back(vehicle.response_id(i));
    how.on_uds = options.obd_on_uds;
    how.most = most;
    VehicleVetting vetting(how);
    session.run(vetting, wire.now);
    REQUIRE(wire.run(wire.now + 70 * sec, [&] { return session.done(); }));
    return vetting.report(session.conversation().counts());
}

/// A vehicle of one ECU that says nothing for a while, or never.
struct Muted {
    static VehicleOptions one_ecu(Time duration) {
        VehicleOptions how;
        how.duration = duration;
        how.ecus = {{0x7E8, false}};
        return how;
    }
    static mimic::Options alone() {
        mimic::Options options;
        options.ecus = 1;
        return options;
    }
    explicit Muted(Time duration) : vetting(one_ecu(duration)) {
        wire.mute = true;
        session.run(vetting, wire.now);
    }
    bool done_within(Time most) {
        return wire.run(wire.now + most, [&] { return session.done(); });
    }
    Report report() const { return vetting.report(session.conversation().counts()); }

    mimic::Vehicle vehicle{alone()};
    client::Session session;
    tests::Wire wire{session, vehicle};
    VehicleVetting vetting;
};

} // namespace

TEST_CASE("a sound adapter on a sound vehicle passes") {
    for (const bool extended : {false, true})
        for (const bool uds : {false, true}) {
            mimic::Options options;
            options.extended_ids = extended;
            options.obd_on_uds = uds;
            options.seed = 5;
            const Report report = vetted({}, 1, options);
            CHECK(with(report, Verdict::failed) == Rows{});
            CHECK(with(report, Verdict::untested) == Rows{});
            REQUIRE(report.latencies.size() == 1);
            CHECK(report.latencies[0].latency.total() >= 500);
            CHECK(report.checks[0].sent_count == 300);
        }
}

TEST_CASE("an adapter that harms what it carries is found on a vehicle") {
    struct Harm {
        const char* name;
        tests::Troubles troubles;
        Rows any; ///< one of these rows fails
    };
    std::vector<Harm> harms(3);
    harms[0] = {"drops one frame in 500", {}, {"vehicle-answers", "vehicle-isotp"}};
    harms[0].troubles.drop = 0.002;
    harms[1] = {"turns over a bit in one frame in 200", {}, {"vehicle-vin", "vehicle-support"}};
    harms[1].troubles.corrupt = 0.005;
    harms[2] = {"doubles one frame in 300", {}, {"vehicle-isotp", "vehicle-twice"}};
    harms[2].troubles.twice = 0.0033;
    for (const Harm& harm : harms) {
        CAPTURE(harm.name);
        for (std::uint64_t seed = 1; seed <= 10; ++seed) {
            CAPTURE(seed);
            const Report report = vetted(harm.troubles, seed, {}, 400);
            const Rows failed = with(report, Verdict::failed);
            bool found = false;
            for (const std::string& row : harm.any)
                found = found || std::find(failed.begin(), failed.end(), row) != failed.end();
            if (!found)
                for (const Check& check : report.checks)
                    MESSAGE(std::string(harm.name) << ": " << check.id << " " << check.sent_count);
            CHECK(found);
        }
    }
}

TEST_CASE("a VIN that is not told at first is asked for again") {
    Muted muted(60 * sec);
    CHECK(!muted.done_within(5 * sec));
    muted.wire.mute = false;
    REQUIRE(muted.done_within(70 * sec));
    const Report report = muted.report();
    CHECK(report.checks[0].id == "vehicle-vin");
    CHECK(report.checks[0].verdict == Verdict::passed);
}

TEST_CASE("a silent vehicle, and one that cannot be judged, are untested") {
    Muted muted(5 * sec);
    REQUIRE(muted.done_within(10 * sec));
    const Report report = muted.report();
    CHECK(report.verdict() == Verdict::untested);
    CHECK(report.count(Verdict::untested) == report.checks.size());
}
