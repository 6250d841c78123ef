// SPDX-License-Identifier: Apache-2.0
#include "telltale/vehicle/sanity.hpp"

#include <algorithm>
#include <cmath>

#include "describe.hpp"

namespace telltale::vehicle {

namespace {

struct RuleText {
    Rule rule;
    std::string_view word;
    std::string_view basis;
};

// The figures are common practice; a maker's own figures come before them.
constexpr double pressure_tolerance_kpa = 5;
constexpr double soak_tolerance_c = 15;
constexpr double soak_warmest_c = 40;
constexpr double rest_most_percent = 25;
constexpr double pedal_rest_most_percent = 5;
constexpr double voltage_least = 8;
constexpr double voltage_most = 20;
constexpr double charging_least = 13;
constexpr double charging_most = 15.5;
constexpr double trim_most_percent = 10;
constexpr std::uint64_t enough_samples = 5;

constexpr RuleText texts[] = {
    {Rule::barometric, "barometric",
     "common practice: with the key on and the engine off, manifold pressure is within 5 kPa of "
     "barometric pressure"},
    {Rule::cold_soak, "cold-soak",
     "common practice: on a vehicle that stood for many hours, coolant, intake air and ambient "
     "temperature agree within 15 degrees Celsius before the engine has warmed them"},
    {Rule::throttle_rest, "throttle-rest",
     "common practice: at standstill and idle, absolute throttle position rests at or below 25 %, "
     "relative throttle and pedal positions at or below 5 %"},
    {Rule::voltage, "voltage",
     "common practice for 12 V systems: module voltage stays within 8 to 20 V, and while the "
     "engine runs its mean is 13 V or more and no reading above 15.5 V; systems that charge on "
     "demand may rest lower"},
    {Rule::fuel_trim, "fuel-trim",
     "common practice: short and long-term fuel trim of a bank together stay within about 10 %"},
    {Rule::end_of_range, "end-of-range",
     "common practice: a sensor that reads the lowest or highest number that its parameter can "
     "hold looks like an open or shorted circuit, or a replacement value"},
    {Rule::never_answered, "never-answered",
     "common practice: an ECU answers what it says it supports; look whether the request was "
     "lost, refused, or needs a condition"},
};
static_assert(std::size(texts) == rules);

/// Sensors for which an end of the range is no ordinary reading; at_high says whether that holds
/// for the high end as well (a throttle may be wide open).
struct Sensor {
    std::uint8_t pid;
    std::uint8_t index;
    bool at_low;
    bool at_high;
};
constexpr Sensor sensors[] = {
    {0x05, 0, true, true},  // coolant temperature
    {0x0B, 0, true, true},  // manifold pressure
    {0x0F, 0, true, true},  // intake air temperature
    {0x11, 0, true, false}, // throttle position
    {0x2F, 0, false, true}, // fuel level: an empty tank reads 0
    {0x33, 0, true, true},  // barometric pressure
    {0x42, 0, true, true},  // module voltage
    {0x46, 0, true, true},  // ambient temperature
    {0x47, 0, true, false}, // throttle position B
    {0x48, 0, true, false}, // throttle position C
    {0x49, 0, true, true},  // pedal position D
    {0x4A, 0, true, true},  // pedal position E
    {0x4B, 0, true, true},  // pedal position F
    {0x5C, 0, true, true},  // oil temperature
};

class Checker {
  public:
    Checker(const Picture& picture, const SanityOptions& options)
        : picture_(picture), options_(options) {}

    std::vector<Finding> run() {
        for (std::size_t i = 0; i < rules; ++i) {
            if (options_.off[i])
                continue;
            for (const auto* ecu : picture_.ecus())
                apply(static_cast<Rule>(i), *ecu);
        }
        return std::move(findings_);
    }

  private:
    void apply(Rule rule, const Ecu& ecu) {
        switch (rule) {
        case Rule::barometric:
            return barometric(ecu);
        case Rule::cold_soak:
            return cold_soak(ecu);
        case Rule::throttle_rest:
            return throttle_rest(ecu);
        case Rule::voltage:
            return voltage(ecu);
        case Rule::fuel_trim:
            return fuel_trim(ecu);
        case Rule::end_of_range:
            return end_of_range(ecu);
        case Rule::never_answered:
            return never_answered(ecu);
        case Rule::last_:
            return;
        }
    }

    void find(Rule rule, const Ecu& ecu, std::optional<std::uint8_t> pid, std::string sentence) {
        findings_.push_back({rule, &ecu, pid, std::move(sentence)});
    }

    std::string say(double value, Unit unit, double step = 1, unsigned decimals = 0) const {
        return quantity_text(value, shown(unit, step, decimals, options_.units));
    }
    std::string pressure(double value) const { return say(value, Unit::kilopascal_air); }
    std::string temperature(double value) const { return say(value, Unit::celsius); }
    static std::string volts(double value) { return number_text(value, 1) + " V"; }
    static std::string percent(double value) { return number_text(value, 1) + " %"; }

    void barometric(const Ecu& ecu) {
        const auto& seen = ecu.observed;
        if (seen.engine_off_pressure.count == 0 ||
            std::fabs(seen.engine_off_worst) <= pressure_tolerance_kpa)
            return;
        find(Rule::barometric, ecu, std::uint8_t{0x0B},
             "With the engine off, manifold pressure read " +
                 pressure(seen.engine_off_barometric + seen.engine_off_worst) +
                 " where barometric pressure read " + pressure(seen.engine_off_barometric) + ".");
    }

