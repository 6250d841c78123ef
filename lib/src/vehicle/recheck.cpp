// SPDX-License-Identifier: Apache-2.0
#include "telltale/vehicle/recheck.hpp"

#include <algorithm>
#include <cmath>
#include <set>

#include "describe.hpp"
#include "monitors.hpp"
#include "telltale/vehicle/vin.hpp"

namespace telltale::vehicle {

namespace {

// Common practice: less driving than this since clearing shows little.
constexpr double little_distance_km = 30;
constexpr double few_warm_ups = 2;
constexpr double trim_settled_percent = 10;
constexpr double room_change = 0.02; ///< part of the limits' distance that counts as a move

/// Codes of the latest list and those that were there and went.
std::set<Code> ever(const CodeList& list) {
    std::set<Code> all(list.codes.begin(), list.codes.end());
    for (const auto& change : list.changes)
        all.insert(change.code);
    return all;
}

/// Codes of the latest list and those that came while it was recorded.
std::set<Code> shown_after(const CodeList& list) {
    std::set<Code> all(list.codes.begin(), list.codes.end());
    for (const auto& change : list.changes)
        if (change.came)
            all.insert(change.code);
    return all;
}

const CodeList& list_of(const Ecu& ecu, ListKind kind) {
    return kind == ListKind::stored    ? ecu.stored
           : kind == ListKind::pending ? ecu.pending
                                       : ecu.permanent;
}

constexpr ListKind kinds[] = {ListKind::stored, ListKind::pending, ListKind::permanent};

std::optional<double> last_of(const Ecu* ecu, std::uint8_t pid) {
    const auto* signal = ecu == nullptr ? nullptr : ecu->pid(pid);
    if (signal == nullptr || !signal->is_number)
        return std::nullopt;
    return signal->last;
}
std::optional<double> first_of(const Ecu* ecu, std::uint8_t pid) {
    const auto* signal = ecu == nullptr ? nullptr : ecu->pid(pid);
    if (signal == nullptr || !signal->is_number)
        return std::nullopt;
    return signal->first;
}

/// After a clear, SAE J1979 has values and limits at zero until the test has run.
bool has_run(const TestResult& test) {
    return test.value != 0 || test.low != 0 || test.high != 0;
}

/// The room to the nearer limit. A limit at the end of the raw range limits nothing. Empty when
/// neither limit means anything.
std::optional<double> room(const TestResult& test, double value) {
    const auto raw = [&](double number) { return test.step == 0 ? 0 : number / test.step; };
    const bool low_counts = test.low != 0 && raw(test.low) > -32767.5;
    const bool high_counts =
        std::fabs(raw(test.high) - 65535) > 0.5 && std::fabs(raw(test.high) - 32767) > 0.5;
    if (low_counts && high_counts && test.high > test.low)
        return std::min(value - test.low, test.high - value) / (test.high - test.low);
    if (high_counts && test.high != 0)
        return (test.high - value) / std::fabs(test.high);
    if (low_counts)
        return (value - test.low) / std::fabs(test.low);
    return std::nullopt;
}

std::string count_of(std::size_t number, std::string_view one, std::string_view more) {
    return whole_text(number) + ' ' + std::string(number == 1 ? one : more);
}

class Comparison {
  public:
    Comparison(const Picture& before, const Picture& after, const RecheckOptions& options)
        : before_(before), after_(after), options_(options) {}

    Recheck run() {
        result_.vin_before = before_.vin();
        result_.vin_after = after_.vin();
        for (const auto* ecu : before_.ecus())
            compare(ecu, after_.find(ecu->has_id, ecu->id), id_text(*ecu));
        for (const auto* ecu : after_.ecus())
            if (before_.find(ecu->has_id, ecu->id) == nullptr)
                compare(nullptr, ecu, id_text(*ecu));
        allowance();
        clearing();
        judge();
        return std::move(result_);
    }

