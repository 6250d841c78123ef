// SPDX-License-Identifier: Apache-2.0
#include "telltale/vehicle/picture.hpp"

#include <algorithm>
#include <cmath>
#include <tuple>

#include "telltale/base/hex.hpp"
#include "telltale/catalogue/catalogue.hpp"

namespace telltale::vehicle {

using message::Dtc;
using message::Kind;
using message::Said;
using message::Value;
using message::ValueKind;

namespace {

constexpr std::uint8_t by_local_id = 0x21;
constexpr std::uint8_t by_data_id = 0x22;
constexpr std::uint8_t code_reports = 0x19;
constexpr std::uint16_t pid_block = 0xF400;

// Subfunctions of service 19 (ISO 14229-1, SAE J1979-2).
constexpr std::uint8_t report_by_mask = 0x02;
constexpr std::uint8_t report_permanent = 0x15;
constexpr std::uint8_t report_emissions = 0x42;
constexpr std::uint8_t report_emissions_permanent = 0x55;
constexpr std::uint8_t report_readiness_group = 0x56;

// Status bits (ISO 14229-1, annex D).
constexpr std::uint8_t status_pending = 0x04;
constexpr std::uint8_t status_confirmed = 0x08;
constexpr std::uint8_t status_open_since_clear = 0x10;
constexpr std::uint8_t status_open_this_cycle = 0x40;
constexpr std::uint8_t status_lamp = 0x80;

// ISO 15765-4: P2CAN, in which an ECU answers. What was asked later than that before the end of
// the dump need not have been answered in it.
constexpr Time answer_due = 50 * nanoseconds_a_millisecond;

/// A PID of service 01, or its data identifier; empty for anything else.
std::optional<std::uint8_t> pid_of(std::uint8_t service, std::uint16_t id) {
    const auto same = message::same_signal(service, id);
    if (same.service != 0x01)
        return std::nullopt;
    return static_cast<std::uint8_t>(same.id);
}

std::optional<std::uint8_t> info_type_of(std::uint8_t service, std::uint16_t id) {
    const auto same = message::same_signal(service, id);
    if (same.service == 0x09)
        return static_cast<std::uint8_t>(same.id);
    if (service == by_data_id && id == 0xF190) // the VIN (ISO 14229-1, annex C)
        return std::uint8_t{0x02};
    return std::nullopt;
}

bool has_ids(std::uint8_t service) {
    switch (service) {
    case 0x01:
    case 0x02:
    case 0x05:
    case 0x06:
    case 0x08:
    case 0x09:
    case code_reports:
    case by_local_id:
    case by_data_id:
        return true;
    default:
        return false;
    }
}

/// The name of a monitor without the words that PID 41 adds.
std::string_view monitor_name(std::string_view name) {
    const auto comma = name.find(", this driving cycle");
    return name.substr(0, comma);
}

} // namespace

std::string Code::text() const {
    if (failure_type < 0) {
        const auto letters = dtc.text();
        return {letters.data(), letters.size()};
    }
    const auto letters = message::Dtc3{dtc, static_cast<std::uint8_t>(failure_type)}.text();
    return {letters.data(), letters.size()};
}

double Signal::rate() const {
    if (count < 2 || first_time == no_time || last_time <= first_time)
        return 0;
    return static_cast<double>(count - 1) * static_cast<double>(nanoseconds_a_second) /
           static_cast<double>(last_time - first_time);
}

std::size_t Readiness::incomplete() const {
    return static_cast<std::size_t>(
        std::count_if(monitors.begin(), monitors.end(),
                      [](const auto& monitor) { return !monitor.second.complete; }));
}

std::vector<std::string> Ecu::texts(std::uint8_t info_type) const {
    std::vector<std::string> all;
    if (const auto found = information.find(info_type); found != information.end())
        for (const auto& reading : found->second)
            if (!reading.is_number)
                all.push_back(reading.text);
    return all;
}

std::string Ecu::vin() const {
    const auto all = texts(0x02);
    return all.empty() ? std::string() : all.front();
}

const Signal* Ecu::pid(std::uint8_t number, std::uint8_t index) const {
    auto found = signals.find({0x01, number, index});
    if (found == signals.end())
        found = signals.find({by_data_id, static_cast<std::uint16_t>(pid_block | number), index});
    return found == signals.end() ? nullptr : &found->second;
}

class Picture::Impl {
  public:
    explicit Impl(const Limits& limits) : limits_(limits) {
        codes_.reserve(limits.codes);
        read_.reserve(64);
    }

