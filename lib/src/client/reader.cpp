// SPDX-License-Identifier: Apache-2.0
#include "telltale/client/reader.hpp"

#include <algorithm>

#include "telltale/catalogue/catalogue.hpp"

namespace telltale::client {

namespace {

constexpr std::size_t most_ecus = 16;
constexpr std::size_t most_items = 8192; ///< whatever the ECUs claim
constexpr unsigned most_reading_cuts = 16;
constexpr std::uint8_t last_frame = 0x0F;   ///< freeze frames that are looked for
constexpr std::size_t most_uds_codes = 256; ///< of all ECUs, whose snapshots are asked for
constexpr std::size_t most_sensor_tests = 512;
/// Readiness groups of OBDonUDS that are asked for; an ECU refuses those it does not have. The
/// numbers stand in SAE J1979-DA (from memory: they begin at 01).
constexpr std::uint8_t last_group = 0x10;

std::uint64_t key(CanId ecu, std::uint8_t service) {
    return (std::uint64_t{ecu.value} << 1 | (ecu.extended ? 1 : 0)) << 8 | service;
}

bool is_range(std::uint8_t id) {
    return id % 0x20 == 0;
}

/// The service of OBDonUDS data identifiers: F4xx PIDs, F6xx OBDMIDs, F8xx InfoTypes.
std::uint8_t service_of_group(std::uint8_t group) {
    return group == 0xF4 ? 0x01 : group == 0xF6 ? 0x06 : group == 0xF8 ? 0x09 : 0x00;
}
std::uint8_t group_of_service(std::uint8_t service) {
    return service == 0x01 ? 0xF4 : service == 0x06 ? 0xF6 : 0xF8;
}

/// Data bytes of a PID where a pack may hold it; 0: only alone.
std::size_t length_in_pack(std::uint8_t pid) {
    const catalogue::Row* row = catalogue::pid(pid);
    return row == nullptr || row->short_length != 0 ? 0 : row->length;
}

} // namespace

Reader::Reader(const Line& line, const ReaderOptions& options) : line_(line), options_(options) {
    for (const CanId ecu : options_.ecus)
        know(ecu);
    if (options_.on_uds) {
        for (auto& facts : facts_)
            facts.on_uds = true;
        for (const std::uint8_t service : std::initializer_list<std::uint8_t>{0x01, 0x09, 0x06})
            add_support(service, std::nullopt);
        return;
    }
    add_support(0x01, std::nullopt);
    add_support(0x09, std::nullopt);
    if (!options_.support_only) {
        if (options_.tests)
            add_support(0x06, std::nullopt);
        if (options_.codes)
            add({0x02, 0x00, 0x00}, std::nullopt, true);
    }
}

Reader::~Reader() = default;

EcuFacts* Reader::find(CanId ecu) {
    for (auto& facts : facts_)
        if (facts.id == ecu)
            return &facts;
    return nullptr;
}

EcuFacts& Reader::know(CanId ecu) {
    if (EcuFacts* known = find(ecu); known != nullptr)
        return *known;
    if (facts_.size() == most_ecus)
        return facts_.back();
    facts_.push_back({});
    facts_.back().id = ecu;
    facts_.back().on_uds = options_.on_uds;
    facts_.back().pids_a_request = is_can(line_.dialect) || line_.dialect == Dialect::doip ? 6 : 1;
    return facts_.back();
}

void Reader::add(std::initializer_list<std::uint8_t> bytes, std::optional<CanId> to, bool discovers,
                 std::span<const CanId> expected) {
    if (queue_.size() >= most_items)
        return;
    Item item;
    for (const std::uint8_t byte : bytes)
        item.bytes[item.size++] = byte;
    item.to = to;
    item.discovers = discovers;
    for (const CanId ecu : expected)
        if (item.expecting < item.expected.size())
            item.expected[item.expecting++] = ecu;
    queue_.push_back(item);
}

/// Asks for what an ECU need not have. On K-line all are asked: nobody need answer.
void Reader::add_optional(std::initializer_list<std::uint8_t> bytes, CanId to) {
    const std::size_t before = queue_.size();
    if (is_kline(line_.dialect))
        add(bytes, std::nullopt, true);
    else
        add(bytes, to, false);
    if (queue_.size() != before)
        queue_.back().optional = true;
}

void Reader::add_support(std::uint8_t service, std::optional<CanId> to) {
    if (options_.on_uds)
        add({0x22, group_of_service(service), 0x00}, to, true);
    else
        add({service, 0x00}, to, true);
}

Reader::Progress Reader::progress() const noexcept {
    return {asked_, queue_.size(), missing_.size()};
}

bool Reader::done() const {
    return stage_ == Stage::done;
}

bool Reader::next(Time /*now*/, Request& request) {
    do {
        while (queue_.empty() && stage_ != Stage::done)
            advance();
        if (queue_.empty())
            return false;
        open_ = queue_.front();
        queue_.pop_front();
    } while (split_pack(open_));
    if (open_.discovers && !open_.to && !options_.on_uds && open_.size >= 2 &&
        open_.bytes[1] != 0x00) {
        // By now all have told whether they have this range.
        open_.expecting = 0;
        for (const EcuFacts& facts : facts_)
            if (const auto claimed = claimed_.find(key(facts.id, open_.bytes[0]));
                claimed != claimed_.end() && claimed->second.test(open_.bytes[1] / 0x20) &&
                open_.expecting < open_.expected.size())
                open_.expected[open_.expecting++] = facts.id;
    }
    ++asked_;
    request.bytes = Bytes(open_.bytes).first(open_.size);
    request.to = open_.to;
    request.expected = std::span<const CanId>(open_.expected).first(open_.expecting);
    return true;
}

void Reader::told(const Exchange& exchange, Time /*now*/) {
    if (exchange.outcome == Outcome::cut || exchange.outcome == Outcome::not_sent) {
        if (++open_.cuts <= most_reading_cuts)
            queue_.push_front(open_);
        else if (missing_.size() < most_items && open_.to)
            missing_.push_back({*open_.to, open_.bytes[0], open_.bytes[1], exchange.outcome, 0});
        return;
    }
    for (const Reply& reply : exchange.replies)
        if (reply.outcome == Outcome::answer)
            take(reply, exchange.request);
    follow(open_, exchange);
}

void Reader::take_bitmap(EcuFacts& facts, std::uint8_t service, std::uint8_t range, Bytes bits) {
    auto& known = ranges_[key(facts.id, service)];
    if (known.test(range / 0x20))
        return;
    known.set(range / 0x20);
    for (unsigned i = 0; i < 32; ++i) {
        if ((bits[i / 8] >> (7 - i % 8) & 1) == 0)
            continue;
        const unsigned id = range + i + 1U;
        if (id > 0xFF)
            continue;
        if (id % 0x20 != 0) {
            facts.supported[service].set(id);
            continue;
        }
        // The next range, of all who claim it; each is asked alone if it does not answer.
        claimed_[key(facts.id, service)].set(id / 0x20);
        auto& asked = asked_ranges_[service];
        const auto next = static_cast<std::uint8_t>(id);
        if (options_.on_uds) {
            add({0x22, group_of_service(service), next}, facts.id, false);
        } else if (!asked.test(next / 0x20)) {
            asked.set(next / 0x20);

            if (service == 0x02)
                add({service, next, 0x00}, std::nullopt, true);
            else
                add({service, next}, std::nullopt, true);
        }
    }
}

void Reader::take_support(EcuFacts& facts, Bytes response, std::uint8_t service) {
    const bool old = is_kline(line_.dialect);
    // Between the identifier and the bits: the frame number (02), the filler FF or the count of
    // messages that the older lines have (06, 09).
    const std::size_t gap =
        service == 0x02 || (old && (service == 0x06 || service == 0x09)) ? 1 : 0;
    std::size_t at = 1;
    while (at + 1 + gap + 4 <= response.size() && is_range(response[at])) {
        take_bitmap(facts, service, response[at], response.subspan(at + 1 + gap, 4));
        at += 1 + gap + 4;
    }
}

void Reader::take(const Reply& reply, Bytes request) {
    if (on_reply)
        on_reply(reply, request);
    const std::size_t before = facts_.size();
    EcuFacts& facts = know(reply.ecu);
    if (facts.id != reply.ecu)
        return; // more ECUs than there is room for
    if (facts_.size() != before && stage_ == Stage::support && request.size() >= 2 &&
        request[0] != 0x22) {
        // One that nobody knew: what was asked before it was heard is asked of it alone.
        for (const std::uint8_t service :
             std::initializer_list<std::uint8_t>{0x01, 0x09, 0x06, 0x02})
            if (service != request[0] && !is_kline(line_.dialect) &&
                (service == 0x01 || service == 0x09 || !options_.support_only)) {
                if (service == 0x02)
                    add({0x02, 0x00, 0x00}, reply.ecu, true);
                else
                    add_support(service, reply.ecu);
            }
    }
    const Bytes bytes = reply.bytes;
    if (request[0] == 0x19)
        return take_uds_codes(reply.ecu, bytes);
    if (request[0] == 0x22 && bytes.size() >= 7 && is_range(bytes[2])) {
        if (const std::uint8_t service = service_of_group(bytes[1]); service != 0)
            take_bitmap(facts, service, bytes[2], bytes.subspan(3, 4));
        return;
    }
    if (bytes.size() < 2 || request.size() < 2)
        return;
    if (is_kline(line_.dialect))
        take_old(facts, bytes);
    switch (request[0]) {
    case 0x01:
    case 0x06:
    case 0x09:
        if (is_range(bytes[1]))
            take_support(facts, bytes, request[0]);
        break;
    case 0x02:
        if (is_range(bytes[1]))
            take_support(facts, bytes, 0x02);
        else if (bytes[1] != 0x02 || bytes.size() < 5 || (bytes[3] | bytes[4]) == 0)
            break;
        else if (const std::uint8_t frame = bytes[2]; frame != 0) {
            // What this frame holds, and whether there is one more. On K-line all are asked.
            const CanId whose = is_kline(line_.dialect) ? CanId{} : reply.ecu;
            auto& asked = asked_frames_[key(whose, 0x02)];
            for (unsigned pid = 1; pid < 256 && !asked.test(frame % 16U); ++pid)
                if (pid != 0x02 && facts.supported[0x02].test(pid))
                    add_optional({0x02, static_cast<std::uint8_t>(pid), frame}, reply.ecu);
            if (frame < last_frame && !asked.test(frame % 16U))
                add_optional({0x02, 0x02, static_cast<std::uint8_t>(frame + 1)}, reply.ecu);
            asked.set(frame % 16U);
        } else if (std::find(with_frames_.begin(), with_frames_.end(), reply.ecu) ==
                   with_frames_.end())
            with_frames_.push_back(reply.ecu);
        break;
    default:
        break;
    }
}

/// Services that only the older lines have: 05, and what has to be known for it.
void Reader::take_old(EcuFacts& facts, Bytes response) {
    const auto keep = [](std::vector<SensorTest>& list, const SensorTest& test) {
        const bool there = std::any_of(list.begin(), list.end(), [&](const SensorTest& each) {
            return each.ecu == test.ecu && each.sensor == test.sensor && each.test == test.test;
        });
        if (!there && list.size() < most_sensor_tests)
            list.push_back(test);
    };
    if (response.size() == 3 && response[0] == 0x41 &&
        (response[1] == 0x13 || response[1] == 0x1D)) {
        for (unsigned bit = 0; bit < 8; ++bit)
            if ((response[2] >> bit & 1) != 0)
                keep(sensors_, {facts.id, static_cast<std::uint8_t>(1U << bit), 0});
    } else if (response.size() >= 7 && response[0] == 0x45 && is_range(response[1])) {
        for (unsigned i = 0; i < 32; ++i) {
            const unsigned test = response[1] + i + 1U;
            if ((response[3 + i / 8] >> (7 - i % 8) & 1) == 0 || test > 0xFF)
                continue;
            const auto id = static_cast<std::uint8_t>(test);
            facts.supported[0x05].set(id, !is_range(id));
            if (is_range(id))
                add({0x05, id, response[2]}, std::nullopt, true);
            else
                keep(sensor_tests_, {facts.id, response[2], id});
        }
    }
}

/// OBDonUDS: the codes of a list by mask (19 42): functional group, status and severity bits that
/// are supported, code format; then severity, code (three bytes) and status of each.
void Reader::take_uds_codes(CanId ecu, Bytes response) {
    if (response.size() < 6 || response[1] != 0x42)
        return;
    for (std::size_t at = 6; at + 5 <= response.size(); at += 5) {
        const UdsCode code{ecu, std::uint32_t{response[at + 1]} << 16 |
                                    std::uint32_t{response[at + 2]} << 8 | response[at + 3]};
        const bool known =
            std::any_of(uds_codes_.begin(), uds_codes_.end(), [&](const UdsCode& each) {
                return each.ecu == code.ecu && each.code == code.code;
            });
        if (!known && code.code != 0 && uds_codes_.size() < most_uds_codes)
            uds_codes_.push_back(code);
    }
}

/// What was not answered, and is to be.
void Reader::follow(const Item& item, const Exchange& exchange) {
    const Bytes request = exchange.request;
    const bool alone = !is_kline(line_.dialect); // an ECU can be asked alone
    const auto reply_of = [&](CanId ecu) -> const Reply* {
        for (const Reply& reply : exchange.replies)
            if (reply.ecu == ecu)
                return &reply;
        return nullptr;
    };
    if (item.discovers) {
        // Who supports nothing here need not answer a request to all; asked alone it has to. Where
        // that cannot be, all are asked once more.
        const bool some_silent =
            std::any_of(facts_.begin(), facts_.end(),
                        [&](const EcuFacts& facts) { return reply_of(facts.id) == nullptr; });
        if (!alone && !item.last_try && some_silent && open_.expecting == 0) {
            Item again = item;
            again.last_try = true;
            queue_.push_front(again);
        }
        // Later ranges concern those only whose bitmap said so: they were expected, and asked
        // again.
        const bool first_range = request.size() > 1 && request[request[0] == 0x22 ? 2 : 1] == 0;
        if (!item.to && alone && first_range)
            for (const EcuFacts& facts : facts_)
                if (const Reply* reply = reply_of(facts.id);
                    reply == nullptr ||
                    (reply->outcome != Outcome::answer && reply->outcome != Outcome::refused)) {
                    Item again = item;
                    again.to = facts.id;
                    queue_.push_front(again);
                }
        return;
    }
    const std::uint8_t service = request[0];
    for (EcuFacts& facts : facts_) {
        const bool expected =
            item.to ? *item.to == facts.id
                    : std::find(item.expected.begin(), item.expected.begin() + item.expecting,
                                facts.id) != item.expected.begin() + item.expecting;
        if (!expected)
            continue;
        const Reply* reply = reply_of(facts.id);
        const bool answered = reply != nullptr && reply->outcome == Outcome::answer;
        const bool pack =
            service == 0x01 ? request.size() > 2 : service == 0x02 && request.size() > 3;
        if (!pack) {
            if (!answered) {
                miss(item, facts.id, reply);
                continue;
            }
            // It answers alone what it did not answer in a pack, and that again and again.
            if (item.from_pack && ++failed_packs_[key(facts.id, service)] >= 4)
                facts.pids_a_request = 1;
            continue;
        }
        // A pack: what the answer does not hold is asked one by one.
        const std::size_t step = service == 0x02 ? 2 : 1;
        std::bitset<256> told;
        if (answered && service == 0x01) {
            std::array<PidData, 6> data;
            const std::size_t count = split_pids(reply->bytes, request.subspan(1), data);
            for (std::size_t i = 0; i < count; ++i)
                told.set(data[i].pid);
        } else if (answered) {
            // Whole (`answers` saw to it): walk it by the lengths of the catalogue.
            std::size_t at = 1;
            while (at < reply->bytes.size()) {
                told.set(reply->bytes[at]);
                at += 2 + length_in_pack(reply->bytes[at]);
            }
        }
        bool lacks = false;
        for (std::size_t at = request.size() - step; at >= 1 && at < request.size(); at -= step) {
            const std::uint8_t id = request[at];
            if (told.test(id) || !facts.supported[service].test(id))
                continue;
            lacks = true;
            Item alone_item;
            alone_item.bytes = {service, id, 0x00};
            alone_item.size = service == 0x02 ? 3 : 2;
            alone_item.to = facts.id;
            alone_item.from_pack = true;
            if (queue_.size() < most_items)
                queue_.push_front(alone_item);
        }
        if (!lacks)
            failed_packs_[key(facts.id, service)] = 0;
        else if (reply != nullptr && reply->outcome == Outcome::refused)
            facts.pids_a_request = 1;
    }
}

void Reader::miss(const Item& item, CanId ecu, const Reply* reply) {
    const Outcome outcome = reply != nullptr ? reply->outcome : Outcome::silence;
    if (item.optional && (outcome == Outcome::refused || outcome == Outcome::silence))
        return;
    if (outcome != Outcome::refused && !item.last_try && again_.size() < most_items) {
        Item again = item;
        again.to = ecu;
        again.expecting = 0;
        again.last_try = true;
        again_.push_back(again);
        return;
    }
    if (missing_.size() < most_items) {
        const Bytes bytes = Bytes(item.bytes).first(item.size);
        std::uint16_t id = bytes.size() > 1 ? bytes[1] : 0;
        if (bytes[0] >= 0x10 && bytes.size() > 2)
            id = static_cast<std::uint16_t>(id << 8 | bytes[2]);
        missing_.push_back(
            {ecu, bytes[0], id, outcome, reply != nullptr ? reply->code : std::uint8_t{0}});
    }
}

/// Takes a pack apart that one of those who answer it would not take. True when it did.
bool Reader::split_pack(const Item& item) {
    const std::uint8_t service = item.bytes[0];
    const std::uint8_t step = service == 0x02 ? 2 : 1;
    if ((service != 0x01 && service != 0x02) || item.size <= 1 + step)
        return false;
    const bool some = std::any_of(facts_.begin(), facts_.end(), [&](const EcuFacts& facts) {
        return facts.pids_a_request == 1 &&
               std::find(item.expected.begin(), item.expected.begin() + item.expecting, facts.id) !=
                   item.expected.begin() + item.expecting;
    });
    if (!some)
        return false;
    for (std::size_t at = item.size - std::size_t{step}; at >= 1 && at < item.size; at -= step) {
        Item one;
        one.bytes = {service, item.bytes[at], 0x00};
        one.size = 1 + step;
        for (std::size_t i = 0; i < item.expecting; ++i)
            if (const EcuFacts* facts = find(item.expected[i]);
                facts != nullptr && facts->supported[service].test(item.bytes[at]))
                one.expected[one.expecting++] = facts->id;
        if (one.expecting != 0)
            queue_.push_front(one);
    }
    return true;
}

void Reader::plan_packs(std::uint8_t service, std::size_t most) {
    const bool packs = !is_kline(line_.dialect);
    std::bitset<256> wanted;
    const auto has = [&](const EcuFacts& facts, unsigned id) {
        return facts.supported[service].test(id) &&
               (service != 0x02 || std::find(with_frames_.begin(), with_frames_.end(), facts.id) !=
                                       with_frames_.end());
    };
    for (unsigned id = 1; id < 256; ++id)
        for (const EcuFacts& facts : facts_)
            if (has(facts, id) && !(service == 0x02 && id == 0x02))
                wanted.set(id);
    Item item;
    const auto flush = [&] {
        if (item.size != 0 && queue_.size() < most_items) {
            for (const EcuFacts& facts : facts_) {
                bool any = false;
                for (std::size_t at = 1; at < item.size; at += service == 0x02 ? 2 : 1)
                    any = any || has(facts, item.bytes[at]);
                if (any && item.expecting < item.expected.size())
                    item.expected[item.expecting++] = facts.id;
            }
            queue_.push_back(item);
        }
        item = {};
    };
    std::size_t count = 0;
    for (unsigned id = 1; id < 256; ++id) {
        if (!wanted.test(id))
            continue;
        const auto narrow = static_cast<std::uint8_t>(id);
        const bool alone = !packs || length_in_pack(narrow) == 0;
        if (alone && item.size != 0) {
            flush();
            count = 0;
        }
        if (item.size == 0)
            item.bytes[item.size++] = service;
        item.bytes[item.size++] = narrow;
        if (service == 0x02)
            item.bytes[item.size++] = 0x00;
        if (alone || ++count == most) {
            flush();
            count = 0;
        }
    }
    flush();
}

void Reader::plan_data() {
    std::vector<CanId> all;
    for (const EcuFacts& facts : facts_)
        all.push_back(facts.id);
    const bool old = is_kline(line_.dialect);
    if (options_.on_uds)
        return plan_uds_codes();
    if (options_.values)
        plan_packs(0x01, 6);
    if (options_.codes) {
        for (const std::uint8_t service : std::initializer_list<std::uint8_t>{0x03, 0x07, 0x0A}) {
            if (old && service == 0x0A)
                continue; // permanent codes are of CAN only (SAE J1979)
            // An ECU of the older lines that has no codes need not answer.
            add({service}, std::nullopt, old, old ? std::span<const CanId>{} : all);
        }
    }
    for (const std::uint8_t service : std::initializer_list<std::uint8_t>{0x06, 0x09}) {
        if (service == 0x06 ? !options_.tests : !options_.information)
            continue;
        for (unsigned id = 1; id < 256; ++id) {
            std::vector<CanId> expected;
            for (const EcuFacts& facts : facts_)
                if (facts.supported[service].test(id))
                    expected.push_back(facts.id);
            if (!expected.empty())
                add({service, static_cast<std::uint8_t>(id)}, std::nullopt, false, expected);
        }
    }
}

void Reader::plan_frames() {
    if (!options_.codes)
        return;
    if (options_.on_uds) {
        for (const UdsCode& each : uds_codes_) // all snapshot records (FF) of each code
            add_optional({0x19, 0x04, static_cast<std::uint8_t>(each.code >> 16),
                          static_cast<std::uint8_t>(each.code >> 8),
                          static_cast<std::uint8_t>(each.code), 0xFF},
                         each.ecu);
        return;
    }
    std::vector<CanId> expected;
    for (const EcuFacts& facts : facts_)
        if (facts.supported[0x02].any())
            expected.push_back(facts.id);
    if (!expected.empty())
        add({0x02, 0x02, 0x00}, std::nullopt, false, expected);
}

/// Freeze frames above 00, which an ECU need not have.
void Reader::plan_more_frames() {
    if (is_kline(line_.dialect) && !with_frames_.empty())
        add({0x02, 0x02, 0x01}, std::nullopt, true);
    else
        for (const CanId ecu : with_frames_)
            add_optional({0x02, 0x02, 0x01}, ecu);
}

/// Service 05 of the older lines: which tests there are of each oxygen sensor, then their results.
void Reader::plan_sensor_tests() {
    if (!is_kline(line_.dialect) || !options_.tests)
        return;
    std::bitset<256> asked;
    for (const SensorTest& each : sensors_) {
        if (!asked.test(each.sensor))
            add({0x05, 0x00, each.sensor}, std::nullopt, true);
        asked.set(each.sensor);
    }
}

/// OBDonUDS (SAE J1979-2): data identifiers of each ECU, then its codes.
void Reader::plan_uds_codes() {
    for (const EcuFacts& facts : facts_) {
        const auto data = [&](std::uint8_t service, bool wanted) {
            for (unsigned id = 1; wanted && id < 256; ++id)
                if (facts.supported[service].test(id))
                    add({0x22, group_of_service(service), static_cast<std::uint8_t>(id)}, facts.id,
                        false);
        };
        data(0x01, options_.values);
        data(0x06, options_.tests);
        data(0x09, options_.information);
        if (options_.codes) {
            // By status mask (confirmed, pending) of the emissions-related group 33, all
            // severities and classes; then the permanent ones.
            add({0x19, 0x42, 0x33, 0x08, 0x1E}, facts.id, false);
            add({0x19, 0x42, 0x33, 0x04, 0x1E}, facts.id, false);
            add({0x19, 0x55, 0x33}, facts.id, false);
            for (std::uint8_t group = 0x01; group <= last_group; ++group)
                add_optional({0x19, 0x56, 0x33, group}, facts.id);
        }
    }
}

void Reader::advance() {
    switch (stage_) {
    case Stage::support:
        if (options_.support_only) {
            stage_ = Stage::done;
            return;
        }
        stage_ = Stage::data;
        plan_data();
        return;
    case Stage::data:
        stage_ = Stage::frames;
        plan_frames();
        plan_sensor_tests();
        return;
    case Stage::frames:
        stage_ = Stage::frame_values;
        if (!with_frames_.empty()) {
            plan_packs(0x02, 3);
            plan_more_frames();
        }
        for (const SensorTest& each : sensor_tests_) {
            const CanId expected[] = {each.ecu};
            add({0x05, each.test, each.sensor}, std::nullopt, false, expected);
        }
        return;
    case Stage::frame_values:
        stage_ = Stage::again;
        queue_.insert(queue_.end(), again_.begin(), again_.end());
        again_.clear();
        return;
    case Stage::again:
    case Stage::done:
        stage_ = Stage::done;
        return;
    }
}

} // namespace telltale::client