  private:
    void compare(const Ecu* was, const Ecu* is, const std::string& id) {
        codes(was, is, id);
        monitors(was, is, id);
        tests(was, is, id);
        trims(was, is, id);
        since_clear(was, is, id);
        lamp_on_ = lamp_on_ || (is != nullptr && is->mil.value_or(false));
        lamp_was_on_ = lamp_was_on_ || (was != nullptr && was->mil.value_or(false));
    }

    void codes(const Ecu* was, const Ecu* is, const std::string& id) {
        for (const auto kind : kinds) {
            const auto former = was != nullptr ? ever(list_of(*was, kind)) : std::set<Code>{};
            const auto present = is != nullptr ? shown_after(list_of(*is, kind)) : std::set<Code>{};
            std::set<Code> all = former;
            all.insert(present.begin(), present.end());
            for (const auto& code : all)
                result_.codes.push_back(
                    {id, kind, code, former.count(code) != 0, present.count(code) != 0});
            former_.insert(former.begin(), former.end());
            const bool heard_before = was != nullptr && list_of(*was, kind).heard;
            const bool heard_after = is != nullptr && list_of(*is, kind).heard;
            if (heard_before && !heard_after)
                result_.gaps.push_back({id, kind});
            heard_stored_ = heard_stored_ || (kind == ListKind::stored && heard_after);
        }
    }

    void monitors(const Ecu* was, const Ecu* is, const std::string& id) {
        std::set<std::uint16_t> keys;
        for (const auto* ecu : {was, is})
            if (ecu != nullptr)
                for (const auto& [key, monitor] : ecu->since_clear.monitors)
                    keys.insert(key);
        for (const auto key : keys) {
            MonitorMove move;
            move.ecu = id;
            move.key = key;
            const auto take = [&](const Ecu* ecu, std::optional<bool>& complete) {
                if (ecu == nullptr)
                    return;
                const auto found = ecu->since_clear.monitors.find(key);
                if (found == ecu->since_clear.monitors.end())
                    return;
                move.name = found->second.name;
                complete = found->second.complete;
            };
            take(was, move.before);
            take(is, move.after);
            move.driving = driving_for(key);
            result_.monitors.push_back(std::move(move));
        }
        heard_readiness_ = heard_readiness_ || (is != nullptr && is->since_clear.heard);
    }

    void tests(const Ecu* was, const Ecu* is, const std::string& id) {
        if (is == nullptr)
            return;
        for (const auto& [key, test] : is->tests) {
            if (!has_run(test)) {
                ++tests_not_run_;
                continue;
            }
            if (!test.passed)
                failing_.push_back(id + " test " + hex_text(key.monitor, 2) + '/' +
                                   hex_text(key.test, 2) + " (" + test.name + ")");
            if (was == nullptr)
                continue;
            const auto found = was->tests.find(key);
            if (found == was->tests.end() || !has_run(found->second) ||
                found->second.unit != test.unit)
                continue;
            move(found->second, test, key, id);
        }
    }

    void move(const TestResult& was, const TestResult& is, TestKey key, const std::string& id) {
        TestMove move;
        move.ecu = id;
        move.key = key;
        move.name = is.name;
        move.before = was.value;
        move.after = is.value;
        move.low = is.low;
        move.high = is.high;
        move.unit = is.unit;
        move.step = is.step;
        move.decimals = is.decimals;
        move.passed_before = was.passed;
        move.passed_after = is.passed;
        if (const auto before = room(was, was.value), after = room(is, is.value); before && after) {
            move.room_before = *before;
            move.room_after = *after;
            if (*after - *before > room_change)
                move.direction = Direction::from_limit;
            else if (*before - *after > room_change)
                move.direction = Direction::towards_limit;
        }
        result_.tests.push_back(std::move(move));
    }

    void trims(const Ecu* was, const Ecu* is, const std::string& id) {
        for (unsigned bank = 0; bank < 2; ++bank) {
            const auto sum = [&](const Ecu* ecu) -> std::optional<double> {
                if (ecu == nullptr || ecu->observed.short_trim[bank].count == 0 ||
                    ecu->observed.long_trim[bank].count == 0)
                    return std::nullopt;
                return ecu->observed.short_trim[bank].mean + ecu->observed.long_trim[bank].mean;
            };
            const auto before = sum(was);
            const auto after = sum(is);
            if (before || after)
                result_.trims.push_back({id, bank + 1, before, after});
        }
    }

