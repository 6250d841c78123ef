// SPDX-License-Identifier: Apache-2.0
// Random whole messages of services 01 and 09, decoded by tshark and by us: the same values to the
// precision that tshark prints, or a difference that is listed here with the clause that decides
// it.
#include <algorithm>
#include <array>
#include <cmath>
#include <map>
#include <random>

#include "support.hpp"

using namespace telltale;
using namespace telltale::whole;

namespace {

enum class As : std::uint8_t { number, raw };

/// One field that both decode: tshark's name for it and our place for it.
struct Pair {
    unsigned pid;
    std::size_t length; ///< data bytes with which tshark decodes it
    const char* field;  ///< after "obd-ii.mode01_"
    unsigned index = 0; ///< our `Value::index`
    As as = As::number;
};

constexpr Pair pairs[] = {
    // clang-format off
    {0x03, 2, "fuel_system1_status", 0, As::raw},
    {0x03, 2, "fuel_system2_status", 1, As::raw},
    {0x04, 1, "engine_load"},
    {0x05, 1, "engine_coolant_temp"},
    {0x06, 1, "short_term_fuel_bank1"},
    {0x07, 1, "long_term_fuel_bank1"},
    {0x08, 1, "short_term_fuel_bank2"},
    {0x09, 1, "long_term_fuel_bank2"},
    {0x0A, 1, "fuel_pressure"},
    {0x0B, 1, "intake_manifold_absolute_pressure"},
    {0x0C, 2, "engine_rpm"},
    {0x0D, 1, "vehicle_speed"},
    {0x0E, 1, "timing_advance"},
    {0x0F, 1, "intake_air_temp"},
    {0x10, 2, "maf_air_flow_rate"},
    {0x11, 1, "throttle_position"},
    {0x12, 1, "secondary_air_status", 0, As::raw},
    {0x14, 2, "oxygen_sensor_voltage"},
    {0x15, 2, "oxygen_sensor_voltage"},
    {0x16, 2, "oxygen_sensor_voltage"},
    {0x17, 2, "oxygen_sensor_voltage"},
    {0x18, 2, "oxygen_sensor_voltage"},
    {0x19, 2, "oxygen_sensor_voltage"},
    {0x1A, 2, "oxygen_sensor_voltage"},
    {0x1B, 2, "oxygen_sensor_voltage"},
    {0x1C, 1, "obd_standards", 0, As::raw},
    {0x1F, 2, "engine_uptime"},
    {0x21, 2, "distance_traveled_with_mil"},
    {0x22, 2, "fuel_rail_pressure"},
    {0x23, 2, "fuel_rail_gauge_pressure"},
    {0x24, 4, "oxygen_sensor_fuel_air_ratio", 0}, {0x24, 4, "oxygen_sensor_voltage", 1},
    {0x25, 4, "oxygen_sensor_fuel_air_ratio", 0}, {0x25, 4, "oxygen_sensor_voltage", 1},
    {0x26, 4, "oxygen_sensor_fuel_air_ratio", 0}, {0x26, 4, "oxygen_sensor_voltage", 1},
    {0x27, 4, "oxygen_sensor_fuel_air_ratio", 0}, {0x27, 4, "oxygen_sensor_voltage", 1},
    {0x28, 4, "oxygen_sensor_fuel_air_ratio", 0}, {0x28, 4, "oxygen_sensor_voltage", 1},
    {0x29, 4, "oxygen_sensor_fuel_air_ratio", 0}, {0x29, 4, "oxygen_sensor_voltage", 1},
    {0x2A, 4, "oxygen_sensor_fuel_air_ratio", 0}, {0x2A, 4, "oxygen_sensor_voltage", 1},
    {0x2B, 4, "oxygen_sensor_fuel_air_ratio", 0}, {0x2B, 4, "oxygen_sensor_voltage", 1},
    {0x2C, 1, "commanded_egr"},
    {0x2D, 1, "egr_error"},
    {0x2E, 1, "commanded_evap_purge"},
    {0x2F, 1, "fuel_tank_level_input"},
    {0x30, 1, "warm_ups"},
    {0x31, 2, "distance_traveled_since_code_clear"},
    {0x32, 2, "evap_system_vapor_pressure"},
    {0x33, 1, "absolute_barometric_pressure"},
    {0x34, 4, "oxygen_sensor_fuel_air_ratio", 0}, {0x34, 4, "oxygen_sensor_current", 1},
    {0x35, 4, "oxygen_sensor_fuel_air_ratio", 0}, {0x35, 4, "oxygen_sensor_current", 1},
    {0x36, 4, "oxygen_sensor_fuel_air_ratio", 0}, {0x36, 4, "oxygen_sensor_current", 1},
    {0x37, 4, "oxygen_sensor_fuel_air_ratio", 0}, {0x37, 4, "oxygen_sensor_current", 1},
    {0x38, 4, "oxygen_sensor_fuel_air_ratio", 0}, {0x38, 4, "oxygen_sensor_current", 1},
    {0x39, 4, "oxygen_sensor_fuel_air_ratio", 0}, {0x39, 4, "oxygen_sensor_current", 1},
    {0x3A, 4, "oxygen_sensor_fuel_air_ratio", 0}, {0x3A, 4, "oxygen_sensor_current", 1},
    {0x3B, 4, "oxygen_sensor_fuel_air_ratio", 0}, {0x3B, 4, "oxygen_sensor_current", 1},
    {0x3C, 2, "catalyst_temp_11"},
    {0x3D, 2, "catalyst_temp_21"},
    {0x3E, 2, "catalyst_temp_12"},
    {0x3F, 2, "catalyst_temp_22"},
    {0x42, 2, "control_module_voltage"},
    {0x43, 2, "absolute_load_value"},
    {0x44, 2, "fuel_air_commanded_equiv_ratio"},
    {0x45, 1, "relative_throttle_position"},
    {0x46, 1, "ambient_air_temp"},
    {0x47, 1, "absolute_throttle_position_B"},
    {0x48, 1, "absolute_throttle_position_C"},
    {0x49, 1, "accelerator_pedal_position_D"},
    {0x4A, 1, "accelerator_pedal_position_E"},
    {0x4B, 1, "accelerator_pedal_position_F"},
    {0x4C, 1, "commanded_throttle_actuator"},
    {0x4D, 2, "time_run_with_mil"},
    {0x4E, 2, "time_since_trouble_code_clear"},
    {0x51, 1, "fuel_type", 0, As::raw},
    {0x52, 1, "ethanol_fuel"},
    {0x53, 2, "absolute_evap_system_vapor_pressure"},
    {0x59, 2, "fuel_rail_absolute_pressure"},
    {0x5A, 1, "relative_accelerator_pedal_position"},
    {0x5B, 1, "hybrid_battery_remaining_life"},
    {0x5C, 1, "engine_oil_temp"},
    {0x5D, 2, "fuel_injection_timing"},
    {0x5E, 2, "engine_fuel_rate"},
    {0x61, 1, "torque_driver_demand_engine"},
    {0x62, 1, "torque_actual_engine"},
    {0x63, 2, "torque_reference_engine"},
    // clang-format on
};

/// Support bitmaps that tshark takes apart, those of PIDs 64 and up where the catalogue has them.
std::vector<unsigned> bitmaps() {
    std::vector<unsigned> out;
    for (unsigned pid = 0; pid <= 0xC0; pid += 0x20)
        if (pid <= 0x60 || catalogue::pid(static_cast<std::uint8_t>(pid)) != nullptr)
            out.push_back(pid);
    return out;
}

/// True when the last character before the filling with 00 is a space.
bool trailing_space(const Data& data) {
    std::size_t end = data.size();
    while (end > 0 && data[end - 1] == 0)
        --end;
    return end > 0 && data[end - 1] == ' ';
}

/// Where tshark and we differ, and who is right. Each must be met, or it does not belong here.
struct Difference {
    unsigned id; ///< PID, or InfoType
    const char* field;
    bool (*met)(const Data& data); ///< the data with which the two differ
    const char* clause;
    const char* why;
};

constexpr Difference differences[] = {
    {0x0A, "ecu_name", [](const Data& d) { return trailing_space(d); },
     "SAE J1979, service 09, InfoType 0A: 20 characters, filled where unused; from memory",
     "we take spaces at the end for filling as well, tshark prints them"},
};

class Generator {
  public:
    /// Bytes with more ends of the range than chance would give.
    Data bytes(std::size_t n) {
        Data out(n);
        for (auto& byte : out) {
            const auto kind = below(8);
            byte = kind == 0   ? 0
                   : kind == 1 ? 0xFF
                   : kind == 2 ? 0x80
                               : static_cast<std::uint8_t>(below(256));
        }
        return out;
    }
    std::size_t below(std::size_t n) { return random_() % n; }
    CanId ecu() {
        const std::size_t i = below(12);
        return i < 8 ? CanId{static_cast<std::uint32_t>(0x7E8 + i), false}
                     : CanId{static_cast<std::uint32_t>(0x18DAF110 + i), true};
    }
    char character(std::string_view from) { return from[below(from.size())]; }