    // --- one message -------------------------------------------------------------------------

    bool begin(const Said& said) {
        ++messages_;
        damaged_ = false;
        see(said.time);
        see(said.end_time);
        if (said.header.kind == Kind::request) {
            ecu_ = nullptr;
            request(said);
            return said.header.service == 0x01 || said.header.service == by_data_id;
        }
        ++conversation_.responses;
        ecu_ = ecu_of(said);
        answer(said);
        if (ecu_ == nullptr)
            return false;
        ++ecu_->messages;
        if (said.time != no_time) {
            if (ecu_->first_time == no_time)
                ecu_->first_time = said.time;
            ecu_->last_time = said.time;
        }
        if (said.header.kind == Kind::negative)
            return false;
        codes_.clear();
        records_.clear();
        codes_left_out_ = 0;
        read_.clear();
        return true;
    }

    void value(const Said& said, const Value& value) {
        const auto service = said.header.service;
        if (said.header.kind == Kind::request) {
            asked(said, value);
            return;
        }
        if (ecu_ == nullptr)
            return;
        if (value.kind == ValueKind::test)
            test(said, value);
        else if (service == code_reports && !value.frame)
            return; // what stands around the codes
        else if (service == 0x02 || value.frame)
            freeze(said, value);
        else if (const auto pid = pid_of(service, value.id))
            current(said, value, *pid);
        else if (info_type_of(service, value.id))
            inform(said, value);
        else if (service == by_data_id || service == by_local_id)
            signal(said, value);
    }

    void dtc(Dtc code) {
        if (codes_.size() < limits_.codes)
            codes_.push_back({code});
        else
            ++codes_left_out_;
    }

    void dtc3(const message::DtcRecord& record) {
        if (records_.size() < limits_.codes)
            records_.push_back(record);
        else
            ++codes_left_out_;
    }

    void message_problem(const Problem& problem) {
        // Strange characters make a text strange, but the message is whole.
        damaged_ = damaged_ || problem.code != ProblemCode::bad_text;
        count(problem);
        if (ecu_ != nullptr)
            ++ecu_->problems;
    }

    void end(const Said& said) {
        if (ecu_ == nullptr || said.header.kind != Kind::response)
            return;
        switch (said.header.service) {
        case 0x03:
            take(ecu_->stored, said);
            break;
        case 0x07:
            take(ecu_->pending, said);
            break;
        case 0x0A:
            take(ecu_->permanent, said);
            break;
        case code_reports:
            reports(said);
            break;
        case 0x04:
        case 0x14:
            ++ecu_->clears;
            ecu_->cleared_time = said.time;
            break;
        default:
            commit_information();
        }
    }

    void problem(const Problem& problem, const Said& about) {
        count(problem);
        see(problem.time);
        if (!about.has_id || role_of(about.id) == Role::tester)
            return;
        if (Ecu* ecu = existing(about); ecu != nullptr)
            ++ecu->problems;
    }

    void finish() {
        for (auto& asked : open_)
            close(asked, true);
        open_ = {};
    }

    bool started_cold() const { return engine_.began_off || engine_.began_fresh; }

    std::map<std::tuple<std::uint16_t, bool, CanId>, Ecu> ecus_;
    Conversation conversation_;
    NotKept not_kept_;
    Time first_time_ = no_time;
    Time last_time_ = no_time;
    std::uint64_t messages_ = 0;

  private:
    using Key = std::tuple<std::uint16_t, bool, CanId>;

    static Key key_of(const Said& said) {
        return {said.has_line ? said.line : std::uint16_t{0}, said.has_id,
                said.has_id ? said.id : CanId{}};
    }

    void see(Time time) {
        if (time == no_time)
            return;
        first_time_ = first_time_ == no_time ? time : std::min(first_time_, time);
        last_time_ = last_time_ == no_time ? time : std::max(last_time_, time);
    }

    void count(const Problem& problem) {
        ++conversation_.problem_count;
        ++conversation_.problems[static_cast<std::size_t>(problem.code)];
    }

    std::string kept(std::string_view text) const {
        return std::string(text.substr(0, limits_.text));
    }