    void since_clear(const Ecu* was, const Ecu* is, const std::string& id) {
        constexpr std::uint8_t warm_ups = 0x30;
        constexpr std::uint8_t distance = 0x31;
        constexpr std::uint8_t minutes = 0x4E;
        constexpr std::uint8_t odometer = 0xA6;
        SinceClear since;
        since.ecu = id;
        since.distance_before = last_of(was, distance);
        since.distance_after = last_of(is, distance);
        since.warm_ups_before = last_of(was, warm_ups);
        since.warm_ups_after = last_of(is, warm_ups);
        since.minutes_before = last_of(was, minutes);
        since.minutes_after = last_of(is, minutes);
        since.odometer_before = last_of(was, odometer);
        since.odometer_after = last_of(is, odometer);
        since.driven_in_after = is != nullptr ? is->observed.driven_km : 0;
        // What counts up since clearing is less than it was: it began anew in between.
        for (const auto pid : {warm_ups, distance, minutes}) {
            const auto before = last_of(was, pid);
            const auto after = first_of(is, pid);
            if (!before || !after)
                continue;
            clearing_known_ = true;
            since.cleared = since.cleared || *after < *before;
        }
        since.cleared = since.cleared || (is != nullptr && is->clears != 0) ||
                        (was != nullptr && was->clears != 0);
        if (since.distance_after || since.distance_before || since.warm_ups_after ||
            since.warm_ups_before || since.minutes_after || since.odometer_after || since.cleared)
            result_.since_clear.push_back(since);
    }

    void allowance() {
        for (auto& move : result_.monitors) {
            if (move.after == false)
                ++result_.incomplete_after;
            for (const auto& code : former_)
                move.watches_former_code = move.watches_former_code || watches(move.key, code.dtc);
        }
        if (options_.allowance) {
            result_.allowed_incomplete = *options_.allowance;
            result_.allowance_basis = "as asked for";
            return;
        }
        if (!options_.us_allowance) {
            result_.allowance_basis = "no allowance: every monitor is to be complete";
            return;
        }
        auto year = options_.model_year;
        const auto& vin = result_.vin_after.empty() ? result_.vin_before : result_.vin_after;
        if (!year && check_vin(vin) == VinCheck::right) {
            year = model_year(vin);
            // The letter repeats after thirty years; no model year before 1996 had to have OBD II.
            if (year && *year < 1996)
                *year += 30;
        }
        const bool early = year && *year >= 1996 && *year <= 2000;
        result_.allowed_incomplete = early ? 2 : 1;
        result_.allowance_basis =
            "US inspection guidance (40 CFR 85.2222 and its guidance): at most two incomplete for "
            "model years 1996 to 2000, one from 2001; taken for ";
        result_.allowance_basis +=
            year ? "model year " + std::to_string(*year) : "2001 or later, the year being unknown";
        result_.allowance_basis += ". Local rules come first";
    }

    void clearing() {
        for (const auto& since : result_.since_clear) {
            cleared_ = cleared_ || since.cleared;
            const bool hardly =
                (since.warm_ups_after && *since.warm_ups_after < few_warm_ups) ||
                (since.distance_after && *since.distance_after < little_distance_km);
            if (since.cleared && hardly && result_.incomplete_after > result_.allowed_incomplete) {
                result_.merely_cleared = true;
                hardly_ = &since;
            }
        }
        clearing_known_ = clearing_known_ || cleared_;
    }

    void decide(Verdict verdict, std::string reason) {
        result_.verdict = verdict;
        result_.reason = std::move(reason);
    }