  private:
    std::mt19937 random_{20'260'115};
};

Data join(std::initializer_list<std::uint8_t> head, const Data& tail) {
    Data out(head);
    out.insert(out.end(), tail.begin(), tail.end());
    return out;
}

/// What a message is, to know what must be compared.
enum class Sort : std::uint8_t { request, value, bitmap, vin, name, raw };

struct Made {
    Sort sort = Sort::value;
    Data bytes;
    std::size_t last_frame = 0; ///< from 1
};

std::string join_hex(const std::string& list) {
    // "0x0c,0x0d" as "0C 0D"
    std::string out;
    for (std::size_t i = 0; i < list.size(); ++i) {
        if (list[i] == '0' && i + 1 < list.size() && list[i + 1] == 'x')
            ++i;
        else
            out += list[i] == ','                     ? ' '
                   : list[i] >= 'a' && list[i] <= 'f' ? static_cast<char>(list[i] - 'a' + 'A')
                                                      : list[i];
    }
    return out;
}

const Told* find(const Ours& ours, unsigned id, unsigned index) {
    for (const Told& told : ours.values)
        if (told.id == id && told.index == index)
            return &told;
    return nullptr;
}

} // namespace

TEST_CASE("random messages of services 01 and 09: the values that tshark finds") {
    constexpr std::size_t wanted = 26'000;
    constexpr std::string_view vin_letters = "ABCDEFGHJKLMNPRSTUVWXYZ0123456789";
    constexpr std::string_view name_letters = "ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789- abcxyz";
    Generator random;
    const auto maps = bitmaps();
    std::vector<Frame> frames;
    std::vector<Made> made;
    std::map<std::size_t, std::size_t> by_frame; // last frame -> index of made

    for (std::size_t i = 0; i < wanted; ++i) {
        Made m;
        CanId id = random.ecu();
        const std::size_t sort = random.below(100);
        if (sort < 8) {
            m.sort = Sort::request;
            const bool one = random.below(2) == 0;
            m.bytes = {static_cast<std::uint8_t>(one ? 1 : 9),
                       one ? static_cast<std::uint8_t>(pairs[random.below(std::size(pairs))].pid)
                           : static_cast<std::uint8_t>(random.below(11))};
            id = random.below(2) == 0 ? CanId{0x7DF, false} : CanId{0x18DB33F1, true};
        } else if (sort < 14) {
            m.sort = Sort::bitmap;
            m.bytes = join({0x41, static_cast<std::uint8_t>(maps[random.below(maps.size())])},
                           random.bytes(4));
        } else if (sort < 17) {
            m.sort = Sort::vin;
            m.bytes = {0x49, 0x02, 0x01};
            for (int k = 0; k < 17; ++k)
                m.bytes.push_back(static_cast<std::uint8_t>(random.character(vin_letters)));
        } else if (sort < 19) {
            m.sort = Sort::name;
            m.bytes = {0x49, 0x0A, 0x01};
            const std::size_t letters = 4 + random.below(17);
            for (std::size_t k = 0; k < 20; ++k)
                m.bytes.push_back(k < letters
                                      ? static_cast<std::uint8_t>(random.character(name_letters))
                                      : std::uint8_t{0});
        } else if (sort < 22) {
            m.sort = Sort::raw; // segmented, of which tshark shows the bytes
            const std::size_t items = 1 + random.below(12);
            m.bytes =
                join({0x49, 0x04, static_cast<std::uint8_t>(items)}, random.bytes(16 * items));
        } else {
            const Pair& pair = pairs[random.below(std::size(pairs))];
            m.bytes = join({0x41, static_cast<std::uint8_t>(pair.pid)}, random.bytes(pair.length));
        }
        // tshark keeps one message in reassembly on a line, whoever sends it: only single frames
        // may come between the frames of a segmented message.
        const auto cut_up = cut(id, m.bytes);
        for (std::size_t k = 0; k < cut_up.size(); ++k) {
            frames.push_back(cut_up[k]);
            if (k == 0 && cut_up.size() > 1 && !id.extended)
                frames.push_back({partner_of(id), {0x30, 0, 0, 0, 0, 0, 0, 0}});
            if (k + 1 < cut_up.size() && random.below(3) == 0) {
                CanId other = random.ecu();
                while (other == id)
                    other = random.ecu();
                Made between;
                const Pair& pair = pairs[random.below(std::size(pairs))];
                between.bytes =
                    join({0x41, static_cast<std::uint8_t>(pair.pid)}, random.bytes(pair.length));
                frames.push_back(cut(other, between.bytes)[0]);
                between.last_frame = frames.size();
                by_frame[between.last_frame] = made.size();
                made.push_back(between);
            }
        }
        m.last_frame = frames.size();
        by_frame[m.last_frame] = made.size();
        made.push_back(m);
    }
    write_pcap("tshark-values.pcap", frames);

    Ear ear;
    decode("tshark-values.pcap", ear);
    REQUIRE(ear.problems.empty());
    REQUIRE(ear.messages.size() == made.size());
    std::map<std::size_t, const Ours*> ours;
    for (const Ours& message : ear.messages)
        ours[message.frame] = &message;

    std::vector<std::string> fields;
    for (const Pair& pair : pairs) {
        const std::string name = std::string("obd-ii.mode01_") + pair.field;
        if (std::find(fields.begin(), fields.end(), name) == fields.end())
            fields.push_back(name);
    }
    std::string arguments = "-r tshark-values.pcap " + identifiers +
                            "-d iso15765.subdissector,obd-ii -Y obd-ii -T fields "
                            "-E occurrence=a -E aggregator=, -e frame.number -e obd-ii.mode "
                            "-e obd-ii.mode01_pid -e obd-ii.mode09_pid -e obd-ii.raw_value "
                            "-e obd-ii.mode01_supported_pid -e obd-ii.VIN -e obd-ii.ecu_name";
    constexpr std::size_t first_field = 8;
    std::map<std::string, std::size_t> column;
    for (std::size_t i = 0; i < fields.size(); ++i) {
        arguments += " -e " + fields[i];
        column[fields[i]] = first_field + i;
    }
    const auto theirs = run_tshark(arguments);

    std::size_t messages = 0; // that tshark decoded and we compared
    std::size_t values = 0;
    std::size_t with_value = 0;
    std::size_t segmented = 0;
    std::array<std::size_t, std::size(differences)> met{};
    std::map<unsigned, std::size_t> by_pid;
    std::size_t wrong = 0;
    // Whether this is a listed difference; counts it when it shows.
    const auto listed = [&](unsigned id, std::string_view field, const Ours& we, bool same) {
        bool any = false;
        for (std::size_t d = 0; d < std::size(differences); ++d)
            if (differences[d].id == id && differences[d].field == field &&
                differences[d].met(Data(we.bytes.begin() + 2, we.bytes.end()))) {
                any = true;
                met[d] += same ? 0 : 1;
            }
        return any;
    };
    const auto disagree = [&](const Made& m, const std::string& what, const std::string& they,
                              const std::string& we) {
        if (++wrong <= 20)
            MESSAGE("frame ", m.last_frame, " ", to_hex(m.bytes), " ", what, ": tshark ", they,
                    ", we ", we);
    };
    for (const auto& line : theirs) {
        REQUIRE(line.size() >= first_field + fields.size());
        const std::size_t frame = std::stoul(line[0]);
        REQUIRE(by_frame.count(frame) == 1);
        const Made& m = made[by_frame[frame]];
        REQUIRE(ours.count(frame) == 1);
        const Ours& we = *ours[frame];
        REQUIRE(we.bytes == m.bytes);
        ++messages;
        segmented += m.bytes.size() > 7 ? 1 : 0;

        const auto service = std::stoul(line[1], nullptr, 16);
        if (service != we.header.service)
            disagree(m, "service", line[1], std::to_string(we.header.service));
        const std::string& pid_text = service == 1 ? line[2] : line[3];
        const auto pid = static_cast<unsigned>(std::stoul(pid_text, nullptr, 16));
        if (m.sort == Sort::request) {
            const Told* told = we.values.empty() ? nullptr : &we.values[0];
            if (we.header.kind != message::Kind::request || told == nullptr || told->id != pid)
                disagree(m, "request", pid_text, told == nullptr ? "nothing" : "another");
            continue;
        }
        if (we.header.kind != message::Kind::response || pid != m.bytes[1])
            disagree(m, "response", pid_text, "another");
        if (!line[4].empty()) {
            const std::string bytes = to_hex(Bytes(we.bytes).subspan(2));
            if (upper(line[4]) != bytes)
                disagree(m, "bytes", line[4], bytes);
        }
        switch (m.sort) {
        case Sort::bitmap: {
            const Told* told = find(we, pid, 0);
            const std::string they = line[5].empty() ? "none" : join_hex(line[5]);
            if (told == nullptr || told->text != they)
                disagree(m, "bitmap", they, told == nullptr ? "nothing" : told->text);
            ++with_value;
            ++values;
            break;
        }
        case Sort::vin:
        case Sort::name: {
            const std::string& they = line[m.sort == Sort::vin ? 6 : 7];
            bool same = false;
            for (const Told& told : we.values)
                same = same || told.text == they;
            if (same == listed(pid, m.sort == Sort::vin ? "VIN" : "ecu_name", we, same))
                disagree(m, "text", they, we.values.empty() ? "nothing" : we.values.back().text);
            ++with_value;
            ++values;
            break;
        }
        case Sort::value: {
            bool any = false;
            for (const Pair& pair : pairs) {
                if (pair.pid != pid)
                    continue;
                const std::string& they = line[column[std::string("obd-ii.mode01_") + pair.field]];
                const Told* told = find(we, pid, pair.index);
                if (they.empty() || told == nullptr) {
                    disagree(m, pair.field, they.empty() ? "nothing" : they,
                             told == nullptr ? "nothing" : "a value");
                    continue;
                }
                any = true;
                ++values;
                const double number =
                    pair.as == As::number ? told->number : static_cast<double>(told->raw);
                const double other = they[0] == '0' && they.size() > 1 && they[1] == 'x'
                                         ? static_cast<double>(std::stoul(they, nullptr, 16))
                                         : std::stod(they);
                // tshark prints doubles with 15 digits
                const bool same =
                    std::fabs(number - other) <= 1e-13 * std::max(1.0, std::fabs(other));
                if (same == listed(pid, pair.field, we, same))
                    disagree(m, pair.field, they, std::to_string(number));
            }
            with_value += any ? 1 : 0;
            by_pid[pid] += any ? 1 : 0;
            break;
        }
        default:
            break;
        }
    }
    MESSAGE(messages, " messages compared, ", with_value, " of them with values, ", segmented,
            " segmented; ", values, " values; ", by_pid.size(), " PIDs");
    for (std::size_t d = 0; d < std::size(differences); ++d) {
        MESSAGE("listed difference, ", met[d], " times: ", std::string(differences[d].field), ": ",
                std::string(differences[d].why), " (", std::string(differences[d].clause), ")");
        CHECK(met[d] > 0);
    }
    CHECK(wrong == 0);
    CHECK(messages == made.size()); // tshark decoded each
    CHECK(with_value >= 20'000);
    CHECK(segmented >= 1000);
    for (const Pair& pair : pairs) {
        CAPTURE(pair.pid);
        CHECK(by_pid[pair.pid] >= 50);
    }
}