    Ecu* existing(const Said& said) {
        const auto key = key_of(said);
        if (latest_ != nullptr && latest_key_ == key)
            return latest_;
        const auto found = ecus_.find(key);
        if (found == ecus_.end())
            return nullptr;
        latest_key_ = key;
        return latest_ = &found->second;
    }

    Ecu* ecu_of(const Said& said) {
        if (Ecu* known = existing(said); known != nullptr)
            return known;
        if (ecus_.size() >= limits_.ecus) {
            ++not_kept_.ecus;
            return nullptr;
        }
        Ecu& ecu = ecus_[key_of(said)];
        ecu.has_id = said.has_id;
        ecu.id = said.id;
        ecu.has_line = said.has_line;
        ecu.line = said.line;
        ecu.asked |= asked_of_all_;
        return &ecu;
    }

    // --- what was asked, and who answered ----------------------------------------------------

    struct Asked {
        bool used = false;
        bool answered = false;
        bool has_id = false;
        bool functional = false;
        std::uint16_t line = 0;
        CanId id;
        CanId partner;
        std::uint8_t service = 0;
        std::uint16_t first_id = 0; ///< PID and so on, or data identifier
        std::bitset<256> ids;       ///< of the bytes behind the service
        std::uint8_t mask = 0;      ///< status mask of service 19
        Time time = no_time;        ///< of its last frame
    };

    void request(const Said& said) {
        ++conversation_.requests;
        Asked& asked = open_[next_open_];
        next_open_ = (next_open_ + 1) % open_.size();
        close(asked, false);
        asked = {};
        asked.used = true;
        asked.has_id = said.has_id;
        asked.functional = !said.has_id || is_functional(said.id);
        asked.line = said.line;
        asked.id = said.id;
        asked.partner = partner_of(said.id);
        asked.service = said.header.service;
        asked.time = said.end_time != no_time ? said.end_time : said.time;
        const Bytes ids = said.bytes.subspan(std::min<std::size_t>(1, said.bytes.size()));
        if (has_ids(asked.service) && !ids.empty())
            asked.first_id = asked.service == by_data_id && ids.size() >= 2
                                 ? static_cast<std::uint16_t>(big_endian(ids, 0, 2))
                                 : ids[0];
        else
            asked.first_id = no_first_id;
        for (const auto id : ids.first(std::min<std::size_t>(ids.size(), 32)))
            asked.ids.set(id);
        if (asked.service == code_reports && !ids.empty()) {
            asked.ids.reset().set(ids[0] & 0x7FU); // the highest bit asks for no answer
            const std::size_t at = ids[0] == report_by_mask ? 1 : 2;
            asked.mask = ids.size() > at ? ids[at] : std::uint8_t{0};
        }
    }

    void asked(const Said& said, const Value& value) {
        const auto pid = pid_of(said.header.service, value.id);
        if (!pid)
            return;
        if (!said.has_id || is_functional(said.id)) {
            asked_of_all_.set(*pid);
            for (auto& [key, ecu] : ecus_)
                ecu.asked.set(*pid);
            return;
        }
        Said partner = said;
        partner.id = partner_of(said.id);
        if (Ecu* ecu = existing(partner); ecu != nullptr)
            ecu->asked.set(*pid);
    }

    static bool fits(const Asked& asked, const Said& said) {
        if (!asked.used || asked.service != said.header.service || asked.has_id != said.has_id ||
            asked.line != said.line)
            return false;
        if (!asked.functional && asked.partner != said.id && role_of(said.id) != Role::unknown)
            return false;
        if (said.header.kind == Kind::negative || !has_ids(asked.service) || said.bytes.size() < 2)
            return true;
        return asked.ids[said.bytes[1]];
    }

    void answer(const Said& said) {
        if (said.header.kind == Kind::negative) {
            if (said.header.pending())
                ++conversation_.pending;
            else
                ++conversation_.refused;
            if (ecu_ != nullptr) {
                if (said.header.pending())
                    ++ecu_->pending_responses;
                else
                    refuse(said.header);
            }
        }
        mask_ = 0;
        if (said.header.pending() || conversation_.requests == 0)
            return;
        for (std::size_t back = 1; back <= open_.size(); ++back) {
            Asked& asked = open_[(next_open_ + open_.size() - back) % open_.size()];
            if (!fits(asked, said))
                continue;
            asked.answered = true;
            mask_ = asked.mask;
            if (ecu_ != nullptr && asked.time != no_time && said.time != no_time &&
                said.time >= asked.time)
                ecu_->delays.add(said.time - asked.time);
            return;
        }
        ++conversation_.unexpected;
    }

