// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <cstdint>
#include <memory>
#include <string>
#include <vector>

#include "telltale/base/export.hpp"
#include "telltale/base/time.hpp"
#include "telltale/dump/reader.hpp"
#include "telltale/frame/can.hpp"
#include "telltale/vet/known.hpp"
#include "telltale/vet/report.hpp"

namespace telltale::vet {

/// What is known of how the list was sent.
struct OfflineOptions {
    /// The list was sent so often, from its start to its end, and nothing of it is missing before
    /// and after the dump; 0: not known, then what lies before the first known frame that came and
    /// after the last is not judged.
    std::uint64_t rounds = 0;
};

/// Holds a dump that an adapter's own software took against the known frames that were sent over
/// and over meanwhile. The dump may begin and end anywhere in the list, and may hold other traffic.
///
/// Each interface of the dump, and on it what was received, sent and of unknown direction, is
/// looked at by itself; the one with most known frames is judged. A frame is found by its place in
/// the list and by its bits, all of them; where they differ, by its identifier or by its data.
///
/// Memory: a few hundred frames for each of at most 16 interfaces and directions, however long the
/// dump is.
///
/// What cannot be told from a dump: whole rounds of the list that are lost together, and what was
/// lost of a list whose frames are all the same.
///
/// Not safe for two threads at once; one that was moved from can only be destroyed or assigned to.
class TELLTALE_API DumpVetting {
  public:
    /// `known` is copied.
    explicit DumpVetting(const KnownFrames& known, const OfflineOptions& options = {});
    ~DumpVetting();
    DumpVetting(DumpVetting&&) noexcept;
    DumpVetting& operator=(DumpVetting&&) noexcept;

    /// The next record of the dump; those that are no CAN frames are passed over.
    void record(const dump::Record& record);
    /// The same of a frame alone. `time`: ns on one scale, or `no_time`; nothing of it is kept.
    void frame(std::uint16_t line, dump::Direction direction, const CanFrame& frame, Time time);

    /// What was counted on the way.
    struct Summary {
        std::uint64_t frames = 0;  ///< of the interface that is judged, error frames left out
        std::uint64_t found = 0;   ///< known frames, whole or changed
        std::uint64_t foreign = 0; ///< other traffic
        std::uint64_t errors = 0;  ///< error frames
        std::uint64_t first = 0;   ///< place in the list of the first known frame, from 0
        std::uint64_t due = 0;     ///< known frames that had to be there
        std::uint64_t lost = 0;
        std::uint64_t twice = 0;
        std::uint64_t late = 0; ///< out of order
        std::uint64_t changed = 0;
        std::uint64_t back = 0; ///< times that step back
        std::uint16_t line = 0;
        dump::Direction direction = dump::Direction::unknown;
        Time resolution = 0; ///< of the time stamps, ns; 0: not known
        unsigned others = 0; ///< other interfaces or directions with known frames
    };
    /// The dump is over: the rows of the report. `untested` all of them where not one known frame
    /// was found. Once.
    std::vector<Check> finish();
    /// After `finish`; lives as long as this.
    const Summary& summary() const noexcept;

  private:
    class Impl;
    std::unique_ptr<Impl> impl_;
};

/// In which way a frame differs from the one that was sent, in words: `extended flag lost`,
/// `byte 8 cut`, `byte 3 bits 0 and 7`; empty: it does not.
TELLTALE_API std::string difference(const KnownFrame& known, const CanFrame& came);

} // namespace telltale::vet
