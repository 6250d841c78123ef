// SPDX-License-Identifier: Apache-2.0
#include "telltale/mimic/fault.hpp"

#include <algorithm>
#include <charconv>
#include <string>

#include "sensors.hpp"
#include "telltale/mimic/drive.hpp"

namespace telltale::mimic {

namespace {

struct KindRow {
    const char* name;
    bool has_amount;
};

// In the order of FaultKind.
constexpr KindRow kinds[] = {
    {"drop-out", true}, {"spike", true},  {"stick", false},      {"offset", true},
    {"drift", true},    {"lag", true},    {"noise", true},       {"scaling", true},
    {"open", false},    {"short", false}, {"vacuum-leak", true},
};

/// What a kind's amount is where the user gives none.
double usual_amount(FaultKind kind, const SensorRow& sensor) {
    switch (kind) {
    case FaultKind::drop_out:
        return 0.4;
    case FaultKind::spike:
        return sensor.span * 0.5;
    case FaultKind::offset:
        return sensor.span * 0.12;
    case FaultKind::drift:
        return sensor.span * 0.06;
    case FaultKind::lag:
        return 4;
    case FaultKind::noise:
        return sensor.span * 0.03;
    case FaultKind::scaling:
        return 0.8;
    case FaultKind::vacuum_leak:
        return 3.0;
    default:
        return 0;
    }
}

std::string listed() {
    std::string text = "a fault is KIND[:SENSOR][=AMOUNT][@FROM[-UNTIL]]; kinds:";
    for (const auto& kind : kinds)
        text.append(" ").append(kind.name);
    text += "; sensors:";
    for (const auto& sensor : sensor_rows)
        text.append(" ").append(sensor.name);
    return text;
}

/// Cuts what follows `mark` off `text`. Empty where there is no mark.
std::string_view cut(std::string_view& text, char mark) {
    const auto at = text.find(mark);
    if (at == std::string_view::npos)
        return {};
    const auto rest = text.substr(at + 1);
    text = text.substr(0, at);
    return rest;
}

bool read(std::string_view text, double& number) {
    const auto end = text.data() + text.size();
    const auto [last, error] = std::from_chars(text.data(), end, number);
    return error == std::errc{} && last == end && number > -1e7 && number < 1e7;
}

} // namespace

std::string_view name_of(Sensor sensor) noexcept {
    return sensor_rows[static_cast<std::size_t>(sensor) % sensor_count].name;
}

std::string_view name_of(FaultKind kind) noexcept {
    return kinds[static_cast<std::size_t>(kind) % std::size(kinds)].name;
}

Result<Fault> parse_fault(std::string_view text) {
    const auto wrong = [&](std::string what) {
        return fail(ErrorCode::bad_argument, std::move(what) + ": " + listed());
    };
    std::string_view rest = text;
    const bool has_time = rest.find('@') != std::string_view::npos;
    std::string_view from = cut(rest, '@');
    const bool has_amount = rest.find('=') != std::string_view::npos;
    const std::string_view amount = cut(rest, '=');
    const bool has_sensor = rest.find(':') != std::string_view::npos;
    const std::string_view sensor = cut(rest, ':');

    Fault fault;
    const auto kind = std::find_if(std::begin(kinds), std::end(kinds),
                                   [&](const KindRow& row) { return row.name == rest; });
    if (kind == std::end(kinds))
        return wrong("unknown kind of fault '" + std::string(rest) + "'");
    fault.kind = static_cast<FaultKind>(kind - std::begin(kinds));
    if (has_sensor != (fault.kind != FaultKind::vacuum_leak))
        return wrong(has_sensor ? "a vacuum leak has no sensor" : "the sensor is missing");
    if (has_sensor) {
        const auto row = std::find_if(std::begin(sensor_rows), std::end(sensor_rows),
                                      [&](const SensorRow& r) { return r.name == sensor; });
        if (row == std::end(sensor_rows))
            return wrong("unknown sensor '" + std::string(sensor) + "'");
        fault.sensor = static_cast<Sensor>(row - std::begin(sensor_rows));
    }
    fault.amount = usual_amount(fault.kind, row_of(fault.sensor));
    if (has_amount && (!kind->has_amount || !read(amount, fault.amount)))
        return wrong("no amount: '" + std::string(amount) + "'");
    if (has_time) {
        const bool has_end = from.find('-') != std::string_view::npos;
        const std::string_view until = cut(from, '-');
        if (!read(from, fault.from) || fault.from < 0 ||
            (has_end && (!read(until, fault.until) || fault.until <= fault.from)))
            return wrong("no time: '" + std::string(text) + "'");
    }
    return fault;
}

double FaultState::tell(const Fault& fault, double truth, bool acts, double seconds,
                        Random& random) {
    const SensorRow& row = row_of(fault.sensor);
    if (!acts) {
        began_ = false;
        left_ = 0;
        return truth;
    }
    const bool first = !began_;
    began_ = true;
    if (first)
        kept_ = truth;
    const auto event = [&](double a_second, double shortest, double longest) {
        if (left_ > 0) {
            left_ -= Drive::step_time;
        } else if (random.uniform() < a_second * Drive::step_time) {
            left_ = random.between(shortest, longest);
            depth_ = random.between(0.6, 1.0);
        }
        return left_ > 0;
    };
    double told = truth;
    switch (fault.kind) {
    case FaultKind::drop_out:
        if (event(0.12, 0.4, 2.0))
            told = truth * (1 - fault.amount * depth_);
        break;
    case FaultKind::spike:
        if (event(0.15, 0.05, 0.3))
            told = truth + fault.amount * depth_;
        break;
    case FaultKind::stick:
        told = kept_;
        break;
    case FaultKind::offset:
        told = truth + fault.amount;
        break;
    case FaultKind::drift:
        told = truth + fault.amount * (seconds - fault.from) / 60;
        break;
    case FaultKind::lag:
        kept_ += (truth - kept_) * Drive::step_time / (fault.amount + Drive::step_time);
        told = kept_;
        break;
    case FaultKind::noise:
        told = truth + fault.amount * random.normal();
        break;
    case FaultKind::scaling:
        told = truth * fault.amount;
        break;
    case FaultKind::open:
        return row.open;
    case FaultKind::shorted:
        return row.shorted;
    case FaultKind::vacuum_leak:
        return truth;
    }
    return std::clamp(told, row.least, row.most);
}

} // namespace telltale::mimic