    void refuse(const message::Header& header) {
        const Refusal refusal{header.service, header.negative_code};
        auto& refusals = ecu_->refusals;
        if (const auto found = refusals.find(refusal); found != refusals.end())
            ++found->second;
        else if (refusals.size() < limits_.refusals)
            refusals.emplace(refusal, 1);
        else
            ++not_kept_.refusals;
    }

    void close(Asked& asked, bool at_end) {
        if (!asked.used || asked.answered)
            return;
        if (at_end && asked.time != no_time && last_time_ != no_time &&
            last_time_ - asked.time < answer_due) {
            ++conversation_.open_at_end;
            return;
        }
        ++conversation_.unanswered;
        const std::uint32_t key = std::uint32_t{asked.service} << 16 | asked.first_id;
        auto& by = conversation_.unanswered_by;
        if (const auto found = by.find(key); found != by.end())
            ++found->second;
        else if (by.size() < max_unanswered_kinds)
            by[key] = 1;
    }

    // --- values ------------------------------------------------------------------------------

    void current(const Said& said, const Value& value, std::uint8_t pid) {
        ecu_->answered.set(pid);
        if (pid % 0x20 == 0)
            support(value, pid);
        else if ((pid == 0x01 || pid == 0x41) && value.field != nullptr)
            monitor(said, value, pid == 0x01 ? ecu_->since_clear : ecu_->this_cycle);
        else
            signal(said, value);
        if (value.kind == ValueKind::number || pid == 0x03)
            observe(pid, value, said.time);
    }

    // --- moments, for plausibility checks ----------------------------------------------------

    /// What the engine was heard to do last, from whichever ECU said it.
    struct Engine {
        bool known = false;
        bool began_off = false;
        bool began_fresh = false;
        bool heard_run_time = false;
        bool loop_known = false;
        bool closed_loop = false;
        double speed = 0; ///< rpm
        Time speed_time = no_time;
        Time running_since = no_time;
        bool vehicle_known = false;
        double vehicle_speed = 0;
        Time vehicle_time = no_time;
        bool barometric_known = false;
        double barometric = 0;
    };
    static constexpr Time fresh_for = 5 * nanoseconds_a_second;
    static constexpr Time warm_run = 10 * nanoseconds_a_second;
    static constexpr double running_rpm = 400; // common practice: above cranking, below idle
    static constexpr double idle_rpm = 1200;

    static bool is_fresh(Time then, Time now) {
        return then == no_time || now == no_time || (now >= then && now - then <= fresh_for);
    }
    bool engine_off(Time now) const {
        return engine_.known && engine_.speed == 0 && is_fresh(engine_.speed_time, now);
    }
    bool engine_runs(Time now) const {
        return engine_.known && engine_.speed > running_rpm && is_fresh(engine_.speed_time, now);
    }
    bool at_rest(Time now) const {
        return engine_.known && engine_.speed < idle_rpm && is_fresh(engine_.speed_time, now) &&
               engine_.vehicle_known && engine_.vehicle_speed == 0 &&
               is_fresh(engine_.vehicle_time, now);
    }
    bool trims_count(Time now) const {
        return engine_runs(now) && (!engine_.loop_known || engine_.closed_loop);
    }

