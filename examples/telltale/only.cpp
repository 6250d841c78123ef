// SPDX-License-Identifier: Apache-2.0
#include "only.hpp"

#include <algorithm>

#include "telltale/base/hex.hpp"
#include "telltale/catalogue/catalogue.hpp"

namespace telltale::program {

namespace {

constexpr std::uint8_t by_local_id = 0x21;
constexpr std::uint8_t by_data_id = 0x22;
bool read_hex(std::string_view text, std::size_t digits, std::uint16_t& value) {
    if (text.size() != digits)
        return false;
    value = 0;
    for (const char c : text) {
        if (hex_digit(c) == 0xFF)
            return false;
        value = static_cast<std::uint16_t>(value << 4 | hex_digit(c));
    }
    return true;
}

bool same_letters(std::string_view a, std::string_view b) {
    const auto upper = [](char c) { return c >= 'a' && c <= 'z' ? static_cast<char>(c - 32) : c; };
    return std::equal(a.begin(), a.end(), b.begin(), b.end(),
                      [&](char x, char y) { return upper(x) == upper(y); });
}

} // namespace

Result<Only> Only::read(const std::vector<std::string>& texts, std::vector<run::Pick> picks,
                        const catalogue::Extension* extension) {
    Only only;
    only.extension_ = extension;
    for (auto& pick : picks) {
        only.everything_ = false;
        only.add_pick(std::move(pick));
    }
    for (const auto& text : texts) {
        only.everything_ = false;
        if (!only.add(text))
            return fail(
                ErrorCode::bad_argument,
                "--only: '" + text +
                    "' is no identifier and no short name; write a PID in hex (0C), one of "
                    "its fields (14.1), an identifier of another service (09:02), a service "
                    "(03:), or a name as `telltale catalogue` lists it (RPM)");
    }
    return only;
}

bool Only::add(std::string_view text) {
    std::uint16_t service = 0;
    std::uint16_t id = 0;
    if (text.size() >= 3 && text[2] == ':') {
        if (!read_hex(text.substr(0, 2), 2, service) || service >= services)
            return false;
        const auto rest = text.substr(3);
        some_.set(service);
        if (rest.empty()) {
            whole_.set(service);
            return true;
        }
        if (service == by_local_id) {
            if (!read_hex(rest, 2, id))
                return false;
            local_ids_.set(id);
            return true;
        }
        if (service == by_data_id) {
            if (!read_hex(rest, 4, id))
                return false;
            data_ids_.push_back(id);
            return true;
        }
        if (service >= ids_.size() || !read_hex(rest, 2, id))
            return false;
        ids_[service].set(id);
        first_bytes_[service].set(id);
        some_.set(by_data_id); // the same values by the data identifiers of OBDonUDS
        return true;
    }
    if (read_hex(text, 2, id)) {
        some_.set(1).set(by_data_id);
        ids_[1].set(id);
        first_bytes_[1].set(id);
        return true;
    }
    // A short name goes first: a name may look like a data identifier.
    if (add_key(text))
        return true;
    if (!read_hex(text, 4, id)) {
        auto pick = run::parse_pick(text);
        return pick && add_pick(std::move(*pick));
    }
    some_.set(by_data_id);
    data_ids_.push_back(id);
    return true;
}

bool Only::add_key(std::string_view key) {
    bool found = false;
    const auto add_rows = [&](std::span<const catalogue::Row> rows, std::uint8_t service) {
        for (const auto& row : rows)
            for (const auto& field : row.fields) {
                const bool by_1d = field.key_by_1d != nullptr && same_letters(field.key_by_1d, key);
                if (key.empty() || !(by_1d || same_letters(field.key, key)))
                    continue;
                found = true;
                some_.set(service).set(by_data_id);
                first_bytes_[service].set(row.id & 0xFFU);
                fields_.push_back({service, row.id, std::string(key)});
            }
    };
    add_rows(catalogue::pids(), 1);
    add_rows(catalogue::info_types(), 9);
    if (extension_ != nullptr)
        for (const auto& own : extension_->rows())
            for (const auto& field : own.row.fields) {
                if (key.empty() || !same_letters(field.key, key))
                    continue;
                found = true;
                may_hold_own(own);
                fields_.push_back({own.service, own.row.id, std::string(key)});
            }
    return found;
}

/// A message may hold values of this row that are wanted.
void Only::may_hold_own(const catalogue::OwnRow& own) {
    some_.set(own.service);
    if (own.service != 0x01)
        return;
    some_.set(by_data_id); // the same by the data identifiers of OBDonUDS
    first_bytes_[1].set(own.row.id & 0xFFU);
}

/// Also says which PIDs the entry may mean; false when no row is known that it fits.
bool Only::add_pick(run::Pick pick) {
    bool found = false;
    if (pick.id) {
        found = true;
        if (*pick.id <= 0xFF)
            first_bytes_[1].set(*pick.id);
    }
    for (const auto& row : catalogue::pids())
        for (const auto& field : row.fields)
            if (!pick.id &&
                (same_letters(pick.word, field.key) || same_letters(pick.word, field.name) ||
                 (field.key_by_1d != nullptr && same_letters(pick.word, field.key_by_1d)) ||
                 (field.name_by_1d != nullptr && same_letters(pick.word, field.name_by_1d)))) {
                found = true;
                first_bytes_[1].set(row.id & 0xFFU);
            }
    if (extension_ != nullptr && !pick.id)
        for (const auto& own : extension_->rows())
            for (const auto& field : own.row.fields)
                if (same_letters(pick.word, field.key) || same_letters(pick.word, field.name)) {
                    found = true;
                    may_hold_own(own);
                }
    some_.set(1).set(by_data_id);
    if (pick.service == by_local_id)
        some_.set(by_local_id);
    picks_.push_back(std::move(pick));
    return found;
}

bool Only::may_hold(const message::Said& said) const {
    const auto service = said.header.service;
    if (service >= services || !some_[service])
        return false;
    if (whole_[service] || said.header.kind == message::Kind::negative)
        return true;
    const auto bytes = said.bytes.subspan(said.bytes.empty() ? 0 : 1);
    if (service < first_bytes_.size()) {
        const auto& wanted = first_bytes_[service];
        return std::any_of(bytes.begin(), bytes.end(),
                           [&](std::uint8_t byte) { return wanted[byte]; });
    }
    return true;
}

bool Only::named(const message::Said& said, const message::Value& value) const {
    const std::uint8_t service = said.header.service;
    if (service >= services)
        return false;
    if (whole_[service])
        return true;
    if (service == by_local_id && value.id < 256 && local_ids_[value.id])
        return true;
    if (service == by_data_id &&
        std::find(data_ids_.begin(), data_ids_.end(), value.id) != data_ids_.end())
        return true;
    const auto same = message::same_signal(service, value.id);
    if (same.service < ids_.size() && same.id < 256 && ids_[same.service][same.id])
        return true;
    if (std::any_of(fields_.begin(), fields_.end(), [&](const Field& field) {
            // A request names the identifier only.
            return field.service == same.service && field.id == same.id &&
                   (value.key.empty() || same_letters(value.key, field.key));
        }))
        return true;
    if (picks_.empty() || (same.service != 0x01 && service != by_data_id && service != by_local_id))
        return false;
    // Of a request, what it asks for counts, whoever answers.
    const bool asked = said.header.kind == message::Kind::request;
    std::string ecu;
    if (said.has_id)
        append_can_id(ecu, said.id);
    return std::any_of(picks_.begin(), picks_.end(), [&](const run::Pick& pick) {
        const auto index = asked ? pick.index.value_or(0) : value.index;
        return pick.fits(asked ? std::string_view(pick.ecu) : ecu, service, value.id, index,
                         value.key, value.name);
    });
}

} // namespace telltale::program
