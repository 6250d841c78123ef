// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <cstdint>
#include <string>
#include <vector>

#include "telltale/base/result.hpp"
#include "telltale/vet/known.hpp"
#include "telltale/vet/report.hpp"

namespace telltale::program {

/// What the user asked of `telltale vet`.
struct VetOptions {
    std::string link;         ///< under test
    std::string against;      ///< the reference: a link's name
    std::string dump;         ///< a dump that the adapter's software took, in place of links
    std::string known;        ///< file of known frames; empty: those that are built in
    std::string adapter;      ///< its name, for the report
    std::uint64_t rounds = 0; ///< of the list in the dump, or to send; 0: not said
    bool vehicle = false;     ///< only harmless reads, of a vehicle
    bool send = false;        ///< known frames go onto the line, and nothing is judged
    bool classic = false;     ///< CAN FD frames of the list are left out
    bool unplug = false;      ///< a person takes the adapter off and puts it back
    CanId ecu{0x7E8, false};  ///< DoIP: the ECU that is played answers with it
    struct Ecu {
        CanId id;
        std::uint16_t address;
    };
    std::vector<Ecu> others;      ///< DoIP: further ECUs that are played
    std::uint16_t functional = 0; ///< DoIP: address of all of them; 0: the usual one
    std::uint32_t bit_rate = 0;   ///< of the line; 0: as the links are set
    Time duration = 60 * nanoseconds_a_second;
    std::uint64_t seed = 0; ///< 0: of the clock's making
    bool progress = false;  ///< on standard error
};

// Each kind of vetting is a source of its own. A report is given whatever was found; an error,
// which says in a sentence what to do, when nothing could be tried. They fill in links, checks,
// latencies and notes; the command does the rest (adapter, date, versions, seed, duration).

/// Two CAN links, known frames from both sides.
Result<vet::Report> vet_can(const VetOptions& options);
/// A K-line, and an ECU that is played on its other end.
Result<vet::Report> vet_kline(const VetOptions& options);
/// A DoIP gateway, and ECUs that are played on CAN behind it.
Result<vet::Report> vet_doip(const VetOptions& options);
/// One link and a vehicle.
Result<vet::Report> vet_vehicle(const VetOptions& options);
/// `classic`: without the CAN FD frames. Errors: with file and line.
Result<vet::KnownFrames> read_known_frames(const std::string& file, bool classic);

/// Sends known frames; what was sent, in a line. Errors: with what to do.
Result<std::string> send_known(const VetOptions& options);

/// A dump of known frames.
Result<vet::Report> vet_dump(const VetOptions& options);

/// `text`, `json`, `junit` or `page`.
bool is_report_form(const std::string& form);
std::string write_report(const vet::Report& report, const std::string& form);

} // namespace telltale::program