    void observe(std::uint8_t pid, const Value& value, Time now) {
        if (value.index != 0)
            return; // banks 3 and 4, and second fields: not looked at
        auto& seen = ecu_->observed;
        const double number = value.number;
        switch (pid) {
        case 0x03: // fuel system status: 02 and 10 are closed loop
            engine_.loop_known = true;
            engine_.closed_loop = value.raw == 0x02 || value.raw == 0x10;
            break;
        case 0x05:
            seen.first_coolant = seen.first_coolant.value_or(number);
            break;
        case 0x06:
        case 0x08:
            if (trims_count(now))
                seen.short_trim[pid == 0x06 ? 0 : 1].add(number);
            break;
        case 0x07:
        case 0x09:
            if (trims_count(now))
                seen.long_trim[pid == 0x07 ? 0 : 1].add(number);
            break;
        case 0x0B:
            if (engine_off(now) && engine_.barometric_known)
                compare_pressure(seen, number);
            break;
        case 0x0C:
            engine_speed(number, now);
            break;
        case 0x0D:
            drive(seen, number, now);
            engine_.vehicle_known = true;
            engine_.vehicle_speed = number;
            engine_.vehicle_time = now;
            break;
        case 0x0F:
            seen.first_intake = seen.first_intake.value_or(number);
            break;
        case 0x11:
            if (at_rest(now))
                seen.rest_throttle.add(number);
            break;
        case 0x1F:
            if (!engine_.heard_run_time)
                engine_.began_fresh = number <= 10;
            engine_.heard_run_time = true;
            break;
        case 0x33:
            engine_.barometric_known = true;
            engine_.barometric = number;
            break;
        case 0x42:
            if (engine_runs(now) && (now == no_time || engine_.running_since == no_time ||
                                     now - engine_.running_since >= warm_run))
                seen.running_voltage.add(number);
            break;
        case 0x45:
            if (at_rest(now))
                seen.rest_relative_throttle.add(number);
            break;
        case 0x46:
            seen.first_ambient = seen.first_ambient.value_or(number);
            break;
        case 0x5A:
            if (at_rest(now))
                seen.rest_pedal.add(number);
            break;
        default:
            break;
        }
    }

    void engine_speed(double number, Time now) {
        if (!engine_.known)
            engine_.began_off = number == 0;
        if (number <= running_rpm)
            engine_.running_since = no_time;
        else if (!engine_.known || engine_.speed <= running_rpm)
            engine_.running_since = now;
        engine_.known = true;
        engine_.speed = number;
        engine_.speed_time = now;
    }

    static void drive(Observed& seen, double kmh, Time now) {
        if (now == no_time)
            return;
        if (seen.speed_time != no_time && now > seen.speed_time &&
            now - seen.speed_time <= fresh_for)
            seen.driven_km += (seen.speed_kmh + kmh) / 2 *
                              static_cast<double>(now - seen.speed_time) /
                              static_cast<double>(3600 * nanoseconds_a_second);
        seen.speed_time = now;
        seen.speed_kmh = kmh;
    }

    void compare_pressure(Observed& seen, double manifold) const {
        seen.engine_off_pressure.add(manifold);
        const double difference = manifold - engine_.barometric;
        if (std::fabs(difference) > std::fabs(seen.engine_off_worst) ||
            seen.engine_off_pressure.count == 1) {
            seen.engine_off_worst = difference;
            seen.engine_off_barometric = engine_.barometric;
        }
    }

    void support(const Value& value, std::uint8_t pid) {
        const auto bits = static_cast<std::uint32_t>(value.raw);
        for (unsigned i = 0; i < 32 && pid + i + 1 < 256; ++i)
            ecu_->supported.set(pid + i + 1, (bits >> (31 - i) & 1) != 0);
        ecu_->supported.set(pid);
    }

    /// PIDs 01 and 41: the lamp and the count (byte A), the kind of ignition (B3), and monitors,
    /// which are the fields with a support bit.
    void monitor(const Said& said, const Value& value, Readiness& readiness) {
        readiness.heard = true;
        const auto& field = *value.field;
        if (field.present.byte >= 0) {
            const auto key = static_cast<std::uint16_t>(
                field.at << 8 | field.bit << 1 | (field.when.bit.byte >= 0 && field.when.set));
            set_monitor(readiness, key, monitor_name(value.name), value.raw == 0, said.time);
        } else if (field.at == 0 && field.bits == 1) {
            set_lamp(value.raw != 0, said.time);
        } else if (field.at == 0) {
            ecu_->code_count = static_cast<unsigned>(value.raw);
        } else {
            readiness.ignition = kept(value.text);
        }
    }

    void signal(const Said& said, const Value& value) {
        const SignalKey key{said.header.service, value.id, value.index};
        auto found = ecu_->signals.find(key);
        if (found == ecu_->signals.end()) {
            if (signals_ >= limits_.signals) {
                ++not_kept_.signals;
                return;
            }
            ++signals_;
            found = ecu_->signals.emplace(key, Signal{}).first;
            begin_signal(found->second, said, value);
        }
        Signal& signal = found->second;
        if (said.time != no_time) {
            if (signal.first_time == no_time)
                signal.first_time = said.time;
            signal.last_time = said.time;
        }
        if (signal.note != value.note)
            signal.note = kept(value.note);
        if (value.kind == ValueKind::text) {
            const auto text = value.text.substr(0, limits_.text);
            if (signal.count != 0 && signal.text != text)
                ++signal.changes;
            if (signal.text != text)
                signal.text = text;
            ++signal.count;
            return;
        }
        add_number(signal, value);
    }