    /// Codes of one list after the repair that were there before (`former`) or were not.
    std::string present(ListKind kind, bool former) const {
        std::string all;
        for (const auto& move : result_.codes)
            if (move.list == kind && move.after && (former_.count(move.code) != 0) == former) {
                const auto text = move.code.text();
                if (all.find(text) == std::string::npos)
                    all += (all.empty() ? "" : ", ") + text;
            }
        return all;
    }

    static std::string is_are(const std::string& list, std::string_view rest) {
        return list + (list.find(',') == std::string::npos ? " is " : " are ") + std::string(rest);
    }

    void judge() {
        notes();
        if (!result_.vin_before.empty() && !result_.vin_after.empty() &&
            result_.vin_before != result_.vin_after)
            return decide(Verdict::not_yet, "The two recordings tell different VINs: they are not "
                                            "of one vehicle.");
        if (faults())
            return;
        const bool had_fault = !former_.empty() || lamp_was_on_ || failing_before();
        if (!had_fault)
            return decide(Verdict::not_yet,
                          "BEFORE shows no code, no lamp and no failing test that AFTER could be "
                          "held against.");
        if (!enough_read() || !enough_run())
            return;
        decide(Verdict::verified,
               "No code that BEFORE had is stored or pending, the lamp is off, and " +
                   (result_.incomplete_after == 0
                        ? std::string("every monitor has run")
                        : count_of(result_.incomplete_after, "monitor is", "monitors are") +
                              " open, which is within the allowance") +
                   ".");
    }

    /// What speaks against the repair.
    bool faults() {
        const auto stored_new = present(ListKind::stored, false);
        const auto pending_new = present(ListKind::pending, false);
        if (!stored_new.empty() || !pending_new.empty()) {
            const auto& codes = stored_new.empty() ? pending_new : stored_new;
            decide(Verdict::failed,
                   is_are(codes, stored_new.empty() ? "pending that BEFORE did not have."
                                                    : "stored that BEFORE did not have."));
            return true;
        }
        const auto stored = present(ListKind::stored, true);
        const auto pending = present(ListKind::pending, true);
        if (!stored.empty() || !pending.empty()) {
            const auto& codes = stored.empty() ? pending : stored;
            const std::string_view list = stored.empty() ? "pending" : "stored";
            if (clearing_known_ && !cleared_)
                decide(Verdict::not_yet,
                       is_are(codes, "still " + std::string(list) +
                                         ": nothing was cleared between the two recordings."));
            else
                decide(Verdict::failed,
                       is_are(codes, std::string(list) + (cleared_ ? " again." : ".")));
            return true;
        }
        if (lamp_on_) {
            decide(Verdict::failed, "The lamp (MIL) is on.");
            return true;
        }
        if (!failing_.empty()) {
            decide(Verdict::failed,
                   failing_.front() + " fails" +
                       (failing_.size() == 1
                            ? std::string(".")
                            : ", and " + whole_text(failing_.size() - 1) + " more."));
            return true;
        }
        return false;
    }

    bool failing_before() const {
        return std::any_of(result_.tests.begin(), result_.tests.end(),
                           [](const TestMove& move) { return !move.passed_before; });
    }

    /// What AFTER must have told.
    bool enough_read() {
        for (const auto& gap : result_.gaps) {
            if (gap.list == ListKind::permanent)
                continue;
            decide(Verdict::not_yet, "AFTER does not tell the " + std::string(word(gap.list)) +
                                         " codes of ECU " + gap.ecu + ": read them.");
            return false;
        }
        if (!heard_stored_) {
            decide(Verdict::not_yet, "AFTER does not tell the stored codes: read them.");
            return false;
        }
        if (!heard_readiness_) {
            decide(Verdict::not_yet,
                   "AFTER does not tell which monitors are complete (PID 01): read it.");
            return false;
        }
        return true;
    }