    void cold_soak(const Ecu& ecu) {
        const auto& seen = ecu.observed;
        if (!picture_.started_cold() || !seen.first_coolant || *seen.first_coolant > soak_warmest_c)
            return;
        const std::array<std::pair<std::optional<double>, std::string_view>, 3> readings = {{
            {seen.first_coolant, "coolant"},
            {seen.first_intake, "intake air"},
            {seen.first_ambient, "ambient air"},
        }};
        double least = *seen.first_coolant;
        double most = *seen.first_coolant;
        std::string said;
        for (const auto& [reading, name] : readings) {
            if (!reading)
                continue;
            least = std::min(least, *reading);
            most = std::max(most, *reading);
            said += said.empty() ? "" : ", ";
            said += name;
            said += ' ' + temperature(*reading);
        }
        if (most - least > soak_tolerance_c)
            find(Rule::cold_soak, ecu, std::nullopt,
                 "Before the engine warmed up the temperatures disagreed: " + said +
                     ". If the vehicle had stood for many hours, compare each with a thermometer.");
    }

    void rest(const Ecu& ecu, const Observed::Least& least, double most, std::uint8_t pid,
              std::string_view name) {
        if (least.count >= enough_samples && least.value > most)
            find(Rule::throttle_rest, ecu, pid,
                 "At standstill and idle, " + std::string(name) + " never came below " +
                     percent(least.value) + ".");
    }

    void throttle_rest(const Ecu& ecu) {
        const auto& seen = ecu.observed;
        rest(ecu, seen.rest_throttle, rest_most_percent, 0x11, "absolute throttle position");
        rest(ecu, seen.rest_relative_throttle, pedal_rest_most_percent, 0x45,
             "relative throttle position");
        rest(ecu, seen.rest_pedal, pedal_rest_most_percent, 0x5A,
             "relative accelerator pedal position");
    }

    void voltage(const Ecu& ecu) {
        constexpr std::uint8_t pid = 0x42;
        if (const auto* signal = ecu.pid(pid); signal != nullptr && signal->count != 0) {
            if (signal->min < voltage_least)
                find(Rule::voltage, ecu, pid,
                     "Module voltage fell to " + volts(signal->min) +
                         ". Look at battery, grounds and supply under load.");
            if (signal->max > voltage_most)
                find(Rule::voltage, ecu, pid,
                     "Module voltage rose to " + volts(signal->max) +
                         ": no 12 V system, or a fault of the reading or the charging.");
        }
        const auto& running = ecu.observed.running_voltage;
        if (running.count < enough_samples)
            return;
        if (running.mean < charging_least)
            find(Rule::voltage, ecu, pid,
                 "While the engine ran, module voltage was " + volts(running.mean) +
                     " in the mean: measure charging voltage and current at the battery.");
        if (running.max > charging_most && running.max <= voltage_most)
            find(Rule::voltage, ecu, pid,
                 "While the engine ran, module voltage rose to " + volts(running.max) +
                     ": measure charging voltage at the battery.");
    }

    void fuel_trim(const Ecu& ecu) {
        for (std::size_t bank = 0; bank < 2; ++bank) {
            const auto& brief = ecu.observed.short_trim[bank];
            const auto& lasting = ecu.observed.long_trim[bank];
            if (brief.count < enough_samples || lasting.count == 0)
                continue;
            const double sum = brief.mean + lasting.mean;
            if (std::fabs(sum) <= trim_most_percent)
                continue;
            find(Rule::fuel_trim, ecu, static_cast<std::uint8_t>(bank == 0 ? 0x07 : 0x09),
                 "Bank " + std::to_string(bank + 1) + " corrects fuel by " + percent(sum) +
                     " in the mean (short " + percent(brief.mean) + ", long " +
                     percent(lasting.mean) +
                     (sum > 0 ? "): the mixture would be lean without it."
                              : "): the mixture would be rich without it."));
        }
    }

    void end_of_range(const Ecu& ecu) {
        for (const auto& sensor : sensors) {
            const auto* signal = ecu.pid(sensor.pid, sensor.index);
            if (signal == nullptr)
                continue;
            const auto tell = [&](std::uint64_t samples, std::string_view end, double value) {
                if (samples == 0)
                    return;
                find(Rule::end_of_range, ecu, sensor.pid,
                     signal->name + " read the " + std::string(end) + " end of its range (" +
                         say(value, signal->unit, signal->step, signal->decimals) + ") in " +
                         whole_text(samples) + " of " + whole_text(signal->count) + " samples.");
            };
            if (sensor.at_low)
                tell(signal->at_low_end, "low", signal->min);
            if (sensor.at_high)
                tell(signal->at_high_end, "high", signal->max);
        }
    }

    void never_answered(const Ecu& ecu) {
        const auto missing = ecu.never_answered();
        for (unsigned id = 0; id < missing.size(); ++id)
            if (missing[id])
                find(Rule::never_answered, ecu, static_cast<std::uint8_t>(id),
                     "PID " + hex_text(id, 2) +
                         " is supported and was asked for, and was never answered.");
    }

    const Picture& picture_;
    const SanityOptions& options_;
    std::vector<Finding> findings_;
};

} // namespace

std::string_view word(Rule rule) noexcept {
    const auto i = static_cast<std::size_t>(rule);
    return i < rules ? texts[i].word : std::string_view{};
}

std::optional<Rule> rule(std::string_view word) noexcept {
    for (const auto& text : texts)
        if (text.word == word)
            return text.rule;
    return std::nullopt;
}

std::string_view basis(Rule rule) noexcept {
    const auto i = static_cast<std::size_t>(rule);
    return i < rules ? texts[i].basis : std::string_view{};
}

std::vector<Finding> check(const Picture& picture, const SanityOptions& options) {
    return Checker(picture, options).run();
}

} // namespace telltale::vehicle