    void begin_signal(Signal& signal, const Said&, const Value& value) {
        signal.name = kept(value.name);
        signal.key = kept(value.key);
        signal.own_unit = kept(value.own_unit);
        signal.is_number = value.kind == ValueKind::number;
        signal.min = signal.max = signal.first = value.number;
    }

    static void add_number(Signal& signal, const Value& value) {
        signal.unit = value.unit;
        signal.step = value.step;
        signal.decimals = value.decimals;
        ++signal.count;
        signal.last = value.number;
        signal.min = std::min(signal.min, value.number);
        signal.max = std::max(signal.max, value.number);
        signal.mean += (value.number - signal.mean) / static_cast<double>(signal.count);
        if (const auto* field = value.field; field != nullptr && field->width() <= 32) {
            const std::int64_t span = std::int64_t{1} << field->width();
            const std::int64_t low = field->is_signed ? -span / 2 : 0;
            signal.at_low_end += value.raw == low ? 1 : 0;
            signal.at_high_end += value.raw == low + span - 1 ? 1 : 0;
        }
    }

    Reading reading(const Said& said, const Value& value) const {
        Reading reading;
        reading.key = {said.header.service, value.id, value.index};
        reading.name = kept(value.name);
        reading.is_number = value.kind == ValueKind::number;
        reading.number = value.number;
        reading.decimals = value.decimals;
        reading.step = value.step;
        reading.unit = value.unit;
        reading.own_unit = kept(value.own_unit);
        reading.text = kept(value.text);
        reading.note = kept(value.note);
        reading.time = said.time;
        return reading;
    }

    void freeze(const Said& said, const Value& value) {
        const auto* field = value.field;
        if (!value.frame || field == nullptr || field->kind == catalogue::Kind::bitmap)
            return;
        FrameKey frame_key{*value.frame, 0};
        std::optional<Code> owner;
        if (said.header.service == code_reports) {
            if (records_.empty())
                return;
            const auto& code = records_.back().code;
            frame_key.code = code.raw();
            owner = Code{code.code, code.failure_type};
        }
        auto& frames = ecu_->freeze_frames;
        const SignalKey key{said.header.service, value.id, value.index};
        auto frame = frames.find(frame_key);
        const bool known = frame != frames.end() && frame->second.values.count(key) != 0;
        if (!known && freeze_values_ >= limits_.freeze_values) {
            ++not_kept_.freeze_values;
            return;
        }
        freeze_values_ += known ? 0 : 1;
        if (frame == frames.end()) {
            frame = frames.emplace(frame_key, FreezeFrame{}).first;
            frame->second.number = *value.frame;
            frame->second.code = owner;
        }
        if (said.header.service == 0x02 && field->kind == catalogue::Kind::code &&
            value.id == 0x02) {
            const Code code{Dtc{static_cast<std::uint16_t>(value.raw)}};
            if (frame->second.code && *frame->second.code != code) {
                // Another code took the frame: what was kept of it belongs to the one before.
                freeze_values_ -= frame->second.values.size();
                frame->second.values.clear();
                freeze_values_ += known ? 1 : 0;
            }
            frame->second.code = code;
        }
        frame->second.values[key] = reading(said, value);
    }

    void inform(const Said& said, const Value& value) {
        if (value.field != nullptr && value.field->kind == catalogue::Kind::bitmap)
            return;
        if ((value.id & 0x1FU) == 0)
            return; // supported InfoTypes
        if (read_.size() >= limits_.information) {
            ++not_kept_.information;
            return;
        }
        read_.push_back(reading(said, value));
    }

    /// A whole answer replaces what was known of its InfoTypes; a damaged one does not.
    void commit_information() {
        if (damaged_)
            return;
        std::bitset<256> fresh;
        for (auto& reading : read_) {
            const auto type = *info_type_of(reading.key.service, reading.key.id);
            auto& list = ecu_->information[type];
            if (!fresh[type]) {
                information_ -= list.size();
                list.clear();
                fresh.set(type);
            }
            if (information_ >= limits_.information) {
                ++not_kept_.information;
                continue;
            }
            ++information_;
            list.push_back(std::move(reading));
        }
    }

