// SPDX-License-Identifier: Apache-2.0
// Dumps of known frames with faults put in: each fault is found by its own row, with its count, and
// by no other row; a sound dump passes, wherever it begins and whatever else is on the line.
#include <doctest/doctest.h>

#include <algorithm>
#include <fstream>
#include <functional>
#include <iterator>
#include <map>
#include <random>
#include <string>
#include <vector>

#include "telltale/vet/known_text.hpp"
#include "telltale/vet/offline.hpp"

using namespace telltale;
using namespace telltale::vet;

namespace {

const KnownFrames& list() {
    static const KnownFrames known = [] {
        std::ifstream in(std::string(TELLTALE_SOURCE_DIR) + "/vectors/known-frames.txt");
        const std::string text{std::istreambuf_iterator<char>(in), {}};
        auto read = parse_known_frames(text);
        REQUIRE(read.has_value());
        return *read;
    }();
    return known;
}

struct Stamped {
    KnownFrame frame;
    Time time = 0;
};
using Dump = std::vector<Stamped>;
using Random = std::mt19937; // its numbers are the same everywhere; distributions' are not

std::uint32_t below(Random& random, std::uint32_t bound) {
    return static_cast<std::uint32_t>(random() % bound);
}

/// `count` frames of the list over and over, from place `from` on, 250 us apart.
Dump sent(std::size_t from, std::size_t count) {
    Dump dump;
    for (std::size_t i = 0; i < count; ++i)
        dump.push_back({list().frames[(from + i) % list().frames.size()],
                        static_cast<Time>(i) * 250'000 + 1'000'000'000});
    return dump;
}

/// Other traffic in between: one frame in `every`, some on identifiers of the list.
Dump mixed(const Dump& dump, Random& random, std::uint32_t every) {
    Dump out;
    for (const Stamped& stamped : dump) {
        if (below(random, every) == 0) {
            KnownFrame other;
            other.id.value = 0x500 + below(random, 0x80);
            if (below(random, 4) == 0)
                other.id.value = 0x7E8;
            other.size = 8;
            for (std::size_t i = 0; i < 8; ++i)
                other.data[i] = static_cast<std::uint8_t>(below(random, 256));
            out.push_back({other, stamped.time});
        }
        out.push_back(stamped);
    }
    return out;
}

struct Outcome {
    std::map<std::string, Check> rows;
    DumpVetting::Summary summary;
    std::vector<std::string> failed;
    std::vector<std::string> untested;
};

Outcome vetted(const Dump& dump, const OfflineOptions& options = {}) {
    DumpVetting vetting(list(), options);
    for (const Stamped& stamped : dump)
        vetting.frame(0, dump::Direction::received, stamped.frame.view(), stamped.time);
    Outcome outcome;
    for (Check& check : vetting.finish()) {
        CHECK_FALSE(check.basis.empty());
        CHECK((check.verdict == Verdict::passed) == check.finding.empty());
        if (check.verdict == Verdict::failed && check.group != "known frames")
            outcome.failed.push_back(check.id);
        if (check.verdict == Verdict::untested)
            outcome.untested.push_back(check.id);
        outcome.rows[check.id] = std::move(check);
    }
    outcome.summary = vetting.summary();
    return outcome;
}

using Rows = std::vector<std::string>;

} // namespace

TEST_CASE("a sound dump passes wherever it begins, with and without other traffic") {
    Random random(1);
    for (unsigned seed = 0; seed < 20; ++seed) {
        CAPTURE(seed);
        const std::size_t count = 900 + below(random, 900);
        Dump dump = sent(below(random, 400), count);
        if (seed % 2 == 1)
            dump = mixed(dump, random, 1 + seed % 5);
        const Outcome outcome = vetted(dump);
        CHECK(outcome.failed == Rows{});
        CHECK(outcome.untested == Rows{});
        CHECK(outcome.summary.due == count);
        CHECK(outcome.summary.found == count);
        CHECK(outcome.summary.frames == dump.size());
        CHECK(outcome.summary.foreign == dump.size() - count);
    }
    const Outcome whole = vetted(sent(0, 3 * list().frames.size()), {3});
    CHECK(whole.failed == Rows{});
    CHECK(whole.rows.at("dump-time-resolution").came == "steps of 250.000 us");
}

