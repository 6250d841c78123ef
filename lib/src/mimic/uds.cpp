// SPDX-License-Identifier: Apache-2.0
// OBDonUDS (SAE J1979-2 on ISO 14229-1): services 10, 14, 19, 22, 31 and 3E of an ECU.
#include "encode.hpp"
#include "telltale/mimic/ecu.hpp"

namespace telltale::mimic {

namespace {

constexpr std::uint8_t subfunction_not_supported = 0x12;
constexpr std::uint8_t wrong_length = 0x13;
constexpr std::uint8_t out_of_range = 0x31;
constexpr std::uint8_t suppress_response = 0x80;

constexpr std::uint8_t emissions = 0x33; // functional group
constexpr std::uint8_t status_available = 0xFF;
constexpr std::uint8_t severity_available = 0xFF;
constexpr std::uint8_t code_format = 0x04; // SAE J2012-DA (from memory)
constexpr std::uint8_t class_1 = 0x02;     // severity and class of a code (from memory)

/// The status byte of a code (ISO 14229-1, annex D).
std::uint8_t status_of(const EcuState& state, std::uint16_t code) {
    unsigned status = 0;
    if (has(state.pending, code))
        status |= 0x01 | 0x02 | 0x04 | 0x20;
    if (has(state.stored, code))
        status |= 0x08 | 0x20 | (state.lamp ? 0x80U : 0U);
    return static_cast<std::uint8_t>(status);
}

/// Every code once that is stored or pending.
std::vector<std::uint16_t> known_codes(const EcuState& state) {
    std::vector<std::uint16_t> all = state.stored;
    for (const auto code : state.pending)
        if (!has(all, code))
            all.push_back(code);
    if (all.size() > Ecu::most_codes)
        all.resize(Ecu::most_codes);
    return all;
}

void put_code(Message& out, std::uint16_t code) {
    put_word(out, code);
    out.push_back(0x00); // failure type: none told
}

std::uint32_t code_at(Bytes request, std::size_t at) {
    return static_cast<std::uint32_t>(big_endian(request, at, 3));
}

/// The readiness group that a code belongs to, as the monitors of PID 01 count them (from memory of
/// SAE J1979-2: the numbers of the groups are its own).
bool in_group(std::uint16_t code, std::uint8_t group) {
    switch (group) {
    case 0x01: // catalyst
        return code == 0x0420 || code == 0x0430;
    case 0x03: // evaporative system
        return code >= 0x0440 && code <= 0x0457;
    case 0x05: // exhaust gas sensors
        return code >= 0x0130 && code <= 0x0167;
    default:
        return false;
    }
}

} // namespace

Message Ecu::answer_uds(Bytes request, bool functional, const Signals& signals) {
    const std::uint8_t service = request[0];
    // To all, nobody says what he does not know (ISO 14229-1: 11, 12, 31 and their like).
    const auto refuse = [&](std::uint8_t why) {
        const bool quiet =
            why == service_not_supported || why == subfunction_not_supported || why == out_of_range;
        return functional && quiet ? Message{} : Message{negative_response, service, why};
    };
    const bool quiet = request.size() > 1 && (request[1] & suppress_response) != 0 &&
                       (service == 0x10 || service == 0x19 || service == 0x31 || service == 0x3E);
    const std::uint8_t sub =
        request.size() > 1 ? static_cast<std::uint8_t>(request[1] & ~suppress_response) : 0;
    Message out;
    switch (service) {
    case 0x10:
        if (request.size() != 2)
            return refuse(wrong_length);
        if (sub != 0x01 && sub != 0x03)
            return refuse(subfunction_not_supported);
        out = {0x50, sub, 0x00, 0x32, 0x01, 0xF4}; // P2 50 ms, P2* 5 s
        break;
    case 0x14: {
        if (request.size() != 4)
            return refuse(wrong_length);
        const std::uint32_t group = code_at(request, 1);
        if (group != 0xFFFF33 && group != 0xFFFFFF)
            return refuse(out_of_range);
        if (!may_clear(signals))
            return refuse(conditions_not_correct);
        clear();
        return {0x54};
    }
    case 0x19:
        out = code_report(request);
        if (out.size() == 1)
            return refuse(out[0]);
        break;
    case 0x22:
        if (request.size() < 3 || request.size() % 2 == 0 || request.size() > 1 + 2 * most_ids)
            return refuse(wrong_length);
        out = identifiers(request, signals);
        if (out.size() == 1)
            return refuse(out_of_range);
        return out;
    case 0x31: {
        if (request.size() < 4)
            return refuse(wrong_length);
        if (sub != 0x01)
            return refuse(subfunction_not_supported);
        if (!state.evaporative_test || request[2] != 0xE0 || request[3] > 0x01)
            return refuse(out_of_range);
        out = {0x71, sub, 0xE0, request[3]};
        if (request[3] == 0x00)
            put_bitmap(out, 0, [](std::uint8_t id) { return id == 0x01; });
        else if (signals.running)
            return refuse(conditions_not_correct);
        break;
    }
    case 0x3E:
        if (request.size() != 2)
            return refuse(wrong_length);
        if (sub != 0)
            return refuse(subfunction_not_supported);
        out = {0x7E, 0x00};
        break;
    default:
        return refuse(service_not_supported);
    }
    return quiet ? Message{} : out;
}

/// The answer to service 19, or one byte: why there is none.
Message Ecu::code_report(Bytes request) const {
    if (request.size() < 2)
        return {wrong_length};
    const auto sub = static_cast<std::uint8_t>(request[1] & ~suppress_response);
    const auto size_is = [&](std::size_t size) { return request.size() == size; };
    Message out{0x59, sub};
    switch (sub) {
    case 0x01: // number of codes by status mask
    case 0x02: // codes by status mask
    {
        if (!size_is(3))
            return {wrong_length};
        out.push_back(status_available);
        unsigned count = 0;
        for (const auto code : known_codes(state))
            if ((status_of(state, code) & request[2]) != 0) {
                ++count;
                if (sub == 0x02) {
                    put_code(out, code);
                    out.push_back(status_of(state, code));
                }
            }
        if (sub == 0x01) {
            out.push_back(code_format);
            put_word(out, count);
        }
        return out;
    }
    case 0x04: // snapshot of a code
        if (!size_is(6))
            return {wrong_length};
        if (frozen_code_ == 0 || code_at(request, 2) != std::uint32_t{frozen_code_} << 8 ||
            (request[5] != 0x00 && request[5] != 0xFF))
            return {out_of_range};
        put_code(out, frozen_code_);
        out.push_back(status_of(state, frozen_code_));
        put_snapshot(out);
        return out;
    case 0x42: // emissions codes by mask
        if (!size_is(5))
            return {wrong_length};
        if (request[2] != emissions)
            return {out_of_range};
        put_bytes(out, {emissions, status_available, severity_available, code_format});
        for (const auto code : known_codes(state))
            if ((status_of(state, code) & request[3]) != 0 && (class_1 & request[4]) != 0) {
                out.push_back(class_1);
                put_code(out, code);
                out.push_back(status_of(state, code));
            }
        return out;
    case 0x55: // permanent codes
        if (!size_is(3))
            return {wrong_length};
        if (request[2] != emissions)
            return {out_of_range};
        put_bytes(out, {emissions, status_available, code_format});
        for (std::size_t i = 0; i < state.permanent.size() && i < most_codes; ++i) {
            put_code(out, state.permanent[i]);
            out.push_back(status_of(state, state.permanent[i]));
        }
        return out;
    case 0x56: // codes of a readiness group
        if (!size_is(4))
            return {wrong_length};
        if (request[2] != emissions)
            return {out_of_range};
        put_bytes(out, {emissions, status_available, code_format, request[3]});
        for (const auto code : known_codes(state))
            if (in_group(code, request[3])) {
                put_code(out, code);
                out.push_back(status_of(state, code));
            }
        return out;
    default:
        return {subfunction_not_supported};
    }
}

/// Snapshot record 00: the freeze frame, each value with its data identifier.
void Ecu::put_snapshot(Message& out) const {
    put_bytes(out, {0x00, static_cast<std::uint8_t>(frozen_.size())});
    for (const auto& [pid, data] : frozen_) {
        put_bytes(out, {0xF4, pid});
        out.insert(out.end(), data.begin(), data.end());
    }
}

Message Ecu::identifiers(Bytes request, const Signals& signals) const {
    Message out{0x62};
    for (std::size_t i = 1; i + 1 < request.size(); i += 2) {
        const auto did = static_cast<std::uint16_t>(big_endian(request, i, 2));
        // The number of records and items stands nowhere: such a one is asked alone.
        const bool open_ended = did >> 8 == 0xF6 || did >> 8 == 0xF8;
        if (open_ended && !is_range(static_cast<std::uint8_t>(did)) && request.size() != 3)
            continue;
        put_identifier(out, did, signals);
    }
    return out;
}

/// One data identifier and its data; false when the ECU does not have it.
bool Ecu::put_identifier(Message& out, std::uint16_t did, const Signals& signals) const {
    const auto id = static_cast<std::uint8_t>(did);
    const auto range = [&](const auto& supported) {
        if (!has_range(id, supported))
            return false;
        put_word(out, did);
        put_bitmap(out, id, supported);
        return true;
    };
    switch (did >> 8) {
    case 0xF1:
        if (id != 0x90 || state.vin.empty())
            return false;
        put_word(out, did);
        out.insert(out.end(), state.vin.begin(), state.vin.end());
        return true;
    case 0xF4: {
        if (is_range(id))
            return range([&](std::uint8_t pid) { return !is_range(pid) && state.pids[pid]; });
        if (!state.pids[id])
            return false;
        put_word(out, did);
        if (put_parameter(out, id, state, signals))
            return true;
        out.erase(out.end() - 2, out.end());
        return false;
    }
    case 0xF6: {
        const auto has_monitor = [&](std::uint8_t monitor) {
            return std::any_of(state.tests.begin(), state.tests.end(),
                               [&](const MonitorTest& t) { return t.monitor == monitor; });
        };
        if (state.tests.empty())
            return false;
        if (is_range(id))
            return range(has_monitor);
        if (!has_monitor(id))
            return false;
        put_word(out, did);
        for (const auto& t : state.tests)
            if (t.monitor == id) {
                put_bytes(out, {t.test, t.scaling});
                put_word(out, t.value);
                put_word(out, t.low);
                put_word(out, t.high);
            }
        return true;
    }
    case 0xF8: {
        const auto supported = [&](std::uint8_t type) { return has_info(type); };
        if (is_range(id))
            return range(supported);
        if (!has_info(id))
            return false;
        put_word(out, did);
        const Message items = info_items(id);
        out.insert(out.end(), items.begin(), items.end());
        return true;
    }
    default:
        return false;
    }
}

} // namespace telltale::mimic