    void test(const Said& said, const Value& value) {
        const TestKey key{message::same_signal(said.header.service, value.id).id, value.test};
        auto found = ecu_->tests.find(key);
        if (found == ecu_->tests.end()) {
            if (tests_ >= limits_.tests) {
                ++not_kept_.tests;
                return;
            }
            ++tests_;
            found = ecu_->tests.emplace(key, TestResult{}).first;
        }
        TestResult& result = found->second;
        if (result.name != value.name)
            result.name = kept(value.name);
        result.value = value.number;
        result.low = value.low;
        result.high = value.high;
        result.unit = value.unit;
        result.step = value.step;
        result.decimals = value.decimals;
        result.passed = value.passed;
        if (result.note != value.note)
            result.note = kept(value.note);
        result.time = said.time;
        ++result.count;
        result.failures += value.passed ? 0 : 1;
    }

    /// Service 19 tells lists by the status bits that were asked for.
    void reports(const Said& said) {
        const std::uint8_t report = said.bytes.size() > 1 ? said.bytes[1] : std::uint8_t{0};
        switch (report) {
        case report_by_mask:
        case report_emissions:
            by_status(ecu_->stored, status_confirmed, said);
            by_status(ecu_->pending, status_pending, said);
            lamp(said);
            break;
        case report_permanent:
        case report_emissions_permanent:
            codes_.clear();
            for (const auto& record : records_)
                codes_.push_back({record.code.code, record.code.failure_type});
            take(ecu_->permanent, said);
            break;
        case report_readiness_group:
            readiness_group(said);
            break;
        default:
            break;
        }
    }

    /// The answer is the whole list of a status when the request asked for that status. Where the
    /// request is not known, only codes that are there prove anything.
    void by_status(CodeList& list, std::uint8_t status, const Said& said) {
        codes_.clear();
        for (const auto& record : records_)
            if ((record.status.value_or(0) & status) != 0)
                codes_.push_back({record.code.code, record.code.failure_type});
        if ((mask_ & status) != 0 || (mask_ == 0 && !codes_.empty()))
            take(list, said);
    }

    /// OBDonUDS has no lamp in PID 01: a code says whether it asks for it.
    void lamp(const Said& said) {
        if (damaged_ || (mask_ & status_confirmed) == 0)
            return;
        unsigned confirmed = 0;
        bool on = false;
        for (const auto& record : records_) {
            confirmed += (record.status.value_or(0) & status_confirmed) != 0 ? 1U : 0U;
            on = on || (record.status.value_or(0) & status_lamp) != 0;
        }
        set_lamp(on, said.time);
        ecu_->code_count = confirmed;
    }

    /// A readiness group is complete when the tests of all its codes are (SAE J1979-2).
    void readiness_group(const Said& said) {
        if (damaged_ || records_.empty() || !records_.front().group)
            return;
        const std::uint8_t group = *records_.front().group;
        const auto tell = [&](Readiness& readiness, std::uint8_t open) {
            bool complete = true;
            for (const auto& record : records_)
                complete = complete && (record.status.value_or(open) & open) == 0;
            readiness.heard = true;
            std::string name = "Readiness group ";
            append_hex(name, group, 2);
            set_monitor(readiness, static_cast<std::uint16_t>(0x8000U | group), name, complete,
                        said.time);
        };
        tell(ecu_->since_clear, status_open_since_clear);
        tell(ecu_->this_cycle, status_open_this_cycle);
    }

    void set_lamp(bool on, Time time) {
        if (!ecu_->mil || *ecu_->mil != on) {
            ecu_->mil_changes += ecu_->mil ? 1 : 0;
            ecu_->mil_time = time;
        }
        ecu_->mil = on;
    }

    void set_monitor(Readiness& readiness, std::uint16_t key, std::string_view name, bool complete,
                     Time time) {
        auto& monitor = readiness.monitors[key];
        if (monitor.name.empty())
            monitor.name = kept(name);
        else if (complete && !monitor.complete)
            monitor.completed_at = time;
        monitor.complete = complete;
        monitor.time = time;
    }