TEST_CASE("one frame lost in ten thousand is found, and named") {
    Random random(2);
    for (unsigned seed = 0; seed < 20; ++seed) {
        Dump dump = sent(below(random, 400), 10'000);
        const std::size_t at = 1 + below(random, 9'998);
        const std::string gone = describe_frame(dump[at].frame.view());
        dump.erase(dump.begin() + static_cast<std::ptrdiff_t>(at));
        if (seed % 2 == 1)
            dump = mixed(dump, random, 3);
        const Outcome outcome = vetted(dump);
        CHECK(outcome.failed == Rows{"dump-lost"});
        const Check& row = outcome.rows.at("dump-lost");
        CHECK(row.wrong_count == 1);
        REQUIRE(row.examples.size() == 1);
        CHECK(row.examples[0].sent == gone);
        CHECK(row.finding == "1 frame is lost of 10,000 known frames");
        CHECK(outcome.summary.due == 10'000);
    }
}

TEST_CASE("faults are found by their own row, with their count") {
    struct Fault {
        const char* row;
        std::string words; ///< in the finding
        /// Puts it into the frame at this place; false: not possible there.
        std::function<bool(Dump&, std::size_t, Random&)> put;
    };
    const std::vector<Fault> faults{
        {"dump-lost", "lost",
         [](Dump& dump, std::size_t at, Random&) {
             dump.erase(dump.begin() + static_cast<std::ptrdiff_t>(at));
             return true;
         }},
        {"dump-twice", "twice",
         [](Dump& dump, std::size_t at, Random& random) {
             const std::size_t to = at + 1 + below(random, 3);
             const Stamped copy{dump[at].frame, dump[to - 1].time};
             dump.insert(dump.begin() + static_cast<std::ptrdiff_t>(to), copy);
             return true;
         }},
        {"dump-order", "out of order",
         [](Dump& dump, std::size_t at, Random&) {
             std::swap(dump[at].frame, dump[at + 1].frame);
             return true;
         }},
        {"dump-identifier", "extended flag lost",
         [](Dump& dump, std::size_t at, Random&) {
             KnownFrame& frame = dump[at].frame;
             if (!frame.id.extended || (frame.size < 4 && frame.id.value < 0x800))
                 return false;
             frame.id = {frame.id.value & CanId::max_standard, false};
             return true;
         }},
        {"dump-identifier", "identifier bits",
         [](Dump& dump, std::size_t at, Random& random) {
             KnownFrame& frame = dump[at].frame;
             if (frame.size < 4)
                 return false;
             frame.id.value ^= 1U << below(random, frame.id.extended ? 29 : 11);
             return true;
         }},
        {"dump-length", "byte 8 cut",
         [](Dump& dump, std::size_t at, Random&) {
             if (dump[at].frame.size != 8)
                 return false;
             dump[at].frame.size = 7;
             return true;
         }},
        {"dump-length", "added",
         [](Dump& dump, std::size_t at, Random&) {
             KnownFrame& frame = dump[at].frame;
             if (frame.kind == CanKind::remote || frame.size >= 8)
                 return false;
             for (; frame.size < 8; ++frame.size)
                 frame.data[frame.size] = 0xAA;
             return true;
         }},
        {"dump-data", "byte ",
         [](Dump& dump, std::size_t at, Random& random) {
             KnownFrame& frame = dump[at].frame;
             if (frame.size == 0)
                 return false;
             frame.data[below(random, frame.size)] ^=
                 static_cast<std::uint8_t>(1U << below(random, 8));
             return true;
         }},
        {"dump-kind", "remote frame became a data frame",
         [](Dump& dump, std::size_t at, Random&) {
             KnownFrame& frame = dump[at].frame;
             if (frame.kind != CanKind::remote)
                 return false;
             frame.kind = CanKind::data;
             frame.size = frame.remote_length;
             frame.remote_length = 0;
             return true;
         }},
        {"dump-kind", "bit rate switch lost",
         [](Dump& dump, std::size_t at, Random&) {
             if (!dump[at].frame.bit_rate_switch)
                 return false;
             dump[at].frame.bit_rate_switch = false;
             return true;
         }},
        {"dump-kind", "became a classical one",
         [](Dump& dump, std::size_t at, Random&) {
             KnownFrame& frame = dump[at].frame;
             if (!frame.fd || frame.size > 8)
                 return false;
             frame.fd = frame.bit_rate_switch = false;
             return true;
         }},
    };
    for (const Fault& fault : faults) {
        CAPTURE(fault.words);
        unsigned right = 0;
        for (unsigned seed = 0; seed < 25; ++seed) {
            Random random(seed);
            Dump dump = sent(below(random, 400), 2'500);
            // Apart from each other, so that each is one by itself.
            unsigned put = 0;
            for (std::size_t at = 60; at + 60 < dump.size() && put < 9; at += 30)
                for (std::size_t i = 0; i < 24; ++i)
                    if (fault.put(dump, at + i, random)) {
                        ++put;
                        break;
                    }
            REQUIRE(put > 0);
            if (seed % 2 == 1)
                dump = mixed(dump, random, 4);
            const Outcome outcome = vetted(dump);
            const Check& row = outcome.rows.at(fault.row);
            const bool found = outcome.failed == Rows{fault.row} && row.wrong_count == put &&
                               row.finding.find(fault.words) != std::string::npos &&
                               row.examples.size() == std::min<std::size_t>(put, 5);
            if (!found) {
                MESSAGE(seed << ": " << row.wrong_count << " of " << put << " " << row.finding);
                for (const std::string& other : outcome.failed)
                    MESSAGE(other << " " << outcome.rows.at(other).finding);
            }
            right += found ? 1 : 0;
        }
        CHECK(right == 25);
    }
}

TEST_CASE("an adapter that harms every frame of a kind is found from its first frame on") {
    const std::size_t frames = 2 * list().frames.size();
    Dump cut = sent(7, frames);
    std::uint64_t harmed = 0;
    for (Stamped& stamped : cut)
        if (stamped.frame.size == 8) {
            stamped.frame.size = 7;
            ++harmed;
        }
    const Outcome shorter = vetted(cut);
    CHECK(shorter.rows.at("dump-length").wrong_count == harmed);
    CHECK(shorter.failed == Rows{"dump-length"});

    Dump short_ids = sent(0, frames);
    harmed = 0;
    for (Stamped& stamped : short_ids)
        if (stamped.frame.id.extended) {
            stamped.frame.id = {stamped.frame.id.value & CanId::max_standard, false};
            ++harmed;
        }
    const Outcome flags = vetted(short_ids);
    // Without data, and of 11 bits, some cannot be told from others of the list.
    CHECK(flags.rows.at("dump-identifier").wrong_count + 6 >= harmed);
    CHECK(flags.rows.at("dump-identifier").finding.find("extended flag lost") != std::string::npos);
    CHECK(flags.rows.at("known-identifiers-29").verdict == Verdict::failed);
    CHECK(flags.rows.at("known-identifiers-11").verdict == Verdict::passed);

    Dump padded = sent(100, frames);
    harmed = 0;
    for (Stamped& stamped : padded) {
        KnownFrame& frame = stamped.frame;
        if (frame.kind != CanKind::data || frame.size >= 8)
            continue;
        ++harmed;
        for (; frame.size < 8; ++frame.size)
            frame.data[frame.size] = 0x55;
    }
    CHECK(vetted(padded).rows.at("dump-length").wrong_count == harmed);
}

TEST_CASE("long losses, lost kinds of frames, and what lies before and after") {
    for (const std::size_t gap : {2U, 15U, 16U, 17U, 150U, 193U, 250U, 330U}) {
        CAPTURE(gap);
        Dump dump = sent(50, 2'000);
        dump.erase(dump.begin() + 700, dump.begin() + 700 + static_cast<std::ptrdiff_t>(gap));
        const Outcome outcome = vetted(dump);
        CHECK(outcome.summary.lost == gap);
        CHECK(outcome.failed == Rows{"dump-lost"});
    }
    // Not judged, unless it is known that they were sent.
    Dump classical = sent(0, 3 * list().frames.size());
    classical.erase(std::remove_if(classical.begin(), classical.end(),
                                   [](const Stamped& stamped) {
                                       return stamped.frame.fd ||
                                              stamped.frame.kind == CanKind::remote;
                                   }),
                    classical.end());
    const Outcome without = vetted(classical);
    CHECK(without.failed == Rows{});
    CHECK(without.untested == Rows{"known-remote", "known-fd-lengths", "known-fd-data"});
    const Outcome with = vetted(classical, {3});
    CHECK(with.failed == Rows{"dump-lost"});
    CHECK(with.rows.at("known-remote").came == "54 lost");

    Dump ends = sent(10, list().frames.size() - 15);
    CHECK(vetted(ends).failed == Rows{});
    CHECK(vetted(ends, {1}).summary.lost == 15);
    CHECK(vetted(ends, {1'000'000}).summary.lost == 1'000'000 * list().frames.size() - ends.size());
}

TEST_CASE("times that step back, stand still or are coarse") {
    Dump dump = sent(0, 1'000);
    dump[500].time -= 3'000'000;
    const Outcome back = vetted(dump);
    CHECK(back.failed == Rows{"dump-time"});
    CHECK(back.rows.at("dump-time").finding ==
          "the time stamps step back 1 time; the first steps back by 0.002750 s");
    for (Stamped& stamped : dump)
        stamped.time = stamped.time / 10'000'000 * 10'000'000;
    CHECK(vetted(dump).failed == Rows{"dump-time-resolution"});
    for (Stamped& stamped : dump)
        stamped.time = 5;
    CHECK(vetted(dump).rows.at("dump-time-resolution").finding == "all time stamps are the same");
    for (Stamped& stamped : dump)
        stamped.time = no_time;
    CHECK(vetted(dump).untested == Rows{"dump-time", "dump-time-resolution"});
}

TEST_CASE("what is no dump of the known frames is untested, never passed") {
    Random random(3);
    Dump other;
    for (unsigned i = 0; i < 5'000; ++i) {
        KnownFrame frame;
        frame.id.value = below(random, 0x800);
        frame.size = 8;
        for (std::size_t k = 0; k < 8; ++k)
            frame.data[k] = static_cast<std::uint8_t>(below(random, 256));
        other.push_back({frame, static_cast<Time>(i)});
    }
    for (const Dump& dump : {other, Dump{}}) {
        const Outcome outcome = vetted(dump);
        CHECK(outcome.untested.size() == outcome.rows.size());
        CHECK(outcome.summary.found == 0);
        CHECK(outcome.rows.at("dump-lost").finding == "not one known frame is in the dump");
    }
}

TEST_CASE("the interface with most known frames is judged") {
    DumpVetting vetting(list());
    const Dump dump = sent(0, 800);
    for (std::size_t i = 0; i < dump.size(); ++i) {
        vetting.frame(0, dump::Direction::sent, dump[i].frame.view(), dump[i].time);
        if (i < 300)
            vetting.frame(1, dump::Direction::received, dump[i].frame.view(), dump[i].time);
    }
    vetting.finish();
    CHECK(vetting.summary().due == 800);
    CHECK(vetting.summary().direction == dump::Direction::sent);
    CHECK(vetting.summary().others == 1);
}
