// SPDX-License-Identifier: Apache-2.0
// Vetting over SocketCAN and over the kernel's driver for serial-line adapters: sound, and with a
// link around the one under test that spoils what it receives. Runs inside the machine that run.sh
// starts.
#include <boost/asio/io_context.hpp>
#include <doctest/doctest.h>

#include <chrono>
#include <cstdio>
#include <string>

#include "cable.hpp"
#include "support/run_until.hpp"
#include "telltale/link/around.hpp"
#include "telltale/link/open.hpp"
#include "telltale/vet/built_in.hpp"
#include "telltale/vet/live.hpp"

using namespace telltale;

namespace {

vet::Report vetted(const link::FaultRates& received, const std::string& tested_name = "can:vcan0",
                   const std::string& reference_name = "can:vcan0") {
    boost::asio::io_context io(1);
    auto tested = link::make_link(io.get_executor(), tested_name);
    auto reference = link::make_link(io.get_executor(), reference_name);
    REQUIRE(tested);
    REQUIRE(reference);
    std::unique_ptr<link::Link> around = std::move(*tested);
    if (received.drop + received.twice + received.corrupt + received.reorder > 0) {
        link::Faults faults;
        faults.received = received;
        around = link::faulty(std::move(around), faults);
    }
    vet::LiveOptions options;
    options.vetting.duration = nanoseconds_a_second;
    if (received.drop == 0) // in step: each that is lost is waited for
        options.vetting.known = vet::built_in_frames(1);
    vet::LiveVetting vetting(*around, **reference, options);
    bool over = false;
    bool fine = false;
    vetting.start([&](bool done) {
        over = true;
        fine = done;
    });
    REQUIRE(tests::run_until(
        io, [&] { return over; }, std::chrono::seconds(60)));
    CAPTURE(vetting.trouble());
    REQUIRE(fine);
    return vetting.report();
}

/// Of an adapter that is sound: a machine that waits for its turn looks bad now and then; a fault
/// would show every time.
vet::Report vetted_sound(const std::string& tested_name, const std::string& reference_name) {
    vet::Report report;
    for (int i = 0; i < 3 && report.verdict() != vet::Verdict::passed; ++i) {
        report = vetted({}, tested_name, reference_name);
        for (const auto& check : report.checks)
            if (check.verdict == vet::Verdict::failed)
                std::printf("%s: %s\n", check.id.c_str(), check.finding.c_str());
    }
    return report;
}

const vet::Check& check(const vet::Report& report, std::string_view id) {
    for (const auto& check : report.checks)
        if (check.id == id)
            return check;
    FAIL("no check " << std::string(id));
    return report.checks.front();
}

} // namespace

TEST_CASE("vet: the kernel's virtual CAN is a sound adapter") {
    const auto report = vetted_sound("can:vcan0", "can:vcan0");
    CHECK(report.verdict() == vet::Verdict::passed);
    for (const char* id : {"frames-lengths", "frames-ids-11", "frames-ids-29", "frames-data",
                           "frames-remote", "filters", "isotp-messages", "isotp-padding",
                           "load-loss", "load-order", "load-twice", "load-changed", "load-fd"})
        CHECK_MESSAGE(check(report, id).verdict == vet::Verdict::passed, id);
    for (const char* id : {"times-drift", "errors-reported", "replug", "load-limit"})
        CHECK_MESSAGE(check(report, id).verdict == vet::Verdict::untested, id);
    std::printf("vet: %s\n", check(report, "load-loss").came.c_str());
    std::printf("vet: %s\n", check(report, "load-limit").came.c_str());
}

TEST_CASE("vet: an adapter that loses frames on the kernel's virtual CAN is found") {
    link::FaultRates rates;
    rates.drop = 0.02;
    const auto report = vetted(rates);
    CHECK(report.verdict() == vet::Verdict::failed);
    const auto& loss = check(report, "load-loss");
    CHECK(loss.verdict == vet::Verdict::failed);
    CHECK(loss.finding.find("that the adapter receives are lost") != std::string::npos);
    CHECK(check(report, "load-twice").verdict == vet::Verdict::passed);
    std::printf("vet: %s\n", loss.finding.c_str());
}

TEST_CASE("vet: an adapter that doubles frames, or turns bits over, is found") {
    link::FaultRates rates;
    rates.twice = rates.corrupt = 0.01;
    const auto report = vetted(rates);
    for (const char* id : {"load-twice", "load-changed"}) {
        CHECK(check(report, id).verdict == vet::Verdict::failed);
        std::printf("vet: %s\n", check(report, id).finding.c_str());
    }
    CHECK(check(report, "load-loss").verdict == vet::Verdict::passed);
}

TEST_CASE("vet: a serial-line adapter against the kernel's own driver, sound and losing frames") {
    whole::Cable cable;
    const std::string reference = "can:" + whole::slcan_interface(cable, 0);
    const std::string tested = "slcan:" + cable.path(1) + "@500k";
    const auto sound = vetted_sound(tested, reference);
    CHECK(sound.verdict() == vet::Verdict::passed);
    for (const char* id : {"frames-lengths", "frames-remote", "isotp-messages", "load-loss",
                           "load-order", "load-twice"})
        CHECK_MESSAGE(check(sound, id).verdict == vet::Verdict::passed, id);
    CHECK(check(sound, "load-fd").verdict == vet::Verdict::untested);

    link::FaultRates rates;
    rates.drop = 0.02;
    const auto losing = vetted(rates, tested, reference);
    CHECK(check(losing, "load-loss").verdict == vet::Verdict::failed);
    std::printf("vet, serial line: %s\n", check(losing, "load-loss").finding.c_str());
}