    /// A whole list of codes replaces the one before; a damaged one proves nothing.
    void take(CodeList& list, const Said& said) {
        if (damaged_) {
            ++list.incomplete;
            return;
        }
        std::sort(codes_.begin(), codes_.end());
        codes_.erase(std::unique(codes_.begin(), codes_.end()), codes_.end());
        if (list.heard && codes_ != list.codes) {
            note_changes(list, list.codes, codes_, false, said.time);
            note_changes(list, codes_, list.codes, true, said.time);
        }
        if (codes_ != list.codes)
            list.codes = codes_;
        list.heard = true;
        list.time = said.time;
        list.left_out = codes_left_out_;
        not_kept_.codes += codes_left_out_;
        ++list.answers;
    }

    /// Codes of `from` that `other` has not.
    void note_changes(CodeList& list, const std::vector<Code>& from, const std::vector<Code>& other,
                      bool came, Time time) {
        for (const auto& code : from) {
            if (std::binary_search(other.begin(), other.end(), code))
                continue;
            if (list.changes.size() < limits_.code_changes)
                list.changes.push_back({code, came, time});
            else
                ++not_kept_.code_changes;
        }
    }

    static constexpr std::uint16_t no_first_id = 0xFFFF;
    static constexpr std::size_t max_unanswered_kinds = 64;

    Limits limits_;
    Ecu* ecu_ = nullptr; ///< of the message at hand
    Ecu* latest_ = nullptr;
    Key latest_key_{};
    bool damaged_ = false;
    std::uint8_t mask_ = 0; ///< status mask of the request that the message answers
    std::vector<Code> codes_;
    std::vector<message::DtcRecord> records_;
    std::uint64_t codes_left_out_ = 0;
    std::vector<Reading> read_;
    std::array<Asked, 16> open_{};
    std::size_t next_open_ = 0;
    std::bitset<256> asked_of_all_;
    std::size_t signals_ = 0;
    std::size_t tests_ = 0;
    std::size_t information_ = 0;
    std::size_t freeze_values_ = 0;
    Engine engine_;
};

Picture::Picture(const Limits& limits) : impl_(std::make_unique<Impl>(limits)) {}
Picture::~Picture() = default;
Picture::Picture(Picture&&) noexcept = default;
Picture& Picture::operator=(Picture&&) noexcept = default;

bool Picture::begin(const Said& said) {
    return impl_->begin(said);
}
void Picture::value(const Said& said, const Value& value) {
    impl_->value(said, value);
}
void Picture::dtc(const Said&, Dtc code) {
    impl_->dtc(code);
}
void Picture::dtc3(const Said&, const message::DtcRecord& record) {
    impl_->dtc3(record);
}
void Picture::message_problem(const Said&, const Problem& problem) {
    impl_->message_problem(problem);
}
void Picture::end(const Said& said) {
    impl_->end(said);
}
void Picture::problem(const Problem& problem, const Said& about) {
    impl_->problem(problem, about);
}
void Picture::finish() {
    impl_->finish();
}

void Picture::name_lines(FunctionRef<std::string_view(std::uint16_t)> name) {
    for (auto& [key, ecu] : impl_->ecus_)
        if (ecu.has_line)
            ecu.line_name = name(ecu.line);
}

std::vector<const Ecu*> Picture::ecus() const {
    std::vector<const Ecu*> all;
    for (const auto& [key, ecu] : impl_->ecus_)
        all.push_back(&ecu);
    return all;
}

const Ecu* Picture::find(bool has_id, CanId id) const {
    for (const auto& [key, ecu] : impl_->ecus_)
        if (ecu.has_id == has_id && (!has_id || ecu.id == id))
            return &ecu;
    return nullptr;
}

const Conversation& Picture::conversation() const {
    return impl_->conversation_;
}
const NotKept& Picture::not_kept() const {
    return impl_->not_kept_;
}
Time Picture::first_time() const {
    return impl_->first_time_;
}
Time Picture::last_time() const {
    return impl_->last_time_;
}
std::uint64_t Picture::messages() const {
    return impl_->messages_;
}

bool Picture::started_cold() const {
    return impl_->started_cold();
}

std::string Picture::vin() const {
    for (const auto& [key, ecu] : impl_->ecus_)
        if (auto vin = ecu.vin(); !vin.empty())
            return vin;
    return {};
}

} // namespace telltale::vehicle