    /// What must have run since the repair.
    bool enough_run() {
        if (result_.merely_cleared) {
            std::string since;
            if (hardly_->distance_after)
                since += number_text(*hardly_->distance_after, 0) + " km";
            if (hardly_->warm_ups_after)
                since += (since.empty() ? "" : " and ") +
                         count_of(static_cast<std::size_t>(*hardly_->warm_ups_after), "warm-up",
                                  "warm-ups");
            decide(Verdict::not_yet,
                   "Codes were merely cleared, " + since + " ago: " +
                       count_of(result_.incomplete_after, "monitor has", "monitors have") +
                       " not run since.");
            return false;
        }
        for (const auto& move : result_.monitors)
            if (move.watches_former_code && move.after == false) {
                decide(Verdict::not_yet,
                       "The monitor that would find the fault again has not run: " + move.name +
                           ".");
                return false;
            }
        if (result_.incomplete_after > result_.allowed_incomplete) {
            decide(Verdict::not_yet,
                   count_of(result_.incomplete_after, "monitor has", "monitors have") +
                       " not run, " + whole_text(result_.allowed_incomplete) +
                       (result_.allowed_incomplete == 1 ? " is" : " are") + " allowed.");
            return false;
        }
        for (const bool former : {true, false})
            if (const auto permanent = present(ListKind::permanent, former); !permanent.empty()) {
                decide(Verdict::not_yet,
                       is_are(permanent, "still permanent: it goes by itself once its monitor has "
                                         "run and passed."));
                return false;
            }
        for (const auto& trim : result_.trims)
            if (trim.after && std::fabs(*trim.after) > trim_settled_percent) {
                decide(Verdict::not_yet, "Fuel trims of bank " + std::to_string(trim.bank) +
                                             " still come to " + number_text(*trim.after, 1) +
                                             " % in the mean.");
                return false;
            }
        return true;
    }

    void notes() {
        if (before_.first_time() != no_time && after_.first_time() != no_time &&
            after_.first_time() < before_.first_time())
            result_.notes.emplace_back(
                "AFTER was recorded earlier than BEFORE by its own clock: are the two in their "
                "order?");
        if (result_.vin_before.empty() || result_.vin_after.empty())
            result_.notes.emplace_back("The VIN is not in both recordings: that they are of one "
                                       "vehicle is taken for granted.");
        if (!clearing_known_)
            result_.notes.emplace_back(
                "Whether codes were cleared in between cannot be told: PIDs 30, 31 and 4E are not "
                "in both recordings.");
        if (tests_not_run_ != 0)
            result_.notes.push_back(
                count_of(tests_not_run_, "monitor test has", "monitor tests have") +
                " no result in AFTER: all zero, as after clearing.");
        for (const auto& gap : result_.gaps)
            if (gap.list == ListKind::permanent)
                result_.notes.push_back("AFTER does not tell the permanent codes of ECU " +
                                        gap.ecu + ".");
        if (before_.conversation().problem_count + after_.conversation().problem_count != 0)
            result_.notes.emplace_back("Parts of the recordings are damaged; what was damaged is "
                                       "left out (`telltale report` counts it).");
    }

    const Picture& before_;
    const Picture& after_;
    const RecheckOptions& options_;
    Recheck result_;
    std::set<Code> former_;
    std::vector<std::string> failing_;
    std::size_t tests_not_run_ = 0;
    bool lamp_on_ = false;
    bool lamp_was_on_ = false;
    bool heard_stored_ = false;
    bool heard_readiness_ = false;
    bool clearing_known_ = false;
    bool cleared_ = false;
    const SinceClear* hardly_ = nullptr;
};

} // namespace

std::string_view word(Verdict verdict) noexcept {
    switch (verdict) {
    case Verdict::verified:
        return "verified";
    case Verdict::not_yet:
        return "not-yet";
    case Verdict::failed:
        break;
    }
    return "failed";
}

std::string_view word(ListKind kind) noexcept {
    switch (kind) {
    case ListKind::stored:
        return "stored";
    case ListKind::pending:
        return "pending";
    case ListKind::permanent:
        break;
    }
    return "permanent";
}

Recheck recheck(const Picture& before, const Picture& after, const RecheckOptions& options) {
    return Comparison(before, after, options).run();
}

} // namespace telltale::vehicle
