// SPDX-License-Identifier: Apache-2.0
#include "telltale/mimic/ecu.hpp"

#include "encode.hpp"

namespace telltale::mimic {

namespace {

constexpr std::uint8_t not_supported_or_invalid = 0x12;
constexpr std::uint8_t evaporative_test = 0x01; // TID of service 08

Message codes(std::uint8_t service, const std::vector<std::uint16_t>& list) {
    const std::size_t count = std::min(list.size(), Ecu::most_codes);
    Message out{static_cast<std::uint8_t>(service + 0x40), static_cast<std::uint8_t>(count)};
    for (std::size_t i = 0; i < count; ++i)
        put_word(out, list[i]);
    return out;
}

void put_text(Message& out, const std::string& text, std::size_t size) {
    for (std::size_t i = 0; i < size; ++i)
        out.push_back(i < text.size() ? static_cast<std::uint8_t>(text[i]) : 0);
}

bool has_test(const EcuState& state, std::uint8_t monitor) {
    return std::any_of(state.tests.begin(), state.tests.end(),
                       [&](const MonitorTest& t) { return t.monitor == monitor; });
}

/// The bitmaps that a request of up to six of 00, 20, ... asks for.
template <class Supported> void put_ranges(Message& out, Bytes ids, const Supported& supported) {
    for (const auto id : ids)
        if (is_range(id) && has_range(id, supported)) {
            out.push_back(id);
            put_bitmap(out, id, supported);
        }
}

bool all_ranges(Bytes ids) {
    return !ids.empty() && ids.size() <= Ecu::most_ids &&
           std::all_of(ids.begin(), ids.end(), is_range);
}

} // namespace

Message Ecu::answer(Bytes request, bool functional, const Signals& signals) {
    if (request.empty())
        return {};
    if (state.obd_on_uds)
        return answer_uds(request, functional, signals);
    const std::uint8_t service = request[0];
    const bool alone = request.size() == 1; // a service without identifiers
    Message out;
    switch (service) {
    case 0x01:
        out = current_data(request, signals);
        break;
    case 0x02:
        out = frozen_data(request);
        break;
    case 0x03:
        if (alone)
            return codes(service, state.stored);
        break;
    case 0x04:
        if (alone)
            return answer_clear(service, signals);
        break;
    case 0x06:
        out = monitor_tests(request);
        break;
    case 0x07:
        if (alone)
            return codes(service, state.pending);
        break;
    case 0x08:
        out = control(request, signals);
        break;
    case 0x09:
        out = information(request);
        break;
    case 0x0A:
        if (alone)
            return codes(service, state.permanent);
        break;
    default:
        if (!functional)
            return {negative_response, service, service_not_supported};
        return {};
    }
    if (out.size() > 1)
        return out;
    // Nothing of what was asked is supported: silence to all, 12 to the one that was asked.
    return functional ? Message{} : Message{negative_response, service, not_supported_or_invalid};
}

std::vector<Message> Ecu::answer_old(Bytes request, const Signals& signals) {
    std::vector<Message> out;
    if (request.empty() || state.obd_on_uds)
        return out;
    const std::uint8_t service = request[0];
    const auto one = [&](Message message) {
        if (message.size() > 1)
            out.push_back(std::move(message));
    };
    switch (service) {
    case 0x01:
        if (request.size() == 2)
            one(current_data(request, signals));
        break;
    case 0x02:
        if (request.size() == 3)
            one(frozen_data(request));
        break;
    case 0x03:
    case 0x07: {
        if (request.size() != 1)
            break;
        const auto& list = service == 0x03 ? state.stored : state.pending;
        const std::size_t count = std::min(list.size(), most_codes);
        for (std::size_t i = 0; i == 0 || i < count; i += 3) { // three a message, padded with 0000
            Message message{static_cast<std::uint8_t>(service + 0x40)};
            for (std::size_t k = i; k < i + 3; ++k)
                put_word(message, k < count ? list[k] : 0U);
            out.push_back(std::move(message));
        }
        break;
    }
    case 0x04:
        if (request.size() == 1)
            out.push_back(answer_clear(service, signals)); // 44 alone says that it is done
        break;
    case 0x05: {
        if (request.size() != 3)
            break;
        const std::uint8_t id = request[1];
        const std::uint8_t sensor = request[2];
        const auto supported = [&](std::uint8_t test) {
            return std::any_of(
                state.sensor_tests.begin(), state.sensor_tests.end(),
                [&](const SensorTest& t) { return t.test == test && t.sensor == sensor; });
        };
        const bool any = std::any_of(state.sensor_tests.begin(), state.sensor_tests.end(),
                                     [&](const SensorTest& t) { return t.sensor == sensor; });
        if (is_range(id) && has_range(id, supported) && any) {
            Message message{0x45, id, request[2]};
            put_bitmap(message, id, supported);
            one(std::move(message));
            break;
        }
        for (const auto& t : state.sensor_tests)
            if (t.test == id && t.sensor == request[2]) {
                Message message{0x45, t.test, t.sensor, t.value};
                if (t.has_limits)
                    put_bytes(message, {t.low, t.high});
                one(std::move(message));
            }
        break;
    }
    case 0x06: {
        if (request.size() != 2)
            break;
        const std::uint8_t id = request[1];
        const auto supported = [&](std::uint8_t test) {
            return std::any_of(state.old_tests.begin(), state.old_tests.end(),
                               [&](const OldTest& t) { return t.test == test; });
        };
        if (is_range(id) && has_range(id, supported) && !state.old_tests.empty()) {
            Message message{0x46, id, 0xFF};
            put_bitmap(message, id, supported);
            one(std::move(message));
            break;
        }
        for (const auto& t : state.old_tests)
            if (t.test == id) {
                Message message{0x46, t.test, t.limit};
                put_word(message, t.value);
                put_word(message, t.bound);
                one(std::move(message));
            }
        break;
    }
    case 0x08: {
        if (request.size() < 2)
            break;
        if (is_range(request[1])) {
            if (request[1] != 0 || !state.evaporative_test)
                break;
            Message message{0x48, 0x00, 0x00};
            put_bitmap(message, 0, [](std::uint8_t id) { return id == evaporative_test; });
            one(std::move(message));
        } else {
            one(control(request, signals));
        }
        break;
    }
    case 0x09: {
        if (request.size() < 2 || request.size() > 3) // some testers send a message number besides
            break;
        const std::uint8_t type = request[1];
        const auto parts = [&](std::uint8_t info) { return (info_items(info).size() + 3) / 4; };
        const auto is_count = [](std::uint8_t info) {
            return info == 0x01 || info == 0x03 || info == 0x05 || info == 0x07 || info == 0x09 ||
                   info == 0x0C || info == 0x0E;
        };
        // InfoTypes above 0F have no form on these lines.
        const auto supported = [&](std::uint8_t info) {
            return info <= 0x0F && (is_count(info) ? has_info(static_cast<std::uint8_t>(info + 1))
                                                   : has_info(info));
        };
        if (is_range(type)) {
            if (type != 0)
                break;
            Message message{0x49, type, 0x01};
            put_bitmap(message, type, supported);
            one(std::move(message));
        } else if (supported(type) && is_count(type)) {
            one({0x49, type,
                 static_cast<std::uint8_t>(parts(static_cast<std::uint8_t>(type + 1)))});
        } else if (supported(type)) {
            Message items = info_items(type);
            items.insert(items.begin(), (4 - items.size() % 4) % 4, 0); // padding stands in front
            for (std::size_t i = 0; i * 4 < items.size() && i < 255; ++i) {
                Message message{0x49, type, static_cast<std::uint8_t>(i + 1)};
                message.insert(message.end(), items.begin() + static_cast<std::ptrdiff_t>(i * 4),
                               items.begin() + static_cast<std::ptrdiff_t>(i * 4 + 4));
                one(std::move(message));
            }
        }
        break;
    }
    default:
        break;
    }
    return out;
}

Message Ecu::current_data(Bytes request, const Signals& signals) const {
    Message out{0x41};
    if (request.size() > 1 + most_ids)
        return out;
    const auto supported = [&](std::uint8_t id) { return !is_range(id) && state.pids[id]; };
    for (const auto pid : request.subspan(1)) {
        if (is_range(pid)) {
            put_ranges(out, Bytes(&pid, 1), supported);
        } else if (state.pids[pid]) {
            out.push_back(pid);
            if (!put_parameter(out, pid, state, signals))
                out.pop_back();
        }
    }
    return out;
}

Message Ecu::frozen_data(Bytes request) const {
    Message out{0x42};
    if (request.size() > 1 + most_ids || request.size() % 2 == 0)
        return out;
    for (std::size_t i = 1; i + 1 < request.size(); i += 2) {
        const std::uint8_t pid = request[i];
        if (request[i + 1] != 0)
            continue; // this ECU keeps frame 0 only
        const auto kept = std::find_if(frozen_.begin(), frozen_.end(),
                                       [&](const auto& entry) { return entry.first == pid; });
        const auto supported = [&](std::uint8_t id) {
            return id == 0x02 || (!is_range(id) && state.frozen_pids[id]);
        };
        if (is_range(pid)) {
            if (state.frozen_pids.none() || !has_range(pid, supported))
                continue;
            put_bytes(out, {pid, 0});
            put_bitmap(out, pid, supported);
        } else if (pid == 0x02) {
            if (state.frozen_pids.none())
                continue;
            put_bytes(out, {pid, 0});
            put_word(out, frozen_code_);
        } else if (kept != frozen_.end()) {
            put_bytes(out, {pid, 0});
            out.insert(out.end(), kept->second.begin(), kept->second.end());
        }
    }
    return out;
}

void Ecu::freeze(std::uint16_t code, const Signals& signals) {
    frozen_code_ = code;
    frozen_.clear();
    for (unsigned pid = 0; pid < 256; ++pid)
        if (state.frozen_pids[pid]) {
            Message data;
            if (put_parameter(data, static_cast<std::uint8_t>(pid), state, signals))
                frozen_.emplace_back(static_cast<std::uint8_t>(pid), std::move(data));
        }
}

void Ecu::clear() {
    ++clears_;
    state.stored.clear();
    state.pending.clear();
    state.lamp = false;
    frozen_code_ = 0;
    frozen_.clear();
    // Every monitor that there is is incomplete again. The continuous ones have their support bits
    // in the low half of B and their completion in the high half; C and D are apart.
    for (auto* readiness : {&state.since_clear, &state.this_cycle}) {
        auto& r = *readiness;
        r[0] = static_cast<std::uint8_t>((r[0] & 0x0F) | (r[0] & 0x07) << 4);
        r[2] = r[1];
    }
    for (auto& test : state.tests) { // SAE J1979: no result yet: value and limits are zero
        test.value = 0;
        test.low = 0;
        test.high = 0;
    }
    state.distance_with_lamp = 0;
    state.distance_since_clear = 0;
    state.warm_ups_since_clear = 0;
    state.minutes_with_lamp = 0;
    state.minutes_since_clear = 0;
}

bool Ecu::may_clear(const Signals& signals) const {
    switch (state.clearing) {
    case Clearing::always:
        return true;
    case Clearing::at_rest:
        return signals.speed < 0.5;
    case Clearing::engine_off:
        return !signals.running;
    }
    return false;
}

Message Ecu::answer_clear(std::uint8_t service, const Signals& signals) {
    if (!may_clear(signals))
        return {negative_response, service, conditions_not_correct};
    clear();
    return {static_cast<std::uint8_t>(service + 0x40)};
}

Message Ecu::monitor_tests(Bytes request) const {
    Message out{0x46};
    const Bytes ids = request.subspan(1);
    if (state.tests.empty())
        return out;
    if (all_ranges(ids)) {
        put_ranges(out, ids, [&](std::uint8_t id) { return has_test(state, id); });
    } else if (ids.size() == 1) {
        for (const auto& t : state.tests)
            if (t.monitor == ids[0]) {
                put_bytes(out, {t.monitor, t.test, t.scaling});
                put_word(out, t.value);
                put_word(out, t.low);
                put_word(out, t.high);
            }
    }
    return out;
}

Message Ecu::control(Bytes request, const Signals& signals) {
    Message out{0x48};
    const Bytes ids = request.subspan(1);
    if (!state.evaporative_test || ids.empty())
        return out;
    if (all_ranges(ids)) {
        put_ranges(out, ids, [](std::uint8_t id) { return id == evaporative_test; });
    } else if (ids[0] == evaporative_test && ids.size() <= 6) {
        if (signals.running)
            return {negative_response, 0x08, conditions_not_correct};
        out.push_back(evaporative_test);
    }
    return out;
}

bool Ecu::has_info(std::uint8_t type) const {
    switch (type) {
    case 0x02:
        return !state.vin.empty();
    case 0x04:
    case 0x06:
        return !state.calibrations.empty();
    case 0x08:
        return !state.counters.empty() && !state.diesel;
    case 0x0A:
        return !state.acronym.empty();
    case 0x0B:
        return !state.counters.empty() && state.diesel;
    case 0x0D:
        return !state.engine_serial.empty();
    case 0x0F:
        return !state.type_approval.empty();
    case 0x10:
        return state.obd_on_uds;
    case 0x12:
        return state.fuelled_cycles != 0;
    default:
        return false;
    }
}

/// The data items of an InfoType, one after the other.
Message Ecu::info_items(std::uint8_t type) const {
    Message out;
    switch (type) {
    case 0x02:
        put_text(out, state.vin, 17);
        break;
    case 0x04:
        for (const auto& calibration : state.calibrations)
            put_text(out, calibration.id, 16);
        break;
    case 0x06:
        for (const auto& calibration : state.calibrations) {
            put_word(out, calibration.verification >> 16);
            put_word(out, calibration.verification & 0xFFFF);
        }
        break;
    case 0x08:
    case 0x0B:
        for (const auto counter : state.counters)
            put_word(out, counter);
        break;
    case 0x0A:
        put_text(out, state.acronym, 4);
        out.push_back('-');
        put_text(out, state.name, 15);
        break;
    case 0x0D:
        put_text(out, state.engine_serial, 17);
        break;
    case 0x0F:
        put_text(out, state.type_approval, 17);
        break;
    case 0x10:
        out.push_back(0x02); // SAE J1979-2
        break;
    case 0x12:
        put_word(out, state.fuelled_cycles);
        break;
    default:
        break;
    }
    return out;
}

Message Ecu::information(Bytes request) const {
    Message out{0x49};
    const Bytes ids = request.subspan(1);
    const auto supported = [&](std::uint8_t id) { return has_info(id); };
    if (all_ranges(ids)) {
        put_ranges(out, ids, supported);
    } else if (ids.size() == 1 && has_info(ids[0])) {
        const Message items = info_items(ids[0]);
        std::size_t count = 1;
        if (ids[0] == 0x04 || ids[0] == 0x06)
            count = state.calibrations.size();
        else if (ids[0] == 0x08 || ids[0] == 0x0B)
            count = state.counters.size();
        put_bytes(out, {ids[0], static_cast<std::uint8_t>(count)});
        out.insert(out.end(), items.begin(), items.end());
    }
    return out;
}

} // namespace telltale::mimic
